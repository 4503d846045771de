//! The balance of the demo overture: laws of the estimate, and what its composer planted.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise, and shows its figures

use std::path::Path;
use std::sync::LazyLock;

use ripieno_formats::{Limits, read_file};
use ripieno_instruments::{catalogue, printed};
use ripieno_players::{Level, Limits as Reach};
use ripieno_study::acoustics::{Day, Grade, Kinship, Refused, RemedyKind, Situation, instruments_of};
use ripieno_study::{Help, Study, analyse};

static STUDY: LazyLock<Study> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    analyse("lifeboat_overture.musicxml".to_owned(), read_file(&path, &Limits::default()).unwrap())
});

#[test]
fn a_mix_has_no_verdict_without_its_levels() {
    assert_eq!(STUDY.balance(Situation::Mix { gains_db: None }).err(), Some(Refused::NoMixLevels));
    assert!(STUDY.balance(Situation::Mix { gains_db: Some(vec![0.0]) }).is_err());
    let mix = Situation::Mix { gains_db: Some(vec![0.0; STUDY.score.parts.len()]) };
    assert!(STUDY.balance(mix.clone()).is_ok());
    assert_eq!(STUDY.exposure(&mix, Day::default()).err(), Some(Refused::NoSeats), "nobody sits together in a mix");
}

#[test]
fn everything_said_has_its_bars() {
    let balance = STUDY.balance(Situation::hall()).unwrap();
    assert_eq!(balance, STUDY.balance(Situation::hall()).unwrap());
    // practice.csv of the demo: the melody sounds from the upbeat to the last hits; nearly every bar has one.
    assert!(balance.melody.len() > 90 && balance.melody.windows(2).all(|pair| pair[0].bar < pair[1].bar));
    let carriers = |bar: u32| STUDY.roles.roles.melody.iter().filter(move |carried| carried.bars.contains(&bar));
    for told in &balance.melody {
        assert!(carriers(told.bar).any(|carried| carried.part == told.part), "bar {}", told.bar);
        assert!(told.maskers.windows(2).all(|pair| pair[0].gain_db >= pair[1].gain_db));
    }
    let hidden = balance.bars_graded(|grade| grade <= Grade::Hard);
    let spots: Vec<u32> = balance.spots.iter().flat_map(|spot| spot.bars.clone()).collect();
    assert_eq!(hidden, spots, "every hidden bar lies in one spot");
    for spot in &balance.spots {
        assert!(spot.bars.contains(&spot.worst) && spot.help.iter().all(|help| help.gain_db >= 1.0));
    }
    for judged in &balance.judged {
        assert!(judged.bars.contains(&judged.worst) && !judged.verdicts.told.is_empty());
    }
    assert!(balance.sentences(&STUDY).iter().all(|finding| finding.text.ends_with('.')));
}

#[test]
fn chords_are_judged_without_the_melody() {
    let balance = STUDY.balance(Situation::hall()).unwrap();
    // PLANTED.md: bars 81 to 88 are one stack of the whole orchestra; with all who double the melody left out, most still have a full chord.
    assert!((81..=88).filter(|bar| balance.chord_in(*bar).is_some()).count() >= 4);
    for chord in &balance.chords {
        assert!(chord.evenness.tones.len() >= 4);
        let classes: std::collections::BTreeSet<u8> = chord.evenness.tones.iter().map(|tone| tone.key % 12).collect();
        assert!(classes.len() >= 3);
    }
}

#[test]
fn who_is_turned_up_in_the_mix_is_heard() {
    // The violins alone up, all others 50 dB down: wherever the first violins lead, nothing covers them.
    let first = STUDY.score.parts.iter().position(|part| part.name.trim() == "Violin I").unwrap();
    let gains: Vec<f64> = (0..STUDY.score.parts.len()).map(|part| if part == first { 0.0 } else { -50.0 }).collect();
    let up = STUDY.balance(Situation::Mix { gains_db: Some(gains.clone()) }).unwrap();
    let led = |told: &&ripieno_study::MelodyBar| told.part == first;
    assert!(up.melody.iter().filter(led).count() > 10);
    // A bar shared with another leader may have little of the violins in it.
    let clear = up.melody.iter().filter(led).filter(|told| told.audible.grade() >= Grade::Clear).count();
    assert!(clear * 10 >= up.melody.iter().filter(led).count() * 9, "{clear}");
    let level = STUDY.balance(Situation::Mix { gains_db: Some(vec![0.0; gains.len()]) }).unwrap();
    for (up, level) in up.melody.iter().zip(&level.melody).filter(|(up, _)| led(up)) {
        assert!(up.audible.margin_db >= level.audible.margin_db - 1e-6, "bar {}", up.bar);
    }
}

#[test]
fn exposure_is_told_for_every_desk() {
    let desks = STUDY.exposure(&Situation::hall(), Day::default()).unwrap();
    assert_eq!(desks.len(), STUDY.score.parts.len());
    // Schmidt and others 2011 measured 82 to 98 dB(A) in orchestras: an estimate outside 70 to 105 would be wrong.
    assert!(desks.iter().all(|desk| (70.0..105.0).contains(&desk.playing) && desk.spread > 0.0));
}

#[test]
fn every_span_is_heard_beside_what_does_not_play_it() {
    let weighing = STUDY.weigh(Situation::hall()).unwrap();
    assert_eq!(weighing.balance(), STUDY.balance(Situation::hall()).unwrap());
    let (spans, heard) = (&STUDY.roles.roles.spans, weighing.spans());
    assert_eq!(spans.len(), heard.len());
    assert!(spans.iter().zip(&heard).all(|(span, bars)| span.bars.len() == bars.len()));
    let of_span = |index: usize, bar: u32| heard[index].get((bar - spans[index].bars.start) as usize).copied().flatten();
    // Those who double each other note for note are one thing to the ear, so they are heard alike, but where a third joins them in mid-bar.
    let (mut alike, mut unlike) = (0, 0);
    for doubling in &STUDY.doublings.all {
        let span = |line: usize, bar: u32| spans.iter().position(|span| span.line == line && span.bars.contains(&bar));
        for bar in doubling.bars.0 + 1..doubling.bars.1 {
            let (Some(a), Some(b)) = (span(doubling.a, bar), span(doubling.b, bar)) else { continue };
            let (Some(a), Some(b)) = (of_span(a, bar), of_span(b, bar)) else { continue };
            *(if a == b { &mut alike } else { &mut unlike }) += 1;
        }
    }
    assert!(alike > 50 && unlike * 10 < alike, "{alike} alike, {unlike} not");
    // What is told of a span is told of the bar in which it is heard worst, and with the same margin.
    for index in (0..spans.len()).step_by(97) {
        let Some(told) = weighing.span(index) else { continue };
        let worst = heard[index].iter().flatten().map(|audible| audible.margin_db).fold(f64::MAX, f64::min);
        assert_eq!(of_span(index, told.bar).unwrap().margin_db, worst);
        assert!((told.audible.margin_db - worst).abs() < 0.5, "bar {}: {} and {worst}", told.bar, told.audible.margin_db);
        assert!(
            !told.with.contains(&spans[index].part) && told.maskers.windows(2).all(|pair| pair[0].gain_db >= pair[1].gain_db)
        );
        assert_eq!(told.verdicts.is_some(), told.maskers.first().is_some_and(|masker| !masker.parts.is_empty()));
    }
}

/// Notes of a part that sound in some bars, as rows.
fn rows(part: usize, bars: &std::ops::Range<u32>) -> Vec<usize> {
    let (notes, played) = (&STUDY.sounding.notes, &STUDY.sounding.bars);
    let last = played[bars.end as usize - 1];
    let (from, to) = (played[bars.start as usize].start, last.start + last.length);
    let sounds = |row: &usize| notes.onset[*row] < to && notes.onset[*row] + notes.duration[*row] > from;
    notes.of_part[part].clone().filter(sounds).collect()
}

/// Keys of a part that sound in some bars.
fn keys(part: usize, bars: &std::ops::Range<u32>) -> Vec<u8> {
    rows(part, bars).into_iter().filter_map(|row| Some(STUDY.sounding.notes.key[row]?.number())).collect()
}

/// What is offered, checked against the limits of `crates/players` (its sources there) by another way than the one by which it was found.
fn can_be_done(help: &Help) {
    let reach = |part: usize, key: u8| {
        let item = catalogue().by_id(&STUDY.score.parts[part].instrument_id).unwrap();
        Reach::of(item, None, Level::Professional)
            .is_some_and(|limits| (limits.possible.low()..=limits.possible.high()).contains(&key))
    };
    match &help.kind {
        RemedyKind::Joins { part, with, semitones, kinship, .. } => {
            // What it does to the colour is said.
            assert!(help.what.ends_with(kinship.told()), "{}", help.what);
            assert!(keys(*part, &help.bars).is_empty(), "{} plays already", help.what);
            let theirs = keys(*with, &help.bars);
            let moved = |key: &u8| key.saturating_add_signed(*semitones);
            assert!(!theirs.is_empty() && theirs.iter().all(|key| reach(*part, moved(key))), "{}", help.what);
        }
        RemedyKind::Octave { parts, semitones } => {
            assert!(semitones.abs() == 12 && !parts.is_empty(), "{}", help.what);
            // Of the lines of each part, that of the tune is moved: one at least has notes there, all of them in reach an octave off.
            for part in parts {
                let moves = |line: usize| {
                    let of_line = |row: &usize| STUDY.lines.of_row[*row] as usize == line;
                    let rows: Vec<usize> = rows(*part, &help.bars).into_iter().filter(of_line).collect();
                    // A flautist who has taken the piccolo reaches what a piccolo does.
                    let played = instruments_of(&STUDY.score.parts[*part]);
                    let reached = |row: &usize| {
                        let notes = &STUDY.sounding.notes;
                        let id = played.get(usize::from(notes.instrument[*row])).map_or("", String::as_str);
                        let limits = catalogue().by_id(id).and_then(|item| Reach::of(item, None, Level::Professional));
                        let key = notes.key[*row].map(|key| key.number().saturating_add_signed(*semitones));
                        limits
                            .zip(key)
                            .is_some_and(|(limits, key)| (limits.possible.low()..=limits.possible.high()).contains(&key))
                    };
                    !rows.is_empty() && rows.iter().all(reached)
                };
                assert!((0..STUDY.lines.lines.len()).any(moves), "{}", help.what);
            }
        }
        RemedyKind::Leaves { part, doubled } => {
            let notes = &STUDY.sounding.notes;
            let attacks = |part: usize| -> std::collections::BTreeSet<_> {
                let of = |row: usize| Some((notes.onset[row], notes.key[row]?.number() % 12));
                rows(part, &help.bars).into_iter().filter_map(of).collect()
            };
            assert!(part != doubled && attacks(*part).is_subset(&attacks(*doubled)), "{}", help.what);
        }
        RemedyKind::AllSofter { parts } => {
            // Softer than pp nobody is asked to play; levels between two signs go with the nearer.
            let level = |row: usize| STUDY.sounding.notes.level[row].map_or(5.0, |level| level.0);
            let can = |part: &usize| rows(*part, &help.bars).into_iter().map(level).fold(f32::MIN, f32::max) >= 2.5;
            assert!(parts.len() > 1 && parts.iter().all(can), "{}", help.what);
        }
        RemedyKind::Softer { from, to, .. } | RemedyKind::Louder { from, to, .. } => {
            assert!(((to.0 - from.0).abs() - 1.0).abs() < 1e-6 && (2.0..=8.0).contains(&to.0), "{}", help.what);
            assert!(help.what.contains(to.mark()) && help.what.contains(from.mark()));
        }
        RemedyKind::Fewer { part, of, to } => {
            assert!(to < of && *to > 0 && *of <= STUDY.score.parts[*part].players.most, "{}", help.what);
        }
        RemedyKind::Muted { part } => {
            let family = catalogue().by_id(&STUDY.score.parts[*part].instrument_id).unwrap().family;
            assert!(matches!(family, ripieno_instruments::Family::Brass | ripieno_instruments::Family::Strings), "{}", help.what);
        }
        other => panic!("{other:?} is looked at by nobody"),
    }
}

#[test]
fn what_would_help_says_who_does_what_where_and_can_be_done() {
    let weighing = STUDY.weigh(Situation::hall()).unwrap();
    let balance = weighing.balance();
    let spans = (0..STUDY.roles.roles.spans.len()).step_by(7).filter_map(|span| weighing.span(span));
    let lists = balance.spots.iter().map(|spot| (spot.audible.margin_db, spot.help.clone()));
    let lists: Vec<_> = lists.chain(spans.map(|span| (span.audible.margin_db, span.help))).collect();
    let mut kinds = std::collections::BTreeSet::new();
    for (margin, help) in &lists {
        for one in help {
            can_be_done(one);
            assert!((one.margin_db - margin - one.gain_db).abs() < 0.5 && !one.bars.is_empty(), "{}", one.what);
            kinds.insert(format!("{:?}", one.kind).split([' ', '{']).next().unwrap_or_default().to_owned());
        }
        // Colours foreign to the line come last; before them what suffices, what keeps its colour, what gains most.
        let order = |one: &Help| {
            let foreign = matches!(one.kind, RemedyKind::Joins { kinship: Kinship::Foreign, .. });
            (foreign, one.margin_db < 9.0, one.kind.recolours(), -one.gain_db.round() as i32, one.kind.change())
        };
        assert!(help.windows(2).all(|pair| order(&pair[0]) <= order(&pair[1])));
    }
    for spot in &balance.spots {
        assert!(spot.help.iter().all(|help| help.bars == spot.bars));
    }
    println!("{kinds:?}");
    assert!(kinds.len() >= 4, "{kinds:?}");
}

#[test]
fn what_masks_has_the_same_name_everywhere() {
    let balance = STUDY.balance(Situation::hall()).unwrap();
    let mut sections = 0;
    for told in &balance.melody {
        for masker in &told.maskers {
            // One section, whose parts sound there; named by the section when they are all of it.
            let of = STUDY.groups.sections.iter().find(|section| section.parts.contains(&masker.parts[0])).unwrap();
            assert!(masker.parts.iter().all(|part| of.parts.contains(part)) && masker.parts.is_sorted());
            let name = STUDY.called(&masker.parts);
            match masker.parts.len() {
                1 => assert_eq!(name, printed(&STUDY.score.parts[masker.parts[0]].name)),
                count if count == of.parts.len() => assert_eq!(name, of.name),
                _ => assert!(name.contains(" and ")),
            }
            sections += usize::from(masker.parts.len() > 1);
        }
    }
    assert!(sections > 10, "{sections}");
    // The sentence on a spot takes its words from there.
    for spot in balance.spots.iter().filter(|spot| !spot.maskers.is_empty()) {
        assert!(spot.told(&STUDY).contains(&STUDY.called(&spot.maskers[0].parts)), "{}", spot.told(&STUDY));
    }
    // A span that is the melody by itself is masked by the same sections, whether it is asked for or told in the strip.
    let weighing = STUDY.weigh(Situation::hall()).unwrap();
    let mut compared = 0;
    for (index, span) in STUDY.roles.roles.spans.iter().enumerate().step_by(3) {
        let Some(heard) = weighing.span(index) else { continue };
        let Some(told) = balance.melody_in(heard.bar).filter(|told| told.part == span.part) else { continue };
        if (told.audible.margin_db - heard.audible.margin_db).abs() < 1e-6 && !told.maskers.is_empty() {
            assert_eq!(heard.maskers[0].parts, told.maskers[0].parts, "bar {}", heard.bar);
            compared += 1;
        }
    }
    assert!(compared > 3, "{compared}");
}
