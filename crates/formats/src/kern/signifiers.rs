//! What a file says its own signifiers mean, in reference records such as `!!!RDF**kern: i = cue-size note`.
//!
//! Source: Humdrum User Guide, Appendix I (RDF records). The records may stand anywhere in the file, often at its end,
//! so they are gathered before anything else is read.

use std::collections::BTreeMap;

use super::text::text;

/// The meanings that change what is played; others are taken note of and leave the note as it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// Cue-size: for orientation, not played.
    Cue,
    /// Part of an alternative reading.
    Ossia,
    /// Not printed.
    Hidden,
    /// Declared, but nothing that concerns the sound.
    Declared,
}

/// The file's own signifiers, by their character.
#[derive(Debug, Default)]
pub(super) struct Signifiers(BTreeMap<u8, Meaning>);

impl Signifiers {
    /// Gathers the definitions for `**kern`.
    pub(super) fn of(bytes: &[u8]) -> Self {
        const RECORD: &[u8] = b"!!!RDF**kern";
        let mut found = BTreeMap::new();
        for line in bytes.split(|&byte| byte == b'\n' || byte == b'\r') {
            let Some(rest) = line.strip_prefix(RECORD) else { continue };
            let Some(colon) = rest.iter().position(|&byte| byte == b':') else { continue };
            let definition = text(rest.get(colon + 1..).unwrap_or_default());
            let Some((sign, meaning)) = definition.split_once('=') else { continue };
            // A signifier of several characters (`@@`) means something by itself alone; single ones are what notes carry.
            if let [sign] = sign.trim().as_bytes() {
                found.insert(*sign, of_words(&meaning.to_lowercase()));
            }
        }
        Self(found)
    }

    /// What the file says `signifier` means.
    pub(super) fn meaning(&self, signifier: u8) -> Option<Meaning> {
        self.0.get(&signifier).copied()
    }
}

fn of_words(words: &str) -> Meaning {
    let says = |any: &[&str]| any.iter().any(|word| words.contains(word));
    if says(&["cue"]) {
        Meaning::Cue
    } else if says(&["ossia", "alternative reading"]) {
        Meaning::Ossia
    } else if says(&["hidden", "invisible", "not printed", "unprinted"]) && !says(&["accidental", "stem", "slur", "tie"]) {
        Meaning::Hidden
    } else {
        Meaning::Declared
    }
}

#[cfg(test)]
mod tests {
    use super::{Meaning, Signifiers};

    #[test]
    fn gathers_definitions_wherever_they_stand() {
        let file = b"**kern\n4c\n*-\n!!!RDF**kern: i = cue-size\r\n!!!RDF**kern: @ = marked note, color=blue\n!!!RDF**kern:l=hidden accidental\n!!!RDF**dynam: N = cue\n";
        let signifiers = Signifiers::of(file);
        assert_eq!(signifiers.meaning(b'i'), Some(Meaning::Cue));
        assert_eq!(signifiers.meaning(b'@'), Some(Meaning::Declared));
        assert_eq!(signifiers.meaning(b'l'), Some(Meaning::Declared));
        assert_eq!(signifiers.meaning(b'N'), None);
    }
}
