/** A second draft of the demonstration score, for what needs more than one score: some parts rest in some bars. */
import { readFileSync } from 'node:fs';

export const DEMO = new URL('../../../../demo/lifeboat_overture.musicxml', import.meta.url).pathname;

/** The score under another title, with rests for the notes of the parts so named from bar `first` to `last`. */
export function draft(title, names = ['Trombone 1.2', 'Bass trombone', 'Tuba'], first = 35, last = 45) {
  const text = readFileSync(DEMO, 'utf8');
  const silent = new Set([...text.matchAll(/<score-part id="([^"]+)">\s*<part-name>([^<]+)<\/part-name>/g)].filter(([, , name]) => names.includes(name)).map(([, id]) => id));
  if (silent.size !== names.length) throw new Error(`not all of ${names.join(', ')} are parts of the demonstration score`);
  const parts = text.replace(/<part id="([^"]+)">[\s\S]*?<\/part>/g, (part, id) => (silent.has(id) ? part.replace(/<measure number="(\d+)"[\s\S]*?<\/measure>/g, (bar, number) => {
    const isSilent = Number(number) >= first && Number(number) <= last;
    // A chord's further notes go with it.
    return isSilent ? bar.replace(/<note[^>]*>(?:(?!<\/note>)[\s\S])*?<chord\/>[\s\S]*?<\/note>/g, '').replace(/<pitch>[\s\S]*?<\/pitch>/g, '<rest/>').replace(/<tie [^>]*\/>/g, '') : bar;
  }) : part));
  return parts.replaceAll('The Boat Goes Out', title);
}
