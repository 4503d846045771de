//! What is rendered is what the acoustic model predicted: level and third-octave spectrum, over instruments, pitches, dynamics.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

mod support;

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use ripieno_acoustics::{Plan, Source, Tone, Ways};
use ripieno_formats::{Limits, read};
use ripieno_instruments::catalogue;
use ripieno_score::{DynamicLevel, Part, Score, Sounding, Unroll};
use ripieno_sound::groups::{Gather, gather};
use ripieno_sound::{Listener, Options, Passage, Renderer, Room, Selection, Stereo, render};

const RATE: f64 = 44_100.0;
const STEPS: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];

/// One note of four seconds, dry, by one player.
fn one_note(name: &str, key: i32, dynamic: &str) -> Stereo {
    heard(&note_of(name, key, dynamic, ""))
}

/// The same by an instrument of the catalogue or a model, whatever a score would call it.
fn one_note_of(id: &str, key: i32, dynamic: &str, words: &str) -> Stereo {
    let mut score = note_of("Violin solo", key, dynamic, words);
    id.clone_into(&mut score.parts[0].instrument_id);
    score.parts[0].instruments.clear();
    heard(&score)
}

fn note_of(name: &str, key: i32, dynamic: &str, words: &str) -> Score {
    let step = STEPS[(key % 12) as usize];
    let alter = if step.len() > 1 { "<alter>1</alter>" } else { "" };
    let words = if words.is_empty() {
        String::new()
    } else {
        format!("<direction><direction-type><words>{words}</words></direction-type></direction>")
    };
    let text = format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>{name}</part-name></score-part>\
         </part-list><part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes><sound tempo=\"60\"/>\
         <direction><direction-type><dynamics><{dynamic}/></dynamics></direction-type></direction>{words}\
         <note><pitch><step>{}</step>{alter}<octave>{}</octave></pitch><duration>4</duration><voice>1</voice></note></measure></part></score-partwise>",
        &step[..1],
        key / 12 - 1
    );
    read("note.musicxml", text.as_bytes(), &Limits::default()).unwrap().score
}

fn heard(score: &Score) -> Stereo {
    let sounding = Sounding::new(score, Unroll::AsPlayed);
    let passage = Passage::new(score, &sounding, &ripieno_texture::techniques(score, &sounding));
    let groups = gather(score, &BTreeSet::from([0]), Gather::Parts);
    let selection = Selection { from: 0.0, to: passage.seconds(), groups };
    let options = Options { room: Room::NONE, gain: Some(1.0), ..Options::default() };
    let renderer = Renderer::new(&passage, &selection, &options).unwrap();
    let frames = renderer.frames();
    render(renderer, frames, &selection, &options, |_| ControlFlow::Continue(())).unwrap().stems.remove(0)
}

/// What the engine does to the power of a player on the way: reference level and distance.
fn way(instrument: &str) -> f64 {
    let part = Part { instrument_id: instrument.to_owned(), ..Part::default() };
    let score = Score { parts: vec![part], ..Score::default() };
    let seat = Listener::default().sees(Plan::ViolinsTogether.seats(&score)[0].place);
    -100.0 - 10.0 * (4.0 * std::f64::consts::PI * seat.distance.powi(2)).log10()
}

/// Edges of the third-octave bands round 1 kHz (IEC 61260-1, base ten), from 25 Hz to 12.5 kHz.
fn edges() -> Vec<f64> {
    (-17..=11).map(|index| 1000.0 * 10f64.powf((f64::from(index) + 0.5) / 10.0)).collect()
}

fn band_of(hz: f64) -> Option<usize> {
    let edges = edges();
    let after = edges.partition_point(|edge| *edge <= hz);
    (after > 0 && after < edges.len()).then(|| after - 1)
}

/// Powers of a held tone in third-octave bands, and whether a partial lies so near an edge that the band is uncertain.
fn predicted(tone: &Tone, at: f64) -> (Vec<f64>, Vec<bool>) {
    let edges = edges();
    let mut powers = vec![0.0; edges.len() - 1];
    let mut uncertain = vec![false; powers.len()];
    for partial in &tone.partials {
        let Some(band) = band_of(partial.hz) else { continue };
        powers[band] += at * 10f64.powf(partial.db / 10.0);
        for (index, edge) in edges.iter().enumerate() {
            if (partial.hz / edge).log2().abs() < 0.025 {
                uncertain.iter_mut().take(index + 1).skip(index.saturating_sub(1)).for_each(|near| *near = true);
            }
        }
    }
    for band in &tone.noise {
        if let Some(index) = band_of(band.hz) {
            powers[index] += at * 10f64.powf(band.db / 10.0);
        }
    }
    (powers, uncertain)
}

fn measured(spectrum: &[f64]) -> Vec<f64> {
    let width = RATE / 2.0 / (spectrum.len() - 1) as f64;
    let mut powers = vec![0.0; edges().len() - 1];
    for (bin, power) in spectrum.iter().enumerate() {
        if let Some(band) = band_of(bin as f64 * width) {
            powers[band] += power;
        }
    }
    powers
}

fn decibels(power: f64) -> f64 {
    10.0 * (power + 1e-30).log10()
}

/// (level error, worst band error) in decibels, over bands with at least this share of the power of the strongest.
fn errors(predicted: &[f64], uncertain: &[bool], measured: &[f64], least: f64) -> (f64, f64) {
    let level = decibels(measured.iter().sum()) - decibels(predicted.iter().sum());
    let most = predicted.iter().copied().fold(0.0, f64::max);
    let counts = |band: &usize| predicted[*band] > most * least && !uncertain[*band];
    let worst = (0..predicted.len())
        .filter(counts)
        .map(|band| (decibels(measured[band]) - decibels(predicted[band])).abs())
        .fold(0.0, f64::max);
    (level.abs(), worst)
}

#[test]
fn held_tones_have_the_level_and_spectrum_predicted() {
    let instruments: &[(&str, &str, [i32; 3])] = &[
        ("Flute", "flute", [62, 74, 91]),
        ("Oboe", "oboe", [60, 72, 86]),
        ("Clarinet in C", "clarinet", [53, 67, 86]),
        ("Bassoon", "bassoon", [36, 50, 66]),
        ("Horn in C", "horn", [41, 57, 74]),
        ("Trumpet in C", "trumpet", [58, 67, 81]),
        ("Trombone", "trombone", [41, 53, 69]),
        ("Tuba", "tuba", [31, 41, 58]),
        ("Violin solo", "violin", [55, 74, 98]),
        ("Viola solo", "viola", [48, 62, 81]),
        ("Violoncello solo", "cello", [36, 50, 74]),
        ("Double bass solo", "double-bass", [31, 40, 55]),
    ];
    let mut worst = (0.0f64, 0.0f64);
    let mut count = 0;
    for (name, id, keys) in instruments {
        for key in keys {
            for (dynamic, level) in [("pp", 2.0), ("mf", 5.0), ("ff", 7.0)] {
                let sound = one_note(name, *key, dynamic);
                let mut heard: Vec<f64> = vec![];
                for channel in [&sound.left, &sound.right] {
                    let own = measured(&support::powers(&channel[50_000..50_000 + 65_536]));
                    heard = if heard.is_empty() { own } else { heard.iter().zip(own).map(|(a, b)| a + b).collect() };
                }
                let tone = Source::of(id).tone(f64::from(*key), DynamicLevel(level), Ways::empty(), 0.42 * RATE);
                let at = 10f64.powf((tone.power.db + way(id)) / 10.0);
                let (powers, uncertain) = predicted(&tone, at);
                let (off, band) = errors(&powers, &uncertain, &heard, 1e-3);
                println!("{name} {key} {dynamic}: level {off:.2} dB, worst band {band:.2} dB");
                worst = (worst.0.max(off), worst.1.max(band));
                count += 1;
            }
        }
    }
    println!("{count} tones: level within {:.2} dB, third-octave bands within {:.2} dB", worst.0, worst.1);
    assert!(worst.0 < 1.0 && worst.1 < 2.0, "{worst:?}");
}

/// Bands this much under the strongest, in dB, are held against the model.
const DOWN_TO: f64 = 30.0;

#[test]
fn strokes_have_the_energy_predicted_in_every_band() {
    // Every model that does not hold its tones, and the strings plucked and with the wood, over their compass; the whole decay, until the player damps it.
    let struck =
        Source::all().iter().filter(|model| model.decay(60.0, Ways::empty()).is_some()).map(|model| (model, "", Ways::empty()));
    let strings = ["violin", "viola", "cello", "double-bass"].map(Source::of);
    let plucked = strings.into_iter().map(|model| (model, "pizz.", Ways::PLUCKED));
    let mut worst = (0.0f64, 0.0f64);
    let mut bands = 0;
    for (model, words, ways) in struck.chain(plucked) {
        let usual = catalogue().by_id(&model.id).and_then(|item| item.sounding(item.default_transposition()));
        let (low, high) = usual.map_or((48, 84), |ranges| (i32::from(ranges.usual.low()), i32::from(ranges.usual.high())));
        let mut of_model = (0.0f64, 0.0f64);
        for key in [low, (low + high) / 2, high] {
            for (dynamic, level) in [("pp", 2.0), ("ff", 7.0)] {
                let sound = one_note_of(&model.id, key, dynamic, words);
                let mut heard: Vec<f64> = vec![];
                for channel in [&sound.left, &sound.right] {
                    let own = measured(&support::transformed(channel.iter().map(|s| f64::from(*s)).collect()));
                    heard = if heard.is_empty() { own } else { heard.iter().zip(own).map(|(a, b)| a + b).collect() };
                }
                let tone = model.tone(f64::from(key), DynamicLevel(level), ways, 0.42 * RATE);
                let seconds = sound.left.len() as f64 / RATE;
                let at = 10f64.powf((tone.power.db + way(&model.id)) / 10.0) / seconds;
                let predicted: Vec<f64> = tone.energy(&edges(), 4.0).iter().map(|energy| at * energy).collect();
                let (off, band) = errors(&predicted, &vec![false; predicted.len()], &heard, 10f64.powf(-DOWN_TO / 10.0));
                let most = predicted.iter().copied().fold(0.0, f64::max);
                for index in 0..predicted.len() {
                    let apart = decibels(heard[index]) - decibels(predicted[index]);
                    if predicted[index] > most * 1e-3 && apart.abs() > 2.0 {
                        println!(
                            "    {} {words} {key} {dynamic}: {:.0} Hz {apart:+.2} dB, {:.0} dB under the strongest",
                            model.id,
                            edges()[index] * 1.122,
                            decibels(predicted[index]) - decibels(most)
                        );
                    }
                }
                bands += predicted.iter().filter(|power| **power > most * 1e-3).count();
                of_model = (of_model.0.max(off), of_model.1.max(band));
            }
        }
        println!("{} {words}: energy within {:.2} dB, bands within {:.2} dB", model.id, of_model.0, of_model.1);
        worst = (worst.0.max(of_model.0), worst.1.max(of_model.1));
    }
    println!(
        "{bands} bands down to {DOWN_TO} dB under the strongest: energy within {:.2} dB, bands within {:.2} dB",
        worst.0, worst.1
    );
    assert!(worst.0 < 0.5 && worst.1 < 2.0 && bands > 1000, "{worst:?}");
}
