//! What the engine plays: pitch, level, clicks, silence, stems, determinism.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

mod support;

use std::ops::ControlFlow;

use ripieno_score::Score;
use ripieno_sound::groups::{Group, parts_named};
use ripieno_sound::{Listener, Options, Renderer, Room, Selection, Stems, render};
use support::{DRY, all, loudness, note, passage, rest, score, sound_of};

#[test]
fn an_octave_doubles_the_fundamental() {
    let at = |octave| {
        let score = score(&[("Horn in C", &note('C', octave, 4, ""))]);
        let stems = sound_of(&score, &DRY);
        support::strongest(&stems.stems[0].left[22_050..22_050 + 65_536], 44_100.0)
    };
    let (low, high) = (at(4), at(5));
    assert!((low - 261.626).abs() < 0.3, "{low} Hz");
    assert!((high / low - 2.0).abs() < 0.002, "{low} {high}");
}

#[test]
fn silence_is_silence_and_the_muted_group_is_absent() {
    let one = score(&[("Oboe", &note('A', 4, 4, "")), ("Horn in C", &rest(4))]);
    let stems = sound_of(&one, &Options::default());
    assert!(stems.stems[0].peak() > 0.01);
    assert_eq!(stems.stems[1].peak(), 0.0);
    // The first moment, before anybody plays, is silent too.
    assert!(stems.stems[0].left[..1000].iter().all(|sample| *sample == 0.0));
    let both = score(&[("Oboe", &note('A', 4, 4, "")), ("Horn in C", &note('C', 4, 4, ""))]);
    let passage = passage(&both);
    let mut selection = all(&both, &passage);
    let whole = sound_of(&both, &Options::default());
    selection.groups.remove(1);
    let options = Options::default();
    let renderer = Renderer::new(&passage, &selection, &options).unwrap();
    let frames = renderer.frames();
    let alone = render(renderer, frames, &selection, &options, |_| ControlFlow::Continue(())).unwrap();
    // What is left sounds exactly as it did among the others, at the same level.
    let shorter = alone.stems[0].left.len().min(whole.stems[0].left.len());
    assert_eq!(alone.stems[0].left[..shorter], whole.stems[0].left[..shorter]);
}

#[test]
fn stems_add_up_to_the_mix_and_every_run_gives_the_same_bytes() {
    let chord = score(&[("Violin I", &note('E', 5, 4, "")), ("Viola", &note('G', 3, 4, "")), ("Timpani", &note('C', 3, 4, ""))]);
    let stems = sound_of(&chord, &Options::default());
    let again = sound_of(&chord, &Options::default());
    assert_eq!(stems, again);
    let other = sound_of(&chord, &Options { seed: 2, ..Options::default() });
    assert_ne!(stems.stems[0], other.stems[0]);
    let mix = stems.mix();
    let worst = (0..mix.left.len())
        .map(|at| (stems.stems.iter().map(|stem| f64::from(stem.left[at])).sum::<f64>() - f64::from(mix.left[at])).abs())
        .fold(0.0, f64::max);
    assert!(worst < 1e-6, "{worst}");
    // And rendering everybody in one group is the same again.
    let passage = passage(&chord);
    let one = Selection { groups: vec![Group { name: "all".to_owned(), parts: vec![0, 1, 2] }], ..all(&chord, &passage) };
    let options = Options { room: Room::NONE, ..Options::default() };
    let renderer = Renderer::new(&passage, &one, &options).unwrap();
    let frames = renderer.frames();
    let together = render(renderer, frames, &one, &options, |_| ControlFlow::Continue(())).unwrap();
    let apart = sound_of(&chord, &options).mix();
    let longest = together.stems[0].left.len().min(apart.left.len());
    let worst = (0..longest).map(|at| (together.stems[0].left[at] - apart.left[at]).abs()).fold(0.0, f32::max);
    assert!(worst < 1e-6, "{worst}");
}

/// The largest step from one sample to the next, relative to the largest in the steady middle of a long note.
#[test]
fn no_clicks_at_beginnings_and_ends() {
    for more in
        ["", "<notations><articulations><staccato/></articulations></notations>", "<notations><slur type=\"start\"/></notations>"]
    {
        for name in ["Clarinet in C", "Violin I"] {
            let notes = format!("{}{}{}", note('A', 4, 1, more), note('B', 4, 1, ""), note('A', 4, 2, ""));
            let stems = sound_of(&score(&[(name, &notes)]), &DRY);
            let samples = &stems.stems[0].left;
            let step = |range: std::ops::Range<usize>| {
                samples[range].windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max)
            };
            let steady = step(110_000..150_000);
            let anywhere = step(0..samples.len());
            // The chiff and two tones that overlap may add up; a click would be a whole amplitude.
            assert!(anywhere < 2.2 * steady, "{name} {more}: {anywhere} against {steady}");
        }
    }
}

#[test]
fn slower_keeps_the_pitch() {
    let one = score(&[("Horn in C", &note('A', 4, 4, ""))]);
    let stems = sound_of(&one, &Options { pace: 0.5, ..DRY });
    assert!((stems.seconds() - 8.2).abs() < 0.3, "{}", stems.seconds());
    let hz = support::strongest(&stems.stems[0].left[44_100..44_100 + 65_536], 44_100.0);
    assert!((hz - 440.0).abs() < 0.5, "{hz}");
}

#[test]
fn more_players_are_louder_by_ten_log_n() {
    let level = |words: &str| {
        let words = format!("<direction><direction-type><words>{words}</words></direction-type></direction>");
        let stems = sound_of(&score(&[("8 Horns in C", &format!("{words}{}", note('A', 4, 4, "")))]), &DRY);
        let stem = &stems.stems[0];
        let power = |samples: &[f32]| samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>();
        10.0 * (power(&stem.left[30_000..160_000]) + power(&stem.right[30_000..160_000])).log10()
    };
    let (one, eight) = (level("solo"), level("a 8"));
    // Eight players a few cents apart beat; over three seconds that averages out to about a decibel.
    assert!((eight - one - 10.0 * 8f64.log10()).abs() < 1.2, "{} dB", eight - one);
}

#[test]
fn names_mean_what_they_mean_in_questions() {
    let some = score(&[
        ("Flute", &rest(4)),
        ("Horn 1.2 in F", &rest(4)),
        ("Trumpet", &rest(4)),
        ("Violin I", &rest(4)),
        ("Double bass", &rest(4)),
    ]);
    let named = |name| parts_named(&some, name).unwrap().into_iter().collect::<Vec<_>>();
    assert_eq!(named("brass"), [1, 2]);
    assert_eq!(named("horns"), [1]);
    assert_eq!(named("trumpet"), [2]);
    assert_eq!(named("basses"), [4]);
    assert_eq!(named("'Violin I'"), [3]);
    assert_eq!(named("everybody"), [0, 1, 2, 3, 4]);
    let error = parts_named(&some, "tubas").unwrap_err();
    assert!(error.contains("flutes, horns, trumpets, violins, double basses"), "{error}");
}

#[test]
fn nonsense_is_refused_with_a_sentence() {
    let one = score(&[("Oboe", &note('A', 4, 4, ""))]);
    let passage = passage(&one);
    let good = all(&one, &passage);
    let refused = |selection: &Selection, options: &Options| Renderer::new(&passage, selection, options).err().unwrap();
    assert!(refused(&good, &Options { pace: 0.0, ..DRY }).contains("speed"));
    assert!(refused(&good, &Options { rate: 1, ..DRY }).contains("samples"));
    assert!(refused(&Selection { to: 0.0, ..good.clone() }, &DRY).contains("nothing"));
    assert!(refused(&Selection { groups: Vec::new(), ..good }, &DRY).contains("nobody"));
    assert!(passage.between("1", "9").unwrap_err().contains("no bar 9"));
}

#[test]
fn a_hairpin_grows_inside_a_note() {
    let dynamic = |mark: &str| format!("<direction><direction-type><dynamics><{mark}/></dynamics></direction-type></direction>");
    let wedge = |kind: &str| format!("<direction><direction-type><wedge type=\"{kind}\"/></direction-type></direction>");
    let notes = format!(
        "{}{}{}{}{}",
        dynamic("pp"),
        wedge("crescendo"),
        note('A', 4, 3, ""),
        wedge("stop"),
        dynamic("ff") + &note('A', 4, 1, "")
    );
    let stems = sound_of(&score(&[("Trumpet in C", &notes)]), &DRY);
    let at = |second: f64| loudness(&stems.stems[0].left[(second * 44_100.0) as usize..][..8820]);
    let levels = [at(0.4), at(1.4), at(2.4), at(3.4)];
    assert!(levels.windows(2).all(|pair| pair[1] > pair[0] + 1.0), "{levels:?}");
}

#[test]
fn staccato_is_short_and_pizzicato_dies() {
    let staccato = "<notations><articulations><staccato/></articulations></notations>";
    let sounding = |notes: &str| {
        let stems = sound_of(&score(&[("Viola solo", notes)]), &DRY);
        stems.stems[0].left.iter().filter(|sample| sample.abs() > 1e-4).count()
    };
    let (long, short) = (sounding(&note('A', 4, 1, "")), sounding(&note('A', 4, 1, staccato)));
    assert!(short * 3 < long * 2, "{short} of {long} samples");
    let words = "<direction><direction-type><words>pizz.</words></direction-type></direction>";
    let stems = sound_of(&score(&[("Viola solo", &format!("{words}{}", note('A', 4, 4, "")))]), &DRY);
    let early = loudness(&stems.stems[0].left[2000..8000]);
    let late = loudness(&stems.stems[0].left[60_000..66_000]);
    assert!(early > late + 30.0, "{early} {late}");
}

#[test]
fn a_roll_lasts_and_a_slide_arrives() {
    let roll = "<notations><ornaments><tremolo type=\"single\">3</tremolo></ornaments></notations>";
    let stems = sound_of(&score(&[("Timpani", &note('C', 3, 4, roll))]), &DRY);
    let (early, late) = (loudness(&stems.stems[0].left[44_100..66_150]), loudness(&stems.stems[0].left[132_300..154_350]));
    assert!((early - late).abs() < 2.0, "{early} {late}");
    let slide = |edge: &str| format!("<notations><slide type=\"{edge}\" line-type=\"solid\"/></notations>");
    let notes = format!("{}{}", note('C', 4, 2, &slide("start")), note('C', 5, 2, &slide("stop")));
    let stems = sound_of(&score(&[("Trombone", &notes)]), &DRY);
    let hz = |from: usize| support::strongest(&stems.stems[0].left[from..from + 4096], 44_100.0);
    // From C4 on the way to C5, half way through the slide a good fourth up.
    let middle = hz(53_000);
    assert!((300.0..480.0).contains(&middle) || (600.0..960.0).contains(&middle), "{middle}");
}

/// The loudest sample in a stretch of seconds, of both channels.
fn peak(stems: &Stems, from: f64, to: f64) -> f32 {
    let at = |seconds: f64| (seconds * 44_100.0) as usize;
    let stem = &stems.stems[0];
    [&stem.left, &stem.right].iter().flat_map(|side| &side[at(from)..at(to)]).fold(0.0, |peak, sample| peak.max(sample.abs()))
}

#[test]
fn grace_notes_before_the_first_beat_are_heard() {
    let grace = "<note><grace/><pitch><step>C</step><octave>6</octave></pitch><voice>1</voice><type>eighth</type></note>";
    let three = format!("{grace}{grace}{grace}");
    let plain = score(&[("Flute", &note('C', 5, 4, ""))]);
    let graced = score(&[("Flute", &format!("{three}{}", note('C', 5, 4, "")))]);
    let lead = |score: &Score| {
        let passage = passage(score);
        Renderer::new(&passage, &all(score, &passage), &DRY).unwrap().lead()
    };
    // A grace note takes 0.085 s.
    assert!((lead(&graced) - lead(&plain) - 3.0 * 0.085).abs() < 1e-6);
    let sound = sound_of(&graced, &DRY);
    assert!(peak(&sound, lead(&plain) + 0.02, lead(&graced)) > 0.1 * peak(&sound, lead(&graced) + 0.1, 2.0));
    // They belong to the bar of their beat and not to the one before it.
    let passage = passage(&graced);
    let before = Selection { from: -2.0, to: 0.0, ..all(&graced, &passage) };
    let renderer = Renderer::new(&passage, &before, &DRY).unwrap();
    let frames = renderer.frames();
    let silence = render(renderer, frames, &before, &DRY, |_| ControlFlow::Continue(())).unwrap();
    assert_eq!(silence.stems[0].peak(), 0.0);
}

#[test]
fn a_slur_that_never_ends_binds_nothing() {
    let with = |first: &str, last: &str| {
        let slur = |edge: &str| {
            if edge.is_empty() { String::new() } else { format!("<notations><slur type=\"{edge}\" number=\"1\"/></notations>") }
        };
        let notes: String = ["", "", ""].iter().map(|_| note('E', 4, 1, "")).collect();
        let text = format!("{}{notes}{}", note('D', 4, 1, &slur(first)), note('F', 4, 1, &slur(last)));
        sound_of(&score(&[("Oboe", &text)]), &DRY)
    };
    let (plain, open, closed) = (with("", ""), with("start", ""), with("start", "stop"));
    assert_eq!(plain, open);
    assert_ne!(plain, closed);
}

#[test]
fn impossible_rooms_are_refused() {
    let score = score(&[("Flute", &note('C', 5, 4, ""))]);
    let passage = passage(&score);
    let options = Options { room: Room { volume: 0.0, ..Room::hall() }, ..DRY };
    let refused = Renderer::new(&passage, &all(&score, &passage), &options).err().unwrap();
    assert!(refused.contains("cubic metres"), "{refused}");
    let options = Options { listener: Listener::Seat(-3.0), ..DRY };
    let refused = Renderer::new(&passage, &all(&score, &passage), &options).err().unwrap();
    assert!(refused.contains("behind the conductor"), "{refused}");
}
