/** What the page asks of its server, typed by the server's own description. */

import type { components } from '../generated/api';

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
export type SideBySide = Schemas['SideBySide'];
export type DifferenceRow = Schemas['DifferenceRow'];
export type Compared = Schemas['Compared'];
export type Measuring = Schemas['Measuring'];

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

async function asked<T>(path: string, init?: RequestInit): Promise<T> {
  let answer: Response;
  try {
    answer = await fetch(path, init);
  } catch (error) {
    if (error instanceof DOMException && error.name === 'AbortError') throw error;
    throw new Refusal('The desk does not answer. Start it again with: ripieno desk', 0, null);
  }
  if (answer.status === 204) return undefined as T;
  const body: unknown = await answer.json().catch(() => ({}));
  if (!answer.ok) {
    const { message, column } = body as { message?: string; column?: number | null };
    throw new Refusal(message ?? `the desk answered ${answer.status}`, answer.status, column ?? null);
  }
  return body as T;
}

const json = (method: string, body: unknown): RequestInit => ({ method, body: JSON.stringify(body), headers: { 'content-type': 'application/json' } });

const query = (values: Record<string, string | number>) =>
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
  ask: (score: number, question: string) => asked<Answer>(`/api/scores/${score}/ask?${query({ question })}`),
  correct: (score: number, wanted: Wanted) =>
    asked<View>(`/api/scores/${score}/corrections`, json('POST', wanted)),
  undo: (score: number, id?: string) => asked<View>(`/api/scores/${score}/undo${id ? `?${query({ id })}` : ''}`, { method: 'POST' }),
  redo: (score: number) => asked<View>(`/api/scores/${score}/redo`, { method: 'POST' }),
  askAll: (question: string) => asked<InScore[]>(`/api/ask?${query({ question })}`),
  sql: (sql: string, signal?: AbortSignal) => asked<SqlRows>('/api/sql', { ...json('POST', { sql }), ...(signal ? { signal } : {}) }),
  notes: (score: number) => asked<Own>(`/api/scores/${score}/notes`),
  remark: (score: number, remark: Schemas['RemarkWanted']) => asked<Own>(`/api/scores/${score}/remarks`, json('POST', remark)),
  reword: (score: number, remark: number, text: string) => asked<Own>(`/api/scores/${score}/remarks/${remark}`, json('PUT', { text })),
  forgetRemark: (score: number, remark: number) => asked<Own>(`/api/scores/${score}/remarks/${remark}`, { method: 'DELETE' }),
  bookmark: (score: number, name: string, view: string) => asked<Own>(`/api/scores/${score}/bookmarks`, json('POST', { name, view })),
  forgetBookmark: (score: number, bookmark: number) => asked<Own>(`/api/scores/${score}/bookmarks/${bookmark}`, { method: 'DELETE' }),
  tag: (score: number, tag: string, away: boolean) => asked<Own>(`/api/scores/${score}/tags?${query({ tag })}`, { method: away ? 'DELETE' : 'POST' }),
  compare: (a: readonly number[], b: readonly number[], group: string, signal: AbortSignal) =>
    asked<SideBySide | Measuring>(`/api/compare?${query({ a: a.join('.'), b: b.join('.'), group })}`, { signal }),
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
    tell({ job, stage: 'failed', message: 'The desk does not answer. Start it again with: ripieno desk', score: null });
  };
  return () => events.close();
}
