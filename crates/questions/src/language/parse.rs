//! From text to question. The grammar stands in `docs/questions.md`.

mod asks;
mod bar;
mod distance;
mod does;
mod nouns;
mod opening;
mod pitch;
mod players;

use std::fmt;

use super::examples::instead;
use super::question::{Condition, Quantity, Question, Side, Subject, Who};
use super::token::{Token, tokens};
use super::words::{NUMBERS, nearest};
pub(crate) use pitch::note_name;
use players::{Subjects, TUTTI, each, plain};

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

type Parsed<T> = Result<T, Misunderstood>;

/// Understands a question.
///
/// # Errors
/// One sentence with the word at fault, what stands before it, the nearest known word and a question that would be understood.
pub fn parse(text: &str) -> Parsed<Question> {
    if text.chars().count() > LONGEST {
        let what = format!("the question is longer than {LONGEST} letters; ask it in several, or with --sql");
        return Err(Misunderstood { what, column: 1 });
    }
    let words = tokens(text);
    let end = text.chars().count() + 1;
    let bare = without_articles(&words);
    let fewer = !bare.is_empty() && bare.len() < words.len();
    match question(Parser::new(words, end, false)) {
        // "is a trumpet muted": an article that the grammar has no place for says nothing.
        Err(first) if fewer => {
            question(Parser::new(bare, end, true)).map_err(|second| if second.column > first.column { second } else { first })
        }
        understood => understood,
    }
}

/// Words and signs with their columns.
type Placed = Vec<(Token, usize)>;

/// The words but for articles. "a 2" is a way of playing; A may be a note or key.
fn without_articles(words: &Placed) -> Placed {
    let lower = |at: Option<usize>| match at.and_then(|at| words.get(at)) {
        Some((Token::Word(word), ..)) => word.to_lowercase(),
        _ => String::new(),
    };
    let stays = |at: usize| match &words[at].0 {
        Token::Word(word) if word == "A" && at > 0 => true,
        Token::Word(word) => match word.to_lowercase().as_str() {
            "an" | "the" => false,
            "a" => {
                let (before, after) = (lower(at.checked_sub(1)), lower(Some(at + 1)));
                ["2", "due"].contains(&after.as_str())
                    || after == "major"
                    || after == "minor"
                    || (after.is_empty() && ["on", "of", "in", "key", "chord"].contains(&before.as_str()))
            }
            _ => true,
        },
        _ => true,
    };
    (0..words.len()).filter(|&at| stays(at)).map(|at| words[at].clone()).collect()
}

fn question(mut parser: Parser) -> Parsed<Question> {
    let (wanted, condition) = parser.opening()?;
    let condition = match condition {
        Some(condition) if parser.at >= parser.tokens.len() => condition,
        // "the highest note of the horns, forte or louder"
        Some(condition) => {
            let _ = parser.pass_sign(',');
            let _ = parser.pass_all(&["in", "which"]) || parser.pass(&["where", "when", "while", "with", "and"]);
            let more = parser.either()?;
            if condition == Condition::always() { more } else { Condition::All(vec![condition, more], Vec::new()) }
        }
        None => parser.either()?,
    };
    // "how long does the solo last?"
    if parser.at + 1 == parser.tokens.len() {
        let _ = parser.pass(&["last", "lasts"]);
    }
    if parser.at < parser.tokens.len() {
        return Err(parser.wrong("“and”, “or” or the end of the question"));
    }
    Ok(Question { condition, wanted })
}

struct Parser {
    tokens: Placed,
    /// Articles have been taken out of the words, and count for nothing in what they are compared with.
    bare: bool,
    at: usize,
    end: usize,
    depth: usize,
    /// Whom the last condition was about: "horns have melody and play forte".
    subject: Option<Subjects>,
    /// "where are the horns ...": the verb stood before the one it is said of.
    copula: bool,
    /// "which bars have horns": players without a verb are said to sound.
    sounds: bool,
}

impl Parser {
    const fn new(tokens: Placed, end: usize, bare: bool) -> Self {
        Self { tokens, bare, at: 0, end, depth: 0, subject: None, copula: false, sounds: false }
    }

    fn word(&self, ahead: usize) -> Option<String> {
        match self.tokens.get(self.at + ahead) {
            Some((Token::Word(word), ..)) => Some(word.to_lowercase()),
            _ => None,
        }
    }

    fn is_next(&self, word: &str) -> bool {
        self.word(0).as_deref() == Some(word)
    }

    /// Whether these words follow in a row after so many others.
    fn are_next(&self, ahead: usize, words: &[&str]) -> bool {
        self.taken(ahead, words).is_some()
    }

    /// How many words these take after so many others, where they follow in a row.
    fn taken(&self, ahead: usize, words: &[&str]) -> Option<usize> {
        let after = |at: usize| words.get(at + 1).copied().unwrap_or_default();
        let counts = |at: usize, word: &str| {
            !self.bare || !["a", "an", "the"].contains(&word) || (word == "a" && ["2", "due"].contains(&after(at)))
        };
        let mut taken = 0;
        for (_, word) in words.iter().enumerate().filter(|(at, word)| counts(*at, word)) {
            if self.word(ahead + taken).as_deref() != Some(*word) {
                return None;
            }
            taken += 1;
        }
        (taken > 0).then_some(taken)
    }

    fn is_sign(&self, ahead: usize, sign: char) -> bool {
        matches!(self.tokens.get(self.at + ahead), Some((Token::Sign(found), ..)) if *found == sign)
    }

    /// Passes one of these words.
    fn pass(&mut self, words: &[&str]) -> bool {
        let there = self.word(0).is_some_and(|word| words.contains(&word.as_str()));
        self.at += usize::from(there);
        there
    }

    fn pass_sign(&mut self, sign: char) -> bool {
        let there = self.is_sign(0, sign);
        self.at += usize::from(there);
        there
    }

    /// Passes these words in a row, or none.
    fn pass_all(&mut self, words: &[&str]) -> bool {
        let taken = self.taken(0, words);
        self.at += taken.unwrap_or(0);
        taken.is_some()
    }

    fn words(&self) -> impl Iterator<Item = String> {
        self.tokens.iter().map(|(token, _)| token.text().to_lowercase())
    }

    fn wrong(&self, wanted: &str) -> Misunderstood {
        let Some((token, column)) = self.tokens.get(self.at) else {
            let after = match self.tokens.last() {
                Some((Token::Word(word) | Token::Quoted(word), ..)) => format!("ends after “{word}”"),
                Some((Token::Sign(sign), ..)) => format!("ends after “{sign}”"),
                None => "is empty".to_owned(),
            };
            let what = format!("the question {after}, where {wanted} is wanted; {}", instead(self.words()));
            return Misunderstood { what, column: self.end };
        };
        let near = if let Token::Word(word) = token { nearest(word) } else { None };
        let text = token.text();
        let near = near.map_or_else(String::new, |near| format!("; the nearest known word is “{near}”"));
        // A place that a reader finds: the words before it.
        let before: Vec<String> = self.tokens[self.at.saturating_sub(3)..self.at].iter().map(|(token, _)| token.text()).collect();
        let place = if before.is_empty() { "at the beginning".to_owned() } else { format!("after “{}”", before.join(" ")) };
        let instead = instead(self.words());
        let what = format!("“{text}”, {place}, is not understood, where {wanted} is wanted{near}; {instead}");
        Misunderstood { what, column: *column }
    }

    fn need(&mut self, words: &[&str], wanted: &str) -> Parsed<()> {
        if self.pass(words) { Ok(()) } else { Err(self.wrong(wanted)) }
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
        let lasts = self.pass(&["for", "lasting", "over"]);
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
        if self.pass(TUTTI) {
            return Ok(self.tutti_of()?.unwrap_or(Condition::Tutti));
        }
        if self.pass_all(&["general", "pause"]) || self.pass(&["silence"]) {
            return Ok(Condition::Rests(Subject { quantity: Quantity::All, who: vec![Who::Everybody] }));
        }
        if self.pass_all(&["nothing", "but"]) || self.pass_all(&["nobody", "but"]) {
            let Some(subjects) = self.subjects()? else { return Err(self.wrong("who plays")) };
            let _ = self.pass(&["plays", "sounds", "play", "sound"]);
            return Ok(players::alone(&subjects));
        }
        if self.pass(&["without"]) {
            let whom = self.whom()?;
            return Ok(Condition::Rests(plain(whom)));
        }
        if let Some(condition) = self.of_the_bar()? {
            return Ok(condition);
        }
        if let Some(condition) = self.noun()? {
            return Ok(condition);
        }
        if let Some(condition) = self.count()? {
            return Ok(condition);
        }
        match self.subjects()? {
            Some(subjects) => {
                self.subject = Some(subjects.clone());
                // "all brass", "no brass": players of whom nothing more is said sound.
                if self.ends_here() {
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

    /// "tutti of the brass", "tutti in the strings", "tutti brass": every one of them plays. In bars or a key it is the orchestra's.
    fn tutti_of(&mut self) -> Parsed<Option<Condition>> {
        let begin = self.at;
        let _ = self.pass(&["of", "in"]) && self.pass(&["the"]);
        let Some(who) = self.who()? else {
            self.at = begin;
            return Ok(None);
        };
        let subjects = Subjects { each: vec![Subject { quantity: Quantity::All, who: vec![who] }], either: false };
        let _ = self.pass(&["play", "plays", "sound", "sounds"]);
        Ok(Some(each(&subjects, Condition::Plays)))
    }

    /// Whether a condition ends before the next word.
    fn ends_here(&self) -> bool {
        self.at >= self.tokens.len()
            || self.is_sign(0, ',')
            || self.is_sign(0, ')')
            || self
                .word(0)
                .is_some_and(|word| ["and", "or", "but", "while", "for", "over", "where", "when"].contains(&word.as_str()))
    }
}
