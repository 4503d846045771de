//! What a sketch says beside its notes: tempo for all, and the dynamics, hairpins and words of expression of each strand's leader.
//!
//! Words are told apart by how scores print them (common practice, Italian, German, French, English): what is about players or ways of
//! playing ("solo", "a 2", "pizz.") belongs to whoever had it and is left behind.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_score::{
    BarIndex, Crotchets, Direction, DirectionKind, DynamicLevel, DynamicMark, Mark, Part, PlayerMark, Score, Sounding, is_tempo,
};
use ripieno_texture::Lines;

use crate::notate::bar_of;

/// Beginnings of words about expression.
const EXPRESSION: [&str; 42] = [
    "agitat",
    "amabil",
    "appassion",
    "ardent",
    "ausdruck",
    "brillant",
    "cantab",
    "cantan",
    "chantant",
    "decis",
    "delicat",
    "dolc",
    "dolent",
    "doloros",
    "doux",
    "energic",
    "espr",
    "expressi",
    "feroce",
    "fuoco",
    "giocos",
    "grazi",
    "innig",
    "lamentos",
    "legg",
    "lontan",
    "marcat",
    "mesto",
    "mister",
    "morend",
    "passion",
    "perdend",
    "pesant",
    "risolut",
    "scherz",
    "semplic",
    "singend",
    "smorz",
    "sostenut",
    "teneram",
    "tranquil",
    "zart",
];
/// Beginnings of words that swell or fade, which only a player who sounds can do.
const SWELL: [&str; 3] = ["cresc", "decresc", "dimin"];

fn words(text: &str) -> impl Iterator<Item = String> {
    let lower = text.to_lowercase();
    let found: Vec<String> =
        lower.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty()).map(str::to_owned).collect();
    found.into_iter()
}

const fn is_number(direction: &Direction) -> bool {
    matches!(direction.kind, DirectionKind::Metronome { .. } | DirectionKind::PlaybackTempo { .. })
}

/// Whether words swell or fade: "cresc.".
pub(crate) fn is_swell(direction: &Direction) -> bool {
    let DirectionKind::Words(text) = &direction.kind else { return false };
    words(text).any(|word| word == "dim" || SWELL.iter().any(|stem| word.starts_with(stem)))
}

/// Whether a direction is words of expression ("dolce", "cresc."): about neither players nor ways of playing nor tempo.
pub(crate) fn is_expression(part: &Part, direction: &Direction) -> bool {
    let DirectionKind::Words(text) = &direction.kind else { return false };
    let phrase = ["sotto voce", "mezza voce", "con anima"].iter().any(|phrase| text.to_lowercase().contains(phrase));
    let says = || words(text).any(|word| EXPRESSION.iter().any(|stem| word.starts_with(stem)));
    (phrase || is_swell(direction) || says()) && PlayerMark::parse(text).is_none() && !is_tempo(part, direction)
}

/// What a score says to all: tempo with its words, and rehearsal marks. Each once, in the order of parts, on the first staff.
pub(crate) fn to_all(score: &Score) -> Vec<Direction> {
    let mut found: Vec<Direction> = Vec::new();
    let mut known = std::collections::BTreeSet::new();
    for part in &score.parts {
        for direction in &part.directions {
            let told = is_number(direction) || matches!(direction.kind, DirectionKind::Rehearsal(_)) || is_tempo(part, direction);
            if told && known.insert((direction.bar, direction.at, format!("{:?}", direction.kind))) {
                found.push(Direction { staff: 1, voice: None, ..direction.clone() });
            }
        }
    }
    found
}

/// The tempo in force at the first bar, with its words, and what is said to all in the bars, counted from the first of them.
pub(crate) fn course(score: &Score, bars: &Range<usize>) -> Vec<Direction> {
    let all = to_all(score);
    let moved = |direction: &Direction| Direction { bar: index(direction.bar.at() - bars.start), ..direction.clone() };
    let mut found: Vec<Direction> = all.iter().filter(|one| bars.contains(&one.bar.at())).map(moved).collect();
    if !found.iter().any(|one| one.bar.0 == 0 && is_number(one)) {
        let earlier = all.iter().filter(|one| one.bar.at() < bars.start);
        let last = earlier.clone().filter(|one| is_number(one)).map(|one| (one.bar, one.at)).max();
        let there = earlier.filter(|one| Some((one.bar, one.at)) == last && !matches!(one.kind, DirectionKind::Rehearsal(_)));
        found.extend(there.map(|one| Direction { bar: BarIndex(0), at: Crotchets::ZERO, ..one.clone() }));
    }
    found
}

fn index(bar: usize) -> BarIndex {
    BarIndex(u32::try_from(bar).unwrap_or(u32::MAX))
}

/// A stretch of bars that one line leads.
struct Led {
    line: usize,
    bars: Range<usize>,
}

/// The stretches; bars in which nobody begins anything belong to the one before.
fn stretches(leads: &[Option<usize>], first: usize) -> Vec<Led> {
    let mut found: Vec<Led> = Vec::new();
    for (at, lead) in leads.iter().enumerate() {
        let bar = first + at;
        match (lead, found.last_mut()) {
            (None, Some(last)) => last.bars.end = bar + 1,
            (Some(line), Some(last)) if last.line == *line => last.bars.end = bar + 1,
            (Some(line), _) => found.push(Led { line: *line, bars: bar..bar + 1 }),
            (None, None) => {}
        }
    }
    found
}

/// The printed dynamics of who leads a strand (`leads`: a line for each of `bars`), where they stand, and where a line takes over from another or has its mark
/// from before the level in force, and its hairpins; `worded`: its words of expression too. Bars are counted from the first.
pub(crate) fn expression(
    score: &Score,
    sounding: &Sounding,
    lines: &Lines,
    leads: &[Option<usize>],
    bars: &Range<usize>,
    worded: bool,
) -> Vec<Direction> {
    let mut found: Vec<Direction> = Vec::new();
    let mut last: Option<&'static str> = None;
    for Led { line, bars: led } in stretches(leads, bars.start) {
        let line = &lines.lines[line];
        let part = &score.parts[line.part];
        let rows = || {
            let rows = line.rows.iter().map(|&row| row as usize);
            rows.filter(|&row| led.contains(&(sounding.notes.bar[row] as usize)) && sounding.notes.duration[row].is_positive())
        };
        let (Some(first), Some(end)) = (rows().next(), rows().next_back()) else { continue };
        // A staff without marks of its own follows the part's first.
        let marks = |staff: u8| part.directions.iter().any(|one| one.staff == staff && is_dynamic(one));
        let staff = if marks(line.staff) { line.staff } else { 1 };
        let here = |at: Crotchets, kind: DirectionKind, above: Option<bool>| {
            let bar = bar_of(&score.bars, at);
            Direction { bar: index(bar), at: at - score.bars[bar].start, staff: 1, voice: None, above, kind }
        };
        let mut own: Vec<Direction> = Vec::new();
        let voice = part.notes[sounding.notes.written[first] as usize].voice;
        for direction in part.directions.iter().filter(|one| one.staff == staff && led.contains(&one.bar.at())) {
            if !(is_dynamic(direction) || worded && is_expression(part, direction)) {
                continue;
            }
            // Marks for two voices of a staff at one moment are each its own voice's.
            let same = |known: &Direction| {
                (known.bar, known.at) == (direction.bar, direction.at) && is_dynamic(known) && is_dynamic(direction)
            };
            match own.iter().position(same) {
                Some(at) if direction.voice == Some(voice) => own[at] = direction.clone(),
                Some(_) => {}
                None => own.push(direction.clone()),
            }
        }
        for row in rows() {
            for mark in part.marks_of(sounding.notes.written[row] as usize) {
                if let Mark::Dynamic(mark) = mark {
                    own.push(here(sounding.notes.onset[row], DirectionKind::Dynamic(mark.clone()), Some(false)));
                }
            }
        }
        let entry = sounding.notes.onset[first];
        let when = |one: &Direction| score.bars[one.bar.at()].start + one.at;
        let printed = own.iter().any(|one| when(one) <= entry && levels(one));
        let stressed = own.iter().any(|one| when(one) == entry && is_dynamic(one) && !levels(one));
        let mark = sounding.notes.level[first].map(|level| DynamicLevel(level.0 - f32::from(u8::from(stressed))).mark());
        if let Some(mark) = mark.filter(|mark| !printed && last != Some(*mark))
            && let Some(level) = DynamicLevel::from_mark(mark)
        {
            own.push(here(entry, DirectionKind::Dynamic(DynamicMark::Level(level)), Some(false)));
        }
        last = sounding.notes.level[end].map(DynamicLevel::mark);
        let span = (entry, score.bars[led.end - 1].start + score.bars[led.end - 1].length);
        own.extend(hairpins(score, part, staff, span, &|at, kind| {
            // It closes at the end of a bar, not at the beginning of the next.
            let begun = matches!(kind, DirectionKind::HairpinStart { .. });
            let bar = score.bars.partition_point(|bar| bar.start < at || begun && bar.start == at).saturating_sub(1);
            Direction { bar: index(bar), at: at - score.bars[bar].start, ..here(at, kind, Some(false)) }
        }));
        found.extend(own.into_iter().map(|one| Direction {
            bar: index(one.bar.at() - bars.start),
            staff: 1,
            voice: None,
            ..one
        }));
    }
    found.sort_by_key(|one| (one.bar, one.at));
    found
}

/// The hairpins of a staff within a span; those that reach out of it are cut there.
fn hairpins(
    score: &Score,
    part: &Part,
    staff: u8,
    span: (Crotchets, Crotchets),
    place: &dyn Fn(Crotchets, DirectionKind) -> Direction,
) -> Vec<Direction> {
    let mut found = Vec::new();
    let mut open: BTreeMap<u8, (Crotchets, &DirectionKind)> = BTreeMap::new();
    for direction in part.directions.iter().filter(|one| one.staff == staff && one.bar.at() < score.bars.len()) {
        let at = score.bars[direction.bar.at()].start + direction.at;
        match &direction.kind {
            DirectionKind::HairpinStart { number, .. } => {
                open.insert(*number, (at, &direction.kind));
            }
            DirectionKind::HairpinStop { number, .. } => {
                let Some((begin, kind)) = open.remove(number) else { continue };
                let (begin, end) = (begin.max(span.0), at.min(span.1));
                if begin < end {
                    found.extend([place(begin, kind.clone()), place(end, direction.kind.clone())]);
                }
            }
            _ => {}
        }
    }
    found
}

const fn is_dynamic(direction: &Direction) -> bool {
    matches!(direction.kind, DirectionKind::Dynamic(_))
}

/// Whether a level stays in force from there.
const fn levels(direction: &Direction) -> bool {
    matches!(direction.kind, DirectionKind::Dynamic(DynamicMark::Level(_) | DynamicMark::AttackThen(..)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words as scores print them; common practice.
    #[test]
    fn words_of_expression_are_told_from_tempo_players_and_ways_of_playing() {
        let part = Part::default();
        let say = |text: &str| Direction {
            bar: BarIndex(0),
            at: Crotchets::ZERO,
            staff: 1,
            voice: None,
            above: None,
            kind: DirectionKind::Words(text.into()),
        };
        for text in ["espressivo", "dolce", "p cantabile", "cresc.", "poco dim.", "sotto voce", "con passione", "zart"] {
            assert!(is_expression(&part, &say(text)), "{text}");
        }
        for text in ["solo", "a 2", "1.", "pizz.", "con sord.", "div.", "Andante cantabile", "rit.", "English horn"] {
            assert!(!is_expression(&part, &say(text)), "{text}");
        }
        for text in ["Andante cantabile", "rit.", "Tempo I", "Più mosso"] {
            assert!(is_tempo(&part, &say(text)), "{text}");
        }
        // A heading that no list knows stands beside its number.
        let number = DirectionKind::PlaybackTempo { crotchets_per_minute: 60.0 };
        let headed = Part { directions: vec![say("Barcarole"), Direction { kind: number, ..say("") }], ..Part::default() };
        assert!(is_tempo(&headed, &say("Barcarole")) && !is_tempo(&part, &say("Barcarole")));
        assert!(!is_tempo(&headed, &say("Solo")) && !is_tempo(&headed, &say("arco")));
    }
}
