//! Chords and keys against the demo's planted plan, against textbook progressions and against published key profiles.
#![allow(clippy::unwrap_used, clippy::cast_possible_wrap)]

use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Crotchets, MidiKey, Notes, PlayedBar, Score, Sounding, Unroll};
use ripieno_texture::{ChordTone, Harmony, Mode, Quality, harmony};

/// Bars of 4/4 with chords of equal length, each a list of keys; spelled as keyboards do, one part a voice.
fn chords(chords: &[&[u8]], each: i64) -> Sounding {
    let bars: Vec<PlayedBar> = (0..chords.len() as i64 * each / 4)
        .map(|bar| PlayedBar {
            bar: ripieno_score::BarIndex(u32::try_from(bar).unwrap()),
            pass: 1,
            start: Crotchets::whole(4 * bar),
            length: Crotchets::whole(4),
        })
        .collect();
    let mut notes = Notes::default();
    let voices = chords.iter().map(|chord| chord.len()).max().unwrap_or(0);
    for voice in 0..voices {
        let first = notes.len();
        for (index, chord) in chords.iter().enumerate() {
            let Some(&key) = chord.get(voice) else { continue };
            let key = MidiKey::try_from(i32::from(key)).unwrap();
            notes.part.push(u16::try_from(voice).unwrap());
            notes.bar.push(u32::try_from(index as i64 * each / 4).unwrap());
            notes.onset.push(Crotchets::whole(index as i64 * each));
            notes.duration.push(Crotchets::whole(each));
            notes.key.push(Some(key));
            notes.pitch.push(key.pitch());
        }
        notes.of_part.push(first..notes.len());
    }
    Sounding { bars, notes, ..Sounding::new(&Score::default(), Unroll::AsWritten) }
}

fn told(read: &Harmony) -> Vec<String> {
    read.chords
        .iter()
        .map(|c| format!("{}{}{}", c.root, c.quality.short(), c.inversion.map_or(String::new(), |i| format!("/{i}"))))
        .collect()
}

/// The cadence every harmony book begins with (common practice): I IV V7 I in four parts, with the tonic chord between.
const CADENCE: [&[u8]; 8] = [
    &[48, 64, 67, 72],
    &[53, 65, 69, 72],
    &[55, 62, 65, 71],
    &[48, 64, 67, 72],
    &[45, 64, 69, 72],
    &[53, 65, 69, 74],
    &[55, 65, 67, 71],
    &[48, 64, 67, 72],
];

#[test]
fn a_textbook_cadence_is_told_chord_by_chord() {
    let sounding = chords(&CADENCE, 4);
    let read = harmony(&sounding);
    assert_eq!(told(&read), ["CM/0", "FM/0", "GD7/0", "CM/0", "Am/0", "Dm/1", "GD7/0", "CM/0"]);
    assert_eq!(read.keys.len(), 1);
    assert_eq!((read.keys[0].tonic.to_string(), read.keys[0].mode), ("C".to_owned(), Mode::Major));
    assert!(read.chords.iter().all(|chord| chord.confidence > 0.5 && chord.confidence < 1.0));
}

/// Krumhansl and Kessler 1982, probe-tone ratings, as Krumhansl prints them in "Cognitive Foundations of Musical Pitch" (1990).
const KRUMHANSL_KESSLER: [[f64; 12]; 2] = [
    [6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88],
    [6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17],
];

/// The key whose profile correlates best with the time each pitch class sounds.
fn probe_tone_key(sounding: &Sounding) -> (u8, Mode) {
    let mut time = [0.0; 12];
    for (key, duration) in sounding.notes.key.iter().zip(&sounding.notes.duration) {
        time[usize::from(key.unwrap().number() % 12)] += duration.to_f64();
    }
    let best = (0..24).max_by(|&a, &b| {
        let fit = |key: usize| {
            let profile: Vec<f64> = (0..12).map(|class| KRUMHANSL_KESSLER[key / 12][(class + 12 - key % 12) % 12]).collect();
            let mean = |values: &[f64]| values.iter().sum::<f64>() / 12.0;
            let (x, y) = (mean(&time), mean(&profile));
            let top: f64 = time.iter().zip(&profile).map(|(a, b)| (a - x) * (b - y)).sum();
            top / profile.iter().map(|b| (b - y).powi(2)).sum::<f64>().sqrt()
        };
        fit(a).total_cmp(&fit(b))
    });
    let best = best.unwrap();
    (u8::try_from(best % 12).unwrap(), if best < 12 { Mode::Major } else { Mode::Minor })
}

#[test]
fn keys_agree_with_probe_tone_profiles_in_all_transpositions() {
    const MINOR: [&[u8]; 8] = [
        &[48, 63, 67, 72],
        &[53, 65, 68, 72],
        &[55, 62, 65, 71],
        &[48, 63, 67, 72],
        &[44, 63, 68, 72],
        &[53, 65, 68, 74],
        &[55, 65, 67, 71],
        &[48, 63, 67, 72],
    ];
    for (phrase, mode) in [(CADENCE, Mode::Major), (MINOR, Mode::Minor)] {
        for up in 0..12u8 {
            let moved: Vec<Vec<u8>> = phrase.iter().map(|chord| chord.iter().map(|key| key - 5 + up).collect()).collect();
            let moved: Vec<&[u8]> = moved.iter().map(Vec::as_slice).collect();
            let sounding = chords(&moved, 4);
            let key = &harmony(&sounding).keys[0];
            assert_eq!((key.tonic.class(), key.mode), ((7 + up) % 12, mode));
            assert_eq!((key.tonic.class(), key.mode), probe_tone_key(&sounding));
        }
    }
}

/// Leading-tone seventh, half-diminished seventh and minor seventh in their usual places (common practice).
#[test]
fn sevenths_are_told_apart() {
    let minor: [&[u8]; 4] = [&[48, 63, 67, 72], &[50, 65, 68, 72], &[47, 62, 65, 68], &[48, 63, 67, 72]];
    let read = harmony(&chords(&minor, 4));
    assert_eq!(told(&read), ["Cm/0", "Dh7/0", "Bd7/0", "Cm/0"]);
    let major: [&[u8]; 4] = [&[48, 64, 67, 72], &[50, 65, 69, 72], &[55, 65, 67, 71], &[48, 64, 67, 72]];
    assert_eq!(told(&harmony(&chords(&major, 4))), ["CM/0", "Dm7/0", "GD7/0", "CM/0"]);
}

#[test]
fn notes_know_their_place_in_the_chord() {
    let sounding = chords(&CADENCE, 4);
    let read = harmony(&sounding);
    let rows: Vec<usize> = (0..sounding.notes.len()).collect();
    assert_eq!(read.on_chord_tones(&sounding, &rows), Some(1.0));
    let g7 = &read.chords[2];
    assert_eq!(g7.quality, Quality::DominantSeventh);
    assert_eq!(g7.tones().iter().map(ToString::to_string).collect::<Vec<_>>(), ["G", "B", "D", "F"]);
    let seventh =
        rows.iter().find(|&&row| sounding.notes.onset[row] == g7.onset && sounding.notes.key[row].unwrap().number() == 65);
    assert_eq!(read.chord_tone_of(&sounding, *seventh.unwrap()), Some(ChordTone::Seventh));
    assert_eq!(g7.tone(0), ChordTone::Foreign);
}

#[test]
fn silence_has_no_chord_and_two_voices_are_less_sure_than_four() {
    assert_eq!(harmony(&chords(&[&[], &[]], 4)), Harmony::default());
    assert_eq!(harmony(&chords(&[], 4)), Harmony::default());
    let thin: Vec<&[u8]> = CADENCE.iter().map(|chord| if chord[0] == 55 { &chord[..2] } else { &chord[..1] }).collect();
    let sure = |read: &Harmony| read.chords.iter().map(|c| f64::from(c.confidence) * (c.end - c.onset).to_f64()).sum::<f64>();
    let (thin, full) = (harmony(&chords(&thin, 4)), harmony(&chords(&CADENCE, 4)));
    assert!(!thin.chords.is_empty() && sure(&thin) < 0.8 * sure(&full), "{} {}", sure(&thin), sure(&full));
}

/// The demo's chord plan (`demo/planted/chords.csv`): shares of its time on which root, root with quality, and key agree.
#[test]
fn the_demo_reads_as_planned() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let path = demo.join("lifeboat_overture.musicxml");
    let score = read(&path.display().to_string(), &std::fs::read(&path).unwrap(), &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let read = harmony(&sounding);
    let plan = std::fs::read_to_string(demo.join("planted/chords.csv")).unwrap();
    let half = Crotchets::new(1, 2).unwrap();
    let (mut time, mut right) = (0.0, [0.0; 4]);
    for line in plan.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let bar = sounding.bars.iter().find(|bar| &*score.bars[bar.bar.at()].number == cells[0]).unwrap();
        let onset = bar.start + cells[1].parse().unwrap();
        let end: Crotchets = onset + cells[2].parse().unwrap();
        let mut at = onset;
        while at < end {
            time += 0.5;
            if let (Some(chord), Some(key)) = (read.chord_at(at), read.key_at(at)) {
                let root = chord.root.to_string() == cells[3];
                right[0] += 0.5 * f64::from(u8::from(root));
                right[1] += 0.5 * f64::from(u8::from(root && chord.quality.to_string() == cells[4]));
                let mode = if key.mode == Mode::Major { "major" } else { "minor" };
                right[2] += 0.5 * f64::from(u8::from(key.tonic.to_string() == cells[7] && mode == cells[8]));
                let inversion = chord.inversion.map_or("pedal".to_owned(), |i| i.to_string());
                right[3] += 0.5 * f64::from(u8::from(root && inversion == cells[6]));
            }
            at += half;
        }
    }
    let right = right.map(|share| share / time);
    assert!(right[0] > 0.85 && right[1] > 0.78 && right[2] > 0.75 && right[3] > 0.75, "{right:?}");
}
