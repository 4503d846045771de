//! Estimated exposure against published measurements, on the project's own overture.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)] // a test may stop, and shows its figures

mod common;

use common::demo;
use ripieno_acoustics::exposure::CAUTION;
use ripieno_acoustics::{Day, Exposed, Line, Scene, Situation, audibility, exposure, second_opinion};
use ripieno_instruments::{Family, catalogue};
use ripieno_score::{Score, Sounding, Unroll};

fn overture() -> (Score, Vec<Exposed>) {
    let score = demo();
    let sounding = Sounding::new(&score, Unroll::AsPlayed);
    let exposed = exposure(&score, &sounding, &[], &Situation::conductor(), Day::default()).unwrap();
    (score, exposed)
}

#[test]
fn levels_lie_where_measurements_lie() {
    // Schmidt and others 2011 (confirmed): LAeq while playing, brass 86 to 98 dB, high strings 82 to 98 dB; no daily level above 92 dB in 114
    // measurements. Ours may lie beyond by its own stated uncertainty. Wenmaekers 2015 (confirmed): the others add 2 dB and more.
    let (score, exposed) = overture();
    for one in &exposed {
        let part = &score.parts[one.part];
        println!(
            "{:24} {:5.1} dB(A), own {:5.1}, day {:5.1}, EU upper {:4.0} %",
            part.name, one.playing, one.own, one.daily, one.doses[1].percent
        );
        let Some(item) = catalogue().by_id(&part.instrument_id) else { continue };
        let range = match (item.family, item.section.name()) {
            (Family::Brass, _) => 86.0..=98.0,
            (Family::Strings, "violins" | "violas") => 82.0..=98.0,
            _ => continue,
        };
        assert!(
            (range.start() - one.spread..=range.end() + one.spread).contains(&one.playing),
            "{}: {:.1}",
            part.name,
            one.playing
        );
        assert!(one.daily < 92.0 + one.spread, "{}: {:.1}", part.name, one.daily);
    }
    assert!(CAUTION.contains("estimate"));
}

#[test]
fn brass_sits_louder_than_double_basses() {
    // Schmidt 2011, Backus 2007 (confirmed): brass is the group most exposed, the double bass (77.1) far below the trumpet (88.4).
    let (score, exposed) = overture();
    let of = |id: &str| exposed.iter().find(|one| score.parts[one.part].instrument_id == id).map(|one| one.playing).unwrap();
    assert!(of("trumpet") > of("double-bass") + 3.0, "{} {}", of("trumpet"), of("double-bass"));
}

#[test]
fn the_quick_ear_agrees_with_partial_loudness() {
    // Moore, Glasberg and Baer 1997 (in `crates/loudness`, from published formulas) against the linear ear, on bars of the overture.
    let score = demo();
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(&score, &sounding);
    let whole = audibility(&scene, &lines);
    let (mut pairs, mut apart) = (Vec::new(), Vec::new());
    for bar in (0..sounding.bars.len()).step_by(17) {
        for line in 0..lines.len() {
            if let (Some(quick), Some(second)) = (whole.at(line, bar), second_opinion(&scene, &lines, line, bar)) {
                let second = second.margin_db.clamp(-30.0, 40.0);
                pairs.push((quick.margin_db, second));
                apart.push((quick.margin_db - second).abs());
            }
        }
    }
    apart.sort_by(f64::total_cmp);
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / pairs.len() as f64;
    let (a, b) = (mean(&|pair| pair.0), mean(&|pair| pair.1));
    let product = |x: &dyn Fn(&(f64, f64)) -> f64, y: &dyn Fn(&(f64, f64)) -> f64| mean(&|pair| x(pair) * y(pair));
    let (da, db) = (|pair: &(f64, f64)| pair.0 - a, |pair: &(f64, f64)| pair.1 - b);
    let correlation = product(&da, &db) / (product(&da, &da) * product(&db, &db)).sqrt();
    let median = apart[apart.len() / 2];
    println!(
        "{} lines in bars: correlation {correlation:.3}, apart {median:.1} dB in the median, means {a:.1} and {b:.1}",
        pairs.len()
    );
    assert!(correlation > 0.9 && median < 6.0, "{correlation} {median}");
}
