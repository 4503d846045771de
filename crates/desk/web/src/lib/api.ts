/** What the page asks of its server, typed by the server's own description. */

import type { components } from '../generated/api';
import { entry } from './entry.svelte';

type Schemas = components['schemas'];
export type View = Schemas['View'];
export type Span = Schemas['Span'];
export type Notes = Schemas['Notes'];
export type Card = Schemas['Card'];
export type Carried = Schemas['Carried'];
export type Noted = Schemas['Noted'];
export type Cited = Schemas['Cited'];
export type Evidence = Schemas['Evidence'];
export type Answer = Schemas['Answer'];
export type JobState = Schemas['JobState'];
export type Wanted = Schemas['Wanted'];
export type InScore = Schemas['InScore'];
export type SqlRows = Schemas['SqlRows'];
export type Own = Schemas['Own'];
export type KeptQuestion = Schemas['KeptQuestion'];
export type SideBySide = Schemas['SideBySide'];
export type DifferenceRow = Schemas['DifferenceRow'];
export type Compared = Schemas['Compared'];
export type SavedProfile = Schemas['SavedProfile'];
export type Measuring = Schemas['Measuring'];
export type Sound = Schemas['Sound'];
export type Shown = Schemas['ExcerptShown'];
export type TableEntry = Schemas['TableEntry'];
export type Weighed = Schemas['Weighed'];
export type HeardSpan = Schemas['HeardSpan'];
export type Chord = Schemas['Chord'];

/** Why something could not be done, as the server says it. */
export class Refusal extends Error {
  constructor(
    message: string,
    readonly status: number,
    readonly column: number | null,
  ) {
    super(message);
  }
}

const SILENT = 'The desk does not answer. Start it again with: ripieno desk';
const SHUT = 'The desk was started again.';

async function answered(path: string, init?: RequestInit): Promise<Response> {
  let answer: Response;
  try {
    answer = await fetch(path, init);
  } catch (error) {
    if (error instanceof DOMException && error.name === 'AbortError') throw error;
    entry.lost('silent');
    throw new Refusal(SILENT, 0, null);
  }
  if (answer.ok) return answer;
  if (answer.status === 401) {
    entry.lost('shut');
    throw new Refusal(SHUT, 401, null);
  }
  const { message, column } = (await answer.json().catch(() => ({}))) as { message?: string; column?: number | null };
  throw new Refusal(message ?? `the desk answered ${answer.status}`, answer.status, column ?? null);
}

/** Asks the server and reads its JSON; what it refuses is thrown with its sentence. */
export async function asked<T>(path: string, init?: RequestInit): Promise<T> {
  const answer = await answered(path, init);
  return answer.status === 204 ? (undefined as T) : ((await answer.json().catch(() => ({}))) as T);
}

/** A request with a body of JSON. */
export const json = (method: string, body: unknown): RequestInit => ({ method, body: JSON.stringify(body), headers: { 'content-type': 'application/json' } });

export const query = (values: Record<string, string | number | boolean>) =>
  new URLSearchParams(Object.entries(values).map(([name, value]) => [name, String(value)])).toString();

export const api = {
  shelf: (words: string) => asked<Card[]>(`/api/scores?${query({ words })}`),
  add: (file: File) => asked<JobState>(`/api/scores?${query({ name: file.name })}`, { method: 'POST', body: file, headers: { 'content-type': 'application/octet-stream' } }),
  demo: () => asked<JobState>('/api/demo', { method: 'POST' }),
  open: (score: number) => asked<JobState>(`/api/scores/${score}`, { method: 'POST' }),
  remove: (score: number) => asked<void>(`/api/scores/${score}`, { method: 'DELETE' }),
  view: (score: number) => asked<View>(`/api/scores/${score}/view`),
  outline: (job: number) => asked<View>(`/api/jobs/${job}/outline`),
  cancel: (job: number) => asked<JobState>(`/api/jobs/${job}`, { method: 'DELETE' }),
  evidence: (score: number, span: number, revision: number) => asked<Evidence>(`/api/scores/${score}/evidence?${query({ span, revision })}`),
  /** How the score balances where `situation` (see lib/balance.ts) says. */
  balance: (score: number, revision: number, situation: Record<string, string | number>, signal: AbortSignal) =>
    asked<Weighed>(`/api/scores/${score}/balance?${query({ revision, ...situation })}`, { signal }),
  heard: (score: number, revision: number, situation: Record<string, string | number>, span: number, signal: AbortSignal) =>
    asked<HeardSpan | null>(`/api/scores/${score}/heard?${query({ revision, ...situation, span })}`, { signal }),
  ask: (score: number, question: string) => asked<Answer>(`/api/scores/${score}/ask?${query({ question })}`),
  /** Changes of corrections: whoever breaks them off finds the score as it was. */
  correct: (score: number, wanted: Wanted, signal: AbortSignal) => asked<View>(`/api/scores/${score}/corrections`, { ...json('POST', wanted), signal }),
  undo: (score: number, signal: AbortSignal, id?: string) => asked<View>(`/api/scores/${score}/undo${id ? `?${query({ id })}` : ''}`, { method: 'POST', signal }),
  redo: (score: number, signal: AbortSignal) => asked<View>(`/api/scores/${score}/redo`, { method: 'POST', signal }),
  sound: (score: number) => asked<Sound>(`/api/scores/${score}/sound`),
  /** Sound as it is rendered; see lib/listen.ts for its packets. */
  stream: async (score: number, from: number, to: number, pace: number, signal: AbortSignal) => {
    const { body } = await answered(`/api/scores/${score}/sound/stream?${query({ from, to, pace })}`, { signal });
    if (!body) throw new Refusal('The desk sent no sound.', 0, null);
    return body.getReader();
  },
  excerpt: (path: string, signal: AbortSignal) => asked<Shown>(path, { signal }),
  tables: (score: number) => asked<TableEntry[]>(`/api/scores/${score}/tables`),
  /** A file to take away, with its name. */
  file: async (path: string, signal: AbortSignal) => {
    const answer = await answered(path, { signal });
    const coded = /filename\*=UTF-8''([^;]+)/.exec(answer.headers.get('content-disposition') ?? '')?.[1];
    return { blob: await answer.blob(), name: coded ? decodeURIComponent(coded) : 'ripieno' };
  },
  questions: () => asked<KeptQuestion[]>('/api/questions'),
  keepQuestion: (question: KeptQuestion) => asked<KeptQuestion[]>('/api/questions', json('POST', question)),
  forgetQuestion: (name: string) => asked<KeptQuestion[]>(`/api/questions?${query({ name })}`, { method: 'DELETE' }),
  askAll: (question: string) => asked<InScore[]>(`/api/ask?${query({ question })}`),
  sql: (sql: string, signal?: AbortSignal) => asked<SqlRows>('/api/sql', { ...json('POST', { sql }), ...(signal ? { signal } : {}) }),
  notes: (score: number) => asked<Own>(`/api/scores/${score}/notes`),
  remark: (score: number, remark: Schemas['RemarkWanted']) => asked<Own>(`/api/scores/${score}/remarks`, json('POST', remark)),
  reword: (score: number, remark: number, text: string) => asked<Own>(`/api/scores/${score}/remarks/${remark}`, json('PUT', { text })),
  forgetRemark: (score: number, remark: number) => asked<Own>(`/api/scores/${score}/remarks/${remark}`, { method: 'DELETE' }),
  bookmark: (score: number, name: string, view: string) => asked<Own>(`/api/scores/${score}/bookmarks`, json('POST', { name, view })),
  forgetBookmark: (score: number, bookmark: number) => asked<Own>(`/api/scores/${score}/bookmarks/${bookmark}`, { method: 'DELETE' }),
  tag: (score: number, tag: string, away: boolean) => asked<Own>(`/api/scores/${score}/tags?${query({ tag })}`, { method: away ? 'DELETE' : 'POST' }),
  /** Sides as `sideOf` in lib/route.ts writes them. */
  compare: (a: string, b: string, group: string, signal: AbortSignal) =>
    asked<SideBySide | Measuring>(`/api/compare?${query({ a, b, group })}`, { signal }),
  profiles: () => asked<SavedProfile[]>('/api/profiles'),
  addProfile: (file: File) => asked<SavedProfile>(`/api/profiles?${query({ name: file.name })}`, { method: 'POST', body: file, headers: { 'content-type': 'application/octet-stream' } }),
  removeProfile: (profile: number) => asked<void>(`/api/profiles/${profile}`, { method: 'DELETE' }),
};

/** Follows a job until it is over; `tell` hears of every stage. */
export function follow(job: number, tell: (state: JobState) => void): () => void {
  const events = new EventSource(`/api/jobs/${job}/events`);
  const over = (state: JobState) => ['done', 'failed', 'cancelled'].includes(state.stage);
  events.onmessage = (event) => {
    const state = JSON.parse(String(event.data)) as JobState;
    if (over(state)) events.close();
    tell(state);
  };
  events.onerror = () => {
    if (events.readyState !== EventSource.CLOSED) return;
    entry.lost('silent');
    tell({ job, stage: 'failed', message: SILENT, score: null, done: 0, steps: 0 });
  };
  return () => events.close();
}
