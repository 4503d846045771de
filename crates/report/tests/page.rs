//! The page of the demo overture: it fits, its links arrive, and it tells what was planted in the score (`demo/PLANTED.md`).

#![allow(clippy::expect_used, clippy::panic)] // a test may say what it expects

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::LazyLock;

use ripieno_formats::Limits;
use ripieno_report::{Register, Table, balance_map, register_bands, report, tables, write};
use ripieno_score::Crotchets;
use ripieno_study::acoustics::{Grade, Situation};
use ripieno_study::{Study, analyse_file};

static STUDY: LazyLock<Study> = LazyLock::new(|| {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    analyse_file(&demo, &Limits::default()).expect("the demo can be read")
});
static PAGE: LazyLock<String> = LazyLock::new(|| report(&STUDY));
static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| tables(&STUDY));

/// Values of an attribute.
fn attributes<'a>(page: &'a str, name: &str) -> Vec<&'a str> {
    let start = format!(" {name}=\"");
    page.split(start.as_str()).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

/// Rows of a table as column to text.
fn rows(name: &str) -> Vec<Vec<(&'static str, String)>> {
    let table = TABLES.iter().find(|table| table.name == name).expect("the table exists");
    table.texts().map(|cells| table.columns.iter().copied().zip(cells).collect()).collect()
}

/// The `wanted` cell of rows whose `column` has this text.
fn cells(table: &str, column: &str, text: &str, wanted: &str) -> Vec<String> {
    let get = |row: &[(&str, String)], name: &str| row.iter().find(|(known, _)| *known == name).map(|(_, cell)| cell.clone());
    rows(table).iter().filter(|row| get(row, column).as_deref() == Some(text)).filter_map(|row| get(row, wanted)).collect()
}

#[test]
fn pictures_take_the_width_of_the_window() {
    let maps: Vec<&str> = PAGE.split("<svg ").filter(|svg| svg.contains("class=\"bar-map\"")).collect();
    // Roles, two stretches, melody, dynamics, balance.
    assert_eq!(maps.len(), 6);
    for map in maps {
        let head = map.split('>').next().unwrap_or_default();
        assert!(head.contains("width:calc(100% - ") && !head.contains("viewBox") && !head.contains(" width="), "{head}");
    }
}

#[test]
fn words_come_first_then_pictures_then_tables() {
    let at = |id: &str| PAGE.find(&format!("<section id=\"{id}\"")).expect("the section is there");
    let order = [
        "findings",
        "moments",
        "map",
        "melody",
        "register",
        "dynamics",
        "balance",
        "tutti",
        "doublings",
        "practice",
        "reasons",
        "parts",
    ]
    .map(at);
    assert!(order.is_sorted(), "{order:?}");
    let pictures = PAGE.match_indices("class=\"picture").map(|(at, _)| at);
    assert!(pictures.max().is_some_and(|last| last < order[7]), "a picture stands among the tables");
}

/// A band reaches from the lowest to the highest note of its family or section in every bar, and lies nowhere else.
#[test]
fn bands_hold_the_notes_of_their_groups() {
    let notes = &STUDY.sounding.notes;
    for (of, groups) in [(Register::Families, &STUDY.groups.families), (Register::Sections, &STUDY.groups.sections)] {
        let chart = register_bands(&STUDY, 30..50, of);
        assert_eq!((chart.first, chart.bars.len()), (30, 20));
        let colours: BTreeSet<&str> = chart.bands.iter().map(|band| band.colour.as_str()).collect();
        assert_eq!(colours.len(), chart.bands.len(), "each has a colour of its own");
        for group in groups {
            let band = chart.bands.iter().find(|band| band.label == group.name);
            for column in 0..20u32 {
                let bar = &STUDY.sounding.bars[column as usize + 30];
                let (start, end) = (bar.start, bar.start + bar.length);
                let sounds = (0..notes.len()).filter(|&row| {
                    let (from, length) = (notes.onset[row], notes.duration[row]);
                    group.parts.contains(&usize::from(notes.part[row]))
                        && length > Crotchets::ZERO
                        && from < end
                        && from + length > start
                });
                let keys: Vec<u8> = sounds.filter_map(|row| Some(notes.key[row]?.number())).collect();
                let steps = band.iter().flat_map(|band| &band.steps);
                let here: Vec<_> =
                    steps.filter(|step| step.from < f64::from(column + 1) - 1e-9 && step.to > f64::from(column) + 1e-9).collect();
                let reach = (here.iter().map(|step| step.low).min(), here.iter().map(|step| step.high).max());
                let expected = (keys.iter().min().copied(), keys.iter().max().copied());
                assert_eq!(reach, expected, "{}, bar {}", group.name, column + 30);
            }
        }
    }
}

/// Every note with a pitch stands once, in the ink of its role.
#[test]
fn single_notes_stand_in_the_ink_of_their_roles() {
    let chart = register_bands(&STUDY, 0..STUDY.sounding.bars.len(), Register::Notes);
    let notes = &STUDY.sounding.notes;
    let pitched = (0..notes.len()).filter(|&row| notes.key[row].is_some() && notes.duration[row] > Crotchets::ZERO).count();
    assert_eq!(chart.bands.iter().map(|band| band.steps.len()).sum::<usize>(), pitched);
    // demo/planted/who_does_what.csv: the trombones and the tuba have harmony and bass from 35 to 45.
    let part = STUDY.score.parts.iter().position(|part| part.name.starts_with("Tuba")).expect("the demo has a tuba");
    let row = (0..notes.len()).find(|&row| usize::from(notes.part[row]) == part).expect("it plays");
    let bass = chart.bands.iter().find(|band| band.label == "bass").expect("there is a bass");
    assert_eq!(Some(bass.colour.clone()), ripieno_pictures::palette::ink(ripieno_texture::Role::Bass));
    assert!(
        bass.is_solid
            && bass.steps.iter().any(|step| Some(step.low) == notes.key[row].map(|key| key.number()) && step.from >= 35.0)
    );
}

#[test]
fn the_strip_of_balance_counts_what_the_sentences_count() {
    let balance = STUDY.balance(Situation::hall()).expect("it can be weighed");
    let map = balance_map(&STUDY, &balance);
    for (row, count) in [(0, balance.melody.len()), (1, balance.chords.len())] {
        assert_eq!(map.rows[row].cells.iter().map(|cell| cell.end - cell.first).sum::<usize>(), count);
    }
    let hard: usize =
        map.rows[0].cells.iter().filter(|cell| cell.label == "hard to hear").map(|cell| cell.end - cell.first).sum();
    assert_eq!(hard, balance.bars_graded(|grade| grade == Grade::Hard).len());
    let fills = |row: usize| map.rows[row].cells.iter().map(|cell| cell.fill.clone()).collect::<BTreeSet<String>>();
    assert!(fills(0).is_disjoint(&fills(1)), "how a line is heard and how chords ring look alike");
}

#[test]
fn links_arrive() {
    let ids: BTreeSet<&str> = attributes(&PAGE, "id").into_iter().collect();
    let bars = STUDY.sounding.bars.len();
    for link in attributes(&PAGE, "href") {
        let Some(spans) = link.strip_prefix("#bars-") else {
            assert!(link.strip_prefix('#').is_some_and(|id| ids.contains(id)), "{link} leads nowhere");
            continue;
        };
        for span in spans.split('_') {
            let (first, last) = span.split_once('-').expect("two bars");
            let (first, last): (usize, usize) = (first.parse().expect("a bar"), last.parse().expect("a bar"));
            assert!(first <= last && last < bars, "{link}");
        }
    }
    for more in attributes(&PAGE, "data-more") {
        assert!(ids.contains(format!("role-{more}").as_str()), "a cell leads to no row: {more}");
    }
    assert_eq!(attributes(&PAGE, "id").len(), ids.len(), "an id stands twice");
}

#[test]
fn the_page_asks_nothing_of_the_network_and_is_the_same_each_time() {
    let outside: Vec<&str> = PAGE.split("http").skip(1).filter(|rest| !rest.starts_with("://www.w3.org/2000/svg")).collect();
    assert!(outside.is_empty(), "{outside:?}");
    assert!(*PAGE == report(&STUDY));
}

#[test]
fn every_measure_has_a_section_with_its_definition() {
    for taken in STUDY.practice.iter().filter(|taken| !taken.values.is_empty()) {
        let id = format!("id=\"measure-{}\"", taken.measure.name.replace('_', "-"));
        let section = PAGE.split(id.as_str()).nth(1).and_then(|rest| rest.split("</section>").next()).unwrap_or_default();
        assert!(section.contains("How it is counted") && section.contains("#bars-"), "{}", taken.measure.name);
    }
}

/// `demo/PLANTED.md`: the three tuttis.
#[test]
fn tuttis_are_told_with_their_families() {
    let spans: Vec<String> = rows("tutti").iter().map(|row| row[0].1.clone()).collect();
    assert!(spans.contains(&"35–45".to_owned()), "{spans:?}");
    assert!(spans.contains(&"81–100".to_owned()), "the second and third follow each other: {spans:?}");
    let families = cells("tutti", "bars", "35–45", "families");
    assert_eq!(families, ["woodwind; brass; percussion; strings"]);
}

/// `demo/PLANTED.md`: metres by section; rehearsal marks and tempi as the score prints them.
#[test]
fn the_course_of_tempo_and_metre_is_told() {
    let metres: Vec<(String, String)> =
        STUDY.metres().into_iter().map(|(bar, metre)| (STUDY.bar_label(bar), metre.to_string())).collect();
    let expected = [("0", "4/4"), ("51", "3/4"), ("71", "4/4")];
    assert_eq!(metres, expected.map(|(bar, metre)| (bar.to_owned(), metre.to_owned())));
    assert_eq!(cells("tempo", "words", "Allegro con spirito", "metronome_mark"), ["crotchet = 126"]);
    assert!(PAGE.contains(">Allegro con spirito<"), "it stands over the map");
}

/// The second flute takes the piccolo, the second oboe the English horn: their notes count for those.
#[test]
fn a_change_of_instrument_is_followed() {
    assert_eq!(cells("parts", "part", "Flute 2 (Piccolo)", "instruments"), ["flute; piccolo"]);
    let highest = |name: &str| -> u8 { cells("register", "name", name, "highest")[0].parse().expect("a key") };
    assert_eq!(cells("register", "name", "piccolo", "kind"), ["instrument"]);
    assert!(highest("piccolo") > highest("flute"));
    // The flute ends at C7 or D7 in the handbooks (`crates/instruments/data`); G7 is the piccolo's.
    assert!(highest("flute") <= 98, "{}", highest("flute"));
    let lowest: u8 = cells("register", "name", "oboe", "lowest")[0].parse().expect("a key");
    assert!(lowest >= 58, "below B flat 3 is the English horn's: {lowest}");
}

/// `demo/PLANTED.md`: muted tremolo of the violins at the opening, plucked strings in 9 to 16 and 25 to 34, stopped horns in 24 and the storm.
#[test]
fn ways_of_playing_stand_with_their_bars() {
    let of = |part: &str, way: &str| -> Vec<String> {
        let get = |row: &[(&str, String)], at: usize| row[at].1.clone();
        rows("ways").iter().filter(|row| get(row, 1) == part && get(row, 2) == way).map(|row| get(row, 4)).collect()
    };
    // Its notes begin in bar 5, the oboe's phrase.
    assert!(of("Violin I", "muted").concat().starts_with('5'));
    assert!(!of("Violoncello", "plucked (pizzicato)").is_empty());
    assert!(rows("ways").iter().any(|row| row[1].1.starts_with("Horn") && row[2].1 == "stopped"));
    assert!(rows("ways").iter().any(|row| row[1].1.starts_with("Horn") && row[2].1 == "a 2"));
}

#[test]
fn doublings_of_few_notes_stay_in_their_table_alone() {
    let few: Vec<u32> =
        cells("doublings", "few_notes", "yes", "shared_notes").iter().map(|n| n.parse().expect("a number")).collect();
    assert!(!few.is_empty() && few.iter().all(|&notes| notes < 4));
    assert!(cells("doublings", "few_notes", "no", "shared_notes").iter().all(|n| n.parse::<u32>().is_ok_and(|n| n >= 4)));
    // PLANTED: theme A in violins in octaves with flute in 17 to 24.
    let bars = cells("combinations", "sections", "flutes; violins", "bars").join(", ");
    assert!(bars.contains("17"), "{bars}");
}

/// Every tempo mark stands above the map in words, in a line of its own where the one before it leaves no room.
#[test]
fn no_tempo_is_left_out() {
    let map = PAGE.split("<svg ").find(|svg| svg.contains("class=\"bar-map\"")).expect("the map is there");
    let marks = STUDY.tempo_marks();
    assert!(marks.len() > 6);
    for mark in marks {
        assert!(map.contains(&format!(">{}<", mark.words)), "{} in bar {}", mark.words, mark.bar);
    }
}

/// A doubling goes on through rests; where a section rests for a bar, no bar of it is told. Against the notes themselves: the first row once said
/// trombones and tuba in 45-80, of which both rest in 46-80.
#[test]
fn whoever_doubles_sounds_in_every_bar_that_is_told() {
    let notes = &STUDY.sounding.notes;
    let sections = &STUDY.groups.sections;
    let section_of = STUDY.groups.section_of_parts();
    let mut sounds: Vec<BTreeSet<u32>> = vec![BTreeSet::new(); sections.len()];
    for row in 0..notes.len() {
        sounds[section_of[usize::from(notes.part[row])]]
            .extend(STUDY.bars_between(notes.onset[row], notes.onset[row] + notes.duration[row]));
    }
    let combinations = STUDY.combinations();
    assert!(combinations.len() > 20);
    for combination in &combinations {
        let told = combination.bars.iter().chain(combination.layouts.iter().flat_map(|layout| &layout.bars));
        for bar in told {
            for &section in &combination.sections {
                assert!(sounds[section].contains(bar), "{} in bar {}", sections[section].name, STUDY.bar_label(*bar));
            }
        }
    }
    let low = cells("combinations", "sections", "trombones; tubas", "bars").join(", ");
    assert!(!low.contains("45\u{2013}80"), "{low}");
}

#[test]
fn assumed_players_are_called_so() {
    assert_eq!(cells("parts", "part", "Violin I", "players_assumed"), ["yes"]);
    assert_eq!(cells("parts", "part", "Flute 1", "players_assumed"), ["no"]);
    assert!(PAGE.contains("assumed</span>"));
}

/// Every column of every table is described where the reader looks: `docs/tables.md`, which lies beside the tables as README.txt.
#[test]
fn the_key_describes_every_column_and_no_bar_stands_twice() {
    let folder = std::env::temp_dir().join(format!("ripieno-report-{}", std::process::id()));
    write(&STUDY, &folder).expect("the folder can be written");
    let key = std::fs::read_to_string(folder.join("README.txt")).expect("the key is there");
    std::fs::remove_dir_all(&folder).expect("the folder can be removed");
    for table in TABLES.iter() {
        let start = key.find(&format!("\n{}.csv:", table.name)).unwrap_or_else(|| panic!("{} is not described", table.name));
        let section = &key[start + 1..];
        let section = section
            .find(".csv:")
            .and_then(|first| section[first + 5..].find(".csv: ").map(|end| &section[..end]))
            .unwrap_or(section);
        for column in table.columns {
            let place = section.contains("first_bar_index ... offset")
                && ["first_bar_index", "first_bar", "last_bar_index", "last_bar", "onset", "offset"].contains(column);
            let words: BTreeSet<&str> =
                section.split(|c: char| !(c.is_alphanumeric() || c == '_')).filter(|word| !word.is_empty()).collect();
            assert!(place || words.contains(column), "{}.csv: {column} is not described", table.name);
        }
        assert!(table.columns.iter().all(|column| !column.contains("printed")), "{}", table.name);
    }
}
