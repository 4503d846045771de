//! The practice of an analysed score, as it is kept and compared.

use ripieno_formats::Finding;
use ripieno_practice::{Doubt, Profile};

use crate::Study;

impl Study {
    /// Its practice under keys that mean the same in every score. With `windows` it is measured again in stretches, so that it can be compared with
    /// another single score ([`Profile::of`]).
    #[must_use]
    pub fn profile(&self, windows: bool) -> Profile {
        let material = self.material();
        let mut profile = Profile::of(&material, &self.practice, &self.file, |bar| self.bar_label(bar), windows);
        for score in &mut profile.scores {
            score.doubts = self.doubts();
        }
        profile
    }

    /// Findings of the reader that would pass for practice, in a comparison or beside a finding in words.
    #[must_use]
    pub fn doubts(&self) -> Vec<Doubt> {
        let doubt = |finding: &Finding| {
            let of_pitch = finding.code == "beyond-compass";
            let part = finding.place.part.as_deref().filter(|_| of_pitch || finding.code == "mute-stays")?;
            let index = self.score.parts.iter().position(|other| other.name.trim() == part)?;
            let identity = self.groups.parts.get(index)?;
            let bar = finding.place.bar.as_deref().unwrap_or_default();
            Some(Doubt {
                section: identity.section.name().to_owned(),
                instrument: identity.instrument.map_or_else(String::new, |instrument| instrument.id.clone()),
                of_pitch,
                text: format!("{part}, from bar {bar}: {}. {}.", finding.what, finding.hint.trim_end_matches('.')),
            })
        };
        self.findings.iter().filter_map(doubt).collect()
    }
}
