/** What is seen, kept in the address, so that it can be bookmarked and survives reload. */

import type { Stretch } from './axis';

/** How the register view shows notes. */
export const REGISTERS = ['families', 'sections', 'notes'] as const;
export type Register = (typeof REGISTERS)[number];
export const PANELS = ['findings', 'moments', 'corrections'] as const;
export type Panel = (typeof PANELS)[number];

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
}

export type Route = { readonly page: 'shelf' } | ({ readonly page: 'study' } & StudyRoute);

export const fresh = (score: number): StudyRoute => ({
  score, seen: null, open: [], register: 'families', panel: 'findings', question: '', span: null,
});

const round = (time: number) => String(Math.round(time * 1000) / 1000);

/** The address of a route, from `#` on. */
export function written(route: Route): string {
  if (route.page === 'shelf') return '#/';
  const values = new URLSearchParams();
  if (route.seen) values.set('seen', `${round(route.seen.from)}-${round(route.seen.to)}`);
  if (route.open.length > 0) values.set('open', [...route.open].sort((a, b) => a - b).join('.'));
  if (route.register !== 'families') values.set('register', route.register);
  if (route.panel !== 'findings') values.set('panel', route.panel);
  if (route.question) values.set('ask', route.question);
  if (route.span) values.set('span', `${route.span.line}.${route.span.bar}`);
  const text = values.toString();
  return `#/study/${route.score}${text ? `?${text}` : ''}`;
}

function one<T extends string>(text: string | null, of: readonly T[], otherwise: T): T {
  return of.find((word) => word === text) ?? otherwise;
}

/** Reads an address; what is not understood is left out. */
export function read(hash: string): Route {
  const [path = '', search = ''] = hash.replace(/^#/, '').split('?', 2);
  const number = /^\/study\/(\d{1,15})$/.exec(path)?.[1];
  if (number === undefined) return { page: 'shelf' };
  const values = new URLSearchParams(search);
  const seen = /^(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)$/.exec(values.get('seen') ?? '');
  const [from, to] = [Number(seen?.[1]), Number(seen?.[2])];
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
  };
}
