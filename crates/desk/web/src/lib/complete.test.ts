import { expect, it } from 'vitest';
import { completed, vocabulary } from './complete';

const view = { sections: [{ name: 'horns', family: 'brass', parts: [0] }, { name: 'double basses', family: 'strings', parts: [1] }], families: [{ name: 'brass', family: 'brass', parts: [0] }] };

it('completes the last word by the score’s own names and the words of questions', () => {
  const words = vocabulary(view);
  expect(completed('all brass play and ho', words)).toEqual(['all brass play and horns']);
  expect(completed('horns have me', words)).toEqual(['horns have melody', 'horns have melody is covered', 'horns have metre']);
  expect(completed('Dou', words)).toEqual(['double', 'double basses', 'doubled']);
});

it('is silent where nothing is begun or all is said', () => {
  const words = vocabulary(view);
  for (const text of ['', 'horns ', 'h', 'horns', 'horns xyz']) expect(completed(text, words)).toEqual([]);
});
