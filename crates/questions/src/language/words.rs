//! The words a question may use.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use ripieno_instruments::catalogue::{Language, catalogue};
use ripieno_instruments::family::{Family, Section};
use ripieno_study::acoustics::{EvenGrade, Grade};
use ripieno_texture::Role;

use super::question::{End, Side, Wanted, Who};

/// Names of players, as lists of words, and whom they name.
pub(super) static PLAYERS: LazyLock<BTreeMap<Vec<String>, Who>> = LazyLock::new(players);

/// Every word known, for finding the nearest.
static KNOWN: LazyLock<Vec<String>> = LazyLock::new(known);

/// Words of the grammar that are not names.
pub(super) const GRAMMAR: &[&str] = &[
    "above",
    "accompanied",
    "accompany",
    "after",
    "all",
    "alone",
    "and",
    "any",
    "apart",
    "are",
    "at",
    "bar",
    "bars",
    "below",
    "between",
    "but",
    "by",
    "carry",
    "change",
    "changes",
    "chord",
    "chords",
    "clear",
    "cover",
    "covered",
    "double",
    "doubled",
    "drop",
    "each",
    "either",
    "enter",
    "entry",
    "even",
    "everybody",
    "exactly",
    "fairly",
    "faster",
    "first",
    "for",
    "from",
    "gap",
    "general",
    "hard",
    "has",
    "have",
    "hear",
    "heard",
    "higher",
    "highest",
    "hold",
    "how",
    "in",
    "instruments",
    "inversion",
    "is",
    "key",
    "lasting",
    "layer",
    "lead",
    "least",
    "leave",
    "less",
    "long",
    "longer",
    "louder",
    "lower",
    "lowest",
    "many",
    "mask",
    "melody",
    "metre",
    "more",
    "most",
    "no",
    "nobody",
    "not",
    "note",
    "nothing",
    "octave",
    "octaves",
    "often",
    "only",
    "open",
    "or",
    "other",
    "out",
    "over",
    "overlap",
    "parts",
    "pass",
    "passage",
    "pause",
    "pedal",
    "play",
    "players",
    "position",
    "prominent",
    "reach",
    "rest",
    "sections",
    "semitones",
    "share",
    "shorter",
    "silent",
    "sing",
    "slower",
    "softer",
    "solo",
    "sound",
    "split",
    "stack",
    "stay",
    "supports",
    "take",
    "tempo",
    "than",
    "the",
    "theme",
    "thickened",
    "time",
    "to",
    "touch",
    "tutti",
    "two",
    "uneven",
    "unison",
    "where",
    "which",
    "while",
    "who",
    "with",
    "without",
];

/// Dynamics: name, step.
pub(super) const LEVELS: &[(&[&str], i64)] = &[
    (&["pianississimo"], 1),
    (&["ppp"], 1),
    (&["pianissimo"], 2),
    (&["pp"], 2),
    (&["piano"], 3),
    (&["p"], 3),
    (&["mezzo", "piano"], 4),
    (&["mezzopiano"], 4),
    (&["mp"], 4),
    (&["mezzo", "forte"], 5),
    (&["mezzoforte"], 5),
    (&["mf"], 5),
    (&["forte"], 6),
    (&["f"], 6),
    (&["fortissimo"], 7),
    (&["ff"], 7),
    (&["fortississimo"], 8),
    (&["fff"], 8),
];

/// Words for roles.
pub(super) const ROLES: &[(&[&str], Role)] = &[
    (&["melody"], Role::Melody),
    (&["tune"], Role::Melody),
    (&["countermelody"], Role::Countermelody),
    (&["counter-melody"], Role::Countermelody),
    (&["bass"], Role::Bass),
    (&["bass", "line"], Role::Bass),
    (&["harmony"], Role::Harmony),
    (&["chords"], Role::Harmony),
    (&["pedal"], Role::Pedal),
    (&["rhythm"], Role::Rhythm),
    (&["figuration"], Role::Figuration),
    (&["figures"], Role::Figuration),
    (&["punctuation"], Role::Punctuation),
    (&["effect"], Role::Effect),
    (&["effects"], Role::Effect),
];

/// Words for how the melody is heard: "heard" leaves open how well.
pub(super) const HEARD: &[(&[&str], &[Grade])] = &[
    (&["covered"], &[Grade::Covered]),
    (&["masked"], &[Grade::Covered]),
    (&["hard", "to", "hear"], &[Grade::Hard]),
    (&["heard", "among", "others"], &[Grade::Among]),
    (&["heard"], &[Grade::Among, Grade::Clear, Grade::Prominent]),
    (&["clear"], &[Grade::Clear]),
    (&["prominent"], &[Grade::Prominent]),
];

/// How it is heard where somebody covers it.
pub(super) const HIDDEN: [Grade; 2] = [Grade::Covered, Grade::Hard];

/// Words for how evenly a chord rings.
pub(super) const EVEN: &[(&[&str], EvenGrade)] = &[
    (&["uneven"], EvenGrade::Uneven),
    (&["unevenly"], EvenGrade::Uneven),
    (&["fairly", "even"], EvenGrade::Fair),
    (&["fairly", "evenly"], EvenGrade::Fair),
    (&["even"], EvenGrade::Even),
    (&["evenly"], EvenGrade::Even),
];

/// Words for ways of playing, and what the table "techniques" calls them; the longer words first.
pub(super) const WAYS: &[(&[&str], &str)] = &[
    (&["pizzicato"], "plucked"),
    (&["pizz"], "plucked"),
    (&["plucked"], "plucked"),
    (&["con", "sordino"], "muted"),
    (&["with", "mutes"], "muted"),
    (&["with", "a", "mute"], "muted"),
    (&["mutes"], "muted"),
    (&["a", "mute"], "muted"),
    (&["muted"], "muted"),
    (&["stopped"], "stopped"),
    (&["tremolo"], "tremolo"),
    (&["a", "tremolo"], "tremolo"),
    (&["roll"], "tremolo"),
    (&["a", "roll"], "tremolo"),
    (&["con", "sordini"], "muted"),
    (&["trills"], "trill"),
    (&["trill"], "trill"),
    (&["flutter-tongue"], "flutter"),
    (&["flutter-tongued"], "flutter"),
    (&["harmonics"], "harmonic"),
    (&["sul", "ponticello"], "at bridge"),
    (&["at", "the", "bridge"], "at bridge"),
    (&["col", "legno"], "with wood"),
    (&["slides"], "slide"),
    (&["glissando"], "slide"),
    (&["a", "2"], "a 2"),
    (&["a", "due"], "a 2"),
    (&["a2"], "a 2"),
    (&["divisi"], "divided"),
    (&["divided"], "divided"),
];

/// Words for how loud, without a printed mark; the longer words first.
pub(super) const LOUDNESS: &[(&[&str], (Side, i64))] = &[
    (&["very", "softly"], (Side::AtMost, 2)),
    (&["very", "quietly"], (Side::AtMost, 2)),
    (&["very", "soft"], (Side::AtMost, 2)),
    (&["very", "quiet"], (Side::AtMost, 2)),
    (&["very", "loudly"], (Side::AtLeast, 7)),
    (&["very", "loud"], (Side::AtLeast, 7)),
    (&["softly"], (Side::AtMost, 3)),
    (&["quietly"], (Side::AtMost, 3)),
    (&["soft"], (Side::AtMost, 3)),
    (&["quiet"], (Side::AtMost, 3)),
    (&["loudly"], (Side::AtLeast, 6)),
    (&["loud"], (Side::AtLeast, 6)),
];

/// Words for a steady change of loudness, as the table "swells" has them.
pub(super) const SWELLS: &[(&[&str], &str)] = &[
    (&["crescendo"], "crescendo"),
    (&["cresc"], "crescendo"),
    (&["diminuendo"], "diminuendo"),
    (&["decrescendo"], "diminuendo"),
    (&["dim"], "diminuendo"),
];

/// Words for the spacing of chords, as the measure "chord_voicing" has them.
pub(super) const SPACINGS: &[(&[&str], &str)] = &[(&["open"], "open"), (&["close"], "close"), (&["closed"], "close")];

/// Words for a pedal on a note of the key, in semitones above the tonic.
pub(super) const DEGREES: &[(&[&str], u8)] = &[(&["tonic"], 0), (&["dominant"], 7), (&["subdominant"], 5), (&["mediant"], 4)];

/// Inversions of a chord.
pub(super) const INVERSIONS: &[(&[&str], u8)] =
    &[(&["root", "position"], 0), (&["first", "inversion"], 1), (&["second", "inversion"], 2), (&["third", "inversion"], 3)];

/// Which of the bars are wanted.
pub(super) const SUPERLATIVES: &[(&[&str], Wanted)] = &[
    (&["first"], Wanted::Place(End::Low)),
    (&["last"], Wanted::Place(End::High)),
    (&["longest"], Wanted::Length(End::High)),
    (&["shortest"], Wanted::Length(End::Low)),
    (&["loudest"], Wanted::Level(End::High)),
    (&["softest"], Wanted::Level(End::Low)),
    (&["quietest"], Wanted::Level(End::Low)),
    (&["fullest"], Wanted::Parts(End::High)),
    (&["thickest"], Wanted::Parts(End::High)),
    (&["thinnest"], Wanted::Parts(End::Low)),
];

/// Ordinals before players.
pub(super) const ORDINALS: &[(&[&str], u16)] = &[
    (&["first", "1st"], 1),
    (&["second", "2nd"], 2),
    (&["third", "3rd"], 3),
    (&["fourth", "4th"], 4),
    (&["fifth", "5th"], 5),
    (&["sixth", "6th"], 6),
    (&["seventh", "7th"], 7),
    (&["eighth", "8th"], 8),
];

/// Kinds of chord, as [`ripieno_texture::Quality`] names them; the longer names first.
pub(super) const QUALITIES: &[&str] = &[
    "minor with major seventh",
    "half-diminished seventh",
    "diminished seventh",
    "dominant seventh",
    "minor seventh",
    "major seventh",
    "augmented sixth",
    "diminished",
    "augmented",
    "major",
    "minor",
];

/// Small numbers in words.
pub(super) const NUMBERS: &[&str] =
    &["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];

fn split(name: &str) -> Vec<String> {
    name.to_lowercase().split_whitespace().map(str::to_owned).collect()
}

fn players() -> BTreeMap<Vec<String>, Who> {
    let mut names = BTreeMap::new();
    // What comes later wins: a section over the instrument it is called after, a family over both.
    let mut name = |text: &str, who: Who| {
        let words = split(text);
        if !words.is_empty() {
            names.insert(words, who);
        }
    };
    for instrument in catalogue().all() {
        let english = instrument.names(Language::English);
        for text in english.variants.iter().chain(&english.plural_variants) {
            name(text, Who::Instrument(&instrument.id));
        }
    }
    for instrument in catalogue().all() {
        let english = instrument.names(Language::English);
        for text in [&english.singular, &english.plural] {
            name(text, Who::Instrument(&instrument.id));
        }
    }
    for section in Section::ALL {
        let named_after = catalogue().all().iter().find(|instrument| {
            instrument.section == *section && instrument.names(Language::English).plural.eq_ignore_ascii_case(section.name())
        });
        if let Some(instrument) = named_after {
            name(&instrument.names(Language::English).singular, Who::Section(*section));
        }
        name(section.name(), Who::Section(*section));
    }
    for family in Family::ALL {
        name(family.name(), Who::Family(*family));
    }
    for (text, who) in [
        ("brass section", Who::Family(Family::Brass)),
        ("woodwind section", Who::Family(Family::Woodwind)),
        ("wind section", Who::Family(Family::Woodwind)),
        ("string section", Who::Family(Family::Strings)),
        ("percussion section", Who::Family(Family::Percussion)),
        ("woodwinds", Who::Family(Family::Woodwind)),
        ("winds", Who::Family(Family::Woodwind)),
        ("singers", Who::Family(Family::Voice)),
        ("keyboards", Who::Family(Family::Keyboard)),
        ("bass", Who::Basses),
        ("basses", Who::Basses),
        ("everybody", Who::Everybody),
        ("everyone", Who::Everybody),
        ("orchestra", Who::Everybody),
        ("whole orchestra", Who::Everybody),
        ("full orchestra", Who::Everybody),
        ("choir", Who::Family(Family::Voice)),
        ("chorus", Who::Family(Family::Voice)),
    ] {
        name(text, who);
    }
    names
}

fn words_of<T>(table: &'static [(&[&str], T)]) -> impl Iterator<Item = String> {
    table.iter().flat_map(|(words, _)| words.iter()).map(|word| (*word).to_owned())
}

fn known() -> Vec<String> {
    let mut words: Vec<String> = GRAMMAR.iter().map(|word| (*word).to_owned()).collect();
    words.extend(PLAYERS.keys().flatten().cloned());
    words.extend(words_of(LEVELS));
    words.extend(words_of(ROLES));
    words.extend(words_of(WAYS));
    words.extend(words_of(ORDINALS));
    words.extend(words_of(LOUDNESS));
    words.extend(words_of(SWELLS));
    words.extend(words_of(SPACINGS));
    words.extend(words_of(DEGREES));
    words.extend(words_of(INVERSIONS));
    words.extend(words_of(SUPERLATIVES));
    words.extend(QUALITIES.iter().flat_map(|name| name.split(' ')).map(str::to_owned));
    words.sort_unstable();
    words.dedup();
    words
}

/// The known word nearest to this one by letters changed, left out, put in or swapped; `None` when none is near, or it is known.
pub(super) fn nearest(word: &str) -> Option<&'static str> {
    let word = word.to_lowercase();
    let length = word.chars().count();
    if length > 40 || KNOWN.binary_search(&word).is_ok() {
        return None;
    }
    let most = length / 3;
    // A word mistaken in more than one letter is seldom so at its beginning: "chorale" is no slip for "crotale".
    let begins_alike = |known: &str| known.chars().zip(word.chars()).take(2).all(|(known, letter)| known == letter);
    // Of equally near ones the one as long: a letter mistaken rather than left out.
    let scored = KNOWN.iter().map(|known| (distance(&word, known), known.chars().count().abs_diff(length), known));
    scored.filter(|(far, _, known)| *far <= most && (*far <= 1 || begins_alike(known))).min().map(|(.., known)| known.as_str())
}

/// Letters changed, left out, put in, or swapped with their neighbour (optimal string alignment).
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let change = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = change.min(rows[i - 1][j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_words_are_found() {
        assert_eq!(nearest("hornz"), Some("horns"));
        assert_eq!(nearest("trombnoes"), Some("trombones"));
        assert_eq!(nearest("horns"), None);
        assert_eq!(nearest("qqqqqqqq"), None);
        assert_eq!(nearest("chorale"), None, "the crotale is far");
        assert_eq!(nearest("crotalle"), Some("crotale"));
        assert_eq!(nearest("an"), None);
    }

    #[test]
    fn sections_are_known_by_one_and_by_many() {
        for (name, section) in [("horn", Section::Horns), ("double bass", Section::DoubleBasses), ("flutes", Section::Flutes)] {
            assert_eq!(PLAYERS.get(&split(name)), Some(&Who::Section(section)), "{name}");
        }
        assert_eq!(PLAYERS.get(&split("english horn")), Some(&Who::Instrument("english-horn")));
    }
}
