/** How large things are drawn: on a screen that is wide and high rows grow, so that the score fills it. */

/** 1 on usual screens, up to 1.8 at 3840 by 2160. */
export function growth(width: number, height: number): number {
  if (width < 1800) return 1;
  return Math.min(Math.max(height / 1150, 1), width / 1800, 1.8);
}

class Screen {
  scale = $state(growth(innerWidth, innerHeight));

  constructor() {
    addEventListener('resize', () => (this.scale = growth(innerWidth, innerHeight)));
  }
}

export const screen = new Screen();

/** Brings something to the top of what scrolls; at once for those who want no motion. */
export function bringUp(what: Element | null | undefined): void {
  const isStill = matchMedia('(prefers-reduced-motion: reduce)').matches;
  what?.scrollIntoView({ block: 'start', behavior: isStill ? 'auto' : 'smooth' });
}
