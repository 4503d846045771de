//! The catalogue against itself, the standards and the handbooks.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeSet;

use ripieno_instruments::catalogue::{Language, catalogue, score_order};
use ripieno_instruments::range::Range;
use ripieno_instruments::{Family, Section};

#[test]
fn every_row_is_whole() {
    let all = catalogue().all();
    assert!(all.len() >= 250, "{}", all.len());
    let mut ids = BTreeSet::new();
    let mut orders = BTreeSet::new();
    for item in all {
        assert!(item.id.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{}", item.id);
        assert!(ids.insert(&item.id), "{} twice", item.id);
        assert!(orders.insert(item.order), "{} shares its place in the score", item.id);
        if let Some(kind) = &item.kind_of {
            let parent = catalogue().by_id(kind);
            assert!(parent.is_some_and(|p| p.family == item.family), "{} is a kind of {kind}", item.id);
        }
        assert!(item.players.0 >= 1 && item.players.0 <= item.players.1, "{}", item.id);
        assert!(item.weight <= 9, "{}", item.id);
        assert!(item.program.is_none_or(|p| (1..=128).contains(&p)), "{}", item.id);
        // General MIDI 1 percussion keys run from 35 (acoustic bass drum) to 81 (open triangle).
        assert!(item.drum_key.is_none_or(|k| (35..=81).contains(&k)), "{}", item.id);
        for language in Language::ALL {
            assert!(!item.names(language).singular.is_empty(), "{} in {language}", item.id);
        }
        let cited = item.sources.iter().chain(item.transpositions.iter().flat_map(|t| &t.sources));
        for code in cited {
            assert!(catalogue().source(code).is_some(), "{}: unknown source {code}", item.id);
        }
        assert!(item.range_basis().is_none() || !item.sources.is_empty(), "{} has a compass without source", item.id);
    }
}

#[test]
fn every_section_and_family_is_used() {
    for section in Section::ALL {
        assert!(catalogue().all().iter().any(|item| item.section == *section), "{section}");
    }
    for family in Family::ALL {
        assert!(catalogue().all().iter().any(|item| item.family == *family), "{family}");
    }
}

#[test]
fn transpositions_are_what_their_keys_say() {
    for item in catalogue().all() {
        for t in &item.transpositions {
            // Tubas in F, E flat and B flat are named after their tube and read concert pitch.
            if t.semitones == 0 && item.section == Section::Tubas {
                continue;
            }
            let key = i8::try_from(t.key.step.semitones()).unwrap() + t.key.alter;
            assert_eq!((t.semitones - key).rem_euclid(12), 0, "{} {t}", item.id);
            let step = t.key.step as i8;
            assert_eq!((t.steps - step).rem_euclid(7), 0, "{} {t}", item.id);
            assert_eq!((t.semitones - key) / 12, (t.steps - step) / 7, "{} {t}", item.id);
            assert_eq!(t.chromatic() + 12 * t.octave_change(), t.semitones);
            assert_eq!(t.diatonic() + 7 * t.octave_change(), t.steps);
        }
    }
}

/// MusicXML 4.0, element `transpose`, gives the bass clarinet in B flat (a major ninth down) as an example of
/// `octave-change`; the horn in F and the piccolo are common practice.
#[test]
fn transpositions_split_as_music_xml_writes_them() {
    let of = |id: &str| {
        let t = catalogue().by_id(id).unwrap().default_transposition();
        (t.diatonic(), t.chromatic(), t.octave_change())
    };
    assert_eq!(of("bass-clarinet"), (-1, -2, -1));
    assert_eq!(of("horn"), (-4, -7, 0));
    assert_eq!(of("piccolo"), (0, 0, 1));
    assert_eq!(of("double-bass"), (0, 0, -1));
    assert_eq!(of("baritone-saxophone"), (-5, -9, -1));
    assert_eq!(of("trumpet"), (-1, -2, 0));
}

fn usual_or_extreme(id: &str) -> (Range, Range) {
    let item = catalogue().by_id(id).unwrap();
    let ranges = item.sounding(item.default_transposition()).unwrap();
    (ranges.extreme, ranges.usual)
}

/// The outer ends S. Adler gives ("The Study of Orchestration"), as tabulated by Chon, Huron and DeVlieger: no compass of
/// the catalogue may be narrower at its extreme, save the horn's G1, which they mark as doubtful in the low register.
#[test]
fn compasses_reach_what_adler_gives() {
    let adler = [
        ("horn", "G1..F5"),
        ("trumpet", "F#3..C6"),
        ("trombone", "E2..F5"),
        ("bass-trombone", "Bb1..Bb4"),
        ("tuba", "D1..G4"),
        ("timpani", "D2..C4"),
        ("flute", "C4..D7"),
        ("piccolo", "D5..C8"),
        ("oboe", "Bb3..G6"),
        ("english-horn", "E3..C6"),
        ("clarinet", "D3..G6"),
        ("bass-clarinet", "Bb1..D5"),
        ("bassoon", "Bb1..E5"),
        ("contrabassoon", "Bb0..Bb3"),
        ("violin", "G3..B7"),
        ("viola", "C3..A6"),
        ("cello", "C2..E6"),
        ("double-bass", "C1..G4"),
    ];
    for (id, compass) in adler {
        let adler: Range = compass.parse().unwrap();
        let (extreme, usual) = usual_or_extreme(id);
        assert!(extreme.covers(adler), "{id}: {extreme} does not reach {adler}");
        // And none may be wildly wider: a fifth beyond either end at most.
        assert!(extreme.low() + 12 >= adler.low() && extreme.high() <= adler.high() + 10, "{id}: {extreme}");
        assert!(usual.low() >= extreme.low() && usual.high() <= extreme.high(), "{id}");
    }
}

/// newyorkbrass.com/brass-basics.html: the written compass of every trumpet is F sharp 3 to C6.
#[test]
fn trumpets_share_one_written_compass() {
    let trumpet = catalogue().by_id("trumpet").unwrap();
    let written: Range = "F#3..C6".parse().unwrap();
    for key in ["Bb", "C"] {
        let t = trumpet.transpositions.iter().find(|t| t.key.to_string() == key).unwrap();
        assert_eq!(trumpet.written(t).unwrap().usual, written, "trumpet in {key}");
    }
}

/// Arithmetic on the harmonic series: a horn crooked in any key plays written partials 2 (C3) to 16 (C6).
#[test]
fn crooks_move_the_sound_and_leave_the_writing() {
    let horn = catalogue().by_id("natural-horn").unwrap();
    for t in &horn.transpositions {
        assert_eq!(horn.written(t).unwrap().extreme.high(), 84, "{t}");
        let sounding = horn.sounding(t).unwrap().extreme.high();
        assert_eq!(i16::from(sounding), 84 + i16::from(t.semitones), "{t}");
    }
}

/// General MIDI System Level 1: program numbers counted from 1.
#[test]
fn programs_are_those_of_general_midi() {
    let expected = [
        (1, "piano"),
        (9, "celesta"),
        (41, "violin"),
        (43, "cello"),
        (44, "double-bass"),
        (47, "harp"),
        (48, "timpani"),
        (57, "trumpet"),
        (58, "trombone"),
        (59, "tuba"),
        (61, "horn"),
        (69, "oboe"),
        (70, "english-horn"),
        (71, "bassoon"),
        (72, "clarinet"),
        (73, "piccolo"),
        (74, "flute"),
        (115, "steel-drums"),
    ];
    for (program, id) in expected {
        assert_eq!(catalogue().by_program(program).unwrap().id, id, "program {program}");
        assert_eq!(catalogue().by_id(id).unwrap().program, Some(program), "{id}");
    }
    assert!(catalogue().by_program(0).is_none());
    assert!(catalogue().by_program(129).is_none());
    for program in 1..=128 {
        assert!(catalogue().by_program(program).is_some(), "program {program}");
    }
}

/// Common practice: the order of a full score from the piccolo down to the double basses.
#[test]
fn score_order_is_that_of_a_full_score() {
    let page = [
        "piccolo",
        "flute",
        "alto-flute",
        "oboe",
        "english-horn",
        "eb-clarinet",
        "clarinet",
        "bass-clarinet",
        "bassoon",
        "contrabassoon",
        "horn",
        "trumpet",
        "trombone",
        "bass-trombone",
        "tuba",
        "timpani",
        "percussion",
        "harp",
        "celesta",
        "piano",
        "soprano",
        "alto",
        "tenor",
        "bass-voice",
        "choir",
        "violin",
        "viola",
        "cello",
        "double-bass",
    ];
    let items: Vec<_> = page.iter().map(|id| catalogue().by_id(id).unwrap()).collect();
    assert!(items.windows(2).all(|pair| score_order(pair[0], pair[1]).is_lt()));
}

/// Every sound id stands in the list of standard sounds of MusicXML 3.0 (`sounds.xml`, W3C/MakeMusic). The file is
/// fetched by the test set-up; name it in `RIPIENO_SOUNDS_XML`.
#[test]
fn sounds_are_standard() {
    let Some(path) = std::env::var_os("RIPIENO_SOUNDS_XML") else {
        println!("skipped: RIPIENO_SOUNDS_XML does not name sounds.xml");
        return;
    };
    let text = std::fs::read_to_string(path).unwrap();
    let standard: BTreeSet<&str> = text.split("id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(standard.len() > 800, "{} sounds read", standard.len());
    for item in catalogue().all() {
        for sound in &item.sounds {
            assert!(standard.contains(sound.as_str()), "{}: {sound} is no standard sound", item.id);
        }
    }
}

/// Humdrum User's Guide, Appendix II: instrument codes.
#[test]
fn kern_codes_are_known() {
    for (code, id) in
        [("violn", "violin"), ("clarb", "bass-clarinet"), ("calto", "alto"), ("cor", "horn"), ("fag_c", "contrabassoon")]
    {
        assert_eq!(catalogue().by_kern(code).unwrap().id, id);
    }
    assert!(catalogue().by_kern("").is_none());
}
