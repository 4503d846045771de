//! Features of height and company, weighted by the time a part sounds.

use super::facts::Family;
use super::features::Features;
use super::piece::Piece;
use super::table::Feature as F;

/// The features summed slice by slice, over the time the part sounds with pitch.
const TIMED: [F; 17] = [
    F::hi_share,
    F::lo_share,
    F::hi_gap,
    F::lo_gap,
    F::rank_above,
    F::rank_rel,
    F::samepc,
    F::samepc_n,
    F::uni_n,
    F::frank,
    F::frank_rel,
    F::fn_family,
    F::pc_sal,
    F::pc_top3,
    F::pc_bass,
    F::pitch,
    F::pitch_vs_ens,
];

/// Highest and lowest key of every part in one slice of time between two events.
struct Slice {
    length: f64,
    /// Highest and lowest key; `None` while silent.
    keys: Vec<Option<(i32, i32)>>,
}

pub(super) fn fill(piece: &Piece, features: &mut Features) {
    let spans = own_spans(piece);
    for bar in 0..piece.bars() {
        let slices = slices(piece, bar);
        let weights = pitch_classes(piece, &slices);
        let mut sorted = weights;
        sorted.sort_unstable_by(|a, b| b.total_cmp(a));
        let third = sorted[2].max(1e-9);
        let mattering = weights.iter().filter(|&&weight| weight > 0.04).count();
        let mut sums = vec![[0.0f64; TIMED.len()]; piece.parts()];
        let mut pitched_time = vec![0.0f64; piece.parts()];
        let mut time = vec![0.0f64; piece.parts()];
        let mut company = vec![[0.0f64; 4]; piece.parts()];
        for slice in &slices {
            let count = |family: Option<Family>| {
                let counts = |part: usize| family.is_none_or(|family| piece.facts[part].family == family);
                (0..piece.parts()).filter(|&part| slice.keys[part].is_some() && counts(part)).count() as f64
            };
            let here = [count(None), count(Some(Family::Strings)), count(Some(Family::Woodwind)), count(Some(Family::Brass))];
            for part in (0..piece.parts()).filter(|&part| slice.keys[part].is_some()) {
                time[part] += slice.length;
                for (sum, value) in company[part].iter_mut().zip(here) {
                    *sum += value * slice.length;
                }
            }
            heights(piece, slice, &weights, third, |part, values| {
                pitched_time[part] += slice.length;
                for (sum, value) in sums[part].iter_mut().zip(values) {
                    *sum += value * slice.length;
                }
            });
        }
        for part in 0..piece.parts() {
            features.sounds[part * piece.bars() + bar] = time[part] > 0.0;
            features.set(part, bar, F::cover, time[part] / piece.length(bar) as f64);
            features.set(part, bar, F::pc_n, mattering as f64);
            for (feature, sum) in [F::n_parts, F::n_strings, F::n_woodwind, F::n_brass].into_iter().zip(company[part]) {
                features.set(part, bar, feature, sum / time[part]);
            }
            for (feature, sum) in TIMED.into_iter().zip(sums[part]) {
                features.set(part, bar, feature, sum / pitched_time[part]);
            }
            let (low, high) = spans[part];
            let place = (f64::from(features.get(part, bar, F::pitch)) - low) / (high - low).max(5.0);
            features.set(part, bar, F::own_pos, place);
        }
    }
}

/// Cuts a bar at every beginning and end of a note.
fn slices(piece: &Piece, bar: usize) -> Vec<Slice> {
    let (start, end) = (piece.starts[bar], piece.starts[bar + 1]);
    let notes = || piece.in_bar[bar].iter().map(|&index| piece.notes[index as usize]);
    let mut points: Vec<i64> = notes().flat_map(|note| [note.on.max(start), note.off.min(end)]).chain([start, end]).collect();
    points.sort_unstable();
    points.dedup();
    let mut slices: Vec<Slice> =
        points.windows(2).map(|pair| Slice { length: (pair[1] - pair[0]) as f64, keys: vec![None; piece.parts()] }).collect();
    for note in notes() {
        let from = points.partition_point(|&point| point < note.on);
        let to = points.partition_point(|&point| point < note.off.min(end));
        for slice in &mut slices[from..to] {
            let keys = &mut slice.keys[note.part];
            *keys = Some(keys.map_or((note.key, note.key), |(high, low)| (high.max(note.key), low.min(note.key))));
        }
    }
    slices
}

/// Share of each pitch class in the bar, by time, the highest and the lowest note of every part.
fn pitch_classes(piece: &Piece, slices: &[Slice]) -> [f64; 12] {
    let mut weights = [0.0; 12];
    for slice in slices {
        for (part, keys) in slice.keys.iter().enumerate() {
            if let Some((high, low)) = keys.filter(|_| !piece.facts[part].unpitched) {
                weights[high.rem_euclid(12) as usize] += slice.length;
                weights[low.rem_euclid(12) as usize] += slice.length;
            }
        }
    }
    let total = weights.iter().sum::<f64>().max(1e-9);
    weights.map(|weight| weight / total)
}

/// The values of [`TIMED`] in one slice, for each part that sounds with pitch.
fn heights(piece: &Piece, slice: &Slice, weights: &[f64; 12], third: f64, mut tell: impl FnMut(usize, [f64; TIMED.len()])) {
    let pitched: Vec<(usize, i32, i32)> = slice
        .keys
        .iter()
        .enumerate()
        .filter(|(part, _)| !piece.facts[*part].unpitched)
        .filter_map(|(part, keys)| keys.map(|(high, low)| (part, high, low)))
        .collect();
    let highest = pitched.iter().map(|part| part.1).max().unwrap_or(0);
    let lowest = pitched.iter().map(|part| part.2).min().unwrap_or(0);
    let count = pitched.len();
    let others = count.saturating_sub(1).max(1) as f64;
    let mean = pitched.iter().map(|part| f64::from(part.1)).sum::<f64>() / count.max(1) as f64;
    for &(part, high, low) in &pitched {
        let family = piece.facts[part].family;
        let (mut above, mut class, mut unison, mut family_above, mut family_size) = (0.0f64, -1.0, -1.0, 0.0, 0.0f64);
        for &(other, key, _) in &pitched {
            let is_above = f64::from(u8::from(key > high));
            above += is_above;
            class += f64::from(u8::from((key - high) % 12 == 0));
            unison += f64::from(u8::from(key == high));
            if piece.facts[other].family == family {
                family_above += is_above;
                family_size += 1.0;
            }
        }
        let weight = weights[high.rem_euclid(12) as usize];
        let flag = |is: bool| f64::from(u8::from(is));
        tell(
            part,
            [
                flag(high >= highest),
                flag(low <= lowest),
                f64::from(highest - high),
                f64::from(low - lowest),
                above,
                above / others,
                class / others,
                class,
                unison,
                family_above,
                family_above / (family_size - 1.0).max(1.0),
                family_size,
                weight,
                flag(weight >= third),
                flag((high - lowest) % 12 == 0),
                f64::from(high),
                f64::from(high) - mean,
            ],
        );
    }
}

/// The 10th and 90th percentile of each part's keys, between neighbours by straight line.
fn own_spans(piece: &Piece) -> Vec<(f64, f64)> {
    let mut keys = vec![Vec::new(); piece.parts()];
    for attack in &piece.line {
        keys[attack.part].push(attack.key);
    }
    keys.iter_mut()
        .map(|keys| {
            keys.sort_unstable();
            let at = |share: f64| {
                let place = share * (keys.len() - 1) as f64;
                let (below, above) = (keys[place.floor() as usize], keys[place.ceil() as usize]);
                f64::from(below) + f64::from(above - below) * place.fract()
            };
            if keys.is_empty() { (50.0, 70.0) } else { (at(0.1), at(0.9)) }
        })
        .collect()
}
