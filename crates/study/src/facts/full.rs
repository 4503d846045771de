//! When the orchestra plays as a whole, and who is missing then.

use ripieno_instruments::family::Family;

use crate::Study;

/// A stretch of bars in which the orchestra plays together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FullBars {
    /// The bars, consecutive.
    pub bars: Vec<u32>,
    /// Families that sound in at least half of the bars, indices into [`crate::Groups::families`].
    pub families: Vec<usize>,
    /// Sections of woodwind, brass, strings and voices that sound in fewer than half of the bars, indices into [`crate::Groups::sections`].
    pub without: Vec<usize>,
}

impl Study {
    /// Stretches in which woodwind, brass and strings, as far as the score has them in at least a tenth of its bars, sound in every bar, each with at least
    /// two thirds of its sections; a single bar that falls short does not part two stretches. Percussion, harp, keyboards and voices are told where they join, and keep nothing from being a tutti.
    ///
    /// The two thirds are common practice of speaking ("tutti without trombones"), not fitted. Empty with fewer than two such families.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // counts of bars
    pub fn full_bars(&self) -> Vec<FullBars> {
        let standing: Vec<usize> = (0..self.groups.families.len())
            .filter(|&family| matches!(self.groups.families[family].family, Family::Woodwind | Family::Brass | Family::Strings))
            .filter(|&family| self.of_families[family].presence.share_of_bars >= 0.1)
            .collect();
        if standing.len() < 2 {
            return Vec::new();
        }
        let sections_of = |family: usize| -> Vec<usize> {
            let family = self.groups.families[family].family;
            (0..self.groups.sections.len()).filter(|&section| self.groups.sections[section].family == family).collect()
        };
        let sounds = |section: usize, bar: u32| self.of_sections[section].presence.bars.binary_search(&bar).is_ok();
        let families: Vec<Vec<usize>> = standing.iter().map(|&family| sections_of(family)).collect();
        let is_full = |bar: u32| {
            families.iter().all(|sections| {
                let here = sections.iter().filter(|&&section| sounds(section, bar)).count();
                here * 3 >= sections.len() * 2
            })
        };
        let mut spans: Vec<Vec<u32>> = Vec::new();
        for (bar, _) in (0u32..).zip(&self.sounding.bars).filter(|(bar, _)| is_full(*bar)) {
            match spans.last_mut() {
                Some(span) if span.last().is_some_and(|last| last + 2 >= bar) => {
                    let next = span.last().map_or(bar, |last| last + 1);
                    span.extend(next..=bar);
                }
                _ => spans.push(vec![bar]),
            }
        }
        let half = |bars: &[u32], within: &[u32]| {
            let here = bars.iter().filter(|bar| within.binary_search(bar).is_ok()).count();
            here * 2 >= bars.len()
        };
        let told = |family: Family| matches!(family, Family::Woodwind | Family::Brass | Family::Strings | Family::Voice);
        spans
            .into_iter()
            .map(|bars| FullBars {
                families: (0..self.groups.families.len())
                    .filter(|&family| half(&bars, &self.of_families[family].presence.bars))
                    .collect(),
                without: (0..self.groups.sections.len())
                    .filter(|&section| told(self.groups.sections[section].family))
                    .filter(|&section| !half(&bars, &self.of_sections[section].presence.bars))
                    .collect(),
                bars,
            })
            .collect()
    }
}
