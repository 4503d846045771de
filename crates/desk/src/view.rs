//! A study as the page draws it.
//!
//! Positions are crotchets from the start of the score, each bar once in page order, as decimal numbers: they are only drawn.
//! Bars, parts and spans are numbered from 0 as in the study.

use ripieno_formats::{Finding, Reading};
use ripieno_instruments::printed;
use ripieno_score::{Crotchets, Score, Sounding, Unroll};
use ripieno_study::{BarSpans, Groups, Study};
use ripieno_texture::{Mode, RoleSpan};
use serde::Serialize;
use utoipa::ToSchema;

/// Keys less sure than this are shown as doubtful, as in the report.
const DOUBTFUL: f32 = 0.4;

/// A bar.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Bar {
    /// What a musician calls it.
    pub label: String,
    pub onset: f64,
    pub length: f64,
}

/// A part of the score.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Part {
    /// Its name as in the file, by which it is known to corrections and remarks.
    pub name: String,
    /// What it is called on the page: "Clarinet 1 in B♭".
    pub label: String,
    pub section: String,
    pub family: String,
    /// People who play from it, as far as the page tells: "2", "8-16".
    pub players: String,
}

/// Parts that belong together, in page order.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Group {
    pub name: String,
    pub family: String,
    pub parts: Vec<usize>,
}

/// Words over the score.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Mark {
    pub bar: u32,
    pub at: f64,
    pub text: String,
}

/// A role and how sure it is.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct HeldRole {
    pub role: String,
    pub confidence: f64,
}

/// One line of a part in one role over a stretch of bars.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Span {
    pub part: usize,
    /// The line within the piece.
    pub line: usize,
    /// Its place on its staff from above, from 1.
    pub voice: u16,
    pub staff: u8,
    /// First and last bar.
    pub first: u32,
    pub last: u32,
    pub from: f64,
    pub to: f64,
    /// The role shown, then others it has as well.
    pub roles: Vec<HeldRole>,
    /// The layer it belongs to in its first bar.
    pub layer: Option<usize>,
    /// What a person calls it.
    pub name: Option<String>,
    /// Whether a person has corrected it.
    pub by_hand: bool,
}

/// The melody with one carrier.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Carried {
    pub first: u32,
    pub last: u32,
    pub from: f64,
    pub to: f64,
    pub part: usize,
    /// Others that carry it in unison or octaves for at least half of its time.
    pub with: Vec<usize>,
    /// All who play it too in unison or octaves, each for its own bars, by part, then by time.
    pub support: Vec<Along>,
}

/// A part that plays the melody with its carrier.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Along {
    pub part: usize,
    /// First and last bar in which it does.
    pub first: u32,
    pub last: u32,
    pub from: f64,
    pub to: f64,
}

/// A theme stated.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Statement {
    pub theme: usize,
    pub first: u32,
    pub last: u32,
    pub from: f64,
    pub to: f64,
    pub part: usize,
    /// Who plays along.
    pub with: Vec<usize>,
    /// Semitones above the theme's reference.
    pub transposition: i32,
}

/// Something worth reading, with its bars.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Noted {
    /// "tutti", "widest gap"; empty for findings.
    pub kind: String,
    pub text: String,
    pub bars: Cited,
}

/// Bars as musicians cite them, and where they are.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Cited {
    /// "12–15, 20".
    pub text: String,
    /// First and last bar of each stretch.
    pub spans: Vec<[u32; 2]>,
}

impl Cited {
    pub(crate) fn of(spans: &BarSpans) -> Self {
        Self { text: spans.to_string(), spans: spans.spans.iter().map(|(span, ..)| [span.first, span.last]).collect() }
    }
}

/// What the reader noticed in the file.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Noticed {
    /// "note", "warning" or "error".
    pub severity: String,
    /// One sentence with its place.
    pub text: String,
}

/// A correction.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Correction {
    pub id: String,
    /// All of it in a sentence: "Horn 1.2 in F, bars 35 to 45: countermelody (by the composer)".
    pub told: String,
    pub what: String,
    pub parts: Vec<String>,
    /// "bars 35 to 45".
    pub span: String,
    pub comment: String,
}

/// One score as the page draws it; an outline while its roles are still being found.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct View {
    /// Number in the library; 0 in an outline of a score not kept yet.
    pub score: i64,
    /// Goes up with every change; spans are numbered anew then.
    pub revision: u64,
    /// Whether roles and all that rests on them are there.
    pub whole: bool,
    /// Whether it is a chart, which has no notes.
    pub chart: bool,
    pub title: String,
    pub composers: String,
    pub file: String,
    /// Crotchets in all.
    pub length: f64,
    pub bars: Vec<Bar>,
    pub parts: Vec<Part>,
    pub sections: Vec<Group>,
    pub families: Vec<Group>,
    pub tempi: Vec<Mark>,
    pub metres: Vec<Mark>,
    pub rehearsal: Vec<Mark>,
    pub keys: Vec<Mark>,
    pub spans: Vec<Span>,
    pub melody: Vec<Carried>,
    pub themes: Vec<Statement>,
    pub moments: Vec<Noted>,
    pub findings: Vec<Noted>,
    pub reader: Vec<Noticed>,
    pub corrections: Vec<Correction>,
    pub can_redo: bool,
    pub notes: Notes,
}

/// Sounding notes, a list for each column; ordered by onset.
#[derive(Debug, Clone, PartialEq, Default, Serialize, ToSchema)]
pub(crate) struct Notes {
    pub onset: Vec<f32>,
    pub duration: Vec<f32>,
    /// MIDI key; -1 for percussion without pitch.
    pub key: Vec<i16>,
    pub part: Vec<u16>,
    /// The span the note belongs to; -1 where there is none.
    pub span: Vec<i32>,
    /// The dynamic in force, ppp 1 to fff 8; 0 before the part's first mark.
    pub dynamic: Vec<u8>,
}

impl View {
    /// What can be shown as soon as the file is read.
    pub(crate) fn outline(file: &str, reading: &Reading, score_number: i64) -> Self {
        let score = &reading.score;
        let sounding = Sounding::new(score, Unroll::AsWritten);
        let groups = Groups::new(score);
        let title = score.about.title();
        let title = if title.trim().is_empty() { file.to_owned() } else { title };
        let label = |bar: u32| BarSpans::new(&[bar], score, &sounding).to_string();
        let mut view = bare(score, &sounding, &groups, title, file, label);
        view.score = score_number;
        view.reader = noticed(&reading.findings);
        view.notes = notes(&sounding, |_| -1);
        view
    }

    /// All of it.
    pub(crate) fn of(study: &Study, score: i64, revision: u64, corrections: Vec<Correction>, can_redo: bool) -> Self {
        let (score_data, sounding) = (&study.score, &study.sounding);
        let bare = bare(score_data, sounding, &study.groups, study.title(), &study.file, |bar| study.bar_label(bar));
        let start = |bar: u32| sounding.bars.get(bar as usize).map_or(0.0, |bar| bar.start.to_f64());
        let mark = |bar: u32, text: String| Mark { bar, at: start(bar), text };
        let tempi = study.tempo_marks().into_iter().filter(|mark| !mark.words.is_empty());
        let keys = study.harmony.keys.iter().map(|key| {
            let name = key.tonic.to_string().replace('b', "\u{266d}").replace('#', "\u{266f}");
            let name = if key.mode == Mode::Minor { name.to_lowercase() } else { name };
            let text = if key.confidence < DOUBTFUL { format!("({name})") } else { name };
            Mark { bar: study.bars_between(key.onset, key.end).start, at: key.onset.to_f64(), text }
        });
        let moments = study.moments.iter().map(|moment| Noted {
            kind: moment.kind.to_owned(),
            text: moment.reason.clone(),
            bars: Cited::of(&study.cite(&moment.bars.clone().collect::<Vec<u32>>())),
        });
        let findings = study.noteworthy.iter().map(|found| Noted {
            kind: String::new(),
            text: found.text.clone(),
            bars: Cited::of(&study.cite(&found.bars)),
        });
        let themes = study.themes.iter().flat_map(|theme| {
            theme.statements.iter().map(|statement| {
                let bars = study.bars_between(statement.onset, statement.end);
                Statement {
                    theme: theme.id,
                    first: bars.start,
                    last: bars.end.saturating_sub(1),
                    from: statement.onset.to_f64(),
                    to: statement.end.to_f64(),
                    part: statement.part,
                    with: statement.supporters.iter().map(|supporter| supporter.part).collect(),
                    transposition: statement.transposition,
                }
            })
        });
        let melody = study.roles.roles.melody.iter().map(|carried| Carried {
            first: carried.bars.start,
            last: carried.bars.end.saturating_sub(1),
            from: carried.from.to_f64(),
            to: carried.to.to_f64(),
            part: carried.part,
            with: carried.parts().into_iter().filter(|&part| part != carried.part).collect(),
            support: carried.support.iter().map(along).collect(),
        });
        Self {
            score,
            revision,
            whole: true,
            chart: study.is_chart(),
            tempi: tempi.map(|mark| Mark { bar: mark.bar, at: start(mark.bar) + mark.at.to_f64(), text: mark.words }).collect(),
            metres: study.metres().into_iter().map(|(bar, metre)| mark(bar, metre.to_string())).collect(),
            rehearsal: study.rehearsal_marks().into_iter().map(|(bar, text)| mark(bar, text)).collect(),
            keys: keys.collect(),
            spans: spans(study),
            melody: melody.collect(),
            themes: themes.collect(),
            moments: moments.collect(),
            findings: findings.collect(),
            reader: noticed(&study.findings),
            corrections,
            can_redo,
            notes: notes_of(study),
            ..bare
        }
    }
}

fn along(support: &ripieno_texture::Support) -> Along {
    let last = support.bars.end.saturating_sub(1);
    Along { part: support.part, first: support.bars.start, last, from: support.from.to_f64(), to: support.to.to_f64() }
}

fn noticed(findings: &[Finding]) -> Vec<Noticed> {
    findings.iter().map(|finding| Noticed { severity: finding.severity.to_string(), text: finding.to_string() }).collect()
}

/// Bars, parts and groups.
fn bare(score: &Score, sounding: &Sounding, groups: &Groups, title: String, file: &str, label: impl Fn(u32) -> String) -> View {
    let bar = |(number, bar): (u32, &ripieno_score::PlayedBar)| Bar {
        label: label(number),
        onset: bar.start.to_f64(),
        length: bar.length.to_f64(),
    };
    let part = |(index, part): (usize, &ripieno_score::Part)| {
        let name = part.name.trim();
        let name = if name.is_empty() { format!("Part {}", index + 1) } else { name.to_owned() };
        Part {
            label: printed(&name),
            name,
            section: groups.parts[index].section.name().to_owned(),
            family: groups.parts[index].family.name().to_owned(),
            players: part.players.to_string(),
        }
    };
    let group = |group: &ripieno_study::Group| Group {
        name: group.name.to_owned(),
        family: group.family.name().to_owned(),
        parts: group.parts.clone(),
    };
    let composers = score.about.creators.iter().filter(|(role, _)| role == "composer").map(|(_, name)| name.trim());
    View {
        score: 0,
        revision: 0,
        whole: false,
        chart: false,
        title,
        composers: composers.collect::<Vec<_>>().join("; "),
        file: file.to_owned(),
        length: sounding.length().to_f64(),
        bars: (0u32..).zip(&sounding.bars).map(bar).collect(),
        parts: score.parts.iter().enumerate().map(part).collect(),
        sections: groups.sections.iter().map(group).collect(),
        families: groups.families.iter().map(group).collect(),
        tempi: Vec::new(),
        metres: Vec::new(),
        rehearsal: Vec::new(),
        keys: Vec::new(),
        spans: Vec::new(),
        melody: Vec::new(),
        themes: Vec::new(),
        moments: Vec::new(),
        findings: Vec::new(),
        reader: Vec::new(),
        corrections: Vec::new(),
        can_redo: false,
        notes: Notes::default(),
    }
}

fn spans(study: &Study) -> Vec<Span> {
    let roles = &study.roles.roles;
    let of = |(span, said): (&RoleSpan, &ripieno_study::corrections::Said)| {
        let line = &study.lines.lines[span.line];
        Span {
            part: span.part,
            line: span.line,
            voice: line.place,
            staff: line.staff,
            first: span.bars.start,
            last: span.bars.end.saturating_sub(1),
            from: span.from.to_f64(),
            to: span.to.to_f64(),
            roles: span.roles.iter().map(held).collect(),
            layer: roles.layers.of(span.line, span.bars.start),
            name: said.name.clone(),
            by_hand: !said.corrections.is_empty(),
        }
    };
    roles.spans.iter().zip(&study.roles.said).map(of).collect()
}

pub(crate) fn held(held: &ripieno_texture::Held) -> HeldRole {
    HeldRole { role: held.role.name().to_owned(), confidence: rounded(held.confidence) }
}

/// To three places, enough to show.
pub(crate) fn rounded(share: f32) -> f64 {
    (f64::from(share) * 1000.0).round() / 1000.0
}

fn notes_of(study: &Study) -> Notes {
    let spans = study.spans_of_notes();
    notes(&study.sounding, |row| spans[row].and_then(|span| i32::try_from(span).ok()).unwrap_or(-1))
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // positions are only drawn; dynamics lie between 1 and 8
fn notes(sounding: &Sounding, span: impl Fn(usize) -> i32) -> Notes {
    let mut order: Vec<usize> = (0..sounding.notes.len()).collect();
    let onset = &sounding.notes.onset;
    order.sort_by_key(|&row| onset[row]);
    let short = |time: Crotchets| time.to_f64() as f32;
    Notes {
        onset: order.iter().map(|&row| short(onset[row])).collect(),
        duration: order.iter().map(|&row| short(sounding.notes.duration[row])).collect(),
        key: order.iter().map(|&row| sounding.notes.key[row].map_or(-1, |key| i16::from(key.number()))).collect(),
        part: order.iter().map(|&row| sounding.notes.part[row]).collect(),
        span: order.iter().map(|&row| span(row)).collect(),
        dynamic: order
            .iter()
            .map(|&row| sounding.notes.level[row].map_or(0, |level| level.0.round().clamp(1.0, 8.0) as u8))
            .collect(),
    }
}
