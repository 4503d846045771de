import { describe, expect, it } from 'vitest';
import type { Rgb } from './colour';
import { rgb } from './colour';
import { DARK, LIGHT, ROLES, sectionColour } from './looks';
import { blended, DEFICIENCIES, difference, lab, simulated } from './vision';

describe('the formula', () => {
  it('gives what Sharma, Wu and Dalal 2005 print in their table 1', () => {
    const pairs: readonly [Rgb, Rgb, number][] = [
      [[50, 2.6772, -79.7751], [50, 0, -82.7485], 2.0425],
      [[50, 2.8361, -74.02], [50, 0, -82.7485], 3.4412],
      [[50, -1.3802, -84.2814], [50, 0, -82.7485], 1],
      [[50, 2.5, 0], [73, 25, -18], 27.1492],
      [[50, 2.5, 0], [61, -5, 29], 22.8977],
      [[50, 2.5, 0], [56, -27, -3], 31.903],
      [[50, 2.5, 0], [58, 24, 15], 19.4535],
      [[2.0776, 0.0795, -1.135], [0.9033, -0.0636, -0.5514], 0.9082],
    ];
    for (const [one, other, expected] of pairs) {
      expect(difference(one, other)).toBeCloseTo(expected, 4);
      expect(difference(other, one)).toBeCloseTo(expected, 4);
    }
  });
  it('leaves greys as they are for everybody', () => {
    for (const deficiency of Object.values(DEFICIENCIES)) {
      for (const part of simulated([119, 119, 119], deficiency)) expect(part).toBeCloseTo(119, 0);
    }
  });
});

/** Smallest difference of two roles, and between which: as cells too small for textures, or as single notes. */
function closest(theme: typeof LIGHT, see: (colour: Rgb) => Rgb, areNotes = false): [number, string] {
  const of = (role: string) => theme.roles[role] ?? { fill: '#000000', ink: '#000000', weave: 'plain', note: '#000000' };
  const colours = ROLES.map((role) => lab(see(areNotes ? rgb(of(role).note) : blended(of(role)))));
  let least: [number, string] = [Infinity, ''];
  colours.forEach((one, x) => colours.slice(x + 1).forEach((other, y) => {
    const far = difference(one, other);
    if (far < least[0]) least = [far, `${ROLES[x] ?? ''} and ${ROLES[x + 1 + y] ?? ''}`];
  }));
  return least;
}

// A difference of 2.3 is just noticeable side by side (M. Mahy, L. Van Eycken and A. Oosterlinck 1994, for CIELAB); 8 is the floor kept here, in
// cells too small for textures. Larger cells have textures as well, and every cell says its role in words.
const EYES: readonly [string, (colour: Rgb) => Rgb][] = [['usual sight', (colour) => colour], ...Object.entries(DEFICIENCIES).map(([name, matrix]) => [name, (colour: Rgb) => simulated(colour, matrix)] as [string, (colour: Rgb) => Rgb])];

describe('any two roles are told apart without their textures', () => {
  for (const theme of [LIGHT, DARK]) {
    for (const [name, see] of EYES) {
      it(`${theme.isDark ? 'dark' : 'light'}, ${name}`, () => {
        const [least, pair] = closest(theme, see);
        console.log(`${theme.isDark ? 'dark ' : 'light'} ${name}: smallest difference (CIEDE2000) ${least.toFixed(1)}, ${pair}`);
        expect(least).toBeGreaterThanOrEqual(8);
      });
    }
  }
});

// Single notes have one colour each and no texture; their role stands under the pointer and in the legend.
describe('single notes of any two roles are told apart', () => {
  for (const theme of [LIGHT, DARK]) {
    for (const [name, see] of EYES) {
      it(`${theme.isDark ? 'dark' : 'light'}, ${name}`, () => {
        const [least, pair] = closest(theme, see, true);
        console.log(`${theme.isDark ? 'dark ' : 'light'} notes, ${name}: smallest difference (CIEDE2000) ${least.toFixed(1)}, ${pair}`);
        expect(least).toBeGreaterThanOrEqual(theme.isDark ? 4.5 : 6.5);
      });
    }
  }
});

describe('sections of a family are told apart', () => {
  it('by shades that stand out from the ground', () => {
    for (const theme of [LIGHT, DARK]) {
      for (const family of ['woodwind', 'brass', 'strings', 'percussion']) {
        for (let count = 2; count <= 5; count++) {
          const shades = Array.from({ length: count }, (_, place) => sectionColour(theme, family, place, count));
          expect(new Set(shades).size).toBe(count);
        }
      }
    }
  });
});
