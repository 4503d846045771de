/** What lies behind every view: bar lines, the bars that answer the question, the bars pointed at. */

import { ticks, xOf } from './axis';
import type { Pen } from './canvas';
import type { Theme } from './looks';
import type { StudyState } from './study.svelte';

export function backdrop({ context, width, height }: Pen, study: StudyState, theme: Theme): void {
  context.fillStyle = theme.ground;
  context.fillRect(0, 0, width, height);
  const { view, seen, starts } = study;
  if (!view) return;
  context.fillStyle = theme.faint;
  for (const { x } of ticks(starts, seen, width, 60)) context.fillRect(Math.round(x), 0, 1, height);
  const shade = (spans: readonly (readonly number[])[], colour: string, alpha: number) => {
    context.fillStyle = colour;
    context.globalAlpha = alpha;
    for (const [first, last] of spans) {
      const [begin, end] = [view.bars[first ?? 0], view.bars[last ?? 0]];
      if (!begin || !end) continue;
      const [x, to] = [xOf(begin.onset, seen, width), xOf(end.onset + end.length, seen, width)];
      if (to >= 0 && x <= width) context.fillRect(x, 0, Math.max(to - x, 2), height);
    }
    context.globalAlpha = 1;
  };
  if (study.answer) shade(study.answer.bars.spans, theme.mark, theme.isDark ? 0.18 : 0.2);
  shade(study.pointed, theme.accent, theme.isDark ? 0.18 : 0.14);
  const { selected } = study;
  const [begin, end] = [view.bars[selected?.[0] ?? -1], view.bars[selected?.[1] ?? -1]];
  if (!begin || !end) return;
  context.fillStyle = theme.accent;
  for (const at of [begin.onset, end.onset + end.length]) context.fillRect(Math.round(xOf(at, seen, width)) - 0.75, 0, 1.5, height);
}
