//! How a part goes with the parts in nearly its rhythm, and with its desk mate, bar by bar.

use super::piece::Piece;
use super::shapes::Shapes;

/// Where these shapes begin in the table.
const FIRST: usize = 22;
/// Attacks in common, of all of both, from which on parts go together.
const TOGETHER: f64 = 0.6;

/// A part's attacks in a bar: moment, key, direction from the attack before.
struct Member {
    part: usize,
    attacks: Vec<(i64, i32, i32)>,
    /// Share of attacks of several notes.
    chords: f64,
    mean: f64,
}

/// What two members have in common.
#[derive(Debug, Clone, Copy, Default)]
struct Pair {
    rhythm: f64,
    octaves: f64,
    unison: f64,
    parallel: f64,
    contrary: f64,
}

pub(super) fn fill(piece: &Piece, shapes: &mut Shapes) {
    for bar in 0..piece.bars() {
        let members: Vec<Member> = (0..piece.parts()).filter_map(|part| member(piece, part, bar)).collect();
        let n = members.len();
        let mut pairs = vec![Pair::default(); n * n];
        for i in 0..n {
            for j in 0..i {
                pairs[i * n + j] = compare(&members[i], &members[j]);
                pairs[j * n + i] = pairs[i * n + j];
            }
        }
        for i in 0..n {
            shapes.set(members[i].part, bar, FIRST, &values(piece, &members, &pairs, i));
        }
    }
}

fn member(piece: &Piece, part: usize, bar: usize) -> Option<Member> {
    let cell = piece.cell(part, bar);
    if cell.is_empty() || piece.facts[part].unpitched {
        return None;
    }
    let way = |attack: &super::piece::Attack| attack.before.map_or(0, |before| (attack.key - before).signum());
    Some(Member {
        part,
        attacks: cell.iter().map(|attack| (attack.on, attack.key, way(attack))).collect(),
        chords: cell.iter().filter(|attack| attack.chord > 1).count() as f64 / cell.len() as f64,
        mean: cell.iter().map(|attack| f64::from(attack.key)).sum::<f64>() / cell.len() as f64,
    })
}

fn compare(a: &Member, b: &Member) -> Pair {
    let (mut i, mut j) = (0, 0);
    let (mut common, mut octaves, mut unison, mut moves, mut parallel) = (0, 0, 0, 0, 0);
    while i < a.attacks.len() && j < b.attacks.len() {
        let (x, y) = (a.attacks[i], b.attacks[j]);
        (i, j) = (i + usize::from(x.0 <= y.0), j + usize::from(y.0 <= x.0));
        if x.0 == y.0 {
            common += 1;
            octaves += usize::from((x.1 - y.1) % 12 == 0);
            unison += usize::from(x.1 == y.1);
            moves += usize::from(x.2 != 0 && y.2 != 0);
            parallel += usize::from(x.2 != 0 && x.2 == y.2);
        }
    }
    let of = |part: usize, whole: usize, none: f64| if whole == 0 { none } else { part as f64 / whole as f64 };
    Pair {
        rhythm: of(common, a.attacks.len() + b.attacks.len() - common, 0.0),
        octaves: of(octaves, common, 0.0),
        unison: of(unison, common, 0.0),
        parallel: of(parallel, moves, 0.5),
        contrary: of(moves - parallel, moves, 0.0),
    }
}

fn values(piece: &Piece, members: &[Member], pairs: &[Pair], i: usize) -> [f64; 18] {
    let n = members.len();
    let pair = |a: usize, b: usize| pairs[a * n + b];
    let with: Vec<usize> = (0..n).filter(|&j| j != i && pair(i, j).rhythm >= TOGETHER).collect();
    let mean = |of: fn(&Pair) -> f64| with.iter().map(|&j| of(&pair(i, j))).sum::<f64>() / with.len() as f64;
    let closest = with.iter().map(|&j| pair(i, j).octaves).fold(f64::NAN, f64::max);
    let all: Vec<usize> = with.iter().copied().chain([i]).collect();
    let (mut octaves, mut parallel, mut count) = (0.0, 0.0, 0.0);
    for (at, &a) in all.iter().enumerate() {
        for &b in &all[..at] {
            octaves += pair(a, b).octaves;
            parallel += pair(a, b).parallel;
            count += 1.0;
        }
    }
    let classes = if with.is_empty() { f64::NAN } else { classes(members, &all, i) };
    let facts = |j: usize| &piece.facts[members[j].part];
    let family = with.iter().filter(|&&j| pair(i, j).octaves >= 0.75 && facts(j).section == facts(i).section).count();
    let desk = (0..n)
        .filter(|&j| j != i && facts(j).section == facts(i).section)
        .max_by(|&a, &b| pair(i, a).rhythm.total_cmp(&pair(i, b).rhythm).then(b.cmp(&a)));
    let desk = |of: fn(&Pair) -> f64| desk.map_or(f64::NAN, |j| of(&pair(i, j)));
    let means = || all.iter().map(|&j| members[j].mean);
    [
        with.len() as f64,
        mean(|pair| pair.octaves),
        mean(|pair| pair.unison),
        mean(|pair| pair.parallel),
        mean(|pair| pair.contrary),
        mean(|pair| pair.rhythm),
        closest,
        classes,
        classes / all.len().min(4) as f64,
        octaves / count,
        parallel / count,
        means().fold(f64::NEG_INFINITY, f64::max) - members[i].mean,
        members[i].mean - means().fold(f64::INFINITY, f64::min),
        if with.is_empty() { f64::NAN } else { family as f64 },
        desk(|pair| pair.octaves),
        desk(|pair| pair.parallel),
        desk(|pair| pair.rhythm),
        members[i].chords,
    ]
}

/// Pitch classes struck together by `all`, mean over the attacks of `i`.
fn classes(members: &[Member], all: &[usize], i: usize) -> f64 {
    let mut at = vec![0; all.len()];
    let struck: u32 = members[i]
        .attacks
        .iter()
        .map(|&(on, ..)| {
            let mut set = 0u16;
            for (at, &j) in at.iter_mut().zip(all) {
                let attacks = &members[j].attacks;
                while attacks.get(*at).is_some_and(|attack| attack.0 < on) {
                    *at += 1;
                }
                if let Some(attack) = attacks.get(*at).filter(|attack| attack.0 == on) {
                    set |= 1 << attack.1.rem_euclid(12);
                }
            }
            set.count_ones()
        })
        .sum();
    f64::from(struck) / members[i].attacks.len() as f64
}
