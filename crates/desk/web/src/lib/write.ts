/** A draft as the page edits it: cells of the map, phrases, and what proposals fill in. Pure functions, tested without a page. */

import type { components } from '../generated/api';
import { KEYS } from './chart';
import { withSigns } from './rows';

type Schemas = components['schemas'];
export type Draft = Schemas['DraftShown'];
export type DraftCard = Schemas['DraftCard'];
export type Group = Schemas['GroupShown'];
export type Phrase = Schemas['PhraseRow'];
export type Task = Schemas['TaskRow'];
export type Proposal = Schemas['ProposalShown'];
export type Cell = Schemas['CellShown'];
export type Estimate = Schemas['EstimateShown'];
export type Strand = Schemas['StrandShown'];
export type LineupRows = Schemas['LineupRows'];
export type SectionRow = Schemas['SectionRow'];
export type KnownLineup = Schemas['KnownLineup'];
export type Objections = Schemas['ObjectionsShown'];

/** Whose practice is followed in what is left open: a score of the shelf, a saved profile, or neither: the usual one. */
export interface Model {
  readonly like: number | null;
  readonly like_profile: number | null;
}

export const USUAL: Model = { like: null, like_profile: null };

/** A model as the value of a choice: "", "4", "p2". */
export const modelValue = ({ like, like_profile }: Model): string => (like !== null ? String(like) : like_profile !== null ? `p${like_profile}` : '');

/** Reads what {@link modelValue} wrote. */
export function modelOf(value: string): Model {
  const number = Number(value.replace(/^p/, ''));
  if (!number) return USUAL;
  return value.startsWith('p') ? { like: null, like_profile: number } : { like: number, like_profile: null };
}

export const SILENCE = 'silence';
/** What a staff of a sketch is called, and the role it has in every picture. */
export const STAFF_ROLES: readonly (readonly [staff: string, role: string])[] = [
  ['melody', 'melody'], ['answer', 'countermelody'], ['bass', 'bass'], ['chords', 'harmony'], ['pedal', 'pedal'],
  ['rhythm', 'rhythm'], ['figure', 'figuration'], ['hits', 'punctuation'], ['effect', 'effect'],
];
export const DYNAMICS = ['ppp', 'pp', 'p', 'mp', 'mf', 'f', 'ff', 'fff'] as const;

/** What the map shows of a group in a phrase. */
export interface Shown {
  /** Set by a person or carried over: casting keeps to it. */
  readonly isSet: boolean;
  readonly task: Task | null;
  /** Its role as all pictures call it; "tacet" for silence, "" where nothing is known yet. */
  readonly role: string;
  /** Lowest and highest note, where a proposal says. */
  readonly band: string;
}

const touches = (task: Task, group: Group): boolean => task.section === group.section && task.players.some((player) => group.players.includes(player));

/** The task of a group in a phrase of the plan. */
export const taskOf = (phrase: Phrase, group: Group): Task | null => phrase.tasks.find((task) => touches(task, group)) ?? null;

/** The role of a strand as all pictures call it. */
export const roleOf = (strands: readonly Strand[], name: string): string =>
  name === SILENCE ? 'tacet' : (strands.find((strand) => strand.name === name)?.role ?? '');

/** Names of notes as the trade prints them: "B♭2–F4". */
export const noteSigns = (text: string): string => text.replace(/\b([A-G])b(?=-?\d)/g, '$1\u266d').replace(/\b([A-G])#(?=-?\d)/g, '$1\u266f');

/** Words about players and notes, with the signs of the trade: "together with Clarinets in B♭, up to F♯5". */
export const signed = (text: string): string => noteSigns(withSigns(text));

/** A strand in the words of every picture: its role, numbered where several have the same. */
export function strandWord(strands: readonly Strand[], name: string): string {
  if (name === SILENCE) return 'tacet';
  const strand = strands.find((one) => one.name === name);
  if (!strand) return name.toLowerCase();
  const alike = strands.filter((one) => one.role === strand.role);
  return alike.length > 1 ? `${strand.role} ${alike.indexOf(strand) + 1}` : strand.role;
}

/** What a proposal has for a group in a phrase of the same bars. */
export function cellOf(proposal: Proposal | null, phrase: Phrase, group: Group): Cell | null {
  const same = proposal?.phrases.find((other) => other.first === phrase.first && other.last === phrase.last);
  return same?.cells.find((cell) => touches(cell.task, group)) ?? null;
}

/** What the map shows: the plan first, else the proposal looked at. */
export function shownOf(draft: Pick<Draft, 'strands'>, phrase: Phrase, group: Group, proposal: Proposal | null): Shown {
  const task = taskOf(phrase, group);
  const cell = cellOf(proposal, phrase, group);
  if (task) return { isSet: true, task, role: roleOf(draft.strands, task.role), band: cell?.task.role === task.role ? cell.band : '' };
  if (cell) return { isSet: false, task: cell.task, role: cell.role, band: cell.band };
  return { isSet: false, task: null, role: '', band: '' };
}

/** A fresh task of a group. */
export const fresh = (group: Group, role: string): Task => ({
  section: group.section, players: [...group.players], role, octave: null, register: null, doubling: '', thickening: '', density: null, position: '', dynamic: '', muted: false, instrument: '', why: '',
});

/** A task as a person sets it: it is played as it stands, and what casting told of it holds no longer. */
export const byHand = (task: Task): Task => ({ ...task, by_casting: false, sounds: null, why: '' });

/** The plan with another task for a group in a phrase, or none: the cell is open again. Players of the old task who do not belong to the group keep it. */
export function withTask(plan: readonly Phrase[], at: number, group: Group, task: Task | null): Phrase[] {
  return plan.map((phrase, index) => {
    if (index !== at) return phrase;
    const others = phrase.tasks.flatMap((other) => {
      if (other.section !== group.section) return [other];
      const players = other.players.filter((player) => !group.players.includes(player));
      return players.length > 0 ? [{ ...other, players }] : [];
    });
    return { ...phrase, tasks: task ? [...others, { ...task, section: group.section, players: [...group.players] }] : others };
  });
}

/** The plan with what a proposal has in a phrase set, for one group or for all who are open. */
export function kept(plan: readonly Phrase[], at: number, groups: readonly Group[], proposal: Proposal): Phrase[] {
  return groups.reduce<Phrase[]>((now, group) => {
    const phrase = now[at];
    if (!phrase || taskOf(phrase, group)) return now;
    const cell = cellOf(proposal, phrase, group);
    return cell ? withTask(now, at, group, cell.task) : now;
  }, [...plan]);
}

/** The phrase cut in two before a bar; both parts keep its tasks. */
export function cutAt(plan: readonly Phrase[], bar: number): Phrase[] {
  return plan.flatMap((phrase) =>
    phrase.first < bar && bar <= phrase.last
      ? [{ ...phrase, last: bar - 1 }, { ...phrase, first: bar, tasks: phrase.tasks.map((task) => ({ ...task })) }]
      : [phrase],
  );
}

/** A phrase joined with the next; the first one's tasks hold. */
export function joined(plan: readonly Phrase[], at: number): Phrase[] {
  const [one, next] = [plan[at], plan[at + 1]];
  if (!one || !next) return [...plan];
  return [...plan.slice(0, at), { ...one, last: next.last }, ...plan.slice(at + 2)];
}

/** Strands that sound in a phrase. */
export const present = (strands: readonly Strand[], phrase: Phrase): Strand[] =>
  strands.filter((strand) => strand.bars.some((bar) => phrase.first <= bar && bar <= phrase.last));

/** "51–54". */
export function barsOf(bars: readonly string[], phrase: { readonly first: number; readonly last: number }): string {
  const [first, last] = [bars[phrase.first] ?? '', bars[phrase.last] ?? ''];
  return first === last ? first : `${first}–${last}`;
}

/** What has been planned otherwise since a proposal was cast, as a sentence; "" where nothing has. */
export function otherwise(draft: Pick<Draft, 'bars' | 'plan'>, proposal: Pick<Proposal, 'changed' | 'is_old'>): string {
  if (proposal.is_old) return 'Line-up, sketch or phrases have changed since.';
  const bars = proposal.changed.flatMap((at) => (draft.plan[at] ? [barsOf(draft.bars, draft.plan[at])] : []));
  return bars.length === 0 ? '' : `Bars ${bars.join(', ')} are planned otherwise now.`;
}

const OCTAVES: Readonly<Record<number, string>> = { 1: 'octave up', [-1]: 'octave down' };

/** At which octave a line sounds, for the most part. */
export const octaveOf = (task: Task): number => task.sounds ?? task.octave ?? 0;

/** What a task says beyond its role: "octave up, in octaves, mf". */
export function details(task: Task): string {
  const words: string[] = [];
  const octave = octaveOf(task);
  if (octave !== 0) words.push(OCTAVES[octave] ?? `${Math.abs(octave)} octaves ${octave > 0 ? 'up' : 'down'}`);
  if (task.doubling === 'octaves') words.push('in octaves');
  if (task.thickening === 'diatonic') words.push('in thirds');
  if (task.thickening === 'chord-tones') words.push('with chord tones');
  if (task.thickening === 'triads') words.push('in triads');
  if (task.density) words.push(task.density === 1 ? '1 note' : `${task.density} notes`);
  if (task.position) words.push(task.position);
  if (task.muted) words.push('muted');
  if (task.instrument) words.push(`on ${task.instrument}`);
  if (task.dynamic) words.push(task.dynamic);
  return words.join(', ');
}

/** A criterion as it is read: "98 %", "3 places". */
export function measured(value: number, unit: string): string {
  if (unit.startsWith('share')) return `${Math.round(value * 1000) / 10} %`;
  const figure = Number.isInteger(value) ? String(value) : value.toFixed(1);
  const withSign = figure.replace('-', '−');
  return unit.startsWith('per cent') ? `${withSign} %` : withSign;
}

/** Among proposals, whose value is the best; none where all are alike. */
export function best(values: readonly number[], moreIsBetter: boolean): number | null {
  const wanted = moreIsBetter ? Math.max(...values) : Math.min(...values);
  return values.every((value) => value === wanted) ? null : wanted;
}

/** The strand a letter gives: the letters are those of the charts; of several strands with one role the next after the one a cell has. */
export function strandByKey(strands: readonly Strand[], key: string, now = ''): Strand | undefined {
  const role = KEYS[key];
  const alike = strands.filter((strand) => strand.role === role);
  return alike[(alike.findIndex((strand) => strand.name === now) + 1) % alike.length];
}

/** The letters for the strands of a sketch: "m melody". */
export const strandKeys = (strands: readonly Strand[]): { readonly key: string; readonly role: string }[] =>
  Object.entries(KEYS).flatMap(([key, role]) => (key.length === 1 && strands.some((strand) => strand.role === role) ? [{ key, role }] : []));
