//! When the orchestra plays as a whole, and who is missing then.

use ripieno_instruments::family::Family;
use ripieno_practice::{full_bars, tuttis};

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
    /// The tuttis ([`ripieno_practice::tuttis`]) with who joins and who is missing. Percussion, harp, keyboards and voices are told where they join, and keep nothing from being a tutti.
    #[must_use]
    pub fn full_bars(&self) -> Vec<FullBars> {
        let spans = tuttis(&full_bars(&self.sounding, &self.groups));
        let half = |bars: &[u32], within: &[u32]| {
            let here = bars.iter().filter(|bar| within.binary_search(bar).is_ok()).count();
            here * 2 >= bars.len()
        };
        let told = |family: Family| matches!(family, Family::Woodwind | Family::Brass | Family::Strings | Family::Voice);
        spans
            .into_iter()
            .map(Vec::from_iter)
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
