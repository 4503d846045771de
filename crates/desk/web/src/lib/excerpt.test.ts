import { expect, it } from 'vitest';
import { address, barOf, headAt, headBeside, markedHeads, placeOn, type Page } from './excerpt';

const page: Page = {
  width: 200, height: 100, head: 6, x: [20, 20, 80], y: [40, 46, 40], span: [0, 1, -1], part: [0, 0, 3], note: [7, 8, 2],
  bars: [{ bar: 34, x: 10, y: 30, width: 60, height: 40 }, { bar: 35, x: 70, y: 30, width: 60, height: 40 }],
};

it('finds the nearest head within reach', () => {
  expect(headAt(page, 23, 41)).toBe(0);
  expect(headAt(page, 23, 45)).toBe(1);
  expect(headAt(page, 50, 41)).toBe(-1);
});

it('goes from note to note along a part, and to the nearest of another part', () => {
  const two = { x: [20, 60, 100, 22, 61], y: [40, 40, 44, 80, 84], part: [0, 0, 0, 1, 1], note: [1, 2, 5, 0, 3] };
  expect((['left', 'right', 'up', 'down'] as const).map((way) => headBeside(two, 1, way))).toEqual([0, 2, -1, 4]);
  expect(headBeside(two, 3, 'up')).toBe(0);
  expect(headBeside(two, 2, 'right')).toBe(-1);
  expect([0, 2].map((head) => barOf(page, head))).toEqual([34, 35]);
  expect(barOf({ ...page, y: [5, 46, 40] }, 0)).toBe(34);
  expect(barOf({ ...page, x: [2, 20, 80] }, 0)).toBe(-1);
});

it('finds a moment on the pages', () => {
  expect(placeOn([page], 35, 0.5)).toEqual({ page: 0, x: 100, y: 30, height: 40 });
  expect(placeOn([page], 36, 0)).toBeNull();
});

it('asks with all that is wished', () => {
  const wish = { first: 1, last: 2, staves: 'layers', concert: true, roles: false, width: 800, staff: 14 } as const;
  expect(address(3, 9, wish, '/page', { page: 1 })).toBe('/api/scores/3/excerpt/page?first=1&last=2&staves=layers&concert=true&roles=false&width=800&staff=14&page=1&revision=9');
});

it('marks the heads of tones that stick out or stay behind', () => {
  const chord = { tones: [{ key: 60, above: 5, notes: [[0, 8], [5, 1]] }, { key: 64, above: 1, notes: [[0, 7]] }, { key: 67, above: -4, notes: [[3, 2]] }] };
  expect(markedHeads(page, [chord])).toEqual([{ x: 20, y: 46, above: 5 }, { x: 80, y: 40, above: -4 }]);
});
