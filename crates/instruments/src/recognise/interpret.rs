//! From segments to what the name says: which instruments, whose numbers, whose keys.

use super::lexicon::{Class, Languages, Lexicon, letters_of};
use super::segment::{Candidate, KeyMark, Label, Segment};
use super::token::{Kind, Token};
use super::{AlsoRelation, Division, DivisionKind, StaffLabel};
use crate::catalogue::{Catalogue, Instrument};
use crate::family::{Family, Section};

/// Part numbers above this are not believed to be ranges: "Part 1-200".
const LONGEST_NUMBER_RANGE: u16 = 24;

/// A name read but not yet settled among its candidates.
#[derive(Clone, Debug, Default)]
pub(crate) struct Named {
    pub candidates: Vec<Candidate>,
    /// Tokens it covers.
    pub tokens: (usize, usize),
    pub keys: Vec<KeyMark>,
    pub numbers: Vec<u16>,
    /// How it relates to the first name; meaningless for the first.
    pub doubles: bool,
}

/// What a name says.
#[derive(Clone, Debug, Default)]
pub(crate) struct Reading {
    /// The first is the part's instrument; the others share its staff.
    pub named: Vec<Named>,
    /// Keys and numbers of a name without an instrument.
    pub loose_keys: Vec<KeyMark>,
    pub loose_numbers: Vec<u16>,
    /// A plain number before the name: a count when the name is plural, else the number of the part.
    pub leading: Option<u16>,
    pub count: Option<u16>,
    pub division: Option<Division>,
    pub staff: Option<StaffLabel>,
    /// Words understood and words not.
    pub read_words: usize,
    pub unread_words: usize,
    /// Languages to which words other than the names belong.
    pub languages: Vec<Languages>,
}

struct Interpreter<'a> {
    catalogue: &'a Catalogue,
    lexicon: &'a Lexicon,
    tokens: &'a [Token],
    segments: &'a [Segment],
    reading: Reading,
    /// A word or sign since the last name that makes the next one a change of instrument.
    change: bool,
    /// Position of the last number segment, for "1-4".
    last_number: Option<usize>,
    /// Numbers that belong to the next name: "Flöte (auch 2. Piccolo)".
    ahead: Vec<u16>,
}

/// Collects what the segments say.
pub(crate) fn interpret(catalogue: &Catalogue, lexicon: &Lexicon, tokens: &[Token], segments: &[Segment]) -> Reading {
    let mut interpreter = Interpreter {
        catalogue,
        lexicon,
        tokens,
        segments,
        reading: Reading::default(),
        change: false,
        last_number: None,
        ahead: Vec::new(),
    };
    for at in 0..segments.len() {
        interpreter.visit(at);
    }
    interpreter.settle_choir();
    interpreter.reading
}

impl Interpreter<'_> {
    fn instrument(&self, candidate: &Candidate) -> &Instrument {
        &self.catalogue.all()[usize::from(candidate.instrument)]
    }

    fn any_in(&self, named: &Named, test: impl Fn(&Instrument) -> bool) -> bool {
        named.candidates.iter().any(|c| test(self.instrument(c)))
    }

    fn all_in(&self, named: &Named, test: impl Fn(&Instrument) -> bool) -> bool {
        !named.candidates.is_empty() && named.candidates.iter().all(|c| test(self.instrument(c)))
    }

    fn visit(&mut self, at: usize) {
        let segment = &self.segments[at];
        let span = &self.tokens[segment.start..segment.end];
        if span.iter().any(|token| token.gap.slash || token.gap.open) {
            self.change = true;
        }
        match &segment.label {
            Label::Name(candidates) => {
                self.reading.read_words += span.len();
                self.name(segment, candidates);
            }
            Label::Key(mark) => {
                self.reading.read_words += span.len();
                self.key(*mark);
            }
            Label::Number(value) => self.number(at, *value),
            Label::Word(qualifier) => {
                self.reading.read_words += span.len();
                if qualifier.languages.len() == 1 && !matches!(qualifier.class, Class::ACount | Class::Noise) {
                    self.reading.languages.push(qualifier.languages);
                }
                self.word(at, qualifier.class, qualifier.value);
            }
            Label::Unknown => {
                // A lone letter is too little to count as a word not understood.
                self.reading.unread_words += span.iter().filter(|token| token.is_word() && token.text.len() > 1).count();
            }
        }
    }

    fn name(&mut self, segment: &Segment, candidates: &[Candidate]) {
        let mut named = Named { candidates: candidates.to_vec(), tokens: (segment.start, segment.end), ..Named::default() };
        let Some(first) = self.reading.named.first() else {
            named.keys = std::mem::take(&mut self.reading.loose_keys);
            named.numbers = std::mem::take(&mut self.reading.loose_numbers);
            self.reading.named.push(named);
            self.change = false;
            return;
        };
        // "Trombone 3 (Bass)": a register after an instrument belongs to it when the catalogue knows the two together.
        let voice = |item: &Instrument| item.family == Family::Voice;
        if self.any_in(&named, voice) && !self.all_in(first, voice) {
            let words = [first.tokens, named.tokens];
            let mut words: Vec<&str> =
                words.iter().flat_map(|(a, b)| &self.tokens[*a..*b]).map(|token| token.text.as_str()).collect();
            let joined = self.lexicon.any_order(&mut words);
            if !joined.is_empty() {
                self.reading.named[0].candidates = self.candidates(joined);
                return;
            }
        }
        // "Alt- u. Tenorposaune": the hyphen stands for the end of the next word.
        let (_, end) = first.tokens;
        let suspended = self.reading.named.len() == 1
            && end < segment.start
            && self.tokens.get(end).is_some_and(|next| next.gap.dash && next.gap.space);
        if suspended {
            let start = letters_of(&self.tokens[first.tokens.0..end]);
            let whole = self.lexicon.completed(&start, &letters_of(&self.tokens[segment.start..segment.end]));
            if !whole.is_empty() {
                self.reading.named[0].candidates = self.candidates(whole);
            }
        }
        let first = &self.reading.named[0];
        let percussion = self.all_in(first, |item| item.family == Family::Percussion);
        named.doubles = self.change && !percussion;
        named.numbers = std::mem::take(&mut self.ahead);
        self.reading.named.push(named);
        self.change = false;
    }

    /// Candidates for names put together from parts.
    fn candidates(&self, ids: &[u32]) -> Vec<Candidate> {
        let entries = ids.iter().map(|id| &self.lexicon.entries[*id as usize]);
        entries
            .map(|entry| Candidate {
                instrument: entry.instrument,
                quality: 0.9,
                languages: entry.languages,
                plural: entry.plural,
                abbreviation: entry.abbreviation,
            })
            .collect()
    }

    fn key(&mut self, mark: KeyMark) {
        let keys = match self.reading.named.last_mut() {
            Some(named) => &mut named.keys,
            None => &mut self.reading.loose_keys,
        };
        // "B Horn [B natural]" explains the key it has, it does not add one.
        match keys.last_mut() {
            Some(last) if last.bare_b && mark.explicit && last.name.step == mark.name.step => {
                (last.name, last.bare_b, last.explicit) = (mark.name, false, true);
            }
            _ => keys.push(mark),
        }
    }

    fn numbers(&mut self) -> &mut Vec<u16> {
        match self.reading.named.last_mut() {
            Some(named) => &mut named.numbers,
            None => &mut self.reading.loose_numbers,
        }
    }

    /// The class of the nearest word before a segment, small words aside.
    fn class_before(&self, at: usize) -> Option<Class> {
        self.segments[..at]
            .iter()
            .rev()
            .map(Segment::class)
            .find(|class| !matches!(class, Some(Class::KeyIn | Class::Noise)))
            .flatten()
    }

    fn class_after(&self, at: usize) -> Option<Class> {
        self.segments.get(at + 1).and_then(Segment::class)
    }

    fn divide(&mut self, kind: DivisionKind, number: Option<u16>) {
        let number = number.and_then(|n| u8::try_from(n).ok());
        match &mut self.reading.division {
            Some(division) if division.kind == kind => {
                division.number = division.number.or(number);
            }
            Some(division) if division.kind.rank() >= kind.rank() => {}
            slot => *slot = Some(Division { kind, number }),
        }
    }

    fn number(&mut self, at: usize, value: u16) {
        let token = &self.tokens[self.segments[at].start];
        let dash = token.gap.dash;
        let previous = self.last_number.replace(at);
        if let Kind::Number { suffix: Some(letter), .. } = token.kind {
            self.reading.staff = Some(StaffLabel::Letter(letter));
        }
        let before = self.class_before(at);
        match self.class_after(at) {
            Some(Class::DivisiParts) => return self.divide(DivisionKind::Divisi, Some(value)),
            Some(Class::Hands) => return,
            Some(Class::Players) => {
                self.reading.count = Some(value);
                return;
            }
            _ => {}
        }
        let next_is_name = self.segments.get(at + 1).is_some_and(|s| matches!(s.label, Label::Name(_)));
        let starts_anew = token.gap.lists() || matches!(before, Some(Class::Doubling | Class::And));
        if !self.reading.named.is_empty() && next_is_name && starts_anew {
            self.ahead.push(value);
            return;
        }
        match before {
            Some(Class::Desk) => return self.divide(DivisionKind::Desk, Some(value)),
            Some(Class::Divisi) => return self.divide(DivisionKind::Divisi, Some(value)),
            Some(Class::ACount) => {
                let divided = self.segments[..at].iter().rev().skip_while(|s| s.class() == Some(Class::ACount));
                if divided.into_iter().next().and_then(Segment::class) == Some(Class::Divisi) {
                    return self.divide(DivisionKind::Divisi, Some(value));
                }
                self.reading.count = Some(value);
                return;
            }
            _ => {}
        }
        // "1. Pult", but not the I of "Violin I, desk 1".
        let own_number = self.segments.get(at + 2).is_some_and(|s| matches!(s.label, Label::Number(_)));
        if self.class_after(at) == Some(Class::Desk) && token.is_ordinal() && !own_number {
            return self.divide(DivisionKind::Desk, Some(value));
        }
        let named = self.reading.named.len();
        // "Trumpet 1 (2)": a bracketed number after the part's own is the staff.
        if named > 0 && token.gap.open && !self.numbers().is_empty() {
            self.reading.staff = Some(StaffLabel::Number(value));
            return;
        }
        let plain = named == 0 && !token.is_ordinal();
        let follows_number = previous.is_some_and(|before| before + 1 == at);
        if plain && !follows_number && self.reading.leading.is_none() && self.numbers().is_empty() {
            self.reading.leading = Some(value);
            return;
        }
        if let Some(leading) = self.reading.leading.filter(|_| named == 0) {
            // "1, 2 Horns": two numbers, so neither is a count.
            self.reading.leading = None;
            self.reading.loose_numbers.insert(0, leading);
        }
        let range = dash && follows_number;
        let numbers = self.numbers();
        match numbers.last().copied() {
            Some(last) if range && value > last && value - last <= LONGEST_NUMBER_RANGE => {
                numbers.extend(last + 1..=value);
            }
            _ if numbers.contains(&value) => {}
            _ => numbers.push(value),
        }
    }

    fn word(&mut self, at: usize, class: Class, value: u16) {
        match class {
            Class::Ordinal if self.class_after(at) == Some(Class::Desk) => self.divide(DivisionKind::Desk, Some(value)),
            Class::Ordinal => {
                let numbers = self.numbers();
                if !numbers.contains(&value) {
                    numbers.push(value);
                }
            }
            Class::Count if self.class_after(at) == Some(Class::DivisiParts) => {
                self.divide(DivisionKind::Divisi, Some(value));
            }
            Class::Count => self.reading.count = Some(value),
            Class::Solo => self.divide(DivisionKind::Solo, None),
            Class::Tutti => self.divide(DivisionKind::Tutti, None),
            Class::Others => self.divide(DivisionKind::Others, None),
            Class::Divisi => self.divide(DivisionKind::Divisi, None),
            Class::Unison => self.divide(DivisionKind::Unison, None),
            Class::Desk => self.divide(DivisionKind::Desk, None),
            Class::Chorus => self.divide(DivisionKind::Chorus, None),
            Class::RightHand => self.reading.staff = Some(StaffLabel::RightHand),
            Class::LeftHand => self.reading.staff = Some(StaffLabel::LeftHand),
            Class::UpperStaff => self.reading.staff = Some(StaffLabel::Upper),
            Class::LowerStaff => self.reading.staff = Some(StaffLabel::Lower),
            Class::Pedal => self.reading.staff = Some(StaffLabel::Pedal),
            Class::Manual => self.reading.staff = Some(StaffLabel::Manual),
            Class::Doubling => self.change = true,
            _ => {}
        }
    }

    /// "Chorus: Soprano" is the sopranos of a choir, not a choir and a soprano.
    fn settle_choir(&mut self) {
        let choir = |item: &Instrument| item.section == Section::Choirs;
        let voice = |item: &Instrument| item.family == Family::Voice && item.section != Section::Choirs;
        let [first, second] = self.reading.named.as_slice() else { return };
        let keep = if self.all_in(first, choir) && self.any_in(second, voice) {
            1
        } else if self.all_in(second, choir) && self.any_in(first, voice) {
            0
        } else {
            return;
        };
        let numbers = if keep == 1 { first.numbers.clone() } else { Vec::new() };
        let mut kept = self.reading.named.swap_remove(keep);
        kept.candidates.retain(|c| voice(&self.catalogue.all()[usize::from(c.instrument)]));
        kept.numbers.extend(numbers);
        self.reading.named = vec![kept];
        self.divide(DivisionKind::Chorus, None);
    }
}

impl Named {
    pub fn relation(&self) -> AlsoRelation {
        if self.doubles { AlsoRelation::ChangesTo } else { AlsoRelation::Shares }
    }
}
