//! From crotchets to seconds.

use crate::directions::DirectionKind;
use crate::score::{BarIndex, Score};
use crate::sounding::PlayedBar;
use crate::time::Crotchets;

/// Crotchets a minute where the score says nothing; the default of Standard MIDI Files.
pub const ASSUMED_TEMPO: f64 = 120.0;

/// Slowest and fastest tempo believed, in crotchets a minute; what lies beyond counts as not said.
pub const BELIEVED_TEMPI: std::ops::RangeInclusive<f64> = 5.0..=1200.0;

/// The tempo through the piece.
#[derive(Debug, Clone, PartialEq)]
pub struct TempoMap {
    /// (from this moment on, seconds elapsed by then, crotchets a minute), the first at 0.
    points: Vec<(Crotchets, f64, f64)>,
    /// Whether no tempo at all was given, so that [`ASSUMED_TEMPO`] stands in for it.
    pub assumed: bool,
}

impl TempoMap {
    /// Gathers metronome marks and playback tempi of all parts along the played bars. A jump back returns to the tempo in force at
    /// its aim; one forward (over an ending, to the coda) keeps the tempo it comes from.
    pub(crate) fn new(score: &Score, played: &[PlayedBar]) -> Self {
        // Per bar: (position, whether it is a playback tempo, crotchets a minute); at one moment playback tempo wins,
        // since it is meant for this use, then the part highest on the page.
        let mut marks: Vec<(u32, Crotchets, bool, f64)> = Vec::new();
        for part in &score.parts {
            for direction in &part.directions {
                let (playback, tempo) = match &direction.kind {
                    DirectionKind::Metronome { beat, per_minute, .. } => (false, per_minute * beat.length().to_f64()),
                    DirectionKind::PlaybackTempo { crotchets_per_minute } => (true, *crotchets_per_minute),
                    _ => continue,
                };
                if BELIEVED_TEMPI.contains(&tempo) {
                    marks.push((direction.bar.0, direction.at, playback, tempo));
                }
            }
        }
        marks.sort_by_key(|mark| (mark.0, mark.1, !mark.2));
        marks.dedup_by_key(|mark| (mark.0, mark.1));
        let marks: Vec<_> = marks.into_iter().map(|(bar, at, _, tempo)| (BarIndex(bar), at, tempo)).collect();
        Self::along(played, &marks)
    }

    /// The tempo along played bars by these marks alone: bar, place in it and crotchets a minute, in order, one at a moment. A tempo
    /// nobody plays is not believed.
    #[must_use]
    pub fn along(played: &[PlayedBar], marks: &[(BarIndex, Crotchets, f64)]) -> Self {
        let marks: Vec<_> = marks.iter().filter(|mark| BELIEVED_TEMPI.contains(&mark.2)).collect();
        let assumed = marks.is_empty();
        let mut map = Self { points: vec![(Crotchets::ZERO, 0.0, ASSUMED_TEMPO)], assumed };
        let mut before = BarIndex(0);
        for bar in played {
            let first = marks.partition_point(|mark| mark.0 < bar.bar);
            if bar.bar <= before {
                map.set(bar.start, first.checked_sub(1).map_or(ASSUMED_TEMPO, |last| marks[last].2));
            }
            before = bar.bar;
            for mark in marks[first..].iter().take_while(|mark| mark.0 == bar.bar) {
                map.set(bar.start + mark.1, mark.2);
            }
        }
        map
    }

    /// From `at`, no earlier than any moment before, the tempo is this.
    fn set(&mut self, at: Crotchets, tempo: f64) {
        let last = self.points.len() - 1;
        let (from, _, now) = self.points[last];
        if at <= from {
            self.points[last].2 = tempo;
        } else if now.to_bits() != tempo.to_bits() {
            self.points.push((at, seconds_after(self.points[last], at), tempo));
        }
    }

    /// Seconds from the beginning to the moment `at`.
    #[must_use]
    pub fn seconds(&self, at: Crotchets) -> f64 {
        let after = self.points.partition_point(|point| point.0 <= at);
        seconds_after(self.points[after.saturating_sub(1)], at)
    }

    /// Crotchets a minute in force at `at`.
    #[must_use]
    pub fn tempo(&self, at: Crotchets) -> f64 {
        let after = self.points.partition_point(|point| point.0 <= at);
        self.points[after.saturating_sub(1)].2
    }

    /// The changes: (moment, crotchets a minute), the first at 0.
    pub fn changes(&self) -> impl Iterator<Item = (Crotchets, f64)> + '_ {
        self.points.iter().map(|&(at, _, tempo)| (at, tempo))
    }
}

fn seconds_after((from, elapsed, tempo): (Crotchets, f64, f64), at: Crotchets) -> f64 {
    elapsed + (at - from).to_f64() * 60.0 / tempo
}
