//! Settling on an instrument: the name's candidates weighed by the points of every clue (`points`), then narrowed
//! (`narrow`) and keyed (`keys`); without a name, a `fallback`.
//!
//! Confidence is the quality of the name, less what was not understood, less when the runner-up is close (a lead under
//! 0.3 points: times 0.6; under 1: times 0.8), less when the sound disagrees (times 0.85).

use super::fallback::fallback;
use super::interpret::{Named, Reading, interpret};
use super::keys::{key_reason, settle_key, settle_transposition};
use super::lexicon::{Languages, letters_of, lexicon};
use super::narrow::{narrow_by_key, narrow_by_sound, narrow_by_transposition, sound_agreement};
use super::points::{Context, clue_points, offers_key, semitones_outside};
use super::reason::{Reason, ReasonKind, list};
use super::segment::{Candidate, Style, key_within, segment};
use super::token::{Token, tokenise};
use super::{Also, Clues, Recognition};
use crate::catalogue::{Catalogue, Instrument, Language, catalogue};
use crate::data::ambiguous_rank;
use crate::family::Family;
use crate::key::{Key, KeyName};

fn instrument(catalogue: &'static Catalogue, at: u16) -> &'static Instrument {
    &catalogue.all()[usize::from(at)]
}

/// A candidate with its points.
struct Scored {
    item: &'static Instrument,
    candidate: Candidate,
    points: f32,
}

fn score(named: &Named, parsed: &Parsed<'_>, clues: &Clues<'_>, context: &Context) -> Vec<Scored> {
    let catalogue = catalogue();
    let reading = &parsed.reading;
    let tokens = &parsed.tokens[named.tokens.0..named.tokens.1];
    let letters = &letters_of(tokens);
    let spelt = &spelling(parsed.text, tokens);
    let mut scored: Vec<Scored> = named
        .candidates
        .iter()
        .map(|candidate| {
            let item = instrument(catalogue, candidate.instrument);
            let mut points = candidate.quality * 10.0 + clue_points(item, clues, context);
            if let Some(rank) = ambiguous_rank(spelt, letters, &item.id) {
                points -= 0.6 * f32::from(rank);
            }
            if let Some(mark) = named.keys.first().filter(|_| item.family != Family::Percussion) {
                let flat = KeyName::new(mark.name.step, -1);
                let offered = offers_key(item, mark.name) || (mark.bare_b && offers_key(item, flat));
                points += if offered { 0.6 } else { -0.8 };
            }
            if candidate.plural && reading.leading.is_some_and(|n| n > 1) {
                points += 0.3;
            }
            if let Some(language) = clues.language.or(context.language)
                && candidate.languages.has(language)
            {
                points += 0.8;
            }
            for languages in &reading.languages {
                if candidate.languages.iter().any(|language| languages.has(language)) {
                    points += 0.4;
                }
            }
            Scored { item, candidate: *candidate, points }
        })
        .collect();
    // Equal points fall to score order, so that the answer never depends on the order of a table.
    scored.sort_by(|a, b| b.points.total_cmp(&a.points).then(a.item.order.cmp(&b.item.order)));
    scored
}

/// Where a name was found.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Field {
    Name,
    InstrumentName,
    Abbreviation,
}

/// The lower-case letters of a name with their accents: "Bässe" and "basse" are two words.
fn spelling(text: &str, tokens: &[Token]) -> String {
    let letters = tokens.iter().filter_map(|token| text.get(token.start..token.end)).flat_map(str::chars);
    letters.filter(|c| c.is_alphabetic()).flat_map(char::to_lowercase).collect()
}

struct Parsed<'a> {
    field: Field,
    text: &'a str,
    tokens: Vec<Token>,
    reading: Reading,
}

/// Bytes of a name that are read: no score prints a longer one, and a hostile file must not cost time.
const LONGEST_TEXT: usize = 400;

fn parse(field: Field, text: &str) -> Parsed<'_> {
    let text = &text[..text.floor_char_boundary(LONGEST_TEXT)];
    let tokens = lexicon().split_compounds(tokenise(text));
    let style = if field == Field::Abbreviation { Style::Abbreviation } else { Style::Name };
    let segments = segment(lexicon(), &tokens, style);
    let reading = interpret(catalogue(), lexicon(), &tokens, &segments);
    Parsed { field, text, tokens, reading }
}

/// Recognises one part in its context.
pub(crate) fn recognise(clues: &Clues<'_>, context: &Context) -> Recognition {
    let first = parse(Field::Name, clues.name);
    if !first.reading.named.is_empty() {
        return by_name(first, clues, context);
    }
    for (field, text) in [(Field::InstrumentName, clues.instrument_name), (Field::Abbreviation, clues.abbreviation)] {
        let mut other = parse(field, text);
        if other.reading.named.is_empty() {
            continue;
        }
        // The numbers and the rest still come from the name, when it has them.
        let reading = &mut other.reading;
        if reading.named[0].numbers.is_empty() {
            reading.named[0].numbers = first.reading.loose_numbers.clone();
            reading.named[0].numbers.extend(first.reading.leading);
        }
        reading.division = first.reading.division.or(reading.division);
        reading.staff = first.reading.staff.or(reading.staff);
        return by_name(other, clues, context);
    }
    by_other_clues(&first, clues, context)
}

fn quote(parsed: &Parsed<'_>, named: &Named) -> String {
    let (from, to) = named.tokens;
    let span = &parsed.tokens[from..to];
    match (span.first(), span.last()) {
        (Some(first), Some(last)) => {
            let stop = if last.dotted { 1 } else { 0 };
            let text = parsed.text.get(first.start..last.end + stop).unwrap_or(parsed.text);
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        }
        _ => parsed.text.trim().to_owned(),
    }
}

fn by_name(parsed: Parsed<'_>, clues: &Clues<'_>, context: &Context) -> Recognition {
    let catalogue = catalogue();
    let reading = &parsed.reading;
    let named = &reading.named[0];
    let scored = score(named, &parsed, clues, context);
    let best = &scored[0];
    let mut item = best.item;
    let mut reasons = Vec::new();
    let quoted = quote(&parsed, named);
    reasons.push(name_reason(&parsed, &quoted, best));

    let mut confidence = best.candidate.quality.min(0.99);
    let words = reading.read_words + reading.unread_words;
    if reading.unread_words > 0 && words > 0 {
        let unread = f32::from(u8::try_from(reading.unread_words).unwrap_or(u8::MAX));
        let words = f32::from(u8::try_from(words).unwrap_or(u8::MAX));
        confidence *= 1.0 - 0.4 * unread / words;
    }
    match parsed.field {
        Field::Name => {}
        Field::InstrumentName => confidence *= 0.8,
        Field::Abbreviation => confidence *= 0.85,
    }
    let rivals: Vec<&Scored> = scored[1..].iter().filter(|other| best.points - other.points < 1.5).collect();
    if let Some(second) = rivals.first() {
        let lead = best.points - second.points;
        if lead < 0.3 {
            confidence *= 0.6;
        } else if lead < 1.0 {
            confidence *= 0.8;
        }
        let names: Vec<String> = rivals.iter().map(|other| other.item.name().to_owned()).collect();
        reasons.push(Reason::new(ReasonKind::Ambiguity, format!("“{quoted}” may also mean {}.", list(&names, "or"))));
        if context.above.is_some_and(|f| f == item.family) || context.below.is_some_and(|f| f == item.family) {
            reasons.push(Reason::new(ReasonKind::Context, format!("The parts beside it are {} too.", item.family)));
        }
    }

    // What the name leaves open, the key, the sound and the transposition narrow.
    let bare = context.bare_b_is_flat;
    let mut marks = named.keys.clone();
    if marks.is_empty() && best.candidate.quality > 0.95 {
        let span = &parsed.tokens[named.tokens.0..named.tokens.1];
        marks.extend(key_within(lexicon(), span).filter(|mark| offers_key(item, mark.name)));
    }
    let keys: Vec<Key> =
        marks.iter().map(|mark| settle_key(*mark, item, best.candidate.languages, reading, clues, bare)).collect();
    if let Some(narrowed) = narrow_by_key(catalogue, item, &keys, clues) {
        let why = format!("A {} in {} is the {}.", item.name(), keys[0].name, narrowed.name());
        reasons.push(Reason::new(ReasonKind::Key, why));
        item = narrowed;
    }
    if let Some(narrowed) = narrow_by_sound(catalogue, item, clues) {
        let why = format!("The sound {} narrows it to the {}.", clues.sound_id, narrowed.name());
        reasons.push(Reason::new(ReasonKind::Sound, why));
        item = narrowed;
    } else if let Some(narrowed) = narrow_by_transposition(catalogue, item, &keys, clues) {
        let why = format!("The transposition is that of the {}, not of the {}.", narrowed.name(), item.name());
        reasons.push(Reason::new(ReasonKind::Transposition, why));
        item = narrowed;
    }
    confidence *= sound_agreement(catalogue, item, clues, &mut reasons);
    if let Some(reason) = key_reason(marks.first(), keys.first(), item) {
        reasons.push(reason);
    }
    let transposition = settle_transposition(item, &keys, clues, &mut reasons);
    if let Some(outside) = semitones_outside(item, clues).filter(|n| *n > 0) {
        reasons.push(Reason::new(
            ReasonKind::Compass,
            format!("Its notes go {outside} semitones beyond the outer compass of the {}.", item.name()),
        ));
    }
    if reading.unread_words > 0 {
        reasons.push(Reason::new(ReasonKind::Unknown, format!("{} of its words were not understood.", reading.unread_words)));
    }

    let mut numbers = named.numbers.clone();
    let mut count = reading.count;
    if let Some(leading) = reading.leading {
        // "1 kleine Flöte", "2 Fagotti", "2 Fl. picc." count players; "2 Violine" numbers the part.
        if leading == 1 || best.candidate.plural || best.candidate.abbreviation || !plural_differs(item, best) {
            count = count.or(Some(leading));
        } else {
            numbers.insert(0, leading);
        }
    }
    let others = reading.named[1..].iter().map(|other| also(other, &parsed, reading, item, clues, context));
    // "Alto (Contralto)" says the same thing twice.
    let also = others.filter(|other| other.instrument.id != item.id || !other.numbers.is_empty()).collect();
    Recognition {
        instrument: item,
        transposition,
        keys,
        numbers,
        count,
        division: reading.division,
        staff: reading.staff,
        also,
        alternatives: rivals.iter().map(|other| other.item).filter(|other| other.id != item.id).collect(),
        language: only_language(best.candidate.languages, reading),
        confidence,
        reasons,
        fallback: false,
    }
}

/// Whether some language of the name tells one instrument from several.
fn plural_differs(item: &Instrument, best: &Scored) -> bool {
    best.candidate.languages.iter().any(|language| {
        let names = item.names(language);
        names.singular != names.plural
    })
}

fn only_language(languages: Languages, reading: &Reading) -> Option<Language> {
    let mut left: Vec<Language> = languages.iter().collect();
    for words in &reading.languages {
        if left.iter().any(|language| words.has(*language)) {
            left.retain(|language| words.has(*language));
        }
    }
    match left.as_slice() {
        [one] => Some(*one),
        _ => None,
    }
}

fn name_reason(parsed: &Parsed<'_>, quoted: &str, best: &Scored) -> Reason {
    let languages: Vec<String> = best.candidate.languages.iter().map(|l| l.to_string()).collect();
    let what = if best.candidate.abbreviation {
        "abbreviation"
    } else if best.candidate.plural {
        "plural"
    } else {
        "name"
    };
    let of = best.item.name();
    let field = match parsed.field {
        Field::Name => "",
        Field::InstrumentName => " (the part's instrument name)",
        Field::Abbreviation => " (the part's abbreviation)",
    };
    let languages = if languages.len() == Language::ALL.len() { "usual".to_owned() } else { list(&languages, "and") };
    let sentence = if best.candidate.quality > 0.95 {
        format!("“{quoted}”{field} is the {languages} {what} of the {of}.")
    } else if best.candidate.quality > 0.78 {
        format!("“{quoted}”{field} reads as a form of the {languages} {what} of the {of}.")
    } else {
        format!("“{quoted}”{field} is nearly the {languages} {what} of the {of}.")
    };
    Reason::new(ReasonKind::Name, sentence)
}

fn also(
    other: &Named,
    parsed: &Parsed<'_>,
    reading: &Reading,
    first: &'static Instrument,
    clues: &Clues<'_>,
    context: &Context,
) -> Also {
    // The clues of the file speak for the first instrument; here the first instrument is the clue.
    let near = Context { above: Some(first.family), below: Some(first.family), ..*context };
    let none = Clues { language: clues.language, ..Clues::default() };
    let mut scored = score(other, parsed, &none, &near);
    let best = scored.swap_remove(0);
    let bare = context.bare_b_is_flat;
    let keys =
        other.keys.iter().map(|mark| settle_key(*mark, best.item, best.candidate.languages, reading, &none, bare)).collect();
    Also { instrument: best.item, keys, numbers: other.numbers.clone(), relation: other.relation() }
}

/// Falls back on everything but the name.
fn by_other_clues(parsed: &Parsed<'_>, clues: &Clues<'_>, context: &Context) -> Recognition {
    let catalogue = catalogue();
    let text = parsed.text.trim();
    let mut reasons = vec![Reason::new(
        ReasonKind::Unknown,
        if text.is_empty() {
            "The part has no name.".to_owned()
        } else {
            format!("“{}” names no instrument we know.", text.split_whitespace().collect::<Vec<_>>().join(" "))
        },
    )];
    let reading = &parsed.reading;
    let (item, confidence, reason) = fallback(catalogue, reading.staff, clues, context);
    reasons.push(reason);
    let keys: Vec<Key> = reading.loose_keys.iter().map(|mark| Key { name: mark.name, octave: mark.octave }).collect();
    let transposition = settle_transposition(item, &[], clues, &mut reasons);
    let mut numbers = reading.loose_numbers.clone();
    numbers.extend(reading.leading);
    Recognition {
        instrument: item,
        transposition,
        keys,
        numbers,
        count: reading.count,
        division: reading.division,
        staff: reading.staff,
        also: Vec::new(),
        alternatives: Vec::new(),
        language: None,
        confidence,
        reasons,
        fallback: true,
    }
}
