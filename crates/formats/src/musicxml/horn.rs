//! Horns in the bass clef.
//!
//! Until the early twentieth century a horn in F written in the bass clef sounded a fourth higher than written, not a fifth lower as
//! in the treble clef (common practice, from memory). A file's `<transpose>` cannot say which of the two its engraver meant, so such places are reported, not changed.

use ripieno_score::{ClefSign, Part};

use super::context::Context;
use super::part_reader::PartReader;

impl<'x> PartReader<'x> {
    /// Reports, once, that a horn part has a note under a bass clef.
    pub(super) fn notice_low_horn(&mut self, staff: u8, context: &mut Context<'x, '_>) {
        let clef = self.staves.get(usize::from(staff).saturating_sub(1)).and_then(|staff| staff.clef);
        if clef != Some(ClefSign::F) {
            return;
        }
        self.low_horn_reported = true;
        let what =
            "the horn part has notes in the bass clef, which older scores write an octave lower than the treble clef would";
        context.note(
            self.here(),
            "horn-in-bass-clef",
            what,
            "Pitches were read as the file transposes them; check one of these notes",
        );
    }
}

/// Whether the part is evidently for horns, by its standard sound or its name.
pub(super) fn is_horn(part: &Part) -> bool {
    if part.instruments.iter().any(|instrument| instrument.sound.starts_with("brass.french-horn")) {
        return true;
    }
    let name = part.name.to_lowercase();
    let other = [
        "english", "englisch", "inglese", "anglais", "basset", "bassett", "flugel", "flügel", "alto", "tenor", "althorn", "post",
        "shoe", "cornet", "sax", "krumm", "crum",
    ];
    if other.iter().any(|word| name.contains(word)) {
        return false;
    }
    name.split(|c: char| !c.is_alphabetic())
        .any(|word| matches!(word, "horn" | "horns" | "hörner" | "corno" | "corni" | "cor" | "cors" | "hrn" | "hn" | "waldhorn"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knows_horns_by_name() {
        for (name, horn) in [
            ("Horn in F 1", true),
            ("Corni in Es", true),
            ("Cor. 1.2", true),
            ("4 Hörner in F", true),
            ("Cor anglais", false),
            ("Corno inglese", false),
            ("English Horn", false),
            ("Cornet in Bb", false),
            ("Flügelhorn", false),
            ("Viola", false),
        ] {
            let part = Part { name: name.to_owned(), ..Part::default() };
            assert_eq!(is_horn(&part), horn, "{name}");
        }
    }
}
