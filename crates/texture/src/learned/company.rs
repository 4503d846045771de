//! Features of a part beside the parts that attack in the same bar: doublers, parts of one rhythm, desk mates.

use super::facts::Family;
use super::features::Features;
use super::piece::Piece;
use super::table::Feature as F;

/// What two parts have in common in a bar.
#[derive(Debug, Clone, Copy, Default)]
struct Pair {
    /// Moments of attack they share.
    common: usize,
    doubles: bool,
    unison: bool,
    same_rhythm: bool,
    parallel: bool,
}

/// A part that attacks in the bar.
struct Member<'a> {
    part: usize,
    section: &'a str,
    family: Family,
    unpitched: bool,
    /// Moment (index into the bar's moments), key, direction from the attack before.
    attacks: Vec<(usize, i32, i32)>,
    mean_key: f64,
    /// Attacks that change key.
    moves: usize,
}

impl Member<'_> {
    fn count(&self) -> f64 {
        self.attacks.len() as f64
    }
}

pub(super) fn fill(piece: &Piece, features: &mut Features) {
    for bar in 0..piece.bars() {
        let mut moments: Vec<i64> = (0..piece.parts()).flat_map(|part| piece.cell(part, bar)).map(|attack| attack.on).collect();
        moments.sort_unstable();
        moments.dedup();
        let members: Vec<Member<'_>> = (0..piece.parts()).filter_map(|part| member(piece, part, bar, &moments)).collect();
        if !members.is_empty() {
            Bar::new(bar, moments.len(), members).fill(features);
        }
    }
}

fn member<'a>(piece: &'a Piece, part: usize, bar: usize, moments: &[i64]) -> Option<Member<'a>> {
    let cell = piece.cell(part, bar);
    if cell.is_empty() {
        return None;
    }
    let attacks: Vec<(usize, i32, i32)> = cell
        .iter()
        .map(|attack| {
            let moment = moments.partition_point(|&moment| moment < attack.on);
            (moment, attack.key, attack.before.map_or(0, |before| (attack.key - before).signum()))
        })
        .collect();
    let facts = &piece.facts[part];
    Some(Member {
        part,
        section: &facts.section,
        family: facts.family,
        unpitched: facts.unpitched,
        mean_key: attacks.iter().map(|attack| f64::from(attack.1)).sum::<f64>() / attacks.len() as f64,
        moves: attacks.iter().filter(|attack| attack.2 != 0).count(),
        attacks,
    })
}

fn compare(a: &Member<'_>, b: &Member<'_>) -> Pair {
    let (mut i, mut j) = (0, 0);
    let (mut common, mut octaves, mut unisons, mut together) = (0, 0, 0, 0);
    while i < a.attacks.len() && j < b.attacks.len() {
        let (left, right) = (a.attacks[i], b.attacks[j]);
        match left.0.cmp(&right.0) {
            std::cmp::Ordering::Less => i += 1,
            std::cmp::Ordering::Greater => j += 1,
            std::cmp::Ordering::Equal => {
                common += 1;
                octaves += usize::from((left.1 - right.1) % 12 == 0);
                unisons += usize::from(left.1 == right.1);
                together += usize::from(left.2 == right.2 && left.2 != 0);
                (i, j) = (i + 1, j + 1);
            }
        }
    }
    let (n, m) = (a.attacks.len(), b.attacks.len());
    let most = 0.75 * n.max(m) as f64;
    let pitched = !a.unpitched && !b.unpitched;
    let doubles = pitched && octaves as f64 >= most;
    let same_rhythm = common as f64 / (n + m - common) as f64 > 0.99;
    let enough = |moves: usize| together as f64 >= 0.75 * moves as f64;
    Pair {
        common,
        doubles,
        unison: doubles && unisons as f64 >= most,
        same_rhythm,
        parallel: same_rhythm && !doubles && pitched && a.moves > 0 && enough(a.moves) && enough(b.moves),
    }
}

/// One bar's members and how they stand to each other.
struct Bar<'a> {
    bar: usize,
    moments: usize,
    members: Vec<Member<'a>>,
    pairs: Vec<Pair>,
    line: Vec<usize>,
    layer: Vec<usize>,
}

impl<'a> Bar<'a> {
    fn new(bar: usize, moments: usize, members: Vec<Member<'a>>) -> Self {
        let n = members.len();
        let mut pairs = vec![Pair::default(); n * n];
        for i in 0..n {
            for j in (0..n).filter(|&j| j != i) {
                pairs[i * n + j] = compare(&members[i], &members[j]);
            }
        }
        let line = connected(n, |i, j| pairs[i * n + j].doubles);
        let layer = connected(n, |i, j| pairs[i * n + j].same_rhythm);
        Self { bar, moments, members, pairs, line, layer }
    }

    fn pair(&self, i: usize, j: usize) -> Pair {
        self.pairs[i * self.members.len() + j]
    }

    fn fill(&self, features: &mut Features) {
        let mut attackers = vec![0usize; self.moments];
        self.members.iter().flat_map(|member| &member.attacks).for_each(|attack| attackers[attack.0] += 1);
        for i in 0..self.members.len() {
            let part = self.members[i].part;
            let mut set = |feature: F, value: f64| features.set(part, self.bar, feature, value);
            self.partners(i, &attackers, &mut set);
            self.mates(i, &mut set);
            self.sets(i, &mut set);
        }
        self.ranks(features);
        self.moving(features);
    }

    fn partners(&self, i: usize, attackers: &[usize], set: &mut impl FnMut(F, f64)) {
        let me = &self.members[i];
        let others: Vec<usize> = (0..self.members.len()).filter(|&j| j != i).collect();
        let number = |test: &dyn Fn(usize) -> bool| others.iter().filter(|&&j| test(j)).count() as f64;
        let rest = others.len().max(1) as f64;
        if !others.is_empty() {
            let shares = others.iter().map(|&j| self.pair(i, j).common as f64 / me.count());
            set(F::sync_mean, shares.clone().sum::<f64>() / rest);
            set(F::sync_max, shares.fold(0.0, f64::max));
        }
        let alone = me.attacks.iter().filter(|attack| attackers[attack.0] == 1).count();
        set(F::uniq, alone as f64 / me.count());
        set(F::ens_cov, me.count() / self.moments as f64);
        let same = number(&|j| self.pair(i, j).same_rhythm);
        set(F::same_rh, same);
        set(F::same_rh_rel, same / rest);
        let doubles = |j: usize| self.pair(i, j).doubles;
        set(F::dbl, number(&doubles));
        set(F::dbl_uni, number(&|j| self.pair(i, j).unison));
        set(F::dbl_above, number(&|j| doubles(j) && self.members[j].mean_key > me.mean_key + 6.0));
        set(F::dbl_below, number(&|j| doubles(j) && self.members[j].mean_key < me.mean_key - 6.0));
        set(F::dbl_fam, number(&|j| doubles(j) && self.members[j].family != me.family));
        set(F::str_dbl, number(&|j| doubles(j) && self.members[j].family == Family::Strings));
        set(F::par, number(&|j| self.pair(i, j).parallel));
        let denser = number(&|j| self.members[j].attacks.len() > me.attacks.len());
        set(F::dens_rank, denser / rest);
        let all = self.members.iter().map(Member::count).sum::<f64>() / self.members.len() as f64;
        set(F::dens_rel, (me.count() / all).log2());
        set(F::dens_max, me.count() / self.members.iter().map(Member::count).fold(0.0, f64::max));
        let height = |member: &Member<'_>| if member.unpitched { 999.0 } else { member.mean_key };
        let lowest = (0..self.members.len()).min_by(|&a, &b| height(&self.members[a]).total_cmp(&height(&self.members[b])));
        set(F::bass_dbl, flag(lowest.is_some_and(|low| low == i || doubles(low))));
    }

    fn mates(&self, i: usize, set: &mut impl FnMut(F, f64)) {
        let me = &self.members[i];
        let mates: Vec<usize> = (0..self.members.len()).filter(|&j| j != i && self.members[j].section == me.section).collect();
        if !mates.is_empty() {
            set(F::mate_dbl, flag(mates.iter().any(|&j| self.pair(i, j).doubles)));
            set(F::mate_rh, flag(mates.iter().any(|&j| self.pair(i, j).same_rhythm)));
            set(F::mate_above, flag(mates.iter().any(|&j| self.members[j].mean_key > me.mean_key + 0.1)));
        }
    }

    /// Its line and its layer among the others.
    fn sets(&self, i: usize, set: &mut impl FnMut(F, f64)) {
        let n = self.members.len();
        let height = |j: usize| if self.members[j].unpitched { -1.0 } else { self.members[j].mean_key };
        let of = |labels: &[usize], label: usize| (0..n).filter(|&j| labels[j] == label).collect::<Vec<_>>();
        let top = |set: &[usize]| set.iter().map(|&j| height(j)).fold(f64::NEG_INFINITY, f64::max);
        let bottom = |set: &[usize]| set.iter().map(|&j| height(j)).fold(f64::INFINITY, f64::min);
        let count = |labels: &[usize]| labels.iter().max().map_or(0, |last| last + 1);
        let (lines, layers) = (count(&self.line), count(&self.layer));
        set(F::n_lines, lines as f64);
        set(F::n_layers, layers as f64);
        let own = of(&self.line, self.line[i]);
        set(F::line_n, own.len() as f64);
        set(F::line_size_rel, own.len() as f64 / n as f64);
        let tops: Vec<f64> = (0..lines).map(|label| top(&of(&self.line, label))).collect();
        let mine = tops[self.line[i]];
        set(F::line_hi, mine - tops.iter().copied().fold(f64::NEG_INFINITY, f64::max));
        let rest = |count: usize| count.saturating_sub(1).max(1) as f64;
        set(F::line_rank, tops.iter().filter(|&&other| other > mine).count() as f64 / rest(lines));
        let mut sections: Vec<&str> = own.iter().map(|&j| self.members[j].section).collect();
        sections.sort_unstable();
        sections.dedup();
        set(F::xinst, sections.len() as f64);
        let groups: Vec<Vec<usize>> = (0..layers).map(|label| of(&self.layer, label)).collect();
        let own = &groups[self.layer[i]];
        set(F::layer_hi, flag(groups.iter().all(|other| top(own) >= top(other))));
        set(F::layer_lo, flag(groups.iter().all(|other| bottom(own) <= bottom(other))));
        let density = |group: &[usize]| self.members[group[0]].attacks.len();
        let denser = groups.iter().filter(|other| density(other) > density(own)).count();
        set(F::layer_dens_rank, denser as f64 / rest(layers));
        let moving = own.iter().map(|&j| self.members[j].moves as f64 / self.members[j].count()).sum::<f64>();
        set(F::layer_moving, moving / own.len() as f64);
    }

    /// Where a part stands among the others in what [`super::figure`] found.
    fn ranks(&self, features: &mut Features) {
        let rest = (self.members.len() - 1).max(1) as f64;
        let of = |features: &Features, from: F| -> Vec<f32> {
            self.members.iter().map(|member| features.get(member.part, self.bar, from)).collect()
        };
        for (from, to) in [(F::n_pitch, F::np_rank), (F::iv_ent, F::ivent_rank), (F::range, F::rng_rank)] {
            let values: Vec<f32> = of(features, from).iter().map(|v| if v.is_nan() { 0.0 } else { *v }).collect();
            for (member, own) in self.members.iter().zip(&values) {
                let more = values.iter().filter(|&&other| other > own + 1e-6).count();
                features.set(member.part, self.bar, to, more as f64 / rest);
            }
        }
        for (from, to) in [(F::ioi_mean, F::ioi_rel), (F::mdur, F::dur_rel)] {
            let values = of(features, from);
            let mean = values.iter().sum::<f32>() / values.len() as f32;
            for (member, own) in self.members.iter().zip(&values) {
                features.set(member.part, self.bar, to, f64::from(own - mean));
            }
        }
    }

    fn moving(&self, features: &mut Features) {
        let moving: Vec<bool> = self
            .members
            .iter()
            .map(|member| {
                let keys = features.get(member.part, self.bar, F::n_pitch);
                keys >= 3.0 || (member.moves as f64 >= 0.6 * member.count() && member.attacks.len() >= 2)
            })
            .collect();
        let mut lines: Vec<usize> = (0..moving.len()).filter(|&i| moving[i]).map(|i| self.line[i]).collect();
        lines.sort_unstable();
        lines.dedup();
        let height = |i: usize| if self.members[i].unpitched { -1.0 } else { self.members[i].mean_key };
        let highest = (0..moving.len()).filter(|&i| moving[i]).map(height).fold(f64::NEG_INFINITY, f64::max);
        for (i, member) in self.members.iter().enumerate() {
            features.set(member.part, self.bar, F::only_moving, lines.len() as f64);
            if moving[i] {
                features.set(member.part, self.bar, F::hi_moving, highest - height(i));
            }
        }
    }
}

fn flag(is: bool) -> f64 {
    f64::from(u8::from(is))
}

/// Labels from 0 for the sets that `joined` connects, in the order of their first members.
fn connected(n: usize, joined: impl Fn(usize, usize) -> bool) -> Vec<usize> {
    let mut labels = vec![usize::MAX; n];
    let mut next = 0;
    for first in 0..n {
        if labels[first] != usize::MAX {
            continue;
        }
        let mut open = vec![first];
        labels[first] = next;
        while let Some(i) = open.pop() {
            for (j, label) in labels.iter_mut().enumerate() {
                if *label == usize::MAX && i != j && joined(i, j) {
                    *label = next;
                    open.push(j);
                }
            }
        }
        next += 1;
    }
    labels
}
