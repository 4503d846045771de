import { describe, expect, it } from 'vitest';
import { around, lastAt, LEAST, moved, ticks, timeAt, within, xOf, zoomed } from './axis';

describe('the time axis', () => {
  it('keeps the moment under the pointer in its place where the piece has room', () => {
    for (const factor of [0.8, 1.25, 3, 40]) {
      const before = { from: 100, to: 300 };
      const after = zoomed(before, factor, 180, 1000);
      expect(xOf(180, after, 800)).toBeCloseTo(xOf(180, before, 800), 6);
    }
  });

  it('never leaves the piece and never gets too small', () => {
    for (const stretch of [{ from: -50, to: 20 }, { from: 990, to: 1400 }, { from: 5, to: 5 }, { from: -1e9, to: 1e9 }]) {
      const kept = within(stretch, 1000);
      expect(kept.from).toBeGreaterThanOrEqual(0);
      expect(kept.to).toBeLessThanOrEqual(1000);
      expect(kept.to - kept.from).toBeGreaterThanOrEqual(LEAST);
    }
    expect(zoomed({ from: 0, to: 1000 }, 1e9, 500, 1000)).toEqual({ from: 499.75, to: 500.25 });
    expect(moved({ from: 0, to: 100 }, -3, 1000)).toEqual({ from: 0, to: 100 });
  });

  it('zooming in and out again is where one was', () => {
    const before = { from: 200, to: 280 };
    const back = zoomed(zoomed(before, 2, 231, 1000), 0.5, 231, 1000);
    expect(back.from).toBeCloseTo(before.from, 9);
    expect(back.to).toBeCloseTo(before.to, 9);
  });

  it('pixels and time answer each other', () => {
    const stretch = { from: 12.5, to: 99 };
    expect(timeAt(xOf(40, stretch, 733), stretch, 733)).toBeCloseTo(40, 9);
  });

  it('shows bars with air around them', () => {
    const seen = around(40, 48, 400);
    expect(seen.from).toBeLessThan(40);
    expect(seen.to).toBeGreaterThan(48);
  });

  it('finds the bar of a moment', () => {
    expect(lastAt([0, 4, 8], 7.9)).toBe(1);
    expect(lastAt([0, 4, 8], 8)).toBe(2);
    expect(lastAt([0, 4, 8], -1)).toBe(0);
    expect(lastAt([], 3)).toBe(0);
  });

  it('labels tens on a whole piece and every bar near by', () => {
    const starts = Array.from({ length: 500 }, (_, bar) => bar * 4);
    const whole = ticks(starts, { from: 0, to: 2000 }, 1200);
    const labels = whole.filter((tick) => tick.labelled);
    expect(labels.length).toBeGreaterThan(8);
    for (let i = 1; i < labels.length; i++) expect((labels[i]?.x ?? 0) - (labels[i - 1]?.x ?? 0)).toBeGreaterThan(30);
    expect(labels.slice(1).every((tick) => (tick.bar + 1) % 10 === 0)).toBe(true);
    expect(ticks(starts, { from: 0, to: 20 }, 1200).filter((tick) => tick.labelled).map((tick) => tick.bar)).toEqual([0, 1, 2, 3, 4, 5]);
    const upbeat = ticks(starts, { from: 0, to: 2000 }, 1200, 44, (bar) => bar).filter((tick) => tick.labelled);
    expect(upbeat.slice(1).every((tick) => tick.bar % 10 === 0)).toBe(true);
    expect(ticks([], { from: 0, to: 1 }, 100)).toEqual([]);
  });
});
