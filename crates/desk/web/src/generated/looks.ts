// Made from crates/pictures/src/palette.rs by the test `looks`; not to be edited.
export const ROLE_LOOKS = [
  { role: 'melody', fill: '#b3261e', ink: '#b3261e', weave: 'plain' },
  { role: 'countermelody', fill: '#ffc48c', ink: '#d4600f', weave: 'bands' },
  { role: 'bass', fill: '#1f3b73', ink: '#1f3b73', weave: 'plain' },
  { role: 'harmony', fill: '#9cc5c1', ink: '#9cc5c1', weave: 'plain' },
  { role: 'pedal', fill: '#6f8fbf', ink: '#26456f', weave: 'level' },
  { role: 'rhythm', fill: '#e2b93b', ink: '#7a5c00', weave: 'upright' },
  { role: 'figuration', fill: '#c9dc87', ink: '#56701a', weave: 'falling' },
  { role: 'punctuation', fill: '#5b4a68', ink: '#e4dbea', weave: 'dots' },
  { role: 'effect', fill: '#c7a9d8', ink: '#5f3b78', weave: 'crossed' },
] as const;
