//! The course of the piece as its page shows it: tempo, metre, rehearsal marks.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Direction, DirectionKind, Metre, NoteValue, tells_tempo};

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

impl Study {
    /// Tempo marks in order of time, one for each moment at which something is said.
    #[must_use]
    pub fn tempo_marks(&self) -> Vec<TempoMark> {
        let mut marks: BTreeMap<(u32, Crotchets), TempoMark> = BTreeMap::new();
        for direction in self.directions() {
            let place = (direction.bar.0, direction.at);
            let mut mark = marks.get(&place).cloned().unwrap_or(TempoMark { bar: place.0, at: place.1, ..TempoMark::default() });
            match &direction.kind {
                DirectionKind::Words(text) if tells_tempo(text) => {
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

    #[test]
    fn a_bracket_left_open_by_a_metronome_mark_goes() {
        assert_eq!(tidy("Presto. ["), "Presto");
        assert_eq!(tidy("a tempo [Adagio]"), "a tempo [Adagio]");
    }
}
