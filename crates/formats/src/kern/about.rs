//! Reference records: who and what.
//!
//! Source: Humdrum User Guide, Appendix I (reference records).

use ripieno_score::About;

use super::tempo;
use super::text::text;

/// What the reference records said, by their codes.
#[derive(Debug, Default)]
pub(super) struct Records {
    title: String,
    parent: String,
    opus: String,
    catalogue: String,
    number: String,
    movement_number: String,
    movement: String,
    rights: Vec<String>,
    creators: Vec<(&'static str, String)>,
}

/// People and rights kept at most.
const MOST_ENTRIES: usize = 100;

/// The code and the value of a record `!!!COM: Name`; a number or language after the code is left out of it.
pub(super) fn split(line: &[u8]) -> Option<(&[u8], &[u8])> {
    let rest = line.strip_prefix(b"!!!")?;
    let colon = rest.iter().position(|&byte| byte == b':')?;
    let (code, value) = (rest.get(..colon)?, rest.get(colon + 1..)?);
    let letters = code.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
    (letters > 0).then_some((code.get(..letters)?, value))
}

impl Records {
    /// Takes note of a record. The first of its kind counts, except where there may be several.
    pub(super) fn add(&mut self, code: &[u8], value: &[u8]) {
        let slot = match code {
            b"OTL" => &mut self.title,
            b"OPR" => &mut self.parent,
            b"OPS" => &mut self.opus,
            b"SCT" => &mut self.catalogue,
            b"ONM" => &mut self.number,
            b"OMV" => &mut self.movement_number,
            b"OMD" => &mut self.movement,
            b"YEC" | b"YEM" => {
                let value = text(value);
                if !value.is_empty() && self.rights.len() < MOST_ENTRIES {
                    self.rights.push(value);
                }
                return;
            }
            _ => {
                let value = text(value);
                if let (Some(role), true) = (role(code), !value.is_empty() && self.creators.len() < MOST_ENTRIES) {
                    self.creators.push((role, value));
                }
                return;
            }
        };
        if slot.is_empty() {
            let value = text(value);
            // A heading's metronome mark is no part of the name.
            *slot = if code == b"OMD" { tempo::split(&value).0.to_owned() } else { value };
        }
    }

    /// As a score has them: with a parent work the title is the movement's, otherwise the work's.
    pub(super) fn about(self) -> About {
        let (work, movement) = if self.parent.is_empty() { (self.title, self.movement) } else { (self.parent, self.title) };
        let opus = if self.opus.is_empty() { self.catalogue } else { self.opus };
        let work_number = [opus, self.number].iter().filter(|text| !text.is_empty()).cloned().collect::<Vec<_>>().join(", ");
        About {
            work,
            work_number,
            movement,
            movement_number: self.movement_number,
            creators: self.creators.into_iter().map(|(role, name)| (role.to_owned(), name)).collect(),
            rights: self.rights.join(" "),
            concert_pitch: false,
        }
    }
}

fn role(code: &[u8]) -> Option<&'static str> {
    Some(match code {
        b"COM" => "composer",
        b"COA" => "attributed composer",
        b"COS" => "suspected composer",
        b"COC" | b"COL" => "composer's other name",
        b"LYR" => "lyricist",
        b"LIB" => "librettist",
        b"LAR" => "arranger",
        b"LOR" => "orchestrator",
        b"TRN" => "translator",
        b"EED" | b"ENC" => "encoder",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::{Records, split};

    #[test]
    fn a_movement_of_a_larger_work() {
        let mut records = Records::default();
        for line in [
            "!!!COM: Palestrina, Giovanni",
            "!!!OPR: Missa brevis",
            "!!!OTL@@LAT: Agnus",
            "!!!OTL: second title",
            "!!!COM2: Other",
        ] {
            let (code, value) = split(line.as_bytes()).unwrap();
            records.add(code, value);
        }
        let about = records.about();
        assert_eq!(about.title(), "Missa brevis: Agnus");
        assert_eq!(about.composer(), Some("Palestrina, Giovanni"));
        assert_eq!(about.creators.len(), 2);
    }

    #[test]
    fn a_work_with_opus_and_number() {
        let mut records = Records::default();
        for (code, value) in [("OTL", "Quartet"), ("OPS", "Op. 18"), ("ONM", "No. 1"), ("OMD", "Allegro")] {
            records.add(code.as_bytes(), value.as_bytes());
        }
        let about = records.about();
        assert_eq!((about.work_number.as_str(), about.movement.as_str()), ("Op. 18, No. 1", "Allegro"));
    }
}
