//! Durations in reciprocal notation (`**recip`): 4 is a crotchet, 12 a triplet quaver, 0 a breve.
//!
//! Source: Humdrum Representation Reference, `**recip` and `**kern`; the rational form `3%2` and the zeros beyond the
//! breve (00 longa, 000 maxima) from the Humdrum Extras, chapter on rhythm.

use ripieno_score::{Crotchets, NoteValue, TupletRatio};

/// A duration as written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Recip {
    /// How long it lasts.
    pub length: Crotchets,
    /// The printed shape that follows from it; `None` when there is no such shape.
    pub value: Option<NoteValue>,
    /// The tuplet that shape belongs to.
    pub tuplet: Option<TupletRatio>,
}

/// Zeros read at most: two more than a maxima, which no score has.
const MOST_ZEROS: usize = 5;
/// Digits of a number read at most.
const MOST_DIGITS: usize = 9;
/// Shortest note believed, as a fraction of the crotchet: finer ones could not be added up exactly.
const FINEST: i64 = 100_000;
/// Augmentation dots read at most.
const MOST_DOTS: usize = 8;

/// Reads the duration at the start of `bytes`, which begins with a digit, and how many bytes it takes. The duration is
/// `None` when its numbers are beyond reason.
pub(super) fn read(bytes: &[u8]) -> (Option<Recip>, usize) {
    let digits = run(bytes, u8::is_ascii_digit);
    let mut used = digits;
    let above = bytes.get(..digits).and_then(number);
    let mut below = Some(1);
    if bytes.get(used) == Some(&b'%') {
        let tail = bytes.get(used + 1..).unwrap_or_default();
        let more = run(tail, u8::is_ascii_digit);
        if more > 0 {
            below = tail.get(..more).and_then(number);
            used += 1 + more;
        }
    }
    let dots = run(bytes.get(used..).unwrap_or_default(), |&byte| byte == b'.');
    used += dots;
    let recip = || {
        let dots = u8::try_from(dots.min(MOST_DOTS)).ok()?;
        match (above?, below?) {
            (0, 1) => zeros(digits.min(MOST_ZEROS), dots),
            (n, m) => reciprocal(n, m, dots),
        }
    };
    (recip(), used)
}

fn run(bytes: &[u8], belongs: impl Fn(&u8) -> bool) -> usize {
    bytes.iter().take_while(|byte| belongs(byte)).count()
}

fn number(digits: &[u8]) -> Option<u32> {
    (digits.len() <= MOST_DIGITS).then(|| digits.iter().fold(0, |sum, digit| sum * 10 + u32::from(digit - b'0')))
}

/// A breve for one zero, and twice as long for each further one.
fn zeros(count: usize, dots: u8) -> Option<Recip> {
    let count = u32::try_from(count).ok()?;
    let length = dotted(4 << count, 1, dots)?;
    let value = i8::try_from(count).ok().filter(|&count| count <= 3).map(|count| NoteValue { halvings: -count, dots });
    Some(Recip { length, value, tuplet: None })
}

/// `m / n` of a semibreve.
fn reciprocal(n: u32, m: u32, dots: u8) -> Option<Recip> {
    if n == 0 || m == 0 {
        return None;
    }
    let length = dotted(4 * i64::from(m), i64::from(n), dots).filter(|length| length.denominator() <= FINEST)?;
    // The shape is the shortest power of two that is not shorter than the note; the tuplet makes up the difference.
    let (wide_n, wide_m) = (u64::from(n), u64::from(m));
    let fits = |halvings: i8| {
        let (up, down) =
            if halvings >= 0 { (0, u32::from(halvings.unsigned_abs())) } else { (u32::from(halvings.unsigned_abs()), 0) };
        (wide_n << up >= wide_m << down).then_some((wide_n << up, wide_m << down))
    };
    let shape = (-3i8..=10).rev().find_map(|halvings| fits(halvings).map(|ratio| (halvings, ratio)));
    let Some((halvings, (actual, normal))) = shape else { return Some(Recip { length, value: None, tuplet: None }) };
    let divisor = gcd(actual, normal);
    let tuplet = match (u16::try_from(actual / divisor), u16::try_from(normal / divisor)) {
        (Ok(1), Ok(1)) => None,
        (Ok(actual), Ok(normal)) => Some(TupletRatio { actual, normal }),
        _ => return Some(Recip { length, value: None, tuplet: None }),
    };
    Some(Recip { length, value: Some(NoteValue { halvings, dots }), tuplet })
}

fn dotted(numerator: i64, denominator: i64, dots: u8) -> Option<Crotchets> {
    // With n dots a note lasts (2^(n+1) - 1) / 2^n of its undotted length.
    Crotchets::new(numerator * ((2 << dots) - 1), denominator * (1 << dots))
}

fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

#[cfg(test)]
mod tests {
    use super::read;

    /// Length in crotchets, shape as halvings and dots, tuplet.
    fn shown(text: &str) -> String {
        let (recip, used) = read(text.as_bytes());
        assert_eq!(used, text.len(), "{text} is read whole");
        let Some(recip) = recip else { return "none".to_owned() };
        let value = recip.value.map_or("-".to_owned(), |v| format!("{}{}", v.halvings, ".".repeat(v.dots.into())));
        let tuplet = recip.tuplet.map_or(String::new(), |t| format!(" {}:{}", t.actual, t.normal));
        format!("{} [{value}{tuplet}]", recip.length)
    }

    #[test]
    fn plain_and_dotted() {
        // Humdrum Representation Reference, **kern, table of signifiers.
        assert_eq!(shown("1"), "4 [0]");
        assert_eq!(shown("4"), "1 [2]");
        assert_eq!(shown("8."), "3/4 [3.]");
        assert_eq!(shown("2.."), "7/2 [1..]");
        assert_eq!(shown("128"), "1/32 [7]");
        assert_eq!(shown("0"), "8 [-1]");
    }

    #[test]
    fn tuplets() {
        // The same reference: 3 is a minim triplet, 6 and 12 crotchet and quaver triplets, 10 and 20 quintuplets.
        assert_eq!(shown("3"), "4/3 [1 3:2]");
        assert_eq!(shown("6"), "2/3 [2 3:2]");
        assert_eq!(shown("12"), "1/3 [3 3:2]");
        assert_eq!(shown("10"), "2/5 [3 5:4]");
        assert_eq!(shown("36"), "1/9 [5 9:8]");
        // Humdrum User Guide, chapter 6: 23 notes in the time of a double-dotted crotchet.
        assert_eq!(shown("92.."), "7/92 [6.. 23:16]");
    }

    #[test]
    fn rational() {
        // Humdrum Extras, rhythm, table of encodings.
        assert_eq!(shown("4%1"), "1 [2]");
        assert_eq!(shown("8%2"), "1 [2]");
        assert_eq!(shown("1%2"), "8 [-1]");
        assert_eq!(shown("1%4"), "16 [-2]");
        assert_eq!(shown("1%8"), "32 [-3]");
        assert_eq!(shown("40%3"), "3/10 [3 5:3]");
        assert_eq!(shown("3%2"), "8/3 [0 3:2]");
        assert_eq!(shown("7%3"), "12/7 [1 7:6]");
        assert_eq!(shown("3%2."), "4 [0. 3:2]");
        assert_eq!(shown("00"), "16 [-2]");
        assert_eq!(shown("000"), "32 [-3]");
    }

    #[test]
    fn beyond_reason() {
        assert_eq!(shown("99999999999999999999"), "none");
        assert_eq!(shown("0%3"), "none");
        assert_eq!(shown("999999"), "none");
        assert_eq!(shown("3%0"), "none");
        assert_eq!(shown("00000000"), "128 [-]");
        assert_eq!(shown("1%999999999"), "3999999996 [-]");
    }
}
