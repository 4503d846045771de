//! Nothing but the bass sounds below the bass: what lies under it would turn the chord over.
//!
//! Handbook rule, from memory (Rimsky-Korsakov, Piston, Adler on the bass as foundation): the bass is doubled below by nobody but bass instruments. What
//! the sketch itself writes below its bass stays there.

use ripieno_score::Crotchets;
use ripieno_texture::Role;

use super::{CastNote, Setting};
use crate::sketch::SketchNote;

/// The lowest key of the bass from moment to moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Floor {
    /// From, to, key: in order, none overlapping another.
    spans: Vec<(Crotchets, Crotchets, i32)>,
}

impl Floor {
    /// From lines that sound together, each in order of time.
    fn of(lines: &[Vec<(Crotchets, Crotchets, i32)>]) -> Self {
        let mut moments: Vec<Crotchets> = lines.iter().flatten().flat_map(|note| [note.0, note.1]).collect();
        moments.sort_unstable();
        moments.dedup();
        let mut next = vec![0usize; lines.len()];
        let mut spans: Vec<(Crotchets, Crotchets, i32)> = Vec::new();
        for pair in moments.windows(2) {
            let mut low: Option<i32> = None;
            for (line, next) in lines.iter().zip(&mut next) {
                while line.get(*next).is_some_and(|note| note.1 <= pair[0]) {
                    *next += 1;
                }
                if let Some(note) = line.get(*next).filter(|note| note.0 <= pair[0]) {
                    low = Some(low.map_or(note.2, |low| low.min(note.2)));
                }
            }
            match (spans.last_mut(), low) {
                (_, None) => {}
                (Some(last), Some(key)) if last.1 == pair[0] && last.2 == key => last.1 = pair[1],
                (_, Some(key)) => spans.push((pair[0], pair[1], key)),
            }
        }
        Self { spans }
    }

    #[cfg(test)]
    pub const fn from_spans(spans: Vec<(Crotchets, Crotchets, i32)>) -> Self {
        Self { spans }
    }

    /// Of those who play a strand with the bass.
    pub fn played<'a>(setting: &Setting<'_>, notes: impl Iterator<Item = &'a Vec<CastNote>>) -> Self {
        let is_bass =
            |note: &&CastNote| setting.sketch.strands[note.line.strand].role == Role::Bass && note.duration.is_positive();
        let line = |own: &Vec<CastNote>| -> Vec<(Crotchets, Crotchets, i32)> {
            let mut line: Vec<_> = own.iter().filter(is_bass).map(|note| (note.onset, note.end(), note.key())).collect();
            line.sort_unstable();
            line
        };
        Self::of(&notes.map(line).filter(|line| !line.is_empty()).collect::<Vec<_>>())
    }

    /// As the sketch writes it, within a span.
    pub fn sketched(setting: &Setting<'_>, span: (Crotchets, Crotchets)) -> Self {
        let bass = setting.sketch.strands.iter().filter(|strand| strand.role == Role::Bass);
        let note = |note: &SketchNote| (note.onset, note.end(), note.key());
        let line = |strand: &crate::sketch::Strand| strand.between(span.0, span.1).iter().map(note).collect::<Vec<_>>();
        Self::of(&bass.map(line).collect::<Vec<_>>())
    }

    /// The highest the bass gets from one moment up to another: what lies below that lies below the bass at some time. `None` where it rests throughout.
    pub fn over(&self, from: Crotchets, to: Crotchets) -> Option<i32> {
        let first = self.spans.partition_point(|span| span.1 <= from);
        self.spans[first..]
            .iter()
            .take_while(|span| span.0 < to.max(from + Crotchets::new(1, 960).unwrap_or(Crotchets::ZERO)))
            .map(|span| span.2)
            .max()
    }

    /// Whether a key lies below the bass at some time.
    pub fn is_under(&self, key: i32, from: Crotchets, to: Crotchets) -> bool {
        self.over(from, to).is_some_and(|floor| key < floor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_floor_is_the_lowest_bass_and_a_held_note_is_measured_by_the_highest() {
        let at = Crotchets::whole;
        let cellos = vec![(at(0), at(2), 48), (at(2), at(4), 50)];
        let basses = vec![(at(0), at(2), 36)];
        let floor = Floor::of(&[cellos, basses]);
        assert_eq!(floor.over(at(0), at(1)), Some(36));
        // The basses rest: the cellos are the lowest.
        assert_eq!(floor.over(at(0), at(4)), Some(50));
        assert!(floor.is_under(45, at(1), at(3)) && !floor.is_under(45, at(0), at(2)));
        assert_eq!(floor.over(at(4), at(8)), None);
    }
}
