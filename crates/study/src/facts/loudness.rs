//! How loud a section is marked, bar by bar.

use ripieno_score::DynamicLevel;

use crate::Study;

/// The printed level of a section in a bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Loudness {
    /// Nothing of it sounds.
    Silent,
    /// It sounds, before its first mark.
    Unmarked,
    /// Its loudest note has this level.
    Marked(DynamicLevel),
}

impl Study {
    /// For each section of [`crate::Groups::sections`] its loudest note in each bar; a note held into a bar counts there.
    #[must_use]
    pub fn loudness_of_sections(&self) -> Vec<Vec<Loudness>> {
        let (notes, bars) = (&self.sounding.notes, &self.sounding.bars);
        let mut found = vec![vec![Loudness::Silent; bars.len()]; self.groups.sections.len()];
        for (section, found) in self.groups.sections.iter().zip(&mut found) {
            for row in section.parts.iter().filter_map(|&part| notes.of_part.get(part)).flat_map(Clone::clone) {
                let (first, end) = (notes.bar[row] as usize, notes.onset[row] + notes.duration[row]);
                let reached = bars[first..].partition_point(|bar| bar.start < end).max(1);
                for here in &mut found[first..first + reached] {
                    *here = match (*here, notes.level[row]) {
                        (Loudness::Marked(known), Some(level)) => Loudness::Marked(if level > known { level } else { known }),
                        (_, Some(level)) => Loudness::Marked(level),
                        (Loudness::Silent, None) => Loudness::Unmarked,
                        (known, None) => known,
                    };
                }
            }
        }
        found
    }
}
