import { describe, expect, it } from 'vitest';
import { ROLES } from './looks';
import { barsOf, best, byHand, cutAt, details, fresh, joined, kept, measured, modelOf, modelValue, noteSigns, otherwise, present, shownOf, STAFF_ROLES, strandByKey, signed, strandKeys, strandWord, taskOf, type Group, type Phrase, type Proposal, type Strand, USUAL, withTask } from './write';

const group = (section: string, players: number[], of = players.length): Group => ({ label: section, section, players, of, family: 'brass', reach: '' });
const strands: Strand[] = [
  { name: 'Melody', role: 'melody', is_chordal: false, bars: [0, 1, 2, 3] },
  { name: 'Chords', role: 'harmony', is_chordal: true, bars: [2, 3] },
];
const trumpets = group('Trumpets', [1, 2, 3]);
const plan: Phrase[] = [
  { first: 0, last: 1, arrangement: '', fill: true, tasks: [] },
  { first: 2, last: 3, arrangement: '', fill: true, tasks: [fresh(trumpets, 'Melody')] },
];
const proposal: Proposal = {
  number: 1, score: -11, criteria: [], gap: 0, is_exact: true, reason: '', remarks: [], estimated: [], seconds: 0, revision: 1, changed: [], is_old: false, set: [], sections: ['Trumpets'],
  phrases: [{ first: 0, last: 1, cells: [{ task: fresh(trumpets, 'Chords'), role: 'harmony', band: 'C4–G4' }] }],
};

describe('the map', () => {
  it('gives words the signs of the trade wherever they stand', () => {
    expect(signed('together with Cornets in Bb, F4-Eb5 lies well; Horns in Eb')).toBe('together with Cornets in B♭, F4-E♭5 lies well; Horns in E♭');
  });

  it('names the bars a proposal does not have as they are planned now', () => {
    const draft = { bars: ['1', '2', '3', '4'], plan };
    expect(otherwise(draft, proposal)).toBe('');
    expect(otherwise(draft, { ...proposal, changed: [1] })).toBe('Bars 3–4 are planned otherwise now.');
    expect(otherwise(draft, { ...proposal, is_old: true })).toMatch(/have changed since/);
  });

  it('says what is taken up in hand', () => {
    expect(details({ ...fresh(trumpets, 'Melody'), instrument: 'Flugelhorn' })).toBe('on Flugelhorn');
  });

  it('sets a cell, opens it again, and leaves the others', () => {
    const one = withTask(plan, 0, trumpets, fresh(trumpets, 'silence'));
    expect(taskOf(one[0]!, trumpets)?.role).toBe('silence');
    expect(one[1]).toBe(plan[1]);
    expect(withTask(one, 0, trumpets, null)[0]?.tasks).toEqual([]);
  });

  it('leaves players of a section who are not of the group with what they had', () => {
    const first = group('Trumpets', [1], 3);
    const now = withTask(plan, 1, first, fresh(first, 'Chords'));
    expect(now[1]?.tasks.map((task) => [task.role, task.players])).toEqual([['Melody', [2, 3]], ['Chords', [1]]]);
  });

  it('shows the plan before the proposal', () => {
    expect(shownOf({ strands }, plan[0]!, trumpets, proposal)).toMatchObject({ isSet: false, role: 'harmony', band: 'C4–G4' });
    expect(shownOf({ strands }, plan[1]!, trumpets, proposal)).toMatchObject({ isSet: true, role: 'melody', band: '' });
    expect(shownOf({ strands }, plan[0]!, group('Tuba', [1]), proposal)).toMatchObject({ isSet: false, task: null, role: '' });
  });

  it('keeps what a proposal has, but for what is set', () => {
    expect(taskOf(kept(plan, 0, [trumpets], proposal)[0]!, trumpets)?.role).toBe('Chords');
    expect(kept(plan, 1, [trumpets], proposal)).toEqual(plan);
    // What is kept is played as it was; what a person sets, as it stands.
    const cell = { ...fresh(trumpets, 'Melody'), octave: 0, sounds: -1, by_casting: true, why: 'it lies well for them' };
    const one = { ...proposal, phrases: proposal.phrases.map((phrase) => ({ ...phrase, cells: [{ task: cell, role: 'melody', band: '' }] })) };
    expect(taskOf(kept(plan, 0, [trumpets], one)[0]!, trumpets)).toEqual(cell);
    expect(byHand(cell)).toMatchObject({ by_casting: false, sounds: null, why: '' });
    expect(details(cell)).toBe('octave down');
  });

  it('cuts and joins phrases', () => {
    const cut = cutAt(plan, 3);
    expect(cut.map((phrase) => [phrase.first, phrase.last, phrase.tasks.length])).toEqual([[0, 1, 0], [2, 2, 1], [3, 3, 1]]);
    expect(cutAt(plan, 2)).toEqual(plan);
    expect(joined(cut, 1)).toEqual(plan);
    expect(joined(plan, 1)).toEqual(plan);
  });

  it('has the words and the letters of all pictures for roles', () => {
    const more: Strand[] = [...strands, { name: 'Chords 2', role: 'harmony', is_chordal: true, bars: [] }];
    expect(STAFF_ROLES.map(([, role]) => role)).toEqual(ROLES);
    expect(['Melody', 'Chords', 'Chords 2', 'silence'].map((name) => strandWord(more, name))).toEqual(['melody', 'harmony 1', 'harmony 2', 'tacet']);
    expect(strandWord(strands, 'Chords')).toBe('harmony');
    expect(strandByKey(strands, 'h')?.name).toBe('Chords');
    expect(strandByKey(more, 'h', 'Chords')?.name).toBe('Chords 2');
    expect(strandByKey(more, 'h', 'Chords 2')?.name).toBe('Chords');
    expect(strandByKey(strands, 'b')).toBeUndefined();
    expect(strandKeys(strands)).toEqual([{ key: 'm', role: 'melody' }, { key: 'h', role: 'harmony' }]);
  });

  it('says in words', () => {
    expect(present(strands, plan[0]!).map((strand) => strand.name)).toEqual(['Melody']);
    expect(barsOf(['51', '52'], { first: 0, last: 1 })).toBe('51–52');
    expect(details({ ...fresh(trumpets, 'Melody'), octave: -1, doubling: 'octaves', thickening: 'diatonic', dynamic: 'mf' })).toBe('octave down, in octaves, in thirds, mf');
    expect(measured(0.9876, 'share')).toBe('98.8 %');
    expect(noteSigns('Bb2–F#4 (written C5), Bbb1, about 3')).toBe('B♭2–F♯4 (written C5), Bbb1, about 3');
    expect(measured(3, 'places')).toBe('3');
    expect(measured(-1.94, 'dB of sound power, estimated')).toBe('−1.9');
    expect(best([1, 3], true)).toBe(3);
    expect(best([2, 2], false)).toBeNull();
  });
});

describe('a model', () => {
  it('is chosen and read back: a score, a saved profile, or neither', () => {
    for (const model of [USUAL, { like: 4, like_profile: null }, { like: null, like_profile: 2 }]) expect(modelOf(modelValue(model))).toEqual(model);
    expect([modelOf('px'), modelOf('')]).toEqual([USUAL, USUAL]);
  });
});
