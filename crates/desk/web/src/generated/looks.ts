// Made from crates/pictures/src/palette.rs by the test `looks`; not to be edited.
export const ROLE_LOOKS = [
  { role: 'melody', fill: '#b3261e', ink: '#b3261e', weave: 'plain' },
  { role: 'countermelody', fill: '#ffc083', ink: '#e26400', weave: 'bands' },
  { role: 'bass', fill: '#1e356c', ink: '#1e356c', weave: 'plain' },
  { role: 'harmony', fill: '#9cc5c1', ink: '#9cc5c1', weave: 'plain' },
  { role: 'pedal', fill: '#7093c7', ink: '#2d5992', weave: 'level' },
  { role: 'rhythm', fill: '#d8af29', ink: '#4d1f03', weave: 'upright' },
  { role: 'figuration', fill: '#d4e5a1', ink: '#7d5265', weave: 'falling' },
  { role: 'punctuation', fill: '#5b4b6a', ink: '#edd7cd', weave: 'dots' },
  { role: 'effect', fill: '#c6a9d7', ink: '#44828a', weave: 'crossed' },
] as const;
