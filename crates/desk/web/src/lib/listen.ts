/** From bars to seconds and back, and the packets of a stream of sound: pure functions, tested without sound. */

import type { Sound, View } from './api';

/** Seconds of silence before the first note of a stream. */
export const LEAD = 0.04;

/** A stretch of the piece in seconds at the written tempo. */
export interface Passage {
  readonly from: number;
  readonly to: number;
}

/** From the first time bar `first` is heard to the end of the next bar `last`; `null` where it is not heard. */
export function passage(bars: Sound['bars'], first: number, last: number): Passage | null {
  const begin = bars.findIndex((bar) => bar.bar === first);
  if (begin < 0) return null;
  const end = bars.findIndex((bar, index) => index >= begin && bar.bar === last);
  const [from, to] = [bars[begin], bars[end < 0 ? bars.length - 1 : end]];
  return from && to ? { from: from.from, to: to.to } : null;
}

/** The bar that is heard at a moment, and the moment on the page's axis, in crotchets. */
export function placeAt(sound: Sound, view: Pick<View, 'bars'>, seconds: number): { bar: number; time: number } {
  const { bars } = sound;
  let low = 0;
  let high = bars.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((bars[middle]?.from ?? 0) <= seconds) low = middle + 1;
    else high = middle;
  }
  const heard = bars[Math.max(low - 1, 0)];
  if (!heard) return { bar: 0, time: 0 };
  const drawn = view.bars[heard.bar];
  const share = heard.to > heard.from ? Math.min(Math.max((seconds - heard.from) / (heard.to - heard.from), 0), 1) : 0;
  return { bar: heard.bar, time: (drawn?.onset ?? 0) + share * (drawn?.length ?? 0) };
}

/** An eighth of a second of sound: for each section that sounds, left then right samples, one after the other. */
export interface Packet {
  readonly first: number;
  readonly frames: number;
  readonly sections: number[];
  readonly samples: Float32Array;
}

const HEAD = 16;

/** Cuts a stream of bytes into packets, however the bytes arrive. */
export class Packets {
  private held: Uint8Array[] = [];
  private size = 0;

  /** Takes bytes; answers the packets they complete. */
  take(bytes: Uint8Array): Packet[] {
    this.held.push(bytes);
    this.size += bytes.length;
    const out: Packet[] = [];
    for (let packet = this.next(); packet; packet = this.next()) out.push(packet);
    return out;
  }

  private next(): Packet | null {
    if (this.size < HEAD) return null;
    const head = new DataView(this.joined().buffer, 0, HEAD);
    const frames = head.getUint32(0, true);
    const masks = [head.getUint32(4, true), head.getUint32(8, true)];
    const sections: number[] = [];
    masks.forEach((mask, word) => {
      for (let bit = 0; bit < 32; bit++) if (mask & (1 << bit)) sections.push(word * 32 + bit);
    });
    const length = HEAD + sections.length * frames * 8;
    if (this.size < length) return null;
    const all = this.joined();
    // A buffer of its own, so that it can be handed to the audio thread.
    const samples = new Float32Array(all.buffer.slice(HEAD, length));
    const rest = all.slice(length);
    this.held = rest.length > 0 ? [rest] : [];
    this.size = rest.length;
    return { first: head.getUint32(12, true), frames, sections, samples };
  }

  /** All that is held in one piece that begins its buffer. */
  private joined(): Uint8Array<ArrayBuffer> {
    const all = new Uint8Array(this.size);
    let at = 0;
    for (const piece of this.held) {
      all.set(piece, at);
      at += piece.length;
    }
    this.held = [all];
    return all;
  }
}

/** The gain of each section: off is silent, and with some alone all others are. */
export function gains(count: number, off: ReadonlySet<number>, alone: ReadonlySet<number>): Float32Array {
  return Float32Array.from({ length: count }, (_, section) => ((alone.size > 0 ? alone.has(section) : !off.has(section)) ? 1 : 0));
}

/** "1:05". */
export function clock(seconds: number): string {
  const whole = Math.max(Math.floor(seconds), 0);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, '0')}`;
}
