import { describe, expect, it } from 'vitest';
import { COMPARE, SHELF, fresh, read, toBars, written, type Route } from './route';

describe('the address', () => {
  it('is read as it was written', () => {
    const routes: Route[] = [
      { page: 'shelf', ...SHELF },
      { page: 'shelf', words: 'boat & tide', tags: ['draft 2', 'sea & shore'], sort: 'title', question: 'horns play' },
      { page: 'compare', a: [1, 4], b: [3], savedA: [], savedB: [2], shows: 'registers', align: 'mark', group: 'brass' },
      { page: 'study', ...fresh(3) },
      { page: 'study', score: 12, seen: { from: 4.125, to: 88 }, open: [2, 5], register: 'notes', panel: 'moments', question: 'horns & trumpets play, 50 % #?', span: { line: 7, bar: 40 }, bars: null, chosen: [34, 44], situation: { place: 'stage', part: 4, levels: [] }, engraved: { staves: 'layers', concert: true }, folded: ['balance', 'melody'] },
      { page: 'study', ...fresh(3), engraved: { staves: 'full', concert: false } },
      { page: 'study', ...fresh(3), bars: [4, 9] },
    ];
    for (const route of routes) expect(read(written(route))).toEqual(route);
  });

  it('is forgiving', () => {
    for (const odd of ['', '#', '#/study/', '#/study/x', '#/nothing', '#/study/1e9']) expect(read(odd)).toEqual({ page: 'shelf', ...SHELF });
    expect(read('#/study/4?seen=9-2&open=1.x.3&register=what&span=1&ask=&score=all&fold=roles')).toEqual({ page: 'study', ...fresh(4), open: [1, 3] });
    expect(read('#/compare?a=1.x.1.2&align=up')).toEqual({ page: 'compare', ...COMPARE, a: [1, 2] });
  });

  it('leads to bars', () => {
    expect(read(toBars(5, [3, 7], 'horns play'))).toEqual({ page: 'study', ...fresh(5), question: 'horns play', bars: [3, 7] });
  });
});
