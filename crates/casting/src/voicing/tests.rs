use ripieno_instruments::Range;

use super::*;

fn reach(low: u8, high: u8) -> Reach {
    Reach { possible: Range::new(low, high).unwrap(), comfortable: Range::new(low + 2, high - 2).unwrap() }
}

fn slice(classes: &[u8], below: Option<i32>, above: Option<i32>) -> Slice {
    let allowed = classes.iter().fold(0, |mask, class| mask | 1u16 << class);
    Slice {
        allowed,
        required: allowed,
        attacked: allowed,
        below,
        above,
        lines: vec![above, below],
        lines_end: vec![above, below],
        ..Slice::default()
    }
}

/// Every path of every playable voicing, priced by the same rules: the exact optimum.
fn brute(slices: &[Slice], voices: &[Voice], weights: &Weights) -> f64 {
    fn all(voices: &[Voice]) -> Vec<Vec<i32>> {
        voices.iter().fold(vec![Vec::new()], |lists, voice| {
            let keys = i32::from(voice.reach.possible.low())..=i32::from(voice.reach.possible.high());
            lists
                .iter()
                .flat_map(|list| {
                    keys.clone().map(move |key| {
                        let mut list = list.clone();
                        list.push(key);
                        list
                    })
                })
                .collect()
        })
    }
    fn go(at: usize, before: Option<&Vec<i32>>, slices: &[Slice], voicings: &[Vec<(f64, Vec<i32>)>], weights: &Weights) -> f64 {
        let Some(here) = voicings.get(at) else { return 0.0 };
        here.iter()
            .map(|(cost, keys)| {
                let step = before.map_or(0.0, |before| step_cost(Some(&slices[at - 1]), &slices[at], before, keys, weights));
                cost + step + go(at + 1, Some(keys), slices, voicings, weights)
            })
            .fold(f64::INFINITY, f64::min)
    }
    let voicings: Vec<Vec<(f64, Vec<i32>)>> = slices
        .iter()
        .map(|slice| {
            all(voices)
                .into_iter()
                .map(|keys| (standing_cost(slice, voices, &keys, weights), keys))
                .filter(|(cost, _)| cost.is_finite())
                .collect()
        })
        .collect();
    go(0, None, slices, &voicings, weights)
}

#[test]
fn thirty_small_instances_equal_the_exact_optimum() {
    let roots = [0u8, 2, 4, 5, 7, 9, 11];
    for instance in 0..30u64 {
        let pick = |n: u64, of: u64| (shake(instance + 1, n, 7) * f64::from(u32::try_from(of).unwrap())) as usize;
        let slices: Vec<Slice> = (0..3)
            .map(|n| {
                let root = roots[pick(n, 7)];
                let third = if pick(n + 10, 2) == 0 { 3 } else { 4 };
                let mut slice = slice(
                    &[root, (root + third) % 12, (root + 7) % 12],
                    Some(36 + i32::from(root)),
                    Some(76 + i32::from(root % 5)),
                );
                slice.third = 1 << ((root + third) % 12);
                slice
            })
            .collect();
        let low = u8::try_from(48 + pick(30, 8)).unwrap();
        let voices: Vec<Voice> = (0..3u8)
            .map(|n| Voice { reach: reach(low + 8 - 4 * n, low + 22 - 4 * n), target: i32::from(low + 15 - 4 * n), players: 1 })
            .collect();
        let weights = Weights::default();
        let search = Search { candidates: 100_000, window: 127, seed: 0 };
        let found = voice(&slices, &voices, None, None, &weights, &search);
        let optimum = brute(&slices, &voices, &weights);
        assert!(found.exact);
        assert!((found.cost - optimum).abs() < 1e-9, "instance {instance}: {} against {optimum}", found.cost);
    }
}

#[test]
fn a_cadence_resolves_its_leading_note_and_has_no_parallels() {
    // G7 to C over its bass; the leading note B (11) rises.
    let mut five = slice(&[7, 11, 2, 5], Some(43), Some(74));
    (five.leading, five.seventh, five.tendency) = (1 << 11, 1 << 5, 1 << 11 | 1 << 5);
    let one = slice(&[0, 4, 7], Some(48), Some(72));
    let voices = [67, 62, 57].map(|target| Voice { reach: reach(45, 77), target, players: 1 });
    let found = voice(&[five, one], &voices, None, None, &Weights::default(), &Search::default());
    let b = found.keys[0].iter().position(|key| key % 12 == 11).expect("somebody has the leading note");
    assert_eq!(found.keys[1][b] - found.keys[0][b], 1);
}
