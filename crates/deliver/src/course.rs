//! What is said to everybody though it stands in one part: words about the tempo and its fermatas.
//!
//! Metronome marks, headings and rehearsal marks come into every part with the cut (`ripieno_formats::excerpt`); "rit.", "a tempo" or
//! "lunga" over the top staff are meant for all as well, and whoever does not read them comes in wrong.

use ripieno_score::{Direction, DirectionKind, Part, Score, is_tempo, tells_pause};

/// Whether a direction of a part is words for all players: they change the tempo, or say how long a fermata lasts.
pub(crate) fn is_for_all(part: &Part, direction: &Direction) -> bool {
    is_tempo(part, direction) || matches!(&direction.kind, DirectionKind::Words(text) if tells_pause(text))
}

/// Whether the directions of a part stand in order, which finding what is beside them needs.
fn is_in_order(part: &Part) -> bool {
    part.directions.is_sorted_by_key(|direction| (direction.bar, direction.at))
}

/// The words for all players of a score, those of the part highest on the page first. The score is as `Score::finish` leaves it.
pub(crate) fn words(score: &Score) -> Vec<Direction> {
    let mut found: Vec<Direction> = Vec::new();
    for part in &score.parts {
        debug_assert!(is_in_order(part), "directions out of order");
        for direction in &part.directions {
            let same = |known: &Direction| (known.bar, known.at) == (direction.bar, direction.at) && known.kind == direction.kind;
            if is_for_all(part, direction) && !found.iter().any(same) {
                found.push(Direction { staff: 1, voice: None, above: Some(true), ..direction.clone() });
            }
        }
    }
    found
}

/// Gives a part, whose directions are in order, the words it does not have.
pub(crate) fn add(part: &mut Part, words: &[Direction]) {
    debug_assert!(is_in_order(part), "directions out of order");
    for word in words {
        let has = |own: &Direction| (own.bar, own.at) == (word.bar, word.at) && is_for_all(part, own);
        if !part.directions.iter().any(has) {
            let place = part.directions.partition_point(|own| (own.bar, own.at) <= (word.bar, word.at));
            part.directions.insert(place, word.clone());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{BarIndex, Crotchets};

    #[test]
    fn words_over_one_part_are_given_to_all() {
        let said = |bar: u32, text: &str| Direction {
            bar: BarIndex(bar),
            at: Crotchets::ZERO,
            staff: 1,
            voice: None,
            above: None,
            kind: DirectionKind::Words(text.into()),
        };
        let part = |directions: &[Direction]| Part { directions: directions.to_vec(), ..Part::default() };
        let flute = part(&[said(2, "tranquillo"), said(4, "rit."), said(6, "lunga")]);
        let mut horn = part(&[said(4, "poco rit."), said(9, "dolce")]);
        let score = Score { parts: vec![flute, horn.clone()], ..Score::default() };
        add(&mut horn, &words(&score));
        // What the part says of the tempo in its own words it keeps; how the flute is to play is no business of the horn's.
        assert_eq!(
            horn.directions,
            [said(4, "poco rit."), Direction { above: Some(true), ..said(6, "lunga") }, said(9, "dolce")]
        );
    }
}
