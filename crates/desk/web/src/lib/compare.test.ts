import { describe, expect, it } from 'vitest';
import { barAt, caution, extents, keyName, lanes, placed, presence, shown, size, unitWords } from './compare';

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

describe('what may be said', () => {
  const of = (a: number, b: number) => caution({ a: { works: a, scores: [] }, b: { works: b, scores: [] }, judged: 40, clear: 9, same_piece: false }).join(' ');
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
  it('are aligned by share or by bar, and back', () => {
    for (const align of ['share', 'bar'] as const) {
      for (const bar of [0, 7, 49]) expect(barAt(placed(bar, 50, 200, align) + 1e-9, 50, 200, align)).toBe(bar);
    }
    expect(barAt(0.5, 50, 200, 'bar')).toBeNull();
    expect(presence([1, -1, 0, -1])).toBe(0.5);
  });
});
