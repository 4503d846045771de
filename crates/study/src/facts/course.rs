//! The course of the piece as its page shows it: tempo, metre, rehearsal marks.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Direction, DirectionKind, Metre, NoteValue};

use crate::Study;

/// What stands over the score about tempo at one moment.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TempoMark {
    /// The bar.
    pub bar: u32,
    /// Where in the bar.
    pub at: Crotchets,
    /// The words, as printed; empty where there are none.
    pub words: String,
    /// A metronome mark: beat and beats a minute.
    pub metronome: Option<(NoteValue, f64)>,
    /// Crotchets a minute the file gives for playback alone, which the page does not print.
    pub playback: Option<f64>,
}

/// Beginnings of words that speak of tempo, in the languages scores use (common practice, from memory), without diacritics.
const STEMS: &[&str] = &[
    "accel",
    "adagi",
    "allarg",
    "alleg",
    "andant",
    "anim",
    "belebt",
    "beschleun",
    "bewegt",
    "breit",
    "broad",
    "calando",
    "eil",
    "fast",
    "feierlich",
    "grave",
    "langsam",
    "larg",
    "lebhaft",
    "lent",
    "lively",
    "maestoso",
    "marcia",
    "mass",
    "mesure",
    "moder",
    "mosso",
    "mouvement",
    "presse",
    "prest",
    "pretis",
    "quick",
    "rall",
    "rapid",
    "rasch",
    "recit",
    "retenu",
    "riten",
    "ritar",
    "ruhig",
    "schnell",
    "slow",
    "stringend",
    "tempo",
    "tranquillo",
    "vif",
    "viv",
    "zeitmass",
    "zuruck",
];
/// Words that do so only when they stand whole.
const WHOLE: &[&str] = &["rit", "string", "riten", "stretto", "steady"];

impl Study {
    /// Tempo marks in order of time, one for each moment at which something is said.
    #[must_use]
    pub fn tempo_marks(&self) -> Vec<TempoMark> {
        let mut marks: BTreeMap<(u32, Crotchets), TempoMark> = BTreeMap::new();
        for direction in self.directions() {
            let place = (direction.bar.0, direction.at);
            let mut mark = marks.get(&place).cloned().unwrap_or(TempoMark { bar: place.0, at: place.1, ..TempoMark::default() });
            match &direction.kind {
                DirectionKind::Words(text) if is_tempo(text) => {
                    let text = tidy(text);
                    if !mark.words.contains(&text) {
                        mark.words = if mark.words.is_empty() { text } else { format!("{}, {text}", mark.words) };
                    }
                }
                DirectionKind::Metronome { beat, per_minute, .. } => {
                    mark.metronome.get_or_insert((*beat, *per_minute));
                }
                DirectionKind::PlaybackTempo { crotchets_per_minute } => {
                    mark.playback.get_or_insert(*crotchets_per_minute);
                }
                _ => continue,
            }
            marks.insert(place, mark);
        }
        marks.into_values().collect()
    }

    /// Changes of metre with the bars from which they hold.
    #[must_use]
    pub fn metres(&self) -> Vec<(u32, &Metre)> {
        let mut found: Vec<(u32, &Metre)> = Vec::new();
        for (index, bar) in (0u32..).zip(&self.score.bars) {
            if let Some(metre) = bar.metre.as_ref().filter(|metre| found.last().is_none_or(|(_, known)| known != metre)) {
                found.push((index, metre));
            }
        }
        found
    }

    /// Rehearsal marks, from whichever part has them.
    #[must_use]
    pub fn rehearsal_marks(&self) -> Vec<(u32, String)> {
        let mut found: Vec<(u32, String)> = self
            .directions()
            .filter_map(|direction| match &direction.kind {
                DirectionKind::Rehearsal(text) => Some((direction.bar.0, text.to_string())),
                _ => None,
            })
            .collect();
        found.sort();
        found.dedup();
        found
    }

    fn directions(&self) -> impl Iterator<Item = &Direction> {
        self.score.parts.iter().flat_map(|part| &part.directions)
    }
}

/// Whether words speak of tempo.
fn is_tempo(text: &str) -> bool {
    let plain: String = text
        .to_lowercase()
        .chars()
        .map(|letter| match letter {
            'ä' | 'à' => 'a',
            'é' | 'è' | 'ê' => 'e',
            'ü' => 'u',
            'ß' => 's',
            letter => letter,
        })
        .collect();
    let mut words = plain.split(|letter: char| !letter.is_alphabetic()).filter(|word| !word.is_empty());
    words.any(|word| WHOLE.contains(&word) || STEMS.iter().any(|stem| word.starts_with(stem)))
}

/// Without brackets left open and stops at the end.
fn tidy(text: &str) -> String {
    let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let open = one_line.matches('[').count() > one_line.matches(']').count();
    let end: &[char] = if open { &['[', ' '] } else { &[' '] };
    one_line.trim_end_matches(end).trim_end_matches(['.', ',']).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Headings of scores in four languages; common practice.
    #[test]
    fn words_of_tempo_are_told_from_others() {
        for text in [
            "Allegro non troppo, ma con brio",
            "a tempo [Adagio]",
            "Langsam und schmachtend",
            "Très lent",
            "string. molto",
            "rit.",
        ] {
            assert!(is_tempo(text), "{text}");
        }
        for text in ["pizz.", "dolce", "cresc.", "a 2", "con sord.", "strings", "marcato", "sul G"] {
            assert!(!is_tempo(text), "{text}");
        }
    }

    #[test]
    fn a_bracket_left_open_by_a_metronome_mark_goes() {
        assert_eq!(tidy("Presto. ["), "Presto");
        assert_eq!(tidy("a tempo [Adagio]"), "a tempo [Adagio]");
    }
}
