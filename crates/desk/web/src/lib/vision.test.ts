import { describe, expect, it } from 'vitest';
import type { Rgb } from './colour';
import { DARK, LIGHT, ROLES } from './looks';
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

/** Smallest difference of two roles, and between which. */
function closest(theme: typeof LIGHT, see: (colour: Rgb) => Rgb): [number, string] {
  const colours = ROLES.map((role) => lab(see(blended(theme.roles[role] ?? { fill: '#000000', ink: '#000000', weave: 'plain' }))));
  let least: [number, string] = [Infinity, ''];
  colours.forEach((one, x) => colours.slice(x + 1).forEach((other, y) => {
    const far = difference(one, other);
    if (far < least[0]) least = [far, `${ROLES[x] ?? ''} and ${ROLES[x + 1 + y] ?? ''}`];
  }));
  return least;
}

// A difference of 2.3 is just noticeable side by side (M. Mahy, L. Van Eycken and A. Oosterlinck 1994, for CIELAB); 8 is the floor kept here, in
// cells too small for textures. Larger cells have textures as well, and every cell says its role in words.
describe('any two roles are told apart without their textures', () => {
  const eyes: readonly [string, (colour: Rgb) => Rgb][] = [['usual sight', (colour) => colour], ...Object.entries(DEFICIENCIES).map(([name, matrix]) => [name, (colour: Rgb) => simulated(colour, matrix)] as [string, (colour: Rgb) => Rgb])];
  for (const theme of [LIGHT, DARK]) {
    for (const [name, see] of eyes) {
      it(`${theme.isDark ? 'dark' : 'light'}, ${name}`, () => {
        const [least, pair] = closest(theme, see);
        console.log(`${theme.isDark ? 'dark ' : 'light'} ${name}: smallest difference (CIEDE2000) ${least.toFixed(1)}, ${pair}`);
        expect(least).toBeGreaterThanOrEqual(8);
      });
    }
  }
});
