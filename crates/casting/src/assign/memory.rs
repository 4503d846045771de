//! What happened before a phrase: who had what, which instrument is in hand, and how tired everybody is.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;

use super::Unit;
use crate::lineup::{Lineup, LineupSection};
use crate::numbers::number;
use crate::plan::{PhrasePlan, Plan};
use crate::realise::Seat;
use crate::sketch::{Sketch, Strand};

/// What happened before a phrase.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Memory {
    /// The strand and octave of the phrase before, by group.
    pub last: Vec<Option<(usize, i32)>>,
    /// The instrument last in hand, and until when it was played, by group.
    pub held: Vec<(usize, Crotchets)>,
    /// How tired the lips of a group are, in phrases of eight seconds: the mean of its players.
    pub strain: Vec<f64>,
    /// For how many phrases on end a group has had its strand.
    pub stayed: Vec<u32>,
    /// How many phrases a group has rested since it last played.
    pub silent: Vec<u32>,
    /// How tired each player is, in seconds of playing: loud ones count twice, high ones once more; rests take off four times what they last.
    pub loads: BTreeMap<Seat, f64>,
    /// How many seconds each player has played in all, so that everybody of a section has a share.
    pub played: BTreeMap<Seat, f64>,
    /// The strand of each player in the phrase before.
    pub strands: BTreeMap<Seat, usize>,
    /// How many players have played in one phrase, at most, at each class of loudness: up to mp, mf, f, ff.
    pub most: [usize; 4],
}

/// The level from which on playing is loud.
const LOUD: f32 = 5.5;
/// A phrase of four bars of two seconds each.
const PHRASE: f64 = 8.0;
/// Seconds of playing that a second of rest makes good. Brass players are told to rest as much as they play (`endurance-rule` in the sources of `ripieno_players`); the figure is ours:
/// who rests for a third of the time can go on for ever at f, well within what the check of `ripieno_players` allows over three minutes.
const RECOVERS: f64 = 4.0;

/// How much of what somebody has played in all speaks for another of the section (ours).
const SHARE_ALIKE: f64 = 0.2;

impl Memory {
    /// Before anybody has played.
    #[must_use]
    pub fn fresh(units: usize) -> Self {
        Self {
            last: vec![None; units],
            held: vec![(0, Crotchets::ZERO); units],
            strain: vec![0.0; units],
            stayed: vec![0; units],
            silent: vec![0; units],
            ..Self::default()
        }
    }

    /// How tired a player is, in seconds.
    #[must_use]
    pub fn load(&self, seat: Seat) -> f64 {
        self.loads.get(&seat).copied().unwrap_or(0.0)
    }

    /// What speaks against a player where several could play, in seconds: how tired he is, and a little of how much he has played before.
    pub(super) fn turn(&self, seat: Seat) -> f64 {
        self.load(seat) + SHARE_ALIKE * self.played.get(&seat).copied().unwrap_or(0.0)
    }

    /// Takes in what a player plays beside his strand, in seconds of a loud phrase: no rest, and as much effort.
    pub(crate) fn adds(&mut self, seat: Seat, seconds: f64) {
        *self.loads.entry(seat).or_default() += (RECOVERS + 2.0) * seconds;
        *self.played.entry(seat).or_default() += seconds;
    }

    /// What a player had in the phrase before.
    #[must_use]
    pub fn had(&self, seat: Seat) -> Option<usize> {
        self.strands.get(&seat).copied()
    }

    /// How much a phrase of a strand tires a player, in seconds.
    pub(super) fn effort(
        &self,
        sketch: &Sketch,
        section: &LineupSection,
        chair: usize,
        strand: usize,
        octave: i32,
        span: (Crotchets, Crotchets),
    ) -> f64 {
        let found = &sketch.strands[strand];
        let notes = found.between(span.0, span.1);
        let loud = sketch.level_at(found.part, span.0).is_some_and(|level| level >= LOUD);
        let top = i32::from(section.chairs[chair].reach.comfortable.high()) - 5;
        let high = !found.is_chordal() && notes.iter().filter(|note| note.key() + 12 * octave > top).count() * 3 > notes.len();
        seconds(sketch, span) * sounds(found, span) * (1.0 + f64::from(u8::from(loud)) + f64::from(u8::from(high)))
    }

    /// Takes in what a phrase makes everybody do.
    pub(crate) fn pass(&mut self, sketch: &Sketch, lineup: &Lineup, units: &[Unit], phrase: &PhrasePlan) {
        let span = Plan::span(sketch, &phrase.bars);
        let whole = seconds(sketch, span);
        let most = &mut self.most[super::desks::loudness(sketch, phrase)];
        *most = super::playing(&phrase.tasks).max(*most);
        for (at, section) in lineup.sections.iter().enumerate() {
            for chair in 0..section.chairs.len() {
                let seat = (at, chair);
                let task = phrase.tasks.iter().find(|task| task.section == at && task.chairs.contains(&chair));
                let load = self.load(seat);
                let load = match task.and_then(|task| Some((task, task.strand?))) {
                    None => {
                        self.strands.remove(&seat);
                        load - RECOVERS * whole
                    }
                    Some((task, strand)) => {
                        self.strands.insert(seat, strand);
                        *self.played.entry(seat).or_default() += whole * sounds(&sketch.strands[strand], span);
                        let effort = self.effort(sketch, section, chair, strand, task.octave_heard(), span);
                        load + effort - RECOVERS * whole * (1.0 - sounds(&sketch.strands[strand], span))
                    }
                };
                self.loads.insert(seat, load.max(0.0));
            }
        }
        for (at, unit) in units.iter().enumerate() {
            let task = phrase.tasks.iter().find(|task| {
                task.section == unit.section
                    && task.strand.is_some()
                    && unit.chairs.iter().any(|chair| task.chairs.contains(chair))
            });
            let now = task.and_then(|task| task.strand.map(|strand| (strand, task.octave_heard())));
            let same = now.is_some() && self.last[at].map(|last| last.0) == now.map(|now| now.0);
            self.stayed[at] = if same { self.stayed[at].saturating_add(1) } else { u32::from(now.is_some()) };
            self.last[at] = now;
            self.silent[at] = if task.is_some() { 0 } else { self.silent[at].saturating_add(1) };
            let all: f64 = unit.chairs.iter().map(|&chair| self.load((unit.section, chair))).sum();
            self.strain[at] = all / number(unit.chairs.len()).max(1.0) / PHRASE;
            if let Some((task, strand)) = task.and_then(|task| Some((task, task.strand?))) {
                let end = sketch.strands[strand].between(span.0, span.1).iter().map(|note| note.end()).max();
                self.held[at] = (task.held, end.unwrap_or(self.held[at].1));
            }
        }
    }
}

/// How many seconds a span lasts.
pub(crate) fn seconds(sketch: &Sketch, span: (Crotchets, Crotchets)) -> f64 {
    sketch.sounding.tempo.seconds(span.1) - sketch.sounding.tempo.seconds(span.0)
}

/// Share of a span in which a strand sounds.
fn sounds(strand: &Strand, span: (Crotchets, Crotchets)) -> f64 {
    let (mut sum, mut until) = (Crotchets::ZERO, span.0);
    for note in strand.between(span.0, span.1) {
        let end = note.end().min(span.1);
        let start = note.onset.max(until);
        if end > start {
            sum += end - start;
            until = end;
        }
    }
    (sum.to_f64() / (span.1 - span.0).to_f64().max(1e-9)).clamp(0.0, 1.0)
}
