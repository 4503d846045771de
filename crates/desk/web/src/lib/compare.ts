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

/** Where a bar of a score begins, 0 to 1: of its own bars, or of those of the longest score. */
export const placed = (bar: number, bars: number, longest: number, align: Align): number => bar / Math.max(align === 'share' ? bars : longest, 1);

/** The bar at a place; `null` beyond the end. */
export function barAt(place: number, bars: number, longest: number, align: Align): number | null {
  const bar = Math.floor(place * (align === 'share' ? bars : longest));
  return bar >= 0 && bar < bars ? bar : null;
}

/** In how many of its bars a section sounds. */
export const presence = (roles: readonly number[]): number => (roles.length === 0 ? 0 : roles.filter((role) => role >= 0).length / roles.length);
