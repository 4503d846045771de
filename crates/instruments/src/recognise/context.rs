//! Recognising all parts of a score together.

use std::cmp::Reverse;

use super::points::Context;
use super::resolve::recognise as recognise_in;
use super::token::tokenise;
use super::{Clues, Recognition};
use crate::catalogue::Language;
use crate::key::{KeyName, Step};

/// Recognises every part of a score, top to bottom, letting the others settle what one name leaves open: "Alto" among
/// French names is a viola, "Bass" between cello and nothing is a double bass, a bare "B" beside a printed "B flat" is
/// B natural.
#[must_use]
pub fn recognise_all(parts: &[Clues<'_>]) -> Vec<Recognition> {
    let mut found: Vec<Recognition> = parts.iter().map(|clues| recognise_in(clues, &Context::default())).collect();
    let language = score_language(&found);
    let bare_b_is_flat = bare_b(parts, &found);
    for at in 0..found.len() {
        let certain = |other: Option<&Recognition>| {
            other.filter(|r| r.confidence >= 0.85 && r.alternatives.is_empty()).map(|r| r.instrument.family)
        };
        let context = Context {
            language,
            above: certain(at.checked_sub(1).and_then(|before| found.get(before))),
            below: certain(found.get(at + 1)),
            bare_b_is_flat,
        };
        let open = found[at].confidence < 0.9 || !found[at].alternatives.is_empty();
        let keyed = found[at].keys.iter().any(|key| key.name.step == Step::B);
        if open || keyed {
            found[at] = recognise_in(&parts[at], &context);
        }
    }
    found
}

/// The language in which most names are that belong to one language only; two names at least.
fn score_language(found: &[Recognition]) -> Option<Language> {
    let votes = |language| found.iter().filter(|r| r.language == Some(language)).count();
    let mut ranked: Vec<(usize, Language)> = Language::ALL.into_iter().map(|l| (votes(l), l)).collect();
    ranked.sort_by_key(|(count, language)| (Reverse(*count), *language));
    (ranked[0].0 >= 2 && ranked[0].0 > ranked[1].0).then_some(ranked[0].1)
}

/// Whether the score writes B flat as a bare "B": it does when it also has an "H", it does not when it prints "Bb".
fn bare_b(parts: &[Clues<'_>], found: &[Recognition]) -> Option<bool> {
    let flat = KeyName::new(Step::B, -1);
    let mut prints_h = false;
    let mut prints_flat = false;
    for (clues, recognition) in parts.iter().zip(found) {
        if !recognition.keys.iter().any(|key| key.name.step == Step::B) {
            continue;
        }
        let tokens = tokenise(clues.name);
        prints_h |= tokens.iter().any(|token| token.text == "h");
        let bare = tokens.iter().any(|token| token.text == "b" && token.sign.is_none());
        prints_flat |= !bare && recognition.keys.iter().any(|key| key.name == flat);
    }
    match (prints_h, prints_flat) {
        (true, _) => Some(true),
        (false, true) => Some(false),
        _ => None,
    }
}
