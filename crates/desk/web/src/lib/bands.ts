/** Register: where the notes of a group lie, moment by moment. */

import type { Notes } from './api';
import { lastAt } from './axis';

/** Lowest and highest sounding key from each time on; both -1 where the group is silent. Times ascend. */
export interface Band {
  readonly times: Float64Array;
  readonly low: Int16Array;
  readonly high: Int16Array;
}

/** The band of some parts. Percussion without pitch and grace notes are left out. Cost: n log n in the group's notes. */
export function band(notes: Notes, isMember: (part: number) => boolean): Band {
  const events: [number, number, number][] = [];
  for (let i = 0; i < notes.onset.length; i++) {
    const key = notes.key[i] ?? -1;
    const length = notes.duration[i] ?? 0;
    if (key < 0 || length <= 0 || !isMember(notes.part[i] ?? -1)) continue;
    const onset = notes.onset[i] ?? 0;
    events.push([onset, key, 1], [onset + length, key, -1]);
  }
  events.sort((a, b) => a[0] - b[0]);
  const counts = new Int32Array(128);
  const [times, low, high]: [number[], number[], number[]] = [[], [], []];
  let [lowest, highest] = [128, -1];
  for (let i = 0; i < events.length; ) {
    const at = events[i]?.[0] ?? 0;
    // What ends here within a thousandth of a crotchet of what begins is one moment.
    for (; i < events.length && (events[i]?.[0] ?? 0) - at < 0.001; i++) {
      const [, key, change] = events[i] ?? [0, 0, 0];
      counts[key] = (counts[key] ?? 0) + change;
      if (change > 0) {
        lowest = Math.min(lowest, key);
        highest = Math.max(highest, key);
      }
    }
    while (lowest < 128 && counts[lowest] === 0) lowest++;
    while (highest >= 0 && counts[highest] === 0) highest--;
    const [l, h] = highest < 0 || lowest > 127 ? [-1, -1] : [lowest, highest];
    if (l < 0) [lowest, highest] = [128, -1];
    if (low.at(-1) === l && high.at(-1) === h) continue;
    times.push(at);
    low.push(l);
    high.push(h);
  }
  return { times: Float64Array.from(times), low: Int16Array.from(low), high: Int16Array.from(high) };
}

/** A band over equal columns: lowest and highest anywhere in each column, -1 where it is silent throughout. */
export function columns(band: Band, from: number, to: number, count: number): { low: Int16Array; high: Int16Array } {
  const low = new Int16Array(count).fill(-1);
  const high = new Int16Array(count).fill(-1);
  const size = (to - from) / count;
  for (let i = lastAt(band.times, from); i < band.times.length; i++) {
    const begin = band.times[i] ?? 0;
    if (begin >= to) break;
    const end = band.times[i + 1] ?? begin;
    const [l, h] = [band.low[i] ?? -1, band.high[i] ?? -1];
    if (l < 0 || end <= from) continue;
    const first = Math.max(Math.floor((begin - from) / size), 0);
    const last = Math.min(Math.ceil((end - from) / size) - 1, count - 1);
    for (let column = first; column <= Math.max(last, first) && column < count; column++) {
      const known = low[column] ?? -1;
      low[column] = known < 0 ? l : Math.min(known, l);
      high[column] = Math.max(high[column] ?? -1, h);
    }
  }
  return { low, high };
}

/** How many columns {@link small} has. */
export const FINE = 8192;

/** The whole band in {@link FINE} columns, from which far views are drawn without looking at every note again. */
export function small(band: Band, length: number): { low: Int16Array; high: Int16Array } {
  return columns(band, 0, length, FINE);
}

/** As {@link columns}, from the small band: for views in which a column holds two of its columns or more. */
export function gathered(small: { low: Int16Array; high: Int16Array }, length: number, from: number, to: number, count: number): { low: Int16Array; high: Int16Array } {
  const low = new Int16Array(count).fill(-1);
  const high = new Int16Array(count).fill(-1);
  const scale = FINE / length;
  const step = ((to - from) * scale) / count;
  for (let column = 0; column < count; column++) {
    const first = Math.floor(from * scale + column * step);
    const end = Math.min(Math.floor(from * scale + (column + 1) * step), FINE);
    let [l, h] = [128, -1];
    for (let i = first; i < end; i++) {
      const at = small.low[i] ?? -1;
      if (at < 0) continue;
      l = Math.min(l, at);
      h = Math.max(h, small.high[i] ?? -1);
    }
    if (h < 0) continue;
    low[column] = l;
    high[column] = h;
  }
  return { low, high };
}

/** Lowest and highest key of all notes, widened to whole octaves from C to C; two octaves around middle C without notes. */
export function compass(notes: Notes): { low: number; high: number } {
  let [low, high] = [128, -1];
  for (const key of notes.key) {
    if (key < 0) continue;
    low = Math.min(low, key);
    high = Math.max(high, key);
  }
  return high < 0 ? { low: 48, high: 72 } : { low: Math.floor(low / 12) * 12, high: Math.ceil((high + 1) / 12) * 12 };
}

/** Lowest and highest key of a group at a moment. */
export interface Held {
  readonly name: string;
  readonly low: number;
  readonly high: number;
}

/** The band of a group at a moment; `null` where it is silent. */
export function held(name: string, band: Band, time: number): Held | null {
  const at = lastAt(band.times, time);
  const [low, high] = [band.low[at] ?? -1, band.high[at] ?? -1];
  return low < 0 || (band.times[at] ?? Infinity) > time ? null : { name, low, high };
}

/** What lies between groups from below, neighbour by neighbour: how many semitones are free between them, or shared by both (less than 0: so many keys in common). */
export function gaps(held: readonly Held[]): { readonly below: string; readonly above: string; readonly free: number }[] {
  const sorted = [...held].sort((a, b) => a.low - b.low || a.high - b.high);
  const out: { below: string; above: string; free: number }[] = [];
  let top = sorted[0];
  for (const next of sorted.slice(1)) {
    // Of those below, the one that reaches highest.
    if (!top) break;
    out.push({ below: top.name, above: next.name, free: next.low > top.high ? next.low - top.high : -(Math.min(top.high, next.high) - next.low + 1) });
    if (next.high > top.high) top = next;
  }
  return out;
}

/** "7 semitones free between strings and brass", "woodwind and brass share 5 keys". */
export function gapWords({ below, above, free }: ReturnType<typeof gaps>[number]): string {
  if (free < 0) return `${below} and ${above} share ${-free === 1 ? 'one key' : `${-free} keys`}`;
  return free === 1 ? `${below} and ${above} lie close` : `${free} semitones from ${below} up to ${above}`;
}

const NAMES = ['C', 'C♯', 'D', 'E♭', 'E', 'F', 'F♯', 'G', 'A♭', 'A', 'B♭', 'B'];

/** "C4" for 60, middle C. */
export function keyName(key: number): string {
  return `${NAMES[((key % 12) + 12) % 12]}${Math.floor(key / 12) - 1}`;
}
