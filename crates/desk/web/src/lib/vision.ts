/**
 * How colours look to people with a colour-vision deficiency, and how far apart two colours are. Used by the test that states how well
 * roles are told apart; nothing of it is in the page.
 */

import { mixed, rgb, type Rgb } from './colour';

type Matrix = readonly [Rgb, Rgb, Rgb];

/**
 * Dichromacy (severity 1) on linear sRGB: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A physiologically-based model for
 * simulation of color vision deficiency", IEEE Transactions on Visualization and Computer Graphics 15 (2009), table of matrices.
 */
export const DEFICIENCIES: Readonly<Record<'protanopia' | 'deuteranopia' | 'tritanopia', Matrix>> = {
  protanopia: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deuteranopia: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  tritanopia: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};

/** IEC 61966-2-1, sRGB. */
const linear = (part: number) => (part / 255 <= 0.04045 ? part / 255 / 12.92 : ((part / 255 + 0.055) / 1.055) ** 2.4);
const coded = (share: number) => 255 * (share <= 0.0031308 ? share * 12.92 : 1.055 * share ** (1 / 2.4) - 0.055);

const times = (matrix: Matrix, [x, y, z]: Rgb): Rgb => matrix.map(([a, b, c]) => a * x + b * y + c * z) as unknown as Rgb;
const each = (colour: Rgb, change: (part: number) => number): Rgb => colour.map(change) as unknown as Rgb;

/** A colour as someone with the deficiency sees it. */
export function simulated(colour: Rgb, deficiency: Matrix): Rgb {
  const seen = times(deficiency, each(colour, linear));
  return each(seen, (share) => coded(Math.min(Math.max(share, 0), 1)));
}

/** sRGB to CIELAB under D65 (IEC 61966-2-1; CIE 15). */
export function lab(colour: Rgb): Rgb {
  const xyz = times([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.072175], [0.0193339, 0.119192, 0.9503041]], each(colour, linear));
  const white = [0.95047, 1, 1.08883] as const;
  const [x = 0, y = 0, z = 0] = xyz.map((part, index) => {
    const share = part / (white[index] ?? 1);
    return share > 216 / 24389 ? Math.cbrt(share) : ((24389 / 27) * share + 16) / 116;
  });
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}

/**
 * The difference of two CIELAB colours by CIEDE2000 (CIE 142), as written out by G. Sharma, W. Wu and E. N. Dalal, "The CIEDE2000
 * color-difference formula", Color Research and Application 30 (2005).
 */
export function difference([l1, a1, b1]: Rgb, [l2, a2, b2]: Rgb): number {
  const radians = Math.PI / 180;
  const mean = (Math.hypot(a1, b1) + Math.hypot(a2, b2)) / 2;
  const g = 0.5 * (1 - Math.sqrt(mean ** 7 / (mean ** 7 + 25 ** 7)));
  const [p1, p2] = [a1 * (1 + g), a2 * (1 + g)];
  const [c1, c2] = [Math.hypot(p1, b1), Math.hypot(p2, b2)];
  const hue = (p: number, b: number) => (p === 0 && b === 0 ? 0 : (Math.atan2(b, p) / radians + 360) % 360);
  const [h1, h2] = [hue(p1, b1), hue(p2, b2)];
  const grey = c1 * c2 === 0;
  let dh = h2 - h1;
  if (grey) dh = 0;
  else if (dh > 180) dh -= 360;
  else if (dh < -180) dh += 360;
  const [dl, dc, dH] = [l2 - l1, c2 - c1, 2 * Math.sqrt(c1 * c2) * Math.sin((dh / 2) * radians)];
  const [l, c] = [(l1 + l2) / 2, (c1 + c2) / 2];
  let h = h1 + h2;
  if (!grey) h = Math.abs(h1 - h2) <= 180 ? h / 2 : h < 360 ? (h + 360) / 2 : (h - 360) / 2;
  const cos = (degrees: number) => Math.cos(degrees * radians);
  const t = 1 - 0.17 * cos(h - 30) + 0.24 * cos(2 * h) + 0.32 * cos(3 * h + 6) - 0.2 * cos(4 * h - 63);
  const sl = 1 + (0.015 * (l - 50) ** 2) / Math.sqrt(20 + (l - 50) ** 2);
  const [sc, sh] = [1 + 0.045 * c, 1 + 0.015 * c * t];
  const rt = -Math.sin(2 * 30 * Math.exp(-(((h - 275) / 25) ** 2)) * radians) * 2 * Math.sqrt(c ** 7 / (c ** 7 + 25 ** 7));
  return Math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dH / sh) ** 2 + rt * (dc / sc) * (dH / sh));
}

/** How much of a fill its texture covers, as `weave` in looks.ts draws it. */
const COVERED: Readonly<Record<string, number>> = { plain: 0, bands: 0.5, level: 0.35, upright: 0.35, falling: 0.35, rising: 0.35, crossed: 0.58, dots: 0.14 };

/** A role's colour in a cell too small for its texture to be seen: fill and ink mixed as light mixes. */
export function blended(look: { readonly fill: string; readonly ink: string; readonly weave: string }): Rgb {
  return each(mixed(each(rgb(look.fill), linear), each(rgb(look.ink), linear), COVERED[look.weave] ?? 0), coded);
}
