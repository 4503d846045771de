//! A draft as the page shows it.

use ripieno_casting::{Cast, Criterion, Lineup, Plan, Sketch, Unit, units};
use ripieno_deliver::players_name;
use ripieno_score::MidiKey;
use ripieno_texture::Role;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::lineup::LineupRows;
use super::locks::LockShown;
use super::plan::{PhraseRow, TaskRow};
use crate::jobs::JobState;

/// A draft among others.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, ToSchema)]
pub(crate) struct DraftCard {
    pub draft: i64,
    pub title: String,
    pub from: String,
    pub lineup: String,
    pub players: u32,
    pub proposals: usize,
    /// Why it cannot be read; empty where it can.
    pub trouble: String,
}

/// A staff of the sketch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct StaffShown {
    pub name: String,
    /// melody, answer, chords, bass, figure, rhythm, pedal, hits or effect; empty where the staff is left out.
    pub role: String,
    pub notes: usize,
}

/// A strand of the sketch: what can be given to a group.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct StrandShown {
    pub name: String,
    /// Its role as all pictures call it.
    pub role: String,
    pub is_chordal: bool,
    /// Bars in which it has notes, from 0.
    pub bars: Vec<u32>,
}

/// A row of the map: players who act as one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct GroupShown {
    /// "Trumpet 1 in Bb".
    pub label: String,
    pub section: String,
    /// Numbers of its players, from 1.
    pub players: Vec<u8>,
    /// Players of the whole section.
    pub of: u8,
    pub family: String,
    /// Lowest and highest note at ease.
    pub reach: String,
}

/// A number about a proposal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub(crate) struct CriterionShown {
    pub name: String,
    pub value: f64,
    pub unit: String,
    pub more_is_better: bool,
}

/// What a group does in a proposal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub(crate) struct CellShown {
    pub task: TaskRow,
    /// Its role as all pictures call it; "tacet" for silence.
    pub role: String,
    /// Lowest and highest note it has: "F3–D5"; empty where it has none.
    pub band: String,
}

/// A phrase of a proposal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub(crate) struct PhraseShown {
    pub first: u32,
    pub last: u32,
    pub cells: Vec<CellShown>,
}

/// What casting estimates of some bars.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub(crate) struct EstimateShown {
    /// First bar, from 0.
    pub first: u32,
    /// "85–88".
    pub bars: String,
    pub what: String,
    pub remedy: String,
}

/// A proposal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub(crate) struct ProposalShown {
    /// From 1.
    pub number: usize,
    /// The number under which it is looked at, engraved and heard like any score.
    pub score: i64,
    pub phrases: Vec<PhraseShown>,
    pub criteria: Vec<CriterionShown>,
    /// How far its voicings may be from the cheapest, as a share.
    pub gap: f64,
    /// Whether every voicing was weighed.
    pub is_exact: bool,
    /// Why the search stopped.
    pub reason: String,
    pub remarks: Vec<String>,
    /// What casting estimates and nobody objects to, with its remedy: it stands on the proof list too.
    #[serde(default)]
    #[schema(required = true)]
    pub estimated: Vec<EstimateShown>,
    /// Seconds casting took.
    pub seconds: f64,
    /// Goes up with every change of its notes.
    #[serde(default)]
    #[schema(required = true)]
    pub revision: u64,
    /// Phrases of the plan changed since it was made, from 0.
    #[serde(default)]
    #[schema(required = true)]
    pub changed: Vec<usize>,
    /// Whether line-up, sketch or phrases have changed since: it has to be made anew as a whole.
    #[serde(default)]
    #[schema(required = true)]
    pub is_old: bool,
    /// The score of the library, or the saved profile, as in which what was open was filled in.
    pub like: Option<i64>,
    #[serde(default)]
    pub like_profile: Option<i64>,
    /// Written notes of its score that a person has set: part and note, from 0.
    #[serde(default)]
    #[schema(required = true)]
    pub set: Vec<[u32; 2]>,
    /// Sections it is made of, in score order.
    #[serde(default)]
    #[schema(required = true)]
    pub sections: Vec<String>,
}

/// A draft.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct DraftShown {
    pub draft: i64,
    pub title: String,
    pub from: String,
    /// The score the sketch was taken from.
    pub source: Option<i64>,
    /// Whether the bars it was taken from are known, and can be put on the shelf by themselves.
    pub has_passage: bool,
    /// The number under which the sketch is engraved and heard.
    pub sketch: i64,
    pub staves: Vec<StaffShown>,
    pub strands: Vec<StrandShown>,
    /// What each bar is called.
    pub bars: Vec<String>,
    pub lineup: LineupRows,
    /// Whether the score the sketch comes from has a line-up of its own to choose.
    pub has_own_lineup: bool,
    /// Sections whose players stand in rows of their own.
    pub split: Vec<String>,
    /// Rows of the map.
    pub groups: Vec<GroupShown>,
    pub people: u32,
    pub plan: Vec<PhraseRow>,
    /// Single notes a person has set.
    pub locks: Vec<LockShown>,
    /// Whether roles were found and the file reduced to them, while its own staves can be given roles by hand; and whether they are.
    pub has_own_staves: bool,
    pub uses_own_staves: bool,
    pub can_undo: bool,
    pub can_redo: bool,
    pub proposals: Vec<ProposalShown>,
    /// What is being done.
    pub job: Option<JobState>,
    pub remarks: Vec<String>,
    /// What the latest change did besides.
    pub said: String,
}

/// The word of the sketch for a role.
pub(crate) const fn role_word(role: Role) -> &'static str {
    match role {
        Role::Melody => "melody",
        Role::Countermelody => "answer",
        Role::Harmony => "chords",
        Role::Bass => "bass",
        Role::Figuration => "figure",
        Role::Rhythm => "rhythm",
        Role::Pedal => "pedal",
        Role::Punctuation => "hits",
        Role::Effect => "effect",
        _ => "",
    }
}

fn note_name(key: i32) -> String {
    MidiKey::try_from(key).map_or_else(|_| key.to_string(), |key| key.pitch().to_string())
}

/// The groups of the map: what casting decides about, and single players of sections that were split.
pub(crate) fn groups_of(lineup: &Lineup, split: &[String]) -> Vec<Unit> {
    let mut all = Vec::new();
    for unit in units(lineup) {
        let section = &lineup.sections[unit.section];
        if split.contains(&section.name) && !section.is_body {
            all.extend(unit.chairs.iter().map(|&chair| Unit { section: unit.section, chairs: vec![chair] }));
        } else {
            all.push(unit);
        }
    }
    all
}

pub(crate) fn group_shown(lineup: &Lineup, unit: &Unit) -> GroupShown {
    let section = &lineup.sections[unit.section];
    let number = |chair: &usize| u8::try_from(chair + 1).unwrap_or(u8::MAX);
    let players: Vec<u8> = unit.chairs.iter().map(number).collect();
    let first = unit.chairs.first().and_then(|&chair| section.chairs.get(chair));
    let name = match first {
        Some(chair) if section.chairs.first().is_some_and(|head| head.instrument.id != chair.instrument.id) => {
            let mut letters = chair.instrument.name().chars();
            letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
        }
        _ => section.name.clone(),
    };
    let is_whole = players.len() == section.chairs.len();
    GroupShown {
        label: if is_whole || name != section.name {
            name
        } else {
            let numbers: Vec<u16> = players.iter().map(|&player| u16::from(player)).collect();
            players_name(&name, first.map_or("", |chair| &chair.instrument.id), &numbers)
        },
        section: section.name.clone(),
        of: u8::try_from(section.chairs.len()).unwrap_or(u8::MAX),
        family: first.map_or_else(String::new, |chair| chair.instrument.family.name().to_owned()),
        reach: first.map_or_else(String::new, |chair| {
            let reach = chair.reach.comfortable;
            format!("{}–{}", note_name(i32::from(reach.low())), note_name(i32::from(reach.high())))
        }),
        players,
    }
}

pub(crate) fn staves_of(sketch: &Sketch) -> Vec<StaffShown> {
    let of = |(part, staff): (usize, &ripieno_score::Part)| {
        let mine = sketch.strands.iter().filter(|strand| strand.part == part);
        StaffShown {
            name: staff.name.trim().to_owned(),
            role: mine.clone().next().map_or("", |strand| role_word(strand.role)).to_owned(),
            notes: if mine.clone().next().is_some() { mine.map(|strand| strand.notes.len()).sum() } else { staff.notes.len() },
        }
    };
    sketch.score.parts.iter().enumerate().map(of).collect()
}

pub(crate) fn strands_of(sketch: &Sketch) -> Vec<StrandShown> {
    let bars = sketch.score.bars.len();
    let of = |strand: &ripieno_casting::Strand| {
        let sounds = |&bar: &usize| {
            let (from, to) = Plan::span(sketch, &(bar..bar + 1));
            strand.sounding_in((from, to)).next().is_some()
        };
        StrandShown {
            name: strand.name.clone(),
            role: strand.role.to_string(),
            is_chordal: strand.is_chordal(),
            bars: (0..bars).filter(sounds).map(|bar| u32::try_from(bar).unwrap_or(u32::MAX)).collect(),
        }
    };
    sketch.strands.iter().map(of).collect()
}

/// A cast as the page shows it.
pub(crate) fn proposal_of(
    number: usize,
    score: i64,
    cast: &Cast,
    sketch: &Sketch,
    lineup: &Lineup,
    seconds: f64,
) -> ProposalShown {
    let bar = |bar: usize| u32::try_from(bar).unwrap_or(u32::MAX);
    let phrase = |(planned, done): (&ripieno_casting::PhrasePlan, &ripieno_casting::PhraseCast)| {
        let cell = |task: &ripieno_casting::Task| {
            let own = task.chairs.iter().filter_map(|&chair| done.notes.get(&(task.section, chair)));
            let keys = || own.clone().flatten().map(ripieno_casting::CastNote::key);
            let band = keys()
                .min()
                .zip(keys().max())
                .map(|(low, high)| if low == high { note_name(low) } else { format!("{}–{}", note_name(low), note_name(high)) });
            let role = task.strand.map_or(Role::Tacet, |strand| sketch.strands[strand].role);
            CellShown { task: TaskRow::of(task, sketch, lineup), role: role.to_string(), band: band.unwrap_or_default() }
        };
        PhraseShown {
            first: bar(planned.bars.start),
            last: bar(planned.bars.end.saturating_sub(1)),
            cells: planned.tasks.iter().map(cell).collect(),
        }
    };
    let criterion = |criterion: &Criterion| CriterionShown {
        name: criterion.name.to_owned(),
        value: (criterion.value * 1e4).round() / 1e4,
        unit: criterion.unit.to_owned(),
        more_is_better: criterion.more_is_better,
    };
    let estimate = |one: &ripieno_casting::Covered| EstimateShown {
        first: bar(one.bars.start),
        bars: one.named(sketch),
        what: one.what(),
        remedy: one.remedy().to_owned(),
    };
    ProposalShown {
        number,
        score,
        phrases: cast.plan.phrases.iter().zip(&cast.phrases).map(phrase).collect(),
        criteria: cast.criteria.all.iter().map(criterion).collect(),
        gap: (cast.optimality.gap() * 1e4).round() / 1e4,
        is_exact: cast.optimality.exact,
        reason: cast.optimality.reason(),
        remarks: cast.remarks.clone(),
        estimated: cast.covered.iter().map(estimate).collect(),
        seconds: (seconds * 1e3).round() / 1e3,
        revision: 0,
        changed: Vec::new(),
        is_old: false,
        like: None,
        like_profile: None,
        set: Vec::new(),
        sections: lineup.sections.iter().map(|section| section.name.clone()).collect(),
    }
}
