//! Comparison: planted differences, laws, effect sizes worked by hand, and real scores when they are there.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr)] // a test stops at the first surprise, and says what it skips

mod pieces;

use std::collections::BTreeMap;
use std::path::Path;

use pieces::Piece;
use ripieno_formats::{Limits, read_file};
use ripieno_practice::{Comparison, Counted, Difference, Kind, Options, Profile, Scale, Standing, compare};
use ripieno_texture::Role;

fn profile(mut piece: Piece, work: &str, windows: bool) -> Profile {
    piece.score.about.work = work.to_owned();
    let practice = piece.practice();
    Profile::of(&piece.material(), &practice, &format!("{work}.musicxml"), |bar| (bar + 1).to_string(), windows)
}

/// A horn that plays in the first `playing` of four bars beside a flute that always plays.
fn horn(work: &str, playing: usize) -> Profile {
    let horn = (0..4).map(|bar| if bar < playing { "C4:4" } else { "r:4" }).collect::<Vec<_>>().join(" | ");
    profile(Piece::of(&[("Flute", "G5:4 | G5:4 | G5:4 | G5:4"), ("Horn", &horn)]), work, false)
}

fn set(name: &str, playing: &[usize]) -> Profile {
    let works: Vec<Profile> = playing.iter().enumerate().map(|(at, &bars)| horn(&format!("{name} {at}"), bars)).collect();
    Profile::gather(name, &works)
}

fn row<'a>(found: &'a Comparison, measure: &str, of: &str, aspect: &str) -> &'a Difference {
    let is = |row: &&Difference| row.key.measure == measure && row.key.of.name == of && row.key.aspect == aspect;
    found.rows.iter().find(is).unwrap_or_else(|| panic!("no row {measure} {of} {aspect}"))
}

#[test]
fn two_sets_are_compared_over_the_spread_between_works() {
    // Shares of bars 1/4, 2/4, 3/4 beside 3/4, 1, 1. By hand: means 0.5 and 0.916667, s 0.25 and 0.144338, pooled √((0.0625 + 0.0208333) / 2) = 0.204124;
    // d = 2.041241, times 1 − 3/(4·4 − 1) = 0.8: g = 1.632993 (Hedges 1981). Welch's t by scipy 1.17.1, stats.ttest_ind(equal_var=False):
    // t = 2.5, p = 0.0824: within noise.
    let found = compare(&set("A", &[1, 2, 3]), &set("B", &[3, 4, 4]), &Options::default());
    let bars = row(&found, "presence", "horns", "bars");
    assert_eq!(bars.effect.scale, Scale::BetweenWorks);
    assert!((bars.difference - 0.416_667).abs() < 1e-6);
    assert!((bars.effect.size - 1.632_993).abs() < 1e-5, "{}", bars.effect.size);
    assert!((bars.effect.error.unwrap() - 1.0 / 6.0).abs() < 1e-6);
    assert_eq!(bars.effect.standing, Standing::WithinNoise);
    assert_eq!(bars.sample(), "few works: 3 and 3");
    // Five works beside five: 1, 2, 3, 2, 1 quarters beside 4, 4, 3, 4, 4: by scipy t = 4.714, p = 0.0031, clear.
    let found = compare(&set("A", &[1, 2, 3, 2, 1]), &set("B", &[4, 4, 3, 4, 4]), &Options::default());
    let bars = row(&found, "presence", "horns", "bars");
    assert_eq!((bars.effect.standing, bars.sample().as_str()), (Standing::Clear, "5 and 5 works"));
    // The side that shows it most plainly comes first: fewest bars in A, most in B.
    assert_eq!((bars.a.evidence[0].value, bars.a.evidence[0].bars.as_slice()), (0.25, &[(0, 0)][..]));
    assert_eq!((bars.b.evidence[0].value, bars.b.evidence[0].bars.as_slice()), (1.0, &[(0, 3)][..]));
}

#[test]
fn one_score_is_set_beside_the_works_of_a_set() {
    // Mean 0.5, s = √(2 · 0.0625 / 4) = 0.176777 for 1/4, 2/4, 2/4, 2/4, 3/4; the case at 1: z = 0.5 / s = 2.828427. Crawford and Howell's t = z / √(6/5) =
    // 2.581989 with 4 degrees of freedom, p = 0.061: within noise.
    let found = compare(&set("A", &[1, 2, 2, 2, 3]), &horn("case", 4), &Options::default());
    let bars = row(&found, "presence", "horns", "bars");
    assert_eq!(bars.effect.scale, Scale::BesideASet);
    assert!((bars.effect.size - 8f64.sqrt()).abs() < 1e-9);
    assert_eq!(bars.effect.standing, Standing::WithinNoise);
}

#[test]
fn without_a_known_spread_nothing_is_claimed() {
    let found = compare(&horn("A", 1), &horn("B", 4), &Options::default());
    let bars = row(&found, "presence", "horns", "bars");
    assert_eq!((bars.effect.scale, bars.effect.standing), (Scale::Unit, Standing::Unknown));
    // Cohen's h of 1 and 1/4: π − 2 arcsin 1/2 = 2π/3.
    assert!((bars.effect.size - std::f64::consts::TAU / 3.0).abs() < 1e-9);
    assert!(found.leading(20).is_empty());
}

/// Sixteen bars; the horn has the tune and the flute a held note, or the other way round, all along but for four bars.
fn tune(work: &str, horn: Role, flute: Role) -> Profile {
    let bars = |note: &str| vec![format!("{note}:1 {note}:1 {note}:2"); 16].join(" | ");
    let (high, low) = (bars("G5"), bars("C4"));
    let mut piece = Piece::of(&[("Flute", &high), ("Horn", &low)]).with_role("Flute", flute).with_role("Horn", horn);
    let part = piece.part("Horn");
    // The last two bars of sixteen are an effect: what is the same in every stretch has no known noise.
    let span = piece.roles.spans.iter().find(|span| span.part == part).unwrap().clone();
    let at = piece.sounding.bars[14].start;
    let mut last = span.clone();
    (last.from, last.bars) = (at, 14..16);
    last.roles[0].role = Role::Effect;
    piece.roles.spans.iter_mut().filter(|span| span.part == part).for_each(|span| span.to = span.to.min(at));
    piece.roles.spans.push(last);
    profile(piece, work, true)
}

#[test]
fn a_planted_exchange_of_roles_is_found_with_its_bars() {
    let (a, b) = (tune("A", Role::Melody, Role::Harmony), tune("B", Role::Harmony, Role::Melody));
    let found = compare(&a, &b, &Options::default());
    let melody = row(&found, "role_shares", "horns", "melody");
    assert_eq!((melody.a.pooled.mean, melody.b.pooled.mean), (0.875, 0.0));
    assert_eq!(melody.effect.standing, Standing::Clear);
    assert_eq!(melody.a.evidence[0].bars, [(0, 13)]);
    assert!(melody.b.evidence[0].bars.is_empty());
    assert!(found.leading(20).iter().any(|row| row.key.of.name == "horns" && row.key.measure == "role_shares"));
    assert_eq!(row(&found, "role_shares", "horns", "effect").effect.standing, Standing::Same);
}

#[test]
fn what_only_one_side_has_is_listed_as_such() {
    let with_harp = profile(Piece::of(&[("Flute", "G5:4 | G5:4"), ("Harp", "C3:4 | C3:4")]), "A", false);
    let with_horn = profile(Piece::of(&[("Flute", "G5:4 | G5:4"), ("Horn", "C4:4 | C4:4")]), "B", false);
    let found = compare(&with_harp, &with_horn, &Options::default());
    let names = |bodies: &[ripieno_practice::Whom]| -> Vec<String> {
        bodies.iter().filter(|whom| whom.kind == Kind::Instrument).map(ripieno_practice::Whom::spoken).collect()
    };
    assert_eq!(names(&found.bodies_only_a), ["harp"]);
    assert_eq!(names(&found.bodies_only_b), ["horn"]);
    assert!(found.only_a.iter().any(|lone| lone.key.measure == "presence" && lone.key.of.name == "harp"));
    assert!(found.rows.iter().all(|row| row.key.of.name != "harp" && row.key.of.name != "horns"));
    let brass = Options { groups: vec!["brass".to_owned()], ..Options::default() };
    let found = compare(&with_harp, &with_horn, &brass);
    assert!(found.rows.is_empty() && found.only_a.is_empty() && !found.only_b.is_empty());
}

fn laws(a: &Profile, b: &Profile) -> Comparison {
    let same = compare(a, a, &Options::default());
    assert!(!same.rows.is_empty() && same.rows.iter().all(|row| row.effect.standing == Standing::Same && row.difference == 0.0));
    assert!(same.leading(50).is_empty() && same.only_a.is_empty() && same.only_b.is_empty() && same.bodies_only_a.is_empty());
    let (there, back) = (compare(a, b, &Options::default()), compare(b, a, &Options::default()));
    assert_eq!((there.rows.len(), &there.only_a, &there.only_b), (back.rows.len(), &back.only_b, &back.only_a));
    for (one, other) in there.rows.iter().zip(&back.rows) {
        assert_eq!((&one.key, one.effect.standing, &one.a.pooled), (&other.key, other.effect.standing, &other.b.pooled));
        assert_eq!(one.difference, -other.difference);
        assert!((one.effect.size + other.effect.size).abs() < 1e-9);
    }
    // The first page: clear differences, no body more than twice, bars that are there.
    let page = there.leading(20);
    let mut of_body: BTreeMap<&str, usize> = BTreeMap::new();
    for row in &page {
        assert_eq!(row.effect.standing, Standing::Clear);
        *of_body.entry(&row.key.of.name).or_default() += 1;
        for (side, profile) in [(&row.a, a), (&row.b, b)] {
            for evidence in &side.evidence {
                assert!(!profile.cite(evidence.score, &evidence.bars).contains('?'));
                assert!(evidence.value == 0.0 || !evidence.bars.is_empty(), "{:?}", row.key);
            }
        }
    }
    assert!(of_body.values().all(|&count| count <= 2));
    there
}

#[test]
fn laws_hold_of_sets_and_of_the_demo() {
    laws(&set("A", &[1, 2, 3, 2, 1]), &set("B", &[4, 4, 3, 4, 4]));
    laws(&tune("A", Role::Melody, Role::Harmony), &tune("B", Role::Harmony, Role::Melody));
}

/// The demo beside two scores of the annotated collections, where they are at hand.
#[test]
fn the_demo_beside_real_scores() {
    let demo = profile(Piece::demo(), "Demo", true);
    for name in ["Brahms_Op.68_4", "Beethoven_Op.67_1"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/scores").join(format!("{name}.mxl"));
        if !path.exists() {
            eprintln!("skipped: {} is not there", path.display());
            continue;
        }
        let piece = Piece::analysed(read_file(&path, &Limits::default()).unwrap().score);
        let brass = piece.value("presence", piece.family("brass"), None, "bars").unwrap().0;
        let other = profile(piece, name, true);
        let found = laws(&demo, &other);
        assert!(found.leading(20).len() >= 10, "{name}: {} differences on the first page", found.leading(20).len());
        let presence = row(&found, "presence", "brass", "bars");
        assert_eq!(presence.key.unit, Counted::ShareOfBars);
        assert!((presence.b.pooled.mean - brass).abs() < 1e-6);
    }
}
