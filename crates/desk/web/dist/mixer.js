/** Mixes the sections of a passage on the audio thread: each has a ring of samples and a gain of its own. */

/** Frames of a ring: twelve seconds, for what is ahead and the tail of a loop. */
const SIZE = 2 ** 19;
const BLOCK = 128;

class Mixer extends AudioWorkletProcessor {
  constructor(options) {
    super();
    const { sections, hold } = options.processorOptions;
    /** Frames that must be there before the first sound. */
    this.hold = hold;
    this.rings = Array.from({ length: sections }, () => null);
    this.isOver = false;
    this.gains = new Float32Array(sections).fill(1);
    this.wanted = new Float32Array(sections).fill(1);
    this.volume = 0;
    this.wantedVolume = 0.5;
    [this.at, this.high] = [0, 0];
    this.reset();
    this.port.onmessage = ({ data }) => this.hear(data);
  }

  reset() {
    this.clear();
    /** Next frame to be heard; up to which all is there; whether more is to come. */
    this.at = 0;
    this.high = 0;
    this.frontier = 0;
    this.whole = false;
    this.playing = false;
    this.begun = false;
    this.isDry = false;
    this.dropouts = 0;
    this.told = 0;
    this.run = -1;
  }

  /** Silences what lies ahead: what has been heard is silent already. */
  clear() {
    const length = Math.min(this.high - this.at, SIZE);
    if (length <= 0) return;
    const from = this.at % SIZE;
    for (const ring of this.rings) {
      for (const side of ring ? [ring.left, ring.right] : []) {
        side.fill(0, from, Math.min(from + length, SIZE));
        side.fill(0, 0, Math.max(from + length - SIZE, 0));
      }
    }
  }

  hear(data) {
    switch (data.kind) {
      case 'begin':
        this.reset();
        this.run = data.run;
        this.playing = true;
        break;
      case 'packet':
        if (data.run === this.run) this.add(data);
        break;
      case 'whole':
        if (data.run === this.run) [this.whole, this.frontier] = [true, Math.max(data.frontier, this.frontier)];
        break;
      case 'play': this.playing = data.playing; break;
      case 'stop': this.reset(); break;
      case 'end': this.isOver = true; break;
      case 'gains': this.wanted = data.gains; this.wantedVolume = data.volume; break;
    }
  }

  add({ first, frames, sections, samples, frontier }) {
    // Added, since in a loop the tail of one time through sounds into the next; in two stretches, since it may pass the end of the ring.
    const start = first % SIZE;
    const before = Math.min(frames, SIZE - start);
    let from = 0;
    for (const section of sections) {
      const ring = (this.rings[section] ??= { left: new Float32Array(SIZE), right: new Float32Array(SIZE) });
      for (const side of [ring.left, ring.right]) {
        for (let i = 0; i < before; i++) side[start + i] += samples[from + i];
        for (let i = before; i < frames; i++) side[i - before] += samples[from + i];
        from += frames;
      }
    }
    this.high = Math.max(this.high, first + frames);
    this.frontier = Math.max(this.frontier, frontier);
  }

  process(_inputs, outputs) {
    // Only what says so itself is let go of by the audio thread, and with it the page it belongs to.
    if (this.isOver) return false;
    const [left, right] = outputs[0];
    if (this.playing && !this.begun && !this.whole && this.frontier - this.at < this.hold) return true;
    if (!this.playing) return true;
    if (this.begun && !this.whole && this.frontier - this.at < (this.isDry ? this.hold : BLOCK)) {
      // One pause until something is in hand again, rather than a stutter.
      this.isDry = true;
      this.dropouts++;
      return true;
    }
    this.isDry = false;
    if (!this.begun) {
      this.begun = true;
      this.port.postMessage({ kind: 'begun', run: this.run });
    }
    const start = this.at % SIZE;
    const ramp = 1 / BLOCK;
    const volume = this.volume;
    this.volume += (this.wantedVolume - volume) * 0.2;
    const louder = (this.volume - volume) * ramp;
    for (let section = 0; section < this.rings.length; section++) {
      const ring = this.rings[section];
      const gain = this.gains[section];
      const wanted = this.wanted[section];
      this.gains[section] = Math.abs(wanted - gain) < 1e-4 ? wanted : gain + (wanted - gain) * 0.2;
      if (!ring) continue;
      const step = (this.gains[section] - gain) * ramp;
      for (let i = 0; i < BLOCK; i++) {
        const place = start + i;
        const factor = (gain + step * i) * (volume + louder * i);
        left[i] += ring.left[place] * factor;
        right[i] += ring.right[place] * factor;
        ring.left[place] = ring.right[place] = 0;
      }
    }
    this.at += BLOCK;
    if (this.at - this.told >= 2048) this.tell();
    if (this.whole && this.at >= this.frontier) {
      this.playing = false;
      this.tell();
      this.port.postMessage({ kind: 'over', run: this.run });
    }
    return true;
  }

  tell() {
    this.told = this.at;
    this.port.postMessage({ kind: 'at', run: this.run, at: this.at, dropouts: this.dropouts });
  }
}

registerProcessor('mixer', Mixer);
