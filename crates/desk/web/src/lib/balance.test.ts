import { describe, expect, it } from 'vitest';
import { asked, gradeOf, GRADES, HALL, heardIn, heightOf, maskedBy, situationOf, signed, spelled, sticking, together, usualSpread } from './balance';

describe('situations', () => {
  it('stand in the address and come back', () => {
    for (const situation of [HALL, { place: 'stage', part: null, levels: [] }, { place: 'stage', part: 4, levels: [] }, { place: 'mix', part: null, levels: [] }, { place: 'mix', part: null, levels: [0, -6, 3] }, { place: 'off', part: null, levels: [] }] as const) {
      expect(situationOf(spelled(situation))).toEqual(situation);
    }
  });
  it('are the hall where they are not understood', () => {
    for (const text of [null, '', 'moon', 'mix.1.x', 'stage.a']) expect(situationOf(text)).toEqual(HALL);
    expect(situationOf('mix.900.-900').levels).toEqual([20, -60]);
  });
  it('give every part the level of its section, once every section has one', () => {
    const view = { sections: [{ name: 'flutes', family: 'woodwind', parts: [0, 1] }, { name: 'horns', family: 'brass', parts: [2] }], parts: Array.from({ length: 3 }, () => ({ name: '', label: '', section: '', family: '', players: '' })) };
    expect(asked({ place: 'mix', part: null, levels: [-2, 1] }, view)).toEqual({ place: 'mix', levels: '-2,-2,1' });
    expect(asked({ place: 'mix', part: null, levels: [-2] }, view)).toEqual({ place: 'mix' });
    expect(asked({ place: 'stage', part: 2, levels: [] }, view)).toEqual({ place: 'stage', part: 2 });
    expect(asked({ place: 'stage', part: 9, levels: [] }, view)).toEqual({ place: 'stage' });
  });
});

describe('grades', () => {
  it('are those of docs/acoustics.md: under 3 dB covered, 9 hard to hear, 15 among others, 21 clear', () => {
    expect([2.9, 3, 8.9, 9, 14.9, 15, 20.9, 21].map((margin) => GRADES[gradeOf(margin)]?.word)).toEqual(['covered', 'hard to hear', 'hard to hear', 'heard among others', 'heard among others', 'clear', 'clear', 'prominent']);
    expect([-3, 3, 9, 15, 21, 27].map((margin) => Math.round(heightOf(margin) * 10) / 10)).toEqual([0, 0.2, 0.4, 0.6, 0.8, 1]);
  });
});

describe('what is said', () => {
  it('finds the bar in which a cell is heard worst', () => {
    const span = (first: number) => ({ first }) as never;
    const view = { spans: [span(3), span(5)] };
    const weighed = { spans: [[12, null, 4, 20], [9, 1]] };
    expect(heardIn([0], 3, 6, view, weighed)).toEqual({ middle: 12, worst: 4, bar: 5 });
    expect(heardIn([0, 1], 3, 6, view, weighed)).toEqual({ middle: 12, worst: 9, bar: 5 });
    expect(heardIn([0], 4, 4, view, weighed)).toBeNull();
  });
  it('names what masks a line in one way, wherever it is said', () => {
    const name = (part: number) => ['Flute', 'Horn', 'Viola', 'Cello'][part] ?? '';
    expect(together([0, 1, 2], name)).toBe('Flute, Horn, Viola');
    expect(together([0, 1, 2, 3], name)).toBe('Flute, Horn and 2 more');
    expect(together([], name)).toBe('notes of no line');
    expect(maskedBy([{ called: 'Trumpet 3 in Bb', gain: 3.6 }, { called: 'violas', gain: 1.2 }, { called: 'flutes', gain: 0.4 }])).toBe('Trumpet 3 in B♭ (4 dB); violas (1 dB)');
    expect(maskedBy([{ called: 'flutes', gain: 0.2 }])).toBe('');
    expect(usualSpread([{ spread: 3.6 }, { spread: 9 }, { spread: 4.2 }])).toBe(4);
    expect(usualSpread([])).toBe(0);
  });
  it('names who sticks out of a chord', () => {
    expect(sticking({ sections: [{ section: 'trumpets', above: 5.2 }, { section: 'horns', above: 1 }, { section: 'violas', above: -3.6 }] })).toBe('trumpets +5, violas −4');
    expect(signed(-0.2)).toBe('0');
  });
});
