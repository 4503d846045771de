//! What was learned of who does what, on the demo's sketch: orchestras and bands alike.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use ripieno_casting::{Learned, Lineup, Plan, Sketch, casting_table, present, units};
use ripieno_formats::{Limits, read_file};
use ripieno_texture::Role;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

fn sketch() -> Sketch {
    Sketch::by_names(read_file(&demo("sketch_second_theme.musicxml"), &Limits::default()).unwrap().score).unwrap()
}

/// For each section, how likely it has the role in the demo's first phrase.
fn likely(lineup: &Lineup, role: Role) -> Vec<(String, f64)> {
    let sketch = sketch();
    let phrase = &Plan::phrases_of(&sketch).phrases[0];
    let span = Plan::span(&sketch, &phrase.bars);
    let (strands, groups) = (present(&sketch, span), units(lineup));
    let at = strands.iter().position(|&strand| sketch.strands[strand].role == role).unwrap();
    let logs = Learned::usual().logs(&casting_table(&sketch, lineup, &groups, &strands, span), &vec![true; groups.len()]);
    groups
        .iter()
        .enumerate()
        .map(|(n, unit)| (lineup.sections[unit.section].name.clone(), logs[n * strands.len() + at].exp()))
        .collect()
}

/// Common practice: whoever sounds lowest has the bass rather than whoever sounds highest, with strings and without them.
#[test]
fn the_lowest_have_the_bass_rather_than_the_highest() {
    for (text, low, high) in [
        ("Flutes|Oboes|Horns in F|Violins|Violas|Double basses", "Double basses", "Flutes"),
        ("Trumpets in C|Horns in F|Trombones|Tuba", "Tuba", "Trumpets in C"),
        ("Cornets|Flugelhorn|Euphonium|Tuba", "Tuba", "Cornets"),
    ] {
        let body = |name: &str| if name.starts_with("Vi") || name.starts_with("Double") { 8 } else { 2 };
        let toml: String =
            text.split('|').map(|name| format!("[[section]]\nname = \"{name}\"\nplayers = {}\n", body(name))).collect();
        let lineup = Lineup::from_toml("test", &toml).unwrap();
        let found = likely(&lineup, Role::Bass);
        let of = |name: &str| found.iter().find(|(known, _)| known == name).unwrap().1;
        assert!(of(low) > of(high), "{text}: {found:?}");
        assert!(of(low) > 0.5, "{text}: {found:?}");
    }
}
