//! Whom a condition is about.

use super::super::question::{Condition, Quantity, Subject, Who};
use super::super::token::Token;
use super::super::words::{ORDINALS, PLAYERS};
use super::{Parsed, Parser};

/// Several who each have to, or of whom one has to.
#[derive(Debug, Clone)]
pub(super) struct Subjects {
    pub(super) each: Vec<Subject>,
    pub(super) either: bool,
}

/// Words that ask for all of a group: "the whole brass". The whole orchestra is a name of its own.
const WHOLE: &[&str] = &["whole", "full", "entire", "complete", "tutti"];
/// A passage of all of them.
pub(super) const TUTTI: &[&str] = &["tutti", "tuttis"];

impl Parser {
    /// Whether players follow the next word, and do not begin with it: "the whole brass", not "the whole orchestra". A family or section that follows
    /// goes before an instrument called so: "full strings" are all strings, though the catalogue has a sound of that name.
    fn names_whole(&self) -> bool {
        let named = |ahead: usize, is_meant: fn(&Who) -> bool| {
            let words: Vec<String> = (ahead..ahead + 5).map_while(|ahead| self.word(ahead)).collect();
            (1..=words.len()).any(|length| PLAYERS.get(&words[..length]).is_some_and(is_meant))
        };
        let after = 1 + usize::from(self.word(1).as_deref() == Some("of")) + usize::from(self.word(2).as_deref() == Some("the"));
        let follow = |is_meant| named(1, is_meant) || named(after, is_meant);
        follow(|who| matches!(who, Who::Family(_) | Who::Section(_))) || (!named(0, |_| true) && follow(|_| true))
    }

    /// Whether "the melody", "the bass line" stands here as one who plays.
    fn of_the_moment(&mut self) -> Option<Who> {
        for (words, who) in [
            (&["the", "melody"][..], Who::Melody),
            (&["the", "tune"], Who::Melody),
            (&["melody"], Who::Melody),
            (&["the", "bass", "line"], Who::BassLine),
            (&["bass", "line"], Who::BassLine),
        ] {
            if self.pass_all(words) {
                return Some(who);
            }
        }
        None
    }

    /// The longest name of players here.
    pub(super) fn who(&mut self) -> Parsed<Option<Who>> {
        if let Some((Token::Quoted(name), ..)) = self.tokens.get(self.at) {
            let name = name.trim().to_lowercase();
            if name.is_empty() {
                return Err(self.wrong("the name of a part"));
            }
            self.at += 1;
            return Ok(Some(Who::Part(name)));
        }
        // "first violins", "third horn"; "first and second violins" is two.
        if let Some(number) = self.ordinal() {
            self.at += 1;
            let begin = self.at;
            if self.pass(&["and"]) && self.ordinal().is_some() {
                self.at += 1;
                let named = self.who()?;
                self.at = begin;
                return Ok(named.map(|who| Who::Numbered(number, Box::new(who))));
            }
            self.at = begin;
            let named = if self.ordinal().is_some() { None } else { self.who()? };
            if named.is_none() {
                self.at -= 1;
            }
            return Ok(named.map(|who| Who::Numbered(number, Box::new(who))));
        }
        let words: Vec<String> = (0..5).map_while(|ahead| self.word(ahead)).collect();
        let longest = (1..=words.len()).rev().find_map(|length| PLAYERS.get(&words[..length]).map(|who| (length, who.clone())));
        Ok(longest.map(|(length, who)| {
            self.at += length;
            who
        }))
    }

    /// The number that the next word names.
    fn ordinal(&self) -> Option<u16> {
        let word = self.word(0)?;
        ORDINALS.iter().find(|(words, _)| words.contains(&word.as_str())).map(|(_, number)| *number)
    }

    /// Other players, after a verb.
    pub(super) fn whom(&mut self) -> Parsed<Who> {
        if let Some(who) = self.of_the_moment() {
            return Ok(who);
        }
        let _ = self.pass(&["the", "a", "an"]);
        self.who()?.ok_or_else(|| self.wrong("other players"))
    }

    pub(super) fn subjects(&mut self) -> Parsed<Option<Subjects>> {
        let Some(first) = self.subject()? else { return Ok(None) };
        let mut subjects = Subjects { each: vec![first], either: false };
        loop {
            let begin = self.at;
            let joined = if self.pass(&["and"])
                || (self.is_sign(0, ',') && {
                    self.at += 1;
                    true
                }) {
                Some(false)
            } else if self.pass(&["or"]) {
                Some(true)
            } else {
                None
            };
            let (Some(either), true) = (joined, subjects.each.len() == 1 || joined == Some(subjects.either)) else {
                self.at = begin;
                return Ok(Some(subjects));
            };
            let Some(next) = self.subject()? else {
                self.at = begin;
                return Ok(Some(subjects));
            };
            subjects.either = either;
            match subjects.each.last_mut() {
                // "only horns and trumpets"
                Some(last) if last.quantity == Quantity::Only && next.quantity == Quantity::Plain => last.who.extend(next.who),
                Some(last) if next.quantity == Quantity::Plain && last.quantity != Quantity::Plain => {
                    let quantity = last.quantity;
                    subjects.each.push(Subject { quantity, who: next.who });
                }
                _ => subjects.each.push(next),
            }
        }
    }

    pub(super) fn subject(&mut self) -> Parsed<Option<Subject>> {
        let begin = self.at;
        let quantity = match self.word(0).as_deref() {
            Some("any" | "some") => Quantity::Any,
            Some("all" | "every") => Quantity::All,
            Some(word) if WHOLE.contains(&word) && self.names_whole() => Quantity::All,
            Some("only") => Quantity::Only,
            Some("no") => Quantity::No,
            _ => Quantity::Plain,
        };
        self.at += usize::from(quantity != Quantity::Plain);
        let _ = self.pass(&["the", "of"]) && self.pass(&["the"]);
        if quantity == Quantity::Plain && self.asked_who() {
            return Ok(Some(plain(Who::Asked)));
        }
        if quantity == Quantity::All && self.pass(&["sections", "players"]) {
            return Ok(Some(Subject { quantity, who: vec![Who::Everybody] }));
        }
        match self.who()? {
            Some(Who::Everybody) if quantity == Quantity::Plain => {
                Ok(Some(Subject { quantity: Quantity::All, who: vec![Who::Everybody] }))
            }
            Some(who) => {
                // "brass tutti": all of them.
                let tutti = quantity == Quantity::Plain && self.pass(TUTTI);
                Ok(Some(Subject { quantity: if tutti { Quantity::All } else { quantity }, who: vec![who] }))
            }
            None if quantity == Quantity::Plain => {
                self.at = begin;
                Ok(None)
            }
            None => Err(self.wrong("who plays")),
        }
    }
}

impl Parser {
    /// "who", "which instruments".
    fn asked_who(&mut self) -> bool {
        const PARTS: [&str; 5] = ["instruments", "parts", "players", "sections", "instrument"];
        if self.pass(&["who"]) {
            return true;
        }
        let asked = self.word(0).is_some_and(|word| word == "which" || word == "what")
            && self.word(1).is_some_and(|word| PARTS.contains(&word.as_str()));
        self.at += if asked { 2 } else { 0 };
        asked
    }
}

/// They play and nobody else does.
pub(super) fn alone(subjects: &Subjects) -> Condition {
    let who = subjects.each.iter().flat_map(|subject| subject.who.iter().cloned()).collect();
    Condition::Plays(Subject { quantity: Quantity::Only, who })
}

pub(super) fn plain(who: Who) -> Subject {
    Subject { quantity: Quantity::Plain, who: vec![who] }
}

pub(super) fn joined(mut all: Vec<Condition>, either: bool) -> Condition {
    match all.len() {
        1 => all.remove(0),
        _ if either => Condition::Either(all),
        _ => Condition::All(all, Vec::new()),
    }
}

pub(super) fn each(subjects: &Subjects, condition: impl Fn(Subject) -> Condition) -> Condition {
    joined(subjects.each.iter().cloned().map(condition).collect(), subjects.either)
}

/// For verbs between two: what is said of any of them.
pub(super) fn each_who(subjects: &Subjects, condition: impl Fn(Who) -> Condition) -> Condition {
    let of_one = |subject: &Subject| {
        let all: Vec<Condition> = subject.who.iter().cloned().map(&condition).collect();
        let one = joined(all, true);
        if subject.quantity == Quantity::No { Condition::Not(Box::new(one)) } else { one }
    };
    joined(subjects.each.iter().map(of_one).collect(), subjects.either)
}
