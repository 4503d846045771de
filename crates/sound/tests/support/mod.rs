//! Small scores, their sound, and tools to measure it with.
#![allow(dead_code, clippy::unwrap_used)] // each test uses its share, and may stop

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use realfft::RealFftPlanner;
use ripieno_formats::{Limits, read};
use ripieno_score::{Score, Sounding, Unroll};
use ripieno_sound::groups::{Gather, gather};
use ripieno_sound::{Listener, Options, Passage, Renderer, Room, Selection, Stems, render};

/// A score of one part per (name, notes); a note is (step with alter, octave, crotchets, what stands beside it).
pub fn score(parts: &[(&str, &str)]) -> Score {
    let list: String = parts
        .iter()
        .enumerate()
        .map(|(i, (name, _))| format!("<score-part id=\"P{i}\"><part-name>{name}</part-name></score-part>"))
        .collect();
    let body: String = parts
        .iter()
        .enumerate()
        .map(|(i, (_, notes))| {
            format!(
                "<part id=\"P{i}\"><measure number=\"1\"><attributes><divisions>4</divisions><time><beats>4</beats>\
                 <beat-type>4</beat-type></time></attributes><sound tempo=\"60\"/>\
                 <direction><direction-type><dynamics><f/></dynamics></direction-type></direction>{notes}</measure></part>"
            )
        })
        .collect();
    let text =
        format!("<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list>{list}</part-list>{body}</score-partwise>");
    read("test.musicxml", text.as_bytes(), &Limits::default()).unwrap().score
}

/// A note of so many crotchets.
pub fn note(step: char, octave: i32, quarters: i32, more: &str) -> String {
    format!(
        "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{}</duration><voice>1</voice>{more}</note>",
        quarters * 4
    )
}

/// A rest likewise.
pub fn rest(quarters: i32) -> String {
    format!("<note><rest/><duration>{}</duration><voice>1</voice></note>", quarters * 4)
}

/// The score made ready.
pub fn passage(score: &Score) -> Passage {
    let sounding = Sounding::new(score, Unroll::AsPlayed);
    Passage::new(score, &sounding, &ripieno_texture::techniques(score, &sounding))
}

/// All of it, every part a group.
pub fn all(score: &Score, passage: &Passage) -> Selection {
    let parts: BTreeSet<usize> = (0..score.parts.len()).collect();
    Selection { from: 0.0, to: passage.seconds(), groups: gather(score, &parts, Gather::Parts) }
}

/// Its sound, every part a stem.
pub fn sound_of(score: &Score, options: &Options) -> Stems {
    let passage = passage(score);
    let selection = all(score, &passage);
    let renderer = Renderer::new(&passage, &selection, options).unwrap();
    let frames = renderer.frames();
    render(renderer, frames, &selection, options, |_| ControlFlow::Continue(())).unwrap()
}

/// No room and no change of level.
pub const DRY: Options =
    Options { rate: 44_100, room: Room::NONE, listener: Listener::Microphones, pace: 1.0, seed: 1, gain: Some(1.0) };

/// Mean square in decibels.
pub fn loudness(samples: &[f32]) -> f64 {
    10.0 * (samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len() as f64 + 1e-30).log10()
}

/// Mean square at each frequency, of a length-n transform under a Hann window, so that their sum is the mean square.
pub fn powers(samples: &[f32]) -> Vec<f64> {
    let n = samples.len();
    let window = |at: usize| 0.5 - 0.5 * (std::f64::consts::TAU * at as f64 / n as f64).cos();
    let windowed: Vec<f64> = samples.iter().enumerate().map(|(at, s)| f64::from(*s) * window(at)).collect();
    transformed(windowed).iter().map(|power| power / 0.375).collect()
}

/// The same without a window, for sounds that begin and end in silence.
pub fn transformed(mut input: Vec<f64>) -> Vec<f64> {
    let n = input.len();
    let mut planner = RealFftPlanner::<f64>::new();
    let transform = planner.plan_fft_forward(n);
    let mut output = transform.make_output_vec();
    transform.process(&mut input, &mut output).unwrap();
    output.iter().map(|value| 2.0 * value.norm_sqr() / (n as f64).powi(2)).collect()
}

/// The fundamental in hertz: the strongest frequency, between bins by a parabola.
pub fn strongest(samples: &[f32], rate: f64) -> f64 {
    let spectrum = powers(samples);
    let at = (1..spectrum.len() - 1).max_by(|a, b| spectrum[*a].total_cmp(&spectrum[*b])).unwrap();
    let [a, b, c] = [at - 1, at, at + 1].map(|i| spectrum[i].ln());
    (at as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)) * rate / samples.len() as f64
}
