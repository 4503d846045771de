//! How a question begins: what is wanted.

use super::super::question::{Condition, End, Wanted, Who};
use super::super::words::{ROLES, SUPERLATIVES};
use super::players::{each, each_who};
use super::{Parsed, Parser};

/// What bars are called.
const BARS: &[&str] =
    &["bar", "bars", "passage", "passages", "place", "places", "stretch", "stretches", "time", "moment", "texture"];

impl Parser {
    /// "bars where", "how many bars", "the longest passage in which"; what is wanted, and the condition where the opening tells it.
    pub(super) fn opening(&mut self) -> Parsed<(Wanted, Option<Condition>)> {
        let _ = self.pass(&["show", "find"]);
        if let Some(wanted) = self.besides_bars()? {
            return Ok((wanted, Some(Condition::always())));
        }
        if self.word(1).is_some_and(|word| BARS.contains(&word.as_str())) {
            let _ = self.pass(&["which", "what"]);
        }
        let _ = self.pass(&["the"]);
        let counts = ["bars", "times"].iter().any(|what| self.pass_all(&["how", "many", what]))
            || self.pass_all(&["in", "how", "many", "bars"])
            || self.pass_all(&["how", "often"])
            || self.pass_all(&["how", "long"]);
        if !counts {
            let begin = self.at;
            if let Some(found) = self.superlative()? {
                return Ok(found);
            }
            self.at = begin;
            self.where_bars();
        }
        // "where do the horns have the melody?", "where are the strings divided?"
        let _ = self.pass(&["do", "does"]);
        self.copula = self.pass(&["is", "are"]);
        if self.copula && self.pass(&["there"]) {
            self.copula = false;
            self.sounds = true;
            let _ = self.pass(&["a", "an"]);
        }
        self.texture().map(|found| found.unwrap_or((Wanted::All, None)))
    }

    /// "bars where", "passages in which", "which bars have", "where".
    fn where_bars(&mut self) {
        if self.word(0).is_some_and(|word| BARS.contains(&word.as_str())) && self.word(1).is_none_or(|word| word != "long") {
            let then = self.word(1);
            if then.as_deref().is_some_and(|then| ["where", "in", "with", "while", "when"].contains(&then)) {
                self.at += 1;
                let _ = self.pass_all(&["in", "which"]) || self.pass(&["where", "with", "while", "when"]);
            } else if then.as_deref().is_some_and(|then| ["have", "has", "contain", "contains"].contains(&then)) {
                // "which bars have a tutti", "which bars have horns"
                self.at += 2;
                self.sounds = true;
            } else if then.as_deref().is_some_and(|then| ["is", "are"].contains(&then)) {
                self.at += 1;
            }
        } else {
            let _ = self.pass_all(&["in", "which", "bars"])
                || self.pass_all(&["in", "what", "bars"])
                || self.pass(&["where", "when"]);
        }
    }

    /// "where is the texture thinnest?"
    fn texture(&mut self) -> Parsed<Option<(Wanted, Option<Condition>)>> {
        let begin = self.at;
        let _ = self.pass(&["the"]);
        if self.pass(&["texture", "music", "orchestra"])
            && (self.copula || self.pass(&["is"]))
            && let Some((_, wanted)) = SUPERLATIVES.iter().find(|(words, _)| self.pass_all(words))
        {
            return Ok(Some((wanted.clone(), Some(Condition::always()))));
        }
        self.at = begin;
        Ok(None)
    }

    fn superlative(&mut self) -> Parsed<Option<(Wanted, Option<Condition>)>> {
        if let Some(wanted) = self.widest()? {
            return Ok(Some((wanted, Some(Condition::always()))));
        }
        for (word, end) in [("highest", End::High), ("lowest", End::Low)] {
            if self.pass(&[word]) {
                self.need(&["note", "notes", "pitch"], "“note of”")?;
                self.need(&["of", "in", "for"], "“of” and whose note")?;
                return Ok(Some((Wanted::Note(end, self.whom()?), Some(Condition::always()))));
            }
        }
        let Some((_, wanted)) = SUPERLATIVES.iter().find(|(words, _)| self.are_next(0, words)) else { return Ok(None) };
        // "first violins" are players.
        if self.who()?.is_some() {
            return Ok(None);
        }
        self.at += 1;
        if self.ends_here() {
            return Ok(None);
        }
        let wanted = wanted.clone();
        let begin = self.at;
        if self.pass(BARS) {
            self.at = begin;
            // One bar, not the passage it stands in.
            let wanted = match wanted {
                Wanted::Place(end) if self.is_next("bar") || self.is_next("time") || self.is_next("moment") => Wanted::Bar(end),
                wanted => wanted,
            };
            self.at += 1;
            let _ = self.pass_all(&["in", "which"]) || self.pass(&["where", "with", "while", "when", "that"]);
            return Ok(Some((wanted, (self.at >= self.tokens.len()).then(Condition::always))));
        }
        let of = self.word(1).is_some_and(|word| ["of", "in", "for", "by"].contains(&word.as_str()));
        if !of {
            return Ok(Some((wanted, None)));
        }
        let what = self.word(0);
        self.at += 2;
        let kind: Option<fn(&super::Subjects) -> Condition> = match what.as_deref() {
            Some("rest" | "rests" | "silence") => Some(|subjects| each(subjects, Condition::Rests)),
            Some("solo" | "solos") => Some(|subjects| each_who(subjects, Condition::Solo)),
            Some("entry" | "entries" | "entrance") => Some(|subjects| each(subjects, |subject| Condition::Enters(subject, 1))),
            Some("exit") => Some(|subjects| each(subjects, Condition::Leaves)),
            _ => None,
        };
        if let Some(kind) = kind {
            let Some(subjects) = self.subjects()? else { return Err(self.wrong("who plays")) };
            self.subject = Some(subjects.clone());
            return Ok(Some((wanted, Some(kind(&subjects)))));
        }
        // "the longest melody of the oboe"
        self.at = begin;
        if let Some((_, role)) = ROLES.iter().rev().find(|(words, _)| self.pass_all(words))
            && self.pass(&["of", "in"])
            && let Some(subjects) = self.subjects()?
        {
            self.subject = Some(subjects.clone());
            return Ok(Some((wanted, Some(each(&subjects, |subject| Condition::Has(subject, vec![*role]))))));
        }
        self.at = begin;
        Ok(Some((wanted, None)))
    }
}

/// Everybody, of whom one has to.
pub(super) fn anybody() -> super::super::question::Subject {
    super::super::question::Subject { quantity: super::super::question::Quantity::Any, who: vec![Who::Everybody] }
}
