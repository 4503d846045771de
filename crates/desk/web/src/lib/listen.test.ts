import { describe, expect, it } from 'vitest';
import { clock, gains, Packets, passage, placeAt } from './listen';

/** Bars 0 and 1 repeated, then 2; the second bar at half the tempo. */
const bars = [
  { bar: 0, from: 0, to: 2 }, { bar: 1, from: 2, to: 6 }, { bar: 0, from: 6, to: 8 }, { bar: 1, from: 8, to: 12 }, { bar: 2, from: 12, to: 14 },
];
const sound = { rate: 44100, sections: ['horns'], bars, assumed: false, soundfont: false, caution: '' };
const view = { bars: [0, 4, 8].map((onset, index) => ({ label: String(index + 1), onset, length: 4 })) };

describe('time', () => {
  it('plays from the first time a bar is heard to the next end', () => {
    expect(passage(bars, 0, 1)).toEqual({ from: 0, to: 6 });
    expect(passage(bars, 1, 2)).toEqual({ from: 2, to: 14 });
    expect(passage(bars, 7, 8)).toBeNull();
  });

  it('finds the place on the page, in repeats too', () => {
    expect(placeAt(sound, view, 4)).toEqual({ bar: 1, time: 6 });
    expect(placeAt(sound, view, 7)).toEqual({ bar: 0, time: 2 });
    expect(placeAt(sound, view, 99)).toEqual({ bar: 2, time: 12 });
  });

  it('says minutes and seconds', () => expect([clock(0), clock(65.9)]).toEqual(['0:00', '1:05']));
});

describe('packets', () => {
  const packet = (first: number, sections: number[], frames: number): Uint8Array => {
    const bytes = new ArrayBuffer(16 + sections.length * frames * 8);
    const head = new DataView(bytes);
    head.setUint32(0, frames, true);
    for (const section of sections) {
      const word = section < 32 ? 4 : 8;
      head.setUint32(word, (head.getUint32(word, true) | (1 << (section % 32))) >>> 0, true);
    }
    head.setUint32(12, first, true);
    new Float32Array(bytes, 16).forEach((_, index, all) => (all[index] = first + index));
    return new Uint8Array(bytes);
  };

  it('are the same however the bytes arrive', () => {
    const all = new Uint8Array([...packet(0, [1, 31, 40], 3), ...packet(3, [], 3), ...packet(6, [0], 2)]);
    for (const step of [1, 7, 33, 1000]) {
      const packets = new Packets();
      const out = [];
      for (let at = 0; at < all.length; at += step) out.push(...packets.take(all.slice(at, at + step)));
      expect(out.map(({ first, frames, sections }) => [first, frames, sections])).toEqual([[0, 3, [1, 31, 40]], [3, 3, []], [6, 2, [0]]]);
      expect([...(out[0]?.samples ?? [])].slice(0, 4)).toEqual([0, 1, 2, 3]);
      expect([...(out[2]?.samples ?? [])]).toEqual([6, 7, 8, 9]);
    }
  });
});

it('sections are off, or others alone', () => {
  expect([...gains(3, new Set([1]), new Set())]).toEqual([1, 0, 1]);
  expect([...gains(3, new Set([1]), new Set([1]))]).toEqual([0, 1, 0]);
});
