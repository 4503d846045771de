//! A comparison as text and as CSV.

use std::fmt::Write as _;

use ripieno_study::{Counted, Difference, Key, Lone, Profile, Side, Standing, Whom};

use super::Compared;
use super::sentences::{doubts, is_doubtful, is_of_forces, sentence};

/// "1 score", "3 scores".
pub fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// A number with its unit, short.
pub fn shown(unit: Counted, value: f64) -> String {
    match unit {
        _ if unit.is_share() => format!("{:.0} %", value * 100.0),
        Counted::Key => key_name(value),
        Counted::Level => format!("{value:.1} ({})", level(value)),
        _ => format!("{value:.1}"),
    }
}

/// A difference with its unit.
pub fn shown_difference(unit: Counted, value: f64) -> String {
    match unit {
        _ if unit.is_share() => format!("{:+.0} points", value * 100.0),
        Counted::Key => format!("{value:+.1} semitones"),
        _ => format!("{value:+.1}"),
    }
}

/// "Eb4": the nearest key, middle C being C4.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // within a keyboard
fn key_name(key: f64) -> String {
    const NAMES: [&str; 12] = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
    let key = key.round().clamp(0.0, 127.0) as usize;
    format!("{}{}", NAMES[key % 12], i64::try_from(key / 12).unwrap_or(0) - 1)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
fn level(step: f64) -> &'static str {
    const MARKS: [&str; 8] = ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"];
    MARKS[(step.round().clamp(1.0, 8.0) - 1.0) as usize]
}

/// "horns with trombones", "bass clarinet (each part)".
pub fn bodies(key: &Key) -> String {
    let one = |whom: &Whom| whom.spoken();
    match &key.with {
        Some(with) => format!("{} with {}", one(&key.of), one(with)),
        None => one(&key.of),
    }
}

/// "role shares, melody".
pub fn what(key: &Key) -> String {
    let measure = key.measure.replace('_', " ");
    if key.aspect.is_empty() { measure } else { format!("{measure}: {}", key.aspect) }
}

/// The score that shows a side most plainly, with its longest stretches; the name only where there are several scores.
pub fn see(profile: &Profile, side: &Side, most: usize) -> String {
    let Some(evidence) = side.evidence.first() else { return "no score".to_owned() };
    let bars = &evidence.bars;
    let mut text = if profile.scores.len() > 1 {
        let file = std::path::Path::new(&profile.scores[evidence.score].file);
        format!("{}, ", file.file_stem().unwrap_or_default().to_string_lossy())
    } else {
        String::new()
    };
    if bars.is_empty() {
        text.push_str("nowhere");
        return text;
    }
    // The longest spans are the ones worth opening the score for; they are told in their order.
    let mut longest: Vec<(u32, u32)> = bars.clone();
    longest.sort_by_key(|span| (std::cmp::Reverse(span.1 - span.0), span.0));
    longest.truncate(most);
    longest.sort_unstable();
    let all: u32 = bars.iter().map(|span| span.1 - span.0 + 1).sum();
    let cited = profile.cite(evidence.score, &longest);
    let rest = if longest.len() < bars.len() { format!(" … ({all} bars in all)") } else { String::new() };
    let _ = write!(text, "bars {cited}{rest}");
    text
}

/// One side in a line: "A  Symphony (3 scores of 1 work)".
pub fn headline(letter: char, profile: &Profile) -> String {
    let bars: u32 = profile.scores.iter().map(|score| score.bars).sum();
    let scores = counted(profile.scores.len(), "score");
    format!("{letter}  {} ({scores}, {}, {bars} bars)", profile.name, counted(profile.works(), "work"))
}

/// What may be said of the sample, a line or two.
pub fn cautions(compared: &Compared<'_>) -> String {
    let (a, b) = (compared.a.works(), compared.b.works());
    let (judged, clear) = (compared.found.judged(), compared.found.clear());
    if compared.options.same_piece {
        return format!("Two versions of one piece: all {clear} values that differ do so because the music does.\n");
    }
    let mut text = match (a, b) {
        (1, 1) => "One work each: noise is what varies within each piece; nothing here speaks of a practice beyond these two.\n"
            .to_owned(),
        (1, n) | (n, 1) => format!("One work beside {n}: noise is what varies between the {n}.\n"),
        _ => format!("{a} works beside {b}: noise is what varies between works.\n"),
    };
    let few = a.min(b);
    if (a, b) != (1, 1) && (a.max(b) < 5 || (few > 1 && few < 5)) {
        text.push_str("Fewer than five works on a side: small samples, take these as hints of where to look.\n");
    }
    let _ = writeln!(
        text,
        "{judged} values differ and could be judged; {clear} are clear of noise, where chance alone would make about {:.0}.",
        judged as f64 / 20.0
    );
    text
}

/// The first page.
pub fn text(compared: &Compared<'_>) -> String {
    let mut text = format!("{}\n{}\n{}\n", headline('A', compared.a), headline('B', compared.b), cautions(compared));
    let doubts = doubts([compared.a, compared.b]);
    if !doubts.is_empty() {
        let _ = writeln!(text, "Doubtful in the files:\n  {}\n", doubts.join("\n  "));
    }
    let (forces, practice) = first_page(compared);
    let mut number = 0;
    for (heading, page) in [(FORCES, &forces), (PRACTICE, &practice)] {
        let _ = writeln!(text, "{heading}");
        if heading == FORCES {
            text.push_str(&only('A', &compared.found.bodies_only_a, &compared.found.only_a));
            text.push_str(&only('B', &compared.found.bodies_only_b, &compared.found.only_b));
        }
        if page.is_empty() {
            text.push_str("  No difference stands clear of noise.\n");
        }
        for row in page {
            number += 1;
            let difference = shown_difference(row.key.unit, row.difference);
            let doubtful = if is_doubtful(row, [compared.a, compared.b]) { "; doubtful, see above" } else { "" };
            let _ = writeln!(text, "{number:>3}  {}", sentence(row));
            let _ = writeln!(text, "     {difference}; effect {:+.1}; {}{doubtful}", row.effect.size, row.sample());
            let _ = writeln!(text, "     A: {}", see(compared.a, &row.a, 3));
            let _ = writeln!(text, "     B: {}", see(compared.b, &row.b, 3));
        }
        text.push('\n');
    }
    let scale = forces.iter().chain(&practice).next().map_or("", |row| row.effect.scale.name());
    if !scale.is_empty() {
        let _ = writeln!(text, "Effect: {scale} (docs/compare.md). About 0.2 is little, 0.8 much.");
    }
    text
}

/// Headings of the two parts of the first page.
pub const FORCES: &str = "Who is there, and how many";
pub const PRACTICE: &str = "What is done with them";

/// The first page in two: differences of forces, then those of practice.
pub fn first_page<'a>(compared: &Compared<'a>) -> (Vec<&'a Difference>, Vec<&'a Difference>) {
    let forces = compared.found.leading_of(compared.most.div_ceil(4), is_of_forces);
    let practice = compared.found.leading_of(compared.most - forces.len().min(compared.most), |key| !is_of_forces(key));
    (forces, practice)
}

/// What only one side has, a line.
pub fn only(letter: char, bodies: &[Whom], rows: &[Lone]) -> String {
    let sections = bodies.iter().filter(|whom| whom.kind == ripieno_study::Kind::Section).map(Whom::spoken);
    let instruments = bodies.iter().filter(|whom| whom.kind == ripieno_study::Kind::Instrument).filter(|whom| {
        !bodies.iter().any(|section| section.kind == ripieno_study::Kind::Section && section.name == whom.section)
    });
    let names: Vec<String> = sections.chain(instruments.map(Whom::spoken)).collect();
    match (names.is_empty(), rows.len()) {
        (true, 0) => String::new(),
        (true, rows) => format!("Only {letter} has {} (all in --csv).\n", counted(rows, "value")),
        (false, rows) => format!("Only {letter} has {}; {} in all (--csv).\n", names.join(", "), counted(rows, "value")),
    }
}

/// Every row, with all columns.
pub fn csv(compared: &Compared<'_>) -> Result<Vec<u8>, String> {
    let failed = |error: csv::Error| format!("the table cannot be written: {error}");
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "rank",
        "standing",
        "measure",
        "of_kind",
        "of",
        "family",
        "with_kind",
        "with",
        "aspect",
        "unit",
        "a",
        "b",
        "difference",
        "effect",
        "effect_scale",
        "standard_error",
        "a_works",
        "b_works",
        "a_scores",
        "b_scores",
        "a_median",
        "b_median",
        "a_spread",
        "b_spread",
        "a_least",
        "b_least",
        "a_most",
        "b_most",
        "sample",
        "a_evidence",
        "b_evidence",
    ])
    .map_err(failed)?;
    for (at, row) in compared.found.rows.iter().enumerate() {
        let sides = [Some((compared.a, &row.a)), Some((compared.b, &row.b))];
        let effect = [
            number(row.difference),
            number(row.effect.size),
            row.effect.scale.name().to_owned(),
            row.effect.error.map_or_else(String::new, number),
        ];
        let sample = row.sample();
        out.write_record(record((at + 1).to_string(), row.effect.standing.name(), &row.key, sides, effect, sample))
            .map_err(failed)?;
    }
    for row in &compared.found.only_a {
        let sides = [Some((compared.a, &row.side)), None];
        out.write_record(record(String::new(), "only A", &row.key, sides, Default::default(), String::new())).map_err(failed)?;
    }
    for row in &compared.found.only_b {
        let sides = [None, Some((compared.b, &row.side))];
        out.write_record(record(String::new(), "only B", &row.key, sides, Default::default(), String::new())).map_err(failed)?;
    }
    out.into_inner().map_err(|error| format!("the table cannot be written: {error}"))
}

fn number(value: f64) -> String {
    format!("{}", (value * 1e4).round() / 1e4 + 0.0)
}

fn record(
    rank: String,
    standing: &str,
    key: &Key,
    sides: [Option<(&Profile, &Side)>; 2],
    effect: [String; 4],
    sample: String,
) -> Vec<String> {
    let of =
        |value: fn(&Side) -> Option<f64>| sides.map(|side| side.and_then(|side| value(side.1)).map_or_else(String::new, number));
    let count =
        |count: fn(&Side) -> usize| sides.map(|side| side.map_or_else(|| "0".to_owned(), |side| count(side.1).to_string()));
    let evidence = sides.map(|side| side.map_or_else(String::new, |(profile, side)| all_evidence(profile, side)));
    let mut cells = vec![
        rank,
        standing.to_owned(),
        key.measure.clone(),
        key.of.kind.name().to_owned(),
        key.of.spoken(),
        key.of.family.clone(),
    ];
    cells.push(key.with.as_ref().map_or("", |with| with.kind.name()).to_owned());
    cells.push(key.with.as_ref().map_or_else(String::new, Whom::spoken));
    cells.extend([key.aspect.clone(), key.unit.name().to_owned()]);
    cells.extend(of(|side| Some(side.pooled.mean)));
    cells.extend(effect);
    cells.extend(count(|side| side.pooled.works()));
    cells.extend(count(|side| side.pooled.scores()));
    cells.extend(of(|side| Some(side.pooled.median)));
    cells.extend(of(|side| side.pooled.spread));
    cells.extend(of(|side| Some(side.pooled.least)));
    cells.extend(of(|side| Some(side.pooled.most)));
    cells.push(sample);
    cells.extend(evidence);
    cells
}

/// "file: 12–15, 20; file: 3", each score with its bars.
fn all_evidence(profile: &Profile, side: &Side) -> String {
    let of = |evidence: &ripieno_study::Evidence| {
        let bars = profile.cite(evidence.score, &evidence.bars);
        let bars = if bars.is_empty() { "nowhere".to_owned() } else { bars };
        if profile.scores.len() == 1 { bars } else { format!("{}: {bars}", profile.scores[evidence.score].file) }
    };
    side.evidence.iter().map(of).collect::<Vec<_>>().join("; ")
}

/// Whether a row goes on the page of all rows: what is the same on both sides tells nothing.
pub fn is_told(row: &Difference) -> bool {
    row.effect.standing != Standing::Same
}
