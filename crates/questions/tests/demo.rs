//! Questions put to the demo overture. The answers come from `demo/planted` and `demo/PLANTED.md`, which its composer's script
//! wrote beside the score, not from Ripieno.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::cast_possible_wrap)] // a test stops at the first surprise

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use ripieno_formats::{Limits, read_file};
use ripieno_questions::record::{SHAPES, Table};
use ripieno_questions::{Record, answer, in_lines, parse, tables};
use ripieno_study::acoustics::{Grade, Situation};
use ripieno_study::{Study, analyse};

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

static STUDY: LazyLock<Study> = LazyLock::new(|| {
    let reading = read_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    analyse("lifeboat_overture.musicxml".to_owned(), reading)
});
static RECORD: LazyLock<Record> = LazyLock::new(|| Record::of(&STUDY, &[]));

type Bars = BTreeSet<u32>;

/// "12 16-24" as the printed numbers it stands for.
fn bars(text: &str) -> Bars {
    text.split_whitespace()
        .flat_map(|span| {
            let (first, last) = span.split_once('-').unwrap_or((span, span));
            first.parse::<u32>().unwrap()..=last.parse().unwrap()
        })
        .collect()
}

fn planted(table: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_path(demo("planted").join(table)).unwrap().deserialize().map(Result::unwrap).collect()
}

/// Printed bars of a row of practice.csv.
fn practice(measure: &str, subject: &str) -> Bars {
    let rows = planted("practice.csv");
    bars(&rows.iter().find(|row| row["measure"] == measure && row["subject"] == subject).unwrap()["bars"])
}

/// The whole answer as printed bars; the demo's printed numbers are its bars from 0.
fn asked(question: &str) -> Bars {
    let question = parse(question).unwrap_or_else(|error| panic!("{question}: {error}"));
    answer(&question, &RECORD).unwrap().iter().flat_map(|found| found.first..=found.last).collect()
}

#[track_caller]
fn check(question: &str, expected: &Bars) {
    assert_eq!(&asked(question), expected, "{question}");
}

fn without(all: &Bars, away: &Bars) -> Bars {
    all.difference(away).copied().collect()
}

/// Bars in which a part whose name begins with `a` doubles one whose name begins with `b`, planted or incidental.
fn doubled(a: &str, b: &str, above: impl Fn(i64) -> bool) -> Bars {
    let mut bars = Bars::new();
    for row in planted("doublings.csv") {
        let interval: i64 = row["interval_semitones"].parse().unwrap();
        let span = row["first_bar"].parse::<u32>().unwrap()..=row["last_bar"].parse().unwrap();
        let (part, other) = (row["part"].as_str(), row["doubles"].as_str());
        if (part.starts_with(a) && other.starts_with(b) && above(interval))
            || (part.starts_with(b) && other.starts_with(a) && above(-interval))
        {
            bars.extend(span);
        }
    }
    bars
}

#[test]
fn who_plays_and_who_rests() {
    let all: Bars = (0..=108).collect();
    let (horns, trumpets) = (practice("presence", "horns"), practice("presence", "trumpets"));
    let (trombones, flutes) = (practice("presence", "trombones"), practice("presence", "flutes"));
    check("trombones play", &trombones);
    check("bars where the trombones rest", &without(&all, &trombones));
    check("all brass play", &practice("bars with all brass sections", "brass"));
    check("any brass plays", &horns.union(&trumpets).copied().chain(trombones.iter().copied()).collect());
    check("horns play and trombones rest", &without(&horns, &trombones));
    check("trumpets play but trombones do not play", &without(&trumpets, &trombones));
    check("no trombones play", &without(&all, &trombones));
    check("flutes and horns play", &flutes.intersection(&horns).copied().collect());
    check("flutes or horns play", &flutes.union(&horns).copied().collect());
    check("not (flutes or horns play)", &without(&all, &flutes.union(&horns).copied().collect()));
    check("glockenspiel plays", &practice("presence", "glockenspiel"));
    check("\"Violin I\" plays", &practice("presence", "violins I"));
    check("saxophones rest", &Bars::new());
    check("only horns play", &bars("0"));
}

#[test]
fn how_long() {
    check("trombones play, at least 4 bars long", &bars("35-45 81-100 105-108"));
    check("trombones play, longer than 4 bars", &bars("35-45 81-100"));
    check("glockenspiel plays for exactly 14 bars", &bars("89-102"));
    check("trumpets play and trombones rest, at most 2 bars long", &bars("20 34 103-104"));
    check("in bars 81 to 88", &bars("81-88"));
    check("trombones play in bars 40-85", &bars("40-45 81-85"));
}

#[test]
fn metre_as_the_composer_says() {
    // PLANTED.md: bars 51 to 66 are in 3/4, the storm from 71 in 4/4.
    let three = asked("metre 3/4");
    assert!(three.is_superset(&bars("51-66")) && three.is_disjoint(&bars("0-50 71-108")), "{three:?}");
    check("in 3/4 and 'viola' plays and trombones play", &Bars::new());
}

/// Whether a note of each part, of one name, begins in the bar at one moment.
fn meet(bar: u32, a: &str, b: &str) -> bool {
    let (notes, parts) = (RECORD.table("notes").unwrap(), RECORD.table("parts").unwrap());
    let of = |name: &str| {
        let part = (0..parts.rows).find(|&row| parts.texts("part").unwrap().get(row).unwrap().starts_with(name)).unwrap();
        let here = (0..notes.rows).filter(|&row| {
            notes.numbers("part_index").unwrap()[row] == part as i64 && notes.numbers("bar").unwrap()[row] == i64::from(bar)
        });
        here.map(|row| (notes.times("onset").unwrap()[row], notes.numbers("key").unwrap()[row].rem_euclid(12)))
            .collect::<BTreeSet<_>>()
    };
    !of(a).is_disjoint(&of(b))
}

#[test]
fn doublings() {
    // The composer lists doublings of whole lines and highest notes; inner voices may meet as well, note for note.
    type Above = fn(i64) -> bool;
    let cases: [(&str, &str, &str, Above); 3] = [
        ("'Horn 3.4' doubles 'Horn 1.2' in unison", "Horn 3.4", "Horn 1.2", |interval| interval == 0),
        ("cellos double double basses an octave above", "Violoncello", "Double bass", |interval| interval == 12),
        ("'Oboe 1' doubles 'Flute 1' an octave below", "Oboe 1", "Flute 1", |interval| interval == -12),
    ];
    for (question, a, b, above) in cases {
        let (planted, found) = (doubled(a, b, above), asked(question));
        assert!(!planted.is_empty() && found.is_superset(&planted), "{question}: {found:?} {planted:?}");
        for &bar in found.difference(&planted) {
            assert!(meet(bar, a, b), "{question}: bar {bar}");
        }
        assert_eq!(asked(&question.replace("doubles", "plays and doubles").replace("double d", "play and double d")), found);
    }
    check("'Tuba' doubles 'Flute 1', in bars 35 to 45", &Bars::new());
    assert_eq!(asked("tubas are doubled by bass trombones in unison"), asked("bass trombones double tubas in unison"));
}

#[test]
fn counting_people() {
    // players.csv: people sounding at most in the bar, part by part.
    let mut horns = [0u32; 109];
    for row in planted("players.csv").iter().filter(|row| row["part"].starts_with("Horn")) {
        let span = row["first_bar"].parse::<usize>().unwrap()..=row["last_bar"].parse().unwrap();
        horns[span].iter_mut().for_each(|people| *people += row["players"].parse::<u32>().unwrap());
    }
    let of = |test: fn(u32) -> bool| (0u32..).zip(horns).filter(|(_, count)| test(*count)).map(|(bar, _)| bar).collect::<Bars>();
    check("exactly 6 horns", &of(|count| count == 6));
    check("at least four horns play", &of(|count| count >= 4));
    check("fewer than 2 horns", &of(|count| count < 2));
}

/// Bars with a moment at which `test` holds of the interval between the bands of two sections or families, counted the plain way: at every
/// moment at which any note begins or ends, all notes are looked through.
fn between_bands(a: &str, b: &str, test: impl Fn(i64) -> bool) -> Bars {
    let (notes, parts, bars) = (RECORD.table("notes").unwrap(), RECORD.table("parts").unwrap(), RECORD.table("bars").unwrap());
    let (onsets, durations) = (notes.times("onset").unwrap(), notes.times("duration").unwrap());
    let section = |row: usize| {
        let part = usize::try_from(notes.numbers("part_index").unwrap()[row]).unwrap();
        ["section", "family"].map(|column| parts.texts(column).unwrap().get(part).unwrap())
    };
    let rows = |name: &str| (0..notes.rows).filter(|&row| section(row).contains(&name)).collect::<Vec<_>>();
    let (a, b) = (rows(a), rows(b));
    let mut moments: BTreeSet<_> = a.iter().chain(&b).flat_map(|&row| [onsets[row], onsets[row] + durations[row]]).collect();
    moments.extend(bars.times("onset").unwrap());
    let mut found = Bars::new();
    for at in moments {
        let band = |rows: &[usize]| {
            let keys = rows.iter().filter(|&&row| onsets[row] <= at && at < onsets[row] + durations[row]);
            let keys: Vec<i64> = keys.map(|&row| notes.numbers("key").unwrap()[row]).collect();
            keys.iter().min().copied().zip(keys.iter().max().copied())
        };
        let (Some(a), Some(b)) = (band(&a), band(&b)) else { continue };
        let between = if a.0 + a.1 >= b.0 + b.1 { a.0 - b.1 } else { b.0 - a.1 };
        if test(between) {
            let bar = bars.times("onset").unwrap().partition_point(|&onset| onset <= at) - 1;
            found.insert(u32::try_from(bar).unwrap());
        }
    }
    found
}

#[test]
fn how_far_apart() {
    let apart = asked("horns are apart from trombones by at least 12 semitones");
    // practice.csv counts only where no third section lies between the two.
    assert!(apart.is_superset(&practice("largest gap", "horns over trombones")), "{apart:?}");
    assert_eq!(apart, between_bands("horns", "trombones", |between| between >= 12));
    check("horns are apart from trombones", &between_bands("horns", "trombones", |between| between >= 3));
    check("trumpets are apart from horns by at least 12 semitones", &practice("largest gap", "trumpets over horns"));
    let overlapping = asked("horns overlap with trombones");
    assert!(overlapping.is_superset(&practice("deepest overlap", "horns over trombones")), "{overlapping:?}");
    assert_eq!(overlapping, between_bands("horns", "trombones", |between| between < 0));
    assert_eq!(asked("trombones overlap horns"), overlapping, "who is named first makes no difference");
}

#[test]
fn roles_where_the_composer_settles_them() {
    check("tuba has bass", &practice("bars with role", "tuba: bass"));
    check("trombones have bass", &practice("bars with role", "trombones: bass"));
    for (question, row) in [
        ("horns have melody", "horns: melody"),
        ("trumpets have melody", "trumpets: melody"),
        ("trumpets have rhythm", "trumpets: rhythm"),
    ] {
        // Roles are read from the notes, not from the composer's plan: most of the bars have to agree.
        let (found, planted) = (asked(question), practice("bars with role", row));
        let both = found.intersection(&planted).count();
        assert!(both * 10 >= found.union(&planted).count() * 7, "{question}: {found:?} against {planted:?}");
    }
    let together = asked("horns have melody and trombones rest");
    assert!(together.is_superset(&bars("9-15")), "PLANTED.md: theme A in four horns, {together:?}");
    check("horns have melody and trombones rest, horns rest", &Bars::new());
}

/// What the record itself says, counted another way.
#[test]
fn register_and_dynamics_agree_with_the_notes() {
    let notes = RECORD.table("notes").unwrap();
    let column = |name: &str| notes.numbers(name).unwrap();
    let horn: BTreeSet<i64> = {
        let parts = RECORD.table("parts").unwrap();
        (0..parts.rows).filter(|&row| parts.texts("section").unwrap().get(row) == Some("horns")).map(|row| row as i64).collect()
    };
    // C5 is MIDI key 72; attacks only, so at least these bars.
    let high: Bars = (0..notes.rows)
        .filter(|&row| horn.contains(&column("part_index")[row]) && column("key")[row] > 72 && column("key")[row] < 128)
        .map(|row| u32::try_from(column("bar")[row]).unwrap())
        .collect();
    let asked_high = asked("horns above C5");
    assert!(!high.is_empty() && asked_high.is_superset(&high), "{asked_high:?} {high:?}");
    let stay = asked("horns stay above C5");
    assert!(stay.is_subset(&asked_high));
    assert!(asked("horns play").is_superset(&asked_high));
    let (loud, soft) = (asked("forte or louder"), asked("mezzo forte or softer"));
    assert!(loud.is_disjoint(&soft));
    assert!(loud.is_superset(&bars("37-45 90-98")), "the tutti are loud: {loud:?}");
    assert_eq!(asked("louder than mezzo forte"), loud);
    assert!(asked("all horns fortissimo or louder").is_subset(&asked("any horns fortissimo or louder")));
}

#[test]
fn chords_keys_themes_and_layers() {
    // chords.csv: the key plan has E flat at the beginning, G major for the song; modulations are left to the reading.
    let flat = asked("key Eb major");
    assert!(flat.is_superset(&bars("1-4 9-12")), "{flat:?}");
    assert_eq!(asked("in D# major"), flat, "the same keys of the piano");
    let g = asked("key G major");
    assert!(g.is_superset(&bars("52-56")), "{g:?}");
    assert!(!asked("chord Ab major").is_empty() && !asked("chord dominant seventh").is_empty());
    let stack = asked("horns share a layer with trumpets");
    assert!(bars("82-87").intersection(&stack).count() >= 4, "PLANTED.md: one stack in 81 to 88, {stack:?}");
    // Themes are numbered by weight: theme A, which four horns state in 8 to 16, is one of the first three.
    assert!((1..=3).any(|number| asked(&format!("theme {number} in horns")).is_superset(&bars("8-15"))));
    assert!(
        asked("oboes take over the melody from horns").iter().any(|bar| (4..=5).contains(bar)),
        "PLANTED.md: upbeat to bar 5"
    );
    assert!(asked("horns lead").is_superset(&bars("9-14")));
}

/// Bars in which a section begins after a bar of rest, from its planted presence.
fn entries(subject: &str) -> Bars {
    let there = practice("presence", subject);
    there.iter().copied().filter(|&bar| bar == 0 || !there.contains(&(bar - 1))).collect()
}

#[test]
fn entries_are_those_planted() {
    for section in ["trumpets", "trombones", "tuba", "oboes", "bassoons"] {
        check(&format!("{section} enter"), &entries(section));
        check(&format!("{section} first enter"), &entries(section).into_iter().take(1).collect());
    }
    check("where the tuba first enters", &bars("35"));
    let late = entries("oboes").into_iter().filter(|&bar| {
        let there = practice("presence", "oboes");
        bar >= 8 && (bar - 8..bar).all(|before| !there.contains(&before))
    });
    check("oboes enter after at least 8 bars", &late.collect());
}

#[test]
fn players_by_number_and_named_groups_are_found() {
    check("second violins play", &asked("'Violin II' plays"));
    check("third horn plays", &asked("'Horn 3.4 in F' plays"));
    let mut study = STUDY.clone();
    study.groups.name_group(&study.score, "low brass", &["trombones".into(), "tubas".into()]).unwrap();
    let record = Record::of(&study, &[]);
    let low = |question: &str| answer(&parse(question).unwrap(), &record).unwrap();
    assert_eq!(low("'Low brass' plays"), low("trombones or tubas play"));
    assert!(asked("'low brass' plays").is_empty(), "nobody has named it in the score as it is");
}

#[test]
fn ways_of_playing_are_those_written() {
    // PLANTED.md: muted violin tremolo in 0 to 8, pizzicato bass in 9 to 16, a muted trumpet in 20, stopped horns in 24 and in the storm, flutter-tongue there.
    assert!(!asked("violins are muted and have tremolo").is_disjoint(&bars("0-8")));
    assert!(asked("double basses play pizzicato").is_superset(&bars("9-16")));
    assert!(asked("trumpets are muted").contains(&20));
    assert!(asked("horns are stopped").contains(&24));
    assert!(asked("everybody plays flutter-tongue").is_subset(&bars("71-80")));
    assert!(!asked("any woodwind or any brass plays flutter-tongue").is_disjoint(&bars("71-80")));
}

#[test]
fn how_the_melody_is_heard_is_what_the_study_estimates() {
    let balance = STUDY.balance(Situation::hall()).unwrap();
    check("the melody is covered", &balance.bars_graded(|grade| grade == Grade::Covered).into_iter().collect());
    check("the melody is hard to hear", &balance.bars_graded(|grade| grade == Grade::Hard).into_iter().collect());
    check("the melody is heard", &balance.bars_graded(|grade| grade > Grade::Hard).into_iter().collect());
    let hidden = asked("the melody is covered or hard to hear");
    assert!(hidden.is_superset(&asked("the melody is covered by the brass")));
    let by = asked("everybody covers the melody");
    assert!(hidden.is_superset(&by) && !by.is_empty());
    let gains = RECORD.table("maskers").unwrap().numbers("gain").unwrap();
    assert!(!gains.is_empty() && gains.iter().all(|&gain| gain > 0), "who has no share is no masker");
    let (uneven, even) = (asked("the chord is uneven"), asked("the chord is even"));
    assert!(uneven.is_disjoint(&even) && !asked("chord is uneven or chord is fairly even or chord is even").is_empty());
}

#[test]
fn only_the_tables_needed_are_asked_for() {
    for question in [
        "horns overlap trombones or chord Eb",
        "theme 1",
        "horns lead",
        "flutes share a layer with oboes",
        "forte, in Eb major",
        "the melody is covered by the brass",
        "strings play pizzicato",
        "clarinets have a solo",
    ] {
        let question = parse(question).unwrap();
        let needed = tables(&question);
        let kept = RECORD.tables().iter().filter(|table| needed.contains(&table.shape.name));
        // As from a library: packed, unpacked.
        let unpacked = kept.map(|table| Table::unpack(table.shape, table.rows, &table.pack()).unwrap()).collect();
        assert_eq!(answer(&question, &Record::from_tables(unpacked)), answer(&question, &RECORD));
    }
}

#[test]
fn every_table_comes_back_from_few_bytes() {
    assert_eq!(
        RECORD.tables().iter().map(|table| table.shape.name).collect::<Vec<_>>(),
        SHAPES.iter().map(|shape| shape.name).collect::<Vec<_>>()
    );
    for table in RECORD.tables() {
        let unpacked = Table::unpack(table.shape, table.rows, &table.pack()).unwrap();
        for column in 0..table.shape.kept().len() {
            assert_eq!(
                unpacked.column(column),
                table.column(column),
                "{}.{}",
                table.shape.name,
                table.shape.columns[column].name
            );
            assert_eq!(table.column(column).unwrap().len(), table.rows);
        }
    }
}

#[test]
fn damaged_bytes_are_told_not_trusted() {
    let table = RECORD.table("roles").unwrap();
    let bytes = table.pack();
    for cut in (0..bytes.len()).step_by(97) {
        if let Ok(table) = Table::unpack(table.shape, table.rows, &bytes[..cut]) {
            for column in 0..table.shape.kept().len() {
                let _ = table.column(column);
            }
        }
        let mut other = bytes.clone();
        other[cut] ^= 0x55;
        let Ok(table) = Table::unpack(table.shape, table.rows, &other) else { continue };
        let parts = RECORD.table("parts").unwrap().clone();
        let bars = RECORD.table("bars").unwrap().clone();
        // Anything but a panic will do.
        let _ = answer(&parse("horns have melody above C3 forte").unwrap(), &Record::from_tables(vec![parts, bars, table]));
    }
}

#[test]
fn instruments_taken_in_between_are_those_planted() {
    // compose.py: the second flute takes the piccolo from 79, the second oboe the English horn for the song, the bass drum the tam-tam in 71 and 72.
    check("where the English horn plays", &bars("59-70"));
    check("piccolo plays", &bars("79-102 105-108"));
    check("tam-tam plays", &bars("71-72"));
    assert!(asked("flutes play").is_superset(&bars("79-102")), "the piccolo is one of the flutes");
    let doubled = asked("piccolo doubles 'Flute 1' an octave above");
    assert!(!doubled.is_empty() && doubled.is_subset(&bars("79-108")), "{doubled:?}");
    check("english horn plays and in bars 35 to 45", &Bars::new());
}

#[test]
fn tuttis_are_those_planted() {
    let rows = planted("practice.csv");
    let planted: Bars = rows.iter().filter(|row| row["measure"] == "tutti").flat_map(|row| bars(&row["bars"])).collect();
    let found = asked("tutti");
    assert!(found.is_superset(&planted), "{found:?} {planted:?}");
    assert!(found.len() <= planted.len() + 4, "{found:?} {planted:?}");
    check("the first tutti", &bars("35-45"));
    check("tutti and in bars 46 to 80", &Bars::new());
}

#[test]
fn the_longest_the_first_and_the_extreme() {
    // practice.csv: the trombones sound in 35-45, 81-100, 105-108.
    check("longest passage in which the trombones play", &bars("81-100"));
    check("shortest passage where trombones play", &bars("105-108"));
    check("first passage in which the tuba plays", &bars("35-45"));
    check("first bar in which the tuba plays", &bars("35"));
    check("last time the tuba plays", &bars("108"));
    check("longest rest of the trombones", &bars("0-34 46-80"));
    check("first entry of the trombones", &bars("35"));
    check("trombones drop out", &bars("46 101"));
    let parsed = parse("highest note of the horns").unwrap();
    let found = answer(&parsed, &RECORD).unwrap();
    let horns: Vec<usize> = STUDY.groups.sections.iter().find(|section| section.name == "horns").unwrap().parts.clone();
    let top = STUDY
        .sounding
        .notes
        .rows()
        .filter(|note| horns.contains(&usize::from(note.part)))
        .filter_map(|note| note.key)
        .max()
        .unwrap();
    assert_eq!(found[0].told.as_deref(), Some(top.pitch().to_string().as_str()));
    for bar in found.iter().flat_map(|found| found.first..=found.last) {
        let there = STUDY
            .sounding
            .notes
            .rows()
            .any(|note| note.key == Some(top) && note.bar <= bar && horns.contains(&usize::from(note.part)));
        assert!(there, "{bar}");
    }
}

#[test]
fn who_is_told() {
    let found = answer(&parse("who has bass in bars 81 to 88").unwrap(), &RECORD).unwrap();
    let told: BTreeSet<&str> = found.iter().filter_map(|found| found.told.as_deref()).collect();
    assert!(told.contains("Tuba") && told.contains("Double bass"), "{told:?}");
    assert!(!told.contains("Flute 1"), "{told:?}");
}

#[test]
fn thickened_pedals_and_one_pitch() {
    // thickened.csv: sections whose line runs parallel to the melody.
    let thickened = asked("the melody is thickened");
    let strings = asked("violins thicken the melody");
    assert!(strings.intersection(&bars("60-64")).count() >= 3 && strings.is_subset(&thickened), "{strings:?} {thickened:?}");
    // PLANTED.md: a pedal on E flat under theme A, which is in E flat.
    let pedal = asked("pedal on Eb");
    assert!(pedal.intersection(&bars("0-8")).count() >= 4, "{pedal:?}");
    assert!(asked("tonic pedal").intersection(&bars("0-8")).count() >= 3);
    // PLANTED.md: theme A in four horns in unison, 9 to 16.
    let unison = asked("horns in unison");
    assert!(unison.intersection(&bars("9-15")).count() >= 6, "{unison:?}");
    let brass: Bars = (0..=108).filter(|bar| one_pitch_class(*bar, "brass")).collect();
    check("brass in octaves", &brass);
}

/// Whether all that the parts of a family sound in the bar is one pitch class at every moment, in two parts at least; counted the plain way.
fn one_pitch_class(bar: u32, family: &str) -> bool {
    let parts = STUDY.groups.families.iter().find(|group| group.name == family).unwrap().parts.clone();
    let (start, length) = (STUDY.sounding.bars[bar as usize].start, STUDY.sounding.bars[bar as usize].length);
    let notes: Vec<_> = STUDY
        .sounding
        .notes
        .rows()
        .filter(|note| parts.contains(&usize::from(note.part)) && note.key.is_some() && note.duration.is_positive())
        .filter(|note| note.onset < start + length && note.onset + note.duration > start)
        .collect();
    let of: BTreeSet<u16> = notes.iter().map(|note| note.part).collect();
    of.len() > 1
        && notes.iter().all(|note| {
            let at = note.onset.max(start);
            let here = notes.iter().filter(|other| other.onset <= at && at < other.onset + other.duration);
            here.map(|other| other.key.unwrap().number() % 12).collect::<BTreeSet<_>>().len() == 1
        })
}

/// The answer as the bars of each thing told besides.
fn told(question: &str) -> BTreeMap<String, Bars> {
    let parsed = parse(question).unwrap_or_else(|error| panic!("{question}: {error}"));
    let mut told: BTreeMap<String, Bars> = BTreeMap::new();
    for found in answer(&parsed, &RECORD).unwrap() {
        told.entry(found.told.unwrap_or_default()).or_default().extend(found.first..=found.last);
    }
    told
}

/// What a question tells, and nothing else.
#[track_caller]
fn check_told(question: &str, expected: &[(&str, Bars)]) {
    let expected: BTreeMap<String, Bars> = expected.iter().map(|(name, bars)| ((*name).to_owned(), bars.clone())).collect();
    assert_eq!(told(question), expected, "{question}");
}

fn both(a: &Bars, b: &Bars) -> Bars {
    a.intersection(b).copied().collect()
}

#[test]
fn who_plays_most_and_who_least() {
    // practice.csv: "section playing most" and "least", brass and orchestra; it counts both violins by themselves and every drum as a section.
    let (low, horns) = (practice("presence", "trombones"), practice("presence", "horns"));
    check_told("which brass section plays least?", &[("trombones", low.clone()), ("tubas", practice("presence", "tuba"))]);
    check_told("which section of the brass is used least", &[("trombones", low.clone()), ("tubas", low.clone())]);
    check_told("which brass section plays most?", &[("horns", horns.clone())]);
    check_told("which brass section rests least?", &[("horns", horns)]);
    check_told("which section plays least", &[("tuned percussion", practice("presence", "glockenspiel"))]);
    check_told(
        "which instrument plays least",
        &[("Cymbals", practice("presence", "cymbals")), ("Glockenspiel", practice("presence", "glockenspiel"))],
    );
    check_told(
        "which section plays most",
        &[("violas", practice("presence", "violas")), ("violins", practice("presence", "violins II"))],
    );
    let song = bars("51-66");
    check_told("which brass section plays most in bars 51 to 66", &[("horns", both(&practice("presence", "horns"), &song))]);
}

#[test]
fn how_many_and_against_how_many() {
    // players.csv: people sounding at most in the bar, part by part.
    let mut horns = [0u32; 109];
    for row in planted("players.csv").iter().filter(|row| row["part"].starts_with("Horn")) {
        let span = row["first_bar"].parse::<usize>().unwrap()..=row["last_bar"].parse().unwrap();
        horns[span].iter_mut().for_each(|people| *people += row["players"].parse::<u32>().unwrap());
    }
    for (number, bars) in told("how many horns play?") {
        let number: u32 = number.parse().unwrap();
        assert!(bars.iter().all(|&bar| horns[bar as usize] == number), "{number}: {bars:?}");
    }
    check_told("how many horns play in bars 35 to 44", &[("6", bars("35-44"))]);
    check_told("how many trombones play in bars 46 to 80", &[]);
    // PLANTED.md: the chorale of 81 to 88 has all six horns and three trombones in one stack.
    let against = told("how many horns stand against each trombone?");
    assert!(against["6 horns to 3 trombones"].is_superset(&bars("82-87")), "{against:?}");
    assert!(told("how many horns play for each trumpet").contains_key("6 horns to 3 trumpets"));
}

#[test]
fn what_somebody_does() {
    let told_ = told("what do the trombones do in bars 35 to 45?");
    assert_eq!(told_["bass"], bars("35-45"), "practice.csv: trombones have the bass in 35-45");
    assert!(told_["harmony"].intersection(&bars("35-45")).count() >= 8, "{told_:?}");
    let sections = told("what does each section do in bars 81 to 88");
    assert_eq!(sections["tubas: bass"], bars("81-88"));
    assert!(sections.keys().all(|key| key.contains(": ")), "{sections:?}");
    assert_eq!(told("what do the horns play"), told("what does the horn do"));
}

/// The order is that of the page: sections by their first part (`STUDY.groups`), each in one line.
#[test]
fn what_each_section_does_takes_a_line_each_in_score_order() {
    let found = answer(&parse("what does each section do in bars 35 to 45").unwrap(), &RECORD).unwrap();
    let lines = in_lines(&found);
    let told: Vec<&str> = lines.iter().filter_map(|line| line.split(": ").next()).collect();
    let mut page: Vec<&str> = Vec::new();
    for part in &STUDY.groups.parts {
        if told.contains(&part.section.name()) && !page.contains(&part.section.name()) {
            page.push(part.section.name());
        }
    }
    assert!(told.len() > 10, "{lines:#?}");
    assert_eq!(told, page, "one line a section");
    assert_eq!(in_lines(&answer(&parse("all brass play").unwrap(), &RECORD).unwrap()).len(), 1);
}

#[test]
fn gaps_and_overlaps_in_words() {
    let gap = asked("where is the gap between brass and strings more than an octave?");
    assert_eq!(gap, between_bands("brass", "strings", |between| between > 12));
    check(
        "a gap of at least an octave between horns and trombones",
        &between_bands("horns", "trombones", |between| between >= 12),
    );
    check("horns are apart from trombones by more than a fifth", &between_bands("horns", "trombones", |between| between > 7));
    assert_eq!(asked("where do horns and trombones overlap"), asked("horns overlap trombones"));
    // practice.csv: twelve semitones in 79 and 80, the widest there are.
    check_told("the widest gap between trumpets and horns", &[("12 semitones", practice("largest gap", "trumpets over horns"))]);
    let deepest =
        (1..=60).rev().find(|&size| !between_bands("horns", "trombones", |between| between == -size).is_empty()).unwrap();
    let expected = between_bands("horns", "trombones", |between| between == -deepest);
    check_told("deepest overlap of horns and trombones", &[(&format!("{deepest} semitones"), expected)]);
}

#[test]
fn splits_stacks_and_support() {
    // Roles and layers are read from the notes: most of the planted bars have to agree.
    for section in ["trumpets", "trombones", "horns"] {
        let (found, planted) = (asked(&format!("where do the {section} split?")), practice("section splits", section));
        assert!(found.intersection(&planted).count() * 10 >= planted.len() * 6, "{section}: {found:?} {planted:?}");
    }
    assert!(asked("the brass splits").is_superset(&asked("trumpets are split")));
    // PLANTED.md: the second tutti is one stack, the first and third are layered.
    let stack = asked("where is the brass one stack?");
    assert!(stack.intersection(&bars("81-88")).count() >= 6 && stack.is_disjoint(&bars("36-44")), "{stack:?}");
    assert!(asked("brass plays several things at once").is_superset(&bars("36-44")));
    // PLANTED.md: theme A in violins in octaves with the flute in 17 to 24.
    let support = told("who supports the melody in bars 17 to 24?");
    assert!(support.contains_key("Flute 1") && !support.contains_key("Double bass"), "{support:?}");
    assert_eq!(asked("oboes and clarinets share the melody"), asked("oboes have melody and clarinets have melody"));
    assert_eq!(
        told("who doubles the tuba in bars 81 to 100?")["Bass trombone"],
        bars("81-100"),
        "docs: the tuba never stands alone"
    );
    let resting = told("who rests in bars 51 to 58?");
    assert!(resting["Tuba"] == bars("51-58") && !resting.contains_key("Harp"), "PLANTED.md: clarinet over harp");
}
