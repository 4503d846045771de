import { expect, it } from 'vitest';
import { stepOf, stepped } from './keys';

const key = (key: string, more = {}) => ({ key, ctrlKey: false, metaKey: false, altKey: false, shiftKey: false, ...more });

it('knows the keys of a walk and leaves others alone', () => {
  expect(['ArrowLeft', 'ArrowDown', 'Home', ' '].map((name) => stepOf(key(name)))).toEqual(['left', 'down', 'home', 'enter']);
  expect(stepOf(key('e'))).toBeNull();
  expect(stepOf(key('ArrowRight', { shiftKey: true }))).toBeNull();
});

it('stops at both ends', () => {
  expect([stepped(0, 'left', 5), stepped(4, 'right', 5), stepped(2, 'right', 5), stepped(9, 'left', 5), stepped(3, 'home', 5), stepped(0, 'end', 5), stepped(0, 'right', 0)]).toEqual([0, 4, 3, 3, 0, 4, 0]);
});
