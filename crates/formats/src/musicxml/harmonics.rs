//! Artificial harmonics written as a stopped note with a touched one above it.

use ripieno_score::{Mark, NoteFlags};

use super::context::{At, Context};
use super::notations::artificial_harmonic;
use super::part_reader::PartReader;

/// Gives stopped notes of artificial harmonics the pitch they sound at where the interval tells it, and reports the rest.
pub(super) fn resolve(reader: &mut PartReader<'_>, context: &mut Context<'_, '_>) {
    let part = &reader.part;
    if !part.notes.iter().any(|note| note.flags.contains(NoteFlags::HARMONIC)) {
        return;
    }
    let mut sounding: Vec<(u32, Mark)> = Vec::new();
    let mut unresolved = Vec::new();
    let mut start = 0;
    for stem in part.notes.chunk_by(|_, next| next.flags.contains(NoteFlags::CHORD)) {
        let first = start;
        start += stem.len();
        if !stem.iter().any(|note| note.flags.contains(NoteFlags::HARMONIC)) {
            continue;
        }
        let role = |offset: usize, name: &str| {
            part.marks_of(first + offset).any(|mark| matches!(mark, Mark::Other(text) if **text == *name))
        };
        let pitch_of = |name: &str| {
            let found = stem.iter().enumerate().find(|&(offset, note)| note.pitch().is_some() && role(offset, name));
            found.and_then(|(offset, note)| Some((offset, note.pitch()?)))
        };
        let given =
            (0..stem.len()).any(|offset| part.marks_of(first + offset).any(|mark| matches!(mark, Mark::SoundingPitch(_))));
        if given {
            continue;
        }
        let (base, touched) = (pitch_of("base-pitch"), pitch_of("touching-pitch"));
        match (base, touched) {
            (Some((offset, base)), Some((_, touched))) => match artificial_harmonic(base, touched) {
                Some(sounds) => sounding.push((u32::try_from(first + offset).unwrap_or(u32::MAX), Mark::SoundingPitch(sounds))),
                None => unresolved.push(first),
            },
            (None, None) => {}
            _ => unresolved.push(first),
        }
    }
    for first in unresolved {
        let bar = part.notes.get(first).and_then(|note| reader.bars.get(note.bar.at())).map_or("", |bar| bar.number);
        let what = "an artificial harmonic does not tell which pitch it sounds at";
        context.note(At { part: reader.label(), bar }, "harmonic", what, "Its written notes were kept");
    }
    reader.part.marks.extend(sounding);
    reader.part.marks.sort_by_key(|(note, _)| *note);
}
