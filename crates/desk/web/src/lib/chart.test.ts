import { describe, expect, it } from 'vitest';
import { barAt, every, has, heightOf, keyOf, KEYS, moved, partAt, patch, scrolledTo, tops, words } from './chart';
import { ROLES } from './looks';
import { read, written } from './route';

describe('the grid of a chart', () => {
  const rows = tops(['woodwind', 'woodwind', 'brass']);

  it('lays parts under each other, families apart', () => {
    expect(rows).toEqual([26, 55, 93]);
    expect(heightOf(rows)).toBe(122);
    expect([0, 30, 54, 92, 500].map((y) => partAt(rows, y))).toEqual([0, 0, 1, 2, 2]);
    expect(heightOf(tops([]))).toBeGreaterThan(0);
  });

  it('finds the bar under the pointer, within the piece', () => {
    expect(barAt(0, 0, 20, 12)).toBe(0);
    expect(barAt(45, 100, 20, 12)).toBe(7);
    expect(barAt(9999, 0, 20, 12)).toBe(11);
    expect(barAt(-50, 0, 20, 12)).toBe(0);
  });

  it('chooses every field between two, whichever way they are dragged', () => {
    const chosen = patch({ part: 3, bar: 8 }, { part: 1, bar: 2 });
    expect(chosen).toEqual({ parts: [1, 3], bars: [2, 8] });
    expect(has(chosen, 2, 8)).toBe(true);
    expect(has(chosen, 2, 9)).toBe(false);
    expect(words(chosen, ['Flute', 'Horn 1', 'Horn 2', 'Viola'], ['0', '1', '2', '3', '4', '5', '6', '7', '8'])).toBe('3 parts from Horn 1 to Viola, bars 2 to 8');
    expect(words(patch({ part: 0, bar: 1 }, { part: 0, bar: 1 }), ['Flute'], ['0', '1'])).toBe('Flute, bar 1');
  });

  it('goes by keys and never beyond the edge', () => {
    expect(moved({ part: 0, bar: 0 }, 'ArrowLeft', 3, 9)).toEqual({ part: 0, bar: 0 });
    expect(moved({ part: 2, bar: 8 }, 'ArrowDown', 3, 9)).toEqual({ part: 2, bar: 8 });
    expect(moved({ part: 1, bar: 3 }, 'PageDown', 3, 9)).toEqual({ part: 1, bar: 8 });
    expect(moved({ part: 1, bar: 3 }, 'End', 3, 9)).toEqual({ part: 1, bar: 8 });
    expect(moved({ part: 1, bar: 3 }, 'x', 3, 9)).toBeNull();
    expect(scrolledTo(20, 0, 20, 200)).toBe(220);
    expect(scrolledTo(2, 100, 20, 200)).toBe(40);
    expect(scrolledTo(7, 100, 20, 200)).toBe(100);
  });

  it('has one key for every role', () => {
    expect(new Set(ROLES.map(keyOf)).size).toBe(ROLES.length);
    for (const role of ROLES) expect(Object.values(KEYS)).toContain(role);
    expect(keyOf('tacet')).toBe('Del');
  });

  it('numbers bars as densely as there is room', () => {
    expect([60, 20, 8, 0.1].map(every)).toEqual([1, 2, 5, 200]);
  });

  it('has an address of its own', () => {
    expect(written({ page: 'chart', score: null })).toBe('#/chart');
    expect(read('#/chart/12')).toEqual({ page: 'chart', score: 12 });
    expect(read(written({ page: 'chart', score: null }))).toEqual({ page: 'chart', score: null });
    expect(read('#/chart/x').page).toBe('shelf');
  });
});
