//! The likeliest row of roles along a line: each bar's fit, and a price for changing.

/// Price of a change of role from one bar to the next, in natural logarithms of fit; after a silence it is nearly free.
const CHANGE: f32 = 0.8;
const CHANGE_AFTER_SILENCE: f32 = 0.1;

/// For each bar the index of its role. `fits[k]` lists how well each role fits, `silence[k]` tells whether a silent bar comes
/// before bar `k`.
pub(crate) fn path<const N: usize>(fits: &[[f32; N]], silence: &[bool]) -> Vec<usize> {
    let Some(first) = fits.first() else { return Vec::new() };
    let mut best: Vec<f32> = first.iter().map(|fit| fit.max(1e-6).ln()).collect();
    let mut from: Vec<[usize; N]> = vec![[0; N]];
    for (fit, &silent) in fits.iter().zip(silence).skip(1) {
        let price = if silent { CHANGE_AFTER_SILENCE } else { CHANGE };
        let leader = largest(&best);
        let mut came = [0; N];
        let mut next = Vec::with_capacity(N);
        for (role, value) in fit.iter().enumerate() {
            let (stay, change) = (best[role], best[leader] - price);
            came[role] = if stay >= change { role } else { leader };
            next.push(stay.max(change) + value.max(1e-6).ln());
        }
        best = next;
        from.push(came);
    }
    let mut role = largest(&best);
    let mut path = vec![role; fits.len()];
    for bar in (1..fits.len()).rev() {
        role = from[bar][role];
        path[bar - 1] = role;
    }
    path
}

/// Index of the largest value, the first among equals.
fn largest(values: &[f32]) -> usize {
    values.iter().enumerate().fold(0, |best, (index, value)| if *value > values[best] { index } else { best })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_odd_bar_does_not_change_the_role() {
        let fits = [[0.7, 0.3], [0.7, 0.3], [0.45, 0.55], [0.7, 0.3]];
        assert_eq!(path(&fits, &[false; 4]), [0, 0, 0, 0]);
        // Two clear bars do.
        let fits = [[0.9, 0.1], [0.9, 0.1], [0.1, 0.9], [0.1, 0.9]];
        assert_eq!(path(&fits, &[false; 4]), [0, 0, 1, 1]);
    }

    #[test]
    fn a_silence_frees_the_line() {
        let fits = [[0.7, 0.3], [0.4, 0.6]];
        assert_eq!(path(&fits, &[false, false]), [0, 0]);
        assert_eq!(path(&fits, &[false, true]), [0, 1]);
    }
}
