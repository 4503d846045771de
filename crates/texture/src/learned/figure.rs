//! Features of a part's own figure in a bar, and of how often it comes back.

use super::features::{Features, counts, entropy};
use super::piece::{Attack, CROTCHET, Piece};
use super::table::Feature as F;

pub(super) fn fill(piece: &Piece, features: &mut Features) {
    let cells = piece.parts() * piece.bars();
    // Rhythm, rhythm with contour, rhythm with keys; zero where nothing is attacked.
    let mut prints = [vec![0u64; cells], vec![0u64; cells], vec![0u64; cells]];
    for part in 0..piece.parts() {
        for bar in 0..piece.bars() {
            let attacks = piece.cell(part, bar);
            features.set(part, bar, F::n_on, attacks.len() as f64);
            features.set(part, bar, F::dens, attacks.len() as f64 * piece.beats[bar] as f64 / piece.length(bar) as f64);
            if !attacks.is_empty() {
                times(piece, bar, attacks, |feature, value| features.set(part, bar, feature, value));
                keys(piece, bar, attacks, |feature, value| features.set(part, bar, feature, value));
                let at = part * piece.bars() + bar;
                for (kind, prints) in prints.iter_mut().enumerate() {
                    prints[at] = fingerprint(attacks, piece.starts[bar], kind);
                }
            }
        }
    }
    returns(piece, features, &prints);
}

fn mean(values: impl Iterator<Item = bool>) -> f64 {
    let (mut yes, mut all) = (0usize, 0usize);
    for value in values {
        yes += usize::from(value);
        all += 1;
    }
    yes as f64 / all as f64
}

/// Log2 of a length in crotchets, from a 32nd of a crotchet.
fn log_length(ticks: f64) -> f64 {
    (ticks.max(15.0) / CROTCHET as f64).log2()
}

fn times(piece: &Piece, bar: usize, attacks: &[Attack], mut set: impl FnMut(F, f64)) {
    let (start, length, beat) = (piece.starts[bar], piece.length(bar), piece.beats[bar]);
    let n = attacks.len() as f64;
    let sounding: i64 = attacks.iter().map(|attack| attack.dur).sum();
    let mut between: Vec<i64> = attacks.iter().map(|attack| attack.ioi.min(2 * length)).collect();
    let all: i64 = between.iter().sum();
    set(F::mdur, log_length(sounding as f64 / n));
    set(F::maxdur, log_length(attacks.iter().map(|attack| attack.dur).max().unwrap_or(0) as f64));
    set(F::legato, sounding as f64 / all.max(1) as f64);
    set(F::ioi_min, log_length(between.iter().copied().min().unwrap_or(0) as f64));
    set(F::ioi_mean, log_length(all as f64 / n));
    if between.len() > 1 {
        between.pop();
    }
    let kinds = counts(&mut between);
    set(F::n_ioi, kinds.len() as f64);
    set(F::ioi_ent, entropy(&kinds));
    set(F::same_ioi, kinds.iter().copied().max().unwrap_or(0) as f64 / between.len() as f64);
    let place = |attack: &Attack| attack.on - start;
    set(F::first_pos, place(&attacks[0]) as f64 / length as f64);
    set(F::on_start, f64::from(u8::from(place(&attacks[0]) == 0)));
    set(F::onbeat, mean(attacks.iter().map(|attack| place(attack) % beat == 0)));
    set(F::offbeat, mean(attacks.iter().map(|attack| place(attack) % beat * 2 == beat)));
    set(
        F::sync,
        mean(attacks.iter().map(|attack| {
            let at = place(attack);
            at % beat != 0 && (at / beat + 1) * beat < at + attack.dur
        })),
    );
    set(F::chord, attacks.iter().map(|attack| attack.chord).sum::<usize>() as f64 / n);
    set(F::held_in, f64::from(u8::from(attacks[0].before_end.is_some_and(|end| end > start))));
    let last = &attacks[attacks.len() - 1];
    set(F::last_gap, 1.0 - ((place(last) + last.dur) as f64 / length as f64).min(1.0));
}

fn keys(piece: &Piece, bar: usize, attacks: &[Attack], mut set: impl FnMut(F, f64)) {
    let mut own: Vec<i32> = attacks.iter().map(|attack| attack.key).collect();
    let mut line = own.clone();
    let kinds = counts(&mut own);
    set(F::range, f64::from(own[own.len() - 1] - own[0]));
    set(F::n_pitch, kinds.len() as f64);
    set(F::p_ent, entropy(&kinds));
    own.iter_mut().for_each(|key| *key %= 12);
    set(F::n_pc, counts(&mut own).len() as f64);
    // The step into the bar counts when no more than a beat of rest lies before it.
    let first = &attacks[0];
    if let (Some(key), Some(end)) = (first.before, first.before_end)
        && first.on - end <= piece.beats[bar]
    {
        line.insert(0, key);
    }
    if line.len() < 2 || piece.facts[first.part].unpitched {
        return;
    }
    let intervals: Vec<i32> = line.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let share = |test: fn(i32) -> bool| mean(intervals.iter().map(|interval| test(interval.abs())));
    set(F::rep, share(|size| size == 0));
    set(F::step, share(|size| (1..=2).contains(&size)));
    set(F::third, share(|size| (3..=4).contains(&size)));
    set(F::leap, share(|size| size > 4));
    set(F::maxleap, f64::from(intervals.iter().map(|interval| interval.abs()).max().unwrap_or(0)));
    set(F::net, f64::from(intervals.iter().sum::<i32>()) / intervals.len() as f64);
    set(F::iv_ent, entropy(&counts(&mut intervals.clone())));
    if intervals.len() < 2 {
        return;
    }
    set(F::turns, mean(intervals.windows(2).map(|pair| pair[0].signum() * pair[1].signum() < 0)));
    set(
        F::arp,
        mean(intervals.windows(2).map(|pair| pair[0].abs() > 2 && pair[1].abs() > 2 && pair[0].signum() == pair[1].signum())),
    );
    set(F::osc, mean(line.windows(3).map(|keys| keys[2] == keys[0] && keys[1] != keys[2])));
    let (mut best, mut current, mut way) = (0, 0, 0);
    for interval in intervals {
        let steps = (1..=2).contains(&interval.abs());
        current = if !steps {
            0
        } else if interval.signum() == way {
            current + 1
        } else {
            1
        };
        way = interval.signum();
        best = best.max(current);
    }
    set(F::run, f64::from(best));
}

/// FNV-1a over the places of the attacks and, by `kind`, nothing more, their contour, or their keys. Never zero.
fn fingerprint(attacks: &[Attack], start: i64, kind: usize) -> u64 {
    let mut print = 0xcbf2_9ce4_8422_2325u64;
    let mut take = |value: i64| {
        for byte in value.to_le_bytes() {
            print = (print ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    };
    for attack in attacks {
        take(attack.on - start);
        match kind {
            1 => take(i64::from(attack.key - attacks[0].key)),
            2 => take(i64::from(attack.key)),
            _ => {}
        }
    }
    print.max(1)
}

fn returns(piece: &Piece, features: &mut Features, prints: &[Vec<u64>; 3]) {
    let bars = piece.bars();
    let lags = [[F::rh_lag1, F::rh_lag2, F::rh_lag4], [F::ct_lag1, F::ct_lag2, F::ct_lag4], [F::pk_lag1, F::pk_lag2, F::pk_lag4]];
    for (prints, lags) in prints.iter().zip(lags) {
        for part in 0..piece.parts() {
            let own = &prints[part * bars..(part + 1) * bars];
            for bar in (0..bars).filter(|bar| features.sounds[part * bars + bar]).collect::<Vec<_>>() {
                for (lag, feature) in [1, 2, 4].into_iter().zip(lags) {
                    let same = |other: Option<usize>| {
                        other.and_then(|other| own.get(other)).is_some_and(|&print| print == own[bar] && print > 0)
                    };
                    let both = u8::from(same(bar.checked_sub(lag))) + u8::from(same(Some(bar + lag)));
                    features.set(part, bar, feature, f64::from(both));
                }
            }
        }
    }
    for (prints, feature) in prints.iter().zip([F::rh_freq, F::ct_freq]) {
        let mut sorted = prints.clone();
        sorted.sort_unstable();
        for part in 0..piece.parts() {
            for bar in 0..bars {
                let print = prints[part * bars + bar];
                if print > 0 {
                    let from = sorted.partition_point(|&other| other < print);
                    let count = sorted[from..].partition_point(|&other| other == print);
                    features.set(part, bar, feature, (count as f64).log2());
                }
            }
        }
    }
}
