//! Notes and pitches by name.

use ripieno_score::{Pitch, Step};

/// Letter and signs: "eb", "f#", "b♭"; what is left over.
fn spelled(word: &str) -> Option<(Step, i8, &str)> {
    let mut letters = word.chars();
    let step = Step::from_letter(u8::try_from(letters.next()?.to_ascii_uppercase()).ok()?)?;
    let mut alter = 0i8;
    let mut rest = letters.as_str();
    loop {
        let mut after = rest.chars();
        match after.next() {
            Some('#' | '\u{266f}') => alter += 1,
            Some('b' | '\u{266d}') => alter -= 1,
            _ => return Some((step, alter, rest)),
        }
        if alter.abs() > 3 {
            return None;
        }
        rest = after.as_str();
    }
}

/// Pitch class of a note name: "eb" is 3; "c-sharp" is not known.
pub(crate) fn note_name(word: &str) -> Option<u8> {
    let (step, alter, rest) = spelled(word)?;
    let class = (step.semitones() + i32::from(alter)).rem_euclid(12);
    u8::try_from(class).ok().filter(|_| rest.is_empty())
}

/// MIDI key of a pitch such as "bb3".
pub(super) fn pitch(word: &str) -> Option<i64> {
    let (step, alter, rest) = spelled(word)?;
    let octave: i8 = rest.parse().ok().filter(|octave| (-1..=9).contains(octave))?;
    Some(i64::from(Pitch::new(step, alter, octave).key().ok()?.number()))
}
