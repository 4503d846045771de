/** How roles and families look on either ground. Roles are those of every picture (generated/looks.ts); on dark ground what would sink into it is lightened. */

import { FAMILY_COLOURS, ROLE_LOOKS, SHADES } from '../generated/looks';
import { contrast, hex, mixed, rgb, standing, type Rgb } from './colour';

export interface Look {
  readonly fill: string;
  readonly ink: string;
  readonly weave: string;
  /** Edge that stands out from the ground by at least 3 to 1, as WCAG 2.2 asks of graphics (1.4.11). */
  readonly edge: string;
  /** Letters on the fill. */
  readonly text: string;
  /** Single notes: on light ground the ink in which they are engraved, on dark ground, into which that would sink, the fill of the map's cells. */
  readonly note: string;
}

export interface Theme {
  readonly isDark: boolean;
  readonly ground: string;
  readonly line: string;
  readonly faint: string;
  readonly ink: string;
  readonly quiet: string;
  readonly accent: string;
  readonly mark: string;
  readonly bad: string;
  readonly roles: Readonly<Record<string, Look>>;
  readonly families: Readonly<Record<string, string>>;
}

export const ROLES: readonly string[] = ROLE_LOOKS.map((look) => look.role);

const WHITE: Rgb = [255, 255, 255];
const BLACK: Rgb = [10, 8, 5];

function theme(isDark: boolean): Theme {
  const [ground, towards] = isDark ? ['#171b1e', WHITE] : ['#fffdf8', BLACK];
  const on = rgb(ground);
  const roles: Record<string, Look> = {};
  for (const { role, fill, ink, weave, note } of ROLE_LOOKS) {
    const lit = isDark ? standing(rgb(fill), on, 3, WHITE) : rgb(fill);
    const woven = weave === 'plain' ? lit : contrast(rgb(ink), lit) >= 2 ? rgb(ink) : standing(rgb(ink), lit, 2.5, isDark ? BLACK : towards);
    roles[role] = {
      fill: hex(lit),
      ink: hex(woven),
      weave,
      edge: hex(standing(lit, on, 3.05, towards)),
      note: isDark ? hex(standing(lit, on, 3.05, towards)) : note,
      text: contrast(WHITE, lit) >= contrast(BLACK, lit) ? '#ffffff' : '#0a0805',
    };
  }
  const families = Object.fromEntries(Object.entries(FAMILY_COLOURS).map(([name, colour]) => [name, hex(standing(rgb(colour), on, 4.6, towards))]));
  return isDark
    ? { isDark, ground, line: '#39424a', faint: '#252c31', ink: '#efe9dc', quiet: '#aeb6b8', accent: '#79ccd2', mark: '#e7b75f', bad: '#ff9d8f', roles, families }
    : { isDark, ground, line: '#d9d1bf', faint: '#efe9db', ink: '#221f1a', quiet: '#655e52', accent: '#0e5c68', mark: '#a4620a', bad: '#9c1c14', roles, families };
}

export const LIGHT = theme(false);
export const DARK = theme(true);

export const familyColour = (theme: Theme, family: string): string => theme.families[family] ?? theme.families['other'] ?? theme.quiet;

/** The colour of a section: a shade of its family's, so that sections side by side are told apart. */
export function sectionColour(theme: Theme, family: string, place: number, count: number): string {
  const steps = SHADES[Math.min(count, SHADES.length - 1)] ?? [0];
  const percent = steps[place % steps.length] ?? 0;
  const mixedColour = mixed(rgb(familyColour(theme, family)), percent < 0 ? BLACK : WHITE, Math.abs(percent) / 100);
  return hex(standing(mixedColour, rgb(theme.ground), 2, theme.isDark ? WHITE : BLACK));
}

const woven = new Map<string, CanvasPattern | string>();

/** The fill of a role on a canvas: plain, or its weave. */
export function roleFill(context: CanvasRenderingContext2D, theme: Theme, role: string): CanvasPattern | string {
  const key = `${theme.isDark}${role}`;
  const known = woven.get(key);
  if (known) return known;
  const look = theme.roles[role];
  const made = look ? (weave(context, look) ?? look.fill) : theme.quiet;
  woven.set(key, made);
  return made;
}

/** A fill for something that is no role: plain, or woven of two colours. */
export function wovenFill(context: CanvasRenderingContext2D, fill: string, ink: string, kind: string): CanvasPattern | string {
  const key = `${fill} ${ink} ${kind}`;
  const known = woven.get(key);
  if (known) return known;
  const made = weave(context, { fill, ink, weave: kind }) ?? fill;
  woven.set(key, made);
  return made;
}

function weave(context: CanvasRenderingContext2D, look: Pick<Look, 'fill' | 'ink' | 'weave'>): CanvasPattern | null {
  if (look.weave === 'plain') return null;
  const size = 8;
  const tile = document.createElement('canvas');
  tile.width = tile.height = size;
  const pen = tile.getContext('2d');
  if (!pen) return null;
  pen.fillStyle = look.fill;
  pen.fillRect(0, 0, size, size);
  pen.fillStyle = pen.strokeStyle = look.ink;
  pen.lineWidth = 1.4;
  const stroke = (...lines: [number, number, number, number][]) => {
    pen.beginPath();
    for (const [x, y, u, v] of lines) {
      pen.moveTo(x, y);
      pen.lineTo(u, v);
    }
    pen.stroke();
  };
  const falling: [number, number, number, number][] = [[-2, -2, 10, 10], [-2, 6, 2, 10], [6, -2, 10, 2]];
  const rising: [number, number, number, number][] = [[-2, 10, 10, -2], [-2, 2, 2, -2], [6, 10, 10, 6]];
  switch (look.weave) {
    case 'rising': stroke(...rising); break;
    case 'falling': stroke(...falling); break;
    case 'crossed': stroke(...rising, ...falling); break;
    case 'upright': stroke([2, 0, 2, 8], [6, 0, 6, 8]); break;
    case 'level': stroke([0, 2, 8, 2], [0, 6, 8, 6]); break;
    case 'bands': pen.fillRect(0, 4, 8, 4); break;
    case 'dots':
      for (const [x, y] of [[2, 2], [6, 6]] as const) {
        pen.beginPath();
        pen.arc(x, y, 1.2, 0, 7);
        pen.fill();
      }
      break;
    default: return null;
  }
  return context.createPattern(tile, 'repeat');
}
