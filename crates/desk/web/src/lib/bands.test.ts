import { describe, expect, it } from 'vitest';
import { band, columns, compass, FINE, gaps, gapWords, gathered, held, keyName, small } from './bands';

const notes = (...rows: [number, number, number, number][]) => ({
  onset: rows.map((row) => row[0]), duration: rows.map((row) => row[1]), key: rows.map((row) => row[2]), part: rows.map((row) => row[3]), span: rows.map(() => -1), dynamic: rows.map(() => 0),
});

describe('bands', () => {
  it('follow the outer notes of a group', () => {
    const found = band(notes([0, 4, 60, 0], [1, 1, 72, 0], [0, 8, 30, 1]), (part) => part === 0);
    expect([...found.times]).toEqual([0, 1, 2, 4]);
    expect([...found.low]).toEqual([60, 60, 60, -1]);
    expect([...found.high]).toEqual([60, 72, 60, -1]);
  });

  it('agree with looking at every note, moment by moment', () => {
    // A small generator of pseudo-random numbers (Park and Miller 1988), so that every run is the same.
    let seed = 7;
    const random = (below: number) => (seed = (seed * 48271) % 2147483647) % below;
    const rows = Array.from({ length: 400 }, (): [number, number, number, number] => [random(200) / 4, random(12) / 4, 30 + random(60), random(3)]);
    const all = notes(...rows);
    const found = band(all, (part) => part !== 2);
    for (let at = 0.125; at < 52; at += 0.25) {
      const keys = rows.filter(([onset, length, , part]) => part !== 2 && onset <= at && onset + length > at).map((row) => row[2]);
      const index = [...found.times].findLastIndex((time) => time <= at);
      const [low, high] = index < 0 ? [-1, -1] : [found.low[index], found.high[index]];
      expect([low, high]).toEqual(keys.length ? [Math.min(...keys), Math.max(...keys)] : [-1, -1]);
    }
  });

  it('keep outer notes when columns are broad', () => {
    const found = columns(band(notes([0, 1, 60, 0], [1, 1, 80, 0], [6, 1, 50, 0]), () => true), 0, 8, 4);
    expect([...found.low]).toEqual([60, -1, -1, 50]);
    expect([...found.high]).toEqual([80, -1, -1, 50]);
  });

  it('are the same from far, whichever way they are counted', () => {
    let seed = 11;
    const random = (below: number) => (seed = (seed * 48271) % 2147483647) % below;
    const all = notes(...Array.from({ length: 900 }, (): [number, number, number, number] => [random(4000) / 4, 1 + random(8), 30 + random(60), 0]));
    const found = band(all, () => true);
    const length = 1024;
    // Edges of columns that are edges of the small band's columns too, so that both look at the same stretches.
    for (const [from, to] of [[0, 1024], [256, 768], [128, 384]] as const) {
      const count = ((to - from) / length) * (FINE / 8);
      expect(gathered(small(found, length), length, from, to, count)).toEqual(columns(found, from, to, count));
    }
  });

  it('tell what lies between groups at a moment', () => {
    const low = band(notes([0, 4, 40, 0], [0, 4, 52, 0]), () => true);
    expect(held('strings', low, 2)).toEqual({ name: 'strings', low: 40, high: 52 });
    expect([held('strings', low, 4), held('strings', low, -1)]).toEqual([null, null]);
    // An octave from C4 to C5 free; brass and woodwind share C5 to E5.
    const found = gaps([{ name: 'woodwind', low: 72, high: 90 }, { name: 'strings', low: 36, high: 60 }, { name: 'brass', low: 72, high: 76 }]);
    expect(found).toEqual([{ below: 'strings', above: 'brass', free: 12 }, { below: 'brass', above: 'woodwind', free: -5 }]);
    expect(found.map(gapWords)).toEqual(['12 semitones from strings up to brass', 'brass and woodwind share 5 keys']);
    // Who lies inside another does not make a gap above it.
    expect(gaps([{ name: 'a', low: 40, high: 80 }, { name: 'b', low: 50, high: 55 }, { name: 'c', low: 70, high: 90 }])[1]).toEqual({ below: 'a', above: 'c', free: -11 });
  });

  it('have a compass in octaves', () => {
    expect(compass(notes([0, 1, 61, 0], [0, 1, -1, 0], [0, 1, 71, 0]))).toEqual({ low: 60, high: 72 });
    expect(compass(notes())).toEqual({ low: 48, high: 72 });
    expect([60, 69, 22].map(keyName)).toEqual(['C4', 'A4', 'B♭0']);
  });
});
