/** Balance on the page: situations, grades, and what is said of bars and spans. Pure functions. */

import type { View, Weighed } from './api';
import { withSigns } from './rows';

export const PLACES = ['hall', 'stage', 'mix', 'off'] as const;
export type Place = (typeof PLACES)[number];

/** Where it is heard; `off` where nobody asked. */
export interface Situation {
  readonly place: Place;
  /** On the stage: the part at whose desk; the conductor's place without it. */
  readonly part: number | null;
  /** In a mix: what it adds to each section, in whole dB; empty until they are given. */
  readonly levels: readonly number[];
}

export const HALL: Situation = { place: 'hall', part: null, levels: [] };

/** Most and least that a mix adds. */
export const LEVELS = { least: -60, most: 20 } as const;

/** "stage.4", "mix.0.-6". */
export function spelled({ place, part, levels }: Situation): string {
  return [place, ...(place === 'stage' && part !== null ? [part] : []), ...(place === 'mix' ? levels : [])].join('.');
}

/** Reads what {@link spelled} wrote; the hall for anything else. */
export function situationOf(text: string | null): Situation {
  const [word = '', ...rest] = (text ?? '').split('.');
  const place = PLACES.find((place) => place === word);
  const numbers = rest.filter((number) => /^-?\d{1,4}$/.test(number)).map(Number);
  if (!place || numbers.length !== rest.length) return HALL;
  if (place === 'stage') return { place, part: numbers[0] !== undefined && numbers[0] >= 0 ? numbers[0] : null, levels: [] };
  return { place, part: null, levels: place === 'mix' ? numbers.slice(0, 200).map((level) => Math.min(Math.max(level, LEVELS.least), LEVELS.most)) : [] };
}

/** What the server is asked: levels by section become levels by part. */
export function asked(situation: Situation, view: Pick<View, 'sections' | 'parts'>): Record<string, string | number> {
  const { place, part, levels } = situation;
  if (place === 'stage') return part === null || part >= view.parts.length ? { place } : { place, part };
  if (place !== 'mix' || levels.length !== view.sections.length) return { place };
  const of = view.parts.map((_, part) => levels[view.sections.findIndex((section) => section.parts.includes(part))] ?? 0);
  return { place, levels: of.join() };
}

/** Grades of a margin from the lowest, as the server's: each below so many dB, drawn with a texture of its own. */
export const GRADES = [
  { word: 'covered', short: 'covered', below: 3, weave: 'crossed' },
  { word: 'hard to hear', short: 'hard to hear', below: 9, weave: 'rising' },
  { word: 'heard among others', short: 'among others', below: 15, weave: 'dots' },
  { word: 'clear', short: 'clear', below: 21, weave: 'level' },
  { word: 'prominent', short: 'prominent', below: Infinity, weave: 'plain' },
] as const;

/** The grade of a margin: a place in {@link GRADES}. */
export const gradeOf = (margin: number): number => GRADES.findIndex((grade) => margin < grade.below);

export const EVENNESS = [
  { word: 'even', weave: 'plain' },
  { word: 'fairly even', weave: 'dots' },
  { word: 'uneven', weave: 'crossed' },
] as const;

/** Height above the foot of the strip, 0 to 1: five grades of equal height from -3 to 27 dB. */
export const heightOf = (margin: number): number => Math.min(Math.max((margin + 3) / 30, 0.04), 1);

/** "+5", "−4", "0". */
export function signed(value: number): string {
  const whole = Math.round(value);
  return whole === 0 ? '0' : `${whole > 0 ? '+' : '−'}${Math.abs(whole)}`;
}

/** Whom a list of parts names: all of up to three, else two and how many more. */
export function together(parts: readonly number[], name: (part: number) => string): string {
  if (parts.length === 0) return 'notes of no line';
  return parts.length > 3 ? `${parts.slice(0, 2).map(name).join(', ')} and ${parts.length - 2} more` : parts.map(name).join(', ');
}

/** What masks a line, most first, each with what silence there would gain: "violins (4 dB); cellos (1 dB)"; less than half a decibel is left out. */
export function maskedBy(maskers: readonly { readonly called: string; readonly gain: number }[]): string {
  return maskers.filter(({ gain }) => gain >= 0.5).slice(0, 3).map(({ called, gain }) => `${withSigns(called)} (${Math.round(gain)} dB)`).join('; ');
}

/** The uncertainty that goes with a count of bars: the middle of their standard deviations, in whole dB. */
export function usualSpread(told: readonly { readonly spread: number }[]): number {
  const sorted = told.map(({ spread }) => spread).sort((a, b) => a - b);
  return Math.round(sorted[sorted.length >> 1] ?? 0);
}

/** How spans are heard in the bars of a cell: in the middle of the bars, and where worst; `null` where they are silent. */
export function heardIn(spans: readonly number[], first: number, last: number, view: Pick<View, 'spans'>, weighed: Pick<Weighed, 'spans'>): { middle: number; worst: number; bar: number } | null {
  const found: { bar: number; margin: number }[] = [];
  for (let bar = first; bar <= last; bar++) {
    // A row that shows several lines is heard as well as the best of them.
    const here = spans.map((span) => weighed.spans[span]?.[bar - (view.spans[span]?.first ?? 0)] ?? null).filter((margin) => margin !== null);
    if (here.length > 0) found.push({ bar, margin: Math.max(...here) });
  }
  const worst = found.reduce<(typeof found)[number] | null>((least, one) => (least === null || one.margin < least.margin ? one : least), null);
  if (!worst) return null;
  const sorted = found.map(({ margin }) => margin).sort((a, b) => a - b);
  return { middle: sorted[sorted.length >> 1] ?? 0, worst: worst.margin, bar: worst.bar };
}

/** A tone or section sticks out from here on, in phon against the mean of its chord. */
export const STICKS_OUT = 3;

/** Which sections of a chord stick out and which stay behind: "trumpets +5, violas −4". */
export function sticking(chord: { readonly sections: readonly { section: string; above: number }[] }): string {
  const out = chord.sections.filter(({ above }) => Math.abs(above) >= STICKS_OUT);
  return out.map(({ section, above }) => `${section} ${signed(above)}`).join(', ');
}
