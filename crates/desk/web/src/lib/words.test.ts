import { expect, it } from 'vitest';
import { beginning, counted, inWords, listed, staggered, withMinus } from './words';

it('counts in the singular and the plural', () => {
  expect([counted(1, 'bar'), counted(0, 'bar'), counted(2, 'bar'), counted(1, 'quality', 'qualities')]).toEqual(['1 bar', '0 bars', '2 bars', '1 quality']);
  expect([1, 3, 12, 13].map(inWords)).toEqual(['one', 'three', 'twelve', '13']);
});

it('joins as one says it', () => {
  expect([[], ['a'], ['a', 'b'], ['a', 'b', 'c']].map(listed)).toEqual(['', 'a', 'a and b', 'a, b and c']);
});

it('cuts a list between its entries, and never to leave a single one out', () => {
  const list = Array.from({ length: 17 }, (_, index) => index);
  expect(beginning(list, 6)).toEqual([0, 1, 2, 3, 4, 5]);
  expect(beginning(list.slice(0, 7), 6)).toHaveLength(7);
  expect(beginning([], 6)).toEqual([]);
});

it('prints a minus before a number and leaves hyphens', () => {
  expect(withMinus('-3 dB in bars 35-45 (-12), low-lying')).toBe('−3 dB in bars 35-45 (−12), low-lying');
});

it('puts words over each other where they would meet, and cuts only where no line is free', () => {
  const at = (...xs: number[]) => xs.map((x) => ({ x, wide: 50 }));
  expect(staggered(at(0, 60, 120), 3, 400)).toEqual([{ line: 0, room: 60 }, { line: 0, room: 60 }, { line: 0, room: 280 }]);
  expect(staggered(at(0, 10, 20), 3, 400).map(({ line }) => line)).toEqual([0, 1, 2]);
  expect(staggered(at(0, 10, 20), 2, 400)).toEqual([{ line: 0, room: 20 }, { line: 1, room: 390 }, { line: 0, room: 380 }]);
  expect(staggered([], 2, 400)).toEqual([]);
});
