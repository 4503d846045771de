//! Charts read, settled, written, and refused. What they settle to is counted by hand beside each.
#![allow(clippy::unwrap_used, clippy::panic)] // a test stops at the first surprise

use proptest::prelude::*;
use ripieno_chart::{Chart, Row, Settled, Span};
use ripieno_score::{Crotchets, DynamicLevel, PlayerCount};
use ripieno_texture::{Role, Techniques};

const HARBOUR: &str = r#"# Charted from the library's copy.
format = "ripieno-chart"
version = 1
title = "Slipway"
composer = "Nobody"

[[part]]
name = "Flute 1.2"

[[part]]
name = "Horn 1.2 in F"

[[part]]
name = "Horn 3.4 in F"

# twelve desks on the page
[[part]]
name = "Violin I"
players = 12

[[part]]
name = "Double bass"
instrument = "double-bass"
players = "4-6"

[[bars]]
number = "0"
uncounted = true
length = 1
metre = "4/4"
tempo = 92

[[bars]]
count = 8
mark = "A" # printed in a box

[[bars]]
count = 4
metre = "3/4"

[[row]]
who = "Violin I"
bars = "0-8"
role = "melody"
layer = "a"
dynamic = "mf"

[[row]]
who = "flutes"
bars = "5-8"
role = "melody"
layer = "a"
dynamic = "f"
doubles = "Violin I"
interval = "octave above"

[[row]]
who = "horns"
bars = "1-8, 11"
role = "harmony"
layer = "b"
dynamic = "p"
manner = ["muted", "stopped"]

[[row]]
who = "Horn 1.2 in F"
line = 2
bars = "3:2-4:7/2"
role = "pedal"
register = "low"
remark = "the second horn alone"

[[row]]
who = "Double bass"
bars = "9-12"
role = ["bass", "rhythm"]

[[row]]
who = "Double bass"
bars = 10
role = "tacet"

# until the double bar
"#;

fn settled(text: &str) -> (Chart, Settled) {
    match Chart::read("slipway.toml", text) {
        Ok((chart, settled, _)) => (chart, settled),
        Err(faults) => panic!("{faults:?}"),
    }
}

fn faults(text: &str) -> Vec<String> {
    Chart::read("slipway.toml", text).map_or_else(|faults| faults.iter().map(ToString::to_string).collect(), |_| Vec::new())
}

/// The line on which the row of this number begins, counted from 1.
fn line_of_row(number: usize) -> usize {
    HARBOUR.lines().enumerate().filter(|(_, line)| *line == "[[row]]").nth(number - 1).map(|(at, _)| at + 1).unwrap()
}

/// The line with these words.
fn line_with(words: &str) -> usize {
    HARBOUR.lines().position(|line| line.contains(words)).unwrap() + 1
}

#[test]
fn bars_and_people_are_as_written() {
    let (_, settled) = settled(HARBOUR);
    let score = &settled.score;
    let numbers: Vec<&str> = score.bars.iter().map(|bar| &*bar.number).collect();
    assert_eq!(numbers, ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"]);
    // 1 + 8 * 4 + 4 * 3 crotchets.
    assert_eq!(score.length(), Crotchets::whole(45));
    assert!(!settled.sounding.tempo.assumed);
    // 45 crotchets at 92 a minute.
    assert!((settled.sounding.tempo.seconds(Crotchets::whole(45)) - 45.0 * 60.0 / 92.0).abs() < 1e-9);
    let players: Vec<PlayerCount> = score.parts.iter().map(|part| part.players).collect();
    let exactly = PlayerCount::exactly;
    assert_eq!(players, [exactly(2), exactly(2), exactly(2), exactly(12), PlayerCount::between(4, 6)]);
    assert!(score.parts.iter().all(|part| part.notes.is_empty()), "a chart invents no note");
}

#[test]
fn what_sounds_when_is_counted_by_hand() {
    let (_, settled) = settled(HARBOUR);
    let notes = &settled.sounding.notes;
    let of = |part: usize| -> Vec<(i64, i64)> {
        notes.of_part[part]
            .clone()
            .map(|row| (notes.onset[row].numerator(), (notes.onset[row] + notes.duration[row]).numerator()))
            .collect()
    };
    // Bar n of 1 to 8 begins at 1 + 4 (n - 1), bar n of 9 to 12 at 33 + 3 (n - 9).
    assert_eq!(of(0), [(17, 33)]);
    assert_eq!(of(2), [(1, 33), (39, 42)]);
    assert_eq!(of(3), [(0, 33)]);
    assert_eq!(of(4), [(33, 36), (39, 45)], "the tacet bar 10 is cut out");
    assert!(notes.key.iter().all(Option::is_none), "nor any pitch");
    // The second line of the first horns: from the third crotchet of bar 3 to seven quavers into bar 4.
    let second = notes.of_part[1].clone().find(|&row| notes.voice[row] == 2).unwrap();
    assert_eq!(notes.onset[second], Crotchets::whole(11));
    assert_eq!(notes.onset[second] + notes.duration[second], "33/2".parse().unwrap());
    // Two lines share the two players of the staff; four horns are two parts, each of two people.
    assert_eq!(notes.players[second], PlayerCount::exactly(1));
    assert_eq!(notes.level[notes.of_part[2].start], DynamicLevel::from_mark("p"));
    assert!(settled.ways[notes.of_part[2].start].contains(Techniques::MUTED | Techniques::STOPPED));
}

#[test]
fn roles_layers_melody_and_doublings_follow_the_rows() {
    let (_, settled) = settled(HARBOUR);
    let roles = &settled.roles;
    let bass = roles.of_part(4);
    assert_eq!(bass.len(), 2, "a whole bar of silence parts two spans");
    assert_eq!(bass[0].roles.iter().map(|held| held.role).collect::<Vec<_>>(), [Role::Bass, Role::Rhythm]);
    assert!(bass.iter().all(|span| span.roles.iter().all(|held| (held.confidence - 1.0).abs() < f32::EPSILON)));
    let line = |part: usize| settled.lines.of_part[part].start;
    let layer = |part: usize, bar: u32| roles.layers.of(line(part), bar);
    assert_eq!(layer(0, 5), layer(3, 5), "both have the letter a");
    assert_eq!(layer(1, 5), layer(2, 5));
    assert_ne!(layer(0, 5), layer(1, 5));
    assert_eq!(layer(0, 2), None);
    let melody: Vec<(usize, u32, u32)> = roles.melody.iter().map(|one| (one.part, one.bars.start, one.bars.end)).collect();
    assert_eq!(melody, [(3, 0, 9)], "who doubles does not lead");
    assert_eq!(roles.melody[0].parts(), [3], "the flutes have it in less than half of the stretch: 16 of 33 crotchets");
    let doubling = settled.doublings.all[0];
    assert_eq!(
        (doubling.a, doubling.b, doubling.interval),
        (line(0), line(3), -12),
        "the violins lie an octave below the flutes"
    );
    assert_eq!((doubling.from, doubling.to, doubling.bars), (Crotchets::whole(17), Crotchets::whole(33), (5, 8)));
    assert!(doubling.is_full());
}

#[test]
fn writing_keeps_every_word_and_comment() {
    let (chart, first) = settled(HARBOUR);
    let text = chart.write();
    for comment in
        ["# Charted from the library's copy.", "# twelve desks on the page", "# printed in a box", "# until the double bar"]
    {
        assert!(text.contains(comment), "{comment} is lost in\n{text}");
    }
    let (again, second) = settled(&text);
    assert_eq!(again, chart);
    assert_eq!(second, first);
    assert_eq!(again.write(), text, "the same chart, the same bytes");
}

#[test]
fn a_later_row_takes_over_and_says_so() {
    let text = HARBOUR
        .replace("who = \"flutes\"", "who = \"Violin I\"")
        .replace("doubles = \"Violin I\"\ninterval = \"octave above\"\n", "");
    let Ok((_, settled, notes)) = Chart::read("slipway.toml", &text) else { panic!("it is a chart") };
    let of = settled.sounding.notes.of_part[3].clone();
    let levels: Vec<_> = of.map(|row| settled.sounding.notes.level[row].unwrap().mark()).collect();
    assert_eq!(levels, ["mf", "f"]);
    assert_eq!(notes.len(), 1);
    let told = notes[0].to_string();
    assert!(
        told.starts_with(&format!(
            "slipway.toml, line {}: row 2: takes over from row 1 where both speak of one line.",
            line_of_row(2)
        )),
        "{told}"
    );
}

#[test]
fn every_fault_is_told_with_its_line_and_what_to_do() {
    let all = faults(&HARBOUR.replace("who = \"flutes\"", "who = \"tubas\"").replace("\"1-8, 11\"", "\"1-8, 31\""));
    assert_eq!(all.len(), 2, "all of them at once: {all:?}");
    assert!(
        all[0].starts_with(&format!(
            "slipway.toml, line {}: row 2: the score has nobody called “tubas”; it has flutes, horns, violins, double basses",
            line_of_row(2)
        )),
        "{}",
        all[0]
    );
    assert_eq!(all[1], format!("slipway.toml, line {}: row 3: there is no bar 31; the bars are 0 to 12.", line_of_row(3)));
    let one = |from: &str, to: &str| {
        let all = faults(&HARBOUR.replace(from, to));
        assert_eq!(all.len(), 1, "{from} for {to}: {all:?}");
        all[0].clone()
    };
    assert_eq!(
        one("\"pedal\"", "\"drone\""),
        format!(
            "slipway.toml, line {}: “drone” is no role; roles are melody, countermelody, bass, harmony, pedal, rhythm, figuration, punctuation, effect, tacet.",
            line_with("\"pedal\"")
        )
    );
    assert!(one("remark = ", "remrak = ").contains(&format!("line {}: unknown field `remrak`", line_with("remark"))));
    assert!(one("\"octave above\"", "\"a tenth above\"").contains("“a tenth above” is no interval of a doubling"));
    assert!(one("\"3/4\"", "\"3/0\"").contains("“3/0” is no metre"));
    assert!(one("\"5-8\"", "\"8-5\"").contains("“8-5” ends before it begins"));
    assert!(one("\"3:2-", "\"3:5-").contains("bar 3 has 4 crotchets, so 5 lies beyond it"));
    assert!(one("dynamic = \"mf\"", "dynamic = \"loud\"").contains("“loud” is no dynamic"));
    assert!(one("version = 1", "version = 2").contains("version 2 of the format"));
    assert!(
        one("name = \"Flute 1.2\"", "name = \"Frobnicator\"")
            .contains("“Frobnicator” is no instrument the catalogue knows. Add what it plays")
    );
    assert!(one("name = \"Horn 3.4 in F\"", "name = \"Horn 1.2 in F\"").contains("two parts are called “Horn 1.2 in F”"));
}

#[test]
fn an_empty_chart_is_told_what_it_lacks() {
    let all = faults("format = \"ripieno-chart\"\nversion = 1\n");
    assert_eq!(all.len(), 2, "{all:?}");
    assert!(all[0].contains("the chart has no bars") && all[1].contains("the chart has no line-up"));
    assert_eq!(faults("format = 3").len(), 1);
    assert_eq!(faults("").len(), 1);
}

#[test]
fn the_format_is_known_by_its_first_words() {
    use ripieno_formats::{Format, Limits, read};
    assert_eq!(Format::of(HARBOUR.as_bytes()), Some(Format::Chart));
    let error = read("slipway.toml", HARBOUR.as_bytes(), &Limits::default()).unwrap_err().to_string();
    assert!(error.starts_with("slipway.toml: this is a chart, which tells who does what and holds no notes."), "{error}");
    assert_eq!(Format::of(b"title = \"x\"\n[[row]]\nformat = \"ripieno-chart\""), None);
}

#[test]
fn a_hostile_chart_is_refused_soon() {
    let huge = HARBOUR.replace("count = 8", "count = 4000000000");
    assert!(faults(&huge)[0].contains("a chart has 1 to 100000 in all"));
    let mut many = HARBOUR.to_owned();
    for _ in 0..3000 {
        many.push_str("\n[[row]]\nwho = \"all\"\nbars = \"1-8\"\nrole = \"harmony\"\n");
    }
    let started = std::time::Instant::now();
    assert!(Chart::read("many.toml", &many).is_ok());
    assert!(started.elapsed().as_secs() < 20);
}

/// A head with so many parts and bars.
fn head(parts: usize, bars: usize) -> String {
    let mut text = "format = \"ripieno-chart\"\nversion = 1\n".to_owned();
    for part in 0..parts {
        text += &format!("[[part]]\nname = \"Violin {part}\"\ninstrument = \"violin\"\n");
    }
    text + &format!("[[bars]]\ncount = {bars}\nmetre = \"4/4\"\n")
}

#[test]
fn every_limit_is_told_in_a_sentence_and_soon() {
    let started = std::time::Instant::now();
    let one = |text: &str| {
        let all = faults(text);
        assert_eq!(all.len(), 1, "{:?}", &all[..all.len().min(5)]);
        all[0].clone()
    };
    assert!(one(&head(1001, 1)).contains("the chart has 1001 parts; 1000 is the most"));
    assert!(one(&head(100, 100_000)).contains("100 parts of 100000 bars are more than can be"));
    let row = "[[row]]\nwho = \"1\"\nbars = \"1\"\nrole = \"bass\"\n";
    assert!(one(&(head(1, 1) + &row.repeat(100_001))).contains("the chart has 100001 rows; 100000 is the most"));
    // Many lines of few parts, from one end to the other.
    let mut wide = head(10, 100_000);
    for line in 1..=64 {
        wide += &format!("[[row]]\nwho = \"all\"\nline = {line}\nbars = \"1-100000\"\nrole = \"bass\"\n");
    }
    assert!(one(&wide).contains("the lines sound in more than 2000000 bars, added up"));
    // Stretches of many parts, those of the last bars.
    let ends = vec!["99999"; 6000].join(", ");
    let rows = format!("[[row]]\nwho = \"all\"\nbars = \"{ends}\"\nrole = \"bass\"\n");
    assert!(one(&(head(10, 100_000) + &rows.repeat(9))).contains("row 9: with this row the chart speaks of more than 500000"));
    let rows = format!("[[row]]\nwho = \"1\"\nbars = \"{}\"\nrole = \"bass\"\n", vec!["1"; 500_001].join(","));
    assert!(one(&(head(1, 1) + &rows)).contains("names more than 500000 stretches of bars"));
    // Each with each: not only told once a whole row is through.
    let both = "[[row]]\nwho = \"all\"\nbars = \"1\"\nrole = \"bass\"\ndoubles = \"all\"\n";
    assert!(one(&(head(1000, 1) + both)).contains("row 1: with this row the chart has more doublings than can be"));
    assert!(one(&format!("{}# {}", head(1, 1), "-".repeat(16 << 20))).contains("16 MB is the most"));
    let long = head(1, 1).replace("Violin 0", &"x".repeat(1 << 20));
    assert!(one(&long).contains("has at most 200 characters"));
    assert!(started.elapsed().as_secs() < 30, "{:?}", started.elapsed());
}

#[test]
fn of_many_faults_a_hundred_are_told() {
    let started = std::time::Instant::now();
    let words = "[[row]]\nwho = \"1\"\nbars = \"1\"\nrole = \"drone\"\n";
    let all = faults(&(head(1, 1) + &words.repeat(50_000)));
    assert_eq!((all.len(), all.last().unwrap().contains("and 49900 more")), (101, true), "{:?}", all.last());
    let bars = "[[row]]\nwho = \"1\"\nbars = \"2\"\nrole = \"bass\"\n";
    let all = faults(&(head(1, 1) + &bars.repeat(50_000)));
    assert_eq!((all.len(), all.last().unwrap().contains("and 49900 more")), (101, true), "{:?}", all.last());
    let same = head(500, 1).replace("name = \"Violin ", "name = \"Violin\" # ");
    let all = faults(&same);
    assert_eq!((all.len(), all.last().unwrap().contains("and 399 more")), (101, true), "{:?}", all.last());
    // Whom a row doubles is told with the rest.
    let two = HARBOUR.replace("\"1-8, 11\"", "\"1-80, 11\"").replace("doubles = \"Violin I\"", "doubles = \"tubas\"");
    assert_eq!(faults(&two).len(), 2, "{:?}", faults(&two));
    assert!(started.elapsed().as_secs() < 20, "{:?}", started.elapsed());
}

#[test]
fn a_large_chart_is_settled_and_laid_over_soon() {
    // As many rows as bars, each of which says something else, and a leader for every one.
    let mut text = head(8, 20_000);
    for bar in 1..=20_000 {
        text += &format!("[[row]]\nwho = \"{}\"\nbars = {bar}\nrole = \"melody\"\nremark = \"{bar}\"\n", 1 + bar % 8);
        text += &format!("[[row]]\nwho = \"{}\"\nbars = {bar}\nlead = true\n", 1 + bar % 8);
    }
    let started = std::time::Instant::now();
    let (mut chart, settled) = settled(&text);
    assert_eq!(settled.roles.melody.len(), 20_000);
    let rows = chart.rows.len();
    let row = Row { who: vec!["1".to_owned()], bars: Span::list("1").unwrap(), roles: vec![Role::Bass], ..Row::default() };
    chart.lay(row).unwrap();
    assert_eq!(chart.rows.len(), rows + 1);
    assert!(started.elapsed().as_secs() < 20, "{:?}", started.elapsed());
}

fn row() -> impl Strategy<Value = Row> {
    let roles = proptest::sample::subsequence(Role::ALL[..9].to_vec(), 1..3);
    let who = proptest::sample::select(vec!["Flute 1.2", "horns", "Violin I", "strings"]);
    let at = (1u32..9, 0i64..8, 1i64..4);
    let span = (at, 1u32..4).prop_map(|((bar, n, d), more)| {
        let position = Crotchets::new(n, 2 * d).unwrap();
        let from = if n == 0 { bar.to_string() } else { format!("{bar}:{position}") };
        format!("{from}-{}", bar + more).parse::<Span>().unwrap()
    });
    let dynamic = proptest::option::of((-8i32..36).prop_map(|step| {
        #[allow(clippy::cast_precision_loss)]
        DynamicLevel(step as f32 / 4.0)
    }));
    (who, span, roles, dynamic, 0u16..1024, "[a-c]{0,1}", "\\PC{0,12}", proptest::option::of(0.0f32..1.0)).prop_map(
        |(who, span, roles, dynamic, manner, layer, remark, confidence)| Row {
            who: vec![who.to_owned()],
            bars: vec![span],
            roles,
            dynamic,
            manner: Techniques::from_bits_truncate(manner),
            layer,
            remark,
            confidence,
            ..Row::default()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn whatever_is_charted_is_written_and_read_the_same(rows in proptest::collection::vec(row(), 0..12)) {
        let (mut chart, _) = settled(HARBOUR);
        chart.rows = rows;
        let text = chart.write();
        let Ok((again, settled, _)) = Chart::read("x.toml", &text) else { panic!("{text}") };
        prop_assert_eq!(&again, &chart);
        // Lines of one part never sound against themselves, and every stretch lies inside the piece.
        for line in &settled.lines.lines {
            let notes = &settled.sounding.notes;
            let ends: Vec<_> = line.rows.iter().map(|&row| (notes.onset[row as usize], notes.onset[row as usize] + notes.duration[row as usize])).collect();
            prop_assert!(ends.windows(2).all(|pair| pair[0].1 <= pair[1].0));
            prop_assert!(ends.iter().all(|one| one.1 <= settled.sounding.length()));
        }
    }

    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,200}", at in 0usize..1000) {
        let mut hostile = HARBOUR.to_owned();
        let at = (0..=at.min(hostile.len())).rev().find(|&at| hostile.is_char_boundary(at)).unwrap_or(0);
        hostile.insert_str(at, &text);
        let _ = Chart::read("x.toml", &hostile);
    }
}

#[test]
fn what_is_laid_over_takes_the_place_of_what_was_there() {
    let (mut chart, _) = settled(HARBOUR);
    let row = |who: &str, bars: &str, role: Role| Row {
        who: vec![who.to_owned()],
        bars: Span::list(bars).unwrap(),
        roles: vec![role],
        ..Row::default()
    };
    // Both horn parts have harmony in 1 to 8; one of them turns to melody in 3 and 4.
    chart.lay(row("Horn 3.4 in F", "3-4", Role::Melody)).unwrap();
    let told = |chart: &Chart, role: Role| -> Vec<(String, String)> {
        let words = |row: &Row| (row.who.join(" + "), row.bars.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "));
        chart.rows.iter().filter(|row| row.roles == [role]).map(words).collect()
    };
    let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    assert_eq!(told(&chart, Role::Harmony), [pair("Horn 1.2 in F", "1-8, 11"), pair("Horn 3.4 in F", "1-2, 5-8, 11")]);
    // The next two bars become one row with them.
    chart.lay(row("Horn 3.4 in F", "5-6", Role::Melody)).unwrap();
    assert_eq!(told(&chart, Role::Melody).last(), Some(&pair("Horn 3.4 in F", "3-6")));
    // Silence leaves no row, and nothing of who was there.
    chart.lay(row("horns", "1-12", Role::Tacet)).unwrap();
    assert!(told(&chart, Role::Harmony).is_empty() && told(&chart, Role::Tacet).is_empty());
    let before = chart.clone();
    assert!(chart.lay(row("tubas", "1", Role::Bass)).is_err());
    assert_eq!(chart, before, "what cannot be laid changes nothing");
    let text = chart.write();
    assert!(text.contains("# until the double bar") && Chart::read("x.toml", &text).is_ok());
}
