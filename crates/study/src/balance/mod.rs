//! Balance of a studied score: is the melody heard, does a full chord ring evenly, and what do the treatises say.
//!
//! The roles say which notes are the melody, the acoustic model says what reaches the ear; here they meet. Nothing of it flows back: how well a
//! line is heard is never used to find the melody. Computed when asked for, in one [`Situation`], since a verdict without one means nothing.

mod lines;
mod sentences;
mod weighing;

use std::ops::Range;

use ripieno_acoustics::{
    Audible, Day, EvenGrade, Evenness, Explanation, Exposed, Grade, Line, Refused, Scene, Situation, Verdicts, Ways, explain,
    exposure, masked, verdicts,
};
use ripieno_score::Crotchets;

use crate::Study;

pub use sentences::{BalanceFinding, BalanceTopic};
pub use weighing::{SpanHeard, SpanMasking, Weighing};

/// Remedies told of a spot.
const REMEDIES: usize = 4;

/// What masks the melody in a bar: a part, and what the melody would gain in dB if that part were silent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Masking {
    /// The part, index into [`ripieno_score::Score::parts`].
    pub part: usize,
    /// Its weight, in dB.
    pub gain_db: f64,
}

/// The main line in a bar in which it sounds, with all who play it in unison or octaves.
#[derive(Debug, Clone, PartialEq)]
pub struct MelodyBar {
    /// Played bar.
    pub bar: u32,
    /// The part that leads it for most of the bar.
    pub part: usize,
    /// How it is heard.
    pub audible: Audible,
    /// What masks it, most first.
    pub maskers: Vec<Masking>,
}

/// What would help, and what it would bring.
#[derive(Debug, Clone, PartialEq)]
pub struct Help {
    /// In words: "Trombones one dynamic softer".
    pub what: String,
    /// What it gains, in dB.
    pub gain_db: f64,
}

/// Consecutive bars in which the melody of one leader is covered or hard to hear.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Played bars, end exclusive.
    pub bars: Range<u32>,
    /// The bar in which it is heard worst; the rest is said of it.
    pub worst: u32,
    /// The part that leads.
    pub part: usize,
    /// How it is heard there.
    pub audible: Audible,
    /// What masks it there, most first.
    pub maskers: Vec<Masking>,
    /// What would uncover it there, most first, each recomputed.
    pub help: Vec<Help>,
}

/// A stretch of the melody from carrier to carrier with two verdicts on it: of a treatise, and of the model.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Played bars, end exclusive.
    pub bars: Range<u32>,
    /// The part that leads.
    pub part: usize,
    /// The bar in which the melody is heard worst: the two are compared there.
    pub worst: u32,
    /// The part that masks it most there.
    pub against: usize,
    /// Both verdicts, the melody first.
    pub verdicts: Verdicts,
}

/// The full chord of a bar, without the melody.
#[derive(Debug, Clone, PartialEq)]
pub struct FullChord {
    /// Played bar.
    pub bar: u32,
    /// When it is heard.
    pub at: Crotchets,
    /// How evenly it rings.
    pub evenness: Evenness,
}

/// Balance in one situation.
#[derive(Debug, Clone, PartialEq)]
pub struct Balance {
    /// Where it is heard.
    pub situation: Situation,
    /// Every bar in which the main line sounds, ascending.
    pub melody: Vec<MelodyBar>,
    /// Where it is covered or hard to hear.
    pub spots: Vec<Spot>,
    /// Two verdicts on each stretch of it that anything masks.
    pub judged: Vec<Judged>,
    /// The full chord of each bar that has one.
    pub chords: Vec<FullChord>,
    /// Notes before their part's first dynamic mark, taken as mezzo-forte.
    pub unmarked: usize,
}

impl Balance {
    /// The melody in a played bar.
    #[must_use]
    pub fn melody_in(&self, bar: u32) -> Option<&MelodyBar> {
        self.melody.binary_search_by_key(&bar, |told| told.bar).ok().map(|at| &self.melody[at])
    }

    /// The full chord of a played bar.
    #[must_use]
    pub fn chord_in(&self, bar: u32) -> Option<&FullChord> {
        self.chords.binary_search_by_key(&bar, |told| told.bar).ok().map(|at| &self.chords[at])
    }

    /// Bars in which the melody or a full chord sounds, ascending.
    #[must_use]
    pub fn bars(&self) -> Vec<u32> {
        let mut bars: Vec<u32> =
            self.melody.iter().map(|told| told.bar).chain(self.chords.iter().map(|chord| chord.bar)).collect();
        bars.sort_unstable();
        bars.dedup();
        bars
    }

    /// Bars in which the melody has one of these grades.
    #[must_use]
    pub fn bars_graded(&self, wanted: impl Fn(Grade) -> bool) -> Vec<u32> {
        self.melody.iter().filter(|told| wanted(told.audible.grade())).map(|told| told.bar).collect()
    }

    /// Bars whose full chord has this grade.
    #[must_use]
    pub fn bars_of_chords(&self, grade: EvenGrade) -> Vec<u32> {
        self.chords.iter().filter(|chord| chord.evenness.grade() == grade).map(|chord| chord.bar).collect()
    }
}

impl Study {
    /// How the score balances in a situation. The time grows with the notes and with moments times parts.
    ///
    /// # Errors
    /// When the situation cannot be judged: sections recorded apart and mixed without the levels of the mix, a listener at a part that is not there,
    /// a chart, which holds no notes.
    pub fn balance(&self, situation: Situation) -> Result<Balance, Refused> {
        Ok(self.weigh(situation)?.balance())
    }

    /// Exposure at every part's desk over a day with this piece, estimated; [`ripieno_acoustics::exposure::CAUTION`] belongs beside it.
    ///
    /// # Errors
    /// For a mix, in which nobody sits, and for a chart, which holds no notes.
    pub fn exposure(&self, situation: &Situation, day: Day) -> Result<Vec<Exposed>, Refused> {
        if self.is_chart() {
            return Err(Refused::NoNotes);
        }
        exposure(&self.score, &self.sounding, &self.model_ways(), situation, day)
    }

    /// Ways of playing of each row, in the terms of the model.
    fn model_ways(&self) -> Vec<Ways> {
        self.ways.iter().map(|ways| Ways::of_names(ways.iter_names().map(|(name, _)| name))).collect()
    }

    fn melody_bars(&self, scene: &Scene<'_>, lines: &[Line]) -> Vec<MelodyBar> {
        let leaders = lines::leaders(self);
        (masked(scene, lines, lines::MELODY).into_iter())
            .map(|told| MelodyBar {
                bar: index(told.bar),
                part: leaders.get(told.bar).copied().flatten().unwrap_or(0),
                audible: told.audible,
                maskers: maskings(&told.maskers),
            })
            .collect()
    }

    fn spots(&self, scene: &Scene<'_>, lines: &[Line], melody: &[MelodyBar]) -> Vec<Spot> {
        let hidden: Vec<&MelodyBar> = melody.iter().filter(|told| told.audible.grade() <= Grade::Hard).collect();
        let runs = hidden.chunk_by(|a, b| a.bar + 1 == b.bar && a.part == b.part);
        let spot = |run: &[&MelodyBar]| {
            let worst = run.iter().min_by(|a, b| a.audible.margin_db.total_cmp(&b.audible.margin_db))?;
            let told: Option<Explanation> = explain(scene, lines, lines::MELODY, worst.bar as usize);
            let help = told.iter().flat_map(|told| &told.remedies).take(REMEDIES);
            Some(Spot {
                bars: run.first()?.bar..run.last()?.bar + 1,
                worst: worst.bar,
                part: worst.part,
                audible: worst.audible,
                maskers: worst.maskers.clone(),
                help: help.map(|remedy| Help { what: remedy.kind.told(scene, lines), gain_db: remedy.gain_db }).collect(),
            })
        };
        runs.filter_map(spot).collect()
    }

    fn judged(&self, scene: &Scene<'_>, lines: &[Line], melody: &[MelodyBar]) -> Vec<Judged> {
        let judge = |told: &[MelodyBar]| {
            let masked = told.iter().filter(|told| !told.maskers.is_empty());
            let worst = masked.min_by(|a, b| a.audible.margin_db.total_cmp(&b.audible.margin_db))?;
            let against = worst.maskers.first()?.part;
            let verdicts = verdicts(scene, lines, lines::MELODY, lines::of_part(against), worst.bar as usize)?;
            Some(Judged { bars: told.first()?.bar..told.last()?.bar + 1, part: worst.part, worst: worst.bar, against, verdicts })
        };
        melody.chunk_by(|a, b| a.bar + 1 == b.bar && a.part == b.part).filter_map(judge).collect()
    }
}

fn maskings(maskers: &[ripieno_acoustics::audibility::Masker]) -> Vec<Masking> {
    let part = |masker: &ripieno_acoustics::audibility::Masker| {
        Some(Masking { part: lines::part_of(masker.line?)?, gain_db: masker.gain_db })
    };
    maskers.iter().filter_map(part).collect()
}

fn index(bar: usize) -> u32 {
    u32::try_from(bar).unwrap_or(u32::MAX)
}
