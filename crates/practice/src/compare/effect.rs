//! How large a difference is, beside the spread there is, and whether it stands clear of it.

use crate::profile::{BLOCKS, Counted, Key, Pooled};

/// On what scale an effect is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scale {
    /// Two sets: the difference over the pooled standard deviation between works, corrected for few works (Hedges' g; L. V. Hedges,
    /// "Distribution theory for Glass's estimator of effect size and related estimators", Journal of Educational Statistics 6, 1981).
    BetweenWorks,
    /// One work beside a set: the difference over the standard deviation between the works of the set (J. R. Crawford, P. H. Garthwaite and
    /// S. Porter, "Point and interval estimates of effect sizes for the case-controls design", Cognitive Neuropsychology 27, 2010).
    BesideASet,
    /// The unit's own scale, where no spread between works is known: shares by Cohen's h, others by [`own_scale`].
    Unit,
}

impl Scale {
    /// In words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BetweenWorks => "Hedges' g: over the spread between works",
            Self::BesideASet => "over the spread between works of the set",
            Self::Unit => "own scale of the unit",
        }
    }
}

/// Whether a difference stands clear of noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Beyond noise: the chance of so large a difference without cause is below 1 in 20, row by row.
    Clear,
    /// Not beyond noise: nothing is claimed.
    WithinNoise,
    /// How much the value varies is not known: nothing is claimed.
    Unknown,
    /// The two are the same.
    Same,
}

impl Standing {
    /// In words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Clear => "clear of noise",
            Self::WithinNoise => "within noise",
            Self::Unknown => "noise not known",
            Self::Same => "the same",
        }
    }
}

/// A difference judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// B less A on the scale.
    pub size: f64,
    /// The scale.
    pub scale: Scale,
    /// Standard error of the difference, in the unit of the row, where it is known.
    pub error: Option<f64>,
    /// Whether it stands clear of noise.
    pub standing: Standing,
}

/// Differences below this are digits of the arithmetic.
const DIGITS: f64 = 2e-6;
/// The chance at which a difference counts as clear.
const CHANCE: f64 = 0.05;

/// Judges B beside A. `same_piece`: two versions of one piece, whose every difference is one of the music and none of chance.
#[allow(clippy::cast_precision_loss)] // works of a library
pub(crate) fn effect(key: &Key, a: &Pooled, b: &Pooled, same_piece: bool) -> Effect {
    let difference = b.mean - a.mean;
    let own = own_scale(key.unit, a.mean, b.mean);
    let judged = |size, scale, error: f64, df: f64| {
        let standing = if two_sided(difference / error, df) < CHANCE { Standing::Clear } else { Standing::WithinNoise };
        Effect { size, scale, error: Some(error), standing }
    };
    let unit = |standing, error| Effect { size: own, scale: Scale::Unit, error, standing };
    if difference.abs() <= DIGITS {
        return Effect { size: 0.0, scale: Scale::Unit, error: None, standing: Standing::Same };
    }
    if same_piece {
        return unit(Standing::Clear, None);
    }
    match (a.spread, b.spread) {
        (Some(sa), Some(sb)) => {
            let (na, nb) = (a.works() as f64, b.works() as f64);
            let df = na + nb - 2.0;
            let pooled = (((na - 1.0) * sa.powi(2) + (nb - 1.0) * sb.powi(2)) / df).sqrt();
            let (va, vb) = (sa.powi(2) / na, sb.powi(2) / nb);
            let error = (va + vb).sqrt();
            if pooled <= DIGITS || error <= DIGITS {
                return unit(Standing::Unknown, None);
            }
            // Degrees of freedom by Welch and Satterthwaite (B. L. Welch, Biometrika 34, 1947).
            let welch = (va + vb).powi(2) / (va.powi(2) / (na - 1.0) + vb.powi(2) / (nb - 1.0));
            judged(small_sample(df) * difference / pooled, Scale::BetweenWorks, error, welch)
        }
        (None, Some(spread)) | (Some(spread), None) => {
            let n = a.works().max(b.works()) as f64;
            // J. R. Crawford and D. C. Howell, "Comparing an individual's test score against norms derived from small samples", 1998.
            let error = spread * ((n + 1.0) / n).sqrt();
            if spread <= DIGITS {
                return unit(Standing::Unknown, None);
            }
            judged(difference / spread, Scale::BesideASet, error, n - 1.0)
        }
        (None, None) => {
            // An extreme is one event, and resampling tells nothing of it.
            let errors = a.error.zip(b.error).filter(|_| !key.is_extreme());
            match errors.map(|(a, b)| a.hypot(b)) {
                Some(error) if error > DIGITS => judged(own, Scale::Unit, error, f64::from(BLOCKS - 1)),
                _ => unit(Standing::Unknown, None),
            }
        }
    }
}

/// The factor that takes the bias of few works out of a standardised difference (Hedges 1981, the approximation 1 − 3/(4 df − 1)).
pub(crate) fn small_sample(df: f64) -> f64 {
    1.0 - 3.0 / (4.0 * df - 1.0)
}

/// The difference B less A on the unit's own scale, so made that about 0.2 is little, 0.5 middling and 0.8 much.
///
/// Shares: Cohen's h, the difference of 2 arcsin √p (J. Cohen, "Statistical Power Analysis for the Behavioral Sciences", 1988, chapter 6, who
/// also gives these three steps). The rest is this project's convention: pitches and intervals in octaves; dynamic steps in fours (ff beside p); what
/// cannot be negative and has no upper bound (rates, players, bars, counts, quotients) by the logarithm to base 4 of the quotient, a small amount
/// added to both so that a zero can be compared: twice as much is 0.5.
#[must_use]
pub fn own_scale(unit: Counted, a: f64, b: f64) -> f64 {
    let angle = |share: f64| 2.0 * share.clamp(0.0, 1.0).sqrt().asin();
    // A difference of logarithms, so that B beside A is exactly the opposite of A beside B.
    let twice = |least: f64| ((b.max(0.0) + least).log2() - (a.max(0.0) + least).log2()) / 2.0;
    match unit {
        Counted::Semitones | Counted::Key => (b - a) / 12.0,
        Counted::Level => (b - a) / 4.0,
        Counted::Ratio | Counted::PerSecond => twice(0.1),
        Counted::PerHundredBars | Counted::PerHundredCrotchets | Counted::Count | Counted::Players => twice(1.0),
        Counted::Bars => twice(4.0),
        _ => angle(b) - angle(a),
    }
}

/// The chance that Student's t with `df` degrees of freedom lies at least this far from 0, on either side.
pub(crate) fn two_sided(t: f64, df: f64) -> f64 {
    if !t.is_finite() {
        return 0.0;
    }
    incomplete_beta(df / (df + t * t), df / 2.0, 0.5)
}

/// The regularised incomplete beta function by its continued fraction (M. Abramowitz and I. A. Stegun, "Handbook of Mathematical Functions",
/// 26.5.8, evaluated by the modified method of Lentz).
fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(1.0 - x, b, a);
    }
    const TINY: f64 = 1e-300;
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (1.0 - x).ln()).exp() / a;
    let guard = |value: f64| if value.abs() < TINY { TINY } else { value };
    let (mut c, mut d) = (1.0, 1.0 / guard(1.0 - (a + b) * x / (a + 1.0)));
    let mut sum = d;
    for m in 1..200 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let before = sum;
        for term in [even, odd] {
            d = 1.0 / guard(1.0 + term * d);
            c = guard(1.0 + term / c);
            sum *= c * d;
        }
        if (sum - before).abs() < 1e-15 * sum.abs() {
            break;
        }
    }
    front * sum
}

/// Logarithm of the gamma function of a positive number: recurrence up to 10, then Stirling's series (Abramowitz and Stegun, 6.1.41).
fn ln_gamma(x: f64) -> f64 {
    let mut shifted = x;
    let mut below = 0.0;
    while shifted < 10.0 {
        below += shifted.ln();
        shifted += 1.0;
    }
    let inverse = 1.0 / (shifted * shifted);
    let series = (1.0 / 12.0 - inverse * (1.0 / 360.0 - inverse * (1.0 / 1260.0 - inverse / 1680.0))) / shifted;
    (shifted - 0.5) * shifted.ln() - shifted + 0.5 * std::f64::consts::TAU.ln() + series - below
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Printed quantiles of Student's t for 5 % on both sides: 12.706, 4.303, 2.776, 2.228, 2.042 for 1, 2, 4, 10 and 30 degrees of freedom
    /// (Abramowitz and Stegun, table 26.10; to three decimals, hence the tolerance).
    #[test]
    fn chances_agree_with_the_printed_table() {
        for (t, df) in [(12.706, 1.0), (4.303, 2.0), (2.776, 4.0), (2.228, 10.0), (2.042, 30.0)] {
            assert!((two_sided(t, df) - 0.05).abs() < 4e-5, "{t} {df}: {}", two_sided(t, df));
        }
        // scipy 1.17.1, 2 * stats.t.sf(t, df), with broken degrees of freedom and in both tails of the continued fraction.
        for (t, df, p) in [
            (2.5, 3.2, 0.082_441_737_161),
            (0.3, 1.7, 0.796_802_918_397),
            (5.0, 14.3, 0.000_182_576_643),
            (1.96, 120.0, 0.052_313_676_446),
            (40.0, 2.0, 0.000_624_414_672),
        ] {
            assert!((two_sided(t, df) - p).abs() < 1e-11, "{t} {df}: {}", two_sided(t, df));
        }
        // One degree of freedom has a closed form, 1 − 2/π arctan t.
        assert!((two_sided(1.0, 1.0) - 0.5).abs() < 1e-12);
        assert!((two_sided(0.0, 7.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn shares_follow_cohens_h() {
        // Cohen 1988, table 6.2.2: φ(.50) = 1.571, φ(.25) = 1.047; φ(1) = π.
        assert!((own_scale(Counted::ShareOfTime, 0.25, 0.5) - (1.571 - 1.047)).abs() < 1e-3);
        assert!((own_scale(Counted::ShareOfBars, 0.0, 1.0) - std::f64::consts::PI).abs() < 1e-12);
        assert!((own_scale(Counted::Ratio, 0.9, 1.9) - 0.5).abs() < 1e-12);
        assert!((own_scale(Counted::Key, 60.0, 72.0) - 1.0).abs() < 1e-12);
    }
}
