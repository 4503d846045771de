//! Artificial harmonics: a stopped note, one touched above it, and the pitch that is heard.

use ripieno_score::{Head, Mark, Note, NoteFlags, Part, Pitch, Step};

use super::context::{At, Context};
use super::part_reader::PartReader;

/// Gives stopped notes of artificial harmonics the pitch they sound at where the file or the interval tells it, takes the touched notes
/// out of what is heard, and reports harmonics that leave it open.
pub(super) fn resolve(reader: &mut PartReader<'_>, context: &mut Context<'_, '_>) {
    let part = &reader.part;
    let diamonds = part.marks.iter().any(|(_, mark)| is_diamond(mark));
    if !diamonds && !part.notes.iter().any(|note| note.flags.contains(NoteFlags::HARMONIC)) {
        return;
    }
    let mut resolved = Resolved::default();
    let mut open: Vec<(usize, &str)> = Vec::new();
    let mut natural = None;
    let mut start = 0;
    for stem in part.notes.chunk_by(|_, next| next.flags.contains(NoteFlags::CHORD)) {
        let chord = Chord { part, first: start, notes: stem };
        start += stem.len();
        match chord.resolve(&mut resolved) {
            Outcome::None => {}
            Outcome::Natural => natural = natural.or(Some(chord.first)),
            Outcome::Open => open.push((chord.first, "an artificial harmonic does not tell which pitch it sounds at")),
            Outcome::Unmarked => {
                open.push((
                    chord.first,
                    "a diamond a fourth above a note is probably an artificial harmonic, though the file does not say so",
                ));
            }
        }
    }
    let bar = |first: usize| part.notes.get(first).and_then(|note| reader.bars.get(note.bar.at())).map_or("", |bar| bar.number);
    if let Some(first) = natural {
        let what = "harmonics from here on are read as sounding where they are written";
        let hint =
            "A harp's sound an octave higher by custom, and a diamond may show where the string is touched; check one of them";
        context.note(At { part: reader.label(), bar: bar(first) }, "harmonic", what, hint);
    }
    for (first, what) in open {
        let bar = bar(first);
        context.note(At { part: reader.label(), bar }, "harmonic", what, "Its written notes were kept as what is heard");
    }
    let part = &mut reader.part;
    for index in resolved.touched {
        if let Some(note) = part.notes.get_mut(index) {
            note.flags |= NoteFlags::TOUCHED;
        }
    }
    if !resolved.sounding.is_empty() {
        part.marks.extend(resolved.sounding);
        part.marks.sort_by_key(|(note, _)| *note);
    }
}

#[derive(Default)]
struct Resolved {
    /// Notes that only show where to touch, or whose sound another note gives.
    touched: Vec<usize>,
    sounding: Vec<(u32, Mark)>,
}

enum Outcome {
    None,
    /// Marked as a harmonic and no more.
    Natural,
    Open,
    /// Looks like a harmonic, but is not marked as one.
    Unmarked,
}

struct Chord<'p> {
    part: &'p Part,
    first: usize,
    notes: &'p [Note],
}

impl Chord<'_> {
    fn resolve(&self, resolved: &mut Resolved) -> Outcome {
        let (base, touched, sounding) =
            (self.with_role("base-pitch"), self.with_role("touching-pitch"), self.with_role("sounding-pitch"));
        let heard = match (base, touched, sounding) {
            (None, None, Some(_)) => return Outcome::None,
            (None, None, None) if self.with_role("artificial").is_some() => return Outcome::Open,
            (None, None, None) if self.looks_like_harmonic() => return Outcome::Unmarked,
            (None, None, None) if self.notes.iter().any(|note| note.flags.contains(NoteFlags::HARMONIC)) => {
                return Outcome::Natural;
            }
            (None, None, None) => return Outcome::None,
            // A printed sounding note is heard itself; one that is not printed says what the stopped note sounds like.
            (base, touched, Some(sounding)) if self.notes.get(sounding - self.first).is_some_and(Note::plays) => {
                resolved.touched.extend([base, touched].into_iter().flatten());
                return Outcome::None;
            }
            (Some(_), _, Some(sounding)) => self.pitch(sounding),
            (Some(base), Some(touched), None) => {
                self.pitch(base).zip(self.pitch(touched)).and_then(|(base, touched)| sounding_pitch(base, touched))
            }
            _ => None,
        };
        let (Some(base), Some(heard)) = (base, heard) else { return Outcome::Open };
        resolved.sounding.push((u32::try_from(base).unwrap_or(u32::MAX), Mark::SoundingPitch(heard)));
        resolved.touched.extend(touched);
        Outcome::None
    }

    /// Index of the note that plays this part in the harmonic.
    fn with_role(&self, role: &str) -> Option<usize> {
        let has = |index: usize| self.part.marks_of(index).any(|mark| matches!(mark, Mark::Other(name) if **name == *role));
        (self.first..self.first + self.notes.len()).find(|&index| has(index))
    }

    fn pitch(&self, index: usize) -> Option<Pitch> {
        self.part.notes.get(index).and_then(Note::pitch)
    }

    /// An ordinary notehead with a diamond a perfect fourth above it.
    fn looks_like_harmonic(&self) -> bool {
        let [Note { head: Head::Pitched(low), .. }, Note { head: Head::Pitched(high), .. }] = self.notes else { return false };
        let diamond = |index: usize| self.part.marks_of(index).any(is_diamond);
        high.semitones() - low.semitones() == 5 && !diamond(self.first) && diamond(self.first + 1)
    }
}

fn is_diamond(mark: &Mark) -> bool {
    matches!(mark, Mark::Notehead(name) if **name == *"diamond")
}

/// The sounding pitch of an artificial harmonic from its stopped and its touched note; `None` where it is not certain.
///
/// Touched a fourth above it sounds two octaves above the stopped note, a fifth a twelfth, a major third two octaves and a major
/// third, an octave an octave (the fourth, third, fifth and second partials: physics of the string).
fn sounding_pitch(stopped: Pitch, touched: Pitch) -> Option<Pitch> {
    let steps = touched.staff_position() - stopped.staff_position();
    let (diatonic, semitones) = match (steps, touched.semitones() - stopped.semitones()) {
        (3, 5) => (14, 24),
        (4, 7) => (11, 19),
        (2, 4) => (16, 28),
        (7, 12) => (7, 12),
        _ => return None,
    };
    let position = stopped.staff_position() + diatonic;
    let step = *Step::ALL.get(usize::try_from(position.rem_euclid(7)).ok()?)?;
    let octave = i8::try_from(position.div_euclid(7)).ok()?;
    let alter = stopped.semitones() + semitones - Pitch::new(step, 0, octave).semitones();
    Some(Pitch::new(step, i8::try_from(alter).ok()?, octave))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_touched_fourth_sounds_two_octaves_above() {
        let stopped = Pitch::new(Step::B, -1, 3);
        let sounds =
            |step, alter, octave| sounding_pitch(stopped, Pitch::new(step, alter, octave)).map(|pitch| pitch.to_string());
        assert_eq!(sounds(Step::E, -1, 4).as_deref(), Some("Bb5"));
        assert_eq!(sounds(Step::F, 0, 4).as_deref(), Some("F5"));
        assert_eq!(sounds(Step::D, 0, 4).as_deref(), Some("D6"));
        assert_eq!(sounds(Step::E, 0, 4), None);
    }
}
