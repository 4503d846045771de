//! What questions are understood, and what is said of others.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use proptest::prelude::*;
use ripieno_questions::language::Condition;
use ripieno_questions::parse;

#[track_caller]
fn refused(question: &str, says: &[&str]) {
    let error = parse(question).expect_err(question);
    for part in says {
        assert!(error.what.contains(part), "{question}: {error}");
    }
    assert!(!error.what.contains('\n'));
}

#[test]
fn the_sentence_of_the_manual_is_understood() {
    let question =
        parse("bars where horns have melody and trombones rest, forte or louder, at least 4 bars long").unwrap().condition;
    let Condition::All(all, lengths) = question else { panic!("{question:?}") };
    assert_eq!((all.len(), lengths.len()), (3, 1));
}

#[test]
fn every_example_of_the_documentation_is_understood() {
    let manual = include_str!("../../../docs/questions.md");
    let examples: Vec<&str> = manual.lines().filter_map(|line| line.strip_prefix("    ")).collect();
    let questions: Vec<&str> =
        examples.iter().filter_map(|line| line.strip_prefix("ripieno ask \"")?.split('"').next()).collect();
    assert!(questions.len() >= 20, "{}", questions.len());
    for question in questions {
        assert!(parse(question).is_ok(), "{question}: {:?}", parse(question));
    }
}

#[test]
fn ways_to_say_the_same() {
    for (one, other) in [
        ("horns play", "the horns play"),
        ("horns play", "bars where the horn plays"),
        ("horns are silent", "horns rest"),
        ("brass is silent", "brass rests"),
        ("horns have melody and play forte", "horns have melody and horns play forte"),
        ("horns play and flutes rest", "horns play, flutes rest"),
        ("horns play and flutes rest", "horns play, and flutes rest"),
        ("horns play, or flutes rest", "horns play or flutes rest"),
        ("at least four players", "more than 3 players"),
        ("horns play for at least 4 bars", "horns play, at least 4 bars long"),
        ("horns play ff", "horns play fortissimo"),
        ("everybody plays", "all sections play"),
        ("cellos above Bb3", "cello above B\u{266d}3"),
        ("key of Eb major", "in Eb major"),
        ("horns do not play", "not horns play"),
        ("where do the horns have the melody?", "horns have melody"),
        ("in which bars do all brass play", "all brass play"),
        ("horns play the tune", "horns have melody"),
        ("strings alone", "only strings play"),
        ("oboes and bassoons play alone", "only oboes and bassoons play"),
        ("brass plays without the strings", "brass plays and strings rest"),
        ("all woodwind play but no brass, for at least 2 bars", "all woodwind play and no brass plays, for at least 2 bars"),
        ("brass is silent for more than 20 bars", "brass is silent, longer than 20 bars"),
        ("tutti, at least 4 bars long", "everybody plays, at least 4 bars long"),
        ("where the tuba first enters", "tuba first plays"),
        ("horns enter after at least 8 bars of rest", "horns enter after 8 bars"),
        ("violins are muted", "violins play con sordino"),
        ("strings pizzicato", "strings play pizzicato"),
        ("horns play forte and muted", "horns play forte and horns are muted"),
        ("oboe has a solo", "oboe solo"),
        ("first violins play", "1st violins play"),
        ("where the melody is covered", "melody is masked"),
        ("trombones cover the melody", "the melody is covered or hard to hear by the trombones"),
        ("the chord is not uneven", "not the chord is uneven"),
        ("horns accompany", "horns have harmony or pedal or rhythm or figuration or punctuation"),
    ] {
        assert_eq!(parse(one).unwrap(), parse(other).unwrap(), "{one} / {other}");
    }
    let (one, other) = ("horns play or flutes rest and oboes rest", "(horns play or flutes rest) and oboes rest");
    assert_ne!(parse(one), parse(other));
}

#[test]
fn who_is_meant() {
    for question in [
        "english horn has melody",
        "bass clarinets double double basses",
        "double basses double bassoons",
        "horns have melody or bass clarinet rests",
        "horns have melody or bass",
        "piano plays",
        "piano or softer",
        "winds and strings play, brass rests",
        "only horns and trumpets play",
        "second horn leads",
        "flutes and oboes a 2",
        "violins divisi, pianissimo or softer",
        "the melody is not heard and brass plays",
        "horns first enter or trombones first enter",
    ] {
        assert!(parse(question).is_ok(), "{question}: {:?}", parse(question));
    }
}

#[test]
fn what_is_not_understood_is_said_in_one_sentence_with_its_place() {
    refused("hornz have melody", &["“hornz”", "word 1", "column 1", "“horns”"]);
    refused("horns have melodie", &["“melodie”", "word 3", "column 12", "“melody”"]);
    refused("horns play and trombnoes rest", &["“trombnoes”", "word 4", "“trombones”"]);
    refused("horns play pizzicatto", &["“pizzicatto”", "“pizzicato”"]);
    refused("the melody is coverd", &["“coverd”", "“covered”"]);
    refused("horns enter after bars", &["“bars”", "a number of bars"]);
    refused("first and horns", &["“first”"]);
    refused("horns", &["ends after “horns”"]);
    refused("", &["is empty"]);
    refused("horns play above H9", &["“H9”", "pitch"]);
    refused("(horns play", &["“)”"]);
    refused("horns play)", &["“)”"]);
    refused("horns play flutes rest", &["“flutes”", "“and”"]);
    refused("at least players", &["“at”"]);
    refused(&"(".repeat(500), &["nested"]);
    refused(&"not ".repeat(900), &["nested"]);
    refused(&"horns play and ".repeat(1000), &["longer than"]);
    refused("chord", &["root"]);
    refused("and", &["“and”"]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn no_text_panics(text in ".{0,200}") {
        let _ = parse(&text);
    }

    #[test]
    fn no_row_of_known_words_panics(words in proptest::collection::vec(prop::sample::select(vec![
        "horns", "trombones", "brass", "double", "basses", "bass", "clarinet", "have", "has", "melody", "or", "and", "not", "(", ")",
        ",", "rest", "play", "forte", "piano", "louder", "softer", "than", "at", "least", "most", "4", "bars", "long", "for", "above",
        "below", "between", "F4", "Bb3", "are", "apart", "from", "by", "semitones", "overlap", "in", "unison", "an", "octave",
        "octaves", "only", "all", "any", "no", "the", "chord", "key", "Eb", "major", "minor", "seventh", "theme", "metre", "3/4",
        "tempo", "players", "sections", "is", "doubled", "share", "layer", "with", "take", "over", "lead", "stay", "nobody", "'Horn 1'",
        "\"", "everybody", "do", "to", "lasting", "longer", "where", "more", "zero", "first", "second", "enter", "after", "melody", "covered", "cover", "uneven", "even", "solo", "pizzicato",
        "muted", "a", "2", "hard", "hear",
    ]), 0..40)) {
        if let Err(error) = parse(&words.join(" ")) {
            prop_assert!(!error.what.is_empty() && !error.what.contains('\n'));
        }
    }
}
