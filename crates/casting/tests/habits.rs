//! Habits taken from a practice profile.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use ripieno_casting::Habits;
use ripieno_formats::Limits;
use ripieno_practice::Profile;

/// The practice of the demo.
fn overture() -> Profile {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    ripieno_study::analyse_file(&file, &Limits::default()).unwrap().profile(false)
}

/// Every term that `--like` has is fed by a measure of the profile: a measure that is renamed would silence one.
#[test]
fn a_profile_tells_how_sections_go_together() {
    let habits = Habits::of(&overture(), |_| false);
    for what in ["cohesion ", "loud ", "loud of ", "apart ", "unison ", "octave ", "hands ", "hands"] {
        let found = habits.together.figures.keys().filter(|key| key.starts_with(what)).count();
        assert!(found > 0, "“{what}”: {:?}", habits.together.figures.keys());
    }
}

/// As profiles are pooled (docs/compare.md): a doubling that a work never has, though both sections play in it, counts as nothing there and halves the mean of two.
#[test]
fn what_sections_never_do_together_counts() {
    let one = overture();
    let mut other = one.clone();
    other.scores.iter_mut().for_each(|score| score.work = "another".to_owned());
    other.rows.retain(|row| !["doubled_sections", "hand_offs"].contains(&row.key.measure.as_str()));
    let both = Habits::of(&Profile::gather("both", &[one.clone(), other]), |_| false);
    let alone = Habits::of(&one, |_| false);
    let mut compared = 0;
    for (what, share) in &alone.together.figures {
        if ["unison ", "octave ", "hands "].iter().any(|begin| what.starts_with(begin)) {
            let found = both.together.figures[what];
            assert!((found - share / 2.0).abs() < 1e-9, "{what}: {share} alone, {found} of both");
            compared += 1;
        }
    }
    assert!(compared > 3, "{compared}");
}
