/** Colours in numbers: contrast (WCAG 2.2, relative luminance and contrast ratio) and lightening towards it. */

export type Rgb = readonly [number, number, number];

/** From `#rrggbb`. */
export function rgb(hex: string): Rgb {
  const value = Number.parseInt(hex.slice(1), 16);
  return [(value >> 16) & 255, (value >> 8) & 255, value & 255];
}

export function hex(colour: Rgb): string {
  return `#${colour.map((part) => Math.round(part).toString(16).padStart(2, '0')).join('')}`;
}

/** WCAG 2.2, "relative luminance". */
export function luminance(colour: Rgb): number {
  const [r, g, b] = colour.map((part) => {
    const share = part / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * (r ?? 0) + 0.7152 * (g ?? 0) + 0.0722 * (b ?? 0);
}

/** WCAG 2.2, "contrast ratio". */
export function contrast(a: Rgb, b: Rgb): number {
  const [x, y] = [luminance(a), luminance(b)];
  return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05);
}

export function mixed(a: Rgb, b: Rgb, share: number): Rgb {
  return [0, 1, 2].map((i) => (a[i] ?? 0) * (1 - share) + (b[i] ?? 0) * share) as unknown as Rgb;
}

/** A colour brought towards `towards` until it stands out from `ground` by at least `least`; unchanged where it does already. */
export function standing(colour: Rgb, ground: Rgb, least: number, towards: Rgb): Rgb {
  for (let share = 0; share <= 1; share += 0.04) {
    const now = mixed(colour, towards, share);
    if (contrast(now, ground) >= least) return now;
  }
  return towards;
}
