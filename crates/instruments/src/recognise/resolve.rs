//! Settling on an instrument with every clue.
//!
//! | clue | points |
//! |---|---|
//! | quality of the name, 0 to 1 | times 10 |
//! | rank in `ambiguous.csv` | -0.6 a place |
//! | how common the instrument is | +0.05 a degree (0 to 9) |
//! | the standard sound is its own, of a kin, of a stranger | +3, +1.5, -0.7 |
//! | MIDI program is its own or not (program 1 is what files have when nobody chose) | +0.8, -0.2 |
//! | MIDI percussion channel | +1 for percussion, -1 for others |
//! | clef the commonest, usual or neither | +0.5, +0.25, -0.5 |
//! | notes within the outer compass | +0.5; outside -0.25 a semitone, at most -3 |
//! | transposition offered or not | +1, -1 |
//! | printed key offered or not | +0.6, -0.8 |
//! | plural name after a number of players | +0.3 |
//! | language of the score's other names | +0.8 |
//! | family of the parts above and below | +0.7 each |
//!
//! Confidence is the quality of the name, less what was not understood, less when the runner-up is close (a lead under
//! 0.3 points: times 0.6; under 1: times 0.8), less when the sound disagrees (times 0.85).

use super::interpret::{Named, Reading, interpret};
use super::lexicon::{Languages, letters_of, lexicon};
use super::reason::{Reason, ReasonKind, list};
use super::segment::{Candidate, KeyMark, Style, key_within, segment};
use super::token::{Token, tokenise};
use super::{Also, Clues, Interval, Recognition};
use crate::catalogue::{Catalogue, Clef, Instrument, Language, Transposition, catalogue};
use crate::data::ambiguous_rank;
use crate::family::Family;
use crate::key::{Key, KeyName, Step};

/// What the rest of the score adds.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Context {
    pub language: Option<Language>,
    /// Families of the parts above and below.
    pub above: Option<Family>,
    pub below: Option<Family>,
    /// Whether a bare "B" is B flat, where other names of the score settle it.
    pub bare_b_is_flat: Option<bool>,
}

fn instrument(catalogue: &'static Catalogue, at: u16) -> &'static Instrument {
    &catalogue.all()[usize::from(at)]
}

/// Whether two instruments are the same, one a kind of the other, or kinds of one.
fn kin(a: &Instrument, b: &Instrument) -> bool {
    a.is_kind_of(&b.id) || b.is_kind_of(&a.id) || (a.kind_of.is_some() && a.kind_of == b.kind_of)
}

fn offers(instrument: &Instrument, interval: Interval) -> Option<&Transposition> {
    instrument
        .transpositions
        .iter()
        .find(|t| i16::from(t.semitones) == interval.semitones() && i16::from(t.steps) == interval.steps())
}

fn offers_key(instrument: &Instrument, name: KeyName) -> bool {
    instrument.transpositions.iter().any(|t| t.key == name)
}

/// Points of the clues other than the name.
fn clue_points(item: &Instrument, clues: &Clues<'_>, context: &Context) -> f32 {
    let mut points = f32::from(item.weight) * 0.05;
    let catalogue = catalogue();
    if !clues.sound_id.is_empty() {
        let sounding = catalogue.by_sound(clues.sound_id);
        points += if item.sounds.iter().any(|s| s == clues.sound_id) {
            3.0
        } else if sounding.iter().any(|other| kin(item, other)) {
            1.5
        } else if sounding.is_empty() {
            0.0
        } else {
            -0.7
        };
    }
    if let Some(program) = clues.midi_program.filter(|p| *p != 1) {
        points += if item.program == Some(program) { 0.8 } else { -0.2 };
    }
    if clues.midi_channel10 {
        points += if item.family == Family::Percussion { 1.0 } else { -1.0 };
    }
    if let Some(clef) = clues.clef.filter(|_| !item.clefs.is_empty()) {
        points += match item.clefs.iter().position(|usual| *usual == clef) {
            Some(0) => 0.5,
            Some(_) => 0.25,
            None => -0.5,
        };
    }
    if let Some(interval) = clues.transposition.filter(|i| i.semitones() != 0 || i.steps() != 0) {
        points += if offers(item, interval).is_some() { 1.0 } else { -1.0 };
    }
    points += compass_points(item, clues);
    for family in [context.above, context.below].into_iter().flatten() {
        if family == item.family {
            points += 0.7;
        }
    }
    points
}

/// Semitones by which the part leaves the outer compass of an instrument; `None` when either is unknown.
fn semitones_outside(item: &Instrument, clues: &Clues<'_>) -> Option<u8> {
    let played = clues.written_range?;
    let transposition = match clues.transposition {
        Some(interval) => offers(item, interval)?,
        None => item.default_transposition(),
    };
    let compass = item.written(transposition)?.extreme;
    let below = compass.low().saturating_sub(played.low());
    let above = played.high().saturating_sub(compass.high());
    Some(below.saturating_add(above))
}

fn compass_points(item: &Instrument, clues: &Clues<'_>) -> f32 {
    match semitones_outside(item, clues) {
        None => 0.0,
        Some(0) => 0.5,
        Some(outside) => -(f32::from(outside) * 0.25).min(3.0),
    }
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

fn parse(field: Field, text: &str) -> Parsed<'_> {
    let tokens = tokenise(text);
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
    let keys: Vec<Key> = marks.iter().map(|mark| settle_key(*mark, item, best, reading, clues, bare)).collect();
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
    let also = reading.named[1..].iter().map(|other| also(other, &parsed, reading, item, clues, context)).collect();
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
    let keys = other.keys.iter().map(|mark| settle_key(*mark, best.item, &best, reading, &none, bare)).collect();
    Also { instrument: best.item, keys, numbers: other.numbers.clone(), relation: other.relation() }
}

/// What a printed key is, now that the instrument is known.
///
/// A bare B is B flat in German and in Italian scores of German houses, B natural in English. In order of trust: the
/// file's own transposition, the keys in which the instrument is usual, the other names of the score, and the language
/// of this name.
fn settle_key(
    mark: KeyMark,
    item: &Instrument,
    best: &Scored,
    reading: &Reading,
    clues: &Clues<'_>,
    bare_b_is_flat: Option<bool>,
) -> Key {
    let key = |name| Key { name, octave: mark.octave };
    if !mark.bare_b {
        return key(mark.name);
    }
    let (natural, flat) = (KeyName::new(Step::B, 0), KeyName::new(Step::B, -1));
    if let Some(t) = clues.transposition.and_then(|interval| offers(item, interval))
        && (t.key == natural || t.key == flat)
    {
        return key(t.key);
    }
    let usual = |name| item.transpositions.iter().any(|t| t.key == name && !t.rare);
    match (usual(natural), usual(flat)) {
        (false, true) => return key(flat),
        (true, false) => return key(natural),
        _ => {}
    }
    if let Some(is_flat) = bare_b_is_flat {
        return key(if is_flat { flat } else { natural });
    }
    let other_words = reading.languages.iter().any(|l| !l.has(Language::English));
    let languages = best.candidate.languages;
    let continental = languages.has(Language::German) || languages.has(Language::Italian) || other_words;
    let is_flat = if languages.has(Language::English) { mark.continental && continental } else { true };
    key(if is_flat { flat } else { natural })
}

fn key_reason(mark: Option<&KeyMark>, key: Option<&Key>, item: &Instrument) -> Option<Reason> {
    let (mark, key) = mark.zip(key)?;
    if !mark.bare_b || item.id == "timpani" {
        return None;
    }
    let meaning = if key.name.alter < 0 { "B flat" } else { "B natural" };
    Some(Reason::new(ReasonKind::Key, format!("The key “B” is read as {meaning}.")))
}

/// The kinds of an instrument.
fn kinds<'a>(catalogue: &'static Catalogue, item: &'a Instrument) -> impl Iterator<Item = &'static Instrument> + 'a {
    catalogue.all().iter().filter(move |other| other.kind_of.as_deref() == Some(item.id.as_str()))
}

/// "Clarinet in E flat" is another instrument than the clarinet: a key that only a kind of it has says so.
fn narrow_by_key(
    catalogue: &'static Catalogue,
    item: &'static Instrument,
    keys: &[Key],
    clues: &Clues<'_>,
) -> Option<&'static Instrument> {
    let key = keys.first()?;
    if offers_key(item, key.name) || item.family == Family::Percussion {
        return None;
    }
    let fits = |other: &&Instrument| {
        other.build == item.build
            && offers_key(other, key.name)
            && clues.transposition.is_none_or(|interval| offers(other, interval).is_some())
    };
    kinds(catalogue, item).filter(fits).max_by_key(|other| other.weight)
}

/// A name for several sizes is narrowed by a sound that names one of them. Early builds are not inferred from a sound:
/// files use those sounds for any part with a crook.
fn narrow_by_sound(catalogue: &'static Catalogue, item: &'static Instrument, clues: &Clues<'_>) -> Option<&'static Instrument> {
    if !item.generic || clues.sound_id.is_empty() || item.sounds.iter().any(|s| s == clues.sound_id) {
        return None;
    }
    kinds(catalogue, item).find(|other| other.build == item.build && other.sound() == Some(clues.sound_id))
}

/// A trumpet in B flat that sounds a ninth lower is a bass trumpet.
fn narrow_by_transposition(
    catalogue: &'static Catalogue,
    item: &'static Instrument,
    keys: &[Key],
    clues: &Clues<'_>,
) -> Option<&'static Instrument> {
    let interval = clues.transposition.filter(|i| i.semitones() != 0)?;
    if offers(item, interval).is_some() || item.transpositions.len() == 1 {
        return None;
    }
    let fits = |other: &&Instrument| {
        other.build == item.build && offers(other, interval).is_some_and(|t| keys.first().is_none_or(|key| key.name == t.key))
    };
    kinds(catalogue, item).filter(fits).max_by_key(|other| other.weight)
}

/// Adds what the sound says; returns a factor of confidence.
fn sound_agreement(catalogue: &'static Catalogue, item: &Instrument, clues: &Clues<'_>, reasons: &mut Vec<Reason>) -> f32 {
    if clues.sound_id.is_empty() || reasons.iter().any(|r| r.kind == ReasonKind::Sound) {
        return 1.0;
    }
    let sounding = catalogue.by_sound(clues.sound_id);
    if sounding.iter().any(|other| kin(item, other)) {
        reasons.push(Reason::new(ReasonKind::Sound, format!("The sound {} agrees.", clues.sound_id)));
        1.0
    } else if let Some(other) = sounding.first() {
        reasons.push(Reason::new(
            ReasonKind::Sound,
            format!("The sound {} would be a {}; the name counts for more.", clues.sound_id, other.name()),
        ));
        0.85
    } else {
        1.0
    }
}

/// The catalogue's transposition that name and file agree on.
fn settle_transposition(
    item: &'static Instrument,
    keys: &[Key],
    clues: &Clues<'_>,
    reasons: &mut Vec<Reason>,
) -> Option<&'static Transposition> {
    // Drums are tuned, they do not transpose.
    let key = keys.first().filter(|_| item.family != Family::Percussion);
    let in_key = |t: &&Transposition| key.is_none_or(|key| key.name == t.key);
    // An octave word picks the crook that has it, else the one that exists in no other octave.
    let octave = key.and_then(|key| key.octave);
    let named = item.transpositions.iter().filter(in_key).filter(|t| octave.is_some() && t.octave == octave);
    let open = item.transpositions.iter().filter(in_key).filter(|t| octave.is_none() || t.octave.is_none());
    let by_key = || named.clone().chain(open.clone());
    match clues.transposition {
        Some(interval) => {
            let found = by_key()
                .find(|t| i16::from(t.semitones) == interval.semitones() && i16::from(t.steps) == interval.steps())
                .or_else(|| offers(item, interval));
            match (found, key) {
                (Some(t), Some(key)) if t.key != key.name => reasons.push(Reason::new(
                    ReasonKind::Transposition,
                    format!("The file transposes as {t}, although the name says {key}."),
                )),
                (None, _) => reasons.push(Reason::new(
                    ReasonKind::Transposition,
                    format!("The file transposes by {:+} semitones, which the {} does not.", interval.semitones(), item.name()),
                )),
                _ => {}
            }
            found
        }
        None => {
            let mut found = by_key();
            let first = found.next();
            if let (Some(t), Some(other), Some(key)) = (first, found.next(), key)
                && key.octave.is_none()
                && t.octave.is_some()
                && t.octave != other.octave
            {
                reasons.push(Reason::new(
                    ReasonKind::Transposition,
                    format!("Neither name nor file says which octave; taken as {t}."),
                ));
            }
            first
        }
    }
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
    let (item, confidence, reason) = fallback(catalogue, clues, context);
    reasons.push(reason);
    let reading = &parsed.reading;
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

fn fallback(catalogue: &'static Catalogue, clues: &Clues<'_>, context: &Context) -> (&'static Instrument, f32, Reason) {
    let best_of = |list: Vec<&'static Instrument>| {
        list.into_iter().max_by(|a, b| {
            let points = |item: &Instrument| clue_points(item, clues, context);
            points(a).total_cmp(&points(b)).then(b.order.cmp(&a.order))
        })
    };
    if let Some(item) = best_of(catalogue.by_sound(clues.sound_id)).filter(|_| !clues.sound_id.is_empty()) {
        let why = format!("Its sound {} is that of the {}.", clues.sound_id, item.name());
        return (item, 0.85, Reason::new(ReasonKind::Sound, why));
    }
    if let Some(item) = catalogue.by_kern(clues.kern_code) {
        let why = format!("Its Humdrum code *I{} is that of the {}.", clues.kern_code, item.name());
        return (item, 0.9, Reason::new(ReasonKind::KernCode, why));
    }
    // A longer sound than the standard has, or one of a kind we do not keep: the nearest one above it.
    let mut sound = clues.sound_id;
    while let Some((shorter, _)) = sound.rsplit_once('.') {
        if let Some(item) = best_of(catalogue.by_sound(shorter)) {
            let why = format!("Its sound {} is a kind of {}.", clues.sound_id, item.name());
            return (item, 0.6, Reason::new(ReasonKind::Sound, why));
        }
        sound = shorter;
    }
    if clues.midi_channel10
        && let Some(item) = catalogue.by_id("percussion")
    {
        let why = "It plays on the MIDI percussion channel.";
        return (item, 0.6, Reason::new(ReasonKind::Midi, why));
    }
    if let Some((program, item)) = clues.midi_program.filter(|p| *p != 1).and_then(|p| Some((p, catalogue.by_program(p)?))) {
        let why = format!("Its MIDI program {program} is the {}.", item.name());
        return (item, 0.55, Reason::new(ReasonKind::Midi, why));
    }
    if clues.clef == Some(Clef::Percussion)
        && let Some(item) = catalogue.by_id("percussion")
    {
        return (item, 0.5, Reason::new(ReasonKind::Clef, "It has a percussion clef."));
    }
    let piano = clues.midi_program.and_then(|p| catalogue.by_program(p));
    if clues.clef.is_some() || clues.written_range.is_some() || clues.transposition.is_some() {
        // Without a name only instruments that most scores have are worth a guess.
        let common = catalogue.all().iter().filter(|item| item.weight >= 8 && item.pitched).collect();
        if let Some(item) = best_of(common) {
            let mut rests = Vec::new();
            rests.extend(clues.clef.map(|clef| format!("clef {clef}")));
            rests.extend(clues.written_range.map(|range| format!("compass {range}")));
            rests.extend(clues.transposition.map(|i| format!("transposition {:+} semitones", i.semitones())));
            let why = format!("A guess from its {}.", list(&rests, "and"));
            let kind = if clues.written_range.is_some() { ReasonKind::Compass } else { ReasonKind::Clef };
            return (item, 0.25, Reason::new(kind, why));
        }
    }
    if let Some(item) = piano {
        let why = "Only its MIDI program 1 is known, which files have when nobody chose.";
        return (item, 0.2, Reason::new(ReasonKind::Midi, why));
    }
    // The catalogue always holds this row; its tests say so.
    let item = catalogue.by_id("unspecified").unwrap_or(&catalogue.all()[0]);
    (item, 0.0, Reason::new(ReasonKind::Unknown, "Nothing else is known about it."))
}
