/** The role map's rows and cells: sections in score order, opened to their parts on demand. */

import type { View } from './api';

/** One row of the map: a section, or one of its parts when it is open. */
export interface Row {
  readonly key: string;
  readonly label: string;
  readonly section: number;
  /** The part; -1 for a section. */
  readonly part: number;
  readonly isOpen: boolean;
  /** Begins a new family. */
  readonly opensFamily: boolean;
  readonly top: number;
  readonly height: number;
}

/** What a row plays in one role over some time. */
export interface Cell {
  readonly from: number;
  readonly to: number;
  readonly first: number;
  readonly last: number;
  readonly role: string;
  readonly confidence: number;
  /** Place from above and how many lie above each other here. */
  readonly strip: number;
  readonly strips: number;
  /** The spans shown by it. */
  readonly spans: number[];
  readonly byHand: boolean;
}

export const SECTION_HEIGHT = 21.5;
export const PART_HEIGHT = 17;
export const GAP = 2.5;
export const FAMILY_GAP = 8;

/** "double basses" becomes "Double basses". */
export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** What a part is called on the page, as scores print it: "Clarinet 1 in B♭". */
export const partName = (view: Pick<View, 'parts'> | null, part: number): string => view?.parts[part]?.label ?? '';

/** A flat or sharp behind the letter of a key, which files write as b or #. */
export function withSigns(name: string): string {
  return name.replace(/(^|\s)([A-G])b(?=[\s,;:)]|\.?$)/g, '$1$2\u266d').replace(/(^|\s)([A-G])#(?=[\s,;:)]|\.?$)/g, '$1$2\u266f');
}

/** Rows from the top; `open` are indices of sections. */
export function rows(view: Pick<View, 'sections' | 'parts'>, open: ReadonlySet<number>, scale = 1): Row[] {
  const [sectionHeight, partHeight] = [SECTION_HEIGHT * scale, PART_HEIGHT * scale];
  const out: Row[] = [];
  let top = 0;
  let family = '';
  view.sections.forEach((section, index) => {
    const opensFamily = index > 0 && section.family !== family;
    family = section.family;
    if (opensFamily) top += FAMILY_GAP;
    const isOpen = open.has(index);
    out.push({
      key: `s${index}`, label: capital(section.name), section: index, part: -1, isOpen, opensFamily, top, height: sectionHeight,
    });
    top += sectionHeight + GAP;
    if (!isOpen) return;
    for (const part of section.parts) {
      const label = partName(view, part);
      out.push({ key: `p${part}`, label, section: index, part, isOpen: false, opensFamily: false, top, height: partHeight });
      top += partHeight + GAP;
    }
  });
  return out;
}

/** Height of all rows. */
export function heightOf(rows: readonly Row[]): number {
  const last = rows.at(-1);
  return last ? last.top + last.height + GAP : 0;
}

/** The row at a height; -1 between rows. */
export function rowAt(rows: readonly Row[], y: number): number {
  return rows.findIndex((row) => y >= row.top && y < row.top + row.height + GAP / 2);
}

/** What a row shows bar by bar: roles lie above each other where there are several, in the order of `order`; bars with the same spans are joined. */
export function cells(view: Pick<View, 'bars' | 'spans'>, parts: readonly number[], order: readonly string[]): Cell[] {
  const of = new Set(parts);
  const byBar: number[][] = view.bars.map(() => []);
  view.spans.forEach((span, index) => {
    if (!of.has(span.part)) return;
    for (let bar = span.first; bar <= span.last; bar++) byBar[bar]?.push(index);
  });
  const rank = (role: string) => (order.includes(role) ? order.indexOf(role) : order.length);
  const out: Cell[] = [];
  let before = '';
  let growing: number[] = [];
  byBar.forEach((here, bar) => {
    const start = view.bars[bar]?.onset ?? 0;
    const end = start + (view.bars[bar]?.length ?? 0);
    const roleOf = (span: number) => view.spans[span]?.roles[0]?.role ?? 'tacet';
    const roles = [...new Set(here.map(roleOf))].filter((role) => role !== 'tacet').sort((a, b) => rank(a) - rank(b));
    const key = `${roles.join()}|${here.join()}`;
    if (roles.length > 0 && key === before) {
      for (const index of growing) {
        const cell = out[index];
        if (!cell) continue;
        const reach = Math.max(...cell.spans.map((span) => view.spans[span]?.to ?? 0));
        out[index] = { ...cell, to: Math.min(end, Math.max(reach, start)), last: bar };
      }
      return;
    }
    before = key;
    growing = [];
    roles.forEach((role, strip) => {
      const spans = here.filter((span) => roleOf(span) === role);
      const from = Math.max(start, Math.min(...spans.map((span) => view.spans[span]?.from ?? start)));
      const to = Math.min(end, Math.max(...spans.map((span) => view.spans[span]?.to ?? end)));
      const sure = spans.reduce((sum, span) => sum + (view.spans[span]?.roles[0]?.confidence ?? 0), 0) / Math.max(spans.length, 1);
      const byHand = spans.some((span) => view.spans[span]?.by_hand);
      growing.push(out.length);
      out.push({ from, to: Math.max(to, from), first: bar, last: bar, role, confidence: sure, strip, strips: roles.length, spans, byHand });
    });
  });
  return out;
}

/** The first of a row's cells that reaches a bar; cells stand bar by bar. */
export function firstReaching(cells: readonly Cell[], bar: number): number {
  let [low, high] = [0, cells.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((cells[middle]?.last ?? 0) < bar) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** How strongly a cell is drawn: the surer, the stronger, never invisible. */
export function strength(confidence: number): number {
  return 0.4 + 0.6 * Math.min(Math.max((confidence - 0.3) / 0.6, 0), 1);
}
