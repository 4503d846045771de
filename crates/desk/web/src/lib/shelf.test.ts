import { expect, it } from 'vitest';
import { SORTS } from './route';
import { kindOf, sorted, tagsOf } from './shelf';

const card = (score: number, title: string, composers: string, bars: number, parts: number) => ({ score, title, composers, bars, parts });
const CARDS = [card(1, 'étude 10', 'Botsman', 8, 4), card(2, 'Etude 2', '', 90, 30), card(3, 'The Tide', 'ansel', 90, 12)];

it('puts scores in order, equals by what was added last', () => {
  const order = (by: (typeof SORTS)[number]) => sorted(CARDS, by).map(({ score }) => score).join('');
  expect(SORTS.map(order)).toEqual(['321', '213', '312', '321', '231']);
});

it('names each tag once', () => {
  expect(tagsOf([{ tags: ['sea', 'draft'] }, { tags: ['sea'] }])).toEqual(['draft', 'sea']);
});

it('takes scores and profiles from a folder and leaves corrections beside them', () => {
  const kinds = ['tide.musicxml', 'TIDE.MXL', 'tide.mid', 'tide.krn', 'chart.toml', 'overtures.json', 'tide.musicxml.corrections.json', 'tide.corrections.JSON', 'tide.pdf', 'json'].map(kindOf);
  expect(kinds).toEqual(['score', 'score', 'score', 'score', 'score', 'profile', null, null, null, null]);
});
