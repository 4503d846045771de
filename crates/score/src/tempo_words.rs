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
    "largam",
    "largement",
    "largh",
    "largo",
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
const OF_THE_BOW: &[&str] =
    &["bogen", "c", "d", "g", "gestrichen", "on", "open", "st", "nd", "rd", "th", "strich", "striche", "the"];
/// Beside these "string" is short for stringendo though it has no full stop.
const BESIDE_STRINGENDO: &[&str] = &["a", "assai", "cresc", "e", "ma", "molto", "non", "piu", "poco", "sempre", "un"];
/// Beginnings of words that say how fast the hand goes where what it does stands beside: "slow gliss.", "moderately hard sticks".
const OF_THE_HAND: &[&str] =
    &["broad", "fast", "langsam", "lebhaft", "moder", "quick", "rapid", "rasch", "schnell", "slow", "steady"];
/// The same, where they stand whole.
const WHOLE_OF_THE_HAND: &[&str] = &["breit", "lent", "vif", "vite"];
/// Movements a tempo behind them is that of: "vibrato lento".
const MOVEMENTS: &[&str] = &["arpegg", "gliss", "tremol", "trill", "vibr"];
const WHOLE_MOVEMENTS: &[&str] = &["arp", "trem", "tr", "vib"];
/// Beginnings of words about ways of playing, what is played with, and who plays.
const PLAYING: &[&str] = &[
    "abdampf",
    "archet",
    "arpegg",
    "bacchett",
    "baguette",
    "beater",
    "bogen",
    "bouche",
    "bow",
    "brush",
    "chevalet",
    "chang",
    "cuivr",
    "damp",
    "detach",
    "divis",
    "flageol",
    "flatterz",
    "flutter",
    "frull",
    "gestopft",
    "gestrichen",
    "geteilt",
    "gezupft",
    "gliss",
    "griffbrett",
    "harmonic",
    "jete",
    "legno",
    "mallet",
    "martel",
    "mute",
    "natural",
    "ordin",
    "pavillon",
    "pedal",
    "pizz",
    "ponticel",
    "portam",
    "portat",
    "ricochet",
    "saite",
    "saltat",
    "schalltrichter",
    "schlagel",
    "schlegel",
    "schmett",
    "sord",
    "sourdin",
    "spicc",
    "stick",
    "stopped",
    "strich",
    "tast",
    "tongue",
    "tonguing",
    "tremol",
    "trill",
    "vibr",
    "wechsel",
];
/// The same, where they stand whole.
const WHOLE_PLAYING: &[&str] = &[
    "altri", "arco", "arp", "bell", "bells", "chiuso", "corda", "corde", "desk", "desks", "div", "flz", "hand", "hands", "loco",
    "lv", "muta", "nat", "open", "ord", "ped", "pont", "pult", "pulte", "rim", "ring", "roll", "rolled", "snares", "soli",
    "steg", "sul", "sulla", "touche", "tr", "trem", "tutte", "tutti", "unis", "unison", "vib",
];
/// Beginnings of words about how one line is to sound.
const MANNERS: &[&str] = &[
    "cantab",
    "cantando",
    "cresc",
    "decresc",
    "dimin",
    "dolc",
    "espr",
    "hervortret",
    "legat",
    "legger",
    "marcat",
    "morend",
    "perdend",
    "smorz",
    "spicc",
    "staccat",
    "tenut",
];
/// The same, where they stand whole.
const WHOLE_MANNERS: &[&str] = &["cant", "dim", "leg", "marc", "mezza", "sotto", "stacc", "ten"];
/// What follows these is a thing by itself: "Langsam mit Dämpfer".
const PARTING: &[&str] =
    &["and", "avec", "con", "dann", "et", "mit", "ohne", "poi", "sans", "senza", "then", "und", "with", "without"];
/// German "fast" is "almost" before these: "fast ohne Ton".
const ALMOST: &[&str] = &[
    "alle",
    "alles",
    "ganz",
    "gar",
    "immer",
    "kein",
    "keine",
    "nicht",
    "nichts",
    "nur",
    "ohne",
    "tonlos",
    "unhorbar",
    "unmerklich",
    "wie",
];
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

fn is_about_playing(word: &str) -> bool {
    begins_as(PLAYING, word) || is_of(WHOLE_PLAYING, word)
}

/// Whether words say how to play or who plays, in a list of common practice: "Pizz.", "Con sord.", "Soli", "Cantabile". Others may do so too.
#[must_use]
pub fn tells_playing(text: &str) -> bool {
    let is_manner = |word: &str| begins_as(MANNERS, word) || is_of(WHOLE_MANNERS, word);
    PlayerMark::parse(text).is_some() || words(text).iter().any(|word| is_about_playing(word) || is_manner(word))
}

/// Whether words may head what follows where a tempo stands beside them: they begin large, and say nothing of playing.
#[must_use]
pub fn may_head(text: &str) -> bool {
    text.trim_start().starts_with(char::is_uppercase) && !tells_playing(text)
}

/// The pieces of a text that say one thing each, with their words.
fn clauses(text: &str) -> Vec<(&str, Vec<String>)> {
    let mut pieces = Vec::new();
    let mut start = 0;
    for (at, letter) in text.char_indices() {
        let rest = &text[at + letter.len_utf8()..];
        let sentence = letter == '.' && rest.trim_start().len() < rest.len() && rest.trim_start().starts_with(char::is_uppercase);
        if sentence || matches!(letter, ',' | ';' | ':' | '(' | ')' | '[' | ']' | '/' | '\n' | '\u{2013}') {
            let end = at + usize::from(sentence);
            pieces.push(&text[start..end]);
            start = at + letter.len_utf8();
        }
    }
    pieces.push(&text[start..]);
    let parted = |piece| {
        let all = words(piece);
        let runs: Vec<Vec<String>> =
            all.split(|word| is_of(PARTING, word)).filter(|run| !run.is_empty()).map(<[String]>::to_vec).collect();
        runs.into_iter().map(move |run| (piece, run))
    };
    pieces.into_iter().flat_map(parted).collect()
}

/// Whether "string" is short for stringendo in these words.
fn is_stringendo(piece: &str, words: &[String]) -> bool {
    let has = |text: &str| piece.contains(text);
    // Capitals name a string, but for "e" and "a", which are words as well.
    let names_one = ["E string", "A string", "E-string", "A-string"].into_iter().any(has);
    let is_short = piece.to_lowercase().contains("string.");
    let fits = |word: &String| word == "string" || is_of(BESIDE_STRINGENDO, word);
    !names_one && (words.iter().all(fits) || (is_short && !words.iter().any(|word| is_of(OF_THE_BOW, word))))
}

/// Whether a text says which note is as long as which: "♩. = ♩", with notes of Unicode (U+2669 to U+266C and U+1D15D to U+1D164) or those of metronome
/// marks in SMuFL (U+ECA0 to U+ECB7), the standard of music fonts.
fn is_equation(text: &str) -> bool {
    let is_note = |letter: char| matches!(letter, '\u{2669}'..='\u{266c}' | '\u{1d15d}'..='\u{1d164}' | '\u{eca0}'..='\u{ecb7}');
    text.split_once('=')
        .is_some_and(|(before, after)| before.contains(is_note) && after.contains(|c| is_note(c) || c.is_ascii_digit()))
}

/// Whether words speak of tempo by themselves: "Allegro", "a tempo", "poco rit.", "più tranquillo"; not "tranquillo", and not of a movement of
/// the hand ("slow gliss.").
#[must_use]
pub fn tells_tempo(text: &str) -> bool {
    let joined = words(text).join(" ");
    let holds = |phrase: &&str| format!(" {joined} ").contains(&format!(" {phrase} "));
    is_equation(text)
        || clauses(text).iter().any(|(piece, words)| clause_tells_tempo(text, piece, words))
        || PHRASES.iter().any(holds)
}

fn clause_tells_tempo(text: &str, piece: &str, words: &[String]) -> bool {
    let plays = words.iter().any(|word| is_about_playing(word));
    let moves = |at: usize| {
        let before = at.checked_sub(1).map(|before| words[before].as_str());
        before.is_some_and(|word| begins_as(MOVEMENTS, word) || is_of(WHOLE_MOVEMENTS, word))
    };
    let says = |at: usize, word: &str| match word {
        "string" => is_stringendo(piece, words),
        "breit" if words.iter().any(|other| is_of(OF_THE_BOW, other)) => false,
        // The word behind may part a clause: "fast ohne Ton".
        "fast" if is_almost(text) => false,
        _ if plays && (begins_as(OF_THE_HAND, word) || is_of(WHOLE_OF_THE_HAND, word)) => false,
        _ => !moves(at) && (is_of(WHOLE, word) || begins_as(STEMS, word)),
    };
    let compared = |at: usize, word: &str| {
        is_of(COMPARED, word) || (begins_as(CHARACTERS, word) && at > 0 && is_of(COMPARING, &words[at - 1]))
    };
    words.iter().enumerate().any(|(at, word)| says(at, word) || compared(at, word))
}

/// Whether "fast" is German in a text.
fn is_almost(text: &str) -> bool {
    words(text).windows(2).any(|pair| pair[0] == "fast" && is_of(ALMOST, &pair[1]))
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
/// only. What says how to play, or who plays, is none. The directions of the part stand in order, as `Score::finish` leaves them.
#[must_use]
pub fn is_tempo(part: &Part, direction: &Direction) -> bool {
    let DirectionKind::Words(text) = &direction.kind else { return false };
    if PlayerMark::parse(text).is_some() {
        return false;
    }
    if tells_tempo(text) {
        return true;
    }
    let heads = may_head(text);
    let names_character =
        !tells_playing(text) && words(text).iter().any(|word| begins_as(CHARACTERS, word) || is_of(WHOLE_CHARACTERS, word));
    let first = part.directions.partition_point(|other| (other.bar, other.at) < (direction.bar, direction.at));
    let here = part.directions[first..].iter().take_while(|other| (other.bar, other.at) == (direction.bar, direction.at));
    here.into_iter().any(|other| match other.kind {
        DirectionKind::Metronome { .. } => heads || names_character,
        DirectionKind::PlaybackTempo { .. } => heads,
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
            "Large \u{2013} Lento",
            "Largo",
            "Larghetto",
            "Largamente",
            "poco string",
            "sempre pi\u{f9} e string.",
            "Langsam mit D\u{e4}mpfer",
            "Langsam. D\u{e4}mpfer auf",
            "Lento, con sord.",
            "Quick (with mutes)",
            "slow and steady",
            "Andante cantabile",
            "\u{2669}. = \u{2669}",
            "\u{eca5}\u{ecb7} = \u{eca5} [\u{eca5}\u{ecb7} = 96]",
            "(\u{266a}=\u{266a})",
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
            "large beater",
            "G string",
            "(G string)",
            "E string",
            "slow gliss.",
            "gliss. lento",
            "fast vib.",
            "quick mute change",
            "rapid trem.",
            "moderately hard sticks",
            "schnell abd\u{e4}mpfen",
            "langsamer Strich",
            "fast gar nicht",
            "fast immer",
            "fast ganz ohne Ton",
            "\u{2669}",
            "a = b",
            "I = Vl. 1",
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
        let playing = [
            "Pizz.",
            "Con sord.",
            "Arco",
            "Soli",
            "Cantabile",
            "Dolce",
            "Senza sordini",
            "Tutti",
            "Col legno",
            "Bells up",
            "Sul pont.",
        ];
        for text in ["dolce", "Solo", "a 2", "pizz.", "sostenuto, con sord."].into_iter().chain(playing) {
            assert!(!told(text, Some(&number)) && !told(text, Some(&played)), "{text}");
        }
    }
}
