/** What is seen, kept in the address, so that it can be bookmarked and survives reload. */

import type { Stretch } from './axis';
import { STAVES, type Staves } from './staves';
import { situationOf, spelled, HALL, type Situation } from './balance';

/** How the register view shows notes. */
export const REGISTERS = ['families', 'sections', 'notes'] as const;
export type Register = (typeof REGISTERS)[number];
export const PANELS = ['findings', 'moments', 'corrections', 'notes'] as const;
export type Panel = (typeof PANELS)[number];

/** What the score panel shows. */
export interface Engraved {
  readonly staves: Staves;
  readonly concert: boolean;
}

/** Views that can be folded to their heading. */
export const FOLDS = ['balance', 'melody'] as const;
export type Fold = (typeof FOLDS)[number];

/** The study view of a score. */
export interface StudyRoute {
  readonly score: number;
  /** `null` for the whole piece. */
  readonly seen: Stretch | null;
  readonly open: readonly number[];
  readonly register: Register;
  readonly panel: Panel;
  readonly question: string;
  /** The span being looked into, by its line and its first bar: numbers of spans change with corrections. */
  readonly span: { readonly line: number; readonly bar: number } | null;
  /** Bars to go to, first and last; read only, `seen` stands in the address afterwards. */
  readonly bars: readonly [number, number] | null;
  /** Bars chosen to be engraved, heard or taken away. */
  readonly chosen: readonly [number, number] | null;
  /** Where balance is judged. */
  readonly situation: Situation;
  /** The score panel; `null` while it is closed. */
  readonly engraved: Engraved | null;
  readonly folded: readonly Fold[];
}

/** In what order scores stand on the shelf. */
export const SORTS = ['newest', 'title', 'composer', 'bars', 'parts'] as const;
export type Sort = (typeof SORTS)[number];

/** The shelf. */
export interface ShelfRoute {
  readonly words: string;
  /** Only scores that have all of these. */
  readonly tags: readonly string[];
  readonly sort: Sort;
  /** A question put to all scores. */
  readonly question: string;
}

/** How bars of different scores are laid under each other. */
export const ALIGNS = ['share', 'bar', 'mark'] as const;
export type Align = (typeof ALIGNS)[number];

/** What is drawn of scores side by side. */
export const SHOWN = ['roles', 'registers'] as const;
export type Shows = (typeof SHOWN)[number];

/** Who is on a side: scores by number, saved profiles with a p. */
export const sideOf = (scores: readonly number[], saved: readonly number[]): string => [...scores, ...saved.map((profile) => `p${profile}`)].join('.');

/** Nobody on either side yet. */
export const COMPARE: CompareRoute = { a: [], b: [], savedA: [], savedB: [], shows: 'roles', align: 'share', group: '' };

/** Scores side by side. */
export interface CompareRoute {
  /** Scores of the one side, and saved profiles. */
  readonly a: readonly number[];
  readonly b: readonly number[];
  readonly savedA: readonly number[];
  readonly savedB: readonly number[];
  /** What is drawn of the scores: who has which role, or how high and low families sound. */
  readonly shows: Shows;
  readonly align: Align;
  readonly group: string;
}

/** Writing: a draft, a score looked through for objections, or the drafts. */
export interface WriteRoute {
  readonly draft: number | null;
  readonly check: number | null;
}

export type Route =
  | ({ readonly page: 'write' } & WriteRoute)
  | ({ readonly page: 'shelf' } & ShelfRoute)
  | ({ readonly page: 'study' } & StudyRoute)
  | ({ readonly page: 'compare' } & CompareRoute)
  /** A chart being made; without a score one to begin. */
  | { readonly page: 'chart'; readonly score: number | null };

export const fresh = (score: number): StudyRoute => ({
  score, seen: null, open: [], register: 'families', panel: 'findings', question: '', span: null, bars: null, chosen: null, situation: HALL, engraved: null, folded: [],
});

export const SHELF: ShelfRoute = { words: '', tags: [], sort: 'newest', question: '' };

const round = (time: number) => String(Math.round(time * 1000) / 1000);

/** The address of a route, from `#` on. */
export function written(route: Route): string {
  const values = new URLSearchParams();
  const after = () => {
    const text = values.toString();
    return text ? `?${text}` : '';
  };
  if (route.page === 'write') return route.draft !== null ? `#/write/${route.draft}` : route.check !== null ? `#/write/check/${route.check}` : '#/write';
  if (route.page === 'shelf') {
    if (route.words) values.set('words', route.words);
    for (const tag of route.tags) values.append('tag', tag);
    if (route.sort !== 'newest') values.set('sort', route.sort);
    if (route.question) values.set('ask', route.question);
    return `#/${after()}`;
  }
  if (route.page === 'compare') {
    values.set('a', sideOf(route.a, route.savedA));
    values.set('b', sideOf(route.b, route.savedB));
    if (route.shows !== 'roles') values.set('shows', route.shows);
    if (route.align !== 'share') values.set('align', route.align);
    if (route.group) values.set('group', route.group);
    return `#/compare${after()}`;
  }
  if (route.page === 'chart') return route.score === null ? '#/chart' : `#/chart/${route.score}`;
  if (route.seen) values.set('seen', `${round(route.seen.from)}-${round(route.seen.to)}`);
  if (route.open.length > 0) values.set('open', [...route.open].sort((a, b) => a - b).join('.'));
  if (route.register !== 'families') values.set('register', route.register);
  if (route.panel !== 'findings') values.set('panel', route.panel);
  if (route.question) values.set('ask', route.question);
  if (route.span) values.set('span', `${route.span.line}.${route.span.bar}`);
  if (route.bars) values.set('bars', route.bars.join('-'));
  if (route.chosen) values.set('chosen', route.chosen.join('-'));
  if (route.situation.place !== 'hall') values.set('heard', spelled(route.situation));
  if (route.engraved) values.set('score', `${route.engraved.staves}${route.engraved.concert ? '.concert' : ''}`);
  if (route.folded.length > 0) values.set('fold', FOLDS.filter((fold) => route.folded.includes(fold)).join('.'));
  return `#/study/${route.score}${after()}`;
}

function one<T extends string>(text: string | null, of: readonly T[], otherwise: T): T {
  return of.find((word) => word === text) ?? otherwise;
}

function numbers(text: string | null, before = ''): number[] {
  const of = (text ?? '').split('.').filter((word) => word.startsWith(before)).map((word) => word.slice(before.length));
  const found = of.filter((word) => /^\d{1,15}$/.test(word)).map(Number);
  return [...new Set(found)].slice(0, 24);
}

function engravedOf(text: string | null): Engraved | null {
  const [word, pitch] = (text ?? '').split('.');
  const staves = STAVES.find((staves) => staves === word);
  return staves ? { staves, concert: pitch === 'concert' } : null;
}

/** The address of bars in a score, with the question they answer. */
export const toBars = (score: number, bars: readonly (number | undefined)[], question = ''): string =>
  written({ page: 'study', ...fresh(score), question, bars: [bars[0] ?? 0, bars[1] ?? bars[0] ?? 0] });

/** Reads an address; what is not understood is left out. */
export function read(hash: string): Route {
  const [path = '', search = ''] = hash.replace(/^#/, '').split('?', 2);
  const values = new URLSearchParams(search);
  if (path === '/compare') {
    return {
      page: 'compare', a: numbers(values.get('a')), b: numbers(values.get('b')), savedA: numbers(values.get('a'), 'p'), savedB: numbers(values.get('b'), 'p'),
      shows: one(values.get('shows'), SHOWN, 'roles'),
      align: one(values.get('align'), ALIGNS, 'share'), group: (values.get('group') ?? '').slice(0, 100),
    };
  }
  const chart = /^\/chart(?:\/(\d{1,15}))?$/.exec(path);
  if (chart) return { page: 'chart', score: chart[1] === undefined ? null : Number(chart[1]) };
  const write = /^\/write(?:\/(check\/)?(\d{1,9}))?$/.exec(path);
  if (write) {
    const of = write[2] === undefined ? null : Number(write[2]);
    return { page: 'write', draft: write[1] ? null : of, check: write[1] ? of : null };
  }
  const number = /^\/study\/(\d{1,15})$/.exec(path)?.[1];
  if (number === undefined) {
    const text = (name: string) => (values.get(name) ?? '').slice(0, 4000);
    return { page: 'shelf', words: text('words'), tags: [...new Set(values.getAll('tag').filter((tag) => tag.length > 0 && tag.length <= 100))].slice(0, 24), sort: one(values.get('sort'), SORTS, 'newest'), question: text('ask') };
  }
  const seen = /^(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)$/.exec(values.get('seen') ?? '');
  const [from, to] = [Number(seen?.[1]), Number(seen?.[2])];
  const bars = /^(\d{1,9})-(\d{1,9})$/.exec(values.get('bars') ?? '');
  const chosen = /^(\d{1,9})-(\d{1,9})$/.exec(values.get('chosen') ?? '');
  const span = /^(\d{1,9})\.(\d{1,9})$/.exec(values.get('span') ?? '');
  return {
    page: 'study',
    score: Number(number),
    seen: from < to ? { from, to } : null,
    open: (values.get('open') ?? '').split('.').filter((text) => /^\d{1,4}$/.test(text)).map(Number),
    register: one(values.get('register'), REGISTERS, 'families'),
    panel: one(values.get('panel'), PANELS, 'findings'),
    question: (values.get('ask') ?? '').slice(0, 4000),
    span: span ? { line: Number(span[1]), bar: Number(span[2]) } : null,
    bars: bars ? [Number(bars[1]), Number(bars[2])] : null,
    chosen: chosen && Number(chosen[1]) <= Number(chosen[2]) ? [Number(chosen[1]), Number(chosen[2])] : null,
    situation: situationOf(values.get('heard')),
    engraved: engravedOf(values.get('score')),
    folded: FOLDS.filter((fold) => (values.get('fold') ?? '').split('.').includes(fold)),
  };
}
