//! An excerpt holds the notes of its bars, whole and valid.
//!
//! The laws are ours: an excerpt of everything is the score; the notes of any window are those of the same bars of the whole, cut at
//! its edges; what is written reads back the same. The schema of MusicXML 4.0 is checked by `reference/validate_xsd.py`.

#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use ripieno_formats::excerpt::{Cut, CutError, Excerpt, Parts, PitchShown, bars_named, condense, cut, parts_named};
use ripieno_formats::{Limits, Severity, musicxml, read, read_file};
use ripieno_score::{
    Articulations, Bar, BarIndex, Change, ChangeKind, Clef, ClefSign, Crotchets, Direction, DirectionKind, DynamicLevel,
    DynamicMark, Edge, Head, Key, Mark, Metre, Note, NoteFlags, NoteValue, Part, PartInstrument, Pitch, Rest, Score, Sounding,
    Step, Swell, Transposition, Unroll,
};

type Heard = (usize, Crotchets, Crotchets, Option<u8>, u8);

/// What sounds in bars `first` to `last`: (part, onset, duration, key, staff), times from the first bar and cut at the edges, sorted.
fn heard(score: &Score, first: usize, last: usize) -> Vec<Heard> {
    let view = Sounding::new(score, Unroll::AsWritten);
    let (from, to) = (view.bars[first].start, view.bars[last].start + view.bars[last].length);
    let mut heard: Vec<Heard> = view
        .notes
        .rows()
        .filter(|row| {
            let ends = row.onset + row.duration;
            if row.duration.is_zero() {
                // A grace note belongs to the bar it is written in, be it at its very end.
                (first..=last).contains(&(row.bar as usize))
            } else {
                row.onset < to && ends > from
            }
        })
        .map(|row| {
            let (onset, ends) = (row.onset.max(from), (row.onset + row.duration).min(to));
            (usize::from(row.part), onset - from, ends - onset, row.key.map(|key| key.number()), row.staff)
        })
        .collect();
    heard.sort();
    heard
}

/// What an excerpt sounds like, with the parts' indices in the score it was cut from.
fn heard_in(excerpt: &Excerpt, chosen: &[usize]) -> Vec<Heard> {
    let last = excerpt.score.bars.len() - 1;
    let mut heard = heard(&excerpt.score, 0, last);
    heard.iter_mut().for_each(|row| row.0 = chosen[row.0]);
    heard.sort();
    heard
}

/// The part each part of the excerpt comes from.
fn parts_of(excerpt: &Excerpt, whole: &Score) -> Vec<usize> {
    excerpt.score.parts.iter().map(|part| whole.parts.iter().position(|other| other.id == part.id).unwrap()).collect()
}

/// Every law of one window.
fn check(score: &Score, first: u32, last: u32, what: &str) {
    let window = Cut::bars(BarIndex(first), BarIndex(last));
    let expected = heard(score, first as usize, last as usize);
    let excerpt = cut(score, &window).unwrap();
    let all: Vec<usize> = (0..score.parts.len()).collect();
    same(&heard_in(&excerpt, &all), &expected, what);
    // Written and read again.
    let xml = musicxml::write(&excerpt.score);
    let back = read("excerpt.musicxml", xml.as_bytes(), &Limits::default()).unwrap();
    let worst = back.findings.iter().find(|finding| finding.severity > Severity::Warning);
    assert!(worst.is_none(), "{what}: {}", worst.unwrap());
    same(&heard(&back.score, 0, (last - first) as usize), &expected, &format!("{what}, read back"));
    let numbers = |bars: &[Bar]| bars.iter().map(|bar| bar.number.clone()).collect::<Vec<_>>();
    assert_eq!(numbers(&back.score.bars), numbers(&excerpt.score.bars), "{what}");
    // At concert pitch nothing sounds otherwise.
    let concert = cut(score, &Cut { pitch: PitchShown::Concert, ..window.clone() }).unwrap();
    same(&heard_in(&concert, &all), &expected, &format!("{what}, at concert pitch"));
    // Only what sounds: nothing is missing.
    match cut(score, &Cut { parts: Parts::Sounding, ..window }) {
        Ok(sounding) => {
            let parts: Vec<usize> = sounding.origin.iter().map(|notes| notes.first().unwrap().part).collect();
            same(&heard_in(&sounding, &parts), &expected, &format!("{what}, only what sounds"));
        }
        Err(error) => assert!(error == CutError::NoParts && expected.is_empty(), "{what}: {error}"),
    }
    // Every note says where it comes from.
    for (part, origin) in excerpt.score.parts.iter().zip(&excerpt.origin) {
        assert_eq!(part.notes.len(), origin.len(), "{what}");
        for (note, from) in part.notes.iter().zip(origin) {
            let source = &score.parts[from.part].notes[from.note as usize];
            assert_eq!(
                (note.bar.0 + first, note.at, note.head, note.voice),
                (source.bar.0, source.at, source.head, source.voice)
            );
        }
    }
}

fn same(found: &[Heard], expected: &[Heard], what: &str) {
    let beyond = |these: &[Heard], those: &[Heard]| -> Vec<Heard> {
        these.iter().filter(|row| those.binary_search(row).is_err()).take(5).copied().collect()
    };
    assert!(
        found == expected,
        "{what}: {} notes for {}; missing {:?}; beyond {:?}",
        found.len(),
        expected.len(),
        beyond(expected, found),
        beyond(found, expected)
    );
}

fn demo() -> Score {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    read_file(&path, &Limits::default()).unwrap().score
}

#[test]
fn an_excerpt_of_everything_is_the_score() {
    let score = demo();
    let last = u32::try_from(score.bars.len()).unwrap() - 1;
    let whole = cut(&score, &Cut::bars(BarIndex(0), BarIndex(last))).unwrap();
    assert_eq!(whole.score.bars, score.bars);
    for (part, original) in whole.score.parts.iter().zip(&score.parts) {
        assert_eq!(part.notes, original.notes, "{}", part.name);
        assert_eq!(part.marks, original.marks, "{}", part.name);
        assert_eq!(part.changes, original.changes, "{}", part.name);
        assert_eq!(part.directions, original.directions, "{}", part.name);
    }
    assert!(whole.held_over.is_empty());
    assert_eq!(musicxml::write(&whole.score), musicxml::write(&score));
}

#[test]
fn windows_of_the_demo() {
    let score = demo();
    let bars = u32::try_from(score.bars.len()).unwrap();
    for first in (0..bars).step_by(13) {
        let last = (first + 19).min(bars - 1);
        check(&score, first, last, &format!("demo, bars {} to {}", first + 1, last + 1));
    }
}

/// Windows of 20 bars of three scores from elsewhere, where they are at hand: every tenth, overlapping by half, or every one when
/// `RIPIENO_ALL_WINDOWS` is set.
#[test]
fn windows_of_shared_scores() {
    let folder = PathBuf::from(std::env::var_os("RIPIENO_SHARED").unwrap_or_else(|| "/work/shared".into())).join("data/scores");
    for name in ["Bach_BWV.1048_1.mxl", "Beethoven_Op.67_1.mxl", "Beach_Op.32_1.mxl"] {
        let Ok(reading) = read_file(&folder.join(name), &Limits::default()) else { continue };
        let score = reading.score;
        let bars = u32::try_from(score.bars.len()).unwrap();
        let step = if std::env::var_os("RIPIENO_ALL_WINDOWS").is_some() { 1 } else { 10 };
        for first in (0..bars).step_by(step) {
            let last = (first + 19).min(bars - 1);
            check(&score, first, last, &format!("{name}, bars {first} to {last} from 0"));
        }
    }
}

fn note(bar: u32, at: i64, pitch: Pitch) -> Note {
    Note {
        bar: BarIndex(bar),
        at: Crotchets::whole(at),
        duration: Crotchets::ONE,
        value: Some(NoteValue::CROTCHET),
        head: Head::Pitched(pitch),
        ..Note::default()
    }
}

/// Four bars of four crotchets for a clarinet in B flat and a percussionist, with signs across the barlines.
fn small() -> Score {
    let mut score = Score::default();
    for number in 1..=4 {
        let mut bar = Bar::new(number.to_string(), Crotchets::ZERO, Crotchets::whole(4));
        bar.metre = (number == 1).then(|| Metre::simple(4, 4));
        score.bars.push(bar);
    }
    let mut part = Part { id: "P1".into(), name: "Clarinet in B flat".into(), abbreviation: "Cl.".into(), ..Part::default() };
    part.instruments.push(PartInstrument { id: "I1".into(), name: "Clarinet".into(), ..PartInstrument::default() });
    part.instruments.push(PartInstrument { id: "I2".into(), name: "Bass clarinet".into(), ..PartInstrument::default() });
    let changes = [
        (0, ChangeKind::Clef(Clef { sign: ClefSign::G, line: 2, octaves: 0 })),
        (0, ChangeKind::Key(Key { fifths: 2, major: None })),
        (0, ChangeKind::Transposition(Transposition { chromatic: -2, diatonic: -1, ..Transposition::NONE })),
        (1, ChangeKind::Instrument(1)),
    ];
    part.changes =
        changes.into_iter().map(|(bar, kind)| Change { bar: BarIndex(bar), at: Crotchets::ZERO, staff: None, kind }).collect();
    for bar in 0..4 {
        for at in 0..4 {
            let mut new = note(bar, at, Pitch::new(Step::D, 0, 5));
            new.instrument = u8::from(bar > 0);
            if at == 3 {
                new.flags |= NoteFlags::TIE_START;
            }
            if at == 0 && bar > 0 {
                new.flags |= NoteFlags::TIE_STOP;
            }
            part.notes.push(new);
        }
    }
    part.notes.last_mut().unwrap().flags -= NoteFlags::TIE_START;
    let slur = |edge| Mark::Slur { edge, number: 1 };
    part.marks = vec![(1, slur(Edge::Start)), (14, slur(Edge::Stop))];
    let direction = |bar: u32, at: i64, kind| Direction {
        bar: BarIndex(bar),
        at: Crotchets::whole(at),
        staff: 1,
        voice: None,
        above: None,
        kind,
    };
    let level = |mark: &str| DirectionKind::Dynamic(DynamicMark::Level(DynamicLevel::from_mark(mark).unwrap()));
    part.directions = vec![
        direction(0, 0, DirectionKind::Words("Allegro".into())),
        direction(0, 0, DirectionKind::Metronome { beat: NoteValue::CROTCHET, per_minute: 96.0, text: None }),
        direction(0, 0, level("p")),
        direction(0, 0, DirectionKind::Words("con sord.".into())),
        direction(0, 2, DirectionKind::HairpinStart { swell: Swell::Crescendo, number: 1, niente: false, dashes: false }),
        direction(3, 0, DirectionKind::HairpinStop { number: 1, niente: false, dashes: false }),
        direction(3, 0, level("f")),
        direction(3, 0, DirectionKind::Words("senza sord.".into())),
    ];
    score.parts.push(part);
    let mut drum = Part { id: "P2".into(), name: "Side drum".into(), ..Part::default() };
    drum.notes.push(Note { head: Head::Unpitched(Pitch::new(Step::E, 0, 4)), ..note(3, 0, Pitch::new(Step::E, 0, 4)) });
    drum.rests = (0..3)
        .map(|bar| Rest {
            bar: BarIndex(bar),
            at: Crotchets::ZERO,
            duration: Crotchets::whole(4),
            value: None,
            tuplet: None,
            voice: 1,
            staff: 1,
            whole_bar: true,
            hidden: false,
            cue: false,
            fermata: false,
        })
        .collect();
    score.parts.push(drum);
    score.finish();
    score
}

fn words(excerpt: &Excerpt) -> Vec<String> {
    let shown = |direction: &Direction| match &direction.kind {
        DirectionKind::Words(text) => text.to_string(),
        DirectionKind::Dynamic(DynamicMark::Level(level)) => level.mark().to_owned(),
        DirectionKind::Metronome { per_minute, .. } => format!("M.M. {per_minute}"),
        DirectionKind::HairpinStart { .. } => "<".to_owned(),
        DirectionKind::HairpinStop { .. } => "|".to_owned(),
        other => format!("{other:?}"),
    };
    excerpt.score.parts[0].directions.iter().map(|d| format!("{} {} {}", d.bar, d.at, shown(d))).collect()
}

#[test]
fn what_is_in_force_comes_along() {
    let score = small();
    let excerpt = cut(&score, &Cut::bars(BarIndex(1), BarIndex(2))).unwrap();
    let part = &excerpt.score.parts[0];
    let kinds: Vec<_> = part.changes.iter().map(|change| (change.bar.0, change.kind.clone())).collect();
    assert_eq!(kinds[..3], score.parts[0].changes.iter().take(3).map(|c| (0, c.kind.clone())).collect::<Vec<_>>());
    assert_eq!(excerpt.score.bars[0].metre, Some(Metre::simple(4, 4)));
    assert_eq!(excerpt.score.bars.iter().map(|bar| &*bar.number).collect::<Vec<_>>(), ["2", "3"]);
    // The hairpin is a fifth of its way from p to f when the excerpt begins: nearer to mp.
    assert_eq!(words(&excerpt), ["0 0 Allegro", "0 0 M.M. 96", "0 0 mp", "0 0 con sord.", "0 0 <", "1 4 |"]);
    // Dashes go on from their word, which the excerpt repeats as a reminder; a hairpin says it by itself.
    let mut dashed = small();
    for direction in &mut dashed.parts[0].directions {
        if let DirectionKind::HairpinStart { dashes, .. } | DirectionKind::HairpinStop { dashes, .. } = &mut direction.kind {
            *dashes = true;
        }
    }
    let carried = words(&cut(&dashed, &Cut::bars(BarIndex(1), BarIndex(2))).unwrap());
    assert_eq!(carried[3..], ["0 0 con sord.", "0 0 (cresc.)", "0 0 <", "1 4 |"]);
    assert!(!words(&cut(&dashed, &Cut::bars(BarIndex(0), BarIndex(2))).unwrap()).contains(&"0 0 (cresc.)".to_owned()));
    let slur = |edge| Mark::Slur { edge, number: 1 };
    assert_eq!(part.marks, [(0, slur(Edge::Start)), (7, slur(Edge::Stop))]);
    assert_eq!(excerpt.held_over, [(0, 0)]);
    assert_eq!(part.notes[0].flags, NoteFlags::empty());
    assert_eq!(part.notes[3].flags, NoteFlags::TIE_START);
    assert_eq!(part.notes[7].flags, NoteFlags::LET_RING);
    // The side drum rests there.
    let sounding = cut(&score, &Cut { parts: Parts::Sounding, ..Cut::bars(BarIndex(1), BarIndex(2)) }).unwrap();
    assert_eq!(sounding.score.parts.len(), 1);
    // The last bar says for itself how it is played, and the other clarinet is named.
    let last = cut(&score, &Cut::bars(BarIndex(3), BarIndex(3))).unwrap();
    assert_eq!(words(&last), ["0 0 Allegro", "0 0 M.M. 96", "0 0 Bass clarinet", "0 0 f", "0 0 senza sord."]);
    // Tempo and headings come to whichever part leads.
    let drum = cut(&score, &Cut { parts: Parts::These(vec![1]), ..Cut::bars(BarIndex(0), BarIndex(3)) }).unwrap();
    assert_eq!(words(&drum), ["0 0 Allegro", "0 0 M.M. 96"]);
}

/// That a solo is over after a rest though no "tutti" follows is common practice.
#[test]
fn a_solo_ends_with_a_rest() {
    let mut score = small();
    let part = &mut score.parts[0];
    part.marks.clear();
    part.notes.iter_mut().for_each(|note| note.flags = NoteFlags::empty());
    let solo = Direction { kind: DirectionKind::Words("Solo".into()), ..part.directions[0].clone() };
    part.directions.insert(0, solo);
    let cut_from = |score: &Score| words(&cut(score, &Cut::bars(BarIndex(2), BarIndex(3))).unwrap());
    assert!(cut_from(&score).contains(&"0 0 Solo".to_owned()));
    score.parts[0].notes.retain(|note| note.bar != BarIndex(1));
    assert!(!cut_from(&score).contains(&"0 0 Solo".to_owned()));
}

#[test]
fn concert_pitch_moves_notes_and_keys() {
    let score = small();
    let excerpt = cut(&score, &Cut { pitch: PitchShown::Concert, ..Cut::bars(BarIndex(1), BarIndex(2)) }).unwrap();
    let part = &excerpt.score.parts[0];
    assert!(part.notes.iter().all(|note| note.pitch() == Some(Pitch::new(Step::C, 0, 5))));
    assert!(part.changes.iter().any(|change| change.kind == ChangeKind::Key(Key { fifths: 0, major: None })));
    assert!(excerpt.score.about.concert_pitch);
}

#[test]
fn what_cannot_be_cut_says_so() {
    let score = small();
    let error =
        |first, last, parts| cut(&score, &Cut { parts, ..Cut::bars(BarIndex(first), BarIndex(last)) }).unwrap_err().to_string();
    assert_eq!(error(2, 9, Parts::All), "the score has 4 bars, counted from its beginning; there are no bars 3 to 10");
    assert_eq!(error(2, 1, Parts::All), "the excerpt ends (bar 2 of 4) before it begins (bar 3)");
    assert_eq!(error(0, 1, Parts::These(vec![2])), "the score has 2 parts; there is no part 3");
    assert_eq!(error(0, 1, Parts::These(vec![])), "no part plays in these bars; ask for other bars, or for parts by name");
}

#[test]
fn bars_and_parts_by_name() {
    let score = small();
    assert_eq!(bars_named(&score, "2-3"), Ok((BarIndex(1), BarIndex(2))));
    assert_eq!(bars_named(&score, " 4 "), Ok((BarIndex(3), BarIndex(3))));
    assert_eq!(bars_named(&score, "#1\u{2013}#2"), Ok((BarIndex(0), BarIndex(1))));
    assert_eq!(bars_named(&score, "7").unwrap_err().to_string(), "no bar is numbered 7; the score runs from 1 to 4");
    assert_eq!(bars_named(&score, "3-2").unwrap_err().to_string(), "\"3-2\" ends before it begins; name the first bar first");
    assert_eq!(bars_named(&score, "-").unwrap_err().to_string(), "\"-\" names no bars; write one as 40, several as 40-56");
    assert_eq!(parts_named(&score, "side drum, cl."), Ok(vec![0, 1]));
    assert_eq!(parts_named(&score, "2"), Ok(vec![1]));
    assert_eq!(parts_named(&score, "clarinet"), Ok(vec![0]));
    let error = parts_named(&score, "tuba").unwrap_err().to_string();
    assert!(error.starts_with("the score has nobody called “tuba”; it has "), "{error}");
}

type LayerKey = (usize, Option<u8>);

/// For each layer and key when it is attacked and when it sounds, stretches that meet or overlap joined: a unison of two lines, one held
/// and one struck, is one sound.
fn sounding_of(
    rows: impl Iterator<Item = (usize, Crotchets, Crotchets, Option<u8>)>,
) -> Vec<(LayerKey, Vec<Crotchets>, Vec<Crotchets>)> {
    let mut of_key: std::collections::BTreeMap<LayerKey, Vec<(Crotchets, Crotchets)>> = std::collections::BTreeMap::new();
    rows.for_each(|(layer, onset, duration, key)| of_key.entry((layer, key)).or_default().push((onset, onset + duration)));
    of_key
        .into_iter()
        .map(|(key, mut stretches)| {
            stretches.sort();
            let mut attacks: Vec<Crotchets> = stretches.iter().map(|stretch| stretch.0).collect();
            attacks.dedup();
            let mut edges: Vec<Crotchets> = Vec::new();
            for (from, to) in stretches {
                match edges.last_mut() {
                    Some(end) if *end >= from => *end = to.max(*end),
                    _ => edges.extend([from, to]),
                }
            }
            (key, attacks, edges)
        })
        .collect()
}

/// Condensed, no pitch that sounds is lost, none is added, and doublings at the unison are written once.
#[test]
fn layers_keep_what_sounds() {
    let score = demo();
    let bars = u32::try_from(score.bars.len()).unwrap();
    // The upper half of the page, the rest but for the last part, and the last part without a layer.
    let half = score.parts.len() / 2;
    let names = ["upper".to_owned(), "lower".to_owned()];
    let layer = |part: usize| if part + 1 == score.parts.len() { None } else { Some(usize::from(part >= half)) };
    let layers: Vec<Vec<Option<usize>>> =
        score.parts.iter().enumerate().map(|(index, part)| vec![layer(index); part.notes.len()]).collect();
    for first in (0..bars).step_by(19) {
        let last = (first + 11).min(bars - 1);
        let what = format!("bars {} to {}", first + 1, last + 1);
        let heard = heard(&score, first as usize, last as usize);
        let excerpt = match condense(&score, (BarIndex(first), BarIndex(last)), &names, &layers) {
            Ok(excerpt) => excerpt,
            Err(error) => {
                assert!(error == CutError::NoParts && heard.is_empty(), "{what}: {error}");
                continue;
            }
        };
        let layer_named = |part: &Part| names.iter().position(|name| *name == part.name).unwrap_or(2);
        let expected = sounding_of(heard.iter().map(|row| (layer(row.0).unwrap_or(2), row.1, row.2, row.3)));
        let check = |score: &Score, what: &str| {
            let heard = self::heard(score, 0, (last - first) as usize);
            let found = sounding_of(heard.iter().map(|row| (layer_named(&score.parts[row.0]), row.1, row.2, row.3)));
            assert!(found == expected, "{what}: {:?}", found.iter().zip(&expected).find(|(found, expected)| found != expected));
        };
        check(&excerpt.score, &what);
        let xml = musicxml::write(&excerpt.score);
        let back = read("condensed.musicxml", xml.as_bytes(), &Limits::default()).unwrap();
        check(&back.score, &format!("{what}, read back"));
        for (part, origin) in excerpt.score.parts.iter().zip(&excerpt.origin) {
            assert_eq!(part.notes.len(), origin.len());
            let from = |note: &Note, origin: &ripieno_formats::excerpt::NoteOrigin| {
                let source = &score.parts[origin.part].notes[origin.note as usize];
                (note.bar.0 + first, note.at, note.duration) == (source.bar.0, source.at, source.duration)
            };
            assert!(part.notes.iter().zip(origin).all(|(note, origin)| from(note, origin)), "{what}");
        }
    }
}

/// In the trade a sign over a chord stands once: notes of several players set as one chord do not pile theirs up.
#[test]
fn signs_of_merged_notes_stand_once() {
    let mut score = demo();
    for part in &mut score.parts {
        part.notes.iter_mut().for_each(|note| note.articulations |= Articulations::STRONG_ACCENT);
    }
    // The whole page as one layer.
    let layers: Vec<Vec<Option<usize>>> = score.parts.iter().map(|part| vec![Some(0); part.notes.len()]).collect();
    let excerpt = condense(&score, (BarIndex(35), BarIndex(45)), &["all".to_owned()], &layers).unwrap();
    let mut chords = 0;
    for part in &excerpt.score.parts {
        let accented = |note: &Note| note.articulations.contains(Articulations::STRONG_ACCENT);
        for pair in part.notes.windows(2).filter(|pair| pair[1].flags.contains(NoteFlags::CHORD)) {
            assert!(!accented(&pair[1]), "bar {}: a second accent on one chord", pair[1].bar.0);
            chords += 1;
        }
        let plain = |note: &&Note| !note.flags.contains(NoteFlags::CHORD) && note.plays();
        assert!(part.notes.iter().filter(plain).all(accented), "each chord keeps its sign");
    }
    assert!(chords > 50, "{chords}");
}

#[test]
fn notes_carry_ids_when_asked() {
    let score = small();
    let xml = musicxml::write_with_ids(&score);
    assert!(xml.contains("<note id=\"n0-0\">") && xml.contains(&format!("<note id=\"{}\"", musicxml::note_id(1, 0))));
    let without = xml.lines().map(|line| line.split(" id=\"n").next().unwrap().trim_end_matches('>').to_owned());
    let plain = musicxml::write(&score);
    let count = plain.lines().zip(without).filter(|(a, b)| a.trim_end_matches('>') != b).count();
    assert_eq!(count, 0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any window of the demo, any of its parts.
    #[test]
    fn any_window_keeps_its_notes(first in 0u32..160, length in 0u32..12, part in 0usize..20) {
        static DEMO: std::sync::LazyLock<Score> = std::sync::LazyLock::new(demo);
        let bars = u32::try_from(DEMO.bars.len()).unwrap();
        let first = first.min(bars - 1);
        let last = (first + length).min(bars - 1);
        let parts = vec![part % DEMO.parts.len(), (part * 7 + 3) % DEMO.parts.len()];
        let window = Cut { parts: Parts::These(parts.clone()), ..Cut::bars(BarIndex(first), BarIndex(last)) };
        let excerpt = cut(&DEMO, &window).unwrap();
        let mut expected = heard(&DEMO, first as usize, last as usize);
        expected.retain(|row| parts.contains(&row.0));
        prop_assert_eq!(heard_in(&excerpt, &parts_of(&excerpt, &DEMO)), expected);
        // Cutting what has been cut changes nothing.
        let again = cut(&excerpt.score, &Cut::bars(BarIndex(0), BarIndex(last - first))).unwrap();
        prop_assert_eq!(again.score, excerpt.score);
    }
}
