//! What a printed key is, and which transposition of the catalogue it means.

use super::Clues;
use super::interpret::Reading;
use super::lexicon::Languages;
use super::points::offers;
use super::reason::{Reason, ReasonKind};
use super::segment::KeyMark;
use crate::catalogue::{Instrument, Language, Transposition};
use crate::family::Family;
use crate::key::{Key, KeyName, Step};

/// What a printed key is, now that the instrument is known.
///
/// A bare B is B flat in German and in Italian scores of German houses, B natural in English. In order of trust: the
/// file's own transposition, the keys in which the instrument is usual, the other names of the score, and the language
/// of this name.
pub(crate) fn settle_key(
    mark: KeyMark,
    item: &Instrument,
    languages: Languages,
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
    let continental = languages.has(Language::German) || languages.has(Language::Italian) || other_words;
    let is_flat = if languages.has(Language::English) { mark.continental && continental } else { true };
    key(if is_flat { flat } else { natural })
}

pub(crate) fn key_reason(mark: Option<&KeyMark>, key: Option<&Key>, item: &Instrument) -> Option<Reason> {
    let (mark, key) = mark.zip(key)?;
    if !mark.bare_b || item.id == "timpani" {
        return None;
    }
    let meaning = if key.name.alter < 0 { "B flat" } else { "B natural" };
    Some(Reason::new(ReasonKind::Key, format!("The key “B” is read as {meaning}.")))
}

/// The catalogue's transposition that name and file agree on.
pub(crate) fn settle_transposition(
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
