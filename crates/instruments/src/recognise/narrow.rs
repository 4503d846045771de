//! From the instrument a name gives to the kind of it that key, sound or transposition show.

use super::Clues;
use super::points::{kin, offers, offers_key};
use super::reason::{Reason, ReasonKind};
use crate::catalogue::{Catalogue, Instrument};
use crate::family::Family;
use crate::key::Key;

/// The kinds of an instrument.
pub(crate) fn kinds<'a>(catalogue: &'static Catalogue, item: &'a Instrument) -> impl Iterator<Item = &'static Instrument> + 'a {
    catalogue.all().iter().filter(move |other| other.kind_of.as_deref() == Some(item.id.as_str()))
}

/// "Clarinet in E flat" is another instrument than the clarinet: a key that only a kind of it has says so.
pub(crate) fn narrow_by_key(
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
pub(crate) fn narrow_by_sound(
    catalogue: &'static Catalogue,
    item: &'static Instrument,
    clues: &Clues<'_>,
) -> Option<&'static Instrument> {
    if !item.generic || clues.sound_id.is_empty() || item.sounds.iter().any(|s| s == clues.sound_id) {
        return None;
    }
    kinds(catalogue, item).find(|other| other.build == item.build && other.sound() == Some(clues.sound_id))
}

/// A trumpet in B flat that sounds a ninth lower is a bass trumpet.
pub(crate) fn narrow_by_transposition(
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
pub(crate) fn sound_agreement(
    catalogue: &'static Catalogue,
    item: &Instrument,
    clues: &Clues<'_>,
    reasons: &mut Vec<Reason>,
) -> f32 {
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
