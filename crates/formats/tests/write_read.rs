//! What is written as MusicXML reads back to the same sounding view: for invented scores, and for every Humdrum fixture.
//!
//! The law is ours; the schema of MusicXML 4.0 is checked elsewhere, against the published file.

#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use std::path::Path;

use proptest::prelude::*;
use ripieno_formats::{Limits, Severity, musicxml, read, read_file};
use ripieno_score::{
    Articulations, Bar, BarIndex, Change, ChangeKind, Clef, ClefSign, Crotchets, Direction, DirectionKind, DynamicLevel,
    DynamicMark, Edge, Head, Jump, Key, Mark, Metre, Note, NoteFlags, NoteValue, Part, Pitch, Rest, Score, Sounding, Stem, Step,
    Swell, Transposition, TupletRatio, Unroll,
};

/// Everything the sounding view says, as text, so that a difference can be read.
fn sounding(score: &Score, unroll: Unroll, with_players: bool) -> Vec<String> {
    let view = Sounding::new(score, unroll);
    let mut lines: Vec<String> = view
        .bars
        .iter()
        .map(|bar| {
            format!(
                "bar {} number {} pass {} at {} for {}",
                bar.bar.0,
                score.bars[bar.bar.at()].number,
                bar.pass,
                bar.start,
                bar.length
            )
        })
        .collect();
    let mut notes: Vec<String> = view
        .notes
        .rows()
        .map(|row| {
            let key = row.key.map(|key| key.number());
            let level = row.level.map(|level| level.0);
            let players = if with_players { format!(" by {}", row.players) } else { String::new() };
            format!(
                "part {} staff {} instrument {} at {} for {}: {key:?} {} {level:?}{players}",
                row.part, row.staff, row.instrument, row.onset, row.duration, row.pitch
            )
        })
        .collect();
    // Voices may be numbered anew, which changes the order of equal notes alone.
    notes.sort();
    lines.extend(notes);
    lines.extend(view.tempo.changes().map(|(at, tempo)| format!("tempo {tempo:.3} at {at}")));
    lines
}

/// Writes, reads and compares; the score read back. Players are known only of scores that were read, since readers ask the
/// catalogue for them.
fn round_trip(score: &Score, with_players: bool) -> Score {
    let xml = musicxml::write(score);
    let back = read("written.musicxml", xml.as_bytes(), &Limits::default()).unwrap();
    let worst = back.findings.iter().find(|finding| finding.severity > Severity::Warning);
    assert!(worst.is_none(), "{}\n{xml}", worst.unwrap());
    for unroll in [Unroll::AsWritten, Unroll::AsPlayed] {
        let (before, after) = (sounding(score, unroll, with_players), sounding(&back.score, unroll, with_players));
        let difference = before.iter().zip(&after).find(|(before, after)| before != after);
        assert!(
            before == after,
            "{unroll:?}: {} lines, {} read back; first difference {difference:?}\n{xml}",
            before.len(),
            after.len()
        );
    }
    back.score
}

#[test]
fn humdrum_fixtures_survive() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kern");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "krn")
            && let Ok(reading) = read_file(&path, &Limits::default())
        {
            round_trip(&reading.score, true);
            seen += 1;
        }
    }
    assert!(seen > 20);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn invented_scores_survive(seed: u64, bars in 1u32..6, parts in 1u64..4) {
        let score = invent(seed, bars, parts);
        let back = round_trip(&score, false);
        // What has been written and read once is written the same way again.
        let again = musicxml::write(&back);
        let third = read("again.musicxml", again.as_bytes(), &Limits::default()).unwrap();
        let once_more = musicxml::write(&third.score);
        let difference = once_more.lines().zip(again.lines()).enumerate().find(|(_, (a, b))| a != b);
        prop_assert!(once_more == again, "{difference:?}\n{again}\n---\n{once_more}");
    }
}

/// Once read back without its crescendo: other words stood between the word and its dashes.
#[test]
fn the_score_whose_dashes_were_lost_survives() {
    let _ = round_trip(&invent(6_355_692_455_768_344_322, 5, 1), false);
}

/// A part of one voice: crotchets, four to the bar.
fn crotchets(count: u32) -> Score {
    let mut score = Score::default();
    let mut part = Part { id: "P1".into(), name: "Voice".into(), ..Part::default() };
    for number in 0..count {
        let at = Crotchets::whole(i64::from(number % 4));
        let duration = Crotchets::ONE;
        part.notes.push(Note { bar: BarIndex(number / 4), at, duration, value: Some(NoteValue::CROTCHET), ..Note::default() });
    }
    for bar in 0..count.div_ceil(4) {
        let mut bar = Bar::new((bar + 1).to_string(), Crotchets::ZERO, Crotchets::whole(4));
        bar.metre = (score.bars.is_empty()).then(|| Metre::simple(4, 4));
        score.bars.push(bar);
    }
    score.parts.push(part);
    score.finish();
    score
}

#[test]
fn velocities_survive() {
    let mut score = crotchets(128);
    (0u8..).zip(&mut score.parts[0].notes).for_each(|(velocity, note)| note.velocity = velocity);
    let back = round_trip(&score, false);
    let velocities: Vec<u8> = back.parts[0].notes.iter().map(|note| note.velocity).collect();
    assert_eq!(velocities, (0..128).collect::<Vec<u8>>());
}

/// What the syllables are called follows from the words (MusicXML 4.0, syllabic).
#[test]
fn sung_words_and_chord_symbols_survive() {
    let mut score = crotchets(8);
    let part = &mut score.parts[0];
    let sung = [("Life", true), ("boat", true), ("men", false), ("row", false)];
    let lyric = |(text, hyphen): (&str, bool)| Mark::Lyric { verse: 1, text: text.into(), hyphen };
    part.marks = (0..).zip(sung.map(lyric)).collect();
    let symbols = ["C", "B♭m7/A♭", "F♯maj7(♭9)", "E♭sus", "G6/9"];
    for (at, text) in (0..).zip(symbols) {
        let (bar, at) = (BarIndex(at / 4), Crotchets::whole(i64::from(at % 4)));
        let kind = DirectionKind::ChordSymbol(text.into());
        part.directions.push(Direction { bar, at, staff: 1, voice: None, above: Some(true), kind });
    }
    let xml = musicxml::write(&score);
    let named: Vec<&str> =
        xml.lines().filter_map(|line| line.trim().strip_prefix("<syllabic>")?.strip_suffix("</syllabic>")).collect();
    assert_eq!(named, ["begin", "middle", "end", "single"]);
    let back = round_trip(&score, false);
    assert_eq!(back.parts[0].marks, score.parts[0].marks);
    assert_eq!(back.parts[0].directions, score.parts[0].directions);
}

/// A rest before two quavers, two quavers before a rest, and a quaver between two rests, each a triplet: as MusicXML 4.0 has it, whose `tuplet` stands on the
/// first and the last "note" of the group, a rest being one. A score marks their notes; written, the marks stand on the rests again.
#[test]
fn tuplets_that_begin_or_end_with_a_rest_survive() {
    let mark = |kind: &str| format!("<notations><tuplet type=\"{kind}\" number=\"1\"/></notations>");
    let item = |what: &str, marks: String| {
        let ratio = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>";
        format!("<note>{what}<duration>1</duration><voice>1</voice><type>eighth</type>{ratio}{marks}</note>")
    };
    let (rest, note) = ("<rest/>", "<pitch><step>C</step><octave>5</octave></pitch>");
    let (start, stop, none) = (|| mark("start"), || mark("stop"), String::new);
    let music = [
        [(rest, start()), (note, none()), (note, stop())],
        [(note, start()), (note, none()), (rest, stop())],
        [(rest, start()), (note, none()), (rest, stop())],
        [(note, start()), (note, none()), (note, stop())],
    ];
    let music: String = music.into_iter().flatten().map(|(what, marks)| item(what, marks)).collect();
    let text = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part></part-list><part id=\"P1\"><measure \
         number=\"1\"><attributes><divisions>3</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>{music}</measure></part></score-partwise>"
    );
    let score = read("tuplets.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
    let marked = |score: &Score| -> Vec<(u32, Edge)> {
        let edge = |mark: &Mark| if let Mark::Tuplet { edge, .. } = mark { Some(*edge) } else { None };
        score.parts[0].marks.iter().filter_map(|(note, mark)| Some((*note, edge(mark)?))).collect()
    };
    let (begin, end) = (Edge::Start, Edge::Stop);
    let wanted = [(0, begin), (1, end), (2, begin), (3, end), (4, begin), (4, end), (5, begin), (7, end)];
    assert_eq!(marked(&score), wanted);
    let again = musicxml::write(&score);
    let on_rests: Vec<bool> =
        again.split("<note").skip(1).filter(|note| note.contains("<tuplet")).map(|note| note.contains("<rest/>")).collect();
    assert_eq!(on_rests, [true, false, false, true, true, true, false, false]);
    assert_eq!(marked(&read("again.musicxml", again.as_bytes(), &Limits::default()).unwrap().score), wanted);
}

#[test]
fn a_note_without_time_delays_nothing() {
    let mut score = crotchets(4);
    let timeless = Note { duration: Crotchets::ZERO, ..score.parts[0].notes[1].clone() };
    score.parts[0].notes.insert(1, timeless);
    score.finish();
    let back = round_trip(&score, false);
    assert_eq!(back.parts[0].notes.len(), 5);
}

#[test]
fn an_ending_that_never_began_is_not_stopped() {
    let mut score = crotchets(16);
    score.bars[0].ending_start = vec![1];
    score.bars[0].ending_stop = true;
    score.bars[0].repeat_end = Some(2);
    score.bars[1].ending_start = vec![2];
    score.bars[1].ending_stop = true;
    score.bars[3].ending_stop = true;
    let xml = musicxml::write(&score);
    let endings: Vec<&str> = xml.lines().map(str::trim).filter(|line| line.starts_with("<ending")).collect();
    let ending = |number, edge| format!("<ending number=\"{number}\" type=\"{edge}\"/>");
    assert_eq!(endings, [ending(1, "start"), ending(1, "stop"), ending(2, "start"), ending(2, "stop")]);
    round_trip(&score, false);
}

/// Accidentals hold for their bar and staff, and end with a change of key (common practice).
#[test]
fn accidentals_are_printed_where_needed() {
    let mut score = crotchets(8);
    let part = &mut score.parts[0];
    let quarter_sharp = Pitch { cents: 50, ..Pitch::new(Step::C, 0, 4) };
    let (sharp, natural) = (Pitch::new(Step::C, 1, 4), Pitch::new(Step::C, 0, 4));
    let pitches = [sharp, sharp, natural, quarter_sharp, sharp, sharp, sharp, natural];
    part.notes.iter_mut().zip(pitches).for_each(|(note, pitch)| note.head = Head::Pitched(pitch));
    let key = Key { fifths: 2, major: None };
    part.changes.push(Change { bar: BarIndex(1), at: Crotchets::ONE, staff: None, kind: ChangeKind::Key(key) });
    let xml = musicxml::write(&score);
    let printed: Vec<&str> = xml
        .split("<note")
        .skip(1)
        .map(|note| note.split_once("<accidental>").map_or("", |(_, rest)| rest.split_once('<').unwrap().0))
        .collect();
    assert_eq!(printed, ["sharp", "", "natural", "quarter-sharp", "sharp", "", "", "natural"]);
    round_trip(&score, false);
}

/// A small source of numbers (splitmix64), so that a seed gives the same score on every machine.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: u64) -> u64 {
        self.next() % count
    }

    /// True once in `times`.
    fn once_in(&mut self, times: u64) -> bool {
        self.below(times) == 0
    }

    fn one_of<T: Clone>(&mut self, list: &[T]) -> T {
        list[usize::try_from(self.below(list.len() as u64)).unwrap()].clone()
    }

    fn pitch(&mut self) -> Pitch {
        let octave = i8::try_from(self.below(5)).unwrap() + 2;
        let alter = self.one_of(&[0, 0, 0, 0, 1, -1, 1, -1, 2, -2]);
        Pitch::new(self.one_of(&Step::ALL), alter, octave)
    }
}

fn ratio(n: i64, d: i64) -> Crotchets {
    Crotchets::new(n, d).unwrap()
}

fn invent(seed: u64, bars: u32, parts: u64) -> Score {
    let mut dice = Dice(seed);
    let mut score = Score::default();
    score.about.work = "Lifeboat".into();
    invent_bars(&mut dice, &mut score, bars);
    for index in 0..parts {
        let part = invent_part(&mut dice, &score.bars, index);
        score.parts.push(part);
    }
    score.finish();
    score
}

fn invent_bars(dice: &mut Dice, score: &mut Score, count: u32) {
    let mut length = Crotchets::whole(4);
    for number in 0..count {
        let mut bar = Bar::new((number + 1).to_string(), Crotchets::ZERO, length);
        if number == 0 || dice.once_in(4) {
            let metre = dice.one_of(&[
                Metre::simple(4, 4),
                Metre::simple(3, 4),
                Metre::simple(6, 8),
                Metre::simple(2, 2),
                Metre::simple(5, 16),
                Metre::Measured(vec![(vec![2, 3], 8)]),
                Metre::Measured(vec![(vec![2], 4), (vec![3], 8)]),
                Metre::Free,
            ]);
            length = metre.length().unwrap_or(ratio(7, 2));
            bar.length = length;
            bar.metre = Some(metre);
        }
        if number == 0 && count > 1 && dice.once_in(3) {
            bar.length = Crotchets::ONE;
            bar.number = "0".into();
            bar.uncounted = true;
        }
        if dice.once_in(6) {
            bar.barline = Some(dice.one_of(&["light-light", "dashed", "heavy"]).into());
        }
        score.bars.push(bar);
    }
    invent_repeats(dice, &mut score.bars);
}

fn invent_repeats(dice: &mut Dice, bars: &mut [Bar]) {
    let last = bars.len() - 1;
    match dice.below(6) {
        0 => {
            let start = usize::try_from(dice.below(bars.len() as u64)).unwrap();
            bars[start].repeat_start = true;
            bars[last].repeat_end = Some(dice.one_of(&[2, 2, 3]));
        }
        1 if last >= 2 => {
            bars[0].repeat_start = true;
            bars[1].ending_start = vec![1];
            bars[1].ending_stop = true;
            bars[1].repeat_end = Some(2);
            bars[2].ending_start = vec![2];
            bars[2].ending_stop = true;
        }
        2 if last >= 1 => {
            bars[last].jumps.push(Jump::DaCapo);
            bars[0].jumps.push(Jump::Fine);
        }
        3 if last >= 3 => {
            bars[1].jumps.push(Jump::Segno("".into()));
            bars[1].jumps.push(Jump::ToCoda("".into()));
            bars[2].jumps.push(Jump::DalSegno("".into()));
            bars[3].jumps.push(Jump::Coda("".into()));
        }
        _ => {}
    }
}

fn invent_part(dice: &mut Dice, bars: &[Bar], index: u64) -> Part {
    let names = ["Violin I", "Clarinet in B♭", "Timpani", "Piano", "Horn in F", "Triangle", "Voice"];
    let name = dice.one_of(&names);
    let mut part = Part {
        id: format!("P{}", index + 1),
        name: name.to_owned(),
        staves: if name == "Piano" { 2 } else { 1 },
        ..Part::default()
    };
    let change = |part: &mut Part, bar, at, staff, kind| part.changes.push(Change { bar: BarIndex(bar), at, staff, kind });
    let percussion = name == "Triangle";
    let by = match name {
        "Clarinet in B♭" => Transposition { chromatic: -2, diatonic: -1, ..Transposition::NONE },
        "Horn in F" => Transposition { chromatic: -7, diatonic: -4, ..Transposition::NONE },
        _ => Transposition::NONE,
    };
    if by != Transposition::NONE {
        change(&mut part, 0, Crotchets::ZERO, None, ChangeKind::Transposition(by));
    }
    for staff in 1..=part.staves {
        let clef = dice.one_of(&[(ClefSign::G, 2, 0), (ClefSign::F, 4, 0), (ClefSign::C, 3, 0), (ClefSign::G, 2, -1)]);
        let clef = if percussion {
            Clef { sign: ClefSign::Percussion, line: 0, octaves: 0 }
        } else {
            Clef { sign: clef.0, line: clef.1, octaves: clef.2 }
        };
        let of_staff = (part.staves > 1).then_some(staff);
        change(&mut part, 0, Crotchets::ZERO, of_staff, ChangeKind::Clef(clef));
    }
    for (number, bar) in (0u32..).zip(bars) {
        if dice.once_in(3) {
            let key = Key { fifths: dice.one_of(&[-7, -3, -1, 0, 2, 6]), major: dice.one_of(&[None, Some(true), Some(false)]) };
            change(&mut part, number, Crotchets::ZERO, None, ChangeKind::Key(key));
        }
        for staff in 1..=part.staves {
            for voice in 0..=u16::from(dice.once_in(3)) {
                let voice = u16::from(staff - 1) * 4 + voice + 1;
                invent_voice(dice, &mut part, bar, (number, staff, voice), percussion);
            }
            invent_directions(dice, &mut part, bar, number, staff);
        }
    }
    tie_and_slur(dice, &mut part, bars);
    part
}

/// Fills a voice of one bar with notes and rests, perhaps not to its end.
fn invent_voice(dice: &mut Dice, part: &mut Part, bar: &Bar, (number, staff, voice): (u32, u8, u16), percussion: bool) {
    let lengths = [ratio(1, 4), ratio(1, 2), ratio(3, 4), ratio(1, 1), ratio(3, 2), ratio(2, 1), ratio(7, 2), ratio(4, 1)];
    let mut at = Crotchets::ZERO;
    if dice.once_in(8) {
        let whole_bar = Rest {
            bar: BarIndex(number),
            at,
            duration: bar.length,
            value: None,
            tuplet: None,
            voice,
            staff,
            whole_bar: true,
            hidden: false,
            cue: false,
            fermata: dice.once_in(4),
        };
        part.rests.push(whole_bar);
        return;
    }
    while at < bar.length {
        let left = bar.length - at;
        let fitting: Vec<Crotchets> = lengths.iter().copied().filter(|length| *length <= left).collect();
        if fitting.is_empty() || dice.once_in(12) {
            return;
        }
        let triplet = left >= Crotchets::ONE && dice.once_in(5);
        let (count, length, tuplet) =
            if triplet { (3, ratio(1, 3), Some(TupletRatio { actual: 3, normal: 2 })) } else { (1, dice.one_of(&fitting), None) };
        for _ in 0..count {
            let value = if triplet { Some(NoteValue { halvings: 3, dots: 0 }) } else { NoteValue::of_length(length, 2) };
            let rest = dice.once_in(5);
            if rest {
                part.rests.push(Rest {
                    bar: BarIndex(number),
                    at,
                    duration: length,
                    value,
                    tuplet,
                    voice,
                    staff,
                    whole_bar: false,
                    hidden: dice.once_in(6),
                    cue: dice.once_in(8),
                    fermata: dice.once_in(8),
                });
            } else {
                invent_chord(dice, part, (number, staff, voice, at), (length, value, tuplet), percussion);
            }
            at += length;
        }
    }
}

type Place = (u32, u8, u16, Crotchets);
type Length = (Crotchets, Option<NoteValue>, Option<TupletRatio>);

fn invent_chord(
    dice: &mut Dice,
    part: &mut Part,
    (bar, staff, voice, at): Place,
    (duration, value, tuplet): Length,
    percussion: bool,
) {
    let note = |head, duration, value, tuplet, flags, stem| Note {
        bar: BarIndex(bar),
        at,
        duration,
        head,
        value,
        tuplet,
        voice,
        staff,
        instrument: 0,
        velocity: 0,
        tremolo: 0,
        flags,
        articulations: Articulations::empty(),
        beams: ripieno_score::Beams::default(),
        stem,
    };
    let head = |pitch| if percussion { Head::Unpitched(Pitch { alter: 0, ..pitch }) } else { Head::Pitched(pitch) };
    if dice.once_in(7) {
        let flags = if dice.once_in(2) { NoteFlags::GRACE | NoteFlags::SLASHED } else { NoteFlags::GRACE };
        let quaver = Some(NoteValue { halvings: 3, dots: 0 });
        part.notes.push(note(head(dice.pitch()), Crotchets::ZERO, quaver, None, flags, Stem::Up));
    }
    let silence = dice.one_of(&[
        NoteFlags::empty(),
        NoteFlags::empty(),
        NoteFlags::empty(),
        NoteFlags::empty(),
        NoteFlags::empty(),
        NoteFlags::CUE,
        NoteFlags::HIDDEN,
        NoteFlags::OSSIA,
    ]);
    let stem = dice.one_of(&[Stem::Unset, Stem::Up, Stem::Down]);
    let count = if percussion { 1 } else { dice.one_of(&[1, 1, 1, 2, 3]) };
    let mut pitches: Vec<Pitch> = Vec::new();
    while pitches.len() < count {
        let pitch = dice.pitch();
        // Two notes of a chord that are one key would tie to each other's ends.
        if pitches.iter().all(|other| other.semitones() != pitch.semitones()) {
            pitches.push(pitch);
        }
    }
    for (member, pitch) in pitches.into_iter().enumerate() {
        let chord = if member > 0 { NoteFlags::CHORD } else { NoteFlags::empty() };
        let mut written = note(head(pitch), duration, value, tuplet, silence | chord, stem);
        if dice.once_in(4) {
            written.articulations = dice.one_of(&[
                Articulations::STACCATO | Articulations::ACCENT,
                Articulations::TENUTO,
                Articulations::FERMATA,
                Articulations::TRILL,
                Articulations::UP_BOW,
                Articulations::STOPPED,
                Articulations::ARPEGGIO,
            ]);
        }
        if dice.once_in(9) {
            written.tremolo = dice.one_of(&[1, 2, 3]);
        }
        part.notes.push(written);
    }
}

fn invent_directions(dice: &mut Dice, part: &mut Part, bar: &Bar, number: u32, staff: u8) {
    let mut direct = |at: Crotchets, kind| {
        part.directions.push(Direction { bar: BarIndex(number), at: at.min(bar.length), staff, voice: None, above: None, kind });
    };
    let level = |mark: &str| DynamicMark::Level(DynamicLevel::from_mark(mark).unwrap());
    let at = dice.one_of(&[ratio(0, 1), ratio(1, 2), ratio(1, 1), ratio(5, 3)]);
    match dice.below(9) {
        0 => direct(at, DirectionKind::Dynamic(level(dice.one_of(&["ppp", "p", "mf", "f", "fff"])))),
        1 => direct(at, DirectionKind::Dynamic(DynamicMark::Attack("sfz".into()))),
        2 => direct(at, DirectionKind::Dynamic(DynamicMark::AttackThen("fp".into(), DynamicLevel::from_mark("p").unwrap()))),
        3 => {
            direct(Crotchets::ZERO, DirectionKind::Dynamic(level("p")));
            direct(ratio(1, 2), DirectionKind::HairpinStart { swell: Swell::Crescendo, number: 1, niente: false, dashes: false });
            direct(bar.length, DirectionKind::HairpinStop { number: 1, niente: false, dashes: false });
        }
        4 => direct(at, DirectionKind::Words("dolce & <calm>".into())),
        5 if staff == 1 => {
            direct(at, DirectionKind::Metronome { beat: NoteValue { halvings: 2, dots: 1 }, per_minute: 66.0, text: None })
        }
        6 if staff == 1 => direct(at, DirectionKind::PlaybackTempo { crotchets_per_minute: 92.5 }),
        7 => direct(at, DirectionKind::Rehearsal("A".into())),
        8 => {
            direct(Crotchets::ZERO, DirectionKind::Words("poco a poco cresc.".into()));
            direct(ratio(1, 2), DirectionKind::HairpinStart { swell: Swell::Crescendo, number: 1, niente: false, dashes: true });
            direct(bar.length, DirectionKind::HairpinStop { number: 1, niente: false, dashes: true });
        }
        _ => {}
    }
}

/// Ties notes to the next of their voice by giving that one their pitch, and slurs some.
fn tie_and_slur(dice: &mut Dice, part: &mut Part, bars: &[Bar]) {
    let mut starts: Vec<Crotchets> = Vec::new();
    let mut start = Crotchets::ZERO;
    for bar in bars {
        starts.push(start);
        start += bar.length;
    }
    let single: Vec<usize> = (0..part.notes.len())
        .filter(|&index| {
            let plain = !part.notes[index].flags.intersects(NoteFlags::CHORD | NoteFlags::GRACE);
            plain && part.notes.get(index + 1).is_none_or(|next| !next.flags.contains(NoteFlags::CHORD))
        })
        .collect();
    for (position, &index) in single.iter().enumerate() {
        let note = part.notes[index].clone();
        let end = starts[note.bar.at()] + note.at + note.duration;
        let next = single[position + 1..].iter().copied().find(|&other| {
            let other = &part.notes[other];
            other.voice == note.voice && starts[other.bar.at()] + other.at == end
        });
        let Some(next) = next else { continue };
        if note.plays() && part.notes[next].plays() && dice.once_in(5) {
            part.notes[next].head = note.head;
            part.notes[index].flags |= NoteFlags::TIE_START;
            part.notes[next].flags |= NoteFlags::TIE_STOP;
        } else if dice.once_in(8) {
            let number = u8::try_from(position % 6 + 1).unwrap();
            part.marks.push((u32::try_from(index).unwrap(), Mark::Slur { edge: Edge::Start, number }));
            part.marks.push((u32::try_from(next).unwrap(), Mark::Slur { edge: Edge::Stop, number }));
        }
    }
    part.marks.sort_by_key(|(note, _)| *note);
}
