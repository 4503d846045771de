/** The one time axis that all views share: which stretch of the piece is seen, in crotchets, and how it lies on the screen. */

/** A stretch of time in crotchets, end exclusive. */
export interface Stretch {
  readonly from: number;
  readonly to: number;
}

/** The least that can fill the view: half a crotchet, so that one beat is always in reach. */
export const LEAST = 0.5;

/** Keeps a stretch inside the piece and no shorter than {@link LEAST}. */
export function within(stretch: Stretch, length: number): Stretch {
  const whole = Math.max(length, LEAST);
  const size = Math.min(Math.max(stretch.to - stretch.from, LEAST), whole);
  const from = Math.min(Math.max(stretch.from, 0), whole - size);
  return { from, to: from + size };
}

/** Zooms by a factor (above 1: nearer) about a moment, which stays where it is on the screen. */
export function zoomed(stretch: Stretch, factor: number, about: number, length: number): Stretch {
  const size = stretch.to - stretch.from;
  const next = Math.min(Math.max(size / factor, LEAST), Math.max(length, LEAST));
  const share = size > 0 ? (about - stretch.from) / size : 0.5;
  const from = about - share * next;
  return within({ from, to: from + next }, length);
}

/** Moves by a share of what is seen; the size stays. */
export function moved(stretch: Stretch, share: number, length: number): Stretch {
  const by = (stretch.to - stretch.from) * share;
  return within({ from: stretch.from + by, to: stretch.to + by }, length);
}

/** A stretch with some air on both sides, for going to bars. */
export function around(from: number, to: number, length: number): Stretch {
  const air = Math.max((to - from) * 0.25, 4);
  return within({ from: from - air, to: to + air }, length);
}

/** Crotchets to pixels. */
export function xOf(time: number, stretch: Stretch, width: number): number {
  return ((time - stretch.from) / (stretch.to - stretch.from)) * width;
}

/** Pixels to crotchets. */
export function timeAt(x: number, stretch: Stretch, width: number): number {
  return stretch.from + (x / width) * (stretch.to - stretch.from);
}

/** The last of ascending `starts` that is not after `time`; 0 before the first. */
export function lastAt(starts: ArrayLike<number>, time: number): number {
  let low = 0;
  let high = starts.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((starts[middle] ?? 0) <= time) low = middle + 1;
    else high = middle;
  }
  return Math.max(low - 1, 0);
}

/** A bar line on the ruler. */
export interface Tick {
  readonly bar: number;
  readonly x: number;
  readonly labelled: boolean;
}

const STEPS = [1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000];

/** Bar lines in sight, none nearer than 5 pixels on the mean, labels no nearer than `room` pixels; `printed` is the number of a bar as printed. */
export function ticks(starts: ArrayLike<number>, stretch: Stretch, width: number, room = 44, printed: (bar: number) => number = (bar) => bar + 1): Tick[] {
  if (starts.length === 0 || width <= 0) return [];
  const first = lastAt(starts, stretch.from);
  const last = lastAt(starts, stretch.to);
  const mean = width / Math.max(last - first + 1, 1);
  const step = (least: number) => STEPS.find((step) => step * mean >= least) ?? 2000;
  const [lines, labels] = [step(5), step(room)];
  const out: Tick[] = [];
  let free = -Infinity;
  for (let bar = first; bar <= last; bar++) {
    const number = printed(bar);
    // Numbers read 10, 20, 30 as printed, whatever the first bar is called.
    const isRound = labels === 1 || bar === 0 || (Number.isNaN(number) ? bar + 1 : number) % labels === 0;
    if (bar % lines !== 0 && !isRound) continue;
    const x = xOf(starts[bar] ?? 0, stretch, width);
    if (x < -1 || x > width) continue;
    const labelled = isRound && x >= free;
    if (labelled) free = x + room * 0.7;
    out.push({ bar, x, labelled });
  }
  return out;
}
