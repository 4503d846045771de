//! Which note goes to which line.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_score::{Crotchets, MidiKey, Part, Score, Sounding};

use super::{Attack, Line, Lines, Told};

/// Most lines kept apart on a staff; further notes of a chord join the last.
const MOST: usize = 16;

pub(super) fn separate(score: &Score, sounding: &Sounding) -> Lines {
    let notes = &sounding.notes;
    let mut all = Lines { lines: Vec::new(), of_row: vec![0; notes.len()], of_part: Vec::with_capacity(notes.of_part.len()) };
    for (part, rows) in notes.of_part.iter().enumerate() {
        let first = all.lines.len();
        let mut staves: BTreeMap<u8, Vec<u32>> = BTreeMap::new();
        for row in rows.clone() {
            staves.entry(notes.staff[row]).or_default().push(u32::try_from(row).unwrap_or(u32::MAX));
        }
        let chordal = score.parts.get(part).is_some_and(|it| plays_chords(it, sounding, rows.clone()));
        for (staff, rows) in staves {
            let places = if chordal { by_voice(sounding, &rows) } else { by_place(sounding, &rows) };
            add(&mut all, sounding, (part, staff, chordal), &rows, &places);
        }
        all.of_part.push(first..all.lines.len());
    }
    all
}

/// Whether one player has chords of his own: more than one staff, or chords of three and more in a tenth of all attacks.
fn plays_chords(part: &Part, sounding: &Sounding, rows: Range<usize>) -> bool {
    if part.staves > 1 {
        return true;
    }
    if part.is_body || part.players.most > 1 {
        return false;
    }
    let notes = &sounding.notes;
    let (mut attacks, mut chords) = (0usize, 0usize);
    let rows: Vec<usize> = rows.filter(|&row| !notes.duration[row].is_zero() && notes.key[row].is_some()).collect();
    for group in rows.chunk_by(|&a, &b| notes.onset[a] == notes.onset[b]) {
        attacks += 1;
        let fullest = group.iter().map(|&row| group.iter().filter(|&&other| notes.voice[other] == notes.voice[row]).count());
        chords += usize::from(fullest.max().unwrap_or(0) >= 3);
    }
    chords > 0 && chords * 10 >= attacks
}

/// Place of each row: the rank of its voice.
fn by_voice(sounding: &Sounding, rows: &[u32]) -> Vec<(usize, bool)> {
    let voices = voices(sounding, rows);
    rows.iter().map(|&row| (rank(&voices, sounding.notes.voice[row as usize]), false)).collect()
}

fn voices(sounding: &Sounding, rows: &[u32]) -> Vec<u16> {
    let mut voices: Vec<u16> = rows.iter().map(|&row| sounding.notes.voice[row as usize]).collect();
    voices.sort_unstable();
    voices.dedup();
    voices
}

fn rank(voices: &[u16], voice: u16) -> usize {
    voices.binary_search(&voice).unwrap_or(0)
}

/// Place of each row from above, and whether a chord decided it.
fn by_place(sounding: &Sounding, rows: &[u32]) -> Vec<(usize, bool)> {
    let notes = &sounding.notes;
    let voices = voices(sounding, rows);
    let mut places = vec![(0, false); rows.len()];
    let mut ends: Vec<Crotchets> = Vec::new();
    let mut at = 0;
    for bar in rows.chunk_by(|&a, &b| notes.bar[a as usize] == notes.bar[b as usize]) {
        let base = bases(sounding, &voices, bar);
        let mut in_bar = at;
        for group in bar.chunk_by(|&a, &b| notes.onset[a as usize] == notes.onset[b as usize]) {
            let onset = group.first().map_or(Crotchets::ZERO, |&row| notes.onset[row as usize]);
            // Downwards by voice, then by pitch: rows come from below.
            let mut order: Vec<usize> = (0..group.len()).collect();
            order.sort_by_key(|&k| (notes.voice[group[k] as usize], usize::MAX - k));
            let mut used = 0u32;
            for k in order {
                let row = group[k] as usize;
                let voice = rank(&voices, notes.voice[row]);
                if notes.duration[row].is_zero() {
                    places[in_bar + k] = (base[voice].min(MOST - 1), false);
                    continue;
                }
                let free = |place: usize| {
                    used & (1 << place) == 0
                        && ends.get(place).is_none_or(|&end| overlaps_little(end, onset, notes.duration[row]))
                };
                let first = base[voice].min(MOST - 1);
                let place = (first..MOST).find(|&place| free(place)).unwrap_or(MOST - 1);
                used |= 1 << place;
                if ends.len() <= place {
                    ends.resize(place + 1, Crotchets::ZERO);
                }
                ends[place] = onset + notes.duration[row];
                places[in_bar + k] = (place, place != first);
            }
            in_bar += group.len();
        }
        at += bar.len();
    }
    places
}

/// Whether a note that ends at `end` leaves its line free for one at `onset`: performed files let notes overlap a little.
fn overlaps_little(end: Crotchets, onset: Crotchets, duration: Crotchets) -> bool {
    const LITTLE: i64 = 4;
    end <= onset || (end - onset) * Crotchets::whole(LITTLE) <= duration
}

/// The uppermost place of each voice within a bar: its rank on the staff, pushed down by chords of the voices above it.
fn bases(sounding: &Sounding, voices: &[u16], bar: &[u32]) -> Vec<usize> {
    let notes = &sounding.notes;
    let mut widths = vec![0usize; voices.len()];
    let mut counts = vec![0usize; voices.len()];
    for group in bar.chunk_by(|&a, &b| notes.onset[a as usize] == notes.onset[b as usize]) {
        counts.fill(0);
        for &row in group.iter().filter(|&&row| !notes.duration[row as usize].is_zero()) {
            counts[rank(voices, notes.voice[row as usize])] += 1;
        }
        for (width, &count) in widths.iter_mut().zip(&counts) {
            *width = (*width).max(count);
        }
    }
    let mut filled = 0;
    widths
        .iter()
        .enumerate()
        .map(|(index, &width)| {
            let base = index.max(filled);
            if width > 0 {
                filled = base + width;
            }
            base
        })
        .collect()
}

/// Turns places into lines.
fn add(all: &mut Lines, sounding: &Sounding, of: (usize, u8, bool), rows: &[u32], places: &[(usize, bool)]) {
    let (part, staff, chordal) = of;
    let most = places.iter().map(|place| place.0).max().unwrap_or(0);
    let mut index = vec![usize::MAX; most + 1];
    let mut seen: Vec<(bool, bool)> = Vec::new();
    let first = all.lines.len();
    // Only places that are used become lines, numbered from above.
    for (place, index) in index.iter_mut().enumerate() {
        if places.iter().any(|it| it.0 == place) {
            *index = all.lines.len();
            let place = u16::try_from(all.lines.len() - first + 1).unwrap_or(u16::MAX);
            all.lines.push(Line { part, staff, place, told: Told::Alone, rows: Vec::new(), attacks: Vec::new() });
            seen.push((false, false));
        }
    }
    let several = all.lines.len() - first > 1;
    let lowest = voices(sounding, rows).first().copied().unwrap_or(0);
    for (&row, &(place, chord)) in rows.iter().zip(places) {
        let line = index[place];
        let (by_voice, by_chord) = &mut seen[line - first];
        *by_chord |= chord;
        *by_voice |= !chord && sounding.notes.voice[row as usize] != lowest;
        all.of_row[row as usize] = u32::try_from(line).unwrap_or(u32::MAX);
        push(&mut all.lines[line], sounding, row);
    }
    let any = seen.iter().fold((false, false), |any, it| (any.0 || it.0, any.1 || it.1));
    for (line, own) in all.lines[first..].iter_mut().zip(&seen) {
        // The upper line is told apart by whatever told the lower ones.
        let (voice, chord) = if line.place == 1 { any } else { *own };
        line.told = match (chordal, several, voice, chord) {
            (true, ..) => Told::Chordal,
            (_, false, ..) => Told::Alone,
            (.., true, true) => Told::VoicesAndChords,
            (.., true) => Told::Chords,
            _ => Told::Voices,
        };
    }
}

fn push(line: &mut Line, sounding: &Sounding, row: u32) {
    let notes = &sounding.notes;
    let at = row as usize;
    let place = u32::try_from(line.rows.len()).unwrap_or(u32::MAX);
    line.rows.push(row);
    if notes.duration[at].is_zero() {
        return;
    }
    let (onset, end) = (notes.onset[at], notes.onset[at] + notes.duration[at]);
    let key = notes.key[at].map(MidiKey::number);
    match line.attacks.last_mut() {
        Some(last) if last.onset == onset => {
            last.end = last.end.max(end);
            last.top = last.top.max(key);
            last.bottom = match (last.bottom, key) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            };
            last.notes += 1;
        }
        _ => line.attacks.push(Attack { onset, end, bar: notes.bar[at], top: key, bottom: key, first: place, notes: 1 }),
    }
}
