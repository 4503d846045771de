//! Seconds as players count them: by the tempi the page shows.
//!
//! Files carry playback tempi beside what is printed: a number behind "Allegro", a bar slowed down for the ear, a default nobody
//! chose. A number on the page is taken at its word; one behind printed words is one reading of them; one that no sign prints is
//! nothing a player knows of.

use std::collections::BTreeMap;

use ripieno_score::{BELIEVED_TEMPI, BarIndex, Crotchets, DirectionKind, PlayedBar, Score, TempoMap, may_head, tells_tempo};
use ripieno_texture::tells_technique;

/// A bar of the page and a place in it.
type Place = (BarIndex, Crotchets);

/// What seconds rest on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Basis {
    /// A metronome mark, or words that return to the tempo of one.
    Number,
    /// Words with a playback tempo of the file behind them.
    Words,
    /// A playback tempo that nothing on the page tells of.
    Hidden,
    /// No tempo at all.
    Nothing,
}

/// Tempi closer than this are the same, as a share.
const SAME: f64 = 0.03;

/// The tempi of a score and what they rest on.
pub(crate) struct Tempi {
    marks: Vec<(BarIndex, Crotchets, f64)>,
    bases: Vec<Basis>,
}

/// What stands at one moment.
#[derive(Default)]
struct Moment {
    number: Option<f64>,
    /// The tempo, and whether words about it stand beside it.
    playback: Option<(f64, bool)>,
}

impl Tempi {
    pub fn of(score: &Score) -> Self {
        let mut moments: BTreeMap<Place, Moment> = BTreeMap::new();
        for part in &score.parts {
            for here in part.directions.chunk_by(|a, b| (a.bar, a.at) == (b.bar, b.at)) {
                let has_words = here.iter().any(|one| matches!(&one.kind, DirectionKind::Words(text) if heads(text)));
                for direction in here {
                    let place = (direction.bar, direction.at);
                    match &direction.kind {
                        DirectionKind::Metronome { beat, per_minute, .. } => {
                            let number = per_minute * beat.length().to_f64();
                            // What is no tempo is not taken up again by the words that return to one.
                            if BELIEVED_TEMPI.contains(&number) {
                                moments.entry(place).or_default().number.get_or_insert(number);
                            }
                        }
                        DirectionKind::PlaybackTempo { crotchets_per_minute }
                            if BELIEVED_TEMPI.contains(crotchets_per_minute) =>
                        {
                            let known = &mut moments.entry(place).or_default().playback;
                            // Words in whichever part has them.
                            if known.is_none_or(|(_, words)| has_words && !words) {
                                *known = Some((*crotchets_per_minute, has_words));
                            }
                        }
                        _ => {}
                    }
                }
            }
        }
        let mut found = Self { marks: Vec::new(), bases: Vec::new() };
        let mut numbers: Vec<f64> = Vec::new();
        for ((bar, at), moment) in moments {
            let (tempo, basis) = match (moment.number, moment.playback) {
                (Some(number), _) => {
                    numbers.push(number);
                    (number, Basis::Number)
                }
                (None, Some((tempo, true))) => {
                    let returns = numbers.iter().any(|number| (number - tempo).abs() <= SAME * number);
                    (tempo, if returns { Basis::Number } else { Basis::Words })
                }
                // After a tempo that is printed the player keeps to that.
                (None, Some((tempo, false))) if found.bases.last().is_none_or(|last| *last == Basis::Hidden) => {
                    (tempo, Basis::Hidden)
                }
                _ => continue,
            };
            found.marks.push((bar, at, tempo));
            found.bases.push(basis);
        }
        found
    }

    /// Seconds along the played bars.
    pub fn map(&self, played: &[PlayedBar]) -> TempoMap {
        TempoMap::along(played, &self.marks)
    }

    /// What seconds at a place rest on.
    pub fn basis(&self, (bar, at): Place) -> Basis {
        let before = self.marks.partition_point(|mark| (mark.0, mark.1) <= (bar, at));
        before.checked_sub(1).map_or(Basis::Nothing, |last| self.bases[last])
    }
}

/// Whether words give a tempo: they speak of it ("Poco andante"), or head what follows ("Trauermarsch") and are neither about the way of
/// playing nor about who plays.
fn heads(text: &str) -> bool {
    tells_tempo(text) || (may_head(text) && !tells_technique(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Direction, NoteValue, Part};

    fn at(bar: u32, kind: DirectionKind) -> Direction {
        Direction { bar: BarIndex(bar), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind }
    }

    fn playback(bar: u32, tempo: f64) -> Direction {
        at(bar, DirectionKind::PlaybackTempo { crotchets_per_minute: tempo })
    }

    fn words(bar: u32, text: &str) -> Direction {
        at(bar, DirectionKind::Words(text.into()))
    }

    fn tempi(directions: Vec<Direction>) -> Tempi {
        Tempi::of(&Score { parts: vec![Part { directions, ..Part::default() }], ..Score::default() })
    }

    fn told(tempi: &Tempi) -> Vec<(u32, f64, Basis)> {
        tempi.marks.iter().zip(&tempi.bases).map(|(mark, basis)| (mark.0.0, mark.2, *basis)).collect()
    }

    #[test]
    fn what_is_printed_is_taken_and_what_is_hidden_is_not() {
        // A quaver at 108 is a crotchet at 54, whatever the file plays there.
        let mark = DirectionKind::Metronome { beat: NoteValue { halvings: 3, dots: 0 }, per_minute: 108.0, text: None };
        let found = tempi(vec![
            words(0, "Poco andante"),
            at(0, mark),
            playback(0, 92.0),
            playback(4, 30.0),
            words(8, "Presto"),
            playback(8, 170.0),
            playback(9, 20.0),
            words(12, "Tempo I"),
            playback(12, 54.0),
        ]);
        assert_eq!(told(&found), [(0, 54.0, Basis::Number), (8, 170.0, Basis::Words), (12, 54.0, Basis::Number)]);
        assert_eq!(found.basis((BarIndex(9), Crotchets::ZERO)), Basis::Words);
    }

    #[test]
    fn a_file_that_prints_no_tempo_says_so() {
        let found = tempi(vec![playback(1, 90.0), playback(2, 60.0)]);
        assert_eq!(told(&found), [(1, 90.0, Basis::Hidden), (2, 60.0, Basis::Hidden)]);
        assert_eq!(found.basis((BarIndex(0), Crotchets::ZERO)), Basis::Nothing);
    }

    #[test]
    fn a_number_nobody_plays_is_none() {
        let mark = |per_minute| DirectionKind::Metronome { beat: NoteValue { halvings: 2, dots: 0 }, per_minute, text: None };
        let found = tempi(vec![at(0, mark(1.0)), at(2, mark(6000.0)), playback(2, 90.0), playback(3, 0.0)]);
        assert_eq!(told(&found), [(2, 90.0, Basis::Hidden)]);
        assert_eq!(found.basis((BarIndex(1), Crotchets::ZERO)), Basis::Nothing);
    }

    #[test]
    fn words_about_playing_do_not_print_a_tempo() {
        for beside in ["con sord.", "pizz.", "Pizz.", "Con sordino", "Solo", "dolce", "a 2", "Soli", "Cantabile", "slow gliss."] {
            assert_eq!(told(&tempi(vec![words(0, beside), playback(0, 72.0)])), [(0, 72.0, Basis::Hidden)], "{beside}");
        }
        for heading in ["Trauermarsch", "poco andante", "Scherzo"] {
            assert_eq!(told(&tempi(vec![words(0, heading), playback(0, 72.0)])), [(0, 72.0, Basis::Words)], "{heading}");
        }
    }
}
