//! Moments and findings of the demo overture against what its composer planted (`demo/PLANTED.md`, `demo/planted/practice.csv`).
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::path::Path;
use std::sync::OnceLock;

use ripieno_formats::{Limits, read_file};
use ripieno_study::{Study, analyse};

fn study() -> &'static Study {
    static STUDY: OnceLock<Study> = OnceLock::new();
    STUDY.get_or_init(|| {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
        analyse("lifeboat_overture.musicxml".to_owned(), read_file(&file, &Limits::default()).unwrap())
    })
}

fn bars_of(kind: &str) -> Vec<std::ops::Range<u32>> {
    study().moments.iter().filter(|moment| moment.kind == kind).map(|moment| moment.bars.clone()).collect()
}

/// The demo counts its printed bars from 0, as the played bars of the view do.
#[test]
fn planted_moments_are_there() {
    for moment in &study().moments {
        println!("{:?} {} {:.2} {}", moment.bars, moment.kind, moment.weight, moment.reason);
    }
    // "Trombones and tuba sound here for the first time": 35, all brass with them, until 45.
    assert_eq!(bars_of("first full brass"), [std::ops::Range { start: 35, end: 46 }]);
    assert!(bars_of("entry after a long rest").contains(&(35..36)));
    // Three tuttis and the coda: 35-45, 81-88, 89-100, 105-108. A tutti is told where everybody keeps to one thing; nothing is told as one that is none.
    let tuttis = bars_of("tutti");
    let planted = [(35, 45), (81, 100), (105, 108)];
    let inside =
        |tutti: &std::ops::Range<u32>| planted.iter().any(|&(first, last)| first <= tutti.start && tutti.end <= last + 1);
    assert!(!tuttis.is_empty() && tuttis.iter().all(inside), "{tuttis:?}");
    // The demo names no climax, but it has to lie in one of its tuttis, the coda's fff among them.
    let climaxes = bars_of("climax");
    assert!(!climaxes.is_empty() && climaxes.iter().all(inside), "{climaxes:?}");
}

#[test]
fn moments_are_ranked_and_each_place_stands_once() {
    let moments = &study().moments;
    assert!(moments.windows(2).all(|pair| pair[0].weight >= pair[1].weight));
    for (index, moment) in moments.iter().enumerate() {
        assert!(!moment.bars.is_empty() && !moment.reason.is_empty());
        let twice = moments[index + 1..]
            .iter()
            .any(|other| other.kind == moment.kind && other.bars.start < moment.bars.end && moment.bars.start < other.bars.end);
        assert!(!twice, "{moment:?}");
    }
}

#[test]
fn findings_say_what_is_planted_and_prove_it() {
    let findings = &study().noteworthy;
    for found in findings {
        println!("{:.2} {} {:?}", found.weight, found.text, found.bars);
        assert!(!found.bars.is_empty() && found.bars.is_sorted());
        assert!(found.text.ends_with('.'));
    }
    let said = |text: &str| findings.iter().find(|found| found.text == text).unwrap_or_else(|| panic!("not said: {text}"));
    // An upbeat is no bar of rest: bars 1 to 34 are silent.
    let late = said(
        "The trombones and the tubas are silent for the first 34 bars and sound in 35 of 109, in two stretches with eight bars or more between them.",
    );
    assert_eq!(late.bars.len(), 35);
    let kept =
        findings.iter().find(|found| found.text.starts_with("All 35 bars of the trombones and the tubas lie where")).unwrap();
    assert_eq!(kept.bars, late.bars);
    // Whoever "sounds always where another rests" must really do so.
    for found in findings.iter().filter(|found| found.text.contains("always where")) {
        let other = found.text.split("always where ").nth(1).unwrap().trim_end_matches(" rests.");
        let part = study().score.parts.iter().position(|part| part.name.trim() == other).unwrap();
        let sounds = &study().of_parts[part].presence.bars;
        assert!(found.bars.iter().all(|bar| !sounds.contains(bar)), "{}", found.text);
    }
}
