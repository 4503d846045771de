import { expect, it } from 'vitest';
import { SORTS } from './route';
import { goesWith, kindOf, sorted, tagsOf } from './shelf';

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

it('says what of one’s own goes with a score', () => {
  expect(goesWith({ remarks: [], bookmarks: [], tags: [] })).toBe('The file and your corrections stay.');
  const [remark, bookmark] = [{ remark: 1, text: '', printed_bars: '', bars: null, part: '', is_lost: false }, { bookmark: 1, name: '', view: '' }];
  expect(goesWith({ remarks: [remark], bookmarks: [], tags: [] })).toBe('Your 1 note goes with it for good; the file and your corrections stay.');
  expect(goesWith({ remarks: [remark, remark], bookmarks: [bookmark], tags: ['sea'] })).toBe('Your 2 notes, 1 bookmark and 1 tag go with it for good; the file and your corrections stay.');
});
