//! Ways of playing that colour a note, row by row of the sounding view.
//!
//! Signs on the note itself hold for it alone. Words ("pizz.", "con sord.", "flutter-tongue") hold from where they stand until a
//! word of the same kind takes them back ("arco", "senza sord.", "ord."), for all voices of the part. The words are common
//! practice in English, Italian, French and German scores; they are matched without regard to case, stops and hyphens.

use bitflags::bitflags;
use ripieno_score::{Articulations, DirectionKind, Edge, Mark, NoteFlags, Part, Score, Sounding};

bitflags! {
    /// Ways of playing of one note.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
    pub struct Techniques: u16 {
        /// A tremolo or roll: quick repetition without counting, or between two notes.
        const TREMOLO = 1;
        /// A trill.
        const TRILL = 1 << 1;
        /// Slides to the next note, or falls, rises or scoops in or out of it.
        const SLIDE = 1 << 2;
        /// Flutter-tongue.
        const FLUTTER = 1 << 3;
        /// Hand-stopped horn.
        const STOPPED = 1 << 4;
        /// Muted.
        const MUTED = 1 << 5;
        /// Plucked by players who usually bow.
        const PLUCKED = 1 << 6;
        /// A harmonic.
        const HARMONIC = 1 << 7;
        /// At the bridge.
        const AT_BRIDGE = 1 << 8;
        /// With the wood of the bow.
        const WITH_WOOD = 1 << 9;
    }
}

impl Techniques {
    /// Colours that draw the ear to the sound rather than to the note.
    pub const COLOUR: Self =
        Self::SLIDE.union(Self::FLUTTER).union(Self::STOPPED).union(Self::TRILL).union(Self::AT_BRIDGE).union(Self::WITH_WOOD);
}

/// What a word switches on and what it ends, longest words first where one holds another.
const WORDS: &[(&str, Techniques, Techniques)] = &[
    ("flutter", Techniques::FLUTTER, Techniques::empty()),
    ("flatter", Techniques::FLUTTER, Techniques::empty()),
    ("frullato", Techniques::FLUTTER, Techniques::empty()),
    ("flz", Techniques::FLUTTER, Techniques::empty()),
    ("senza sord", Techniques::empty(), Techniques::MUTED),
    ("via sord", Techniques::empty(), Techniques::MUTED),
    ("sans sourd", Techniques::empty(), Techniques::MUTED),
    ("otez sourd", Techniques::empty(), Techniques::MUTED),
    ("ohne dampf", Techniques::empty(), Techniques::MUTED),
    ("dampfer weg", Techniques::empty(), Techniques::MUTED),
    ("mute off", Techniques::empty(), Techniques::MUTED),
    ("mutes off", Techniques::empty(), Techniques::MUTED),
    ("con sord", Techniques::MUTED, Techniques::empty()),
    ("avec sourd", Techniques::MUTED, Techniques::empty()),
    ("mit dampf", Techniques::MUTED, Techniques::empty()),
    ("muted", Techniques::MUTED, Techniques::empty()),
    ("with mute", Techniques::MUTED, Techniques::empty()),
    ("stopped", Techniques::STOPPED, Techniques::empty()),
    ("gestopft", Techniques::STOPPED, Techniques::empty()),
    ("chiuso", Techniques::STOPPED, Techniques::empty()),
    ("bouche", Techniques::STOPPED, Techniques::empty()),
    ("open", Techniques::empty(), Techniques::STOPPED.union(Techniques::MUTED)),
    ("offen", Techniques::empty(), Techniques::STOPPED.union(Techniques::MUTED)),
    ("aperto", Techniques::empty(), Techniques::STOPPED.union(Techniques::MUTED)),
    ("ouvert", Techniques::empty(), Techniques::STOPPED.union(Techniques::MUTED)),
    ("pizz", Techniques::PLUCKED, Techniques::AT_BRIDGE.union(Techniques::WITH_WOOD)),
    ("arco", Techniques::empty(), Techniques::PLUCKED.union(Techniques::WITH_WOOD)),
    ("mit dem bogen", Techniques::empty(), Techniques::PLUCKED.union(Techniques::WITH_WOOD)),
    ("sul pont", Techniques::AT_BRIDGE, Techniques::empty()),
    ("am steg", Techniques::AT_BRIDGE, Techniques::empty()),
    ("sur le chevalet", Techniques::AT_BRIDGE, Techniques::empty()),
    ("col legno", Techniques::WITH_WOOD, Techniques::empty()),
    ("avec le bois", Techniques::WITH_WOOD, Techniques::empty()),
    ("ord", Techniques::empty(), ORDINARY),
    ("nat", Techniques::empty(), ORDINARY),
    ("normal", Techniques::empty(), ORDINARY),
    ("gewohnlich", Techniques::empty(), ORDINARY),
];

/// What "ord." takes back: not a mute, which is a thing in the player's hand.
const ORDINARY: Techniques =
    Techniques::FLUTTER.union(Techniques::STOPPED).union(Techniques::AT_BRIDGE).union(Techniques::WITH_WOOD);

/// Ways of playing for every row of [`Sounding::notes`].
#[must_use]
pub fn techniques(score: &Score, sounding: &Sounding) -> Vec<Techniques> {
    let notes = &sounding.notes;
    let mut found = vec![Techniques::empty(); notes.len()];
    for (part, rows) in score.parts.iter().zip(&notes.of_part) {
        let on_notes = of_marks(part);
        let words = of_words(part);
        for row in rows.clone() {
            let index = notes.written[row] as usize;
            let Some(note) = part.notes.get(index) else { continue };
            let place = (note.bar, note.at);
            let in_force =
                words.partition_point(|(at, _)| *at <= place).checked_sub(1).map_or(Techniques::empty(), |i| words[i].1);
            let mut own = in_force | on_notes.get(index).copied().unwrap_or_default();
            let flags = NoteFlags::TREMOLO_START | NoteFlags::TREMOLO_STOP;
            if note.tremolo >= 3 || note.flags.intersects(flags) {
                own |= Techniques::TREMOLO;
            }
            if note.flags.contains(NoteFlags::HARMONIC) {
                own |= Techniques::HARMONIC;
            }
            for (sign, technique) in SIGNS {
                if note.articulations.intersects(*sign) {
                    own |= *technique;
                }
            }
            found[row] = own;
        }
    }
    found
}

const SIGNS: &[(Articulations, Techniques)] = &[
    (Articulations::TRILL, Techniques::TRILL),
    (Articulations::STOPPED, Techniques::STOPPED),
    (Articulations::SNAP_PIZZICATO, Techniques::PLUCKED),
    (Articulations::SCOOP.union(Articulations::PLOP).union(Articulations::DOIT).union(Articulations::FALLOFF), Techniques::SLIDE),
];

/// Techniques from marks, by written note.
fn of_marks(part: &Part) -> Vec<Techniques> {
    let mut found = vec![Techniques::empty(); part.notes.len()];
    for (note, mark) in &part.marks {
        let technique = match mark {
            // The note a slide arrives at belongs to the gesture.
            Mark::Glissando { .. } => Techniques::SLIDE,
            Mark::TrillLine { edge: Edge::Start | Edge::Continue, .. } => Techniques::TRILL,
            Mark::Technique(text) => read(text).map_or(Techniques::empty(), |(on, _)| on),
            _ => continue,
        };
        if let Some(own) = found.get_mut(*note as usize) {
            *own |= technique;
        }
    }
    found
}

type Place = (ripieno_score::BarIndex, ripieno_score::Crotchets);

/// Techniques in force from each word on.
fn of_words(part: &Part) -> Vec<(Place, Techniques)> {
    let mut now = Techniques::empty();
    let mut found = Vec::new();
    for direction in &part.directions {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        if let Some((on, off)) = read(text) {
            now = (now - off) | on;
            found.push(((direction.bar, direction.at), now));
        }
    }
    found
}

/// Whether words are about the way of playing: "con sord.", "Pizz.", "ord.".
#[must_use]
pub fn tells_technique(text: &str) -> bool {
    read(text).is_some()
}

/// What a text switches on and off; `None` when it says nothing about the way of playing.
fn read(text: &str) -> Option<(Techniques, Techniques)> {
    let plain: String = text
        .to_lowercase()
        .chars()
        .map(|letter| match letter {
            'ä' => 'a',
            'ö' => 'o',
            'ü' => 'u',
            'é' | 'è' | 'ê' => 'e',
            'ô' => 'o',
            letter if letter.is_alphanumeric() => letter,
            _ => ' ',
        })
        .collect();
    let plain = format!(" {}", plain.split_whitespace().collect::<Vec<_>>().join(" "));
    let (mut on, mut off, mut any) = (Techniques::empty(), Techniques::empty(), false);
    for (word, starts, ends) in WORDS {
        // From the start of a word, so that "ord" is not found in "accord"; short words have to end there too.
        let hit = plain.match_indices(word).any(|(at, _)| {
            let rest = &plain[at + word.len()..];
            plain[..at].ends_with(' ') && (word.len() > 3 || rest.is_empty() || rest.starts_with(' '))
        });
        if hit {
            any = true;
            on |= *starts;
            off |= *ends;
        }
    }
    any.then_some((on, off - on))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_in_four_languages() {
        let on = |text| read(text).map(|(on, _)| on);
        assert_eq!(on("pizz."), Some(Techniques::PLUCKED));
        assert_eq!(on("Con sord."), Some(Techniques::MUTED));
        assert_eq!(on("mit Dämpfer"), Some(Techniques::MUTED));
        assert_eq!(on("bouché"), Some(Techniques::STOPPED));
        assert_eq!(on("Flatterzunge"), Some(Techniques::FLUTTER));
        assert_eq!(on("flutter-tongue"), Some(Techniques::FLUTTER));
        assert_eq!(on("senza sord."), Some(Techniques::empty()));
        assert_eq!(on("dolce"), None);
        assert_eq!(on("in accordo"), None);
        assert_eq!(on("ordinary people"), None);
        assert_eq!(on("con sord., flz."), Some(Techniques::MUTED | Techniques::FLUTTER));
    }

    #[test]
    fn ordinary_leaves_the_mute_on() {
        let (_, off) = read("ord.").unwrap_or_default();
        assert!(off.contains(Techniques::FLUTTER) && !off.contains(Techniques::MUTED));
    }
}
