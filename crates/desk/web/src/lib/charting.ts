/** What the page asks of its server about charts. */

import type { components } from '../generated/api';
import { asked, json } from './api';

type Schemas = components['schemas'];
export type ChartShown = Schemas['ChartShown'];
export type Laid = Schemas['Laid'];
export type ChartWanted = Schemas['ChartWanted'];

export const charts = {
  begin: (wanted: ChartWanted) => asked<Schemas['ChartBegun']>('/api/charts', json('POST', wanted)),
  shown: (score: number) => asked<ChartShown>(`/api/scores/${score}/chart`),
  lay: (score: number, laid: Laid) => asked<ChartShown>(`/api/scores/${score}/chart/rows`, json('POST', laid)),
  put: (score: number, state: string, text: string) => asked<ChartShown>(`/api/scores/${score}/chart`, json('PUT', { state, text })),
};
