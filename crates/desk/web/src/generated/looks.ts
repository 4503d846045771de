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
