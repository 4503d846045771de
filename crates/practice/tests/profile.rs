//! Profiles: keys that mean the same in every score, pooling by work, and the saved form.
#![allow(clippy::unwrap_used, clippy::panic)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::{Counted, Index, Key, Kind, Pooled, Profile, Whom};
use ripieno_texture::Role;

/// The practice of a piece under the title of a work and the number of a movement.
pub fn profile(mut piece: Piece, work: &str, number: &str) -> Profile {
    piece.score.about.work = work.to_owned();
    piece.score.about.movement_number = number.to_owned();
    let practice = piece.practice();
    Profile::of(&piece.material(), &practice, &format!("{work} {number}.musicxml"), |bar| (bar + 1).to_string(), false)
}

/// A horn that plays in the first `playing` of `all` bars of four crotchets, beside a flute that always plays.
fn horn(name: &str, playing: usize, all: usize, role: Role) -> Piece {
    let bars = |sounds: usize, note: &str| {
        (0..all).map(|bar| if bar < sounds { format!("{note}:4") } else { "r:4".to_owned() }).collect::<Vec<_>>().join(" | ")
    };
    let (flute, horn) = (bars(all, "G5"), bars(playing, "C4"));
    Piece::of(&[("Flute", &flute), (name, &horn)]).with_role("Flute", Role::Pedal).with_role(name, role)
}

fn horns() -> Whom {
    Whom { kind: Kind::Section, name: "horns".to_owned(), family: "brass".to_owned(), section: String::new() }
}

fn pooled(profile: &Profile, measure: &str, aspect: &str, unit: Counted) -> Option<Pooled> {
    let key = Key { measure: measure.to_owned(), of: horns(), with: None, aspect: aspect.to_owned(), unit };
    Index::new(profile).pooled(&key)
}

fn presence(profile: &Profile) -> Pooled {
    pooled(profile, "presence", "bars", Counted::ShareOfBars).unwrap()
}

#[test]
fn sections_are_the_same_whatever_the_part_is_called() {
    let set =
        [profile(horn("Horn", 1, 4, Role::Melody), "One", "1"), profile(horn("Corno in F", 3, 4, Role::Melody), "Two", "1")];
    let presence = presence(&Profile::gather("both", &set));
    // 1/4 and 3/4: mean 1/2, and s² = 2 (1/4)² / 1, so s = 0.353553.
    assert_eq!((presence.works(), presence.mean, presence.median), (2, 0.5, 0.5));
    assert!((presence.spread.unwrap() - 0.353_553_39).abs() < 1e-8);
    assert!(presence.is_small());
}

#[test]
fn movements_are_averaged_by_time_before_works_are() {
    let movements =
        [profile(horn("Horn", 1, 4, Role::Melody), "One", "1"), profile(horn("Horn", 12, 12, Role::Melody), "One", "2")];
    let other = profile(horn("Horn", 4, 4, Role::Melody), "Two", "1");
    let all = Profile::gather("all", &[movements[0].clone(), other.clone(), movements[1].clone()]);
    assert_eq!((all.works(), all.scores.len()), (2, 3));
    let presence_of_all = presence(&all);
    // Work One: (1/4 × 16 + 1 × 48) / 64 crotchets = 0.8125; work Two: 1.
    assert_eq!(presence_of_all.of_works.iter().map(|work| work.value).collect::<Vec<_>>(), [0.8125, 1.0]);
    assert_eq!(presence_of_all.mean, 0.906_25);
    // The same file twice is no further work, and a copy of a whole work changes nothing at all.
    let twice = Profile::gather("twice", &[all.clone(), other.clone()]);
    assert_eq!(
        (twice.works(), presence(&twice).mean, presence(&twice).spread),
        (2, presence_of_all.mean, presence_of_all.spread)
    );
}

#[test]
fn what_a_section_never_does_counts_as_nothing_and_a_section_that_is_not_there_does_not_count() {
    let without = Piece::of(&[("Flute", "G5:4 | G5:4"), ("Violin", "G4:4 | G4:4")]);
    let set = [
        profile(horn("Horn", 4, 4, Role::Melody), "One", "1"),
        profile(horn("Horn", 4, 4, Role::Harmony), "Two", "1"),
        profile(without, "Three", "1"),
    ];
    let all = Profile::gather("all", &set);
    let melody = pooled(&all, "role_shares", "melody", Counted::ShareOfTime).unwrap();
    assert_eq!((melody.works(), melody.least, melody.mean, melody.most), (2, 0.0, 0.5, 1.0));
    assert_eq!(pooled(&all, "role_shares", "figuration", Counted::ShareOfTime).map(|pooled| pooled.mean), Some(0.0));
    // A register of what is never played is unknown, not zero.
    let median = pooled(&all, "tessitura", "median, melody", Counted::Key).unwrap();
    assert_eq!((median.works(), median.mean), (1, 60.0));
}

#[test]
fn what_grows_with_length_is_set_against_it() {
    // The horn enters in bar 3 of 4, and in bars 3 and 7 of 8: 25 entries in 100 bars both times.
    let once = "r:4 | r:4 | C4:4 | r:4";
    let twice = format!("{once} | {once}");
    let piece = |horn: &str| Piece::of(&[("Flute", &horn.replace('r', "G5").replace("C4", "G5")), ("Horn", horn)]);
    for (piece, work) in [(piece(once), "One"), (piece(&twice), "Two")] {
        let profile = profile(piece, work, "");
        assert_eq!(pooled(&profile, "entries", "entries", Counted::PerHundredBars).unwrap().mean, 25.0);
    }
    // Every unit that adds up over a piece is one of those set against its length: nothing of the demo is left as a sum.
    let demo = profile(Piece::demo(), "Demo", "");
    let sums = |key: &&Key| {
        key.unit == Counted::Count && key.measure != "density"
            || key.unit == Counted::Bars && !key.is_extreme() && key.aspect != "median rest before an entry"
    };
    let left: Vec<&Key> = demo.rows.iter().map(|row| &row.key).filter(sums).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn the_order_of_files_decides_nothing() {
    let set = [
        profile(horn("Horn", 1, 4, Role::Melody), "One", "1"),
        profile(horn("Horn", 3, 4, Role::Harmony), "One", "2"),
        profile(horn("Horn", 2, 5, Role::Melody), "Two", "1"),
    ];
    let [a, b, c] = set.clone();
    assert_eq!(Profile::gather("set", &set).to_json(), Profile::gather("set", &[c.clone(), a.clone(), b.clone()]).to_json());
    let in_two = Profile::gather("set", &[Profile::gather("part", &[c, a]), b]);
    assert_eq!(Profile::gather("set", &set), in_two);
}

#[test]
fn a_saved_profile_is_read_again() {
    let demo = profile(Piece::demo(), "Demo", "1");
    let text = demo.to_json();
    let again = Profile::from_json(&text).unwrap();
    assert_eq!(again, demo);
    assert_eq!(again.to_json(), text);
    let refused = |text: &str| Profile::from_json(text).unwrap_err().to_string();
    assert!(refused("{}").contains("no saved profile"));
    assert!(refused("[1,").contains("no saved profile"));
    assert!(refused(&text.replace("ripieno-profile", "recipe")).contains("recipe"));
    assert!(refused(&text.replace("\"form_version\": 1", "\"form_version\": 2")).contains("form 2"));
    assert!(refused(&text.replacen("\"bars\":[[", "\"bars\":[[5000,5001],[", 1)).contains("does not have"));
    assert!(refused(&text.replacen("\"score\":0", "\"score\":9", 1)).contains("does not have"));
    assert!(refused(&text.replacen("\"bars\":109", "\"bars\":110", 1)).contains("Demo"));
}
