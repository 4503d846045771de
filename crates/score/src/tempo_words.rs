//! Words about the course of the piece, told from others: the one list of them.
//!
//! Some words say tempo by themselves ("Andante", "rit.", "a tempo"). Others name a character ("tranquillo", "con anima", "sostenuto"):
//! they are about tempo where they stand with a metronome mark or are compared ("più tranquillo"), and otherwise tell one part how to
//! play. Common practice of scores in Italian, German, French and English, from memory.

use crate::directions::{Direction, DirectionKind};
use crate::players::PlayerMark;
use crate::score::Part;

/// Beginnings of words that speak of tempo, without diacritics.
const STEMS: &[&str] = &[
    // Italian
    "accel",
    "adagi",
    "affrett",
    "allarg",
    "alleg",
    "andant",
    "animan",
    "animat",
    "calando",
    "incalz",
    "istesso",
    "larg",
    "lentam",
    "lento",
    "maestoso",
    "moder",
    "mosso",
    "moviment",
    "precipit",
    "prest",
    "rall",
    "recit",
    "ritar",
    "riten",
    "rubato",
    "slarg",
    "stringend",
    "tempo",
    "tratten",
    "viv",
    // German
    "belebt",
    "belebend",
    "beschleun",
    "bewegt",
    "drangend",
    "eilen",
    "eilig",
    "fliessend",
    "gehend",
    "gemachlich",
    "gemassigt",
    "langsam",
    "lebhaft",
    "massig",
    "rasch",
    "schlepp",
    "schnell",
    "zeitmass",
    "zogern",
    "zuruck",
    // French
    "anime",
    "cedant",
    "ceder",
    "cedez",
    "elarg",
    "mouv",
    "pressant",
    "pressez",
    "ralent",
    "rapid",
    "retard",
    "retenant",
    "retenez",
    "retenu",
    "serrez",
    "vif",
    // English
    "broad",
    "faster",
    "lively",
    "quick",
    "slow",
    "steady",
];
/// Words that do so only when they stand whole.
const WHOLE: &[&str] = &["breit", "breiter", "fast", "grave", "lent", "moto", "presse", "rit", "string", "stretto", "vite"];
/// Several words that do so together.
const PHRASES: &[&str] =
    &["a la mesure", "double time", "half time", "hold back", "holding back", "im takt", "in time", "lo stesso"];
/// Beginnings of words of character that are about tempo with a number, or compared.
const CHARACTERS: &[&str] = &["agitat", "animo", "calm", "feierlich", "getragen", "marcia", "ruhig", "sostenut", "tranquil"];
/// The same, where they stand whole: "con anima".
const WHOLE_CHARACTERS: &[&str] = &["anima", "brio", "fuoco", "grazia", "spirito"];
/// What compares them: "più tranquillo".
const COMPARING: &[&str] = &["piu", "meno", "plus", "moins", "more", "less"];
/// German and English comparatives of them.
const COMPARED: &[&str] = &["ruhiger", "calmer", "feierlicher", "getragener"];
/// The bow and its strings are meant with these beside: "breit gestrichen", "on the G string".
const OF_THE_BOW: &[&str] = &["bogen", "gestrichen", "on", "open", "st", "nd", "rd", "th", "strich", "striche", "the"];
/// German "fast" is "almost" before these: "fast ohne Ton".
const ALMOST: &[&str] = &["kein", "keine", "nicht", "nichts", "nur", "ohne", "tonlos", "unhorbar", "unmerklich", "wie"];
/// How long a fermata lasts, and what follows without a break.
const PAUSES: &[&str] = &["attacca", "caesura", "corta", "generalpause", "lunga", "zasur"];

/// The words of a text in small letters without diacritics.
fn words(text: &str) -> Vec<String> {
    let mut plain = String::with_capacity(text.len());
    for letter in text.chars().flat_map(char::to_lowercase) {
        match letter {
            'ä' | 'à' | 'â' => plain.push('a'),
            'é' | 'è' | 'ê' => plain.push('e'),
            'ì' => plain.push('i'),
            'ö' => plain.push('o'),
            'ü' | 'ù' => plain.push('u'),
            'ß' => plain.push_str("ss"),
            letter => plain.push(letter),
        }
    }
    plain.split(|letter: char| !letter.is_alphabetic()).filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

fn is_of(list: &[&str], word: &str) -> bool {
    list.contains(&word)
}

fn begins_as(list: &[&str], word: &str) -> bool {
    list.iter().any(|stem| word.starts_with(stem))
}

/// Whether words speak of tempo by themselves: "Allegro", "a tempo", "poco rit.", "più tranquillo"; not "tranquillo".
#[must_use]
pub fn tells_tempo(text: &str) -> bool {
    let words = words(text);
    let says = |at: usize, word: &str| match word {
        "string" | "breit" if words.iter().any(|other| is_of(OF_THE_BOW, other)) => false,
        "fast" => !words.get(at + 1).is_some_and(|next| is_of(ALMOST, next)),
        _ => is_of(WHOLE, word) || begins_as(STEMS, word),
    };
    let compared = |at: usize, word: &str| {
        is_of(COMPARED, word) || (begins_as(CHARACTERS, word) && at > 0 && is_of(COMPARING, &words[at - 1]))
    };
    let joined = words.join(" ");
    let holds = |phrase: &&str| format!(" {joined} ").contains(&format!(" {phrase} "));
    words.iter().enumerate().any(|(at, word)| says(at, word) || compared(at, word)) || PHRASES.iter().any(holds)
}

/// Whether words say how long everybody waits: "lunga", "G.P.", "attacca".
#[must_use]
pub fn tells_pause(text: &str) -> bool {
    let words = words(text);
    let pair = |a: &str, b: &str| words.windows(2).any(|pair| pair[0] == a && pair[1] == b);
    words.iter().any(|word| is_of(PAUSES, word)) || pair("g", "p") || pair("general", "pause") || pair("grand", "pause")
}

/// Whether a direction of a part is words about tempo where it stands: they say so, or they head what follows ("Trauermarsch"), or name a
/// character ("con anima"), with a number beside them. A playback tempo, which is not printed, makes a heading of words that begin large
/// only.
#[must_use]
pub fn is_tempo(part: &Part, direction: &Direction) -> bool {
    let DirectionKind::Words(text) = &direction.kind else { return false };
    if PlayerMark::parse(text).is_some() {
        return false;
    }
    if tells_tempo(text) {
        return true;
    }
    let begins_large = text.trim_start().starts_with(char::is_uppercase);
    let names_character = words(text).iter().any(|word| begins_as(CHARACTERS, word) || is_of(WHOLE_CHARACTERS, word));
    let first = part.directions.partition_point(|other| (other.bar, other.at) < (direction.bar, direction.at));
    let here = part.directions[first..].iter().take_while(|other| (other.bar, other.at) == (direction.bar, direction.at));
    here.into_iter().any(|other| match other.kind {
        DirectionKind::Metronome { .. } => begins_large || names_character,
        DirectionKind::PlaybackTempo { .. } => begins_large,
        _ => false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::NoteValue;
    use crate::score::BarIndex;
    use crate::time::Crotchets;

    /// Headings and words of scores in four languages; common practice.
    #[test]
    fn words_of_tempo_are_told_from_others() {
        for text in [
            "Allegro non troppo, ma con brio",
            "a tempo [Adagio]",
            "Langsam und schmachtend",
            "Très lent",
            "string. molto",
            "cresc. e string.",
            "rit.",
            "rit -",
            "poco rall",
            "(a tempo)",
            "L\u{2019}istesso tempo",
            "A little slower",
            "in time",
            "Au mouvt",
            "en animant",
            "Cédez",
            "Mäßig bewegt",
            "Im Zeitmaß",
            "zurückhaltend",
            "Breit",
            "animato",
            "più tranquillo",
            "poco più sostenuto",
            "etwas ruhiger",
            "un peu plus vite",
            "Fast and loud",
        ] {
            assert!(tells_tempo(text), "{text}");
        }
        for text in [
            "pizz.",
            "dolce",
            "cresc.",
            "a 2",
            "con sord.",
            "strings",
            "marcato",
            "sul G",
            "on the G string",
            "2nd string",
            "tranquillo",
            "sempre tranquillo",
            "con anima",
            "con brio",
            "sostenuto",
            "ruhig",
            "morendo",
            "ritmico",
            "Strings",
            "breit gestrichen",
            "fast ohne Ton",
            "più dolce",
            "meno f",
            "massive",
        ] {
            assert!(!tells_tempo(text), "{text}");
        }
    }

    #[test]
    fn pauses_are_for_everybody() {
        for text in ["lunga", "G.P.", "Generalpause", "attacca subito", "General Pause"] {
            assert!(tells_pause(text), "{text}");
        }
        for text in ["p", "f.p.", "rit.", "largamente", "attacco"] {
            assert!(!tells_pause(text), "{text}");
        }
    }

    #[test]
    fn a_character_is_a_tempo_beside_a_number() {
        let at =
            |kind: DirectionKind| Direction { bar: BarIndex(3), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind };
        let number = DirectionKind::Metronome { beat: NoteValue { halvings: 2, dots: 0 }, per_minute: 66.0, text: None };
        let played = DirectionKind::PlaybackTempo { crotchets_per_minute: 66.0 };
        let told = |text: &str, beside: Option<&DirectionKind>| {
            let words = at(DirectionKind::Words(text.into()));
            let part =
                Part { directions: std::iter::once(words.clone()).chain(beside.cloned().map(at)).collect(), ..Part::default() };
            is_tempo(&part, &words)
        };
        for text in ["tranquillo", "con anima", "Trauermarsch", "rit."] {
            assert!(told(text, Some(&number)), "{text}");
        }
        for text in ["tranquillo", "con anima", "Trauermarsch", "dolce"] {
            assert!(!told(text, None), "{text}");
        }
        assert!(told("Trauermarsch", Some(&played)) && !told("tranquillo", Some(&played)));
        for text in ["dolce", "Solo", "a 2", "pizz."] {
            assert!(!told(text, Some(&number)), "{text}");
        }
    }
}
