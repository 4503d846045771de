//! Does it sound as players do? Ends without clicks, attacks of plausible length, hairpins, plucked strings, rolls, mutes, by measurement.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test may stop at the first surprise, and shows its figures

mod support;

use support::{DRY, loudness, note, powers, rest, score, sound_of};

const RATE: f64 = 44_100.0;

fn place(seconds: f64) -> usize {
    (seconds * RATE) as usize
}

fn words(text: &str) -> String {
    format!("<direction><direction-type><words>{text}</words></direction-type></direction>")
}

fn dynamic(mark: &str) -> String {
    format!("<direction><direction-type><dynamics><{mark}/></dynamics></direction-type></direction>")
}

/// The largest second difference of the samples in each block of so many: a step or a corner in the wave stands out of it, a tone does not.
fn bends(samples: &[f32], block: usize) -> Vec<f32> {
    let bend = |three: &[f32]| (three[2] - 2.0 * three[1] + three[0]).abs();
    samples.chunks(block).map(|chunk| chunk.windows(3).map(bend).fold(0.0, f32::max)).collect()
}

#[test]
fn a_chord_of_held_brass_begins_and_ends_without_a_click() {
    let chord = [("Horn in C", 'C', 4), ("Trumpet in C", 'G', 4), ("Trombone", 'E', 3), ("Tuba", 'C', 2)];
    for mark in ["p", "ff"] {
        let notes: Vec<String> = chord
            .iter()
            .map(|(_, step, octave)| format!("{}{}{}", dynamic(mark), note(*step, *octave, 2, ""), rest(2)))
            .collect();
        let parts: Vec<(&str, &str)> = chord.iter().zip(&notes).map(|((name, ..), notes)| (*name, notes.as_str())).collect();
        let mix = sound_of(&score(&parts), &DRY).mix();
        for side in [&mix.left, &mix.right] {
            // The steady middle of the chord sets the scale; nowhere, least of all where it stops, is there more.
            let steady = bends(&side[place(0.8)..place(1.7)], 441).into_iter().fold(0.0, f32::max);
            let anywhere = bends(side, 441);
            let (at, most) = anywhere.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
            println!("{mark}: {most:.5} at {:.2} s, {steady:.5} while it is held", at as f64 * 441.0 / RATE);
            assert!(most < 1.5 * steady, "{mark}: {most} at block {at} against {steady}");
            // And in the end there is silence.
            assert!(side[place(3.0)..].iter().all(|sample| sample.abs() < 1e-5));
        }
    }
}

/// Seconds from a tenth to nine tenths of the amplitude that a tone has when it is steady, by root mean square over 5 ms.
fn attack(name: &str, step: char, octave: i32, mark: &str) -> f64 {
    let stems = sound_of(&score(&[(name, &format!("{}{}", dynamic(mark), note(step, octave, 4, "")))]), &DRY);
    let frames: Vec<f64> = stems.stems[0].left.chunks(220).map(|chunk| 10f64.powf(loudness(chunk) / 20.0)).collect();
    let full = frames[150..300].iter().sum::<f64>() / 150.0;
    let reached = |share: f64| frames.iter().position(|frame| *frame > share * full).unwrap() as f64 * 220.0 / RATE;
    reached(0.9) - reached(0.1)
}

#[test]
fn attacks_are_as_long_as_those_of_players() {
    // Meyer (2009) and Luce and Clark (1965), both from memory: tongued winds 20 to 100 ms, low ones longer; bowed strings 50 to 300 ms; a struck bar
    // a few milliseconds.
    for (name, step, octave, least, most) in [
        ("Trumpet in C", 'G', 4, 0.010, 0.08),
        ("Oboe", 'A', 4, 0.010, 0.10),
        ("Flute", 'A', 4, 0.020, 0.15),
        ("Horn in C", 'C', 4, 0.015, 0.12),
        ("Tuba", 'F', 2, 0.025, 0.2),
        ("Violin solo", 'A', 4, 0.020, 0.3),
        ("Double bass solo", 'A', 1, 0.040, 0.4),
    ] {
        let (soft, loud) = (attack(name, step, octave, "pp"), attack(name, step, octave, "ff"));
        println!("{name}: {:.0} ms at pp, {:.0} ms at ff", soft * 1e3, loud * 1e3);
        assert!((least..most).contains(&loud) && soft >= loud - 0.006, "{name}: {soft} {loud}");
    }
    assert!(attack("Tuba", 'F', 2, "f") > attack("Trumpet in C", 'G', 5, "f"), "low tones speak later");
}

#[test]
fn a_crescendo_follows_its_hairpin_note_by_note_and_colours_the_tone() {
    let wedge = |kind: &str| format!("<direction><direction-type><wedge type=\"{kind}\"/></direction-type></direction>");
    let notes = format!(
        "{}{}{}{}{}{}{}{}",
        dynamic("pp"),
        wedge("crescendo"),
        note('A', 4, 1, ""),
        note('A', 4, 1, ""),
        note('A', 4, 1, ""),
        wedge("stop"),
        dynamic("ff"),
        note('A', 4, 1, "")
    );
    let stems = sound_of(&score(&[("Trumpet in C", &notes)]), &DRY);
    let part = |seconds: f64| &stems.stems[0].left[place(seconds)..place(seconds) + 16_384];
    let levels: Vec<f64> = [0.25, 1.25, 2.25, 3.25].map(|seconds| loudness(part(seconds))).to_vec();
    println!("{levels:.1?}");
    // From pp to ff a trumpet's power grows by 15 dB (the model's own figures): evenly, every note louder than the one before.
    assert!(levels.windows(2).all(|pair| (2.0..9.0).contains(&(pair[1] - pair[0]))), "{levels:?}");
    assert!((10.0..17.0).contains(&(levels[3] - levels[0])), "{levels:?}");
    // Louder brass is brighter (Meyer 2009, confirmed in kind): what lies above 2 kHz grows more than the whole.
    assert!(share_above(part(3.25), 2000.0) > share_above(part(0.25), 2000.0) + 5.0);
}

/// Share of the power above a frequency, in dB.
fn share_above(samples: &[f32], hz: f64) -> f64 {
    let spectrum = powers(samples);
    let bin = (hz / RATE * samples.len() as f64) as usize;
    10.0 * (spectrum[bin..].iter().sum::<f64>() / spectrum.iter().sum::<f64>()).log10()
}

#[test]
fn a_mute_softens_and_darkens_strings_and_thins_brass() {
    let heard = |name: &str, octave: i32, text: &str| {
        let stems = sound_of(&score(&[(name, &format!("{}{}", words(text), note('A', octave, 4, "")))]), &DRY);
        let part = stems.stems[0].left[place(1.5)..place(1.5) + 32_768].to_vec();
        (loudness(&part), part)
    };
    let ((open, bright), (muted, dark)) = (heard("Violin solo", 4, "arco"), heard("Violin solo", 4, "con sord."));
    // Common practice: a mute on the bridge takes 3 to 8 dB and the upper partials.
    assert!((3.0..8.0).contains(&(open - muted)), "{open} {muted}");
    assert!(share_above(&dark, 2000.0) < share_above(&bright, 2000.0) - 2.0);
    // A straight mute takes the low partials: less power, thinner.
    let ((open, full), (muted, thin)) = (heard("Trumpet in C", 4, "open"), heard("Trumpet in C", 4, "con sord."));
    assert!((4.0..14.0).contains(&(open - muted)), "{open} {muted}");
    assert!(share_above(&thin, 1500.0) > share_above(&full, 1500.0) + 3.0);
}

/// How strongly the loudness of a stretch beats between two rates a second: the strongest share of its envelope there, and the rate.
fn beating(samples: &[f32], low: f64, high: f64) -> (f64, f64) {
    let envelope: Vec<f64> = samples.chunks(110).map(|chunk| 10f64.powf(loudness(chunk) / 20.0)).collect();
    let mean = envelope.iter().sum::<f64>() / envelope.len() as f64;
    let seconds = |at: usize| at as f64 * 110.0 / RATE;
    let share = |rate: f64| {
        let (mut x, mut y) = (0.0, 0.0);
        for (at, value) in envelope.iter().enumerate() {
            let (sin, cos) = (std::f64::consts::TAU * rate * seconds(at)).sin_cos();
            (x, y) = (x + (value - mean) * cos, y + (value - mean) * sin);
        }
        2.0 * x.hypot(y) / envelope.len() as f64 / mean
    };
    let rates = (0..).map(|step| low + f64::from(step) * 0.1).take_while(|rate| *rate <= high);
    rates.map(|rate| (share(rate), rate)).max_by(|a, b| a.0.total_cmp(&b.0)).unwrap()
}

#[test]
fn tremolo_and_flutter_beat_and_a_held_tone_does_not() {
    let tremolo = "<notations><ornaments><tremolo type=\"single\">3</tremolo></ornaments></notations>";
    let of = |name: &str, text: &str, more: &str| {
        let stems = sound_of(&score(&[(name, &format!("{}{}", words(text), note('A', 4, 4, more)))]), &DRY);
        stems.stems[0].left[place(0.8)..place(3.6)].to_vec()
    };
    let (held, trembling) = (of("Violin solo", "arco", ""), of("Violin solo", "arco", tremolo));
    // Common practice: a tremolo without counting has 12 to 16 strokes a second.
    let (depth, rate) = beating(&trembling, 8.0, 20.0);
    println!("tremolo {rate:.1} a second, depth {depth:.2}");
    assert!(depth > 0.3 && (11.0..16.5).contains(&rate), "{depth} {rate}");
    assert!(beating(&held, 8.0, 20.0).0 < 0.1);
    // A roll of the tongue is faster: 20 to 30 a second (from memory).
    let (depth, rate) = beating(&of("Flute", "flz.", ""), 15.0, 35.0);
    println!("flutter {rate:.1} a second, depth {depth:.2}");
    assert!(depth > 0.2 && (20.0..30.0).contains(&rate), "{depth} {rate}");
}

#[test]
fn counted_strokes_are_counted() {
    // A crotchet at 60 with one stroke through its stem is two quavers; a minim with two is eight semiquavers.
    let strokes = |quarters: i32, slashes: u8| {
        let sign = format!(
            "<type>{}</type><notations><ornaments><tremolo type=\"single\">{slashes}</tremolo></ornaments></notations>",
            if quarters == 1 { "quarter" } else { "half" }
        );
        let stems = sound_of(&score(&[("Xylophone", &format!("{}{}", note('C', 6, quarters, &sign), rest(4 - quarters)))]), &DRY);
        let frames: Vec<f64> = stems.stems[0].left.chunks(220).map(|chunk| loudness(chunk).max(-120.0)).collect();
        let loudest = frames.iter().copied().fold(f64::MIN, f64::max);
        let (mut count, mut last) = (0, 0);
        for at in 2..frames.len() {
            if frames[at] > frames[at - 2] + 10.0 && frames[at] > loudest - 20.0 && (count == 0 || at > last + 10) {
                (count, last) = (count + 1, at);
            }
        }
        count
    };
    assert_eq!((strokes(1, 1), strokes(2, 2)), (2, 8));
}

#[test]
fn a_plucked_string_decays_as_the_model_says() {
    for (name, octave, id) in [("Violin solo", 4, "violin"), ("Violoncello solo", 3, "cello")] {
        let stems = sound_of(&score(&[(name, &format!("{}{}", words("pizz."), note('A', octave, 4, "")))]), &DRY);
        let level = |seconds: f64| loudness(&stems.stems[0].left[place(seconds)..place(seconds + 0.05)]);
        let t60 =
            ripieno_acoustics::Source::of(id).decay(f64::from(12 * (octave + 1) + 9), ripieno_acoustics::Ways::PLUCKED).unwrap();
        // After the upper partials have gone, the lowest decays by 60 dB in t60 seconds.
        let (from, span) = (t60 * 0.3, t60 * 0.4);
        let fall = level(from) - level(from + span);
        assert!((fall / 24.0 - 1.0).abs() < 0.2, "{name}: {fall:.1} dB in two fifths of {t60:.2} s");
    }
}
