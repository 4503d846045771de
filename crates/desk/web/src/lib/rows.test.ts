import { describe, expect, it } from 'vitest';
import type { Span, View } from './api';
import { cells, firstReaching, heightOf, rowAt, rows, strength, withSigns } from './rows';

const span = (part: number, first: number, last: number, role: string, confidence = 0.8): Span => ({
  part, line: part, voice: 1, staff: 1, first, last, from: first * 4, to: (last + 1) * 4, roles: [{ role, confidence }], layer: null, name: null, by_hand: false,
});
const bars = (count: number) => Array.from({ length: count }, (_, bar) => ({ label: `${bar + 1}`, onset: bar * 4, length: 4 }));
const ORDER = ['melody', 'countermelody', 'bass', 'harmony'];

describe('rows', () => {
  const view = {
    sections: [
      { name: 'flutes', family: 'woodwind', parts: [0, 1] },
      { name: 'horns', family: 'brass', parts: [2] },
    ],
    parts: ['Flute 1', 'Flute 2', 'Horn in F'].map((name) => ({ name, label: name, section: '', family: '', players: '1' })),
  } as Pick<View, 'sections' | 'parts'>;

  it('open to parts and never overlap', () => {
    const closed = rows(view, new Set());
    const open = rows(view, new Set([0]));
    expect(closed.map((row) => row.label)).toEqual(['Flutes', 'Horns']);
    expect(open.map((row) => row.label)).toEqual(['Flutes', 'Flute 1', 'Flute 2', 'Horns']);
    for (let i = 1; i < open.length; i++) {
      expect(open[i]?.top).toBeGreaterThanOrEqual((open[i - 1]?.top ?? 0) + (open[i - 1]?.height ?? 0));
    }
    expect(heightOf(open)).toBeGreaterThan(heightOf(closed));
    expect(open.at(-1)?.opensFamily).toBe(true);
    expect(rowAt(open, (open[2]?.top ?? 0) + 3)).toBe(2);
    expect(rowAt(open, -5)).toBe(-1);
  });

  it('writes keys with signs and leaves words alone', () => {
    expect(['Bb Clarinet', 'Clarinet in Bb 1', 'F# Horn', 'Bass drum'].map(withSigns)).toEqual(['B♭ Clarinet', 'Clarinet in B♭ 1', 'F♯ Horn', 'Bass drum']);
  });
});

describe('cells', () => {
  it('are found from the bar where one begins to look', () => {
    const made = cells({ bars: bars(9), spans: [span(0, 0, 2, 'melody'), span(1, 1, 2, 'bass'), span(0, 4, 8, 'harmony')] } as never, [0, 1], ORDER);
    for (let bar = 0; bar < 9; bar++) {
      const first = firstReaching(made, bar);
      expect(made.slice(0, first).every((cell) => cell.last < bar)).toBe(true);
      expect(made.slice(first).every((cell) => cell.last >= bar)).toBe(true);
    }
  });

  it('join bars with the same spans and part them where a role comes in', () => {
    const view = { bars: bars(8), spans: [span(0, 0, 5, 'melody'), span(1, 2, 3, 'harmony', 0.5)] };
    const found = cells(view, [0, 1], ORDER);
    expect(found.map((cell) => [cell.first, cell.last, cell.role, cell.strip, cell.strips])).toEqual([
      [0, 1, 'melody', 0, 1],
      [2, 3, 'melody', 0, 2],
      [2, 3, 'harmony', 1, 2],
      [4, 5, 'melody', 0, 1],
    ]);
    expect(found[0]).toMatchObject({ from: 0, to: 8 });
    expect(found[3]).toMatchObject({ from: 16, to: 24 });
  });

  it('begin and end with their notes', () => {
    const late = { ...span(0, 1, 2, 'bass'), from: 6, to: 9 };
    expect(cells({ bars: bars(4), spans: [late] }, [0], ORDER)).toMatchObject([{ from: 6, to: 9, first: 1, last: 2 }]);
  });

  it('leave out other parts and silence', () => {
    expect(cells({ bars: bars(3), spans: [span(4, 0, 2, 'melody'), span(0, 1, 1, 'tacet')] }, [0], ORDER)).toEqual([]);
  });

  it('are the stronger the surer', () => {
    expect(strength(0.95)).toBe(1);
    expect(strength(0.2)).toBeCloseTo(0.4);
    expect(strength(0.8)).toBeGreaterThan(strength(0.5));
  });
});
