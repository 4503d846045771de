/** Plays passages: sound arrives section by section while it is rendered, and is mixed on the audio thread. */

import { api, Refusal, type Sound } from './api';
import { gains, placeAt, type Passage } from './listen';
import { AHEAD, Mixing } from './mixing.svelte';
import { Begun } from './stream';
import type { StudyState } from './study.svelte';

/** Seconds of sound that are fetched of a passage before anybody asks to hear it. */
const READY = 2;

export class Player extends Mixing {
  sound = $state.raw<Sound | null>(null);
  off = $state.raw<ReadonlySet<number>>(new Set());
  alone = $state.raw<ReadonlySet<number>>(new Set());
  loops = $state(false);
  /** Share of the written tempo. */
  pace = $state(1);
  /** Seconds at the written tempo from the start of the piece, of what is heard. */
  seconds = $state(0);
  private played: Passage = { from: 0, to: 0 };
  private playedPace = 1;
  private frontier = 0;
  private room: (() => void) | null = null;
  private revision = -1;
  /** The passage that would be played, its first seconds there already. */
  private begun: { readonly key: string; readonly stream: Begun; readonly leave: AbortController } | null = null;

  constructor(private readonly study: StudyState) {
    super();
  }

  /** Asks what can be heard, and wakes the audio thread, so that playing begins at once later. */
  async prepare(): Promise<boolean> {
    const { view } = this.study;
    if (!view?.whole) return false;
    try {
      if (!this.sound || this.revision !== view.revision) {
        this.sound = await api.sound(view.score);
        this.revision = view.revision;
      }
      return await this.ready(this.sound);
    } catch (error) {
      this.trouble = error instanceof Refusal ? error.message : 'This browser plays no sound from the desk.';
      return false;
    }
  }

  private async ready(sound: Sound): Promise<boolean> {
    if (this.mixer) return true;
    const mixer = await this.wake(sound.sections.length);
    // Asked twice meanwhile, the first one stays.
    if (this.mixer) this.release(mixer);
    else this.mixer = mixer;
    this.mix();
    return true;
  }

  private keyOf(from: number, to: number, pace: number): string {
    return `${this.study.number}.${this.revision} ${from}-${to} ${pace}`;
  }

  private open(from: number, to: number, pace: number, signal: AbortSignal): Begun {
    return new Begun(api.stream(this.study.number, from, to, pace, signal));
  }

  /** Fetches the first seconds of a passage, so that it begins at once when it is wanted, with some sound in hand; `null` lets go of what was fetched. */
  expect(passage: Passage | null): void {
    const key = passage ? this.keyOf(passage.from, passage.to, this.pace) : '';
    if (this.begun?.key === key) return;
    this.begun?.leave.abort();
    this.begun = null;
    if (!passage || this.phase !== 'idle') return;
    const leave = new AbortController();
    const stream = this.open(passage.from, passage.to, this.pace, leave.signal);
    stream.fill(READY * this.rate);
    this.begun = { key, stream, leave };
  }

  /** What was fetched of a passage, where it is that one; it belongs to the playing from then on. */
  private taken(from: number, to: number, pace: number, signal: AbortSignal): Begun {
    const begun = this.begun;
    this.begun = null;
    if (begun?.key === this.keyOf(from, to, pace) && !begun.stream.isBroken) {
      signal.addEventListener('abort', () => begun.leave.abort(), { once: true });
      return begun.stream;
    }
    begun?.leave.abort();
    return this.open(from, to, pace, signal);
  }

  protected moved(): void {
    if (!this.stream || this.frontier - this.at < AHEAD * this.rate) this.room?.();
  }

  protected get rate(): number {
    return this.sound?.rate ?? 44100;
  }

  /** Plays a passage from its beginning, or from a moment in it. */
  async play(passage: Passage, from = passage.from): Promise<void> {
    const asked = performance.now();
    this.trouble = '';
    this.phase = 'starting';
    this.firstSound = -1;
    if (!(await this.prepare()) || !this.context || !this.mixer) {
      this.phase = 'idle';
      return;
    }
    this.stream?.abort();
    this.stream = new AbortController();
    this.run++;
    this.asked = asked;
    this.played = { from, to: passage.to };
    this.playedPace = this.pace;
    [this.at, this.frontier, this.dropouts, this.heardAt] = [0, 0, 0, performance.now()];
    void this.context.resume();
    this.mixer.port.postMessage({ kind: 'begin', run: this.run });
    this.mix();
    this.follow();
    try {
      await this.feed(this.run, this.stream.signal, passage);
    } catch (error) {
      if (error instanceof DOMException && error.name === 'AbortError') return;
      this.trouble = error instanceof Error ? error.message : String(error);
      this.stop();
    }
  }

  /** Fetches what is to be heard, once or again and again, never far ahead. */
  private async feed(run: number, signal: AbortSignal, passage: Passage): Promise<void> {
    let base = 0;
    let now = this.played;
    for (;;) {
      const length = Math.round(((now.to - now.from) / this.playedPace) * this.rate);
      const stream = this.taken(now.from, now.to, this.playedPace, signal);
      let end = base;
      for await (const { first, frames, sections, samples } of stream.all()) {
        if (signal.aborted) return;
        end = base + first + frames;
        // In a loop the tail sounds into the next time through, which is not there yet.
        this.frontier = this.loops ? Math.min(end, base + length) : end;
        this.mixer?.port.postMessage({ kind: 'packet', run, first: base + first, frames, sections, samples, frontier: this.frontier }, [samples.buffer]);
        while (this.frontier - this.at > AHEAD * this.rate) {
          await new Promise<void>((go) => {
            this.room = go;
            signal.addEventListener('abort', () => go(), { once: true });
          });
          if (signal.aborted) return;
        }
      }
      if (!this.loops) {
        this.mixer?.port.postMessage({ kind: 'whole', run, frontier: end });
        return;
      }
      // Where the tail was already let through, the next time begins after it.
      base = this.frontier > base + length ? end : base + length;
      this.begins.push({ frame: base, from: passage.from });
      now = passage;
    }
  }

  /** Where the times through of a loop begin, in frames, and in seconds of the piece. */
  private begins: { frame: number; from: number }[] = [];

  protected override follow(): void {
    this.begins = [{ frame: 0, from: this.played.from }];
    super.follow();
  }

  protected shown(frames: number): void {
    const { sound } = this;
    const { view } = this.study;
    if (!sound || !view) return;
    while (this.begins.length > 1 && (this.begins[1]?.frame ?? Infinity) <= frames) this.begins.shift();
    const begun = this.begins[0] ?? { frame: 0, from: this.played.from };
    this.seconds = Math.min(begun.from + ((frames - begun.frame) / this.rate) * this.playedPace, this.played.to);
    const { bar, time } = placeAt(sound, view, this.seconds);
    this.bar = bar;
    this.study.hear(time);
  }

  override stop(): void {
    super.stop();
    this.study.hear(-1);
  }

  override dispose(): void {
    this.expect(null);
    super.dispose();
  }

  mix(): void {
    const volume = this.volume * this.volume * 2;
    this.mixer?.port.postMessage({ kind: 'gains', gains: gains(this.sound?.sections.length ?? 0, this.off, this.alone), volume });
  }

  turn(sections: readonly number[]): void {
    const off = new Set(this.off);
    const isOff = sections.every((section) => off.has(section));
    for (const section of sections) {
      if (isOff) off.delete(section);
      else off.add(section);
    }
    this.off = off;
    this.mix();
  }

  only(sections: readonly number[]): void {
    const alone = new Set(this.alone);
    const isAlone = sections.every((section) => alone.has(section));
    for (const section of sections) {
      if (isAlone) alone.delete(section);
      else alone.add(section);
    }
    this.alone = alone;
    this.mix();
  }

  all(): void {
    [this.off, this.alone] = [new Set(), new Set()];
    this.mix();
  }

  /** Sections heard, in the order of the score. */
  get heard(): number[] {
    return [...gains(this.sound?.sections.length ?? 0, this.off, this.alone)].flatMap((gain, section) => (gain > 0 ? [section] : []));
  }
}
