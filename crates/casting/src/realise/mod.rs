//! From a phrase of the plan to notes for every player.

mod chords;
mod complete;
mod floor;
mod joint;
mod layers;
mod lines;
mod order;
mod tendency;
mod thicken;

pub(crate) use chords::from_the_top;
pub(crate) use joint::leave_upbeats;
pub(crate) use layers::beat_of;
pub(crate) use lines::{best_octave, share_to_move};
pub(crate) use tendency::{hangs, tones};

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{Crotchets, Pitch};
use ripieno_texture::Role;

use crate::lineup::Lineup;
use crate::notate::Like;
use crate::plan::{Doubling, PhrasePlan, Plan};
use crate::sketch::Sketch;
use crate::voicing::{Search, Weights};

/// A player: section and chair, indices into the line-up.
pub type Seat = (usize, usize);

/// Which strand, and which voice of it, a note belongs to. Notes of one line at one time double each other; notes of different lines are independent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LineId {
    /// Index into [`Sketch::strands`].
    pub strand: usize,
    /// 0 for a line itself; the voice of a chord from the top, or of a thickened line, from 1.
    pub voice: usize,
}

/// A note of a player.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CastNote {
    /// When it begins.
    pub onset: Crotchets,
    /// How long; zero for a grace note.
    pub duration: Crotchets,
    /// Concert pitch.
    pub pitch: Pitch,
    /// What it is part of.
    pub line: LineId,
    /// Whether a breath is marked after it.
    pub breath: bool,
    /// Whether the sketch holds it from the phrase before: who had it there ties it over.
    pub(crate) held: bool,
    /// The written note of the sketch whose signs it takes over.
    pub(crate) like: Option<Like>,
}

impl CastNote {
    /// When it ends.
    #[must_use]
    pub fn end(&self) -> Crotchets {
        self.onset + self.duration
    }

    /// Key of the keyboard.
    #[must_use]
    pub const fn key(&self) -> i32 {
        self.pitch.semitones()
    }
}

/// One phrase realised.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PhraseCast {
    /// The notes of each player who plays.
    pub notes: BTreeMap<Seat, Vec<CastNote>>,
    /// What its voicings cost together.
    pub cost: f64,
    /// The sum of what each body of voices could do for itself: what they cost at least where there is one ([`PhraseCast::bounded`]).
    pub bound: f64,
    /// Whether `bound` is one: chords of several bodies of voices, laid out beside each other, may also cost less than each for itself.
    pub bounded: bool,
    /// Whether the search left nothing out.
    pub exact: bool,
    /// Players who breathe inside the phrase, at other places than another of their section with the same strand, so that what they hold goes on.
    pub in_turn: BTreeSet<Seat>,
    /// Who plays how many crotchets besides what his task is.
    pub(crate) besides: Vec<(Seat, Crotchets)>,
    /// What has to be said.
    pub remarks: Vec<String>,
}

/// A note a person has set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LockedNote {
    /// Whose.
    pub seat: Seat,
    /// From when.
    pub from: Crotchets,
    /// Until when.
    pub to: Crotchets,
    /// The key, in concert pitch.
    pub key: i32,
}

/// Everything a phrase is realised from.
#[derive(Clone, Copy)]
pub(crate) struct Setting<'a> {
    pub sketch: &'a Sketch,
    pub lineup: &'a Lineup,
    pub weights: Weights,
    pub search: Search,
    pub locks: &'a [LockedNote],
}

/// What surrounds a phrase.
#[derive(Default)]
pub(crate) struct Around {
    /// The last note of each player before it.
    pub before: BTreeMap<Seat, (Crotchets, i32)>,
    /// The first key of each player after it, where that is settled.
    pub after: BTreeMap<Seat, i32>,
    /// The last note of each line before it, whoever has it.
    pub lines: BTreeMap<LineId, (Crotchets, i32)>,
    /// The notes with which the lines of the next phrase begin.
    pub ahead: BTreeMap<Seat, Vec<CastNote>>,
    /// Another phrase leads into it without a gap.
    pub follows: bool,
}

impl Setting<'_> {
    /// Whether a person has set a note of a player in a span.
    pub(crate) fn sets(&self, seat: Seat, span: (Crotchets, Crotchets)) -> bool {
        self.locks.iter().any(|lock| lock.seat == seat && lock.from < span.1 && span.0 < lock.to)
    }
}

/// Notes looked back at for the one that sounds: a player has one at a time, perhaps with grace notes.
const BEGUN: usize = 8;

/// Which of a player's notes, in order of time, sounds at a moment.
pub(crate) fn sounding(notes: &[CastNote], at: Crotchets) -> Option<&CastNote> {
    let next = notes.partition_point(|note| note.onset <= at);
    notes[..next].iter().rev().take(BEGUN).find(|note| at < note.end())
}

/// The moments a strand of a phrase spans: a tune and its answer with the upbeat to their first bar; what accompanies changes at the barline (common practice), unless nobody
/// plays it up to there.
pub(crate) fn span_of(sketch: &Sketch, plan: &PhrasePlan, role: Role, follows: bool) -> (Crotchets, Crotchets) {
    let whole = Plan::span(sketch, &plan.bars);
    match role {
        Role::Melody | Role::Countermelody | Role::Effect => whole,
        _ => {
            let from = if follows { sketch.bar_start(plan.bars.start) } else { whole.0 };
            (from, sketch.bar_start(plan.bars.end))
        }
    }
}

/// The notes with which the lines of a phrase begin: its upbeat, and what the last chords before it may still be held under.
pub(crate) fn beginning(setting: &Setting<'_>, plan: &PhrasePlan) -> BTreeMap<Seat, Vec<CastNote>> {
    const HELD_OVER: Crotchets = Crotchets::whole(4);
    let until = setting.sketch.bar_start(plan.bars.start) + HELD_OVER;
    let mut cast = PhraseCast::default();
    lines::lines(setting, plan, true, &BTreeMap::new(), &mut cast);
    for notes in cast.notes.values_mut() {
        notes.retain(|note| note.onset < until);
    }
    cast.notes.retain(|_, notes| !notes.is_empty());
    cast.notes
}

/// Tells of the lines of a phrase at which octave they lie, where most of their notes lie at another than was planned. What was planned stays: by it the notes are the same again.
pub(crate) fn octaves_that_sound(sketch: &Sketch, plan: &mut PhrasePlan, cast: &PhraseCast) {
    for task in &mut plan.tasks {
        task.sounds = None;
        let Some(strand_at) = task.strand.filter(|&strand| !sketch.strands[strand].is_chordal()) else { continue };
        let upper = match task.doubling {
            Doubling::Octaves => task.chairs.len().div_ceil(2),
            Doubling::Unison => task.chairs.len(),
        };
        let mut counts: BTreeMap<i32, usize> = BTreeMap::new();
        for &chair in task.chairs.iter().take(upper) {
            let own = cast.notes.get(&(task.section, chair)).into_iter().flatten();
            for note in own.filter(|note| note.line == LineId { strand: strand_at, voice: 0 }) {
                let written = &sketch.strands[strand_at].notes;
                let first = written.partition_point(|other| other.onset < note.onset);
                let there = written[first..].iter().take_while(|other| other.onset == note.onset);
                for apart in there.map(|other| note.key() - other.key()).filter(|apart| apart % 12 == 0) {
                    *counts.entry(apart / 12).or_default() += 1;
                }
            }
        }
        let planned = task.octave.unwrap_or(0);
        let most =
            counts.iter().max_by_key(|(octave, many)| (**many, -(**octave - planned).abs(), **octave)).map(|(octave, _)| *octave);
        task.sounds = most.filter(|octave| *octave != planned);
    }
}

/// Realises one phrase.
pub(crate) fn phrase(setting: &Setting<'_>, plan: &PhrasePlan, around: &Around) -> PhraseCast {
    let mut cast = PhraseCast { exact: true, bounded: true, ..PhraseCast::default() };
    lines::lines(setting, plan, around.follows, &around.before, &mut cast);
    let span = span_of(setting.sketch, plan, Role::Harmony, around.follows);
    chords::chords(setting, plan, span, around, &mut cast);
    for notes in cast.notes.values_mut() {
        // Grace notes stay in their order.
        let height = |note: &CastNote| note.duration.is_positive().then(|| note.key());
        notes.sort_by_key(|note| (note.onset, note.duration.is_positive(), height(note)));
    }
    let floor = floor::Floor::played(setting, cast.notes.values());
    complete::complete(setting, span, &floor, &around.before, &mut cast);
    complete::helped(setting, plan, span, &floor, &mut cast);
    complete::relieved(setting, span, &floor, &around.before, &mut cast);
    order::uncross(setting, &floor, &mut cast);
    cast
}
