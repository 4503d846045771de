//! What is told beside the notes: who is needed, and what is unresolved.

use std::collections::BTreeSet;
use std::fmt::Write;

use ripieno_instruments::{Family, catalogue};
use ripieno_players::{Group, Objection, Severity, grouped, who};
use ripieno_score::{BarIndex, ChangeKind, DirectionKind, Mark, Part, Score, Sounding};

use crate::books::Book;
use crate::instrumentation::instrumentation;
use crate::setting::Setting;
use crate::stands::{StandInstrument, stands};

/// Something a copyist, a conductor or the composer has to settle before the parts go out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unresolved {
    /// Whose part; empty where it concerns the score.
    pub part: String,
    /// Printed bars: "12", "12–15, 20".
    pub bars: String,
    /// What is the matter, without a full stop.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl Unresolved {
    /// A point about the score rather than one part.
    #[must_use]
    pub fn of_all(bars: impl Into<String>, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { part: String::new(), bars: bars.into(), what: what.into(), remedy: remedy.into() }
    }
}

/// What taking the score apart and setting it has left open.
#[must_use]
pub fn unresolved(score: &Score, books: &[Book], settings: &[Option<Setting>]) -> Vec<Unresolved> {
    let mut list = Vec::new();
    let mut told: BTreeSet<usize> = BTreeSet::new();
    for (place, book) in books.iter().enumerate() {
        if !book.unsettled.is_empty() && told.insert(book.part) {
            list.push(Unresolved {
                part: score.parts[book.part].name.clone(),
                bars: cited(score, &book.unsettled),
                what: "several players share the staff and the page does not say who plays".to_owned(),
                remedy: "write \"1.\", \"2.\" or \"a 2\"; until then every one of them has the notes".to_owned(),
            });
        }
        if let Some(Some(setting)) = settings.get(place) {
            for turn in setting.turns.iter().filter(|turn| turn.is_hurried()) {
                list.push(Unresolved {
                    part: book.name.clone(),
                    bars: score.bars.get(turn.after.at()).map_or_else(String::new, |bar| bar.number.to_string()),
                    what: format!("page {} is turned with {:.1} seconds of rest", turn.page, turn.rest),
                    remedy: "leave a page empty, fold a page out, or let a desk partner turn".to_owned(),
                });
            }
        }
        let own = book.score.parts.first();
        if own.is_some_and(|part| part.notes.iter().any(|note| note.plays())) && first_dynamic_is_missing(own) {
            list.push(Unresolved {
                part: book.name.clone(),
                bars: own
                    .and_then(|part| part.notes.iter().find(|note| note.plays()))
                    .and_then(|note| score.bars.get(note.bar.at()))
                    .map_or_else(String::new, |bar| bar.number.to_string()),
                what: "the first entry has no dynamic".to_owned(),
                remedy: "give it one".to_owned(),
            });
        }
    }
    list
}

/// What players object to, but for mere remarks, as points to settle.
#[must_use]
pub fn objected(score: &Score, mut found: Vec<Objection>) -> Vec<Unresolved> {
    found.retain(|one| one.severity <= Severity::Caution);
    let told = |group: &Group| Unresolved {
        part: who(score, &group.first),
        bars: group.bars_text(score),
        what: format!("{} ({}): {}", group.first.kind, group.first.severity, group.first.reason),
        remedy: group.first.remedy.clone(),
    };
    grouped(&found).iter().map(told).collect()
}

fn first_dynamic_is_missing(part: Option<&Part>) -> bool {
    let Some(part) = part else { return false };
    let Some(first) = part.notes.iter().find(|note| note.plays()) else { return false };
    let by_sign = part.directions.iter().any(|sign| matches!(sign.kind, DirectionKind::Dynamic(_)) && sign.bar <= first.bar);
    let by_mark = part.marks.iter().any(|(note, mark)| {
        matches!(mark, Mark::Dynamic(_)) && part.notes.get(*note as usize).is_some_and(|note| note.bar <= first.bar)
    });
    !by_sign && !by_mark
}

/// Bars as musicians cite them: "12–15, 20".
#[must_use]
pub fn cited(score: &Score, bars: &[BarIndex]) -> String {
    let label = |bar: u32| match score.bars.get(bar as usize).map(|bar| &*bar.number) {
        None | Some("") => (bar + 1).to_string(),
        Some(number) => number.to_owned(),
    };
    let mut spans: Vec<(u32, u32)> = Vec::new();
    for bar in bars {
        match spans.last_mut() {
            Some((_, last)) if *last + 1 == bar.0 => *last = bar.0,
            _ => spans.push((bar.0, bar.0)),
        }
    }
    let texts: Vec<String> = spans
        .into_iter()
        .map(|(from, to)| if from == to { label(from) } else { format!("{}\u{2013}{}", label(from), label(to)) })
        .collect();
    texts.join(", ")
}

/// Bars with their word: "bar 12", "bars 12–15, 20".
fn bars_cited(score: &Score, bars: &[BarIndex]) -> String {
    format!("bar{} {}", if bars.len() == 1 { "" } else { "s" }, cited(score, bars))
}

/// How long the score lasts, in minutes and seconds: "4:35".
pub(crate) fn duration(sounding: &Sounding) -> String {
    let end = sounding.bars.last().map_or(0.0, |bar| sounding.tempo.seconds(bar.start + bar.length)).round();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some hours at most
    let seconds = end.clamp(0.0, 1e6) as u64;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// The list that lies on top of the parts: title, duration, who is needed with what; `sounding` is the score with its repeats. Plain text.
#[must_use]
pub fn cover(score: &Score, sounding: &Sounding, books: &[Book]) -> String {
    let mut text = String::new();
    let title = score.about.title();
    let _ = writeln!(text, "{}", if title.is_empty() { "Untitled" } else { &title });
    for (role, name) in &score.about.creators {
        let _ = writeln!(text, "{role}: {name}");
    }
    let assumed = if sounding.tempo.assumed { ", at a tempo assumed because the score gives none" } else { "" };
    let _ = writeln!(text, "Duration: {} with repeats, by the tempo marks{assumed}", duration(sounding));
    let _ = writeln!(text, "Bars: {}", score.bars.len());
    let formula = instrumentation(score, sounding);
    if !formula.is_empty() {
        let _ = writeln!(text, "Instrumentation: {formula}");
    }
    let _ = writeln!(text, "\nInstruments, in score order:");
    for part in &score.parts {
        let players = if part.is_body { "section".to_owned() } else { part.players.to_string() };
        let _ = write!(text, "  {} ({players})", part.name);
        let others = changes(part);
        if !others.is_empty() {
            let _ = write!(text, ", also {}", others.join(", "));
        }
        let mutes = mutes(part);
        if !mutes.is_empty() {
            let _ = write!(text, "; asks for {}", mutes.join(", "));
        }
        text.push('\n');
    }
    let drums: BTreeSet<&str> = score
        .parts
        .iter()
        .filter(|part| catalogue().by_id(&part.instrument_id).is_some_and(|one| one.family == Family::Percussion))
        .flat_map(|part| {
            // A stand is called after its instruments: they are listed once, by their own names.
            let own: Vec<&str> =
                part.instruments.iter().map(|instrument| instrument.name.as_str()).filter(|name| !name.is_empty()).collect();
            if own.is_empty() { vec![part.name.as_str()] } else { own }
        })
        .filter(|name| !name.is_empty())
        .collect();
    if !drums.is_empty() {
        let _ = writeln!(text, "\nPercussion: {}", drums.into_iter().collect::<Vec<_>>().join(", "));
    }
    let shared = stands(score, sounding);
    if !shared.is_empty() {
        let _ = writeln!(text, "\nPercussionists, as few as are needed with time to walk from one instrument to another:");
        for (number, stand) in (1..).zip(&shared) {
            let own = |one: &StandInstrument| format!("{} ({})", one.name, bars_cited(score, &one.bars));
            let _ = writeln!(text, "  {number}: {}", stand.instruments.iter().map(own).collect::<Vec<_>>().join("; "));
        }
    }
    let _ = writeln!(text, "\nParts:");
    for book in books {
        let _ = writeln!(text, "  {}", book.name);
    }
    text
}

/// Instruments the players of a part change to.
fn changes(part: &Part) -> Vec<String> {
    let used: BTreeSet<u8> = part
        .changes
        .iter()
        .filter_map(|change| if let ChangeKind::Instrument(index) = change.kind { Some(index) } else { None })
        .collect();
    let mut names: Vec<String> = Vec::new();
    for index in used {
        if let Some(instrument) = part.instruments.get(usize::from(index)).filter(|one| index > 0 && !one.name.is_empty())
            && !names.contains(&instrument.name)
        {
            names.push(instrument.name.clone());
        }
    }
    names
}

/// Mutes the words of a part ask for, as they ask.
fn mutes(part: &Part) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for direction in &part.directions {
        let DirectionKind::Words(words) = &direction.kind else { continue };
        let lower = words.to_lowercase();
        let asks =
            ["con sord", "mute", "dämpfer", "sourdine", "harmon", "plunger", "cup "].iter().any(|word| lower.contains(word));
        let takes_off = ["senza", "ohne", "sans", "ab", "weg", "open", "off"]
            .iter()
            .any(|word| lower.split_whitespace().any(|one| one == *word));
        if asks && !takes_off && !found.iter().any(|known| known.to_lowercase() == lower) {
            found.push(words.trim().to_owned());
        }
    }
    found.truncate(4);
    found
}
