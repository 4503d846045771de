/** What the writing page asks of its server. */

import type { components } from '../generated/api';
import { asked, json, query, type JobState } from './api';
import type { Draft, DraftCard, KnownLineup, LineupRows, Objections, Phrase } from './write';

type Schemas = components['schemas'];

const bytes = (body: Blob): RequestInit => ({ method: 'POST', body, headers: { 'content-type': 'application/octet-stream' } });
const text = (body: string): RequestInit => ({ method: 'PUT', body, headers: { 'content-type': 'application/toml' } });

export interface Change {
  readonly title?: string;
  readonly lineup?: LineupRows;
  readonly plan?: readonly Phrase[];
  readonly split?: readonly string[];
}

export const writing = {
  drafts: () => asked<DraftCard[]>('/api/drafts'),
  lineups: () => asked<KnownLineup[]>('/api/lineups'),
  fromFile: (file: File) => asked<Draft>(`/api/drafts?${query({ name: file.name })}`, bytes(file)),
  demo: () => asked<Draft>('/api/drafts/demo', { method: 'POST' }),
  fromBars: (score: number, first: number, last: number) => asked<Draft>('/api/drafts/of-bars', json('POST', { score, first, last })),
  draft: (draft: number) => asked<Draft>(`/api/drafts/${draft}`),
  change: (draft: number, change: Change) => asked<Draft>(`/api/drafts/${draft}`, json('PUT', change)),
  remove: (draft: number) => asked<void>(`/api/drafts/${draft}`, { method: 'DELETE' }),
  staves: (draft: number, roles: readonly string[]) => asked<Draft>(`/api/drafts/${draft}/staves`, json('PUT', { roles })),
  ownStaves: (draft: number, own: boolean) => asked<Draft>(`/api/drafts/${draft}/own-staves`, json('PUT', { own })),
  lock: (draft: number, wanted: Schemas['LockWanted']) => asked<Draft>(`/api/drafts/${draft}/lock`, json('POST', wanted)),
  undo: (draft: number) => asked<Draft>(`/api/drafts/${draft}/undo`, { method: 'POST' }),
  redo: (draft: number) => asked<Draft>(`/api/drafts/${draft}/redo`, { method: 'POST' }),
  lineup: (draft: number, id: string) => asked<Draft>(`/api/drafts/${draft}/lineup?${query({ id })}`, { method: 'POST' }),
  readLineup: (draft: number, toml: string) => asked<Draft>(`/api/drafts/${draft}/lineup.toml`, text(toml)),
  readPlan: (draft: number, toml: string) => asked<Draft>(`/api/drafts/${draft}/plan.toml`, text(toml)),
  carryOver: (draft: number, score: number, bars: string) => asked<Draft>(`/api/drafts/${draft}/model`, json('POST', { score, bars })),
  cast: (draft: number, wanted: Schemas['CastWanted']) => asked<JobState>(`/api/drafts/${draft}/cast`, json('POST', wanted)),
  again: (draft: number, proposal: number, phrases: readonly number[], seed: number | null = null) => asked<Draft>(`/api/drafts/${draft}/again`, json('POST', { proposal, phrases, seed })),
  shelve: (draft: number, proposal: number) => asked<JobState>(`/api/drafts/${draft}/shelve`, json('POST', { proposal })),
  /** The bars the sketch was taken from, on the shelf by themselves. */
  shelvePassage: (draft: number) => asked<JobState>(`/api/drafts/${draft}/passage`, { method: 'POST' }),
  objections: (score: number, level: string) => asked<Objections>(`/api/scores/${score}/objections?${query({ level })}`),
  deliver: (score: number, wanted: Schemas['DeliveryWanted']) => asked<JobState>(`/api/scores/${score}/delivery`, json('POST', wanted)),
};
