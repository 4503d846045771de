//! How what is cast is written down: whole tuplets, beams, rests that show the beats, and the signs of the sketch on everybody's notes.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use ripieno_casting::{Cast, Lineup, Sketch};
use ripieno_score::{
    Articulations, Bar, Beam, ChangeKind, Crotchets, Edge, Mark, Metre, NoteFlags, NoteValue, Part, Score, TupletRatio,
};

/// A note, chord or rest of a voice in a bar.
struct Item {
    at: Crotchets,
    duration: Crotchets,
    value: Option<NoteValue>,
    tuplet: Option<TupletRatio>,
    beam: Option<Beam>,
    note: Option<usize>,
}

fn voices(part: &Part) -> BTreeMap<(u32, u16), Vec<Item>> {
    let mut found: BTreeMap<(u32, u16), Vec<Item>> = BTreeMap::new();
    for (at, note) in part.notes.iter().enumerate() {
        if !note.flags.intersects(NoteFlags::CHORD | NoteFlags::GRACE) {
            let (value, tuplet, beam) = (note.value, note.tuplet, note.beams.get(1));
            let item = Item { at: note.at, duration: note.duration, value, tuplet, beam, note: Some(at) };
            found.entry((note.bar.0, note.voice)).or_default().push(item);
        }
    }
    for rest in part.rests.iter().filter(|rest| !rest.whole_bar) {
        let item = Item { at: rest.at, duration: rest.duration, value: rest.value, tuplet: rest.tuplet, beam: None, note: None };
        found.entry((rest.bar.0, rest.voice)).or_default().push(item);
    }
    found.values_mut().for_each(|items| items.sort_by_key(|item| item.at));
    found
}

/// Every note of a tuplet stands between a start and a stop, and what stands between them, with the rests beside it, fills whole units.
fn tuplets_are_marked(part: &Part, place: &str) {
    for ((bar, voice), items) in voices(part) {
        let mut open = 0;
        for note in items.iter().filter_map(|item| item.note) {
            let edges = |wanted: Edge| {
                part.marks_of(note).filter(|mark| matches!(mark, Mark::Tuplet { edge, .. } if *edge == wanted)).count()
            };
            open += edges(Edge::Start);
            assert_eq!(part.notes[note].tuplet.is_some(), open == 1, "{place}, {} bar {bar} voice {voice}", part.name);
            open -= edges(Edge::Stop);
        }
        assert_eq!(open, 0, "{place}, {} bar {bar} voice {voice}", part.name);
        // A beat that holds one triplet quaver holds whole units of three.
        for run in items.chunk_by(|a, b| a.tuplet == b.tuplet).filter(|run| run[0].tuplet.is_some()) {
            let length: Crotchets = run.iter().map(|item| item.duration).sum();
            assert!(length.denominator().count_ones() == 1, "{place}, {} bar {bar}: {length} of tuplets", part.name);
        }
    }
}

/// The length of a beat, where the metre is one the demo has.
fn beat(metre: &Metre) -> Crotchets {
    let Metre::Measured(terms) = metre else { panic!("free") };
    match terms.as_slice() {
        [(beats, 8)] if beats.iter().all(|beats| beats % 3 == 0) => Crotchets::new(3, 2).unwrap(),
        [(_, 2)] => Crotchets::whole(2),
        _ => Crotchets::ONE,
    }
}

/// Neighbours shorter than a crotchet within a beat are under one beam, and beams begin and end.
fn beats_are_beamed(part: &Part, bars: &[Bar], place: &str) {
    for ((bar, voice), items) in voices(part) {
        let metre = bars[..=bar as usize].iter().rev().find_map(|bar| bar.metre.as_ref()).unwrap();
        let beat = beat(metre).min(Crotchets::new(3, 2).unwrap());
        let short = |item: &Item| item.note.is_some() && item.value.is_some_and(|value| value.halvings >= 3);
        let mut open = false;
        for (at, item) in items.iter().enumerate() {
            let told = || format!("{place}, {} bar {bar} voice {voice} at {}", part.name, item.at);
            match item.beam {
                Some(Beam::Begin) => assert!(!std::mem::replace(&mut open, true) && short(item), "{}", told()),
                Some(Beam::Continue) => assert!(open && short(item), "{}", told()),
                Some(Beam::End) => assert!(std::mem::replace(&mut open, false) && short(item), "{}", told()),
                Some(_) => panic!("{}: a hook for the first beam", told()),
                None => assert!(!open, "{}", told()),
            }
            let Some(next) = items.get(at + 1) else { continue };
            let same = item.at.checked_div(beat).unwrap().floor() == next.at.checked_div(beat).unwrap().floor();
            if same && item.at + item.duration == next.at && short(item) && short(next) {
                let joined = matches!(item.beam, Some(Beam::Begin | Beam::Continue));
                assert!(joined && matches!(next.beam, Some(Beam::Continue | Beam::End)), "{}", told());
            }
        }
        assert!(!open, "{place}, {} bar {bar} voice {voice}", part.name);
    }
}

/// No rest is dotted where beats are plain, none crosses the middle of a bar in four, none over a beat begins off one. From memory of handbooks (Gould on rests).
fn rests_follow_beats(part: &Part, bars: &[Bar], place: &str) {
    for rest in part.rests.iter().filter(|rest| !rest.whole_bar) {
        let metre = bars[..=rest.bar.at()].iter().rev().find_map(|bar| bar.metre.as_ref()).unwrap();
        let full = metre.length().unwrap();
        let beat = beat(metre);
        let bar = &bars[rest.bar.at()];
        let from = if rest.bar.0 == 0 || bar.uncounted { rest.at + (full - bar.length) } else { rest.at };
        let to = from + rest.duration;
        let told = || format!("{place}, {} bar {}: rest {from} to {to} in {metre}", part.name, rest.bar.0);
        let value = rest.value.unwrap_or_else(|| panic!("{}", told()));
        let compound = beat.denominator() == 2;
        assert!(value.dots == 0 || (compound && rest.duration >= beat), "{}", told());
        if rest.duration > beat {
            assert_eq!(from.modulo(beat), Some(Crotchets::ZERO), "{}", told());
            let half = full * Crotchets::new(1, 2).unwrap();
            assert!(full == beat * Crotchets::whole(4) && (to <= half || from >= half), "{}", told());
        } else {
            let place = |at: Crotchets| at.checked_div(beat).unwrap();
            let last = place(to);
            assert!(place(from).floor() == last.floor() || last.denominator() == 1, "{}", told());
        }
    }
}

/// Every slur that begins ends, and the other way round.
fn slurs_are_whole(part: &Part, place: &str) {
    let count =
        |wanted: Edge| part.marks.iter().filter(|(_, mark)| matches!(mark, Mark::Slur { edge, .. } if *edge == wanted)).count();
    assert_eq!(count(Edge::Start), count(Edge::Stop), "{place}, {}", part.name);
}

/// Beyond three ledger lines nothing is written where another clef of the instrument has it nearer, and no clef changes for a note or two.
fn clefs_are_read_easily(part: &Part, place: &str) {
    let clefs = part.changes.iter().filter(|change| matches!(change.kind, ChangeKind::Clef(_)));
    let places: Vec<(u32, Crotchets)> = clefs.map(|change| (change.bar.0, change.at)).collect();
    for pair in places.windows(2) {
        let between =
            part.notes.iter().filter(|note| pair[0] <= (note.bar.0, note.at) && (note.bar.0, note.at) < pair[1]).count();
        assert!(between > 2, "{place}, {}: {between} notes from {:?}", part.name, pair[0]);
    }
}

fn is_well_written(score: &Score, place: &str) {
    for part in &score.parts {
        tuplets_are_marked(part, place);
        beats_are_beamed(part, &score.bars, place);
        rests_follow_beats(part, &score.bars, place);
        slurs_are_whole(part, place);
        clefs_are_read_easily(part, place);
    }
}

#[test]
fn all_sketches_are_well_written() {
    for (n, sketch) in demo::sketches().iter().enumerate() {
        is_well_written(&sketch.score, &format!("sketch {n}"));
        let tuplets = sketch.score.parts.iter().flat_map(|part| &part.notes).filter(|note| note.tuplet.is_some()).count();
        assert!(n == 1 || tuplets > 0);
    }
}

/// A sketch cast for a line-up, and what of that is written.
struct Written {
    sketch: Sketch,
    lineup: Lineup,
    cast: Cast,
    score: Score,
}

/// Every sketch of the demo for every line-up of it.
static ALL: LazyLock<Vec<Written>> = LazyLock::new(|| {
    let sketches = demo::sketches();
    let each = |lineup: Lineup| {
        let of = |sketch: &Sketch| {
            let cast = demo::first(sketch, &lineup);
            let score = cast.score(sketch, &lineup);
            Written { sketch: sketch.clone(), lineup: lineup.clone(), cast, score }
        };
        sketches.iter().map(of).collect::<Vec<_>>()
    };
    demo::lineups().into_iter().flat_map(each).collect()
});

#[test]
fn everything_cast_is_well_written() {
    for (n, Written { lineup, score, .. }) in ALL.iter().enumerate() {
        is_well_written(score, &format!("{} sketch {}", lineup.name, n % 3));
    }
}

/// Signs of attack.
const ATTACKS: [Articulations; 3] = [Articulations::ACCENT, Articulations::STRONG_ACCENT, Articulations::TENUTO];

/// The signs of attack that everything of a strand has that begins at a moment: a chord has them on one of its notes.
fn attacks(sketch: &Sketch, strand: usize, at: Crotchets) -> Articulations {
    let strand = &sketch.strands[strand];
    let part = &sketch.score.parts[strand.part];
    let begun = strand.notes.iter().filter(|note| note.onset == at && note.duration.is_positive());
    let of_chord = |note: usize| {
        let first = (0..=note).rev().find(|&at| !part.notes[at].flags.contains(NoteFlags::CHORD)).unwrap();
        let rest = part.notes[first + 1..].iter().take_while(|note| note.flags.contains(NoteFlags::CHORD));
        rest.fold(part.notes[first].articulations, |all, note| all | note.articulations)
    };
    begun.map(|note| of_chord(note.written)).fold(Articulations::all(), Articulations::intersection)
}

/// An accent is played by whoever has the note.
#[test]
fn what_is_accented_in_the_sketch_is_accented_in_each_part() {
    let (mut told, mut chords) = (0, 0);
    for Written { sketch, lineup, cast, score } in ALL.iter() {
        let mut parts = score.parts.iter();
        for (section, found) in lineup.sections.iter().enumerate() {
            for chair in 0..if found.is_body { 1 } else { found.chairs.len() } {
                let part = parts.next().unwrap();
                if found.is_body {
                    continue;
                }
                for note in cast.notes_of((section, chair)).iter().filter(|note| note.duration.is_positive()) {
                    let wanted = attacks(sketch, note.line.strand, note.onset);
                    let onset = |at: &ripieno_score::Note| score.bars[at.bar.at()].start + at.at;
                    let written = part.notes.iter().find(|own| onset(own) == note.onset && own.duration.is_positive()).unwrap();
                    for sign in ATTACKS.into_iter().filter(|sign| wanted != Articulations::all() && wanted.contains(*sign)) {
                        assert!(written.articulations.contains(sign), "{}, {} at {}", lineup.name, part.name, note.onset);
                        told += 1;
                        chords += usize::from(note.line.voice > 0);
                    }
                }
            }
        }
    }
    assert!(told > 1000 && chords > 100, "{told}, {chords}");
}

/// What everybody has who begins a note of a chord in the score, the chord has in the sketch, and what nobody has it has not; against the demo's own score, whose
/// chords are tenuto at the peroration and staccato in its accompaniment (`demo/overture`).
#[test]
fn chords_of_a_sketch_keep_their_signs() {
    let study = demo::overture();
    let notes = &study.sounding.notes;
    let (mut with, mut without) = (0, 0);
    for sketch in demo::passages(&study) {
        let first = &sketch.score.bars[0].number;
        let start = study.score.bars.iter().find(|bar| bar.number == *first).unwrap().start;
        for strand in sketch.strands.iter().filter(|strand| strand.is_chordal()) {
            let part = &sketch.score.parts[strand.part];
            for chord in strand.notes.chunk_by(|a, b| a.onset == b.onset).filter(|chord| chord[0].duration.is_positive()) {
                let of_chord = |key: i32| chord.iter().any(|note| note.key() == key);
                let here = |row: &usize| {
                    let pitched = notes.key[*row].is_some() && notes.duration[*row].is_positive();
                    pitched && notes.onset[*row] == start + chord[0].onset && of_chord(notes.pitch[*row].semitones())
                };
                let signs = |row: usize| {
                    let of = &study.score.parts[usize::from(notes.part[row])].notes;
                    let written = notes.written[row] as usize;
                    let head = (0..=written).rev().find(|&at| !of[at].flags.contains(NoteFlags::CHORD)).unwrap();
                    of[head].articulations | of[written].articulations
                };
                let all: Vec<Articulations> = (0..notes.onset.len()).filter(here).map(signs).collect();
                let heads =
                    chord.iter().map(|note| &part.notes[note.written]).filter(|note| !note.flags.contains(NoteFlags::CHORD));
                for head in heads {
                    for sign in [Articulations::TENUTO, Articulations::STACCATO, Articulations::ACCENT] {
                        if !all.is_empty() && all.iter().all(|signs| signs.contains(sign)) {
                            assert!(head.articulations.contains(sign), "{} at {}: {sign:?}", strand.name, chord[0].onset);
                            with += 1;
                        } else if all.iter().all(|signs| !signs.contains(sign)) {
                            assert!(!head.articulations.contains(sign), "{} at {}: {sign:?}", strand.name, chord[0].onset);
                            without += 1;
                        }
                    }
                }
            }
        }
    }
    assert!(with > 50 && without > 50, "{with}, {without}");
}
