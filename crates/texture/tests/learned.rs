//! The whole learned path on a real score: the demo overture in, probabilities out.
//!
//! Expected values come from `model/roles/reference.py`, which reads the model file and answers in numpy, written apart from the
//! program: standardising, network, windows of the trees, trees, smoothing and calibration. It starts from the program's own
//! numbers of each part and bar, whose own witness is `research/roles/features.py` (`model/README.md`).
#![allow(clippy::unwrap_used)]

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{FigureProbabilities, predict};

#[test]
fn the_learned_path_equals_the_reference_on_the_demo() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/lifeboat_overture.musicxml");
    let score = read(path, &std::fs::read(path).unwrap(), &Limits::default()).unwrap().score;
    let told = predict(&score, &Sounding::new(&score, Unroll::AsWritten));
    let mut compared = 0;
    for line in include_str!("learned/demo.txt").lines() {
        let numbers: Vec<f64> = line.split(' ').map(|word| word.parse().unwrap()).collect();
        let (part, bar) = (numbers[0] as usize, numbers[1] as usize);
        let FigureProbabilities { arpeggio, scale, repeated_note, sparse } = told.figures[part][bar];
        let [unison, rhythm, parallel] = told.relations[part][bar];
        let ours = [
            [told.melody[part][bar], told.rhythm[part][bar], told.harmony[part][bar], told.lead[part][bar]].as_slice(),
            &[arpeggio, scale, repeated_note, sparse, unison, rhythm, parallel],
        ]
        .concat();
        assert_eq!(ours.len(), numbers.len() - 2);
        for (ours, reference) in ours.into_iter().zip(&numbers[2..]) {
            assert!((f64::from(ours) - reference).abs() < 1e-5, "part {part}, bar {bar}: {ours} is not {reference}");
            compared += 1;
        }
    }
    assert!(compared > 500, "only {compared} numbers compared");
}
