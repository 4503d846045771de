/** Bars engraved: what is asked of the server, and what stands where on its pages. Pure functions. */

import { query, type Chord, type Shown } from './api';
import { STICKS_OUT } from './balance';
import type { Staves } from './staves';

export interface Wish {
  readonly first: number;
  readonly last: number;
  readonly staves: Staves;
  readonly concert: boolean;
  readonly roles: boolean;
  readonly width: number;
  readonly staff: number;
}

export type Page = Shown['pages'][number];

/** Where an excerpt is asked for; `what` is "", "/page" or "/file". `revision` keeps the browser from showing an older one. */
export function address(score: number, revision: number, wish: Wish, what = '', more: Record<string, string | number> = {}): string {
  return `/api/scores/${score}/excerpt${what}?${query({ ...wish, ...more, revision })}`;
}

/** The notehead at a place, in the page's pixels, with some room for the finger; -1 where there is none. */
export function headAt(page: Page, x: number, y: number): number {
  const reach = Math.max(page.head, 6);
  let best = -1;
  let least = Infinity;
  page.x.forEach((left, index) => {
    const [across, down] = [Math.abs(left + page.head * 0.6 - x), Math.abs((page.y[index] ?? 0) - y)];
    if (across > reach * 1.2 || down > reach || across + down >= least) return;
    [least, best] = [across + down, index];
  });
  return best;
}

export type Way = 'left' | 'right' | 'up' | 'down';

/** The notehead next to one: along its part to the left and right, to the nearest other part up and down; -1 where the page ends. */
export function headBeside(page: Pick<Page, 'x' | 'y' | 'part' | 'note'>, head: number, way: Way): number {
  const [x, y, part, note] = [page.x[head] ?? 0, page.y[head] ?? 0, page.part[head] ?? -1, page.note[head] ?? -1];
  let best = -1;
  let least = Infinity;
  page.x.forEach((left, other) => {
    const isAlong = page.part[other] === part;
    const far = way === 'left' || way === 'right'
      ? isAlong ? ((page.note[other] ?? -1) - note) * (way === 'right' ? 1 : -1) : 0
      : isAlong || (page.part[other] ?? -1) < 0 ? 0 : ((page.y[other] ?? 0) - y) * (way === 'down' ? 1 : -1);
    if (far <= 0) return;
    // Up and down one stays at the same moment as far as may be.
    const cost = far + (way === 'up' || way === 'down' ? Math.abs(left - x) * 8 : 0);
    if (cost < least) [least, best] = [cost, other];
  });
  return best;
}

/** The bar a notehead stands in; -1 where none holds it. */
export function barOf(page: Pick<Page, 'x' | 'y' | 'bars'>, head: number): number {
  const [x, y] = [page.x[head] ?? 0, page.y[head] ?? 0];
  // Notes on ledger lines stand above or below their system: of the bars with this place across, the nearest.
  const far = (bar: Page['bars'][number]) => Math.max(bar.y - y, y - bar.y - bar.height, 0);
  const across = page.bars.filter((bar) => x >= bar.x - 1 && x < bar.x + bar.width);
  return across.reduce<Page['bars'][number] | null>((best, bar) => (best === null || far(bar) < far(best) ? bar : best), null)?.bar ?? -1;
}

/** Where a moment is on the pages: page and bar, and how far through the bar, 0 to 1; `null` where it is on none. */
export function placeOn(pages: readonly Page[], bar: number, share: number): { page: number; x: number; y: number; height: number } | null {
  for (const [index, page] of pages.entries()) {
    const found = page.bars.find((place) => place.bar === bar);
    if (found) return { page: index, x: found.x + share * found.width, y: found.y, height: found.height };
  }
  return null;
}

/** Noteheads of tones that stick out of their chord or stay behind, with by how many phon: where on the page. */
export function markedHeads(page: Pick<Page, 'x' | 'y' | 'part' | 'note'>, chords: readonly Pick<Chord, 'tones'>[]): { x: number; y: number; above: number }[] {
  const heads = new Map<string, number>();
  page.part.forEach((part, head) => part >= 0 && heads.set(`${part}.${page.note[head] ?? -1}`, head));
  const out: { x: number; y: number; above: number }[] = [];
  for (const { tones } of chords) {
    for (const { above, notes } of tones) {
      if (Math.abs(above) < STICKS_OUT) continue;
      for (const [part = -1, note = -1] of notes) {
        const head = heads.get(`${part}.${note}`);
        if (head !== undefined) out.push({ x: page.x[head] ?? 0, y: page.y[head] ?? 0, above });
      }
    }
  }
  return out;
}
