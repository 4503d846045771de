// Made from crates/pictures/src/palette.rs by the test `looks`; not to be edited.
export const ROLE_LOOKS = [
  { role: 'melody', fill: '#b3261e', ink: '#b3261e', weave: 'plain', note: '#b3261e' },
  { role: 'countermelody', fill: '#ffc083', ink: '#e26400', weave: 'bands', note: '#d65f00' },
  { role: 'bass', fill: '#1e356c', ink: '#1e356c', weave: 'plain', note: '#1e356c' },
  { role: 'harmony', fill: '#9cc5c1', ink: '#9cc5c1', weave: 'plain', note: '#6b8784' },
  { role: 'pedal', fill: '#7093c7', ink: '#2d5992', weave: 'level', note: '#2d5992' },
  { role: 'rhythm', fill: '#d8af29', ink: '#4d1f03', weave: 'upright', note: '#4d1f03' },
  { role: 'figuration', fill: '#d4e5a1', ink: '#7d5265', weave: 'falling', note: '#7d5265' },
  { role: 'punctuation', fill: '#5b4b6a', ink: '#edd7cd', weave: 'dots', note: '#5b4b6a' },
  { role: 'effect', fill: '#c6a9d7', ink: '#44828a', weave: 'crossed', note: '#44828a' },
] as const;
export const FAMILY_COLOURS: Readonly<Record<string, string>> = {
  woodwind: '#2c7a57',
  brass: '#b06f12',
  percussion: '#6d6459',
  keyboard: '#4a6c8f',
  plucked: '#4f8aa6',
  strings: '#8a3f63',
  voice: '#a8452f',
  electronic: '#5a6470',
  other: '#6d6459',
};
/** Percent of the way to black (below 0) or white for each of so many sections of a family, from dark to light. */
export const SHADES: readonly (readonly number[])[] = [
  [0],
  [0],
  [-30, 20],
  [-40, 0, 30],
  [-50, -20, 10, 40],
  [-60, -30, 0, 20, 40],
  [-60, -30, 0, 20, 40, 50],
  [-60, -42, -24, -5, 13, 31, 50],
  [-60, -45, -29, -13, 2, 18, 34, 50],
  [-60, -47, -33, -19, -5, 8, 22, 36, 50],
  [-60, -48, -36, -24, -12, 1, 13, 25, 37, 50],
  [-60, -49, -38, -27, -16, -5, 6, 17, 28, 39, 50],
  [-60, -50, -40, -30, -20, -10, 0, 10, 20, 30, 40, 50],
  [-60, -51, -42, -33, -24, -15, -5, 4, 13, 22, 31, 40, 50],
  [-60, -52, -44, -35, -27, -18, -10, -1, 7, 16, 24, 33, 41, 50],
  [-60, -53, -45, -37, -29, -21, -13, -5, 2, 10, 18, 26, 34, 42, 50],
  [-60, -53, -46, -38, -31, -24, -16, -9, -2, 6, 13, 20, 28, 35, 42, 50],
];
