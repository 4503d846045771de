import { describe, expect, it } from 'vitest';
import { contrast, rgb } from './colour';
import { DARK, LIGHT, ROLES } from './looks';

// WCAG 2.2: 1.4.3 asks 4.5 to 1 of letters, 1.4.11 asks 3 to 1 of graphics.
for (const theme of [LIGHT, DARK]) {
  describe(theme.isDark ? 'dark' : 'light', () => {
    const ground = rgb(theme.ground);
    it('has an edge round every role that stands out', () => {
      for (const role of ROLES) expect(contrast(rgb(theme.roles[role]?.edge ?? theme.ground), ground), role).toBeGreaterThanOrEqual(3);
    });
    it('has letters that can be read, on the ground and on cells', () => {
      for (const colour of [theme.ink, theme.quiet, theme.accent]) expect(contrast(rgb(colour), ground)).toBeGreaterThanOrEqual(4.5);
      for (const role of ROLES) {
        const look = theme.roles[role];
        expect(contrast(rgb(look?.text ?? '#000000'), rgb(look?.fill ?? '#000000')), role).toBeGreaterThanOrEqual(4.5);
      }
    });
    it('has families that can be read as letters', () => {
      for (const [name, colour] of Object.entries(theme.families)) expect(contrast(rgb(colour), ground), name).toBeGreaterThanOrEqual(4.5);
    });
  });
}

it('contrast is that of the standard: black on white 21 to 1, one grey known', () => {
  expect(contrast([0, 0, 0], [255, 255, 255])).toBeCloseTo(21, 5);
  // #767676 on white is the usual example of just over 4.5 to 1 (from memory).
  expect(contrast(rgb('#767676'), [255, 255, 255])).toBeCloseTo(4.54, 2);
});
