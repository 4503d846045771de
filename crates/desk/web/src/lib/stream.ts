/** A stream of sound that may be begun before anybody wants to hear it: what has come is kept, so that the first sound waits for nothing. */

import { Packets, type Packet } from './listen';

export type Reader = Pick<ReadableStreamDefaultReader<Uint8Array>, 'read' | 'cancel'>;

export class Begun {
  private readonly packets = new Packets();
  private readonly come: Packet[] = [];
  private filling: Promise<void> | null = null;
  private isWanted = false;
  /** Whether it ended in a failure before it was wanted; then one asks anew. */
  isBroken = false;

  constructor(private readonly opened: Promise<Reader>) {
    opened.catch(() => (this.isBroken = true));
  }

  /** Lets so many frames come and no more: what is not read is not rendered. */
  fill(frames: number): void {
    const enough = () => this.isWanted || this.come.reduce((sum, packet) => sum + packet.frames, 0) >= frames;
    this.filling = (async () => {
      try {
        while (!enough() && (await this.pull()));
      } catch (error) {
        this.isBroken = true;
        if (this.isWanted) throw error;
      }
    })();
  }

  private async pull(): Promise<boolean> {
    const { done, value } = await (await this.opened).read();
    if (done || !value) return false;
    this.come.push(...this.packets.take(value));
    return true;
  }

  /** All packets in order: at once those that have come, then the others as they come. */
  async *all(): AsyncGenerator<Packet> {
    this.isWanted = true;
    for (;;) {
      for (let packet = this.come.shift(); packet; packet = this.come.shift()) yield packet;
      if (this.filling) {
        const filling = this.filling;
        this.filling = null;
        await filling;
      } else if (!(await this.pull())) return;
    }
  }
}
