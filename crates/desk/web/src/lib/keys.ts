/** Keys of a picture that is walked through: one step at a time, whatever the picture is of. */

export type Step = 'left' | 'right' | 'up' | 'down' | 'home' | 'end' | 'enter';

const STEPS: Readonly<Record<string, Step>> = { ArrowLeft: 'left', ArrowRight: 'right', ArrowUp: 'up', ArrowDown: 'down', Home: 'home', End: 'end', Enter: 'enter', ' ': 'enter' };

/** The step a key stands for; `null` for other keys, and with Ctrl, Alt or Shift, which mean something elsewhere. */
export function stepOf(event: Pick<KeyboardEvent, 'key' | 'ctrlKey' | 'metaKey' | 'altKey' | 'shiftKey'>): Step | null {
  if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return null;
  return STEPS[event.key] ?? null;
}

/** Where a step leads in a row of `count` places; it stops at both ends. */
export function stepped(at: number, step: Step, count: number): number {
  const last = Math.max(count - 1, 0);
  switch (step) {
    case 'left': case 'up': return Math.max(Math.min(at, last) - 1, 0);
    case 'right': case 'down': return Math.min(at + 1, last);
    case 'home': return 0;
    case 'end': return last;
    default: return Math.min(Math.max(at, 0), last);
  }
}
