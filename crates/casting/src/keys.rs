//! Key signatures: in concert pitch as a score changes them, and as a transposing part has them.

use std::ops::Range;

use ripieno_score::{ChangeKind, Crotchets, Key, Score, Transposition};

/// A key signature in concert pitch, and from when it is in force: bar, and position in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Signature {
    pub bar: usize,
    pub at: Crotchets,
    pub key: Key,
}

/// The signatures of bars of a score, in order: the one in force at the beginning first, if there is one.
pub(crate) fn signatures(score: &Score, bars: &Range<usize>) -> Vec<Signature> {
    let changes = score.parts.iter().flat_map(|part| &part.changes);
    let keys = changes.filter(|change| matches!(change.kind, ChangeKind::Key(_)) && bars.contains(&change.bar.at()));
    let mut places: Vec<(usize, Crotchets)> = keys.map(|change| (change.bar.at(), change.at)).collect();
    places.push((bars.start, Crotchets::ZERO));
    places.sort_unstable();
    places.dedup();
    let mut found: Vec<Signature> = Vec::new();
    for (bar, at) in places {
        if let Some(key) = in_force(score, (bar, at)).filter(|key| found.last().is_none_or(|last| last.key != *key)) {
            found.push(Signature { bar, at, key });
        }
    }
    found
}

/// The key signature in force at a place, in concert pitch: of a part that does not transpose, else of one that does.
fn in_force(score: &Score, place: (usize, Crotchets)) -> Option<Key> {
    let mut best: Option<Key> = None;
    for part in &score.parts {
        let before = || part.changes.iter().rev().filter(|change| (change.bar.at(), change.at) <= place);
        let key = before().find_map(|change| if let ChangeKind::Key(key) = change.kind { Some(key) } else { None });
        let by = before().find_map(|change| if let ChangeKind::Transposition(by) = change.kind { Some(by) } else { None });
        let Some(key) = key else { continue };
        let by = by.unwrap_or(Transposition::NONE);
        if by.chromatic == 0 && by.diatonic == 0 {
            return Some(key);
        }
        // Seven fifths for a semitone, twelve back for a letter: a tone down is two flats more.
        let shift = (i32::from(by.chromatic) * 7 - i32::from(by.diatonic) * 12).clamp(-12, 12);
        best = best.or(Some(written(i32::from(key.fifths) + shift, key.major).0));
    }
    best
}

/// Signs of a signature at most.
const MOST_SIGNS: i32 = 7;

/// A key of so many fifths with at most seven signs, and the interval by which notes are spelled for it beside: F sharp major is A flat major for a trumpet in B flat, G sharp its A flat.
fn written(fifths: i32, major: Option<bool>) -> (Key, Transposition) {
    let diatonic = i8::from(fifths > MOST_SIGNS) - i8::from(fifths < -MOST_SIGNS);
    let fifths = i8::try_from(fifths - 12 * i32::from(diatonic)).unwrap_or(0);
    (Key { fifths, major }, Transposition { diatonic, ..Transposition::NONE })
}

/// A concert key as a part with a transposition has it, and the interval by which its notes are spelled beside what the transposition does.
pub(crate) fn for_part(key: Key, by: Transposition) -> (Key, Transposition) {
    written(i32::from(key.fifths) - (7 * i32::from(by.chromatic) - 12 * i32::from(by.diatonic)), key.major)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The circle of fifths (any primer): eight sharps are four flats, a diminished second higher.
    #[test]
    fn no_signature_has_more_than_seven_signs() {
        let key = |fifths| Key { fifths, major: Some(true) };
        let in_b_flat = Transposition { chromatic: -2, diatonic: -1, ..Transposition::NONE };
        let sharp_g = ripieno_score::Pitch::new(ripieno_score::Step::G, 1, 4);
        let (written, beside) = for_part(key(6), in_b_flat);
        assert_eq!((written.fifths, sharp_g.moved(beside).to_string().as_str()), (-4, "Ab4"));
        assert_eq!((for_part(key(5), in_b_flat).0.fifths, for_part(key(5), in_b_flat).1), (7, Transposition::NONE));
        let in_f = Transposition { chromatic: -7, diatonic: -4, ..Transposition::NONE };
        assert_eq!(for_part(key(-1), in_f).0.fifths, 0);
        // The other way round: seven flats for an instrument in A would be ten.
        let in_a = Transposition { chromatic: -3, diatonic: -2, ..Transposition::NONE };
        let (written, beside) = for_part(key(-7), in_a);
        assert_eq!((written.fifths, beside.diatonic), (2, -1));
    }
}
