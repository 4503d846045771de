//! The practice of an analysed score, as it is kept and compared.

use ripieno_practice::{Material, Profile};

use crate::Study;

impl Study {
    /// Its practice under keys that mean the same in every score. With `windows` it is measured again in stretches, so that it can be compared with
    /// another single score ([`Profile::of`]).
    #[must_use]
    pub fn profile(&self, windows: bool) -> Profile {
        let Self { score, sounding, groups, lines, doublings, harmony, themes, .. } = self;
        let material = Material::new(score, sounding, groups, lines, doublings, &self.roles.roles, harmony, themes);
        Profile::of(&material, &self.practice, &self.file, |bar| self.bar_label(bar), windows)
    }
}
