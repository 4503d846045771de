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
        ("the whole orchestra plays", "everybody plays"),
        ("general pause", "everybody rests"),
        ("nothing but woodwind and horns sounds", "only woodwind and horns play"),
        ("where are the strings divided?", "strings are divided"),
        ("where is the harp used?", "harp plays"),
        ("where are the violins above the flutes", "violins are above flutes"),
        ("flutes play above the oboes", "flutes are above oboes"),
        ("flutes above the oboes", "flutes are above oboes"),
        ("violins go above E7", "violins above E7"),
        ("cellos and bassoons play in unison", "cellos double bassoons in unison"),
        ("flutes and violins double each other", "flutes double violins"),
        ("first and second violins play in octaves", "first violins double second violins in octaves"),
        ("horns are an octave below trumpets", "horns double trumpets an octave below"),
        ("the melody is in the horns", "horns have melody"),
        ("the melody passes from the flute to the oboe", "oboe takes over the melody from the flute"),
        ("horns hand the melody to the oboes", "oboes take over the melody from horns"),
        ("tremolo in the strings, pianissimo", "strings play tremolo, pianissimo"),
        ("counter-melody in the cellos", "cellos have countermelody"),
        ("where the horns hold a pedal", "horns have pedal"),
        ("a pedal point in the double basses", "double basses have pedal"),
        ("at most three instruments play", "at most 3 parts"),
        ("where the choir sings", "voice plays"),
        ("trombones play chords softly", "trombones play chords piano or softer"),
        ("the trombones play for the first time", "trombones first enter"),
        ("crescendo over at least 4 bars", "crescendo, at least 4 bars long"),
        ("diminished seventh chords", "chord diminished seventh"),
        ("strings accompany the oboe", "strings accompany and oboe has melody"),
        ("strings accompany the melody", "strings accompany"),
        ("how many bars do the trombones play", "trombones play"),
        ("how often do the trumpets have the melody", "trumpets have melody"),
        ("divisi violas", "violas are divisi"),
        ("solo violin", "violin solo"),
        ("where is there a countermelody", "countermelody"),
        ("the bass line of the tuba", "tuba has bass"),
        ("in the key of D minor", "in D minor"),
        ("horns crescendo", "crescendo in the horns"),
        ("timpani roll", "timpani play tremolo"),
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
        ("a horn plays", "horns play"),
        ("an oboe has the melody", "oboe has melody"),
        ("where is a trumpet muted", "trumpets are muted"),
        ("where does a horn have a solo", "horns have solo"),
        ("where does a trumpet play at the bridge", "trumpets play at the bridge"),
        ("where does the flute double an oboe", "flutes double oboes"),
        ("a trumpet plays and in a minor", "trumpets play and in A minor"),
        ("where does an english horn play a 2", "english horn plays a 2"),
        ("what does a trumpet do in bars 35 to 45", "what do the trumpets do in bars 35 to 45"),
        ("which bars have tremolo in the strings", "strings play tremolo"),
        ("which bars have a tutti", "tutti"),
        ("which bars have muted trumpets", "trumpets are muted"),
        ("which bars have the melody in the horns", "horns have melody"),
        ("which bars have horns", "horns play"),
        ("which bars have horns and no trombones", "horns play and no trombones play"),
        ("which bars contain a crescendo", "crescendo"),
        ("which bars are in 3/4", "in 3/4"),
        ("which bars are loud", "loudly"),
        ("where are there trumpets", "trumpets play"),
        ("where do the horns and the trumpets play", "horns and trumpets play"),
        ("where do strings use mutes", "strings are muted"),
        ("where do the horns play loudly", "horns play, horns forte or louder"),
        ("horns softly play", "horns play softly"),
        ("the horns are soft", "horns piano or softer"),
        ("oboes play very softly", "oboes play pianissimo or softer"),
        ("very loudly", "fortissimo or louder"),
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
        "tutti, at least 4 bars long",
        "the bass drops out",
        "bass clarinet drops out",
        "the melody is thickened by the second violins",
        "where is the melody thickened?",
        "flutes thicken the melody",
        "melody in octaves",
        "melody in unison with the flutes",
        "the melody is doubled an octave below by bassoons",
        "the melody is in the bass",
        "the melody is in the bass clarinet",
        "the melody changes hands",
        "dominant pedal",
        "horns hold a dominant pedal",
        "pedal on G",
        "chords in open position",
        "brass in close position",
        "chord of C major in second inversion",
        "horns change from chords to melody",
        "all strings in unison",
        "unison of the whole orchestra",
        "where the metre changes",
        "key changes",
        "who has the melody in bars 20 to 30",
        "which instruments double the cellos",
        "oboes are accompanied by strings only",
        "trombones drop out",
        "horns are lowest",
        "muted trumpets have the melody",
        "con sordini",
        "horns play forte above the trumpets",
        "violas cross above the second violins",
    ] {
        assert!(parse(question).is_ok(), "{question}: {:?}", parse(question));
    }
}

#[test]
fn what_is_wanted() {
    use ripieno_questions::language::{End, Wanted};
    for (question, wanted, same) in [
        ("longest passage in which only strings play", Wanted::Length(End::High), "only strings play"),
        ("the first tutti", Wanted::Place(End::Low), "tutti"),
        ("last bar in which the tuba plays", Wanted::Bar(End::High), "tuba plays"),
        ("last passage in which the tuba plays", Wanted::Place(End::High), "tuba plays"),
        ("longest rest of the trombones", Wanted::Length(End::High), "trombones rest"),
        ("longest solo of the oboe", Wanted::Length(End::High), "oboe solo"),
        ("longest oboe solo", Wanted::Length(End::High), "oboe solo"),
        ("first entry of the trombones", Wanted::Place(End::Low), "trombones enter"),
        ("longest melody of the oboe", Wanted::Length(End::High), "oboe has melody"),
        ("softest tutti", Wanted::Level(End::Low), "tutti"),
        ("first violins play", Wanted::All, "1st violins play"),
        ("the longest passage where horns rest, forte or louder", Wanted::Length(End::High), "horns rest, forte or louder"),
    ] {
        let parsed = parse(question).unwrap_or_else(|error| panic!("{question}: {error}"));
        assert_eq!((parsed.wanted, parsed.condition), (wanted, parse(same).unwrap().condition), "{question}");
    }
    for question in ["loudest passage", "where is the texture thinnest?", "highest note of the first trumpet"] {
        assert_eq!(parse(question).unwrap().condition, Condition::always(), "{question}");
    }
    assert!(matches!(parse("lowest note of the tuba in bars 81 to 88").unwrap().wanted, Wanted::Note(End::Low, _)));
}

#[test]
fn what_is_not_understood_is_said_in_one_sentence_with_its_place_and_an_example() {
    refused(
        "hornz have melody",
        &["“hornz”", "at the beginning", "“horns”", "try, for example, “horns have melody, forte or louder”"],
    );
    refused("horns have melodie", &["“melodie”", "after “horns have”", "“melody”", "“horns have melody"]);
    refused("horns play and trombnoes rest", &["“trombnoes”", "after “horns play and”", "“trombones”"]);
    refused("horns play pizzicatto", &["“pizzicatto”", "“pizzicato”"]);
    refused("the melody is coverd", &["“coverd”", "“covered”"]);
    refused("horns enter after bars", &["“bars”", "a number of bars"]);
    refused("first and horns", &["“first”"]);
    refused("horns and", &["ends after “and”"]);
    refused("tuba plays low", &["“low”", "after “tuba plays”", "“tuba stays below C3”"]);
    refused("roughness high", &["“roughness”", "the balance of a passage tells it"]);
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
    refused("highest note", &["“of”"]);
    refused("longest hornz", &["“hornz”", "“horns”"]);
    refused("horns change from chords", &["“to”"]);
    refused("the melody passes from flute", &["“to”"]);
    refused("cadence in G major", &["“cadence”"]);
    refused("where is a trumpet blue", &["“blue”", "after “where is trumpet”"]);
    let chorale = parse("where do trombones play a chorale").expect_err("not known");
    assert!(chorale.what.contains("“chorale”") && !chorale.what.contains("nearest"), "{chorale}");
}

/// As musicians ask: whole, full, entire and tutti of a group are all of it, and a group of which nothing is said plays.
#[test]
fn a_group_is_asked_for_in_more_than_one_way() {
    for (question, same) in [
        ("which bars have the whole brass", "all brass play"),
        ("full brass", "all brass play"),
        ("the entire brass section", "all brass play"),
        // A sound of the catalogue is called "full strings".
        ("full strings", "all strings play"),
        ("full strings play forte", "all strings play forte"),
        ("the full strings", "all strings play"),
        ("the full string section", "all strings play"),
        ("all brass", "all brass play"),
        ("brass tutti", "all brass play"),
        ("tutti of the brass", "all brass play"),
        ("tutti brass, fortissimo", "all brass play, fortissimo"),
        ("the whole of the strings and no brass", "all strings play and no brass play"),
        ("whole orchestra", "everybody plays"),
        ("full orchestra plays", "everybody plays"),
        ("horns", "horns play"),
        ("brass or strings", "brass or strings play"),
        ("no brass", "no brass play"),
        ("chords ring unevenly", "the chord is uneven"),
        ("full chords are uneven", "the chord is uneven"),
        ("where is an uneven chord", "the chord is uneven"),
        ("melody masked by brass", "the melody is covered by the brass"),
        ("brass section plays", "brass plays"),
    ] {
        let understood = |text: &str| parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
        assert_eq!(understood(question).condition, understood(same).condition, "{question}");
    }
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

#[test]
fn shares_are_sent_to_the_tables() {
    for question in ["what share of the brass is melody", "how much do the horns play", "average number of players"] {
        refused(question, &["measures", "--sql"]);
    }
    refused("the widest gap between horns", &["ends after", "the other group"]);
    refused("where is the gap between horns and trombones more than blue", &["a distance such as"]);
}
