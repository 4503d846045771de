/** Words and geometry of scores laid side by side. */

import type { Compared, DifferenceRow, SideBySide } from './api';
import type { Align } from './route';

const NAMES = ['C', 'C♯', 'D', 'E♭', 'E', 'F', 'F♯', 'G', 'A♭', 'A', 'B♭', 'B'];
const MARKS = ['ppp', 'pp', 'p', 'mp', 'mf', 'f', 'ff', 'fff'];

/** "E♭4": the nearest key, middle C being C4. */
export function keyName(key: number): string {
  const near = Math.min(Math.max(Math.round(key), 0), 127);
  return `${NAMES[near % 12] ?? ''}${Math.floor(near / 12) - 1}`;
}

type Valued = Pick<DifferenceRow, 'unit' | 'is_share'>;

/** A value with its unit, short. Units are those of docs/compare.md. */
export function shown({ unit, is_share }: Valued, value: number): string {
  if (is_share) return `${Math.round(value * 100)} %`;
  if (unit === 'MIDI key') return keyName(value);
  if (unit === 'dynamic step') return MARKS[Math.min(Math.max(Math.round(value), 1), 8) - 1] ?? '';
  return value.toFixed(1).replace('-', '−');
}

/** What the value is of, where the number does not say it. */
export function unitWords({ unit, is_share }: Valued): string {
  if (is_share) return unit.replace(/^share /, '');
  return unit === 'MIDI key' || unit === 'dynamic step' ? '' : unit;
}

/** What the tables call each measure, in words of the trade; those of docs/practice.md. Where the aspect finishes the phrase it takes the dots' place. */
const MEASURES: Readonly<Record<string, string>> = {
  'brass weight': 'balance of loud brass chords: …',
  'chord voicing': 'how chords are voiced: …',
  cohesion: 'whether the section holds together: …',
  density: 'how thick the writing is: …',
  'doubled sections': 'who doubles whom: …',
  dynamics: 'printed dynamics: …',
  entries: 'entries and rests: …',
  'hand offs': 'who passes the melody on: …',
  'melody support': 'who supports the melody: …',
  presence: 'how much it plays: …',
  reserve: 'held in reserve: …',
  'role shares': 'how much of its playing is …',
  separation: 'distance in register: …',
  sharing: 'its share of all the …',
  stack: 'the full group as one chord or several things: …',
  tessitura: 'register: …',
  'thickened lines': 'tunes thickened in parallel: …',
};

/** Aspects that are no phrase by themselves. */
const ASPECTS: Readonly<Record<string, string>> = {
  'presence, bars': 'in how many of all bars it plays',
  'presence, time': 'for how much of the piece it sounds',
  'presence, player-time': 'its share of all playing, player by player',
};

/** What a difference is about: "its share of all the chords". */
export function heading({ measure, aspect }: Pick<DifferenceRow, 'measure' | 'aspect'>): string {
  const whole = ASPECTS[`${measure}, ${aspect}`];
  if (whole) return whole;
  const phrase = MEASURES[measure.replace(/_/g, ' ')] ?? `${measure}: …`;
  return aspect ? phrase.replace('…', aspect) : phrase.replace(/:? …$/, '');
}

/** How large an effect is, by the usual words of Cohen 1988: .2 little, .5 middling, .8 much. */
export function size(effect: number): string {
  const far = Math.abs(effect);
  return far < 0.2 ? 'hardly any' : far < 0.5 ? 'little' : far < 0.8 ? 'middling' : 'much';
}

/** Shares of the width for the two bars of a row: of a whole where it is a share, else of the greater. */
export function extents(row: Pick<DifferenceRow, 'a' | 'b' | 'is_share' | 'unit'>): [number, number] {
  if (row.is_share) return [row.a, row.b];
  // Keys and levels have no zero to be measured from; a keyboard and the eight steps are their whole.
  if (row.unit === 'MIDI key') return [(row.a - 21) / 87, (row.b - 21) / 87];
  if (row.unit === 'dynamic step') return [row.a / 8, row.b / 8];
  const most = Math.max(Math.abs(row.a), Math.abs(row.b), 1e-9);
  return [Math.abs(row.a) / most, Math.abs(row.b) / most];
}

/** What may be said of the sample, before anything else is. */
export function caution(found: Pick<SideBySide, 'a' | 'b' | 'judged' | 'clear' | 'same_piece'>): string[] {
  if (found.same_piece) return [`Two versions of one piece: the ${found.clear} values that differ do so because the music does, not by chance.`];
  const [a, b] = [found.a.works, found.b.works];
  const few = Math.min(a, b);
  const words = a === 1 && b === 1
    ? ['One work each: noise is what varies within each piece. Nothing here speaks of a practice beyond these two.']
    : few === 1
      ? [`One work beside ${Math.max(a, b)}: noise is what varies between the ${Math.max(a, b)}.`]
      : [`${a} works beside ${b}: noise is what varies between works.`];
  if (Math.max(a, b) > 1 && (Math.max(a, b) < 5 || (few > 1 && few < 5))) words.push('Small sample: fewer than five works on a side. Take these as hints of where to look.');
  words.push(`${found.judged} values differ and could be judged; ${found.clear} stand clear of noise, where chance alone would make about ${Math.round(found.judged / 20)} look so.`);
  return words;
}

/** A section over all scores: which row of each score's map it is, -1 where the score has none. */
export interface Lane {
  readonly section: string;
  readonly family: string;
  readonly rows: readonly number[];
}

/** Sections of all scores, each once, in the order of the first score that has them. */
export function lanes(scores: readonly Pick<Compared, 'map'>[]): Lane[] {
  const names: { section: string; family: string }[] = [];
  for (const { map } of scores) {
    map.forEach(({ section, family }, place) => {
      if (names.some((name) => name.section === section && name.family === family)) return;
      // A section the earlier scores lack comes after the one it follows in its own.
      const before = map[place - 1];
      const at = before ? names.findIndex((name) => name.section === before.section && name.family === before.family) : -1;
      names.splice(at + 1, 0, { section, family });
    });
  }
  return names.map((name) => ({ ...name, rows: scores.map(({ map }) => map.findIndex((row) => row.section === name.section && row.family === name.family)) }));
}

/** A score as far as its bars are laid under those of others. */
type Barred = { readonly bars: readonly string[]; readonly rehearsal: Compared['rehearsal'] };

/** How bars of scores lie under each other, over a width from 0 to 1. */
export interface Laid {
  /** Where a moment of a score lies, in its bars: 3.5 is the middle of the fourth. */
  readonly place: (score: number, bar: number) => number;
  /** The bar of a score at a place; `null` where it has none. */
  readonly barAt: (score: number, place: number) => number | null;
  /** What stands over the picture: where, and what it says. */
  readonly ticks: (room: number) => { readonly at: number; readonly text: string }[];
}

/** Rehearsal marks that all scores have, in the order in which all have them: by score the bar of each. */
export function sharedMarks(scores: readonly Barred[]): { readonly text: string; readonly bars: readonly number[] }[] {
  const out: { text: string; bars: number[] }[] = [];
  for (const { text, bar } of scores[0]?.rehearsal ?? []) {
    const bars = scores.map((score) => score.rehearsal.find((mark) => mark.text === text)?.bar ?? -1);
    const before = out.at(-1)?.bars;
    if (bars[0] === bar && bars.every((at, score) => at >= 0 && at > (before?.[score] ?? -1))) out.push({ text, bars });
  }
  return out;
}

/** Lays scores under each other: each over the whole width, bar under bar, or bar under bar from one shared rehearsal mark to the next. */
export function laid(scores: readonly Barred[], align: Align): Laid {
  const longest = Math.max(...scores.map(({ bars }) => bars.length), 1);
  const marks = align === 'mark' ? sharedMarks(scores) : [];
  /** Stretches from mark to mark: where each begins in every score, and how many bars wide it is drawn. */
  const starts = [scores.map(() => 0), ...marks.map(({ bars }) => bars)];
  const ends = [...starts.slice(1), scores.map(({ bars }) => bars.length)];
  const widths = starts.map((start, index) => Math.max(...scores.map((_, score) => (ends[index]?.[score] ?? 0) - (start[score] ?? 0)), 0));
  const total = Math.max(widths.reduce((sum, wide) => sum + wide, 0), 1);
  const before = widths.map((_, index) => widths.slice(0, index).reduce((sum, wide) => sum + wide, 0));
  const all = align === 'mark' ? total : longest;
  const barsOf = (score: number) => scores[score]?.bars.length ?? 0;
  const place = (score: number, bar: number): number => {
    if (align === 'share') return bar / Math.max(barsOf(score), 1);
    if (align === 'bar') return bar / longest;
    const stretch = starts.findLastIndex((start) => (start[score] ?? 0) <= bar);
    return ((before[stretch] ?? 0) + bar - (starts[stretch]?.[score] ?? 0)) / total;
  };
  const barAt = (score: number, at: number): number | null => {
    if (at < 0) return null;
    let bar = Math.floor(at * (align === 'share' ? barsOf(score) : longest) + 1e-9);
    if (align === 'mark') {
      const column = at * total + 1e-9;
      const stretch = before.findLastIndex((start, index) => start <= column && (widths[index] ?? 0) > 0);
      bar = Math.floor(column - (before[stretch] ?? 0)) + (starts[stretch]?.[score] ?? 0);
      if (bar >= (ends[stretch]?.[score] ?? 0)) return null;
    }
    return bar >= 0 && bar < barsOf(score) ? bar : null;
  };
  const ticks = (room: number) => {
    if (align === 'share') return Array.from({ length: 10 }, (_, tenth) => ({ at: tenth / 10, text: `${tenth * 10} %` }));
    if (align === 'mark') return marks.map(({ text }, index) => ({ at: (before[index + 1] ?? 0) / total, text }));
    const step = [5, 10, 20, 25, 50, 100, 200, 250, 500].find((step) => step >= all * room) ?? 1000;
    return Array.from({ length: Math.ceil(all / step) }, (_, index) => ({ at: (index * step) / all, text: `bar ${index * step + 1}` }));
  };
  return { place, barAt, ticks };
}

/** In how many of its bars a section sounds. */
export const presence = (roles: readonly number[]): number => (roles.length === 0 ? 0 : roles.filter((role) => role >= 0).length / roles.length);
