import { describe, expect, it } from 'vitest';
import { fresh, read, written, type Route } from './route';

describe('the address', () => {
  it('is read as it was written', () => {
    const routes: Route[] = [
      { page: 'shelf' },
      { page: 'study', ...fresh(3) },
      { page: 'study', score: 12, seen: { from: 4.125, to: 88 }, open: [2, 5], register: 'notes', panel: 'moments', question: 'horns & trumpets play, 50 % #?', span: { line: 7, bar: 40 } },
    ];
    for (const route of routes) expect(read(written(route))).toEqual(route);
  });

  it('is forgiving', () => {
    for (const odd of ['', '#', '#/study/', '#/study/x', '#/nothing', '#/study/1e9']) expect(read(odd)).toEqual({ page: 'shelf' });
    expect(read('#/study/4?seen=9-2&open=1.x.3&register=what&span=1&ask=')).toEqual({ page: 'study', ...fresh(4), open: [1, 3] });
  });
});
