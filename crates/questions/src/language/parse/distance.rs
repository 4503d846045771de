//! How far apart two groups lie: "the gap between brass and strings is more than an octave", "the widest gap between horns and trombones".

use super::super::question::{Condition, End, Lie, Wanted, Who};
use super::{Parsed, Parser};

/// What a distance is called.
const GAP: &[&str] = &["gap", "gaps", "distance", "space", "hole"];
/// Distances with names of their own, in semitones.
const INTERVALS: &[(&str, i64)] = &[("semitone", 1), ("tone", 2), ("fourth", 5), ("fifth", 7), ("octave", 12), ("twelfth", 19)];

impl Parser {
    /// "widest gap between horns and trombones", "deepest overlap of horns and trumpets".
    pub(super) fn widest(&mut self) -> Parsed<Option<Wanted>> {
        let begin = self.at;
        let end = if self.pass(&["widest", "largest", "biggest", "greatest"]) && self.pass(GAP) {
            End::High
        } else {
            self.at = begin;
            if !(self.pass(&["deepest", "largest", "biggest", "greatest", "widest"]) && self.pass(&["overlap"])) {
                self.at = begin;
                return Ok(None);
            }
            End::Low
        };
        self.need(&["between", "of"], "“between” and two groups")?;
        let (one, other) = self.two()?;
        Ok(Some(Wanted::Distance(end, one, other)))
    }

    /// "the gap between brass and strings is more than an octave", "a gap of at least 12 semitones between horns and trombones".
    pub(super) fn gap(&mut self) -> Parsed<Option<Condition>> {
        let begin = self.at;
        let _ = self.pass(&["the", "a"]);
        if !self.pass(GAP) {
            self.at = begin;
            return Ok(None);
        }
        let mut least = if self.pass(&["of"]) { Some(self.semitones()?) } else { None };
        self.need(&["between"], "“between” and two groups")?;
        let (one, other) = self.two()?;
        let is = std::mem::take(&mut self.copula) || self.pass(&["is"]);
        if is && least.is_none() && !self.ends_here() {
            least = Some(self.semitones()?);
        }
        // Wider than a whole tone, which is touching.
        Ok(Some(Condition::Lie(one, other, Lie::Apart(least.unwrap_or(3)))))
    }

    /// "horns and trombones".
    fn two(&mut self) -> Parsed<(Who, Who)> {
        let one = self.whom()?;
        self.need(&["and"], "“and” and the other group")?;
        Ok((one, self.whom()?))
    }

    /// "more than an octave", "at least 12 semitones", "two octaves": so many semitones or more.
    pub(super) fn semitones(&mut self) -> Parsed<i64> {
        let more = (self.pass(&["more", "wider", "larger", "greater", "bigger"]) && self.pass(&["than"])) || self.pass(&["over"]);
        let _ = !more && self.pass_all(&["at", "least"]);
        let of_one = |word: &str| INTERVALS.iter().find(|(name, _)| word.trim_end_matches('s') == *name).map(|(_, size)| *size);
        let number = if self.pass(&["a", "an"]) { Some(1) } else { self.number() };
        let size = number.zip(self.word(0).and_then(|word| of_one(&word))).map(|(number, size)| number.saturating_mul(size));
        let Some(size) = size else { return Err(self.wrong("a distance such as “an octave” or “12 semitones”")) };
        self.at += 1;
        Ok(size + i64::from(more))
    }
}
