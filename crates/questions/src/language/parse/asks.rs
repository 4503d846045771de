//! Openings that ask for something besides bars: who plays most, how many play, what somebody does.

use ripieno_instruments::family::{Family, Section};

use super::super::question::{Among, End, Wanted, Who};
use super::super::words::PLAYERS;
use super::{Misunderstood, Parsed, Parser};

/// Words for playing.
const PLAY: &[&str] = &["play", "plays", "sound", "sounds", "sing", "sings", "playing", "sounding", "used"];

impl Parser {
    /// "which section plays least", "how many horns play", "what do the trombones do".
    pub(super) fn besides_bars(&mut self) -> Parsed<Option<Wanted>> {
        self.no_share()?;
        let begin = self.at;
        for kind in [Self::who_most, Self::how_many, Self::what_they_do] {
            if let Some(wanted) = kind(self)? {
                return Ok(Some(wanted));
            }
            self.at = begin;
        }
        Ok(None)
    }

    /// Shares and averages are told of a whole score, and not by bars.
    fn no_share(&self) -> Parsed<()> {
        let asked = self.word(0).is_some_and(|word| word == "what" || word == "which" || word == "how");
        let noun = self.word(usize::from(asked)).unwrap_or_default();
        let share =
            ["share", "percentage", "proportion", "average", "much"].contains(&noun.as_str()) && (asked || noun == "average");
        if !share {
            return Ok(());
        }
        let what = "shares and averages are no matter of bars: they stand in practice.csv, and in the table “measures” for --sql"
            .to_owned();
        Err(Misunderstood { what, column: self.tokens.get(self.at).map_or(self.end, |(_, column)| *column) })
    }

    /// A family by one word: "brass section" is an instrument to the catalogue.
    fn family(&mut self) -> Option<Family> {
        let begin = self.at;
        let _ = self.pass(&["the"]);
        if let Some(Who::Family(family)) = self.word(0).and_then(|word| PLAYERS.get(&[word][..])) {
            self.at += 1;
            return Some(*family);
        }
        self.at = begin;
        None
    }

    /// "which brass section plays least in bars 1 to 50", "which family is used most", "who plays most".
    fn who_most(&mut self) -> Parsed<Option<Wanted>> {
        let among = if self.pass(&["who"]) {
            Among::Parts(None)
        } else {
            if !self.pass(&["which", "what"]) {
                return Ok(None);
            }
            let mut family = self.family();
            let noun = self.word(0).unwrap_or_default();
            self.at += 1;
            if family.is_none() && self.pass(&["of", "in"]) {
                family = self.family();
            }
            match noun.as_str() {
                "section" | "sections" => Among::Sections(family),
                "family" | "families" if family.is_none() => Among::Families,
                "instrument" | "instruments" | "part" | "parts" | "player" | "players" => Among::Parts(family),
                _ => return Ok(None),
            }
        };
        let _ = self.pass(&["is", "are"]);
        let rests = self.pass(&["rest", "rests", "silent"]);
        if !rests && !self.pass(PLAY) {
            return Ok(None);
        }
        let _ = self.pass(&["the"]);
        let end = match self.word(0).as_deref() {
            Some("most") => End::High,
            Some("least") => End::Low,
            _ => return Ok(None),
        };
        self.at += 1;
        let _ = self.pass(&["often", "bars"]);
        let end = match (rests, end) {
            (false, end) => end,
            (true, End::High) => End::Low,
            (true, End::Low) => End::High,
        };
        Ok(Some(Wanted::Most(end, among)))
    }

    /// "how many horns play in bar 40", "how many horns stand against each trombone".
    fn how_many(&mut self) -> Parsed<Option<Wanted>> {
        if !self.pass_all(&["how", "many"]) {
            return Ok(None);
        }
        let who = if self.pass(&["players", "people", "musicians"]) {
            Who::Everybody
        } else {
            match self.who()? {
                Some(who) => who,
                None => return Ok(None),
            }
        };
        let _ = self.pass(&["are", "do", "stand"]);
        let _ = self.pass(PLAY);
        if who == Who::Section(Section::Horns) && self.pass(&["against", "for", "to", "per"]) {
            let _ = self.pass(&["each", "every", "a", "the"]);
            return match self.who()? {
                Some(Who::Section(section @ (Section::Trombones | Section::Trumpets))) => Ok(Some(Wanted::Against(section))),
                _ => Err(self.wrong("“each trombone” or “each trumpet”")),
            };
        }
        Ok(Some(Wanted::Number(who)))
    }

    /// "what do the trombones do in bars 35 to 45", "what does each section play".
    fn what_they_do(&mut self) -> Parsed<Option<Wanted>> {
        if !(self.pass(&["what"]) && self.pass(&["do", "does"])) {
            return Ok(None);
        }
        let each =
            self.pass_all(&["each", "section"]) || self.pass_all(&["the", "sections"]) || self.pass_all(&["all", "sections"]);
        let _ = self.pass(&["the"]);
        let who = if each { Some(Who::Everybody) } else { self.who()? };
        let does = self.pass(&["do", "play", "have"]);
        Ok(who.filter(|_| does).map(Wanted::RolesOf))
    }
}
