/** Plays passages: sound arrives section by section while it is rendered, and is mixed on the audio thread. */

import { api, Refusal, type Sound } from './api';
import { gains, LEAD, Packets, placeAt, type Passage } from './listen';
import type { StudyState } from './study.svelte';

/** Seconds of sound that are there before the first is heard, and that are fetched ahead. */
const HOLD = 0.22;
const AHEAD = 7;

export type Phase = 'idle' | 'starting' | 'playing' | 'paused';

interface FromMixer {
  readonly kind: 'begun' | 'at' | 'over';
  readonly run: number;
  readonly at: number;
  readonly dropouts: number;
}

export class Player {
  phase = $state<Phase>('idle');
  sound = $state.raw<Sound | null>(null);
  trouble = $state('');
  off = $state.raw<ReadonlySet<number>>(new Set());
  alone = $state.raw<ReadonlySet<number>>(new Set());
  loops = $state(false);
  /** Share of the written tempo. */
  pace = $state(1);
  volume = $state(0.5);
  /** Seconds at the written tempo from the start of the piece, of what is heard. */
  seconds = $state(0);
  bar = $state(-1);
  /** Blocks of silence for want of sound, and milliseconds from asking to the first sound, in the latest playing. */
  dropouts = $state(0);
  firstSound = $state(-1);
  private context: AudioContext | null = null;
  private mixer: AudioWorkletNode | null = null;
  private stream: AbortController | null = null;
  private run = 0;
  private asked = 0;
  private played: Passage = { from: 0, to: 0 };
  private playedPace = 1;
  private at = 0;
  private heardAt = 0;
  private frontier = 0;
  private room: (() => void) | null = null;
  private frame = 0;
  private revision = -1;

  constructor(private readonly study: StudyState) {}

  /** Asks what can be heard, and wakes the audio thread, so that playing begins at once later. */
  async prepare(): Promise<boolean> {
    const { view } = this.study;
    if (!view?.whole) return false;
    try {
      if (!this.sound || this.revision !== view.revision) {
        this.sound = await api.sound(view.score);
        this.revision = view.revision;
      }
      return await this.wake(this.sound);
    } catch (error) {
      this.trouble = error instanceof Refusal ? error.message : 'This browser plays no sound from the desk.';
      return false;
    }
  }

  private async wake(sound: Sound): Promise<boolean> {
    if (this.mixer) return true;
    const context = (this.context ??= new AudioContext({ sampleRate: sound.rate, latencyHint: 'interactive' }));
    await context.audioWorklet.addModule('/mixer.js');
    if (this.mixer) return true;
    const mixer = new AudioWorkletNode(context, 'mixer', {
      numberOfInputs: 0, outputChannelCount: [2], processorOptions: { sections: sound.sections.length, hold: Math.round(HOLD * sound.rate) },
    });
    mixer.port.onmessage = ({ data }: MessageEvent<FromMixer>) => this.told(data);
    mixer.connect(context.destination);
    this.mixer = mixer;
    this.mix();
    return true;
  }

  private told(message: FromMixer): void {
    if (message.run !== this.run) return;
    if (message.kind === 'begun') {
      this.firstSound = performance.now() - this.asked;
      if (this.phase === 'starting') this.phase = 'playing';
    } else if (message.kind === 'at') {
      [this.at, this.heardAt, this.dropouts] = [message.at, performance.now(), message.dropouts];
      if (this.frontier - this.at < AHEAD * this.rate) this.room?.();
    } else this.stop();
  }

  private get rate(): number {
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
      const reader = await api.stream(this.study.number, now.from, now.to, this.playedPace, signal);
      const packets = new Packets();
      let end = base;
      for (;;) {
        const { done, value } = await reader.read();
        if (done) break;
        for (const { first, frames, sections, samples } of packets.take(value)) {
          end = base + first + frames;
          // In a loop the tail sounds into the next time through, which is not there yet.
          this.frontier = this.loops ? Math.min(end, base + length) : end;
          this.mixer?.port.postMessage({ kind: 'packet', run, first: base + first, frames, sections, samples, frontier: this.frontier }, [samples.buffer]);
        }
        while (this.frontier - this.at > AHEAD * this.rate) {
          await new Promise<void>((go) => {
            this.room = go;
            signal.addEventListener('abort', () => go(), { once: true });
          });
          if (signal.aborted) return void reader.cancel().catch(() => undefined);
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

  private follow(): void {
    cancelAnimationFrame(this.frame);
    this.begins = [{ frame: 0, from: this.played.from }];
    const look = () => {
      this.frame = requestAnimationFrame(look);
      const { sound } = this;
      const { view } = this.study;
      if (!sound || !view || this.phase !== 'playing') return;
      const late = (this.context?.outputLatency ?? 0) * this.rate;
      const since = Math.min((performance.now() - this.heardAt) / 1000, 0.2) * this.rate;
      const heard = Math.max(this.at + since - late - LEAD * this.rate, 0);
      while (this.begins.length > 1 && (this.begins[1]?.frame ?? Infinity) <= heard) this.begins.shift();
      const begun = this.begins[0] ?? { frame: 0, from: this.played.from };
      this.seconds = Math.min(begun.from + ((heard - begun.frame) / this.rate) * this.playedPace, this.played.to);
      const { bar, time } = placeAt(sound, view, this.seconds);
      this.bar = bar;
      this.study.hear(time);
    };
    this.frame = requestAnimationFrame(look);
  }

  pause(): void {
    if (this.phase !== 'playing' && this.phase !== 'paused') return;
    const isPlaying = this.phase === 'paused';
    this.phase = isPlaying ? 'playing' : 'paused';
    this.heardAt = performance.now();
    this.mixer?.port.postMessage({ kind: 'play', playing: isPlaying });
  }

  stop(): void {
    this.stream?.abort();
    this.stream = null;
    this.room?.();
    cancelAnimationFrame(this.frame);
    this.mixer?.port.postMessage({ kind: 'stop' });
    this.phase = 'idle';
    this.bar = -1;
    this.study.hear(-1);
  }

  /** Tells the mixer who is heard, and how loud. */
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

  dispose(): void {
    this.stop();
    void this.context?.close();
    this.context = this.mixer = null;
  }
}
