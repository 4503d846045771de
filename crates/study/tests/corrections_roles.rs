//! Corrections in force on the roles of the demo.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

mod scores;

use std::path::Path;

use proptest::prelude::*;
use ripieno_formats::{Limits, Severity};
use ripieno_score::{Crotchets, Score};
use ripieno_study::analyse_file;
use ripieno_study::corrections::{Change, Corrected, Corrections, Instruction, Request, Said, Who, apply, sidecar_path};
use ripieno_texture::{Evidence, Lines, Role, predict, read_roles};
use scores::{carried, demo, folder, part, set, view};

/// The demo's roles with these corrections in force.
fn corrected(score: &Score, name: &str, requests: Vec<Request>) -> Corrected {
    let view = view(score);
    let lines = Lines::new(score, &view);
    let reading = read_roles(score, &view, &lines, &predict(score, &view));
    let placed = carried(name, score, requests, score);
    assert_eq!(placed.findings, []);
    apply(reading, &placed.instructions, &view, &lines)
}

fn told(corrected: &Corrected, part: usize, bar: u32) -> Vec<(Role, bool)> {
    corrected.roles.in_bar(part, bar).map(|span| (span.role(), span.evidence.first() == Some(&Evidence::SetByHand))).collect()
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

/// What was found before a person set a role is still told, with its reasons, also after a second correction.
#[test]
fn what_was_found_before_stays_told() {
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let plain = corrected(&score, "found-plain", Vec::new());
    let was = plain.roles.in_bar(horn, 40).next().unwrap().clone();
    let requests = vec![set(&[Role::Pedal], horn, 38, 42), set(&[Role::Effect], horn, 39, 41)];
    let now = corrected(&score, "found-now", requests);
    let now = now.roles.in_bar(horn, 40).find(|span| span.line == was.line).unwrap().clone();
    assert_eq!(now.role(), Role::Effect);
    let Some(Evidence::FoundBefore { role, because, .. }) = now.evidence.get(1) else { panic!("{:?}", now.evidence) };
    assert_eq!((*role, because), (was.role(), &was.evidence));
    assert_eq!(now.evidence.len(), 2, "not what the first correction had said: {:?}", now.evidence);
    let words = now.evidence[1].words(|part| score.parts[part].name.clone());
    assert!(words.starts_with("found before, ") && words.contains(was.role().name()), "{words}");
}

#[test]
fn roles_split_merged_and_named() {
    let score = demo();
    let flute = part(&score, "Flute 1");
    let with = |change: Change, from: u32, to: u32| Request { change, ..set(&[Role::Bass], flute, from, to) };
    let requests = vec![
        with(Change::SplitRole, 38, 40),
        with(Change::NameRole("spray".to_owned()), 38, 40),
        with(Change::Remark("listen to bar 40".to_owned()), 35, 45),
    ];
    let split = corrected(&score, "split", requests);
    let own: Vec<_> = split.roles.spans.iter().zip(&split.said).filter(|(span, _)| span.part == flute).collect();
    let apart = own.iter().find(|(_, said)| said.name.as_deref() == Some("spray")).unwrap();
    assert_eq!((apart.0.bars.clone(), apart.1.corrections.as_slice()), (38..41, ["c1".to_owned(), "c2".to_owned()].as_slice()));
    assert!(!apart.0.evidence.contains(&Evidence::SetByHand), "a name sets no role");
    assert!(own.iter().any(|(span, _)| span.bars.end == 38) && own.iter().any(|(span, _)| span.bars.start == 41));
    let merged = corrected(&score, "merged", vec![with(Change::MergeRoles, 17, 45)]);
    let touching = merged.roles.of_part(flute).iter().filter(|span| span.bars.start < 46 && span.bars.end > 17);
    assert_eq!(touching.count(), Lines::new(&score, &view(&score)).of_part[flute].len());
}

/// The lines of the layer a line lies in, its name, and the corrections that made it.
fn layer_of(corrected: &Corrected, line: usize, bar: u32) -> (Vec<usize>, Option<String>, Vec<String>) {
    let layers = &corrected.roles.layers;
    let index = layers.of(line, bar).unwrap();
    let mut lines: Vec<usize> = layers.layers[index].lines_in(bar).collect();
    lines.sort_unstable();
    let said = &corrected.said_of_layers[index];
    (lines, said.name.clone(), said.corrections.clone())
}

#[test]
fn layers_are_made_joined_split_and_named() {
    let score = demo();
    let lines = Lines::new(&score, &view(&score));
    let (tuba, bass) = (part(&score, "Tuba"), part(&score, "Double bass"));
    let (tuba_line, bass_line) = (lines.of_part[tuba].start, lines.of_part[bass].start);
    let of = |part: usize, change: Change, from: u32, to: u32| Request { change, ..set(&[Role::Bass], part, from, to) };
    let plain = corrected(&score, "plain-layers", Vec::new());
    assert_eq!(plain.said_of_layers.len(), plain.roles.layers.layers.len());
    assert!(layer_of(&plain, tuba_line, 38).0.contains(&bass_line), "planted: tuba and basses in octaves");

    let alone = corrected(&score, "alone", vec![of(tuba, Change::SetLayer(Some("keel".to_owned())), 37, 39)]);
    assert_eq!(layer_of(&alone, tuba_line, 38), (vec![tuba_line], Some("keel".to_owned()), vec!["c1".to_owned()]));
    let rest: Vec<usize> = layer_of(&plain, tuba_line, 38).0.into_iter().filter(|&line| line != tuba_line).collect();
    assert_eq!(layer_of(&alone, bass_line, 38).0, rest);
    for bar in [36, 40] {
        assert_eq!(layer_of(&alone, tuba_line, bar).0, layer_of(&plain, tuba_line, bar).0, "bar {bar} is not touched");
    }

    let flute = part(&score, "Flute 1");
    let mut joined = of(tuba, Change::MergeLayers, 37, 39);
    joined.who.push(Who::part(flute));
    let requests = vec![joined, of(tuba, Change::NameLayer("all hands".to_owned()), 37, 39)];
    let joined = corrected(&score, "joined", requests);
    let (members, name, corrections) = layer_of(&joined, tuba_line, 38);
    let mut both = layer_of(&plain, tuba_line, 38).0;
    both.extend(layer_of(&plain, lines.of_part[flute].start, 38).0);
    both.sort_unstable();
    assert_eq!((members, name.as_deref(), corrections.len()), (both, Some("all hands"), 2));
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
        Just(Change::SetLayer(Some("waves".to_owned()))),
        Just(Change::SplitLayer),
        Just(Change::MergeLayers),
    ]
}

#[test]
fn whatever_is_said_spans_stay_whole() {
    let score = demo();
    let view = view(&score);
    let lines = Lines::new(&score, &view);
    let reading = read_roles(&score, &view, &lines, &predict(&score, &view));
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
        let hand = apply(reading.clone(), &instructions, &view, &lines);
        let spans = &hand.roles.spans;
        prop_assert_eq!(spans.len(), hand.said.len());
        // Every line that lay in a layer still lies in one, in every bar.
        let layers = &hand.roles.layers;
        prop_assert_eq!(layers.layers.len(), hand.said_of_layers.len());
        for line in 0..lines.lines.len() {
            for bar in (0u32..).take(view.bars.len()) {
                prop_assert_eq!(layers.of(line, bar).is_some(), reading.layers.of(line, bar).is_some());
                let at = layers.of(line, bar).map(|at| layers.layers[at].lines_in(bar).filter(|&it| it == line).count());
                prop_assert!(at.is_none_or(|times| times == 1), "line {} stands twice in its layer in bar {}", line, bar);
            }
        }
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
        for (index, line) in lines.lines.iter().enumerate() {
            let own: Vec<_> = hand.roles.of_part(line.part).iter().filter(|span| span.line == index).collect();
            for pair in own.windows(2) {
                prop_assert!(pair[0].to <= pair[1].from, "{:?} {:?}", pair[0], pair[1]);
            }
            for row in line.rows.iter().map(|&row| row as usize) {
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
