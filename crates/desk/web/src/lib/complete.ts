/** Completing the word that is being typed in a question, from the words of docs/questions.md and the names of a score. */

import type { View } from './api';
import { ROLES } from './looks';

/** What can stand in a question whatever the score: docs/questions.md. */
const WORDS: readonly string[] = [
  'accompany', 'all', 'alone', 'and', 'any', 'apart from', 'at least', 'at most', 'between', 'bars long', 'chord', 'clear', 'covered', 'double', 'doubled', 'enter', 'even', 'everybody', 'exactly', 'first enters',
  'forte or louder', 'glissando', 'hard to hear', 'harmonics', 'have', 'in bars', 'in octaves', 'in unison', 'key', 'lead', 'louder than', 'melody is covered', 'metre', 'muted', 'not', 'only', 'overlap', 'piano or softer', 'pizzicato', 'play',
  'players', 'prominent', 'rest', 'sections', 'share a layer with', 'silent', 'solo', 'stopped', 'take over the melody from', 'tempo at least', 'theme', 'touch', 'tremolo', 'tutti', 'uneven', 'without',
];

/** Words that a question to a score may have, each once. */
export function vocabulary(view: Pick<View, 'sections' | 'families'>): string[] {
  return [...new Set([...view.sections.map(({ name }) => name), ...view.families.map(({ name }) => name), ...ROLES, ...WORDS])].sort();
}

/** The question with its last word completed, in at most eight ways; none where there is nothing to complete. */
export function completed(question: string, words: readonly string[]): string[] {
  const last = /\S+$/.exec(question)?.[0] ?? '';
  if (last.length < 2) return [];
  const before = question.slice(0, question.length - last.length);
  const begun = last.toLowerCase();
  return words.filter((word) => word.startsWith(begun) && word !== begun).slice(0, 8).map((word) => before + word);
}
