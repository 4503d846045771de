//! What is said to everybody though it stands in one part: words about the tempo and its fermatas.
//!
//! Metronome marks, headings and rehearsal marks come into every part with the cut (`ripieno_formats::excerpt`); "rit.", "a tempo" or
//! "lunga" over the top staff are meant for all as well, and whoever does not read them comes in wrong.

use ripieno_score::{Direction, DirectionKind, Part, Score};

/// Beginnings of words about the tempo, as scores print them in Italian, German, French and English; common practice.
const COURSE: [&str; 37] = [
    "ritard",
    "riten",
    "rall",
    "accel",
    "string.",
    "stringendo",
    "allarg",
    "slarg",
    "stretto",
    "calando",
    "a tempo",
    "in tempo",
    "tempo",
    "l'istesso",
    "lo stesso",
    "più mosso",
    "piu mosso",
    "meno mosso",
    "più lento",
    "più animato",
    "doppio mov",
    "lunga",
    "g.p",
    "attacca",
    "caesura",
    "schneller",
    "langsamer",
    "bewegter",
    "zurückhalt",
    "im zeitmaß",
    "cédez",
    "retenu",
    "au mouvement",
    "au mouvt",
    "ralenti",
    "plus vite",
    "plus lent",
];
/// Words that are about the tempo only where they stand whole: "rit" without its stop, but not "ritmico".
const WHOLE: [&str; 3] = ["rit", "slower", "faster"];
/// What stands before them: "poco rit.", "molto allargando".
const BEFORE: [&str; 12] = [
    "poco a poco ",
    "un poco ",
    "poco ",
    "molto ",
    "sempre ",
    "subito ",
    "ancora ",
    "un peu ",
    "sehr ",
    "a little ",
    "much ",
    "gradually ",
];

/// Whether words are for all players: they change the tempo, or say how long a fermata lasts.
pub(crate) fn is_for_all(text: &str) -> bool {
    let lower = text.trim().trim_start_matches(['(', '[']).to_lowercase().replace('\u{2019}', "'");
    let bare = BEFORE.iter().find_map(|before| lower.strip_prefix(before)).unwrap_or(&lower);
    let first = bare.split(|c: char| !c.is_alphabetic()).next().unwrap_or_default();
    WHOLE.contains(&first) || COURSE.iter().any(|word| bare.starts_with(word))
}

/// The words for all players of a score, those of the part highest on the page first.
pub(crate) fn words(score: &Score) -> Vec<Direction> {
    let mut found: Vec<Direction> = Vec::new();
    for direction in score.parts.iter().flat_map(|part| &part.directions) {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        let is_known = |known: &Direction| (known.bar, known.at) == (direction.bar, direction.at) && known.kind == direction.kind;
        if is_for_all(text) && !found.iter().any(is_known) {
            found.push(Direction { staff: 1, voice: None, above: Some(true), ..direction.clone() });
        }
    }
    found
}

/// Gives a part the words it does not have.
pub(crate) fn add(part: &mut Part, words: &[Direction]) {
    for word in words {
        let has = |own: &Direction| {
            (own.bar, own.at) == (word.bar, word.at) && matches!(&own.kind, DirectionKind::Words(text) if is_for_all(text))
        };
        if !part.directions.iter().any(has) {
            part.directions.push(word.clone());
        }
    }
    part.directions.sort_by_key(|direction| (direction.bar, direction.at));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_for_all_are_known() {
        for text in ["rit.", "poco rit.", "(a tempo)", "Molto allargando", "lunga", "Tempo I", "accel. al fine"] {
            assert!(is_for_all(text), "{text}");
        }
        for text in [
            "rit",
            "rit -",
            "poco rall",
            "accel",
            "L\u{2019}istesso tempo",
            "A little slower",
            "faster",
            "in tempo",
            "Au mouvement",
            "ralentir",
            "un peu plus vite",
            "plus lent",
        ] {
            assert!(is_for_all(text), "{text}");
        }
        for text in
            ["solo", "con sord.", "dolce", "div. a 3", "espressivo", "Piccolo", "a 2", "marc.", "ritmico", "Strings", "morendo"]
        {
            assert!(!is_for_all(text), "{text}");
        }
    }
}
