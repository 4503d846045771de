//! Balance in words, for a report: each sentence with its bars.

use std::collections::BTreeMap;

use ripieno_acoustics::verdicts::Stands;
use ripieno_acoustics::{EvenGrade, Grade};

use super::{Balance, Judged, Spot};
use crate::Study;

/// Spots told one by one.
const SPOTS: usize = 5;
/// A section stands out of a chord from here on, in phon against its mean.
const STANDS_OUT: f64 = 3.0;

/// What a sentence is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BalanceTopic {
    /// Whether the melody is heard.
    Melody,
    /// One place where it is not.
    Spot,
    /// Whether chords ring evenly.
    Chords,
    /// What rule and estimate say.
    Verdicts,
}

/// A sentence on balance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BalanceFinding {
    /// What it is about.
    pub topic: BalanceTopic,
    /// The sentence, an estimate in the situation of its [`Balance`].
    pub text: String,
    /// The played bars behind it, ascending.
    pub bars: Vec<u32>,
}

impl Balance {
    /// What is worth saying; empty without melody and chords.
    #[must_use]
    pub fn sentences(&self, study: &Study) -> Vec<BalanceFinding> {
        let mut found = Vec::new();
        found.extend(self.of_melody(study));
        let mut worst: Vec<&Spot> = self.spots.iter().collect();
        worst.sort_by(|a, b| a.audible.margin_db.total_cmp(&b.audible.margin_db).then(a.worst.cmp(&b.worst)));
        let spot = |spot: &&Spot| BalanceFinding {
            topic: BalanceTopic::Spot,
            text: spot.told(study),
            bars: spot.bars.clone().collect(),
        };
        found.extend(worst.iter().take(SPOTS).map(spot));
        found.extend(self.of_chords(study));
        found.extend(self.of_verdicts(study));
        found
    }

    fn of_melody(&self, study: &Study) -> Option<BalanceFinding> {
        let all = self.melody.len();
        let covered = self.bars_graded(|grade| grade == Grade::Covered);
        let hard = self.bars_graded(|grade| grade == Grade::Hard);
        if all == 0 {
            return None;
        }
        let mut text = format!(
            "The melody is covered in {} and hard to hear in {} of the {all} bars in which it sounds",
            counted(study, &covered),
            counted(study, &hard)
        );
        let mut bars = covered;
        bars.extend(hard);
        bars.sort_unstable();
        let mut by: BTreeMap<&[usize], Vec<u32>> = BTreeMap::new();
        for told in bars.iter().filter_map(|bar| self.melody_in(*bar)) {
            if let Some(first) = told.maskers.first() {
                by.entry(&first.parts).or_default().push(told.bar);
            }
        }
        // The first in score order of those that do so most often.
        if let Some((parts, bars)) = by.iter().max_by_key(|(parts, bars)| (bars.len(), std::cmp::Reverse(**parts))) {
            text += &format!("; most often {} against it, in {}", study.called(parts), counted(study, bars));
        }
        let doubtful = bars.iter().filter_map(|bar| self.melody_in(*bar)).filter(|told| told.audible.or().is_some()).count();
        if doubtful > 0 {
            text += &format!(
                "; in {doubtful} of these bars it may as well have the grade next to that, better or worse (at least one chance in three, by the uncertainty of the estimate)"
            );
        }
        Some(BalanceFinding { topic: BalanceTopic::Melody, text: text + ".", bars })
    }

    fn of_chords(&self, study: &Study) -> Option<BalanceFinding> {
        let bars = self.bars_of_chords(EvenGrade::Uneven);
        if self.chords.is_empty() {
            return None;
        }
        let mut out: BTreeMap<(&str, bool), Vec<u32>> = BTreeMap::new();
        for chord in bars.iter().filter_map(|bar| self.chord_in(*bar)) {
            for share in chord.evenness.sections.iter().filter(|share| share.above_mean.abs() >= STANDS_OUT) {
                out.entry((share.section, share.above_mean > 0.0)).or_default().push(chord.bar);
            }
        }
        let mut text = format!("Full chords are uneven in {} of {} bars that have one", counted(study, &bars), self.chords.len());
        let most = |louder: bool| out.iter().filter(|((_, above), _)| *above == louder).max_by_key(|(_, bars)| bars.len());
        if let Some(((section, _), bars)) = most(true) {
            text += &format!("; most often the {section} stand out, in {}", counted(study, bars));
        }
        if let Some(((section, _), bars)) = most(false) {
            text += &format!("; most often the {section} stay behind, in {}", counted(study, bars));
        }
        Some(BalanceFinding { topic: BalanceTopic::Chords, text: text + ".", bars })
    }

    fn of_verdicts(&self, study: &Study) -> Option<BalanceFinding> {
        let ruled: Vec<_> = self.judged.iter().filter_map(|judged| Some((judged, judged.verdicts.ruled.as_ref()?))).collect();
        let first = ruled.first()?.1;
        let apart: Vec<_> = ruled.iter().filter(|(judged, ruled)| ruled.stands != judged.verdicts.estimated.stands).collect();
        let worst = |of: &mut dyn Iterator<Item = &Judged>| -> Vec<u32> {
            let mut bars: Vec<u32> = of.map(|judged| judged.worst).collect();
            bars.sort_unstable();
            bars
        };
        let weaker = worst(&mut apart.iter().filter(|(_, ruled)| ruled.stands == Stands::Weaker).map(|(judged, _)| *judged));
        let mut text = format!(
            "{}’s counts of players apply to {} of {} stretches of melody against what masks them most; the estimate agrees in {}",
            first.author,
            ruled.len(),
            self.judged.len(),
            ruled.len() - apart.len()
        );
        let bars = worst(&mut apart.iter().map(|(judged, _)| *judged));
        if !bars.is_empty() {
            text += &format!("; they part in {}", counted(study, &bars));
        }
        if !weaker.is_empty() {
            text += &format!("; in {} the rule calls the melody weaker and the estimate does not", counted(study, &weaker));
        }
        Some(BalanceFinding { topic: BalanceTopic::Verdicts, text: text + ".", bars })
    }
}

/// So many bars, and which they are.
fn counted(study: &Study, bars: &[u32]) -> String {
    match bars {
        [] => "none".to_owned(),
        [one] => format!("1 (bar {})", study.bar_label(*one)),
        more => format!("{} (bars {})", more.len(), study.cite(more)),
    }
}

impl Spot {
    /// One sentence on its worst bar: how it is heard, what masks it, what would help.
    #[must_use]
    pub fn told(&self, study: &Study) -> String {
        let audible = &self.audible;
        let mut text = format!(
            "Bar {}: {} has the melody, {} ({:+.0} dB, give or take {:.0})",
            study.bar_label(self.worst),
            study.called(&[self.part]),
            audible.told(),
            audible.margin_db,
            audible.spread_db
        );
        let against: Vec<String> = self
            .maskers
            .iter()
            .take(2)
            .map(|masker| format!("{} ({:.0} dB)", study.called(&masker.parts), masker.gain_db))
            .collect();
        if !against.is_empty() {
            text += &format!("; most against it: {}", against.join(", "));
        }
        let help: Vec<String> = self.help.iter().take(2).map(|help| format!("{} (+{:.0} dB)", help.what, help.gain_db)).collect();
        if !help.is_empty() {
            let bars = study.cite(&self.bars.clone().collect::<Vec<u32>>());
            let which = if self.bars.len() == 1 { "there".to_owned() } else { format!("in bars {bars}") };
            text += &format!("; would help {which}: {}", help.join(", or "));
        }
        text + "."
    }
}
