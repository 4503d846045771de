//! What is worth looking at: moments with their reasons, and findings in words, both from the measures, each with its bars.
//!
//! Neither says anything beyond the score in hand. A moment's weight and a finding's are how far the number behind it lies from the usual
//! (chance, or the middle of the score's own values), between 0 and 1; they order the lists and mean nothing else.

mod findings;
mod moments;

pub use findings::{Sentence, findings};
pub use moments::{Moment, moments};

use crate::measure::{Subject, Taken, Value};

/// Values of one measure.
fn of<'a>(taken: &'a [Taken], measure: &str) -> &'a [Value] {
    taken.iter().find(|taken| taken.measure.name == measure).map_or(&[], |taken| taken.values.as_slice())
}

/// One value of one measure.
fn one<'a>(taken: &'a [Taken], measure: &str, subject: Subject, aspect: &str) -> Option<&'a Value> {
    of(taken, measure).iter().find(|value| value.of == subject && value.with.is_none() && value.aspect == aspect)
}

/// Stretches of bars that follow on each other, end exclusive.
fn runs(bars: &[u32]) -> impl Iterator<Item = std::ops::Range<u32>> + '_ {
    bars.chunk_by(|a, b| *b <= *a + 1).filter_map(|run| Some(*run.first()?..*run.last()? + 1))
}

/// A number in words up to twelve.
fn counted(number: usize, what: &str) -> String {
    const WORDS: [&str; 13] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    let count = WORDS.get(number).map_or_else(|| number.to_string(), |word| (*word).to_owned());
    if number == 1 { format!("{count} {what}") } else { format!("{count} {what}s") }
}

/// "an octave and a fifth" for 19.
fn interval(semitones: u32) -> String {
    const NAMES: [&str; 12] = [
        "a unison",
        "a semitone",
        "a tone",
        "a minor third",
        "a major third",
        "a fourth",
        "a tritone",
        "a fifth",
        "a minor sixth",
        "a major sixth",
        "a minor seventh",
        "a major seventh",
    ];
    let name = NAMES[(semitones % 12) as usize];
    match (semitones / 12, semitones % 12) {
        (0, _) => name.to_owned(),
        (1, 0) => "an octave".to_owned(),
        (octaves, 0) => counted(octaves as usize, "octave"),
        (1, _) => format!("an octave and {name}"),
        (octaves, _) => format!("{} and {name}", counted(octaves as usize, "octave")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_and_runs_read_well() {
        assert_eq!(
            [0, 7, 12, 19, 24, 28].map(interval),
            ["a unison", "a fifth", "an octave", "an octave and a fifth", "two octaves", "two octaves and a major third"]
        );
        assert_eq!(runs(&[1, 2, 3, 7, 9, 10]).collect::<Vec<_>>(), [1..4, 7..8, 9..11]);
        assert_eq!(counted(1, "bar"), "one bar");
        assert_eq!(counted(13, "bar"), "13 bars");
    }
}
