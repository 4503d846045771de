/** In what order scores stand on the shelf, and by which tags they can be chosen. */

import type { Card, Own } from './api';
import type { Sort } from './route';
import { counted, listed } from './words';

const letters = new Intl.Collator('en', { sensitivity: 'base', numeric: true });

type Sortable = Pick<Card, 'score' | 'title' | 'composers' | 'bars' | 'parts'>;

/** Scores in order; of equals the one added last comes first. */
export function sorted<T extends Sortable>(cards: readonly T[], by: Sort): T[] {
  const last = (a: T, b: T) => b.score - a.score;
  const orders: Record<Sort, (a: T, b: T) => number> = {
    newest: last,
    title: (a, b) => letters.compare(a.title, b.title) || last(a, b),
    // Without a composer it comes after all that have one.
    composer: (a, b) => Number(!a.composers) - Number(!b.composers) || letters.compare(a.composers, b.composers) || letters.compare(a.title, b.title) || last(a, b),
    bars: (a, b) => b.bars - a.bars || last(a, b),
    parts: (a, b) => b.parts - a.parts || last(a, b),
  };
  return [...cards].sort(orders[by]);
}

/** What a file is to the shelf; nothing where it is none of its own. Corrections lie beside their score and come with none of them. */
export function kindOf(name: string): 'score' | 'profile' | null {
  if (/\.corrections\.json$/i.test(name)) return null;
  if (/\.json$/i.test(name)) return 'profile';
  return /\.(musicxml|xml|mxl|midi?|krn|kern|toml)$/i.test(name) ? 'score' : null;
}

/** What goes and what stays when a score is taken off the shelf. */
export function goesWith({ remarks, bookmarks, tags }: { readonly [kind in 'remarks' | 'bookmarks' | 'tags']: readonly Own[kind][number][] }): string {
  const own = [[remarks, 'note'], [bookmarks, 'bookmark'], [tags, 'tag']] as const;
  const named = own.filter(([list]) => list.length > 0).map(([list, one]) => counted(list.length, one));
  const goes = named.length > 0 ? `Your ${listed(named)} ${own.reduce((sum, [list]) => sum + list.length, 0) === 1 ? 'goes' : 'go'} with it for good; the` : 'The';
  return `${goes} file and your corrections stay.`;
}

/** All tags there are, in the order of letters. */
export function tagsOf(cards: readonly Pick<Card, 'tags'>[]): string[] {
  return [...new Set(cards.flatMap((card) => card.tags))].sort(letters.compare);
}
