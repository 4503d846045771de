import { describe, expect, it } from 'vitest';
import { caution, extents, heading, keyName, laid, lanes, presence, sharedMarks, shown, size, unitWords } from './compare';
import { ALIGNS } from './route';

describe('values', () => {
  it('are said in their units', () => {
    // Middle C is key 60, as the MIDI standard numbers keys.
    expect([60, 21, 108, 127].map(keyName)).toEqual(['C4', 'A0', 'C8', 'G9']);
    const share = { unit: 'share of bars', is_share: true };
    expect([shown(share, 0.604), unitWords(share)]).toEqual(['60 %', 'of bars']);
    expect(shown({ unit: 'dynamic step', is_share: false }, 6.4)).toBe('f');
    expect([shown({ unit: 'in 100 bars', is_share: false }, 2.25), unitWords({ unit: 'in 100 bars', is_share: false })]).toEqual(['2.3', 'in 100 bars']);
  });
  it('have bars that never leave their box', () => {
    for (const unit of ['share of bars', 'MIDI key', 'dynamic step', 'semitones']) {
      for (const [a, b] of [[0, 0], [0.2, 1], [1, 0]] as const) {
        const scale = unit === 'MIDI key' ? 87 : 1;
        for (const extent of extents({ a: 21 * Number(unit === 'MIDI key') + a * scale, b: 21 * Number(unit === 'MIDI key') + b * scale, unit, is_share: unit.startsWith('share') })) {
          expect(extent).toBeGreaterThanOrEqual(0);
          expect(extent).toBeLessThanOrEqual(1);
        }
      }
    }
  });
  it('have sizes in words', () => expect([0.1, -0.3, 0.6, -4].map(size)).toEqual(['hardly any', 'little', 'middling', 'much']));
});

describe('headings', () => {
  it('are phrases of the trade', () => {
    const said = [['presence', 'bars'], ['sharing', 'chords'], ['role shares', 'harmony'], ['brass weight', '4 horns to 3 trumpets'], ['chord voicing', 'layered above'], ['presence', '']] as const;
    expect(said.map(([measure, aspect]) => heading({ measure, aspect }))).toEqual([
      'in how many of all bars it plays', 'its share of all the chords', 'how much of its playing is harmony', 'balance of loud brass chords: 4 horns to 3 trumpets', 'how chords are voiced: layered above', 'how much it plays',
    ]);
  });
  it('know every measure there is', () => {
    // Each file of the measures names its own.
    const files = import.meta.glob<string>('../../../../practice/src/measures/*.rs', { query: '?raw', import: 'default', eager: true });
    const names = Object.values(files).flatMap((text) => [...text.matchAll(/^ {4}name: "([a-z_]+)",$/gm)].map(([, name]) => (name ?? '').replace(/_/g, ' ')));
    expect(names.length).toBeGreaterThan(12);
    for (const measure of names) expect(heading({ measure, aspect: 'x' }), measure).not.toBe(`${measure}: x`);
  });
});

describe('what may be said', () => {
  const of = (a: number, b: number) => caution({ a: { works: a, scores: [], profiles: [] }, b: { works: b, scores: [], profiles: [] }, judged: 40, clear: 9, same_piece: false }).join(' ');
  it('warns of small samples', () => {
    expect(of(1, 1)).toMatch(/One work each/);
    expect(of(1, 3)).toMatch(/Small sample/);
    expect(of(3, 9)).toMatch(/Small sample/);
    expect(of(6, 9)).not.toMatch(/Small sample/);
    expect(of(6, 9)).toMatch(/9 stand clear of noise, where chance alone would make about 2/);
  });
});

describe('scores under each other', () => {
  const row = (section: string, family: string) => ({ section, family, roles: [] });
  it('have each section once, in the order of the page', () => {
    const found = lanes([{ map: [row('flutes', 'woodwind'), row('violins', 'strings')] }, { map: [row('flutes', 'woodwind'), row('horns', 'brass'), row('violins', 'strings')] }]);
    expect(found.map(({ section, rows }) => [section, ...rows])).toEqual([['flutes', 0, 0], ['horns', -1, 1], ['violins', 1, 2]]);
  });
  const score = (bars: number, ...rehearsal: [string, number][]) => ({ bars: Array.from({ length: bars }, (_, bar) => String(bar + 1)), rehearsal: rehearsal.map(([text, bar]) => ({ text, bar })) });
  it('are aligned by share, by bar or by rehearsal mark, and back', () => {
    const scores = [score(50, ['A', 10], ['B', 30]), score(200, ['A', 12], ['B', 100], ['C', 150])];
    for (const align of ALIGNS) {
      const { place, barAt } = laid(scores, align);
      scores.forEach(({ bars }, which) => bars.forEach((_, bar) => expect(barAt(which, place(which, bar))).toBe(bar)));
    }
    expect(laid(scores, 'bar').barAt(0, 0.5)).toBeNull();
    expect(presence([1, -1, 0, -1])).toBe(0.5);
  });
  it('have shared rehearsal marks under each other', () => {
    // C stands only in one, and A of the third after its B: neither can bind them.
    const scores = [score(50, ['A', 10], ['B', 30]), score(60, ['A', 12], ['B', 40], ['C', 50])];
    expect(sharedMarks(scores)).toEqual([{ text: 'A', bars: [10, 12] }, { text: 'B', bars: [30, 40] }]);
    const { place, barAt, ticks } = laid(scores, 'mark');
    expect(place(0, 10)).toBe(place(1, 12));
    expect(place(0, 30)).toBe(place(1, 40));
    // From mark to mark bars lie bar under bar; where the one has no more there is a gap.
    expect(place(0, 15)).toBe(place(1, 17));
    expect(barAt(0, place(1, 39))).toBeNull();
    expect(ticks(0.05).map(({ text }) => text)).toEqual(['A', 'B']);
    expect(sharedMarks([...scores, score(40, ['B', 5], ['A', 20])])).toEqual([{ text: 'A', bars: [10, 12, 20] }]);
    expect(place(0, 50)).toBeLessThanOrEqual(1);
  });
});
