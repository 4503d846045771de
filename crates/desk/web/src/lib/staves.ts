/** Which staves an excerpt has: those that play, all of the score, or one for each layer. */
export const STAVES = ['sounding', 'full', 'layers'] as const;
export type Staves = (typeof STAVES)[number];
