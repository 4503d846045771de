//! Tutti bars: where every one of several groups sounds, and where the orchestra plays as a whole. A tutti says of whom.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::Sounding;

use super::presence::bars_with_sound;
use crate::groups::Groups;

/// Bars that stand in every one of these lists, each ascending as in [`crate::Presence::bars`]; none when there are no lists.
#[must_use]
pub fn bars_with_all(groups: &[&[u32]]) -> Vec<u32> {
    let Some((first, others)) = groups.split_first() else { return Vec::new() };
    first.iter().copied().filter(|bar| others.iter().all(|bars| bars.binary_search(bar).is_ok())).collect()
}

/// Where sections sound, and which families the orchestra stands on.
pub(crate) struct Standing {
    /// Bars in which each section sounds, as in [`Groups::sections`].
    pub of_sections: Vec<Vec<u32>>,
    /// Woodwind, brass and strings that sound in at least a tenth of the bars, indices into [`Groups::families`].
    pub families: Vec<usize>,
}

impl Standing {
    pub fn new(sounding: &Sounding, groups: &Groups) -> Self {
        let of_sections: Vec<Vec<u32>> =
            groups.sections.iter().map(|section| bars_with_sound(sounding, &section.parts)).collect();
        let often = |family: Family| {
            let own = groups.sections.iter().zip(&of_sections).filter(|(section, _)| section.family == family);
            let bars: BTreeSet<u32> = own.flat_map(|(_, bars)| bars.iter().copied()).collect();
            bars.len() * 10 >= sounding.bars.len() && !bars.is_empty()
        };
        let families = (0..groups.families.len())
            .filter(|&family| matches!(groups.families[family].family, Family::Woodwind | Family::Brass | Family::Strings))
            .filter(|&family| often(groups.families[family].family))
            .collect();
        Self { of_sections, families }
    }

    /// As [`full_bars`].
    pub fn full_bars(&self, sounding: &Sounding, groups: &Groups) -> Vec<u32> {
        self.full_where(sounding, groups, |section, bar| self.of_sections[section].binary_search(&bar).is_ok())
    }

    /// Bars in which every standing family is there with at least two thirds of its sections, by what counts as a section's being there; none with fewer
    /// than two such families.
    pub fn full_where(&self, sounding: &Sounding, groups: &Groups, there: impl Fn(usize, u32) -> bool) -> Vec<u32> {
        if self.families.len() < 2 {
            return Vec::new();
        }
        let is_full = |bar: &u32| {
            self.families.iter().map(|&family| groups.families[family].family).all(|family| {
                let of_family = || (0..groups.sections.len()).filter(|&section| groups.sections[section].family == family);
                of_family().filter(|&section| there(section, *bar)).count() * 3 >= of_family().count() * 2
            })
        };
        (0u32..).zip(&sounding.bars).map(|(bar, _)| bar).filter(is_full).collect()
    }
}

/// Families that have to be there for a tutti: woodwind, brass and strings that sound in at least a tenth of the bars. Indices into [`Groups::families`].
#[must_use]
pub fn standing_families(sounding: &Sounding, groups: &Groups) -> Vec<usize> {
    Standing::new(sounding, groups).families
}

/// Bars in which the orchestra plays as a whole: every standing family sounds with at least two thirds of its sections. None with fewer than two
/// such families. The two thirds are common practice of speaking ("tutti without trombones"), not fitted.
#[must_use]
pub fn full_bars(sounding: &Sounding, groups: &Groups) -> Vec<u32> {
    Standing::new(sounding, groups).full_bars(sounding, groups)
}

/// Stretches of [`full_bars`]; a single bar that falls short does not part two of them. End exclusive.
#[must_use]
pub fn tuttis(full: &[u32]) -> Vec<Range<u32>> {
    let stretches = full.chunk_by(|a, b| *b <= *a + 2);
    stretches.filter_map(|bars| Some(*bars.first()?..*bars.last()? + 1)).collect()
}
