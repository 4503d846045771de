import { describe, expect, it } from 'vitest';
import { barsFrom, moved, reach, thread } from './thread';

const sections = [
  { name: 'flutes', family: 'woodwind', parts: [0] },
  { name: 'horns', family: 'brass', parts: [1, 2] },
  { name: 'violins', family: 'strings', parts: [3, 4] },
];
const carried = (from: number, to: number, part: number, others: number[] = []) => ({ from, to, first: 0, last: 0, part, with: others, support: [] });

describe('the thread', () => {
  it('has a row for each section that carries or supports, in score order', () => {
    const found = thread({ sections, melody: [carried(0, 8, 3, [4, 0, 1]), carried(8, 16, 0)] });
    expect(found.sections).toEqual([0, 1, 2]);
    expect(found.strands.map((strand) => [strand.row, strand.support])).toEqual([[2, [0, 1]], [0, []]]);
  });

  it('is handed on where it passes to another section, not within one or over a long pause', () => {
    const found = thread({ sections, melody: [carried(0, 8, 1), carried(8, 12, 2), carried(12, 20, 3), carried(80, 90, 0)] });
    expect(found.handOffs).toEqual([{ from: 12, to: 12, fromRow: 1, toRow: 2, room: [2, 4] }]);
  });

  it('draws no hand-off beyond the half of a strand, however short', () => {
    // Two carriers of half a crotchet each at 8 pixels a crotchet: 2 pixels on either side, where 7 would stick out on the left.
    expect(reach(0, [0.25, 0.25], 8)).toEqual([2, 2]);
    expect(reach(40, [100, 1], 8)).toEqual([20, 8]);
    expect(reach(0, [100, 100], 8)).toEqual([7, 7]);
    expect(reach(1000, [100, 100], 8)).toEqual([60, 60]);
  });
});

it('names bars', () => expect([barsFrom('71', '71'), barsFrom('35', '45')]).toEqual(['Bar 71', 'Bars 35 to 45']));

it('says how far a theme has moved in the intervals of the trade', () => {
  expect([0, 5, -12, 19, 24, -36, -1].map(moved)).toEqual(['', ', a fourth higher', ', an octave lower', ', an octave and a fifth higher', ', two octaves higher', ', three octaves lower', ', a semitone lower']);
});
