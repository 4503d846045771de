/** Notes drawn once in small, so that zooming and moving over tens of thousands of them costs a few pictures a frame. */

import type { Notes } from './api';
import { lastAt, type Stretch } from './axis';

/** Beyond so many notes in sight the small picture is shown. */
export const MOST_DRAWN = 3500;
const TILE = 4096;

/** Ascending onsets with the longest duration before each, to find what still sounds. */
export interface Sorted {
  readonly onset: Float64Array;
  readonly reach: Float64Array;
}

export function sorted(notes: Notes): Sorted {
  const onset = Float64Array.from(notes.onset);
  const reach = new Float64Array(onset.length);
  let furthest = 0;
  for (let i = 0; i < onset.length; i++) {
    furthest = Math.max(furthest, (onset[i] ?? 0) + (notes.duration[i] ?? 0));
    reach[i] = furthest;
  }
  return { onset, reach };
}

/** First and last (not included) of the notes that may sound within a stretch. */
export function inSight({ onset, reach }: Sorted, seen: Stretch): [number, number] {
  let low = 0;
  let high = reach.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((reach[middle] ?? 0) <= seen.from) low = middle + 1;
    else high = middle;
  }
  const last = onset.length === 0 || (onset[0] ?? 0) >= seen.to ? 0 : lastAt(onset, seen.to) + 1;
  return [low, Math.max(last, low)];
}

export interface NoteImage {
  readonly tiles: HTMLCanvasElement[];
  /** Crotchets a tile. */
  readonly size: number;
  readonly low: number;
  readonly rows: number;
}

/** All notes, one pixel high a key, `width` pixels for the whole piece. */
export function noteImage(notes: Notes, length: number, width: number, low: number, high: number, colour: (note: number) => string): NoteImage {
  const rows = high - low + 1;
  const count = Math.max(Math.ceil(width / TILE), 1);
  const scale = width / length;
  const tiles: HTMLCanvasElement[] = [];
  const pens = Array.from({ length: count }, () => {
    const tile = document.createElement('canvas');
    tile.width = TILE;
    tile.height = rows;
    tiles.push(tile);
    return tile.getContext('2d');
  });
  for (let i = 0; i < notes.onset.length; i++) {
    const key = notes.key[i] ?? -1;
    if (key < low || key > high) continue;
    const x = (notes.onset[i] ?? 0) * scale;
    const wide = Math.max((notes.duration[i] ?? 0) * scale, 1);
    for (let tile = Math.floor(x / TILE); tile <= Math.floor((x + wide) / TILE) && tile < count; tile++) {
      const pen = pens[tile];
      if (!pen) continue;
      pen.fillStyle = colour(i);
      pen.fillRect(x - tile * TILE, high - key, wide, 1);
    }
  }
  return { tiles, size: TILE / scale, low, rows };
}

/** Draws what is in sight of the small picture. */
export function drawImage(context: CanvasRenderingContext2D, image: NoteImage, seen: Stretch, width: number, height: number): void {
  context.imageSmoothingEnabled = false;
  const perCrotchet = width / (seen.to - seen.from);
  image.tiles.forEach((tile, index) => {
    const from = Math.max(seen.from, index * image.size);
    const to = Math.min(seen.to, (index + 1) * image.size);
    if (to <= from) return;
    const scale = TILE / image.size;
    context.drawImage(tile, (from - index * image.size) * scale, 0, (to - from) * scale, image.rows, (from - seen.from) * perCrotchet, 0, (to - from) * perCrotchet, height);
  });
}
