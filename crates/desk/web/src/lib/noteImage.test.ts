import { describe, expect, it } from 'vitest';
import { inSight, sorted } from './noteImage';

describe('notes in sight', () => {
  it('are found with what began before and still sounds', () => {
    const notes = { onset: [0, 1, 2, 6, 9], duration: [5, 0.5, 1, 1, 1], key: [1, 2, 3, 4, 5], part: [0, 0, 0, 0, 0], span: [0, 0, 0, 0, 0], dynamic: [0, 0, 0, 0, 0] };
    const all = sorted(notes);
    expect(inSight(all, { from: 4, to: 7 })).toEqual([0, 4]);
    expect(inSight(all, { from: 5.5, to: 7 })).toEqual([3, 4]);
    expect(inSight(all, { from: 20, to: 21 })).toEqual([5, 5]);
    expect(inSight(sorted({ onset: [], duration: [], key: [], part: [], span: [], dynamic: [] }), { from: 0, to: 1 })).toEqual([0, 0]);
  });
});
