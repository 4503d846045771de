//! Reading a row of tokens as names, keys, numbers and other words.
//!
//! One dynamic programme over the tokens finds the reading with the highest sum of points. The points are the whole
//! precedence among readings, so they stand together here:
//!
//! | reading of *n* tokens | points |
//! |---|---|
//! | a name of the catalogue | *n* + 0.3 (*n* - 1), times its quality: so "bass clarinet" beats "bass" and "clarinet" |
//! | a key | 0.95 a token; 0.6 where a letter is dotted or a note name lacks its "in" |
//! | a word with a meaning (solo, desk, primo ...) | 0.9 a token |
//! | a number | 0.8 |
//! | and, doubling | 0.5 |
//! | a word that tells a number from a count ("12-string", "4 hands") | 1.1 |
//! | article, placeholder and the like | 0.4; 0.9 a token in a phrase |
//! | anything else | 0 |
//! | a second name that nothing separates from the first | -0.5 |
//! | no name at all | -1 |
//!
//! The quality of a name is 1 when it is printed as the catalogue has it, 0.97 when cut into other words ("Bass-Klarinette";
//! 0.85 when that runs single letters together), 0.8
//! when a single letter lacks its full stop ("E Hn"), 0.9 in another order, 0.85 for an abbreviation the catalogue does
//! not list, 0.7 for a slip (0.55 in a word of less than seven letters). Abbreviations and slips are only tried when the exact reading
//! leaves a word unread or finds several names.

use super::lexicon::{Class, LONGEST_NAME, LONGEST_QUALIFIER, Languages, Lexicon, Qualifier, letters_of, likeness};
use super::token::{Sign, Token};
use crate::key::{KeyName, KeyOctave, Step};

/// An instrument that a run of tokens may name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Candidate {
    /// Position in the catalogue.
    pub instrument: u16,
    pub quality: f32,
    pub languages: Languages,
    pub plural: bool,
    pub abbreviation: bool,
}

/// A key as read, before the instrument settles what "B" means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct KeyMark {
    pub name: KeyName,
    pub octave: Option<KeyOctave>,
    /// A bare "B", which is B flat in German and B natural in English.
    pub bare_b: bool,
    /// "In" or "en" stood before it, or a hyphen after it ("B-Klarinette").
    pub continental: bool,
    /// An accidental or the word "natural" was printed.
    pub explicit: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Label {
    Name(Vec<Candidate>),
    Key(KeyMark),
    Number(u16),
    Word(Qualifier),
    Unknown,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Segment {
    pub start: usize,
    pub end: usize,
    pub label: Label,
}

impl Segment {
    pub fn class(&self) -> Option<Class> {
        match &self.label {
            Label::Word(qualifier) => Some(qualifier.class),
            _ => None,
        }
    }
}

/// How a name is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Style {
    /// A part name.
    Name,
    /// The abbreviation of a part name, where single letters often lack their full stops.
    Abbreviation,
}

/// Reads the tokens; the exact reading when it explains every word by one name ("Kl. Trommel" is not a clarinet and a
/// drum), else the one that allows abbreviations and slips.
pub(crate) fn segment(lexicon: &Lexicon, tokens: &[Token], style: Style) -> Vec<Segment> {
    let exact = best_reading(lexicon, tokens, style, false);
    let names = exact.iter().filter(|s| matches!(s.label, Label::Name(_))).count();
    let complete = names == 1 && exact.iter().all(|s| s.label != Label::Unknown);
    if complete { exact } else { best_reading(lexicon, tokens, style, true) }
}

/// A partial reading that ends before some token.
#[derive(Clone, Debug)]
struct Partial {
    points: f32,
    /// Where it came from: position and state.
    back: Option<(usize, usize)>,
    segment: Option<Segment>,
}

/// States: whether a name was read, and whether the last word was a conjunction.
fn state(named: bool, conjunction: bool) -> usize {
    usize::from(named) + 2 * usize::from(conjunction)
}

fn best_reading(lexicon: &Lexicon, tokens: &[Token], style: Style, loose: bool) -> Vec<Segment> {
    let mut table: Vec<[Option<Partial>; 4]> = vec![[const { None }; 4]; tokens.len() + 1];
    table[0][0] = Some(Partial { points: 0.0, back: None, segment: None });
    for at in 0..tokens.len() {
        let readings = readings_at(lexicon, tokens, at, style, loose);
        for from in 0..4 {
            let Some(so_far) = table[at][from].as_ref().map(|partial| partial.points) else { continue };
            let named = from & 1 == 1;
            let conjunction = from & 2 == 2;
            for (points, segment) in &readings {
                let mut points = so_far + points;
                let mut next = state(named, false);
                match &segment.label {
                    Label::Name(_) => {
                        if named && !conjunction && !tokens[at].gap.lists() {
                            points -= 0.5;
                        }
                        next = state(true, false);
                    }
                    Label::Word(q) if matches!(q.class, Class::And | Class::Doubling) => next = state(named, true),
                    _ => {}
                }
                let slot = &mut table[segment.end][next];
                if slot.as_ref().is_none_or(|old| points > old.points + 1e-6) {
                    *slot = Some(Partial { points, back: Some((at, from)), segment: Some(segment.clone()) });
                }
            }
        }
    }
    let last = &table[tokens.len()];
    let score = |at: usize| last[at].as_ref().map(|partial| partial.points - if at & 1 == 1 { 0.0 } else { 1.0 });
    let Some(mut at) = (0..4)
        .filter(|at| score(*at).is_some())
        .max_by(|a, b| score(*a).partial_cmp(&score(*b)).unwrap_or(std::cmp::Ordering::Equal))
    else {
        return Vec::new();
    };
    let mut position = tokens.len();
    let mut segments = Vec::new();
    while let Some(partial) = &table[position][at] {
        segments.extend(partial.segment.clone());
        let Some(back) = partial.back else { break };
        (position, at) = back;
    }
    segments.reverse();
    segments
}

fn readings_at(lexicon: &Lexicon, tokens: &[Token], at: usize, style: Style, loose: bool) -> Vec<(f32, Segment)> {
    let mut readings = Vec::new();
    let token = &tokens[at];
    let unknown = Segment { start: at, end: at + 1, label: Label::Unknown };
    readings.push((0.0, unknown));
    if let Some(value) = token.number() {
        readings.push((0.8, Segment { start: at, end: at + 1, label: Label::Number(value) }));
    }
    if !token.is_word() {
        return readings;
    }
    for end in at + 1..=tokens.len().min(at + LONGEST_QUALIFIER) {
        if end > at + 1 && !(tokens[end - 1].is_word() && tokens[end - 1].gap.joins()) {
            break;
        }
        for qualifier in lexicon.qualifiers(&letters_of(&tokens[at..end])) {
            let each = match qualifier.class {
                // These act only inside a key.
                Class::Flat | Class::Sharp | Class::Natural | Class::Basso | Class::Alto => continue,
                Class::KeyIn => 0.2,
                Class::And | Class::Doubling => 0.5,
                // "12-string", "4 hands"; without a number these are the strings and the hands themselves.
                Class::Hands if at > 0 && tokens[at - 1].number().is_some() => 1.1,
                Class::Hands => continue,
                // A phrase is surer than a word: "con sordino".
                Class::Noise | Class::Placeholder if end == at + 1 => 0.4,
                _ => 0.9,
            };
            let points = each * count(end - at);
            readings.push((points, Segment { start: at, end, label: Label::Word(*qualifier) }));
        }
    }
    if let Some((points, end, mark)) = key_at(lexicon, tokens, at) {
        readings.push((points, Segment { start: at, end, label: Label::Key(mark) }));
    }
    for end in at + 1..=tokens.len().min(at + LONGEST_NAME) {
        let span = &tokens[at..end];
        let last = &span[span.len() - 1];
        if !last.is_word() || last.sign == Some(Sign::Sharp) || (end > at + 1 && (last.gap.slash || last.gap.ampersand)) {
            break;
        }
        let candidates = names(lexicon, span, style, loose);
        let Some(best) = candidates.iter().map(|c| c.quality).reduce(f32::max) else { continue };
        let length = count(span.len());
        readings.push((best * (length + 0.3 * (length - 1.0)), Segment { start: at, end, label: Label::Name(candidates) }));
    }
    readings
}

/// Small counts as points.
fn count(n: usize) -> f32 {
    f32::from(u8::try_from(n).unwrap_or(u8::MAX))
}

/// Adds an instrument that an entry names, keeping the better of two ways of naming it.
fn add(lexicon: &Lexicon, found: &mut Vec<Candidate>, id: u32, quality: f32) {
    let entry = &lexicon.entries[id as usize];
    let candidate = Candidate {
        instrument: entry.instrument,
        quality,
        languages: entry.languages,
        plural: entry.plural,
        abbreviation: entry.abbreviation,
    };
    match found.iter_mut().find(|c| c.instrument == entry.instrument) {
        Some(old) if old.quality > quality + 1e-6 => {}
        Some(old) if quality > old.quality + 1e-6 => *old = candidate,
        Some(old) => {
            old.languages = old.languages.union(entry.languages);
            old.plural &= entry.plural;
            old.abbreviation &= entry.abbreviation;
        }
        None => found.push(candidate),
    }
}

/// Whether words may be read as one: "Englisch Horn" may; "Violin I" is not "violini", "Tr. I" no triangle, "Clar. in"
/// no clarino.
fn glues(lexicon: &Lexicon, span: &[Token]) -> bool {
    span.windows(2).all(|pair| {
        let ended = pair[0].dotted && pair[0].text.len() > 1 && pair[1].gap.space;
        !ended && pair[1].roman().is_none() && !lexicon.is_class(&pair[1], Class::KeyIn)
    })
}

/// The instruments a run of words may name.
fn names(lexicon: &Lexicon, span: &[Token], style: Style, loose: bool) -> Vec<Candidate> {
    let mut found: Vec<Candidate> = Vec::new();
    let letters = letters_of(span);
    let runs_on = span.iter().skip(1).all(|token| token.gap.joins());
    for id in lexicon.exact(&letters) {
        let entry = &lexicon.entries[*id as usize];
        let cut = entry.cut_as(span);
        let bracketed = cut && span.iter().zip(&entry.opens).skip(1).all(|(token, open)| token.gap.joins() || *open);
        if !(runs_on || bracketed) {
            continue;
        }
        let wants_stop = |(word, token): (&(String, bool), &Token)| word.1 && !token.dotted;
        if !cut && !glues(lexicon, span) {
            continue;
        }
        let quality = if !cut {
            if entry.has_letters() { 0.85 } else { 0.97 }
        } else if style == Style::Name && entry.words.iter().zip(span).any(wants_stop) {
            0.8
        } else {
            1.0
        };
        add(lexicon, &mut found, *id, quality);
    }
    if !found.is_empty() {
        return found;
    }
    let signs = span.iter().any(|token| token.sign.is_some());
    if span.len() > 1 && !signs && span.iter().skip(1).all(|token| !(token.gap.open || token.gap.close)) {
        let mut words: Vec<&str> = span.iter().map(|token| token.text.as_str()).collect();
        let quality = if runs_on { 0.9 } else { 0.8 };
        for id in lexicon.any_order(&mut words) {
            add(lexicon, &mut found, *id, quality);
        }
    }
    // A word we know is not a slip for another: "Pedal" is no harp, "Banda" no tape.
    let understood = span.len() == 1 && !lexicon.qualifiers(&letters).is_empty();
    if loose && runs_on && !signs && !understood && found.is_empty() {
        for (first, id) in lexicon.first_word_like(&span[0]) {
            let entry = &lexicon.entries[id as usize];
            if entry.words.len() != span.len() || entry.abbreviation {
                continue;
            }
            let mut rest = span[1..].iter().zip(&entry.words[1..]).map(|(token, (word, _))| likeness(token, word));
            if let Some(quality) = rest.try_fold(first, |least, q| Some(least.min(q?))) {
                add(lexicon, &mut found, id, quality);
            }
        }
        // A German compound cut in two and then cut short: "Bass-Klar.".
        let last = &span[span.len() - 1];
        if span.len() > 1 && letters.len() >= 5 && (last.dotted || style == Style::Abbreviation) && last.text.len() >= 2 {
            for id in lexicon.beginning(&letters) {
                if !lexicon.entries[id as usize].abbreviation {
                    add(lexicon, &mut found, id, 0.75);
                }
            }
        }
    }
    found
}

/// Note names of four languages; the flag says that the name also needs its "in" to be told from other words.
fn note_name(text: &str) -> Option<(KeyName, bool)> {
    let (step, alter, needs_in) = match text {
        "c" => (Step::C, 0, false),
        "d" => (Step::D, 0, false),
        "e" => (Step::E, 0, false),
        "f" => (Step::F, 0, false),
        "g" => (Step::G, 0, false),
        "a" => (Step::A, 0, false),
        "b" | "h" => (Step::B, 0, false),
        "bb" | "bflat" => (Step::B, -1, false),
        "eb" | "eflat" | "es" => (Step::E, -1, false),
        "ab" | "aflat" | "as" => (Step::A, -1, false),
        "db" | "dflat" | "des" => (Step::D, -1, false),
        "gb" | "gflat" | "ges" => (Step::G, -1, false),
        "ces" => (Step::C, -1, false),
        "fis" => (Step::F, 1, false),
        "cis" => (Step::C, 1, false),
        "gis" => (Step::G, 1, false),
        "dis" => (Step::D, 1, false),
        "do" | "ut" => (Step::C, 0, true),
        "re" => (Step::D, 0, true),
        "mi" => (Step::E, 0, true),
        "fa" => (Step::F, 0, true),
        "sol" => (Step::G, 0, true),
        "la" => (Step::A, 0, true),
        "si" => (Step::B, 0, true),
        "reb" => (Step::D, -1, true),
        "mib" => (Step::E, -1, true),
        "solb" => (Step::G, -1, true),
        "lab" => (Step::A, -1, true),
        "sib" => (Step::B, -1, true),
        _ => return None,
    };
    Some((KeyName::new(step, alter), needs_in))
}

/// Reads a key from a token on: "in F", "Bb (basso)", "en mi bémol", "in tief B", "E".
fn key_at(lexicon: &Lexicon, tokens: &[Token], start: usize) -> Option<(f32, usize, KeyMark)> {
    let is = |at: usize, class| tokens.get(at).is_some_and(|token: &Token| lexicon.is_class(token, class));
    let octave_word = |at: usize| {
        if is(at, Class::Basso) {
            Some(KeyOctave::Basso)
        } else if is(at, Class::Alto) {
            Some(KeyOctave::Alto)
        } else {
            None
        }
    };
    let mut at = start;
    let with_in = is(at, Class::KeyIn);
    if with_in {
        at += 1;
    }
    let mut octave = octave_word(at).filter(|_| with_in);
    if octave.is_some() {
        at += 1;
    }
    let token = tokens.get(at)?;
    let (mut name, needs_in) = note_name(&token.text)?;
    let original_capital = token.capitals || token.text.len() > 1;
    if token.is_letter() && !token.capitals && !with_in && !tokens[at].gap.open {
        return None;
    }
    // "CORNI I E II": the letter stands between two numbers.
    let number = |at: Option<usize>| at.and_then(|at| tokens.get(at)).is_some_and(|token| token.number().is_some());
    if token.is_letter() && !with_in && number(at.checked_sub(1)) && number(Some(at + 1)) {
        return None;
    }
    let mut explicit = name.alter != 0;
    let bare = name.alter == 0;
    let is_bare_b = token.text == "b";
    let letter_at = at;
    at += 1;
    match token.sign {
        Some(Sign::Flat) => (name.alter, explicit) = (-1, true),
        Some(Sign::Sharp) => (name.alter, explicit) = (1, true),
        None if bare => {
            let mark = tokens.get(at).filter(|next| !next.gap.lists());
            let after = |class| mark.is_some() && is(at, class);
            // "Si b": a lone b after a note name of the Romance languages is a flat.
            let lone_b = needs_in && mark.is_some_and(|next| next.text == "b");
            if after(Class::Flat) || lone_b {
                (name.alter, explicit) = (-1, true);
                at += 1;
            } else if after(Class::Sharp) {
                (name.alter, explicit) = (1, true);
                at += 1;
            } else if after(Class::Natural) {
                explicit = true;
                at += 1;
            }
        }
        None => {}
    }
    if octave.is_none() {
        let allowed = tokens.get(at).is_some_and(|next| !(next.gap.comma || next.gap.slash || next.gap.ampersand));
        // "in G alto" belongs to the key; "Eb alto saxophone" is settled by the points of the longer name.
        octave = octave_word(at).filter(|_| allowed);
        if octave.is_some() {
            at += 1;
        }
    }
    let hyphen = tokens.get(at).is_some_and(|next| next.gap.dash && !next.gap.space);
    let unsure = !with_in && ((token.is_letter() && token.dotted) || (needs_in && !explicit) || !original_capital);
    let each = if unsure { 0.6 } else { 0.95 };
    let points = each * count(at - start) + if with_in { 0.1 } else { 0.0 };
    let mark = KeyMark {
        name,
        octave,
        bare_b: is_bare_b && !explicit,
        continental: with_in || hyphen || tokens[letter_at].gap.open,
        explicit: explicit || token.text == "h",
    };
    Some((points, at, mark))
}

/// The key that is part of a name: "E-flat clarinet", "Tuba in F", "Es-Klarinette".
pub(crate) fn key_within(lexicon: &Lexicon, span: &[Token]) -> Option<KeyMark> {
    let whole = |at: usize| key_at(lexicon, span, at).filter(|(_, end, _)| span.len() > end - at);
    let dotted = |at: usize| span[at].is_letter() && span[at].dotted;
    (0..span.len()).filter(|at| !dotted(*at)).find_map(whole).map(|(_, _, mark)| mark)
}
