//! What players do.

use ripieno_texture::Role;

use super::super::question::{Condition, Doubled, Lie, Register};
use super::super::words::{HIDDEN, ROLES, WAYS};
use super::pitch::pitch;
use super::players::{alone, each_who};
use super::{Parsed, Parser, Subjects, each};

/// What is neither melody, countermelody, bass nor effect.
const ACCOMPANIMENT: [Role; 5] = [Role::Harmony, Role::Pedal, Role::Rhythm, Role::Figuration, Role::Punctuation];

impl Parser {
    pub(super) fn begins_verb(&self) -> bool {
        const VERBS: &[&str] = &[
            "play",
            "plays",
            "playing",
            "sound",
            "sounds",
            "rest",
            "rests",
            "have",
            "has",
            "carry",
            "carries",
            "double",
            "doubles",
            "overlap",
            "overlaps",
            "touch",
            "touches",
            "lead",
            "leads",
            "take",
            "takes",
            "share",
            "shares",
            "stay",
            "stays",
            "alone",
            "accompany",
            "accompanies",
            "are",
            "is",
            "lie",
            "lies",
            "enter",
            "enters",
            "cover",
            "covers",
            "mask",
            "masks",
            "solo",
        ];
        if self.is_next("first") {
            return self.word(1).is_some_and(|word| VERBS.contains(&word.as_str()));
        }
        self.word(0).is_some_and(|word| VERBS.contains(&word.as_str()))
    }

    pub(super) fn begins_predicate(&self) -> bool {
        self.begins_verb()
            || self.word(0).is_some_and(|word| ["above", "below", "between"].contains(&word.as_str()))
            || WAYS.iter().any(|(words, _)| self.are_next(0, words))
    }

    /// "pizzicato", "con sordino", "a 2".
    fn way(&mut self) -> Option<&'static str> {
        WAYS.iter().find(|(words, _)| self.pass_all(words)).map(|(_, way)| *way)
    }

    /// What the players do; further particulars follow without "and": "horns play above F4 forte or louder".
    pub(super) fn predicates(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        let mut all = vec![self.predicate(subjects)?];
        loop {
            if let Some((side, level)) = self.level()? {
                all.push(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
            } else if let Some(way) = self.way() {
                all.push(each(subjects, |subject| Condition::Way(subject, way)));
            } else if let Some(register) = self.register()? {
                all.push(each(subjects, |subject| Condition::Register(subject, register)));
            } else if self.pass_all(&["in", "bars"]) || self.pass_all(&["in", "bar"]) {
                all.push(self.bars()?);
            } else {
                return Ok(if all.len() == 1 { all.remove(0) } else { Condition::All(all, Vec::new()) });
            }
        }
    }

    pub(super) fn predicate(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if let Some((side, level)) = self.level()? {
            return Ok(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
        }
        if let Some(register) = self.register()? {
            return Ok(each(subjects, |subject| Condition::Register(subject, register)));
        }
        if let Some(way) = self.way() {
            return Ok(each(subjects, |subject| Condition::Way(subject, way)));
        }
        if self.pass(&["first"]) {
            self.need(&["enter", "enters", "play", "plays", "sound", "sounds"], "“enter”")?;
            return Ok(each(subjects, Condition::FirstEnters));
        }
        if self.pass(&["enter", "enters"]) {
            let rest = self.rest_before()?;
            return Ok(each(subjects, |subject| Condition::Enters(subject, rest)));
        }
        if self.pass(&["solo"]) {
            return Ok(each_who(subjects, Condition::Solo));
        }
        if self.pass(&["cover", "covers", "mask", "masks"]) {
            let _ = self.pass(&["the"]);
            self.need(&["melody", "tune"], "“the melody”")?;
            return Ok(each_who(subjects, |who| Condition::Heard(HIDDEN.to_vec(), Some(who))));
        }
        if self.pass(&["do", "does"]) {
            self.need(&["not"], "“not”")?;
            return Ok(Condition::Not(Box::new(self.predicate(subjects)?)));
        }
        if self.pass(&["play", "plays", "sound", "sounds", "playing"]) {
            if let Some(way) = self.way() {
                return Ok(each(subjects, |subject| Condition::Way(subject, way)));
            }
            // "play the melody", "play chords"
            let article = usize::from(self.word(0).is_some_and(|word| word == "the" || word == "a"));
            if ROLES.iter().any(|(words, _)| self.are_next(article, words)) {
                self.at += article;
                let roles = self.roles()?;
                return Ok(each(subjects, |subject| Condition::Has(subject, roles.clone())));
            }
            if self.pass(&["alone"]) {
                return Ok(alone(subjects));
            }
            return Ok(each(subjects, Condition::Plays));
        }
        if self.pass(&["alone"]) {
            return Ok(alone(subjects));
        }
        if self.pass(&["accompany", "accompanies"]) {
            return Ok(each(subjects, |subject| Condition::Has(subject, ACCOMPANIMENT.to_vec())));
        }
        if self.pass(&["rest", "rests"]) {
            return Ok(each(subjects, Condition::Rests));
        }
        if self.pass(&["have", "has", "carry", "carries"]) {
            if let Some(way) = self.way() {
                return Ok(each(subjects, |subject| Condition::Way(subject, way)));
            }
            let _ = self.pass(&["the", "a"]);
            if self.pass(&["solo", "solos"]) {
                return Ok(each_who(subjects, Condition::Solo));
            }
            let roles = self.roles()?;
            return Ok(each(subjects, |subject| Condition::Has(subject, roles.clone())));
        }
        if self.pass(&["double", "doubles"]) {
            let whom = self.whom()?;
            let (doubled, above) = self.interval()?;
            return Ok(each_who(subjects, |who| Condition::Doubles(who, Some(whom.clone()), doubled, above)));
        }
        if self.pass(&["overlap", "overlaps"]) {
            let _ = self.pass(&["with"]);
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), Lie::Overlapping)));
        }
        if self.pass(&["touch", "touches"]) {
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), Lie::Touching)));
        }
        if self.pass(&["lead", "leads"]) {
            return Ok(each_who(subjects, Condition::Leads));
        }
        if self.pass(&["take", "takes"]) {
            self.need(&["over"], "“over the melody”")?;
            let _ = self.pass_all(&["the", "melody"]) || self.pass(&["melody"]);
            let from = if self.pass(&["from"]) { Some(self.whom()?) } else { None };
            return Ok(each_who(subjects, |who| Condition::TakesOver(who, from.clone())));
        }
        if self.pass(&["share", "shares"]) {
            let _ = self.pass(&["a", "one"]);
            self.need(&["layer"], "“a layer with”")?;
            self.need(&["with"], "“with”")?;
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::OneLayer(who, whom.clone())));
        }
        if self.pass(&["are", "is", "lie", "lies"]) {
            return self.are(subjects);
        }
        Err(self.wrong("what they do: have a role, play, rest, double, overlap, lead, a dynamic or a register"))
    }

    /// After "are", "is", "lie".
    pub(super) fn are(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if self.pass(&["not"]) {
            return Ok(Condition::Not(Box::new(self.are(subjects)?)));
        }
        if self.pass(&["playing", "sounding"]) {
            return Ok(each(subjects, Condition::Plays));
        }
        if let Some(way) = self.way() {
            return Ok(each(subjects, |subject| Condition::Way(subject, way)));
        }
        if self.pass(&["silent", "tacet", "resting"]) {
            return Ok(each(subjects, Condition::Rests));
        }
        if self.pass(&["doubled"]) {
            let whom = if self.pass(&["by"]) { Some(self.whom()?) } else { None };
            let (doubled, above) = self.interval()?;
            // Of the one who doubles it is said whether he does so above or below.
            let above = above.map(|above| !above);
            return Ok(each_who(subjects, |who| Condition::Doubles(who, whom.clone(), doubled, above)));
        }
        if self.pass(&["apart"]) {
            self.need(&["from"], "“from”")?;
            let whom = self.whom()?;
            let mut semitones = 3;
            if self.pass(&["by"]) {
                let _ = self.pass_all(&["at", "least"]);
                semitones = self.number().ok_or_else(|| self.wrong("a number of semitones"))?;
                self.need(&["semitones", "semitone"], "“semitones”")?;
            }
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), Lie::Apart(semitones))));
        }
        for (word, lie) in [("above", Lie::Above), ("below", Lie::Below)] {
            let begin = self.at;
            if self.pass(&[word]) {
                let _ = self.pass(&["the"]);
                if let Some(whom) = self.who()? {
                    return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), lie)));
                }
                self.at = begin;
            }
        }
        self.predicate_after_are(subjects)
    }

    pub(super) fn predicate_after_are(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if let Some((side, level)) = self.level()? {
            return Ok(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
        }
        if let Some(register) = self.register()? {
            return Ok(each(subjects, |subject| Condition::Register(subject, register)));
        }
        Err(self.wrong("“silent”, “doubled”, “apart from”, “above”, “below” or a dynamic"))
    }

    /// "after at least 8 bars", "after 8 bars of rest": fewest whole bars of rest before; one where nothing is said.
    fn rest_before(&mut self) -> Parsed<i64> {
        if !self.pass(&["after"]) {
            return Ok(1);
        }
        let _ = self.pass_all(&["at", "least"]);
        let more = i64::from(self.pass_all(&["more", "than"]));
        let bars = self.number().ok_or_else(|| self.wrong("a number of bars"))?;
        self.need(&["bars", "bar"], "“bars”")?;
        let _ = self.pass_all(&["of", "rest"]);
        Ok((bars + more).max(1))
    }

    pub(super) fn roles(&mut self) -> Parsed<Vec<Role>> {
        let mut roles = Vec::new();
        loop {
            // The longer words first, so that "bass line" is passed whole.
            let found = ROLES.iter().rev().find(|(words, _)| self.pass_all(words));
            let Some((_, role)) = found else { return Err(self.wrong("a role such as “melody”")) };
            roles.push(*role);
            let more = self.is_next("or") && ROLES.iter().any(|(words, _)| self.word(1).as_deref() == Some(words[0]));
            // "bass clarinet" after "or" is somebody else.
            let after = self.at;
            let other = more && {
                self.at += 1;
                let length = |parser: &Self| parser.at - after - 1;
                let named = self.who()?.is_some() && length(self) > 1;
                self.at = after;
                named
            };
            if !more || other {
                return Ok(roles);
            }
            self.at += 1;
            let _ = self.pass(&["the", "a"]);
        }
    }

    /// "in unison", "in octaves", "an octave above", "two octaves below", or nothing.
    pub(super) fn interval(&mut self) -> Parsed<(Doubled, Option<bool>)> {
        let begin = self.at;
        let _ = self.pass(&["in", "at"]) && self.pass(&["the"]);
        let doubled = if self.pass(&["unison"]) {
            return Ok((Doubled::Unison, None));
        } else if self.pass(&["octaves"]) {
            Doubled::Octaves
        } else if self.pass(&["octave"]) || self.pass_all(&["an", "octave"]) || self.pass_all(&["one", "octave"]) {
            Doubled::Exactly(1)
        } else {
            let number = self.number();
            match number.filter(|_| self.pass(&["octaves"])) {
                Some(number) => Doubled::Exactly(number),
                None => {
                    self.at = begin;
                    return Ok((Doubled::Anyhow, None));
                }
            }
        };
        let above = match self.word(0).as_deref() {
            Some("above" | "higher") => Some(true),
            Some("below" | "lower") => Some(false),
            _ => None,
        };
        self.at += usize::from(above.is_some());
        Ok((doubled, above))
    }

    /// "above F4", "stay below C3", "between F3 and C5".
    pub(super) fn register(&mut self) -> Parsed<Option<Register>> {
        let stays = self.pass(&["stay", "stays"]);
        let register = if self.pass(&["above"]) {
            let key = self.key()?;
            if stays { Register::StayAbove(key) } else { Register::Above(key) }
        } else if self.pass(&["below"]) {
            let key = self.key()?;
            if stays { Register::StayBelow(key) } else { Register::Below(key) }
        } else if self.pass(&["between"]) {
            let low = self.key()?;
            self.need(&["and"], "“and”")?;
            let high = self.key()?;
            Register::Between(low.min(high), low.max(high))
        } else if stays {
            return Err(self.wrong("“above”, “below” or “between”"));
        } else {
            return Ok(None);
        };
        Ok(Some(register))
    }

    pub(super) fn key(&mut self) -> Parsed<i64> {
        let key = self.word(0).and_then(|word| pitch(&word));
        let Some(key) = key else { return Err(self.wrong("a pitch such as F4 or Bb3 (C4 is middle C)")) };
        self.at += 1;
        Ok(key)
    }
}
