//! From text to question. The grammar stands in `docs/questions.md`.

use std::fmt;

use ripieno_score::{Pitch, Step};
use ripieno_texture::Role;

use super::question::{Condition, Counted, Doubled, Lie, Quantity, Question, Register, Side, Subject, Who};
use super::token::{Token, tokens};
use super::words::{LEVELS, NUMBERS, PLAYERS, QUALITIES, ROLES, nearest};

/// Longest question, in letters.
const LONGEST: usize = 4000;
/// Deepest nesting of parentheses and "not".
const DEEPEST: usize = 40;

/// Why a question was not understood: one sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Misunderstood {
    /// What is wrong and what to do.
    pub what: String,
    /// Column of the word at fault, from 1; beyond the end when something is missing there.
    pub column: usize,
}

impl fmt::Display for Misunderstood {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for Misunderstood {}

/// What is neither melody, countermelody, bass nor effect.
const ACCOMPANIMENT: [Role; 5] = [Role::Harmony, Role::Pedal, Role::Rhythm, Role::Figuration, Role::Punctuation];

type Parsed<T> = Result<T, Misunderstood>;

/// Understands a question.
///
/// # Errors
/// One sentence with the word at fault, its place and the nearest known word.
pub fn parse(text: &str) -> Parsed<Question> {
    if text.chars().count() > LONGEST {
        let what = format!("the question is longer than {LONGEST} letters; ask it in several, or with --sql");
        return Err(Misunderstood { what, column: 1 });
    }
    let mut parser = Parser { tokens: tokens(text), at: 0, end: text.chars().count() + 1, depth: 0, subject: None };
    parser.opening();
    let condition = parser.either()?;
    if parser.at < parser.tokens.len() {
        return Err(parser.wrong("“and”, “or” or the end of the question"));
    }
    Ok(Question { condition })
}

struct Parser {
    tokens: Vec<(Token, usize)>,
    at: usize,
    end: usize,
    depth: usize,
    /// Whom the last condition was about: "horns have melody and play forte".
    subject: Option<Subjects>,
}

/// Several who each have to, or of whom one has to.
#[derive(Debug, Clone)]
struct Subjects {
    each: Vec<Subject>,
    either: bool,
}

impl Parser {
    fn word(&self, ahead: usize) -> Option<String> {
        match self.tokens.get(self.at + ahead) {
            Some((Token::Word(word), _)) => Some(word.to_lowercase()),
            _ => None,
        }
    }

    fn is_next(&self, word: &str) -> bool {
        self.word(0).as_deref() == Some(word)
    }

    fn is_sign(&self, ahead: usize, sign: char) -> bool {
        matches!(self.tokens.get(self.at + ahead), Some((Token::Sign(found), _)) if *found == sign)
    }

    /// Passes one of these words.
    fn pass(&mut self, words: &[&str]) -> bool {
        let there = self.word(0).is_some_and(|word| words.contains(&word.as_str()));
        self.at += usize::from(there);
        there
    }

    /// Passes these words in a row, or none.
    fn pass_all(&mut self, words: &[&str]) -> bool {
        let there = words.iter().enumerate().all(|(ahead, word)| self.word(ahead).as_deref() == Some(word));
        self.at += if there { words.len() } else { 0 };
        there
    }

    fn wrong(&self, wanted: &str) -> Misunderstood {
        let Some((token, column)) = self.tokens.get(self.at) else {
            let after = match self.tokens.last() {
                Some((Token::Word(word) | Token::Quoted(word), _)) => format!("ends after “{word}”"),
                Some((Token::Sign(sign), _)) => format!("ends after “{sign}”"),
                None => "is empty".to_owned(),
            };
            return Misunderstood { what: format!("the question {after}, where {wanted} is wanted"), column: self.end };
        };
        let (text, near) = match token {
            Token::Word(word) => (word.clone(), nearest(word)),
            Token::Quoted(name) => (name.clone(), None),
            Token::Sign(sign) => (sign.to_string(), None),
        };
        let near = near.map_or_else(String::new, |near| format!("; the nearest known word is “{near}”"));
        let place = format!("word {}, column {column}", self.at + 1);
        Misunderstood {
            what: format!("“{text}” ({place}) is not understood, where {wanted} is wanted{near}"), column: *column
        }
    }

    fn need(&mut self, words: &[&str], wanted: &str) -> Parsed<()> {
        if self.pass(words) { Ok(()) } else { Err(self.wrong(wanted)) }
    }

    fn opening(&mut self) {
        let _ = self.pass(&["show", "find", "which", "the"]);
        if self.word(0).is_some_and(|word| word == "bars" || word == "passages")
            && !matches!(self.word(1).as_deref(), Some("long"))
        {
            let then = self.word(1);
            if then.as_deref().is_some_and(|then| ["where", "in", "with", "while", "when"].contains(&then)) {
                self.at += 1;
                let _ = self.pass_all(&["in", "which"]) || self.pass(&["where", "with", "while", "when"]);
            }
        } else {
            let _ = self.pass_all(&["in", "which", "bars"])
                || self.pass_all(&["in", "what", "bars"])
                || self.pass(&["where", "when"]);
        }
        // "where do the horns have the melody?"
        let _ = self.pass(&["do", "does"]);
    }

    fn either(&mut self) -> Parsed<Condition> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(Misunderstood {
                what: format!("the question is nested more than {DEEPEST} deep; ask it in several"),
                column: self.tokens.get(self.at).map_or(self.end, |(_, column)| *column),
            });
        }
        let mut any = vec![self.both()?];
        while self.is_next("or") || (self.is_sign(0, ',') && self.word(1).as_deref() == Some("or")) {
            self.at += if self.is_next("or") { 1 } else { 2 };
            any.push(self.both()?);
        }
        self.depth -= 1;
        Ok(if any.len() == 1 { any.remove(0) } else { Condition::Either(any) })
    }

    fn both(&mut self) -> Parsed<Condition> {
        let (mut all, mut lengths) = (Vec::new(), Vec::new());
        loop {
            match self.length()? {
                Some(length) => lengths.push(length),
                None => all.push(self.one()?),
            }
            if self.is_sign(0, ',') && self.word(1).as_deref() != Some("or") {
                self.at += 1;
                let _ = self.pass(&["and", "but", "while"]);
            } else if !self.is_next("without") && !self.pass(&["and", "but", "while"]) {
                // "…, for at least 4 bars" needs no comma.
                match self.length()? {
                    Some(length) => lengths.push(length),
                    None => break,
                }
                if !self.is_sign(0, ',') && !self.is_next("and") {
                    if self.is_next("without") {
                        continue;
                    }
                    break;
                }
                self.at += 1;
            }
        }
        Ok(if all.len() == 1 && lengths.is_empty() { all.remove(0) } else { Condition::All(all, lengths) })
    }

    /// "at least 4 bars long", "for at least 4 bars", "longer than 3 bars".
    fn length(&mut self) -> Parsed<Option<(Side, u32)>> {
        let begin = self.at;
        let lasts = self.pass(&["for", "lasting"]);
        let than = if self.pass_all(&["longer", "than"]) || (lasts && self.pass_all(&["more", "than"])) {
            Some(1)
        } else if self.pass_all(&["shorter", "than"])
            || (lasts && (self.pass_all(&["fewer", "than"]) || self.pass_all(&["less", "than"])))
        {
            Some(-1)
        } else {
            None
        };
        let side = match than {
            Some(1) => Some(Side::AtLeast),
            Some(_) => Some(Side::AtMost),
            None => self.side(),
        };
        let number = self.number();
        let is_length = number.is_some() && self.pass(&["bars", "bar"]);
        let _ = is_length && self.pass(&["long"]);
        let Some(number) = number.filter(|_| is_length) else {
            if lasts {
                return Err(self.wrong("a length such as “at least 4 bars”"));
            }
            self.at = begin;
            return Ok(None);
        };
        let number = number.saturating_add(than.unwrap_or(0)).max(0);
        Ok(Some((side.unwrap_or(Side::Exactly), u32::try_from(number).unwrap_or(u32::MAX))))
    }

    /// "at least", "more than" ... ; a strict one leaves its mark to [`Self::bound`].
    fn side(&mut self) -> Option<Side> {
        if self.pass_all(&["at", "least"]) {
            Some(Side::AtLeast)
        } else if self.pass_all(&["at", "most"]) {
            Some(Side::AtMost)
        } else if self.pass(&["exactly"]) {
            Some(Side::Exactly)
        } else {
            None
        }
    }

    /// A side and a number: "at least 40", "more than 39", "fewer than 10", "4".
    fn bound(&mut self) -> Option<(Side, i64)> {
        let begin = self.at;
        let strict = if self.pass_all(&["more", "than"]) {
            Some((Side::AtLeast, 1))
        } else if self.pass_all(&["fewer", "than"]) || self.pass_all(&["less", "than"]) {
            Some((Side::AtMost, -1))
        } else {
            None
        };
        let (side, more) = strict.unwrap_or_else(|| (self.side().unwrap_or(Side::Exactly), 0));
        let Some(number) = self.number() else {
            self.at = begin;
            return None;
        };
        Some((side, number.saturating_add(more)))
    }

    fn number(&mut self) -> Option<i64> {
        let word = self.word(0)?;
        let named = NUMBERS.iter().position(|name| *name == word).and_then(|number| i64::try_from(number).ok());
        let number = named.or_else(|| word.parse::<i64>().ok().filter(|number| (0..=1_000_000).contains(number)))?;
        self.at += 1;
        Some(number)
    }

    fn one(&mut self) -> Parsed<Condition> {
        if self.pass(&["not"]) {
            self.depth += 1;
            let inner = if self.depth > DEEPEST { self.either() } else { self.one() };
            self.depth -= 1;
            return inner.map(|inner| Condition::Not(Box::new(inner)));
        }
        if self.is_sign(0, '(') {
            self.at += 1;
            let inner = self.either()?;
            if !self.is_sign(0, ')') {
                return Err(self.wrong("“)”"));
            }
            self.at += 1;
            return Ok(inner);
        }
        if self.pass(&["nobody"]) {
            self.need(&["plays", "sounds"], "“plays”")?;
            return Ok(Condition::Rests(plain(Who::Everybody)));
        }
        if self.pass(&["tutti"]) {
            return Ok(Condition::Plays(Subject { quantity: Quantity::All, who: vec![Who::Everybody] }));
        }
        if self.pass(&["without"]) {
            let whom = self.whom()?;
            return Ok(Condition::Rests(plain(whom)));
        }
        if let Some(condition) = self.of_the_bar()? {
            return Ok(condition);
        }
        if let Some(condition) = self.count()? {
            return Ok(condition);
        }
        match self.subjects()? {
            Some(subjects) => {
                self.subject = Some(subjects.clone());
                // "all woodwind play but no brass"
                if subjects.each.iter().all(|subject| subject.quantity == Quantity::No) && self.ends_here() {
                    return Ok(each(&subjects, Condition::Plays));
                }
                self.predicates(&subjects)
            }
            // "horns have melody and play forte"
            None if self.begins_predicate() => match self.subject.clone() {
                Some(subjects) => self.predicates(&subjects),
                None => Err(self.wrong("who plays")),
            },
            None => Err(self.wrong("who plays, a dynamic, a count or a chord")),
        }
    }

    /// Whether a condition ends before the next word.
    fn ends_here(&self) -> bool {
        self.at >= self.tokens.len()
            || self.is_sign(0, ',')
            || self.is_sign(0, ')')
            || self.word(0).is_some_and(|word| ["and", "or", "but", "while", "for"].contains(&word.as_str()))
    }

    /// Conditions without players.
    fn of_the_bar(&mut self) -> Parsed<Option<Condition>> {
        if let Some((side, level)) = self.level()? {
            return Ok(Some(Condition::Level(None, side, level)));
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

    fn metre(&mut self) -> Parsed<Condition> {
        let metre = self.word(0).filter(|word| word.contains('/'));
        let Some(metre) = metre else { return Err(self.wrong("a metre such as 3/4")) };
        self.at += 1;
        Ok(Condition::Metre(metre))
    }

    /// "35", "35 to 45", "35-45".
    fn bars(&mut self) -> Parsed<Condition> {
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

    fn harmony(&mut self, wanted: &str, condition: fn(Option<u8>, Option<String>) -> Condition) -> Parsed<Condition> {
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
    fn level(&mut self) -> Parsed<Option<(Side, i64)>> {
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
    fn count(&mut self) -> Parsed<Option<Condition>> {
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

    /// The longest name of players here.
    fn who(&mut self) -> Parsed<Option<Who>> {
        if let Some((Token::Quoted(name), _)) = self.tokens.get(self.at) {
            let name = name.trim().to_lowercase();
            if name.is_empty() {
                return Err(self.wrong("the name of a part"));
            }
            self.at += 1;
            return Ok(Some(Who::Part(name)));
        }
        let words: Vec<String> = (0..5).map_while(|ahead| self.word(ahead)).collect();
        let longest = (1..=words.len()).rev().find_map(|length| PLAYERS.get(&words[..length]).map(|who| (length, who.clone())));
        Ok(longest.map(|(length, who)| {
            self.at += length;
            who
        }))
    }

    /// Other players, after a verb.
    fn whom(&mut self) -> Parsed<Who> {
        let _ = self.pass(&["the"]);
        self.who()?.ok_or_else(|| self.wrong("other players"))
    }

    fn subjects(&mut self) -> Parsed<Option<Subjects>> {
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

    fn subject(&mut self) -> Parsed<Option<Subject>> {
        let begin = self.at;
        let quantity = match self.word(0).as_deref() {
            Some("any" | "some") => Quantity::Any,
            Some("all" | "every") => Quantity::All,
            Some("only") => Quantity::Only,
            Some("no") => Quantity::No,
            _ => Quantity::Plain,
        };
        self.at += usize::from(quantity != Quantity::Plain);
        let _ = self.pass(&["the", "of"]) && self.pass(&["the"]);
        if quantity == Quantity::All && self.pass(&["sections", "players"]) {
            return Ok(Some(Subject { quantity, who: vec![Who::Everybody] }));
        }
        match self.who()? {
            Some(Who::Everybody) if quantity == Quantity::Plain => {
                Ok(Some(Subject { quantity: Quantity::All, who: vec![Who::Everybody] }))
            }
            Some(who) => Ok(Some(Subject { quantity, who: vec![who] })),
            None if quantity == Quantity::Plain => {
                self.at = begin;
                Ok(None)
            }
            None => Err(self.wrong("who plays")),
        }
    }

    fn begins_verb(&self) -> bool {
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
        ];
        self.word(0).is_some_and(|word| VERBS.contains(&word.as_str()))
    }

    fn begins_predicate(&self) -> bool {
        self.begins_verb() || self.word(0).is_some_and(|word| ["above", "below", "between"].contains(&word.as_str()))
    }

    /// What the players do; further particulars follow without "and": "horns play above F4 forte or louder".
    fn predicates(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        let mut all = vec![self.predicate(subjects)?];
        loop {
            if let Some((side, level)) = self.level()? {
                all.push(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
            } else if let Some(register) = self.register()? {
                all.push(each(subjects, |subject| Condition::Register(subject, register)));
            } else if self.pass_all(&["in", "bars"]) || self.pass_all(&["in", "bar"]) {
                all.push(self.bars()?);
            } else {
                return Ok(if all.len() == 1 { all.remove(0) } else { Condition::All(all, Vec::new()) });
            }
        }
    }

    fn predicate(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if let Some((side, level)) = self.level()? {
            return Ok(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
        }
        if let Some(register) = self.register()? {
            return Ok(each(subjects, |subject| Condition::Register(subject, register)));
        }
        if self.pass(&["do", "does"]) {
            self.need(&["not"], "“not”")?;
            return Ok(Condition::Not(Box::new(self.predicate(subjects)?)));
        }
        if self.pass(&["play", "plays", "sound", "sounds", "playing"]) {
            // "play the melody", "play chords"
            let article = usize::from(self.word(0).is_some_and(|word| word == "the" || word == "a"));
            let begins_role = |parser: &Self| {
                let here = |words: &[&str]| {
                    words.iter().enumerate().all(|(at, word)| parser.word(article + at).as_deref() == Some(*word))
                };
                ROLES.iter().any(|(words, _)| here(words))
            };
            if begins_role(self) {
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
            let _ = self.pass(&["the", "a"]);
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
    fn are(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if self.pass(&["not"]) {
            return Ok(Condition::Not(Box::new(self.are(subjects)?)));
        }
        if self.pass(&["playing", "sounding"]) {
            return Ok(each(subjects, Condition::Plays));
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

    fn predicate_after_are(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if let Some((side, level)) = self.level()? {
            return Ok(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
        }
        if let Some(register) = self.register()? {
            return Ok(each(subjects, |subject| Condition::Register(subject, register)));
        }
        Err(self.wrong("“silent”, “doubled”, “apart from”, “above”, “below” or a dynamic"))
    }

    fn roles(&mut self) -> Parsed<Vec<Role>> {
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
    fn interval(&mut self) -> Parsed<(Doubled, Option<bool>)> {
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
    fn register(&mut self) -> Parsed<Option<Register>> {
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

    fn key(&mut self) -> Parsed<i64> {
        let key = self.word(0).and_then(|word| pitch(&word));
        let Some(key) = key else { return Err(self.wrong("a pitch such as F4 or Bb3 (C4 is middle C)")) };
        self.at += 1;
        Ok(key)
    }
}

/// They play and nobody else does.
fn alone(subjects: &Subjects) -> Condition {
    let who = subjects.each.iter().flat_map(|subject| subject.who.iter().cloned()).collect();
    Condition::Plays(Subject { quantity: Quantity::Only, who })
}

fn plain(who: Who) -> Subject {
    Subject { quantity: Quantity::Plain, who: vec![who] }
}

fn joined(mut all: Vec<Condition>, either: bool) -> Condition {
    match all.len() {
        1 => all.remove(0),
        _ if either => Condition::Either(all),
        _ => Condition::All(all, Vec::new()),
    }
}

fn each(subjects: &Subjects, condition: impl Fn(Subject) -> Condition) -> Condition {
    joined(subjects.each.iter().cloned().map(condition).collect(), subjects.either)
}

/// For verbs between two: what is said of any of them.
fn each_who(subjects: &Subjects, condition: impl Fn(Who) -> Condition) -> Condition {
    let of_one = |subject: &Subject| {
        let all: Vec<Condition> = subject.who.iter().cloned().map(&condition).collect();
        let one = joined(all, true);
        if subject.quantity == Quantity::No { Condition::Not(Box::new(one)) } else { one }
    };
    joined(subjects.each.iter().map(of_one).collect(), subjects.either)
}

/// Letter and signs: "eb", "f#", "b♭"; what is left over.
fn spelled(word: &str) -> Option<(Step, i8, &str)> {
    let mut letters = word.chars();
    let step = Step::from_letter(u8::try_from(letters.next()?.to_ascii_uppercase()).ok()?)?;
    let mut alter = 0i8;
    let mut rest = letters.as_str();
    loop {
        let mut after = rest.chars();
        match after.next() {
            Some('#' | '\u{266f}') => alter += 1,
            Some('b' | '\u{266d}') => alter -= 1,
            _ => return Some((step, alter, rest)),
        }
        if alter.abs() > 3 {
            return None;
        }
        rest = after.as_str();
    }
}

/// Pitch class of a note name: "eb" is 3; "c-sharp" is not known.
pub(crate) fn note_name(word: &str) -> Option<u8> {
    let (step, alter, rest) = spelled(word)?;
    let class = (step.semitones() + i32::from(alter)).rem_euclid(12);
    u8::try_from(class).ok().filter(|_| rest.is_empty())
}

/// MIDI key of a pitch such as "bb3".
fn pitch(word: &str) -> Option<i64> {
    let (step, alter, rest) = spelled(word)?;
    let octave: i8 = rest.parse().ok().filter(|octave| (-1..=9).contains(octave))?;
    Some(i64::from(Pitch::new(step, alter, octave).key().ok()?.number()))
}
