//! Roles and melody of the demo overture against what its composer planted (`demo/planted`, generated beside the score, not
//! by Ripieno). The roles' settings were made on this piece, so agreement here guards against loss; it proves nothing about
//! other music, for which `docs/roles-figures.md` has cross-validated figures.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, read_file};
use ripieno_study::{Study, analyse};
use ripieno_texture::Role;

/// Part-bars of the planted table that have one of the planted roles: met today. May rise, must not fall.
const AGREE: f64 = 0.92;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

fn study() -> Study {
    let reading = read_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    analyse("lifeboat_overture.musicxml".to_owned(), reading)
}

fn planted(table: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_path(demo("planted").join(table)).unwrap().deserialize().map(Result::unwrap).collect()
}

fn part(study: &Study, name: &str) -> usize {
    study.score.parts.iter().position(|part| part.name == name).unwrap_or_else(|| panic!("no part {name}"))
}

fn bar(study: &Study, printed: &str) -> u32 {
    (0u32..).take(study.sounding.bars.len()).find(|&bar| study.bar_label(bar) == printed).unwrap()
}

#[test]
fn planted_roles() {
    let study = study();
    let (mut all, mut right) = (0usize, 0usize);
    let mut missed: BTreeMap<(String, String), usize> = BTreeMap::new();
    for row in planted("roles.csv") {
        let part = part(&study, &row["part"]);
        for number in bar(&study, &row["first_bar"])..=bar(&study, &row["last_bar"]) {
            let mut told: Vec<&str> = study.roles.roles.in_bar(part, number).map(|span| span.role().name()).collect();
            if row["roles"] == "tacet" {
                assert!(told.is_empty(), "{}, bar {number} rests, not {told:?}", row["part"]);
                continue;
            }
            all += 1;
            if row["roles"].split(';').any(|role| told.contains(&role)) {
                right += 1;
            } else {
                told.sort_unstable();
                *missed.entry((row["roles"].clone(), told.join("/"))).or_default() += 1;
            }
        }
    }
    println!("{right} of {all} part-bars have a planted role");
    for ((planted, told), count) in &missed {
        println!("  {count:3} planted {planted}, told {told}");
    }
    #[allow(clippy::cast_precision_loss)] // some hundreds
    let agree = right as f64 / all as f64;
    assert!(agree >= AGREE, "{agree}");
}

#[test]
fn every_span_has_a_reason() {
    let study = study();
    for span in &study.roles.roles.spans {
        assert!(!span.evidence.is_empty(), "{}, bars {:?}: {}", study.score.parts[span.part].name, span.bars, span.role());
        assert!(span.from <= span.to && !span.bars.is_empty());
        assert!(span.roles.iter().all(|held| (0.0..=1.0).contains(&held.confidence)));
    }
}

/// In how many bars the carrier we name is the planted one or one of those planted as doubling it.
#[test]
fn planted_melody() {
    let study = study();
    let (mut all, mut right) = (0usize, 0usize);
    for row in planted("melody.csv") {
        let number = bar(&study, &row["bar"]);
        let mut carriers: Vec<usize> = vec![part(&study, &row["carrier"])];
        carriers.extend(row["doubled_by"].split(';').filter(|name| !name.is_empty()).map(|name| part(&study, name)));
        all += 1;
        let told = study.roles.roles.melody.iter().filter(|carried| carried.bars.contains(&number));
        let hit = told.map(|carried| carried.part).any(|part| carriers.contains(&part));
        if !hit {
            println!("  bar {}: planted {}", row["bar"], row["carrier"]);
        }
        right += usize::from(hit);
    }
    println!("{right} of {all} stretches of the planted melody have a planted carrier");
    assert!(right * 100 >= all * 85, "{right} of {all}");
}

/// Map and melody say the same: in each bar of each carrier its own line was told melody; where nobody was, nobody carries it.
#[test]
fn whoever_carries_the_melody_was_told_melody() {
    let study = study();
    let roles = &study.roles.roles;
    for carried in &roles.melody {
        for bar in carried.bars.clone() {
            let told = roles.in_bar(carried.part, bar).filter(|span| span.line == carried.line).map(|span| span.role());
            let told: Vec<Role> = told.collect();
            assert!(told.contains(&Role::Melody), "bar {bar}, {}: {told:?}", study.score.parts[carried.part].name);
        }
    }
}

/// Who supports the melody in a bar begins a note of its carrier there, in unison or octaves: read from the notes, not from the roles. Nobody supports it in a rest.
#[test]
fn support_plays_the_carriers_notes_in_each_of_its_bars() {
    let study = study();
    let notes = &study.sounding.notes;
    let mut asked = 0;
    for carried in &study.roles.roles.melody {
        for along in &carried.support {
            assert!(along.part != carried.part && carried.from <= along.from && along.from < along.to && along.to <= carried.to);
            for bar in along.bars.clone() {
                let of = |part: usize| {
                    let rows = notes.rows().filter(move |note| note.part as usize == part && note.bar == bar);
                    rows.filter_map(|note| Some((note.onset, note.key?.number() % 12))).collect::<BTreeSet<_>>()
                };
                let name = |part: usize| &study.score.parts[part].name;
                let common = of(along.part).intersection(&of(carried.part)).count();
                assert!(common > 0, "bar {}: {} with {}", study.bar_label(bar), name(along.part), name(carried.part));
                asked += 1;
            }
        }
    }
    assert!(asked > 100, "{asked}");
}

/// Nobody who has the melody by the map is left out of it, however short the turn: in bars 46 to 50 of the demo horns, clarinet and flute follow each
/// other within a bar (demo/compose hands the answer on every four crotchets).
#[test]
fn the_melody_has_every_carrier_of_a_chain() {
    let study = study();
    let between = bar(&study, "46")..bar(&study, "50");
    let chain = study.roles.roles.melody.iter().filter(|carried| between.contains(&carried.bars.start));
    let chain: Vec<&str> = chain.map(|carried| study.score.parts[carried.part].name.as_str()).collect();
    assert_eq!(chain, ["Horn 1.2 in F", "Horn 3.4 in F", "Clarinet 1.2 in B♭", "Flute 1"]);
}
