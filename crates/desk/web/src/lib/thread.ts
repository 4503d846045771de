/** The melody as one thread that runs from carrier to carrier over the rows of their sections. */

import type { View } from './api';
import { inWords } from './words';

/** A stretch of the thread with one carrier. */
export interface Strand {
  readonly index: number;
  readonly from: number;
  readonly to: number;
  readonly row: number;
  readonly part: number;
  /** Rows of those that carry it too. */
  readonly support: number[];
}

/** Where the thread passes from one row to another. */
export interface HandOff {
  readonly from: number;
  readonly to: number;
  readonly fromRow: number;
  readonly toRow: number;
  /** Half the length of the strand before and of the one after, in crotchets: a curve drawn further than that would run past what it joins. */
  readonly room: readonly [number, number];
}

/** How far the curve of a hand-off lies over the strands it joins, in pixels: never over more than half of either. `gap` is what lies between them. */
export function reach(gap: number, room: readonly [number, number], perCrotchet: number): [number, number] {
  const wanted = Math.max(Math.min(gap / 2, 60), 7);
  return [Math.min(wanted, room[0] * perCrotchet), Math.min(wanted, room[1] * perCrotchet)];
}

export interface Thread {
  /** Sections that carry the melody somewhere or support who does, in score order. */
  readonly sections: number[];
  readonly strands: Strand[];
  readonly handOffs: HandOff[];
}

/** Lays the thread out. A pause of more than `pause` crotchets breaks it. */
export function thread(view: Pick<View, 'melody' | 'sections'>, pause = 16): Thread {
  const sectionOf = new Map<number, number>();
  view.sections.forEach((section, index) => section.parts.forEach((part) => sectionOf.set(part, index)));
  const used = new Set<number>();
  for (const { part, with: others } of view.melody) {
    for (const one of [part, ...others]) {
      const section = sectionOf.get(one);
      if (section !== undefined) used.add(section);
    }
  }
  const sections = [...used].sort((a, b) => a - b);
  const rowOf = (part: number) => sections.indexOf(sectionOf.get(part) ?? -1);
  const strands = view.melody.map((carried, index): Strand => {
    const row = rowOf(carried.part);
    const support = [...new Set(carried.with.map(rowOf))].filter((other) => other >= 0 && other !== row);
    return { index, from: carried.from, to: carried.to, row, part: carried.part, support };
  });
  const handOffs: HandOff[] = [];
  for (let i = 1; i < strands.length; i++) {
    const [before, after] = [strands[i - 1], strands[i]];
    if (!before || !after || before.row === after.row || after.from - before.to > pause) continue;
    handOffs.push({ from: Math.min(before.to, after.from), to: after.from, fromRow: before.row, toRow: after.row, room: [(before.to - before.from) / 2, (after.to - after.from) / 2] });
  }
  return { sections, strands, handOffs };
}

/** "Bars 35 to 45", "Bar 71". */
export const barsFrom = (first: string, last: string): string => (first === last ? `Bar ${first}` : `Bars ${first} to ${last}`);

const INTERVALS = ['', 'a semitone', 'a tone', 'a minor third', 'a major third', 'a fourth', 'a tritone', 'a fifth', 'a minor sixth', 'a major sixth', 'a minor seventh', 'a major seventh'];

/** How far a theme stands from its first full form: ", a fourth higher", ", two octaves lower", ", an octave and a fifth higher"; nothing in the same place. */
export function moved(semitones: number): string {
  const far = Math.abs(semitones);
  if (far === 0) return '';
  const [octaves, rest] = [Math.floor(far / 12), INTERVALS[far % 12] ?? ''];
  const wide = octaves === 0 ? '' : octaves === 1 ? 'an octave' : `${inWords(octaves)} octaves`;
  return `, ${[wide, rest].filter(Boolean).join(' and ')} ${semitones > 0 ? 'higher' : 'lower'}`;
}
