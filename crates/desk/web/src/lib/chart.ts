/** The grid on which a chart is made: parts from the top down, bars from the left. Places, keys and words; nothing musical. */

/** A field of the grid. */
export interface Field {
  readonly part: number;
  readonly bar: number;
}

/** Fields from one to another, both included. */
export interface Patch {
  readonly parts: readonly [number, number];
  readonly bars: readonly [number, number];
}

export const ROW = 26;
export const GAP = 3;
export const FAMILY = 9;
export const HEAD = 26;

/** The keys that set roles. */
export const KEYS: Readonly<Record<string, string>> = {
  m: 'melody', c: 'countermelody', b: 'bass', h: 'harmony', p: 'pedal', r: 'rhythm', f: 'figuration', u: 'punctuation', e: 'effect',
  Delete: 'tacet', Backspace: 'tacet',
};

/** The key of a role, as the palette shows it. */
export const keyOf = (role: string): string => (role === 'tacet' ? 'Del' : (Object.entries(KEYS).find(([, other]) => other === role)?.[0] ?? '').toUpperCase());

/** Tops of the rows, with more room above each new family. */
export function tops(families: readonly string[]): number[] {
  let top = HEAD;
  return families.map((family, index) => {
    if (index > 0) top += ROW + GAP + (family === families[index - 1] ? 0 : FAMILY);
    return top;
  });
}

/** Height of the grid. */
export const heightOf = (tops: readonly number[]): number => (tops.at(-1) ?? HEAD) + ROW + GAP;

/** The part at a height: the nearest row. */
export function partAt(tops: readonly number[], y: number): number {
  let best = 0;
  tops.forEach((top, index) => {
    if (y >= top - GAP) best = index;
  });
  return best;
}

/** The bar at a place, `scrolled` pixels lying to the left of the view. */
export function barAt(x: number, scrolled: number, wide: number, count: number): number {
  return Math.min(Math.max(Math.floor((x + scrolled) / wide), 0), Math.max(count - 1, 0));
}

/** All fields between two. */
export function patch(a: Field, b: Field): Patch {
  return { parts: [Math.min(a.part, b.part), Math.max(a.part, b.part)], bars: [Math.min(a.bar, b.bar), Math.max(a.bar, b.bar)] };
}

export const has = (patch: Patch, part: number, bar: number): boolean =>
  part >= patch.parts[0] && part <= patch.parts[1] && bar >= patch.bars[0] && bar <= patch.bars[1];

/** Where a key leads from a field; `null` for a key that leads nowhere. */
export function moved(from: Field, key: string, parts: number, bars: number): Field | null {
  const at = (part: number, bar: number): Field => ({ part: Math.min(Math.max(part, 0), Math.max(parts - 1, 0)), bar: Math.min(Math.max(bar, 0), Math.max(bars - 1, 0)) });
  switch (key) {
    case 'ArrowRight': return at(from.part, from.bar + 1);
    case 'ArrowLeft': return at(from.part, from.bar - 1);
    case 'ArrowDown': return at(from.part + 1, from.bar);
    case 'ArrowUp': return at(from.part - 1, from.bar);
    case 'PageDown': return at(from.part, from.bar + 8);
    case 'PageUp': return at(from.part, from.bar - 8);
    case 'Home': return at(from.part, 0);
    case 'End': return at(from.part, bars - 1);
    default: return null;
  }
}

/** How far the view has to be scrolled for a bar to be in sight. */
export function scrolledTo(bar: number, scrolled: number, wide: number, view: number): number {
  const [left, right] = [bar * wide, (bar + 1) * wide];
  if (left < scrolled) return left;
  return right > scrolled + view ? right - view : scrolled;
}

/** "Horn 1, bars 5 to 8"; "4 parts, bar 5". */
export function words(patch: Patch, parts: readonly string[], bars: readonly string[]): string {
  const [first, last] = patch.parts;
  const who = first === last ? (parts[first] ?? '') : `${last - first + 1} parts from ${parts[first] ?? ''} to ${parts[last] ?? ''}`;
  const [from, to] = [bars[patch.bars[0]] ?? '', bars[patch.bars[1]] ?? ''];
  return `${who}, ${from === to ? `bar ${from}` : `bars ${from} to ${to}`}`;
}

/** Every how many bars a number stands over the grid. */
export function every(wide: number): number {
  return [1, 2, 5, 10, 20, 50, 100].find((step) => step * wide >= 34) ?? 200;
}
