/** Numbers in words and lists cut where a reader would cut them. */

/** "1 bar", "12 bars". */
export const counted = (count: number, one: string, many = `${one}s`): string => `${count} ${count === 1 ? one : many}`;

/** "a", "a and b", "a, b and c". */
export function listed(words: readonly string[]): string {
  return words.length < 2 ? (words[0] ?? '') : `${words.slice(0, -1).join(', ')} and ${words.at(-1) ?? ''}`;
}

const NUMBERS = ['no', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine', 'ten', 'eleven', 'twelve'];

/** "three"; figures from thirteen on. */
export const inWords = (count: number): string => NUMBERS[count] ?? String(count);

/** How much of a list is shown at first: all of it where one more line would not shorten it, else its beginning. Never part of an entry. */
export function beginning<T>(list: readonly T[], most: number): readonly T[] {
  return list.length <= most + 1 ? list : list.slice(0, most);
}

/** A minus before a number, as it is printed: "by −3 dB". Hyphens between numbers stay. */
export const withMinus = (text: string): string => text.replace(/(^|[\s(])-(?=\d)/g, '$1−');

/** Words over an axis, in lines under each other: which line each stands in and the room it has there. A word goes to the first line that is free; where none is, the one that is free soonest, and the word before it there is cut short. */
export function staggered(marks: readonly { readonly x: number; readonly wide: number }[], lines: number, width: number): { line: number; room: number }[] {
  const free = Array.from({ length: Math.max(lines, 1) }, () => -Infinity);
  const last: (number | null)[] = free.map(() => null);
  const out: { line: number; room: number }[] = [];
  marks.forEach(({ x, wide }, index) => {
    const open = free.findIndex((from) => from <= x);
    const line = open >= 0 ? open : free.indexOf(Math.min(...free));
    const before = last[line];
    const cut = before === null || before === undefined ? undefined : out[before];
    if (cut) cut.room = Math.min(cut.room, x - (marks[before ?? 0]?.x ?? 0));
    free[line] = x + wide;
    last[line] = index;
    out.push({ line, room: width - x });
  });
  return out;
}
