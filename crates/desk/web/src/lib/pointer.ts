/** Pointer and wheel over a view that shares the time axis: drag moves, wheel zooms or scrolls, a click is a click. */

import { timeAt } from './axis';
import type { StudyState } from './study.svelte';

export interface Hooks {
  readonly study: StudyState;
  /** On the ruler every turn of the wheel zooms; elsewhere only with Ctrl (as a pinch comes too), so that the page scrolls. */
  readonly zooms?: boolean;
  readonly click?: (x: number, y: number, event: PointerEvent) => void;
  readonly hover?: (x: number, y: number, event: PointerEvent) => void;
  readonly leave?: () => void;
  /** Takes a drag that begins here for itself and answers what to call on the way; `null` to let it move the view. */
  readonly grab?: (x: number, y: number, event: PointerEvent) => ((x: number) => void) | null;
}

export function pointer(node: HTMLElement, hooks: Hooks): { update: (hooks: Hooks) => void; destroy: () => void } {
  let now = hooks;
  let held: { x: number; y: number; hasMoved: boolean; drag: ((x: number) => void) | null } | null = null;
  const scope = new AbortController();
  const on = <K extends keyof HTMLElementEventMap>(kind: K, listener: (event: HTMLElementEventMap[K]) => void, passive = true) =>
    node.addEventListener(kind, listener, { signal: scope.signal, passive });
  const place = (event: MouseEvent) => {
    const box = node.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top, width: box.width };
  };

  on('wheel', (event) => {
    const { x, width } = place(event);
    const { study } = now;
    const unit = event.deltaMode === 1 ? 16 : 1;
    if (event.ctrlKey || event.metaKey || (now.zooms && Math.abs(event.deltaY) > Math.abs(event.deltaX) && !event.shiftKey)) {
      event.preventDefault();
      study.zoom(Math.exp(Math.max(-0.7, Math.min(0.7, -event.deltaY * unit * 0.0035))), timeAt(x, study.seen, width));
    } else if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      event.preventDefault();
      study.pan(((event.deltaX || event.deltaY) * unit) / width);
    }
  }, false);
  on('pointerdown', (event) => {
    if (event.button !== 0) return;
    const { x, y } = place(event);
    const drag = now.grab?.(x, y, event) ?? null;
    held = { x: event.clientX, y: event.clientY, hasMoved: false, drag };
    drag?.(x);
  });
  on('pointermove', (event) => {
    const { x, y, width } = place(event);
    if (held && (event.buttons & 1) === 0) held = null;
    if (held?.drag) {
      if (!held.hasMoved) node.setPointerCapture(event.pointerId);
      held.hasMoved = true;
      held.drag(Math.min(Math.max(x, 0), width));
    } else if (held && (held.hasMoved || Math.abs(event.clientX - held.x) > 4)) {
      if (!held.hasMoved) node.setPointerCapture(event.pointerId);
      now.study.pan((held.x - event.clientX) / width);
      held = { x: event.clientX, y: event.clientY, hasMoved: true, drag: null };
      now.leave?.();
    } else {
      now.hover?.(x, y, event);
    }
  });
  on('pointerup', (event) => {
    const { x, y } = place(event);
    if (held && !held.hasMoved && !held.drag) now.click?.(x, y, event);
    held = null;
  });
  on('pointercancel', () => (held = null));
  on('pointerleave', () => now.leave?.());
  on('dblclick', (event) => {
    const { x, y, width } = place(event);
    if (now.grab?.(x, y, event as PointerEvent)) return;
    now.study.zoom(2.5, timeAt(x, now.study.seen, width));
  });
  return { update: (next) => (now = next), destroy: () => scope.abort() };
}
