/** What playing through the mixer has in common: the audio thread is woken, its messages are told, and where one is heard is reckoned. */

import { LEAD } from './listen';

/** Seconds of sound that are there before the first is heard, and that are fetched ahead. */
const HOLD = 0.22;
export const AHEAD = 7;

export type Phase = 'idle' | 'starting' | 'playing' | 'paused';

interface FromMixer {
  readonly kind: 'begun' | 'at' | 'over';
  readonly run: number;
  readonly at: number;
  readonly dropouts: number;
}

export abstract class Mixing {
  phase = $state<Phase>('idle');
  trouble = $state('');
  volume = $state(0.5);
  bar = $state(-1);
  /** Blocks of silence for want of sound, and milliseconds from asking to the first sound, in the latest playing. */
  dropouts = $state(0);
  firstSound = $state(-1);
  protected context: AudioContext | null = null;
  protected mixer: AudioWorkletNode | null = null;
  protected stream: AbortController | null = null;
  protected run = 0;
  protected asked = 0;
  /** The frame the mixer has come to, and when it said so. */
  protected at = 0;
  protected heardAt = 0;
  private frame = 0;
  private isGone = false;

  /** Frames a second. */
  protected abstract get rate(): number;

  /** Tells the mixer who is heard, and how loud. */
  abstract mix(): void;

  /** The mixer has gone on: who waits for room may look. */
  protected abstract moved(): void;

  /** A frame of the page while it plays: so many frames have been heard. */
  protected abstract shown(frames: number): void;

  /** A mixer for so many sections; the audio thread is opened once, and never for a page that has been left. */
  protected async wake(sections: number): Promise<AudioWorkletNode> {
    if (this.isGone) throw new DOMException('the page has been left', 'AbortError');
    const context = (this.context ??= new AudioContext({ sampleRate: this.rate, latencyHint: 'interactive' }));
    if (!this.mixer) await context.audioWorklet.addModule('/mixer.js');
    if (this.isGone) throw new DOMException('the page has been left', 'AbortError');
    const mixer = new AudioWorkletNode(context, 'mixer', {
      numberOfInputs: 0, outputChannelCount: [2], processorOptions: { sections, hold: Math.round(HOLD * this.rate) },
    });
    mixer.port.onmessage = ({ data }: MessageEvent<FromMixer>) => this.told(data);
    mixer.connect(context.destination);
    return mixer;
  }

  /** Lets go of a mixer: the audio thread keeps one that still listens, and whatever it could tell. */
  protected release(mixer: AudioWorkletNode | null): void {
    if (!mixer) return;
    mixer.port.postMessage({ kind: 'end' });
    mixer.port.onmessage = null;
    mixer.disconnect();
  }

  private told(message: FromMixer): void {
    if (message.run !== this.run) return;
    if (message.kind === 'begun') {
      this.firstSound = performance.now() - this.asked;
      if (this.phase === 'starting') this.phase = 'playing';
    } else if (message.kind === 'at') {
      [this.at, this.heardAt, this.dropouts] = [message.at, performance.now(), message.dropouts];
      this.moved();
    } else this.stop();
  }

  protected follow(): void {
    cancelAnimationFrame(this.frame);
    const look = () => {
      this.frame = requestAnimationFrame(look);
      if (this.phase !== 'playing') return;
      const late = (this.context?.outputLatency ?? 0) * this.rate;
      const since = Math.min((performance.now() - this.heardAt) / 1000, 0.2) * this.rate;
      this.shown(Math.max(this.at + since - late - LEAD * this.rate, 0));
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
    this.moved();
    cancelAnimationFrame(this.frame);
    this.mixer?.port.postMessage({ kind: 'stop' });
    this.phase = 'idle';
    this.bar = -1;
  }

  dispose(): void {
    this.stop();
    this.isGone = true;
    this.release(this.mixer);
    void this.context?.close();
    this.context = this.mixer = null;
  }
}
