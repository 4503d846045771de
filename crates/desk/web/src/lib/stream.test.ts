import { describe, expect, it } from 'vitest';
import { Begun, type Reader } from './stream';

/** A packet of silence: so many frames, no section. */
function silence(first: number, frames: number): Uint8Array {
  const head = new DataView(new ArrayBuffer(16));
  head.setUint32(0, frames, true);
  head.setUint32(12, first, true);
  return new Uint8Array(head.buffer);
}

/** A stream of packets of ten frames that counts how often it is read. */
function stream(packets: number): { reader: Reader; reads: () => number } {
  let reads = 0;
  const reader = {
    read: async () => {
      reads += 1;
      return reads > packets ? { done: true as const, value: undefined } : { done: false as const, value: silence((reads - 1) * 10, 10) };
    },
    cancel: async () => undefined,
  };
  return { reader: reader as Reader, reads: () => reads };
}

const later = () => new Promise((go) => setTimeout(go, 5));
async function all(begun: Begun): Promise<number[]> {
  const out: number[] = [];
  for await (const { first } of begun.all()) out.push(first);
  return out;
}

describe('a stream begun before it is wanted', () => {
  it('reads as much as it may and then waits', async () => {
    const { reader, reads } = stream(9);
    const begun = new Begun(Promise.resolve(reader));
    begun.fill(25);
    await later();
    expect(reads()).toBe(3);
    await later();
    expect(reads()).toBe(3);
    expect(await all(begun)).toEqual([0, 10, 20, 30, 40, 50, 60, 70, 80]);
  });

  it('gives every packet once and in order when it is wanted while it fills', async () => {
    const { reader } = stream(5);
    const begun = new Begun(later().then(() => reader));
    begun.fill(1000);
    expect(await all(begun)).toEqual([0, 10, 20, 30, 40]);
  });

  it('is the same without filling', async () => expect(await all(new Begun(Promise.resolve(stream(2).reader)))).toEqual([0, 10]));

  it('says that it broke before it was wanted, and throws where it is wanted', async () => {
    const begun = new Begun(Promise.reject(new Error('many passages')));
    begun.fill(10);
    await later();
    expect(begun.isBroken).toBe(true);
    await expect(all(new Begun(Promise.reject(new Error('gone'))))).rejects.toThrow('gone');
  });
});
