//! Balance of a studied score: is the melody heard, does a full chord ring evenly, and what do the treatises say.
//!
//! The roles say which notes are the melody, the acoustic model says what reaches the ear; here they meet. Nothing of it flows back: how well a
//! line is heard is never used to find the melody. Computed when asked for, in one [`Situation`], since a verdict without one means nothing.

mod chairs;
mod lines;
mod sentences;
mod weighing;

use std::ops::Range;

use ripieno_acoustics::{
    Audible, Day, EvenGrade, Evenness, Explanation, Exposed, Grade, Refused, RemedyKind, Scene, Situation, Verdicts, Ways,
    explain, exposure, masked, verdicts,
};
use ripieno_instruments::printed;
use ripieno_score::Crotchets;

use crate::Study;
use chairs::Chairs;
use lines::Beside;

pub use sentences::{BalanceFinding, BalanceTopic};
pub use weighing::{SpanHeard, Weighing};

/// Remedies told of a spot.
const REMEDIES: usize = 4;

/// What masks a line in a bar: a section, and what the line would gain in dB if it were silent. [`Study::called`] names it.
#[derive(Debug, Clone, PartialEq)]
pub struct Masking {
    /// The parts of the section that sound beside the line, indices into [`ripieno_score::Score::parts`], in score order; never empty.
    pub parts: Vec<usize>,
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

/// What would help, who does it in which bars, and what it would bring. It can be played in all of them by professionals with ease, as far as the limits
/// of `ripieno_players` tell; what it gains is worked out for the worst bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Help {
    /// The change and who makes it.
    pub kind: RemedyKind,
    /// In words: "trombones one dynamic softer (mf instead of f)".
    pub what: String,
    /// The played bars it is meant for, end exclusive.
    pub bars: Range<u32>,
    /// What it gains, in dB.
    pub gain_db: f64,
    /// The margin it leaves, in dB.
    pub margin_db: f64,
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
    /// What would uncover it there, in the order of [`ripieno_acoustics::audibility::Remedy::order`], each recomputed.
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
    /// The parts that mask it most there, as of [`Masking`].
    pub against: Vec<usize>,
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

    /// Where it is heard, in words, a desk by the name of its part as scores print it.
    #[must_use]
    pub fn place(&self, situation: &Situation) -> String {
        match situation {
            Situation::Stage { room, part: Some(part), .. } => {
                match self.score.parts.get(*part).map(|part| printed(&part.name)) {
                    Some(name) if !name.is_empty() => format!("{}, at the desk of {name}", room.name),
                    _ => situation.to_string(),
                }
            }
            other => other.to_string(),
        }
    }

    /// What some parts are called together: the section when they are all of one that the score has, the part's name as scores print it for one, else their names. Whoever
    /// tells what masks a line, or who could help, takes the words from here.
    #[must_use]
    pub fn called(&self, parts: &[usize]) -> String {
        let name = |part: &usize| self.score.parts.get(*part).map_or_else(|| "a part".to_owned(), |part| printed(&part.name));
        if let [one] = parts {
            return name(one);
        }
        if let Some(section) = self.groups.sections.iter().find(|section| section.parts == parts) {
            return section.name.to_owned();
        }
        let some: Vec<String> = parts.iter().take(if parts.len() > 3 { 2 } else { 3 }).map(name).collect();
        match (parts.len() - some.len(), &some[..]) {
            (_, []) => "the rest".to_owned(),
            (0, [most @ .., last]) => format!("{} and {last}", most.join(", ")),
            (more, _) => format!("{} and {more} more", some.join(", ")),
        }
    }

    /// What the line listened for is called in a bar: its part, and that others play it too.
    fn called_with(&self, beside: &Beside, part: usize, bar: u32) -> String {
        let name = self.called(&[part]);
        if beside.is_shared(self, part, bar) { format!("{name} with those who double it") } else { name }
    }

    fn melody_bars(&self, scene: &Scene<'_>, beside: &Beside) -> Vec<MelodyBar> {
        let leaders = lines::leaders(self);
        (masked(scene, &beside.lines, lines::OWN).into_iter())
            .map(|told| MelodyBar {
                bar: index(told.bar),
                part: leaders.get(told.bar).copied().flatten().unwrap_or(0),
                audible: told.audible,
                maskers: beside.maskings(&told.maskers, told.bar),
            })
            .collect()
    }

    fn spots(&self, scene: &Scene<'_>, beside: &Beside, melody: &[MelodyBar]) -> Vec<Spot> {
        let chairs = Chairs::of(&self.score);
        let hidden: Vec<&MelodyBar> = melody.iter().filter(|told| told.audible.grade() <= Grade::Hard).collect();
        let runs = hidden.chunk_by(|a, b| a.bar + 1 == b.bar && a.part == b.part);
        let spot = |run: &[&MelodyBar]| {
            let worst = run.iter().min_by(|a, b| a.audible.margin_db.total_cmp(&b.audible.margin_db))?;
            let bars = run.first()?.bar..run.last()?.bar + 1;
            let told = self.explained(scene, beside, worst.bar, &bars, &chairs);
            Some(Spot {
                help: told.map(|told| self.help(&told, &bars)).unwrap_or_default(),
                bars,
                worst: worst.bar,
                part: worst.part,
                audible: worst.audible,
                maskers: worst.maskers.clone(),
            })
        };
        runs.filter_map(spot).collect()
    }

    fn explained(
        &self,
        scene: &Scene<'_>,
        beside: &Beside,
        bar: u32,
        bars: &Range<u32>,
        chairs: &Chairs<'_>,
    ) -> Option<Explanation> {
        explain(scene, &beside.lines, lines::OWN, bar as usize, &(bars.start as usize..bars.end as usize), chairs)
    }

    fn help(&self, told: &Explanation, bars: &Range<u32>) -> Vec<Help> {
        let help = told.remedies.iter().take(REMEDIES).map(|remedy| Help {
            what: remedy.kind.told(|parts| self.called(parts)),
            kind: remedy.kind.clone(),
            bars: bars.clone(),
            gain_db: remedy.gain_db,
            margin_db: remedy.margin_db,
        });
        help.collect()
    }

    fn judged(&self, scene: &Scene<'_>, beside: &Beside, melody: &[MelodyBar]) -> Vec<Judged> {
        let judge = |told: &[MelodyBar]| {
            let masked = told.iter().filter(|told| !told.maskers.is_empty());
            let worst = masked.min_by(|a, b| a.audible.margin_db.total_cmp(&b.audible.margin_db))?;
            let against = worst.maskers.first()?.parts.clone();
            let section = beside.section_of(*against.first()?);
            let called = [&*self.called_with(beside, worst.part, worst.bar), &*self.called(&against)];
            let verdicts = verdicts(scene, &beside.lines, [lines::OWN, section], called, worst.bar as usize)?;
            Some(Judged { bars: told.first()?.bar..told.last()?.bar + 1, part: worst.part, worst: worst.bar, against, verdicts })
        };
        melody.chunk_by(|a, b| a.bar + 1 == b.bar && a.part == b.part).filter_map(judge).collect()
    }
}

fn index(bar: usize) -> u32 {
    u32::try_from(bar).unwrap_or(u32::MAX)
}
