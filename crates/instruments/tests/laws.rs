//! Laws of recognition: whatever the catalogue names is recognised, numbers and keys read back, nothing panics.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeMap;

use proptest::prelude::*;
use ripieno_instruments::catalogue::{Language, catalogue};
use ripieno_instruments::{Clues, Family, Interval, Key, recognise, recognise_all};

/// Every name of every instrument in every language is recognised as that instrument. A name that two instruments share
/// is recognised as one of them, lists the other, and is settled by the standard sound.
#[test]
fn every_name_of_the_catalogue_is_recognised() {
    let mut owners: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    let letters = |name: &str| -> String { recognised_letters(name) };
    let mut names = Vec::new();
    for item in catalogue().all() {
        for language in Language::ALL {
            let these = item.names(language);
            let all = [&these.singular, &these.plural].into_iter();
            let all = all.chain(&these.variants).chain(&these.plural_variants).chain(&these.abbreviations);
            for name in all {
                let list = owners.entry(letters(name)).or_default();
                if !list.contains(&item.id.as_str()) {
                    list.push(&item.id);
                }
                names.push((item, language, name));
            }
        }
    }
    let mut faults = Vec::new();
    for (item, language, name) in &names {
        let found = recognise(&Clues { name, ..Clues::default() });
        if found.instrument.id == item.id {
            continue;
        }
        let shared = owners[&letters(name)].len() > 1;
        let sound = item.sound().unwrap_or("");
        let clues = Clues { name, sound_id: sound, language: Some(*language), ..Clues::default() };
        let settled = recognise(&clues).instrument;
        if !(shared && (settled.id == item.id || sound.is_empty())) {
            faults.push(format!("{name} ({language}) of {}: {}; with its sound {}", item.id, found.instrument.id, settled.id));
        }
    }
    println!("{} names", names.len());
    assert!(faults.is_empty(), "{}:\n{}", faults.len(), faults.join("\n"));
}

/// Letters of a name, accents off, as the catalogue compares them.
fn recognised_letters(name: &str) -> String {
    use unicode_normalization::UnicodeNormalization;
    name.nfkd()
        .filter(|c| c.is_alphabetic())
        .flat_map(char::to_lowercase)
        .collect::<String>()
        .replace('ß', "ss")
        .replace('œ', "oe")
}

/// How each language prints a key after a name.
fn printed(key: &Key, language: Language) -> String {
    let flat = key.name.alter < 0;
    let sharp = key.name.alter > 0;
    let letter = key.name.step.letter();
    let solfege = match letter {
        'C' => "Do",
        'D' => "Re",
        'E' => "Mi",
        'F' => "Fa",
        'G' => "Sol",
        'A' => "La",
        _ => "Si",
    };
    let octave = key.octave.map(|o| format!(" {o}")).unwrap_or_default();
    match language {
        Language::English => {
            // A bare B is ambiguous in print; another law is about it.
            let sign = if flat {
                "♭"
            } else if sharp {
                "♯"
            } else if letter == 'B' {
                " natural"
            } else {
                ""
            };
            format!("in {letter}{sign}{octave}")
        }
        Language::Italian => {
            let sign = if flat {
                " bemolle"
            } else if sharp {
                " diesis"
            } else {
                ""
            };
            format!("in {solfege}{sign}{octave}")
        }
        Language::French => {
            let sign = if flat {
                " bémol"
            } else if sharp {
                " dièse"
            } else {
                ""
            };
            format!("en {}{sign}{octave}", if solfege == "Do" { "ut" } else { solfege })
        }
        Language::German => {
            let name = match (letter, flat, sharp) {
                ('B', true, _) => "B".to_owned(),
                ('B', ..) => "H".to_owned(),
                ('E' | 'A', true, _) => format!("{letter}s"),
                (_, true, _) => format!("{letter}es"),
                (_, _, true) => format!("{letter}is"),
                _ => letter.to_string(),
            };
            format!("in {name}{octave}")
        }
    }
}

#[test]
fn keys_and_numbers_read_back_in_four_languages() {
    let numberings: [(&str, &[u16]); 6] =
        [("", &[]), (" 1", &[1]), (" 1.2", &[1, 2]), (" III", &[3]), (" 1-4", &[1, 2, 3, 4]), (" 1 & 3", &[1, 3])];
    for id in ["horn", "trumpet", "clarinet", "natural-horn", "cornet"] {
        let item = catalogue().by_id(id).unwrap();
        for t in item.transpositions.iter().filter(|t| t.notation.is_none()) {
            let key = Key { name: t.key, octave: t.octave };
            for language in Language::ALL {
                let name = &item.names(language).singular;
                for (printed_numbers, numbers) in numberings {
                    let text = format!("{name} {}{printed_numbers}", printed(&key, language));
                    let found = recognise(&Clues { name: &text, ..Clues::default() });
                    assert_eq!(found.instrument.id, id, "{text}");
                    assert_eq!(found.keys, [key], "{text}");
                    assert_eq!(found.numbers, numbers, "{text}");
                    assert_eq!(found.transposition.map(|t| (t.key, t.octave)), Some((t.key, t.octave)), "{text}");
                }
            }
        }
    }
}

/// A bare "B": what the file transposes by decides.
#[test]
fn the_transposition_settles_a_bare_b() {
    for (semitones, steps, key) in [(-2, -1, "Bb"), (-1, -1, "B")] {
        let interval = Interval { chromatic: semitones, diatonic: steps, octave: -1 };
        for name in ["Horn in B", "B Horn", "Corno in B", "Corni in B 1.2"] {
            let found = recognise(&Clues { name, transposition: Some(interval), ..Clues::default() });
            assert_eq!(found.keys[0].name.to_string(), key, "{name} {semitones}");
        }
    }
}

#[test]
fn neighbours_settle_what_one_name_leaves_open() {
    let ids = |names: &[&str]| -> Vec<String> {
        let clues: Vec<Clues<'_>> = names.iter().map(|name| Clues { name, ..Clues::default() }).collect();
        recognise_all(&clues).into_iter().map(|found| found.instrument.id.clone()).collect()
    };
    assert_eq!(ids(&["Soprano", "Alto", "Tenor", "Bass"]), ["soprano", "alto", "tenor", "bass-voice"]);
    assert_eq!(ids(&["Violin I", "Violin II", "Viola", "Cello", "Bass"])[4], "double-bass");
    assert_eq!(ids(&["Violons I", "Violons II", "Altos", "Violoncelles", "Basses"])[2..], ["viola", "cello", "double-bass"]);
    assert_eq!(ids(&["Flûte", "Hautbois", "Violon", "Alto", "Violoncelle"])[3], "viola");
    assert_eq!(ids(&["Sopran", "Alt", "Tenor", "Bass", "Violine I", "Violine II"])[3], "bass-voice");
}

#[test]
fn a_bare_b_follows_the_score() {
    let keys = |names: &[&str]| -> Vec<String> {
        let clues: Vec<Clues<'_>> = names.iter().map(|name| Clues { name, ..Clues::default() }).collect();
        recognise_all(&clues).iter().flat_map(|found| found.keys.iter().map(ToString::to_string)).collect()
    };
    assert_eq!(keys(&["Trumpet in B 1", "Clarinet in B♭"]), ["B", "Bb"]);
    assert_eq!(keys(&["Horn in H", "Trumpet in B"]), ["B", "Bb"]);
}

#[test]
fn an_unknown_name_falls_back_and_says_so() {
    let sound = recognise(&Clues { name: "Wotan", sound_id: "voice.baritone", ..Clues::default() });
    assert!(sound.fallback);
    assert_eq!(sound.instrument.id, "baritone");
    assert!(sound.reasons.iter().any(|r| r.to_string().contains("voice.baritone")), "{:?}", sound.reasons);

    let program = recognise(&Clues { name: "Part 3", midi_program: Some(71), ..Clues::default() });
    assert!(program.fallback);
    assert_eq!((program.instrument.id.as_str(), program.numbers.as_slice()), ("bassoon", [3].as_slice()));

    let clef = recognise(&Clues { name: "", clef: "C3".parse().ok(), ..Clues::default() });
    assert!(clef.fallback && clef.confidence < 0.4);
    assert_eq!(clef.instrument.id, "viola");

    let nothing = recognise(&Clues::default());
    assert_eq!((nothing.instrument.id.as_str(), nothing.confidence), ("unspecified", 0.0));
    assert_eq!(nothing.instrument.family, Family::Other);
}

#[test]
fn every_reason_is_one_sentence() {
    let clues = [
        Clues { name: "Bass", sound_id: "strings.contrabass", ..Clues::default() },
        Clues { name: "Vla. solo", sound_id: "brass.tuba", ..Clues::default() },
        Clues { name: "B Horn 3 sopra", midi_program: Some(61), ..Clues::default() },
        Clues { name: "Figaro", clef: "F4".parse().ok(), ..Clues::default() },
    ];
    for clue in clues {
        let found = recognise(&clue);
        assert!(!found.reasons.is_empty());
        for reason in found.reasons {
            let text = reason.to_string();
            assert!(text.ends_with('.') && text.starts_with(|c: char| c.is_uppercase() || c == '“' || c.is_numeric()), "{text}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any text at all is survived, and read the same twice.
    #[test]
    fn no_name_panics(name in "\\PC{0,60}", abbreviation in "\\PC{0,20}", sound in "[a-z.]{0,20}", program in any::<u8>()) {
        let clues = Clues { name: &name, abbreviation: &abbreviation, sound_id: &sound, midi_program: Some(program), ..Clues::default() };
        let found = recognise(&clues);
        prop_assert!((0.0..=1.0).contains(&found.confidence));
        prop_assert_eq!(found, recognise(&clues));
    }

    /// So is any shuffle of the words that part names are made of.
    #[test]
    fn no_mixture_of_words_panics(words in proptest::collection::vec(
        prop::sample::select(vec![
            "Horn", "in", "B", "♭", "1.2", "I", "II", "(", ")", "div.", "a", "3", "Pult", "/", "Picc.", "&", "Chor", "Alto",
            "Bass", "solo", "e", "gli", "altri", "tief", "Klar.", "E", "H.", "-", "4", "1°", "\n", "Tr.", "Vlns",
        ]), 0..12))
    {
        let name = words.join(" ");
        let found = recognise(&Clues { name: &name, ..Clues::default() });
        prop_assert!(found.numbers.len() <= 64);
    }
}
