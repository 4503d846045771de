//! The plan as the page edits it: phrases with a row for each task, by the names of the line-up and of the sketch.

use ripieno_casting::{Arrangement, Doubling, Lineup, PhrasePlan, Plan, Sketch, Task, Thickening};
use ripieno_instruments::Family;
use ripieno_score::DynamicLevel;
use ripieno_texture::Role;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::failure::{Failure, Outcome};

/// Phrases of a plan, and tasks of a phrase.
const MOST_PHRASES: usize = 400;
const MOST_TASKS: usize = 200;

/// The word for a group that rests.
pub(crate) const SILENCE: &str = "silence";

/// A phrase of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub(crate) struct PhraseRow {
    /// First bar of the sketch, from 0.
    pub first: u32,
    /// Last bar, from 0.
    pub last: u32,
    /// How sections with chords lie to each other: free, layered, interlocked or enclosed; empty for free.
    #[serde(default)]
    #[schema(required = true)]
    pub arrangement: String,
    /// Whether casting fills in whom no task names; they rest without.
    #[serde(default = "filled_in")]
    #[schema(required = true)]
    pub fill: bool,
    /// What groups do.
    #[serde(default)]
    #[schema(required = true)]
    pub tasks: Vec<TaskRow>,
}

/// What a page or an older draft does not say is left to casting.
const fn filled_in() -> bool {
    true
}

/// What a group does in a phrase.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub(crate) struct TaskRow {
    /// Name of the section.
    pub section: String,
    /// Numbers of its players, from 1.
    pub players: Vec<u8>,
    /// A strand of the sketch by its name, or "silence".
    pub role: String,
    /// Octaves by which a line is moved; casting chooses without it.
    pub octave: Option<i32>,
    /// At which octave most of a line sounds, where that is another; told by casting.
    #[serde(default)]
    pub sounds: Option<i32>,
    /// Lowest and highest key chords lie between.
    pub register: Option<[u8; 2]>,
    /// unison or octaves; empty for unison.
    #[serde(default)]
    #[schema(required = true)]
    pub doubling: String,
    /// diatonic, chord-tones or triads; empty for none.
    #[serde(default)]
    #[schema(required = true)]
    pub thickening: String,
    /// Different notes of a group in chords.
    pub density: Option<u8>,
    /// close or open; empty for either.
    #[serde(default)]
    #[schema(required = true)]
    pub position: String,
    /// A mark such as mf; empty for the sketch's.
    #[serde(default)]
    #[schema(required = true)]
    pub dynamic: String,
    /// With mutes.
    #[serde(default)]
    #[schema(required = true)]
    pub muted: bool,
    /// The instrument its players take up, by its name; empty for their usual one.
    #[serde(default)]
    #[schema(required = true)]
    pub instrument: String,
    /// As casting has filled it in: it may share out a quick figure and fill rests. What a person sets is played as it stands.
    #[serde(default)]
    pub by_casting: bool,
    /// Why, in words.
    #[serde(default)]
    #[schema(required = true)]
    pub why: String,
}

/// One of a few words; empty for the first.
fn word<T: Copy>(text: &str, what: &str, of: &[(&str, T)]) -> Outcome<T> {
    let found = if text.is_empty() { of.first() } else { of.iter().find(|(word, _)| *word == text) };
    found.map(|(_, value)| *value).ok_or_else(|| {
        let words: Vec<&str> = of.iter().map(|(word, _)| *word).collect();
        Failure::refused(format!("“{text}” is no {what}; there are {}", words.join(", ")))
    })
}

const ARRANGEMENTS: [(&str, Arrangement); 4] = [
    ("free", Arrangement::Free),
    ("layered", Arrangement::Layered),
    ("interlocked", Arrangement::Interlocked),
    ("enclosed", Arrangement::Enclosed),
];
const DOUBLINGS: [(&str, Doubling); 2] = [("unison", Doubling::Unison), ("octaves", Doubling::Octaves)];
const THICKENINGS: [(&str, Thickening); 4] = [
    ("none", Thickening::None),
    ("diatonic", Thickening::Diatonic),
    ("chord-tones", Thickening::ChordTones),
    ("triads", Thickening::Triads),
];
const POSITIONS: [(&str, f64); 3] = [("free", 0.0), ("close", 1.0), ("open", -1.0)];

/// The word for a value; empty for the first, which is the usual one.
fn said<T: PartialEq>(value: &T, of: &[(&str, T)]) -> String {
    let found = of.iter().skip(1).find(|(_, known)| known == value);
    found.map_or_else(String::new, |(word, _)| (*word).to_owned())
}

/// The plan that rows say.
///
/// # Errors
/// One sentence: bars, sections, players or strands that are not there, somebody with two tasks.
pub(crate) fn plan_of(rows: &[PhraseRow], sketch: &Sketch, lineup: &Lineup) -> Outcome<Plan> {
    if rows.len() > MOST_PHRASES || rows.iter().any(|row| row.tasks.len() > MOST_TASKS) {
        return Err(Failure::refused(format!("a plan has at most {MOST_PHRASES} phrases, a phrase at most {MOST_TASKS} tasks")));
    }
    let bars = sketch.score.bars.len();
    let mut phrases: Vec<PhrasePlan> = Vec::new();
    for row in rows {
        let (first, last) = (row.first as usize, row.last as usize);
        if first > last || last >= bars || phrases.last().is_some_and(|before| first < before.bars.end) {
            return Err(Failure::refused(format!("phrases follow each other within the sketch's {bars} bars")));
        }
        let arrangement = word(&row.arrangement, "arrangement", &ARRANGEMENTS)?;
        let mut phrase = PhrasePlan { bars: first..last + 1, arrangement, fill: row.fill, ..PhrasePlan::default() };
        for task in &row.tasks {
            let task = task.task(sketch, lineup)?;
            let taken =
                |other: &Task| other.section == task.section && other.chairs.iter().any(|chair| task.chairs.contains(chair));
            if phrase.tasks.iter().any(taken) {
                let name = &lineup.sections[task.section].name;
                return Err(Failure::refused(format!("somebody of “{name}” has two tasks in one phrase")));
            }
            phrase.tasks.push(task);
        }
        phrases.push(phrase);
    }
    Ok(Plan { phrases })
}

/// A reason as it is kept: one line, so that a plan as text stays a line for each thing.
fn one_line(why: &str) -> String {
    why.chars().map(|c| if c.is_control() { ' ' } else { c }).take(400).collect()
}

impl TaskRow {
    fn task(&self, sketch: &Sketch, lineup: &Lineup) -> Outcome<Task> {
        let at = lineup.sections.iter().position(|section| section.name == self.section);
        let at = at.ok_or_else(|| Failure::refused(format!("the line-up has no section “{}”", self.section)))?;
        let seats = lineup.sections[at].chairs.len();
        let mut chairs = Vec::new();
        for &player in &self.players {
            let chair = usize::from(player).checked_sub(1).filter(|&chair| chair < seats);
            let missing = || Failure::refused(format!("“{}” has no player {player}: its players are 1 to {seats}", self.section));
            chairs.push(chair.ok_or_else(missing)?);
        }
        chairs.sort_unstable();
        chairs.dedup();
        if chairs.is_empty() {
            return Err(Failure::refused(format!("a task of “{}” names no player", self.section)));
        }
        let strand = if self.role == SILENCE {
            None
        } else {
            let found = sketch.strands.iter().position(|strand| strand.name == self.role);
            Some(found.ok_or_else(|| Failure::refused(format!("the sketch has no “{}”", self.role)))?)
        };
        if [self.octave, self.sounds].into_iter().flatten().any(|octave| !(-4..=4).contains(&octave)) {
            return Err(Failure::refused("a line is moved by up to four octaves"));
        }
        if self.density.is_some_and(|density| !(1..=12).contains(&density)) {
            return Err(Failure::refused("a group has 1 to 12 different notes"));
        }
        if self.register.is_some_and(|[low, high]| low >= high || high > 127) {
            return Err(Failure::refused("a register goes from a lower to a higher key, 127 at most"));
        }
        let level = |mark: &str| {
            DynamicLevel::from_mark(mark).ok_or_else(|| Failure::refused(format!("“{mark}” is no dynamic such as pp, mf or ff")))
        };
        let section = &lineup.sections[at];
        let is_strings = section.chairs.first().is_some_and(|chair| chair.instrument.family == Family::Strings);
        if self.muted && section.mutes.is_empty() && !is_strings {
            return Err(Failure::refused(format!("“{}” has no mutes; say in the line-up which are at hand", self.section)));
        }
        let held = if self.instrument.is_empty() { Ok(0) } else { section.held(&chairs, &self.instrument) };
        let role = strand.map_or(Role::Tacet, |strand| sketch.strands[strand].role);
        let why = if self.why.is_empty() { "by the plan".to_owned() } else { one_line(&self.why) };
        Ok(Task {
            held: held.map_err(Failure::refused)?,
            octave: self.octave,
            sounds: self.sounds,
            register: self.register.map(|[low, high]| (i32::from(low), i32::from(high))),
            doubling: word(&self.doubling, "doubling", &DOUBLINGS)?,
            thickening: word(&self.thickening, "thickening", &THICKENINGS)?,
            density: self.density.map(usize::from),
            close: word(&self.position, "position", &POSITIONS)?,
            dynamic: if self.dynamic.is_empty() { None } else { Some(level(&self.dynamic)?) },
            muted: self.muted,
            by_casting: self.by_casting,
            why,
            ..Task::new(at, chairs, role, strand)
        })
    }

    /// A task as a row.
    pub(crate) fn of(task: &Task, sketch: &Sketch, lineup: &Lineup) -> Self {
        let key = |key: i32| u8::try_from(key).unwrap_or(0);
        Self {
            section: lineup.sections[task.section].name.clone(),
            players: task.chairs.iter().map(|chair| u8::try_from(chair + 1).unwrap_or(u8::MAX)).collect(),
            role: task.strand.map_or_else(|| SILENCE.to_owned(), |strand| sketch.strands[strand].name.clone()),
            octave: task.octave,
            sounds: task.sounds,
            register: task.register.map(|(low, high)| [key(low), key(high)]),
            doubling: said(&task.doubling, &DOUBLINGS),
            thickening: said(&task.thickening, &THICKENINGS),
            density: task.density.and_then(|density| u8::try_from(density).ok()),
            position: said(&task.close, &POSITIONS),
            dynamic: task.dynamic.map_or_else(String::new, |level| level.mark().to_owned()),
            muted: task.muted,
            instrument: task.instrument(lineup).unwrap_or_default().to_owned(),
            by_casting: task.by_casting,
            why: task.why.clone(),
        }
    }
}

/// A plan as rows.
pub(crate) fn rows_of(plan: &Plan, sketch: &Sketch, lineup: &Lineup) -> Vec<PhraseRow> {
    let bar = |bar: usize| u32::try_from(bar).unwrap_or(u32::MAX);
    plan.phrases
        .iter()
        .map(|phrase| {
            let mut tasks: Vec<TaskRow> = phrase.tasks.iter().map(|task| TaskRow::of(task, sketch, lineup)).collect();
            // What a plan keeps in reserve rests.
            for (at, section) in lineup.sections.iter().enumerate() {
                let kept: Vec<usize> = phrase.reserve.iter().filter(|seat| seat.0 == at).map(|seat| seat.1).collect();
                if !kept.is_empty() {
                    let players = kept.iter().map(|chair| u8::try_from(chair + 1).unwrap_or(u8::MAX)).collect();
                    let why = "kept in reserve".to_owned();
                    let row =
                        TaskRow { section: section.name.clone(), players, role: SILENCE.to_owned(), why, ..TaskRow::default() };
                    tasks.push(row);
                }
            }
            PhraseRow {
                first: bar(phrase.bars.start),
                last: bar(phrase.bars.end.saturating_sub(1)),
                arrangement: said(&phrase.arrangement, &ARRANGEMENTS),
                fill: phrase.fill,
                tasks,
            }
        })
        .collect()
}

/// A plan as TOML, with what is filled in said of each phrase.
pub(crate) fn text_of(plan: &Plan, sketch: &Sketch, lineup: &Lineup) -> String {
    let mut text = String::new();
    let mut phrases = plan.phrases.iter();
    for line in plan.to_toml(sketch, lineup).lines() {
        text.push_str(line);
        text.push('\n');
        if line.starts_with("bars = ") && phrases.next().is_some_and(|phrase| phrase.fill) {
            text.push_str("fill = true\n");
        }
    }
    text
}

/// Takes out of rows what a line-up or a sketch no longer has; answers what was taken out, in words.
pub(crate) fn mended(rows: &mut [PhraseRow], sketch: &Sketch, lineup: &Lineup) -> Option<String> {
    let mut lost = 0;
    for row in rows {
        let section = |task: &TaskRow| lineup.sections.iter().find(|section| section.name == task.section);
        for task in &mut row.tasks {
            let seats = section(task).map_or(0, |section| section.chairs.len());
            task.players.retain(|&player| (1..=seats).contains(&usize::from(player)));
        }
        let before = row.tasks.len();
        row.tasks.retain(|task| {
            let chairs: Vec<usize> = task.players.iter().map(|&player| usize::from(player) - 1).collect();
            let has_instrument =
                task.instrument.is_empty() || section(task).is_some_and(|one| one.held(&chairs, &task.instrument).is_ok());
            let has_strand = task.role == SILENCE || sketch.strands.iter().any(|strand| strand.name == task.role);
            !task.players.is_empty() && has_strand && has_instrument
        });
        lost += before - row.tasks.len();
    }
    let cells = if lost == 1 { "one cell of the plan was".to_owned() } else { format!("{lost} cells of the plan were") };
    (lost > 0).then(|| format!("{cells} left open: what they name is no longer there"))
}
