//! Corrections in force on the roles of the demo.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

mod scores;

use std::path::Path;

use proptest::prelude::*;
use ripieno_formats::{Limits, Severity};
use ripieno_score::{Crotchets, Score};
use ripieno_study::analyse_file;
use ripieno_study::corrections::{Change, Corrected, Corrections, Instruction, Request, Said, Who, apply, sidecar_path};
use ripieno_texture::{Evidence, Role, predict, read_roles};
use scores::{carried, demo, folder, part, set, view};

/// The demo's roles with these corrections in force.
fn corrected(score: &Score, name: &str, requests: Vec<Request>) -> Corrected {
    let view = view(score);
    let reading = read_roles(score, &view, &predict(score, &view));
    let placed = carried(name, score, requests, score);
    assert_eq!(placed.findings, []);
    apply(reading, &placed.instructions, &view)
}

fn told(corrected: &Corrected, part: usize, bar: u32) -> Vec<(Role, bool)> {
    corrected.roles.in_bar(part, bar).map(|span| (span.role(), span.evidence == [Evidence::SetByHand])).collect()
}

#[test]
fn roles_set_by_hand_hold_in_their_span_and_nowhere_else() {
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let plain = corrected(&score, "plain", Vec::new());
    let requests = vec![set(&[Role::Pedal], horn, 37, 42), set(&[Role::Effect, Role::Bass], horn, 40, 45)];
    let hand = corrected(&score, "by-hand-roles", requests);
    for bar in 0..109 {
        for part in 0..score.parts.len() {
            let expected = match bar {
                37..=39 if part == horn => vec![(Role::Pedal, true)],
                40..=45 if part == horn => vec![(Role::Effect, true)],
                _ => told(&plain, part, bar),
            };
            assert_eq!(told(&hand, part, bar), expected, "part {part}, bar {bar}");
        }
    }
    assert_eq!(hand.said.len(), hand.roles.spans.len());
    let said: Vec<&Said> = hand.said.iter().filter(|said| !said.corrections.is_empty()).collect();
    assert_eq!(said.iter().map(|said| said.corrections[0].as_str()).collect::<Vec<_>>(), ["c1", "c2"]);
    let keys = |one: &Corrected| one.roles.spans.iter().map(|span| (span.part, span.from, span.line)).collect::<Vec<_>>();
    assert!(keys(&hand).is_sorted());
    for span in &hand.roles.spans {
        assert!(span.from < span.to && !span.roles.is_empty() && span.bars.start < span.bars.end, "{span:?}");
    }
}

#[test]
fn the_melody_follows_what_a_person_says() {
    let score = demo();
    let (horn, tuba) = (part(&score, "Horn 1.2 in F"), part(&score, "Tuba"));
    let at = |corrected: &Corrected, bar: u32| -> Vec<usize> {
        corrected.roles.melody.iter().filter(|one| one.bars.contains(&bar)).map(|one| one.part).collect()
    };
    let given = corrected(&score, "melody-given", vec![set(&[Role::Melody], tuba, 37, 40)]);
    assert!(at(&given, 38) == [tuba] && at(&given, 39) == [tuba], "{:?}", at(&given, 38));
    assert!(!at(&given, 42).contains(&tuba));
    assert!(given.roles.melody.windows(2).all(|pair| pair[0].to <= pair[1].from), "one carrier at a time");
    // Bars 1 to 4 are the horn's alone; nobody else has it when it is taken away.
    assert!(at(&corrected(&score, "melody-plain", Vec::new()), 2).contains(&horn));
    let taken = corrected(&score, "melody-taken", vec![set(&[Role::Pedal], horn, 1, 3)]);
    assert!(!at(&taken, 2).contains(&horn), "{:?}", at(&taken, 2));
}

#[test]
fn roles_split_merged_and_named_and_layers_told() {
    let score = demo();
    let flute = part(&score, "Flute 1");
    let with = |change: Change, from: u32, to: u32| Request { change, ..set(&[Role::Bass], flute, from, to) };
    let requests = vec![
        with(Change::SplitRole, 38, 40),
        with(Change::NameRole("spray".to_owned()), 38, 40),
        with(Change::SetLayer(Some("waves".to_owned())), 35, 45),
        with(Change::Remark("listen to bar 40".to_owned()), 35, 45),
    ];
    let split = corrected(&score, "split", requests);
    let own: Vec<_> = split.roles.spans.iter().zip(&split.said).filter(|(span, _)| span.part == flute).collect();
    let apart = own.iter().find(|(_, said)| said.name.as_deref() == Some("spray")).unwrap();
    assert_eq!((apart.0.bars.clone(), apart.1.corrections.as_slice()), (38..41, ["c1".to_owned(), "c2".to_owned()].as_slice()));
    assert_ne!(apart.0.evidence, [Evidence::SetByHand], "a name sets no role");
    assert!(own.iter().any(|(span, _)| span.bars.end == 38) && own.iter().any(|(span, _)| span.bars.start == 41));
    assert_eq!(split.layers.len(), 1);
    assert!(split.layers[0].lines.iter().all(|&line| split.roles.lines[line].part == flute));
    let merged = corrected(&score, "merged", vec![with(Change::MergeRoles, 17, 45)]);
    let touching = merged.roles.of_part(flute).iter().filter(|span| span.bars.start < 46 && span.bars.end > 17);
    assert_eq!(touching.count(), merged.roles.lines.iter().filter(|line| line.part == flute).count());
}

#[test]
fn a_study_has_the_corrections_beside_its_score_in_force() {
    let folder = folder("study");
    let file = folder.join("overture.musicxml");
    std::fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml"), &file).unwrap();
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let mut corrections = Corrections::beside(&file).unwrap();
    corrections.add(&score, &view(&score), set(&[Role::Effect], horn, 35, 45)).unwrap();
    corrections.save().unwrap();
    let study = analyse_file(&file, &Limits::default()).unwrap();
    assert_eq!(study.corrections.len(), 1);
    assert_eq!(told(&study.roles, horn, 40), [(Role::Effect, true)]);
    std::fs::write(sidecar_path(&file), "{").unwrap();
    let study = analyse_file(&file, &Limits::default()).unwrap();
    let told = study.findings.last().unwrap();
    assert_eq!((told.severity, told.code), (Severity::Error, "corrections-not-readable"));
    assert!(study.corrections.is_empty());
}

fn changes() -> impl Strategy<Value = Change> {
    prop_oneof![
        prop::sample::subsequence(Role::ALL.to_vec(), 1..3).prop_map(Change::SetRole),
        Just(Change::SetRole(vec![Role::Melody])),
        Just(Change::SplitRole),
        Just(Change::MergeRoles),
        Just(Change::NameRole("swell".to_owned())),
    ]
}

#[test]
fn whatever_is_said_spans_stay_whole() {
    let score = demo();
    let view = view(&score);
    let reading = read_roles(&score, &view, &predict(&score, &view));
    let length = view.length();
    let said = (changes(), prop::collection::vec(0..score.parts.len(), 1..4), 0i64..1000, 1i64..300);
    let config = ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() };
    proptest!(config, |(said in prop::collection::vec(said, 1..8))| {
        let instructions: Vec<Instruction> = said
            .into_iter()
            .map(|(change, parts, from, beats)| {
                let from = length * Crotchets::new(from, 1000).unwrap();
                let to = (from + Crotchets::new(beats, 3).unwrap()).min(length);
                let who = parts.into_iter().map(Who::part).collect();
                Instruction { correction: "c1".to_owned(), change, who, from, to }
            })
            .collect();
        let hand = apply(reading.clone(), &instructions, &view);
        let spans = &hand.roles.spans;
        prop_assert_eq!(spans.len(), hand.said.len());
        let keys: Vec<_> = spans.iter().map(|span| (span.part, span.from, span.line)).collect();
        prop_assert!(keys.is_sorted());
        for span in spans {
            prop_assert!(span.from <= span.to && !span.roles.is_empty());
            let bar = |at: u32| &view.bars[at as usize];
            prop_assert!(bar(span.bars.start).start <= span.from, "{:?}", span);
            prop_assert!(span.to <= bar(span.bars.end - 1).start + bar(span.bars.end - 1).length, "{:?}", span);
        }
        for pair in hand.roles.melody.windows(2) {
            prop_assert!(pair[0].to <= pair[1].from && pair[0].from < pair[0].to, "{:?}", pair);
        }
        for (index, line) in hand.roles.lines.iter().enumerate() {
            let own: Vec<_> = hand.roles.of_part(line.part).iter().filter(|span| span.line == index).collect();
            for pair in own.windows(2) {
                prop_assert!(pair[0].to <= pair[1].from, "{:?} {:?}", pair[0], pair[1]);
            }
            for row in view.notes.of_part[line.part].clone().filter(|&row| view.notes.voice[row] == line.voice && view.notes.staff[row] == line.staff) {
                let onset = view.notes.onset[row];
                let inside = own.iter().any(|span| span.from <= onset && (onset < span.to || onset == span.from));
                prop_assert!(inside || view.notes.duration[row].is_zero(), "note {} at {} is in no span", row, onset);
            }
        }
        // The last word on each moment stands.
        if let Some(Instruction { change: Change::SetRole(roles), who, from, to, .. }) = instructions.last() {
            for span in spans.iter().filter(|span| who.iter().any(|one| one.part == span.part) && span.from < *to && *from < span.to) {
                prop_assert_eq!(span.roles.iter().map(|held| held.role).collect::<Vec<_>>(), roles.clone());
            }
        }
    });
}
