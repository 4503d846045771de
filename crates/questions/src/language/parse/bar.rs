//! Conditions on a bar, without players.

use super::super::question::{Condition, Counted, Side};
use super::super::words::{EVEN, INVERSIONS, LEVELS, LOUDNESS, QUALITIES};
use super::{Parsed, Parser, note_name};

impl Parser {
    /// Conditions without players.
    pub(super) fn of_the_bar(&mut self) -> Parsed<Option<Condition>> {
        if let Some((side, level)) = self.level()? {
            return Ok(Some(Condition::Level(None, side, level)));
        }
        if let Some(condition) = self.even() {
            return Ok(Some(condition));
        }
        if self.is_next("chord") && !self.spaced() {
            self.at += 1;
            let _ = self.pass(&["is", "of", "on"]);
            let (root, quality) = self.harmony("a root or kind of chord")?;
            return Ok(Some(Condition::Chord(root, quality, self.inversion())));
        }
        if self.is_next("key") && self.word(1).is_none_or(|word| word != "changes" && word != "change") {
            self.at += 1;
            let _ = self.pass(&["is", "of"]);
            let (tonic, mode) = self.harmony("a tonic, “major” or “minor”")?;
            return Ok(Some(Condition::Key(tonic, mode)));
        }
        if self.pass(&["theme"]) {
            let Some(number) = self.number() else { return Err(self.wrong("the number of a theme")) };
            let _ = self.pass(&["sounds"]);
            if !self.pass(&["in"]) {
                return Ok(Some(Condition::Theme(number, None)));
            }
            return Ok(Some(Condition::Theme(number, Some(self.whom()?))));
        }
        if self.is_next("metre") && self.word(1).is_none_or(|word| word != "changes" && word != "change") {
            self.at += 1;
            let _ = self.pass(&["is"]);
            return self.metre().map(Some);
        }
        if self.is_next("tempo") && self.word(1).is_none_or(|word| word != "changes" && word != "change") {
            self.at += 1;
            let _ = self.pass(&["is"]);
            let Some((side, number)) = self.bound() else { return Err(self.wrong("a bound such as “at least 120”")) };
            #[allow(clippy::cast_precision_loss)] // at most a million
            return Ok(Some(Condition::Tempo(side, number as f64)));
        }
        if self.pass_all(&["in", "bars"]) || self.pass_all(&["in", "bar"]) || self.pass_all(&["from", "bar"]) {
            return self.bars().map(Some);
        }
        if self.is_next("in") {
            self.at += 1;
            if self.word(0).is_some_and(|word| word.contains('/')) {
                return self.metre().map(Some);
            }
            let _ = self.pass_all(&["the", "key", "of"]);
            let (tonic, mode) = self.harmony("a key such as “Eb major”, a metre or “bars”")?;
            return Ok(Some(Condition::Key(tonic, mode)));
        }
        Ok(None)
    }

    pub(super) fn metre(&mut self) -> Parsed<Condition> {
        let metre = self.word(0).filter(|word| word.contains('/'));
        let Some(metre) = metre else { return Err(self.wrong("a metre such as 3/4")) };
        self.at += 1;
        Ok(Condition::Metre(metre))
    }

    /// "35", "35 to 45", "35-45".
    pub(super) fn bars(&mut self) -> Parsed<Condition> {
        let Some(first) = self.word(0) else { return Err(self.wrong("a printed bar number")) };
        self.at += 1;
        if let Some((first, last)) =
            first.split_once(['-', '\u{2013}']).filter(|(first, last)| !first.is_empty() && !last.is_empty())
        {
            return Ok(Condition::Between(first.to_owned(), last.to_owned()));
        }
        if !self.pass(&["to"]) {
            return Ok(Condition::Between(first.clone(), first));
        }
        let _ = self.pass(&["bar"]);
        let Some(last) = self.word(0) else { return Err(self.wrong("a printed bar number")) };
        self.at += 1;
        Ok(Condition::Between(first, last))
    }

    /// Whether "chord" is followed by how it is spaced.
    fn spaced(&mut self) -> bool {
        let begin = self.at;
        self.at += 1;
        let _ = self.pass(&["is", "are"]);
        let spaced = self.spacing().is_some();
        self.at = begin;
        spaced
    }

    /// "in first inversion", "in root position".
    pub(super) fn inversion(&mut self) -> Option<u8> {
        let begin = self.at;
        let _ = self.pass(&["in"]);
        let found = INVERSIONS.iter().find(|(words, _)| self.pass_all(words)).map(|(_, inversion)| *inversion);
        if found.is_none() {
            self.at = begin;
        }
        found
    }

    /// A note and a kind of chord or key; one of them at least.
    pub(super) fn harmony(&mut self, wanted: &str) -> Parsed<(Option<u8>, Option<String>)> {
        let root = self.word(0).and_then(|word| note_name(&word));
        self.at += usize::from(root.is_some());
        let quality = QUALITIES.iter().find(|name| {
            let words: Vec<&str> = name.split(' ').collect();
            self.pass_all(&words)
        });
        if root.is_none() && quality.is_none() {
            return Err(self.wrong(wanted));
        }
        Ok((root, quality.map(|name| (*name).to_owned())))
    }

    /// "forte", "piano or softer", "louder than mezzo forte".
    pub(super) fn level(&mut self) -> Parsed<Option<(Side, i64)>> {
        if let Some((_, loudness)) = LOUDNESS.iter().find(|(words, _)| self.pass_all(words)) {
            return Ok(Some(*loudness));
        }
        let strict = if self.pass_all(&["louder", "than"]) {
            Some((Side::AtLeast, 1))
        } else if self.pass_all(&["softer", "than"]) {
            Some((Side::AtMost, -1))
        } else {
            None
        };
        // A piano that plays is an instrument.
        let level = LEVELS.iter().find(|(words, _)| self.pass_all(words)).map(|(_, level)| *level);
        match (strict, level) {
            (Some(_), None) => Err(self.wrong("a dynamic such as “forte”")),
            (None, None) => Ok(None),
            (Some((side, more)), Some(level)) => Ok(Some((side, level + more))),
            (None, Some(level)) => {
                let side = if self.pass_all(&["or", "louder"]) {
                    Side::AtLeast
                } else if self.pass_all(&["or", "softer"]) {
                    Side::AtMost
                } else {
                    Side::Exactly
                };
                if level == 3 && side == Side::Exactly && self.begins_verb() {
                    self.at -= 1;
                    return Ok(None);
                }
                Ok(Some((side, level)))
            }
        }
    }

    /// "at least 40 players", "at most 3 sections", "exactly 4 horns".
    pub(super) fn count(&mut self) -> Parsed<Option<Condition>> {
        let Some((side, number)) = self.bound() else { return Ok(None) };
        let counted = if self.pass(&["players", "player", "people"]) {
            Counted::Players
        } else if self.pass(&["parts", "part", "instruments", "instrument"]) {
            Counted::Parts
        } else if self.pass(&["sections", "section"]) {
            Counted::Sections
        } else {
            Counted::Of(self.who()?.ok_or_else(|| self.wrong("“players”, “parts”, “sections” or whose players"))?)
        };
        let _ = self.pass(&["play", "plays", "sound", "sounds", "playing", "sounding"]);
        let _ = self.pass(&["alone"]);
        Ok(Some(Condition::Count(counted, side, number)))
    }

    /// "the chord is uneven"; a chord that is something else is left alone.
    fn even(&mut self) -> Option<Condition> {
        let begin = self.at;
        let _ = self.pass(&["the", "an"]) && self.pass(&["full"]) || self.pass(&["full"]);
        // "uneven chords", "the chord is not even", "chords ring unevenly"
        let before = EVEN.iter().find(|(words, _)| self.pass_all(words));
        let chord = self.pass(&["chord", "chords"]);
        let does = before.is_none() && chord && (self.copula || self.pass(&["is", "are", "ring", "rings", "sound", "sounds"]));
        let not = does && self.pass(&["not"]);
        let grade = if does { EVEN.iter().find(|(words, _)| self.pass_all(words)) } else { before.filter(|_| chord) };
        let Some((_, grade)) = grade else {
            self.at = begin;
            return None;
        };
        let even = Condition::Even(*grade);
        Some(if not { Condition::Not(Box::new(even)) } else { even })
    }
}
