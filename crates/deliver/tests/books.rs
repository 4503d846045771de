//! Books against the score they are made from.

#![allow(clippy::unwrap_used, clippy::print_stderr)] // a test may stop at the first surprise

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ripieno_deliver::{Book, BookOptions, books, one_list, proof_list, unresolved};
use ripieno_formats::musicxml::write_printed;
use ripieno_formats::{Limits, read, read_file};
use ripieno_score::{BarIndex, Crotchets, DirectionKind, Note, Pitch, Score, Sounding, Unroll};

fn demo() -> Score {
    read_file(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml"), &Limits::default())
        .unwrap()
        .score
}

/// The development scores, where they are at hand.
fn corpus() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/scores");
    let Ok(files) = std::fs::read_dir(&folder) else {
        eprintln!("skipped: {} is not there", folder.display());
        return Vec::new();
    };
    let mut files: Vec<PathBuf> =
        files.map(|file| file.unwrap().path()).filter(|path| path.extension().is_some_and(|e| e == "mxl")).collect();
    files.sort();
    // Every sixth: each costs a second.
    files.into_iter().step_by(6).collect()
}

type Sounded = (Crotchets, Crotchets, Pitch, u32);

/// What a part plays: onset, end, written pitch of each note that is played, with how often.
fn played(score: &Score, part: usize) -> BTreeSet<(BarIndex, Crotchets, Crotchets, String, bool)> {
    score.parts[part]
        .notes
        .iter()
        .filter(|note| note.plays())
        .map(|note| {
            (note.bar, note.at, note.duration, format!("{:?}", note.head), note.flags.contains(ripieno_score::NoteFlags::GRACE))
        })
        .collect()
}

fn sums_back(score: &Score, all: &[Book]) {
    let mut of_part: BTreeMap<usize, Vec<&Book>> = BTreeMap::new();
    all.iter().for_each(|book| of_part.entry(book.part).or_default().push(book));
    assert_eq!(of_part.len(), score.parts.len());
    for (part, books) in of_part {
        let mut together = BTreeSet::new();
        for book in &books {
            let own = &book.score.parts[0];
            let notes: Vec<&Note> = own.notes.iter().filter(|note| !note.flags.contains(ripieno_score::NoteFlags::CUE)).collect();
            let originals: Vec<&Note> =
                book.origin.iter().map(|origin| &score.parts[origin.part].notes[origin.note as usize]).collect();
            assert_eq!(notes.len(), originals.len(), "{}", book.name);
            assert!(book.origin.iter().all(|origin| origin.part == part));
            together.extend(played(&book.score, 0));
            assert_eq!(book.score.bars.len(), score.bars.len());
        }
        assert_eq!(together, played(score, part), "{}", score.parts[part].name);
    }
}

#[test]
fn books_sum_back_to_the_score_note_for_note() {
    let score = demo();
    for splits in [false, true] {
        for cue_after in [0, 2, 8] {
            let options = BookOptions { splits, cue_after, ..BookOptions::default() };
            sums_back(&score, &books(&score, &options).unwrap());
        }
    }
    for file in corpus() {
        let score = read_file(&file, &Limits::default()).unwrap().score;
        sums_back(&score, &books(&score, &BookOptions::default()).unwrap());
    }
}

/// The sounding view of a book, written and read again with its long rests, is the one before.
#[test]
fn a_printed_book_reads_back_the_same() {
    let score = demo();
    for book in books(&score, &BookOptions::default()).unwrap() {
        let text = write_printed(&book.score, &book.printing());
        assert_eq!(text.matches("<multiple-rest>").count(), book.rests.len(), "{}", book.name);
        let again = read("book.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
        let heard = |score: &Score| -> Vec<Sounded> {
            let sounding = Sounding::new(score, Unroll::AsPlayed);
            (0..sounding.notes.len())
                .map(|index| sounding.notes.row(index))
                .map(|row| (row.onset, row.onset + row.duration, row.pitch, row.bar))
                .collect()
        };
        assert_eq!(heard(&again), heard(&book.score), "{}", book.name);
    }
}

/// Planted in the demo (demo/PLANTED.md): trombones and tuba enter at the first tutti, bar 35, after all the bars before.
#[test]
fn a_player_who_waits_long_gets_a_cue_and_one_number() {
    let score = demo();
    let all = books(&score, &BookOptions::default()).unwrap();
    let tuba = all.iter().find(|book| book.name.starts_with("Tuba")).unwrap();
    let first = tuba.score.parts[0].notes.iter().find(|note| note.plays()).unwrap().bar;
    assert_eq!(&*score.bars[first.at()].number, "35");
    let cue = &tuba.cues[0];
    assert_eq!(cue.last.0 + 1, first.0);
    let counted: u32 = tuba.rests.iter().filter(|rest| rest.first < first).map(|rest| rest.bars).sum();
    assert!(counted > 20, "{counted}");
    // Cues are shown and not played.
    assert!(tuba.score.parts[0].notes.iter().any(|note| !note.plays()));
    let labels = tuba.score.parts[0].directions.iter().filter(|sign| sign.bar == cue.first);
    assert!(labels.into_iter().any(|sign| matches!(&sign.kind, DirectionKind::Words(_))));
}

/// A cue whose tuplets have no number cannot be read: each of its notes in a tuplet lies between the first and the last of one, and the time of the bar
/// comes out by them. Read back from what goes out as MusicXML, where the number is `tuplet` and the time `time-modification`.
#[test]
fn tuplets_of_cues_have_their_number() {
    let score = demo();
    let mut seen = 0;
    for book in books(&score, &BookOptions::default()).unwrap() {
        let text = write_printed(&book.score, &book.printing());
        for bar in text.split("<measure ") {
            let mut is_open = false;
            for note in bar.split("<note>").skip(1).map(|note| note.split("</note>").next().unwrap()) {
                if !note.contains("<cue/>") || note.contains("<rest") {
                    continue;
                }
                is_open |= note.contains("<tuplet type=\"start\"");
                let is_one = note.contains("<time-modification>");
                assert_eq!(is_open, is_one, "{}: {note}", book.name);
                seen += usize::from(is_one);
                is_open &= !note.contains("<tuplet type=\"stop\"");
            }
            assert!(!is_open, "{}: a tuplet without an end", book.name);
        }
    }
    assert!(seen > 30, "{seen}");
}

/// Cues for those who read two staves, and for those who read no pitches: on the upper staff, and as a rhythm above the drummer's own notes.
#[test]
fn harp_and_drums_get_cues_too() {
    let score = demo();
    let all = books(&score, &BookOptions::default()).unwrap();
    let called = |name: &str| all.iter().find(|book| book.name == name).unwrap();
    let cue_notes = |book: &Book| -> Vec<Note> {
        let own = book.score.parts[0].notes.iter();
        own.filter(|note| note.flags.contains(ripieno_score::NoteFlags::CUE)).cloned().collect()
    };
    let drum = called("Snare drum");
    assert!(!drum.cues.is_empty());
    let own_place = |note: &Note| match note.head {
        ripieno_score::Head::Unpitched(place) => place.staff_position(),
        ripieno_score::Head::Pitched(pitch) => unreachable!("{pitch}"),
    };
    let highest = drum.score.parts[0].notes.iter().filter(|note| note.plays()).map(own_place).max().unwrap();
    let rhythm = cue_notes(drum);
    assert!(!rhythm.is_empty() && rhythm.iter().all(|note| own_place(note) > highest));
    let source = &score.parts[drum.cues[0].from];
    let first = drum.cues[0].first;
    let begins = |notes: &[Note]| notes.iter().filter(|note| note.bar == first).map(|note| note.at).collect::<BTreeSet<_>>();
    assert!(begins(&rhythm).is_subset(&begins(&source.notes)), "the rhythm is the source's");
    let harp = called("Harp");
    assert!(!harp.cues.is_empty());
    assert!(cue_notes(harp).iter().all(|note| note.staff == 1));
    for cue in &harp.cues {
        let rests = harp.score.parts[0].rests.iter().filter(|rest| (cue.first..=cue.last).contains(&rest.bar));
        let staves: BTreeSet<u8> = rests.map(|rest| rest.staff).collect();
        assert_eq!(staves, BTreeSet::from([1, 2]), "both staves rest in sight");
    }
}

/// Everybody sees every rehearsal mark and tempo.
#[test]
fn rehearsal_marks_and_tempi_are_in_every_book() {
    let score = demo();
    let marks = |score: &Score| -> BTreeSet<String> {
        let all = score.parts.iter().flat_map(|part| &part.directions);
        all.filter(|sign| matches!(sign.kind, DirectionKind::Rehearsal(_) | DirectionKind::Metronome { .. }))
            .map(|sign| format!("{:?} {:?} {:?}", sign.bar, sign.at, sign.kind))
            .collect()
    };
    let wanted = marks(&score);
    assert!(wanted.len() > 10);
    for book in books(&score, &BookOptions::default()).unwrap() {
        assert_eq!(marks(&book.score), wanted, "{}", book.name);
    }
}

/// Numbers of the demo's part list, in the shorthand of publishers (common practice); the four percussion parts of its tutti counted bar by bar with music21.
#[test]
fn the_line_up_in_one_line() {
    let score = demo();
    let sounding = Sounding::new(&score, Unroll::AsPlayed);
    assert_eq!(ripieno_deliver::instrumentation(&score, &sounding), "2.2.2.2 – 6.3.3.1 – timp – 4 perc – harp – str");
}

/// Words over the top staff that are meant for all, dynamics of a chord after "1.", and instruments to take up.
#[test]
fn what_concerns_a_reader_stands_in_the_part() {
    let score = demo();
    let all = books(&score, &BookOptions::default()).unwrap();
    let printed = |bar: BarIndex| score.bars[bar.at()].number.to_string();
    let words = |book: &Book, wanted: &str| -> Vec<String> {
        let own = &book.score.parts[0].directions;
        let is = |kind: &DirectionKind| matches!(kind, DirectionKind::Words(text) if &**text == wanted);
        own.iter().filter(|one| is(&one.kind)).map(|one| printed(one.bar)).collect()
    };
    for book in &all {
        for (wanted, bar) in [("lunga", "8"), ("rit.", "50"), ("poco rit.", "88")] {
            assert_eq!(words(book, wanted), [bar], "{} in {}", wanted, book.name);
        }
    }
    let called = |name: &str| all.iter().find(|book| book.name == name).unwrap();
    let has_dynamic = |name: &str, bar: &str| {
        let own = &called(name).score.parts[0].directions;
        own.iter().any(|one| matches!(one.kind, DirectionKind::Dynamic(_)) && printed(one.bar) == bar)
    };
    assert!(has_dynamic("Horn 2 in F", "34") && has_dynamic("Horn 2 in F", "63") && has_dynamic("Clarinet 2 in B\u{266d}", "9"));
    // Where the first player is alone the second has neither note nor sign.
    assert!(has_dynamic("Horn 1 in F", "46") && !has_dynamic("Horn 2 in F", "46"));
    assert_eq!(words(called("Oboe 2 (English horn)"), "to English horn"), ["45"]);
    assert_eq!(words(called("Flute 2 (Piccolo)"), "to Piccolo").len(), 1);
    assert!(all.iter().all(|book| words(book, "to Violin").is_empty()));
}

/// Ours: two movements in one file, whose bars are numbered from 1 each. A point is found by the last rehearsal mark before its own bar, and points of both
/// movements are told apart though their numbers are the same.
#[test]
fn a_letter_is_that_of_the_bar_also_where_numbers_begin_again() {
    let bar = |index: u32| {
        let letter = match index {
            2 => "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>",
            12 => "<direction><direction-type><rehearsal>K</rehearsal></direction-type></direction>",
            _ => "",
        };
        let label = "<direction placement=\"below\"><direction-type><words>x</words></direction-type></direction>";
        let what = if index == 17 { "<pitch><step>A</step><octave>4</octave></pitch>" } else { "<rest measure=\"yes\"/>" };
        let head = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        format!(
            "<measure number=\"{}\">{}{letter}{}<note>{what}<duration>4</duration></note></measure>",
            index % 12 + 1,
            if index == 0 { head } else { "" },
            if index == 5 { label } else { "" }
        )
    };
    let text = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Oboe</part-name></score-part></part-list>\
         <part id=\"P1\">{}</part></score-partwise>",
        (0..24).map(bar).collect::<String>()
    );
    let score = read("two.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
    let books = books(&score, &BookOptions::default()).unwrap();
    let settings: Vec<_> = books.iter().map(|_| None).collect();
    let open = one_list(&score, unresolved(&score, &books, &settings, &[]), Vec::new());
    let table = String::from_utf8(proof_list(&score, &open)).unwrap();
    let found: Vec<String> = table.lines().skip(1).map(|row| row.split(',').take(3).collect::<Vec<_>>().join(",")).collect();
    assert_eq!(found, ["Oboe,K,6", ",K,12", "Oboe,A,6"], "{table}");
}
