/** Plays proposals of a draft beside each other: all are rendered at once and one is heard, so that one can go from one to the other while they play. */

import { api, Refusal, type Sound } from './api';
import { Packets, passage } from './listen';
import { AHEAD, Mixing } from './mixing.svelte';

/** Something that can be heard. */
export interface Source {
  /** "Proposal 2", "Sketch". */
  readonly name: string;
  readonly score: number;
  readonly revision: number;
}

interface Ready {
  readonly source: Source;
  readonly sound: Sound;
  /** Where its sections begin among those of the mixer. */
  readonly base: number;
}

export class Beside extends Mixing {
  caution = $state('');
  /** The source heard, by its place. */
  heard = $state(0);
  /** Names of sections put away, in all sources alike. */
  off = $state.raw<ReadonlySet<string>>(new Set());
  sections = $state.raw<readonly string[]>([]);
  seconds = $state(0);
  private ready: Ready[] = [];
  private key = '';
  private from = 0;
  private to = 0;
  private frontiers: number[] = [];
  private rooms = new Set<() => void>();

  /** Asks what can be heard of the sources, and makes room for them. */
  private async prepare(sources: readonly Source[]): Promise<void> {
    const key = sources.map((source) => `${source.score}.${source.revision}`).join();
    if (key === this.key && this.mixer) return;
    const sounds = await Promise.all(sources.map((source) => api.sound(source.score)));
    let base = 0;
    this.ready = sources.map((source, place) => {
      const sound = sounds[place] as Sound;
      const one = { source, sound, base };
      base += sound.sections.length;
      return one;
    });
    const mixer = await this.wake(base);
    this.release(this.mixer);
    this.mixer = mixer;
    this.key = key;
    this.caution = sounds[0]?.caution ?? '';
    this.sections = [...new Set(sounds.flatMap((sound) => sound.sections))];
  }

  protected get rate(): number {
    return this.ready[0]?.sound.rate ?? 44100;
  }

  protected moved(): void {
    for (const go of this.rooms) go();
  }

  /** Plays sources from a bar to the end, or to the end of another; `heard` is the one heard first. */
  async play(sources: readonly Source[], heard: number, first: number, last: number): Promise<void> {
    this.asked = performance.now();
    this.trouble = '';
    this.phase = 'starting';
    this.firstSound = -1;
    this.stream?.abort();
    const stream = (this.stream = new AbortController());
    this.run++;
    const run = this.run;
    try {
      await this.prepare(sources);
      const sound = this.ready[0]?.sound;
      const wanted = sound ? passage(sound.bars, first, last) : null;
      if (!wanted || !this.context || !this.mixer) throw new Refusal('There is nothing to hear there.', 0, null);
      if (stream.signal.aborted) return;
      [this.from, this.to] = [wanted.from, wanted.to];
      [this.at, this.dropouts, this.heardAt] = [0, 0, performance.now()];
      this.heard = Math.min(heard, this.ready.length - 1);
      this.frontiers = this.ready.map(() => 0);
      void this.context.resume();
      this.mixer.port.postMessage({ kind: 'begin', run });
      this.mix();
      this.follow();
      await Promise.all(this.ready.map((_, place) => this.feed(run, place, stream.signal)));
      if (!stream.signal.aborted) this.mixer.port.postMessage({ kind: 'whole', run, frontier: Math.max(...this.frontiers) });
    } catch (error) {
      if (stream.signal.aborted) return;
      this.trouble = error instanceof Refusal ? error.message : 'This browser plays no sound from the desk.';
      this.stop();
    }
  }

  /** Fetches one source, never far ahead of what is heard. */
  private async feed(run: number, place: number, signal: AbortSignal): Promise<void> {
    const one = this.ready[place];
    if (!one) return;
    const reader = await api.stream(one.source.score, this.from, this.to, 1, signal);
    const packets = new Packets();
    for (;;) {
      const { done, value } = await reader.read();
      if (done || signal.aborted) break;
      for (const { first, frames, sections, samples } of packets.take(value)) {
        this.frontiers[place] = first + frames;
        // All have to be there before any can be heard.
        const frontier = Math.min(...this.frontiers);
        const placed = sections.map((section) => section + one.base);
        this.mixer?.port.postMessage({ kind: 'packet', run, first, frames, sections: placed, samples, frontier }, [samples.buffer]);
      }
      while ((this.frontiers[place] ?? 0) - this.at > AHEAD * this.rate) {
        await new Promise<void>((go) => {
          const on = () => {
            this.rooms.delete(on);
            go();
          };
          this.rooms.add(on);
          signal.addEventListener('abort', on, { once: true });
        });
        if (signal.aborted) return void reader.cancel().catch(() => undefined);
      }
    }
    // One that ends before the others must not hold them back.
    this.frontiers[place] = Math.max(this.frontiers[place] ?? 0, ...this.frontiers);
  }

  protected shown(frames: number): void {
    const bars = this.ready[this.heard]?.sound.bars;
    if (!bars) return;
    this.seconds = Math.min(this.from + frames / this.rate, this.to);
    this.bar = bars.findLast((bar) => bar.from <= this.seconds)?.bar ?? -1;
  }

  /** Another source is heard from now on. */
  turnTo(place: number): void {
    this.heard = place;
    this.mix();
  }

  /** Puts a section away in all sources, or brings it back. */
  turn(section: string): void {
    const off = new Set(this.off);
    if (!off.delete(section)) off.add(section);
    this.off = off;
    this.mix();
  }

  mix(): void {
    const count = this.ready.reduce((sum, one) => sum + one.sound.sections.length, 0);
    const gains = new Float32Array(count);
    const one = this.ready[this.heard];
    one?.sound.sections.forEach((section, place) => (gains[one.base + place] = this.off.has(section) ? 0 : 1));
    this.mixer?.port.postMessage({ kind: 'gains', gains, volume: this.volume * this.volume * 2 });
  }
}
