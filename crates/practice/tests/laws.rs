//! Laws that every measure of the register keeps, those of tomorrow too: a new measure stands under them as soon as it is registered.
//!
//! What a measure is taken from must follow the score in each law. Roles come from a learned model that hears absolute pitch and the order of parts a little,
//! so they are not read again: they are carried over line by line. Lines and doublings are found again from the changed notes.
//! Each law is itself tried on a measure that breaks it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

mod laws {
    pub mod cut;
    pub mod rewritten;
}
mod pieces;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use laws::cut::{cut, quiet_bar};
use laws::rewritten::{parts_reversed, two_parts, two_staves, two_voices, up_a_tone};
use pieces::Piece;
use ripieno_practice::{MEASURES, Material, Measure, OnChart, Subject, Unit, Value};
use ripieno_score::Crotchets;
use ripieno_texture::Role;

static DEMO: LazyLock<Piece> = LazyLock::new(Piece::demo);

/// Eight bars with one part of two voices throughout, every kind of role, marks and rests.
static SMALL: LazyLock<Piece> = LazyLock::new(|| {
    let piece = Piece::of(&[
        ("Flute", "p E5:1 F5:1 G5:2 | A5:1 G5:1 F5:2 | E5:4 | r:4 | f E5:1 F5:1 G5:2 | A5:1 G5:1 F5:2 | E5:4 | r:4"),
        ("Horn 1.2", "r:4 | p F4+A4:4 | E4+G4:2 E4+C5:2 | D4+B4:4 | r:4 | ff F4+A4:4 | G4+E5:4 | G4+C5:4"),
        ("Trombone", "r:4 | r:4 | r:4 | r:4 | ff C4:2 r:2 | F3:2 r:2 | G3:4 | C3:4"),
        ("Timpani", "r:4 | r:4 | r:4 | pp G2:1/2 G2:1/2 r:3 | r:4 | r:4 | ff G2:2 G2:2 | C3:4"),
        (
            "Violin",
            "E5:1 F5:1 G5:2 | A5:1 G5:1 F5:2 | mf C5:1/2 E5:1/2 G5:1/2 E5:1/2 C5:2 | B4:4 | C5:4 | C5:4 | B4:4 | C5:1 r:3",
        ),
        ("Violoncello", "p C3:4 | F2:4 | C3:4 | G2:4 | C3:4 | F2:4 | G2:4 | C3:2 r:2"),
    ]);
    two_voices(
        piece
            .with_role("Flute", Role::Melody)
            .with_role("Horn 1.2", Role::Harmony)
            .with_role("Trombone", Role::Countermelody)
            .with_role("Timpani", Role::Punctuation)
            .with_role("Violin", Role::Figuration)
            .with_role("Violoncello", Role::Bass),
        "Horn 1.2",
    )
});

/// A value by names, so that scores with other numbers of their parts can be compared.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Name {
    measure: &'static str,
    /// Whom it is about, and the other of two.
    of: Vec<(&'static str, String)>,
    aspect: String,
    unit: Unit,
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let of: Vec<&str> = self.of.iter().map(|(_, name)| name.as_str()).collect();
        write!(f, "{}, “{}” of {}", self.measure, self.aspect, of.join(" and "))
    }
}

type Named = (Name, Value);

/// All values of these measures, in order of names.
fn values(measures: &[Measure], piece: &Piece) -> Vec<Named> {
    let material = piece.material();
    let named = |measure: &Measure, value: Value| {
        let of = [Some(value.of), value.with].into_iter().flatten().map(|of| (of.kind(), material.name(of))).collect();
        (Name { measure: measure.name, of, aspect: value.aspect.clone(), unit: value.unit }, value)
    };
    let mut values: Vec<Named> =
        measures.iter().flat_map(|measure| (measure.take)(&material).into_iter().map(|value| named(measure, value))).collect();
    sort(&mut values);
    values
}

fn sort(values: &mut [Named]) {
    values.sort_by(|a, b| (&a.0, &a.1.bars).cmp(&(&b.0, &b.1.bars)).then(a.1.value.total_cmp(&b.1.value)));
}

/// What is said of two seen from the other side. Which of two stands first may hang on the page; then its words must turn with it.
const TURNED: [(&str, &str); 2] = [("above", "below"), ("encloses", "enclosed")];

/// The same with the two in the order of the alphabet.
fn turned(mut values: Vec<Named>) -> Vec<Named> {
    for (name, _) in &mut values {
        if name.of.len() == 2 && name.of[0] > name.of[1] {
            name.of.swap(0, 1);
            for (a, b) in TURNED {
                name.aspect = if name.aspect.contains(a) { name.aspect.replace(a, b) } else { name.aspect.replace(b, a) };
            }
        }
    }
    sort(&mut values);
    values
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1.0)
}

/// What differs between two lists of values; values in keys may move by `keys`.
fn differences(before: &[Named], after: &[Named], keys: f64) -> Vec<String> {
    let mut found = Vec::new();
    let (mut a, mut b) = (before.iter().peekable(), after.iter().peekable());
    while let Some(order) = match (a.peek(), b.peek()) {
        (Some(a), Some(b)) => Some(a.0.cmp(&b.0)),
        (Some(_), None) => Some(std::cmp::Ordering::Less),
        (None, Some(_)) => Some(std::cmp::Ordering::Greater),
        (None, None) => None,
    } {
        let old = if order.is_le() { a.next() } else { None };
        let new = if order.is_ge() { b.next() } else { None };
        match (old, new) {
            (Some((name, old)), Some((_, new))) => {
                let moved = if old.unit == Unit::Key { keys } else { 0.0 };
                if !near(old.value + moved, new.value) || old.bars != new.bars {
                    found.push(format!("{name}: {} {:?}, then {} {:?}", old.value, old.bars, new.value, new.bars));
                }
            }
            (Some((name, value)), None) => found.push(format!("{name}: {} only before", value.value)),
            (None, Some((name, value))) => found.push(format!("{name}: {} only after", value.value)),
            (None, None) => {}
        }
    }
    found
}

/// Fails with one complaint of each kind.
fn report(complaints: &[String]) {
    let mut kinds: BTreeMap<&str, &str> = BTreeMap::new();
    for complaint in complaints {
        kinds.entry(complaint.split(" of ").next().unwrap_or_default()).or_insert(complaint);
    }
    let kinds: Vec<String> = kinds.values().map(|text| text.chars().take(400).collect()).collect();
    assert!(complaints.is_empty(), "{} complaints:\n{}", complaints.len(), kinds.join("\n"));
}

/// Transposition: the whole score a tone higher. Harmony is moved by hand, since the model that reads it may hear another key otherwise.
fn transposition(measures: &[Measure], piece: &Piece) -> Vec<String> {
    differences(&values(measures, piece), &values(measures, &up_a_tone(piece)), 2.0)
}

/// Order of parts: the page turned upside down.
fn order_of_parts(measures: &[Measure], piece: &Piece) -> Vec<String> {
    differences(&turned(values(measures, piece)), &turned(values(measures, &parts_reversed(piece))), 0.0)
}

/// Staves: one part of two voices written as two staves, or as two parts; sections, families and the score stay what they were.
fn staves(measures: &[Measure], written: &Piece, otherwise: &Piece) -> Vec<String> {
    let of_groups = |piece: &Piece| {
        let mut values = values(measures, piece);
        values.retain(|(name, _)| name.of.iter().all(|(kind, _)| *kind != "part"));
        values
    };
    differences(&of_groups(written), &of_groups(otherwise), 0.0)
}

/// Shares that do not mix from the shares of two halves, and why.
const NOT_MIXED: [(&str, &str, &str); 6] = [
    (
        "doubled_sections",
        "",
        "they are of the time of whichever of the two sounds less, in one half the one and in the other the other",
    ),
    ("reserve", "loud bars", "what is loud is judged among all bars of the piece asked about"),
    ("reserve", "full bars", "what is full is judged among all bars of the piece asked about"),
    ("reserve", "in the loud bars", "what is loud is judged among all bars of the piece asked about"),
    ("reserve", "in the full bars", "what is full is judged among all bars of the piece asked about"),
    ("reserve", "enters with", "an entry out of reserve needs bars of rest before it, which a cut takes away"),
];

/// Numbers that add up over halves: all that count what lies in one bar.
const SUMS: [(&str, &str); 2] = [("presence", "attacks"), ("stack", "tutti bars")];

/// A measure, whom it is about, a clause of the aspect, and the unit.
type Whole = (&'static str, Vec<(&'static str, String)>, String, Unit);

/// What shares are of. Values with one whole mix with one weight. By default it is the time or the bars of those the value is about, in the sense after
/// the comma of the aspect ("apart, bass left out"); where a kind of thing shares out among groups, it is all of that kind.
fn whole(name: &Name) -> Whole {
    let clause = name.aspect.split_once(", ").map_or("", |(_, clause)| clause).to_owned();
    match name.measure {
        "sharing" => (name.measure, Vec::new(), name.aspect.clone(), name.unit),
        // How much of all time there is a chord; the other shares are of that.
        "chord_voicing" if name.aspect == "in chords" => (name.measure, name.of.clone(), name.aspect.clone(), name.unit),
        _ => (name.measure, name.of.clone(), clause, name.unit),
    }
}

/// Time in which lines of `of` sound, each counted for itself: what the shares of roles and of dynamics are of.
fn line_time(piece: &Piece, of: Subject) -> f64 {
    let material = piece.material();
    let member = material.members(of);
    let of_slice = |(slice, rows): (&ripieno_practice::Slice, &[u32])| {
        let lines: BTreeSet<usize> =
            rows.iter().filter(|&&row| member[material.part_of(row)]).map(|&row| material.line_of(row)).collect();
        slice.length().to_f64() * f64::from(u32::try_from(lines.len()).unwrap())
    };
    material.slices.iter().map(of_slice).sum()
}

/// Additivity: shares of the whole piece are shares of its halves, each weighted by what it is a share of. The weight is known for some measures and else
/// must be one and the same, from 0 to 1, for all values with one whole.
fn additivity(measures: &[Measure], piece: &Piece) -> Vec<String> {
    let bars = piece.sounding.bars.len();
    let at = quiet_bar(piece).expect("a barline over which nothing is held");
    let (first, second) = (cut(piece, 0..at), cut(piece, at..bars));
    // By whole, then by name: the value of the piece and of its halves, with their bars.
    type Three = [Option<(f64, Vec<u32>)>; 3];
    let mut groups: BTreeMap<_, BTreeMap<Name, Three>> = BTreeMap::new();
    let mut found = Vec::new();
    for (which, (piece, offset)) in [(piece, 0), (&first, 0), (&second, at)].into_iter().enumerate() {
        for (name, value) in values(measures, piece) {
            let mixed = matches!(value.unit, Unit::ShareOfTime | Unit::ShareOfBars | Unit::ShareOfPlayerTime)
                && !NOT_MIXED.iter().any(|(measure, aspect, _)| name.measure == *measure && name.aspect.starts_with(aspect));
            if mixed || SUMS.contains(&(name.measure, name.aspect.as_str())) {
                let bars: Vec<u32> = value.bars.iter().map(|bar| bar + u32::try_from(offset).unwrap()).collect();
                let three = groups.entry(whole(&name)).or_default().entry(name).or_default();
                assert!(three[which].replace((value.value, bars)).is_none(), "two values of one name");
            }
        }
    }
    let number = |three: &Three, which: usize| three[which].as_ref().map_or(0.0, |(value, _)| *value);
    for (of, group) in &groups {
        for (name, three) in group {
            let bars = |which: usize| three[which].iter().flat_map(|(_, bars)| bars.iter().copied()).collect::<BTreeSet<u32>>();
            if bars(0) != &bars(1) | &bars(2) {
                found.push(format!("{name}: bars {:?} of {:?} and {:?}", bars(0), bars(1), bars(2)));
            }
        }
        if !matches!(of.3, Unit::ShareOfTime | Unit::ShareOfBars | Unit::ShareOfPlayerTime) {
            for (name, three) in group {
                if !near(number(three, 0), number(three, 1) + number(three, 2)) {
                    found.push(format!("{name}: {three:?} do not add up"));
                }
            }
            continue;
        }
        let widest = group.values().max_by(|a, b| {
            let apart = |three: &Three| (number(three, 1) - number(three, 2)).abs();
            apart(a).total_cmp(&apart(b))
        });
        let widest = widest.expect("a group has values");
        let apart = number(widest, 1) - number(widest, 2);
        let told = known_weight(of, &first, &second);
        // Where both halves say the same, any weight will do.
        let weight = if apart.abs() < 1e-9 { 0.5 } else { (number(widest, 0) - number(widest, 2)) / apart };
        let weight = told.unwrap_or(weight);
        if !(-1e-9..=1.0 + 1e-9).contains(&weight) {
            found.push(format!("{of:?}: {widest:?} do not lie between"));
        }
        for (name, three) in group {
            if !near(number(three, 0), weight * number(three, 1) + (1.0 - weight) * number(three, 2)) {
                found.push(format!("{name}: {three:?} do not mix with {weight}"));
            }
        }
    }
    found
}

/// The weight of the first half where it can be counted here.
fn known_weight((measure, of, aspect, unit): &Whole, first: &Piece, second: &Piece) -> Option<f64> {
    let share = |of: &dyn Fn(&Piece) -> f64| Some(of(first) / (of(first) + of(second)));
    match (*measure, *unit) {
        ("presence", Unit::ShareOfTime) => share(&|piece| piece.sounding.length().to_f64()),
        #[allow(clippy::cast_precision_loss)] // bars of a score
        ("chord_voicing", Unit::ShareOfTime) if aspect == "in chords" => share(&|piece| piece.sounding.length().to_f64()),
        ("presence", Unit::ShareOfBars) => share(&|piece| piece.sounding.bars.len() as f64),
        ("role_shares" | "dynamics", Unit::ShareOfTime) => {
            let material = first.material();
            let subject = material.subjects().into_iter().find(|it| *of == [(it.kind(), material.name(*it))])?;
            share(&|piece| line_time(piece, subject))
        }
        _ => None,
    }
}

#[test]
fn no_measure_hears_a_transposition() {
    report(&transposition(MEASURES, &DEMO));
    report(&transposition(MEASURES, &SMALL));
}

#[test]
fn no_measure_hears_the_order_of_parts() {
    report(&order_of_parts(MEASURES, &DEMO));
    report(&order_of_parts(MEASURES, &SMALL));
}

#[test]
fn no_measure_of_a_group_hears_how_many_staves_it_is_written_on() {
    report(&staves(MEASURES, &SMALL, &two_staves(&SMALL, "Horn 1.2")));
    report(&staves(MEASURES, &SMALL, &two_parts(&SMALL, "Horn 1.2")));
    let demo = two_voices(Piece::demo(), "Trombone 1.2");
    report(&staves(MEASURES, &demo, &two_staves(&demo, "Trombone 1.2")));
}

#[test]
fn shares_of_a_piece_are_those_of_its_halves_weighted() {
    report(&additivity(MEASURES, &DEMO));
    report(&additivity(MEASURES, &SMALL));
}

/// A measure that breaks laws on purpose.
const fn faulty(take: fn(&Material<'_>) -> Vec<Value>) -> Measure {
    Measure { name: "faulty", title: "", says: "", definition: "", source: "", example: "", on_chart: OnChart::Whole, take }
}

fn one(value: f64, unit: Unit) -> Vec<Value> {
    vec![Value { of: Subject::Everybody, with: None, aspect: "one".to_owned(), value, unit, bars: Vec::new() }]
}

/// The laws can fail: each finds a measure that was written against it.
#[test]
fn each_law_finds_a_measure_that_breaks_it() {
    // How many notes are a C.
    let hears_pitch = faulty(|material| {
        let keys = material.sounding.notes.key.iter().flatten();
        one(f64::from(u32::try_from(keys.filter(|key| key.number() % 12 == 0).count()).unwrap()), Unit::Count)
    });
    assert_eq!(transposition(&[hears_pitch], &SMALL).len(), 1);
    // A key that says it is an interval.
    let wrong_unit = faulty(|material| {
        let keys = material.sounding.notes.key.iter().flatten();
        one(f64::from(keys.map(|key| key.number()).min().unwrap_or(0)), Unit::Semitones)
    });
    assert_eq!(transposition(&[wrong_unit], &SMALL).len(), 1);
    // How many notes the first part has.
    let hears_order =
        faulty(|material| one(f64::from(u32::try_from(material.sounding.notes.of_part[0].len()).unwrap()), Unit::Count));
    assert_eq!(order_of_parts(&[hears_order], &SMALL).len(), 1);
    // The most staves that a note stands on, and how many parts there are.
    let hears_staves = faulty(|material| one(f64::from(*material.sounding.notes.staff.iter().max().unwrap()), Unit::Count));
    assert_eq!(staves(&[hears_staves], &SMALL, &two_staves(&SMALL, "Horn 1.2")).len(), 1);
    let hears_parts = faulty(|material| one(f64::from(u32::try_from(material.score.parts.len()).unwrap()), Unit::Count));
    assert_eq!(staves(&[hears_parts], &SMALL, &two_parts(&SMALL, "Horn 1.2")).len(), 1);
    // A share, and one that was squared: no weight mixes both.
    let not_mixed = faulty(|material| {
        let sounds = |part: usize| {
            let parts = [part];
            ripieno_practice::presence(material.sounding, &parts).share_of_time
        };
        let mut values = one(sounds(0), Unit::ShareOfTime);
        values.extend(one(sounds(1) * sounds(1), Unit::ShareOfTime));
        values[1].aspect = "two".to_owned();
        values
    });
    assert!(!additivity(&[not_mixed], &DEMO).is_empty());
}

/// The halves are what they should be: together as long as the whole, with all its notes.
#[test]
fn halves_make_a_whole() {
    for piece in [&*DEMO, &*SMALL] {
        let at = quiet_bar(piece).unwrap();
        let halves = [cut(piece, 0..at), cut(piece, at..piece.sounding.bars.len())];
        let length: Crotchets = halves.iter().map(|half| half.sounding.length()).sum();
        assert_eq!(length, piece.sounding.length());
        assert_eq!(halves.iter().map(|half| half.sounding.notes.len()).sum::<usize>(), piece.sounding.notes.len());
        let attacks = |piece: &Piece| piece.lines.lines.iter().map(|line| line.attacks.len()).sum::<usize>();
        assert_eq!(halves.iter().map(attacks).sum::<usize>(), attacks(piece));
        assert!(at > 2 && at + 2 < piece.sounding.bars.len(), "bar {at}");
    }
}
