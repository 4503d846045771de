//! Numbers as files write them: whole, decimal, negative, absurd.

use ripieno_score::Crotchets;

/// A decimal number kept exactly: `mantissa / scale`, scale a power of ten.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Decimal {
    pub mantissa: i64,
    pub scale: i64,
}

impl Decimal {
    /// A whole number.
    pub const fn whole(value: i64) -> Self {
        Self { mantissa: value, scale: 1 }
    }

    /// Reads `12`, `-1`, `0.5`, `+3.`; `None` for anything else ("NaN", "1e9", "") and for numbers beyond about 10^15.
    #[inline]
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = text.as_bytes();
        // Nearly always: a few digits and nothing else.
        if !bytes.is_empty() && bytes.len() <= 9 {
            let mut value = 0i64;
            let mut plain = true;
            for &byte in bytes {
                let digit = byte.wrapping_sub(b'0');
                if digit > 9 {
                    plain = false;
                    break;
                }
                value = value * 10 + i64::from(digit);
            }
            if plain {
                return Some(Self::whole(value));
            }
        }
        Self::parse_slowly(text)
    }

    fn parse_slowly(text: &str) -> Option<Self> {
        let text = text.trim();
        let (negative, digits) = match text.as_bytes().first()? {
            b'-' => (true, text.get(1..)?),
            b'+' => (false, text.get(1..)?),
            _ => (false, text),
        };
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        let mut part = part.trim_end_matches('0');
        if !(whole.bytes().chain(part.bytes()).all(|byte| byte.is_ascii_digit())) || digits.is_empty() || digits == "." {
            return None;
        }
        // Beyond a millionth of a division nothing can be heard or drawn.
        part = part.get(..part.len().min(6))?;
        let whole = whole.trim_start_matches('0');
        if whole.len() > 15 {
            return None;
        }
        let scale = 10i64.checked_pow(u32::try_from(part.len()).ok()?)?;
        let value = |digits: &str| if digits.is_empty() { Some(0) } else { digits.parse::<i64>().ok() };
        let mantissa = value(whole)?.checked_mul(scale)?.checked_add(value(part)?)?;
        Some(Self { mantissa: if negative { -mantissa } else { mantissa }, scale })
    }

    /// The number over `divisor`, as crotchets; `None` when `divisor` is zero.
    pub fn over(self, divisor: Self) -> Option<Crotchets> {
        if let (1, 1) = (self.scale, divisor.scale) {
            return Crotchets::new(self.mantissa, divisor.mantissa);
        }
        Crotchets::new(self.mantissa, self.scale)?.checked_div(Crotchets::new(divisor.mantissa, divisor.scale)?)
    }

    /// The nearest float.
    #[allow(clippy::cast_precision_loss)]
    pub fn to_f64(self) -> f64 {
        self.mantissa as f64 / self.scale as f64
    }

    /// The number in hundredths, rounded towards zero.
    pub fn hundredths(self) -> i64 {
        i64::try_from(i128::from(self.mantissa) * 100 / i128::from(self.scale)).unwrap_or(i64::MAX)
    }
}

/// A whole number, spaces around it allowed.
#[inline]
pub(super) fn whole(text: &str) -> Option<i64> {
    let decimal = Decimal::parse(text)?;
    (decimal.scale == 1).then_some(decimal.mantissa)
}

/// A whole number of a smaller type.
#[inline]
pub(super) fn small<T: TryFrom<i64>>(text: &str) -> Option<T> {
    T::try_from(whole(text)?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_decimals_exactly() {
        for (text, mantissa, scale) in
            [("12", 12, 1), (" 7 ", 7, 1), ("-1", -1, 1), ("0.5", 5, 10), ("+3.", 3, 1), ("1.50", 15, 10), ("-.25", -25, 100)]
        {
            assert_eq!(Decimal::parse(text), Some(Decimal { mantissa, scale }), "{text}");
        }
    }

    #[test]
    fn refuses_what_is_no_number() {
        for text in ["", " ", ".", "-", "NaN", "inf", "1e9", "0x10", "1,5", "1.2.3", "--1", "99999999999999999999"] {
            assert_eq!(Decimal::parse(text), None, "{text}");
        }
    }

    #[test]
    fn divides_exactly() {
        let half = Decimal::parse("0.5").unwrap();
        assert_eq!(Decimal::whole(1).over(half), Some(Crotchets::whole(2)));
        assert_eq!(Decimal::whole(1).over(Decimal::whole(0)), None);
    }
}
