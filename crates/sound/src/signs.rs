//! What the signs on written notes mean for playing: slurs, slides, trills.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{Articulations, ChangeKind, Edge, Mark, NoteFlags, Part, Pitch, Step};

/// A slide of the pitch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Slide {
    /// To the next note of the voice.
    ToNext,
    /// Into the note from so many semitones off.
    Into(f64),
    /// Away from the note by so many semitones.
    Out(f64),
}

/// Signs of a part, by written note.
pub(crate) struct Signs {
    bound_from: Vec<bool>,
    bound_to: Vec<bool>,
    slides: BTreeMap<usize, Slide>,
}

impl Signs {
    pub(crate) fn new(part: &Part) -> Self {
        let count = part.notes.len();
        let mut signs = Self { bound_from: vec![false; count], bound_to: vec![false; count], slides: BTreeMap::new() };
        let closed = closed_slurs(part);
        let mut open: BTreeMap<u8, u16> = BTreeMap::new();
        for (index, note) in part.notes.iter().enumerate() {
            let bound = |open: &BTreeMap<u8, u16>| open.values().any(|&voice| voice == note.voice);
            if note.flags.contains(NoteFlags::CHORD) && index > 0 {
                signs.bound_from[index] = signs.bound_from[index - 1];
            } else {
                signs.bound_from[index] = bound(&open);
            }
            for mark in part.marks_of(index) {
                match mark {
                    Mark::Slur { edge: Edge::Start, number } if closed.contains(&(index, *number)) => {
                        open.insert(*number, note.voice);
                    }
                    Mark::Slur { edge: Edge::Stop, number } => {
                        open.remove(number);
                    }
                    Mark::Glissando { edge: Edge::Start, .. } => {
                        signs.slides.insert(index, Slide::ToNext);
                    }
                    _ => {}
                }
            }
            signs.bound_to[index] = bound(&open);
            let own = note.articulations;
            for (sign, slide) in [
                (Articulations::SCOOP, Slide::Into(-2.0)),
                (Articulations::PLOP, Slide::Into(4.0)),
                (Articulations::DOIT, Slide::Out(4.0)),
                (Articulations::FALLOFF, Slide::Out(-5.0)),
            ] {
                if own.contains(sign) {
                    signs.slides.entry(index).or_insert(slide);
                }
            }
        }
        signs
    }

    /// Whether a slur leads to this note from the one before.
    pub(crate) fn bound_from(&self, written: usize) -> bool {
        self.bound_from.get(written).copied().unwrap_or(false)
    }

    /// Whether a slur leads on from this note.
    pub(crate) fn bound_to(&self, written: usize) -> bool {
        self.bound_to.get(written).copied().unwrap_or(false)
    }

    pub(crate) fn slide(&self, written: usize) -> Option<Slide> {
        self.slides.get(&written).copied()
    }

    /// Semitones from a note to the next step above it in the key in force: what its trill alternates with.
    pub(crate) fn above(&self, part: &Part, written: usize) -> f64 {
        let Some(note) = part.notes.get(written) else { return 2.0 };
        let Some(pitch) = note.pitch() else { return 2.0 };
        let keys = part.changes.iter().take_while(|change| (change.bar, change.at) <= (note.bar, note.at));
        let fifths = keys.filter_map(|change| if let ChangeKind::Key(key) = change.kind { Some(key.fifths) } else { None });
        let fifths = fifths.last().unwrap_or(0);
        let place = pitch.step.index() + 1;
        let step = Step::ALL[usize::try_from(place.rem_euclid(7)).unwrap_or(0)];
        let octave = pitch.octave.saturating_add(i8::from(place >= 7));
        let semitones = Pitch::new(step, altered(step, fifths), octave).semitones() - pitch.semitones();
        f64::from(semitones.clamp(1, 2))
    }
}

/// Slurs that end somewhere, by the note they begin on and their number. One that never ends, or is begun anew under its number before it has, binds
/// nothing: a file that forgets its end would else have the rest of the part played legato.
fn closed_slurs(part: &Part) -> BTreeSet<(usize, u8)> {
    let mut begun: BTreeMap<u8, usize> = BTreeMap::new();
    let mut closed = BTreeSet::new();
    for index in 0..part.notes.len() {
        // A note may end one slur and begin the next under the same number.
        for wanted in [Edge::Stop, Edge::Start] {
            for mark in part.marks_of(index) {
                let Mark::Slur { edge, number } = mark else { continue };
                match (*edge == wanted, wanted) {
                    (true, Edge::Start) => {
                        begun.insert(*number, index);
                    }
                    (true, _) => closed.extend(begun.remove(number).map(|first| (first, *number))),
                    (false, _) => {}
                }
            }
        }
    }
    closed
}

/// What a key signature does to a step: 1 sharp, -1 flat.
fn altered(step: Step, fifths: i8) -> i8 {
    const SHARPS: [Step; 7] = [Step::F, Step::C, Step::G, Step::D, Step::A, Step::E, Step::B];
    let place = SHARPS.iter().position(|one| *one == step).and_then(|at| i8::try_from(at).ok()).unwrap_or(0);
    if fifths > place {
        1
    } else if fifths < place - 6 {
        -1
    } else {
        0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn key_signatures_alter_their_steps() {
        assert_eq!(altered(Step::F, 1), 1);
        assert_eq!(altered(Step::C, 1), 0);
        assert_eq!(altered(Step::B, -1), -1);
        assert_eq!(altered(Step::E, -1), 0);
        assert_eq!(altered(Step::E, -3), -1);
        assert_eq!(altered(Step::D, -3), 0);
    }
}
