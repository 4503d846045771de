//! Conditions on a bar, without players.

use super::super::question::{Condition, Counted, Side};
use super::super::words::{EVEN, HEARD, LEVELS, QUALITIES};
use super::{Parsed, Parser, note_name};

impl Parser {
    /// Conditions without players.
    pub(super) fn of_the_bar(&mut self) -> Parsed<Option<Condition>> {
        if let Some((side, level)) = self.level()? {
            return Ok(Some(Condition::Level(None, side, level)));
        }
        if let Some(condition) = self.heard()? {
            return Ok(Some(condition));
        }
        if let Some(condition) = self.even() {
            return Ok(Some(condition));
        }
        if self.pass(&["chord"]) {
            let _ = self.pass(&["is", "of", "on"]);
            return self.harmony("a root or kind of chord", Condition::Chord).map(Some);
        }
        if self.pass(&["key"]) {
            let _ = self.pass(&["is", "of"]);
            return self.harmony("a tonic, “major” or “minor”", Condition::Key).map(Some);
        }
        if self.pass(&["theme"]) {
            let Some(number) = self.number() else { return Err(self.wrong("the number of a theme")) };
            let _ = self.pass(&["sounds"]);
            if !self.pass(&["in"]) {
                return Ok(Some(Condition::Theme(number, None)));
            }
            return Ok(Some(Condition::Theme(number, Some(self.whom()?))));
        }
        if self.pass(&["metre"]) {
            let _ = self.pass(&["is"]);
            return self.metre().map(Some);
        }
        if self.pass(&["tempo"]) {
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
            return self.harmony("a key such as “Eb major”, a metre or “bars”", Condition::Key).map(Some);
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

    pub(super) fn harmony(&mut self, wanted: &str, condition: fn(Option<u8>, Option<String>) -> Condition) -> Parsed<Condition> {
        let root = self.word(0).and_then(|word| note_name(&word));
        self.at += usize::from(root.is_some());
        let quality = QUALITIES.iter().find(|name| {
            let words: Vec<&str> = name.split(' ').collect();
            self.pass_all(&words)
        });
        if root.is_none() && quality.is_none() {
            return Err(self.wrong(wanted));
        }
        Ok(condition(root, quality.map(|name| (*name).to_owned())))
    }

    /// "forte", "piano or softer", "louder than mezzo forte".
    pub(super) fn level(&mut self) -> Parsed<Option<(Side, i64)>> {
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
        } else if self.pass(&["parts", "part"]) {
            Counted::Parts
        } else if self.pass(&["sections", "section"]) {
            Counted::Sections
        } else {
            Counted::Of(self.who()?.ok_or_else(|| self.wrong("“players”, “parts”, “sections” or whose players"))?)
        };
        let _ = self.pass(&["play", "plays", "sound", "sounds", "playing", "sounding"]);
        Ok(Some(Condition::Count(counted, side, number)))
    }

    /// "the melody is covered by the trombones", "the melody is hard to hear".
    fn heard(&mut self) -> Parsed<Option<Condition>> {
        let begin = self.at;
        let _ = self.pass(&["the"]);
        if !(self.pass(&["melody", "tune"]) && self.pass(&["is", "gets"])) {
            self.at = begin;
            return Ok(None);
        }
        let not = self.pass(&["not"]);
        let mut grades = Vec::new();
        loop {
            let Some((_, of)) = HEARD.iter().find(|(words, _)| self.pass_all(words)) else {
                return Err(self.wrong("“covered”, “hard to hear”, “heard”, “clear” or “prominent”"));
            };
            grades.extend_from_slice(of);
            if !(self.is_next("or") && HEARD.iter().any(|(words, _)| self.are_next(1, words))) {
                break;
            }
            self.at += 1;
        }
        let by = if self.pass(&["by"]) { Some(self.whom()?) } else { None };
        let heard = Condition::Heard(grades, by);
        Ok(Some(if not { Condition::Not(Box::new(heard)) } else { heard }))
    }

    /// "the chord is uneven"; a chord that is something else is left alone.
    fn even(&mut self) -> Option<Condition> {
        let begin = self.at;
        let _ = self.pass(&["the"]);
        let chord = self.pass(&["chord", "chords"]) && self.pass(&["is", "are"]);
        let not = chord && self.pass(&["not"]);
        let grade = if chord { EVEN.iter().find(|(words, _)| self.pass_all(words)) } else { None };
        let Some((_, grade)) = grade else {
            self.at = begin;
            return None;
        };
        let even = Condition::Even(*grade);
        Some(if not { Condition::Not(Box::new(even)) } else { even })
    }
}
