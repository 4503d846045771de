//! What the two models that come with the program have in common: the form of their files, and the logistic.

/// Lines of text and the numbers behind the empty line that ends them; `None` when a file has no such line or no text before it.
#[must_use]
pub fn text_and_numbers(file: &[u8]) -> Option<(&str, &[u8])> {
    let end = file.windows(2).position(|pair| pair == b"\n\n")?;
    Some((std::str::from_utf8(&file[..end]).ok()?, &file[end + 2..]))
}

/// Takes `count` little-endian half-precision numbers off the front of `bytes`; `None` when there are fewer or one is not finite.
pub(crate) fn halves(bytes: &mut &[u8], count: usize) -> Option<Vec<f32>> {
    let (mine, rest) = bytes.split_at_checked(count.checked_mul(2)?)?;
    *bytes = rest;
    let values: Vec<f32> = mine.chunks_exact(2).map(|pair| half(u16::from_le_bytes([pair[0], pair[1]]))).collect();
    values.iter().all(|value| value.is_finite()).then_some(values)
}

/// The value of an IEEE 754 binary16; those beyond the largest finite one become infinite.
fn half(bits: u16) -> f32 {
    let (sign, exponent, fraction) = (bits >> 15, i32::from(bits >> 10 & 31), f32::from(bits & 1023));
    let size = match exponent {
        0 => fraction * 2f32.powi(-24),
        31 => f32::INFINITY,
        _ => (1.0 + fraction / 1024.0) * 2f32.powi(exponent - 15),
    };
    if sign == 1 { -size } else { size }
}

/// The logistic: from a logit to a probability.
pub(crate) fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + (-x).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_are_ieee() {
        // Table of examples in IEEE 754-2008, binary16 (from memory): one, minus two, largest, smallest.
        assert_eq!([0x3c00, 0xc000, 0x7bff, 0x0001].map(half), [1.0, -2.0, 65504.0, 2f32.powi(-24)]);
    }
}
