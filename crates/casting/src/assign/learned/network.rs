//! The networks, in which groups and strands attend to each other before every pair of them gets a score, and the trees beside them.

use ripieno_texture::dense::{Forest, Linear, Norm, Numbers, add, attend, gelu, text_and_numbers};

use super::table::{CastingTable, FAMILIES, MIDDLE, NUMBERS, ROLES};

/// How large a network is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Size {
    /// Numbers of a group, of a strand, of a pair.
    numbers: [usize; 3],
    /// Numbers by which a token is known inside.
    width: usize,
    /// Numbers by which a pair is known inside.
    of_pair: usize,
    heads: usize,
    blocks: usize,
}

#[derive(Debug, PartialEq)]
struct Block {
    before: Norm,
    ask: Linear,
    give: Linear,
    between: Norm,
    wide: Linear,
    narrow: Linear,
}

/// One trained network.
#[derive(Debug, PartialEq)]
struct Network {
    /// Of groups, strands and pairs.
    inputs: [Linear; 3],
    /// For each kind and the unknown one, as wide as a token.
    kinds: Vec<f32>,
    blocks: Vec<Block>,
    /// From a pair to what a group leans to a strand, and the other way round: for each block, each head.
    leans: [Linear; 2],
    last: Norm,
    /// From group, strand and pair to what is scored.
    joint: [Linear; 3],
    score: Vec<f32>,
}

/// The networks and the trees of a model file, whose answers are averaged.
#[derive(Debug, PartialEq)]
pub(super) struct Model {
    size: Size,
    kinds: Vec<String>,
    /// Mean and deviation of each number of groups, strands and pairs.
    scales: [(Vec<f32>, Vec<f32>); 3],
    networks: Vec<Network>,
    forest: Forest,
}

/// No network of a model file is larger.
const MOST: usize = 4096;

impl Model {
    /// Parses a model file (its form: `model/casting/README.md`); `None` when it is none.
    pub fn parse(bytes: &[u8]) -> Option<Self> {
        let (head, rest) = text_and_numbers(bytes)?;
        let mut lines = head.lines();
        let networks: usize = lines.next()?.strip_prefix("ripieno casting 1, networks: ")?.parse().ok()?;
        let sizes: Vec<usize> =
            lines.next()?.strip_prefix("size ")?.split(' ').map(|word| word.parse().ok()).collect::<Option<_>>()?;
        let &[groups, strands, pairs, width, of_pair, heads, blocks] = sizes.as_slice() else { return None };
        // Other tables than the program's would be read as nonsense.
        if [groups, strands, pairs] != NUMBERS
            || sizes.iter().any(|&size| size == 0 || size > MOST)
            || !width.is_multiple_of(heads)
            || networks == 0
            || networks > MOST
        {
            return None;
        }
        let size = Size { numbers: [groups, strands, pairs], width, of_pair, heads, blocks };
        let kinds: Vec<String> = lines.next()?.strip_prefix("kinds ")?.split('|').map(str::to_owned).collect();
        let mut numbers = Numbers(rest);
        let mut scale = |count: usize| Some((numbers.take(count)?, numbers.take(count)?));
        let scales = [scale(groups)?, scale(strands)?, scale(pairs)?];
        let networks = (0..networks).map(|_| Network::take(&mut numbers, size, kinds.len())).collect::<Option<_>>()?;
        let of_group = groups + WHO + kinds.len();
        let forest = Forest::take(&mut numbers.0, of_group + strands + 3 * pairs, 1)?;
        (lines.next().is_none() && numbers.0.is_empty()).then_some(Self { size, kinds, scales, networks, forest })
    }

    /// For each group, for each strand, the logarithm of how likely the group has it ([`by_role`]), `[group * strands + strand]`, if the groups of `company` play and no others; groups outside it have 0.
    pub fn answer(&self, table: &CastingTable, company: &[bool]) -> Vec<f64> {
        let strands = table.strands.len();
        let groups: Vec<usize> = (0..table.groups.len()).filter(|&at| company.get(at).copied().unwrap_or(false)).collect();
        let mut out = vec![0.0; table.groups.len() * strands];
        if groups.is_empty() || strands == 0 {
            return out;
        }
        let pairs: Vec<&Vec<f32>> =
            groups.iter().flat_map(|&group| &table.pairs[group * strands..(group + 1) * strands]).collect();
        let rows = [
            beside(&self.scaled(0, groups.iter().map(|&group| &table.groups[group])), groups.len()),
            beside(&self.scaled(1, table.strands.iter()), strands),
            set_off(&self.scaled(2, pairs.iter().copied()), groups.len(), strands),
        ];
        let unknown = self.kinds.len();
        let kind = |&group: &usize| self.kinds.iter().position(|known| known == table.kinds[group]).unwrap_or(unknown);
        let kinds: Vec<usize> = groups.iter().map(kind).collect();
        let mut sums = vec![0.0f64; groups.len() * strands];
        for network in &self.networks {
            let scores: Vec<f64> = network.scores(self.size, &rows, &kinds).into_iter().map(f64::from).collect();
            for (sums, scores) in sums.chunks_exact_mut(strands).zip(scores.chunks_exact(strands)) {
                let logs = logs_of(scores);
                sums.iter_mut().zip(logs).for_each(|(sum, log)| *sum += log / self.networks.len() as f64);
            }
        }
        let trees = self.forest.answer(&self.tree_rows(table, &groups, &kinds), self.tree_width());
        // A tree answers with the logit of one pair by itself.
        let trees: Vec<f64> = trees.into_iter().map(|logit| -(-logit).exp().ln_1p()).collect();
        // The mean of the logarithms, made to sum to one again.
        let of_group = sums.chunks_exact(strands).zip(trees.chunks_exact(strands));
        for (&group, (sums, trees)) in groups.iter().zip(of_group) {
            let both: Vec<f64> = sums.iter().zip(logs_of(trees)).map(|(sum, tree)| f64::midpoint(*sum, tree)).collect();
            out[group * strands..(group + 1) * strands].copy_from_slice(&by_role(&logs_of(&both), &table.strands));
        }
        out
    }

    /// Numbers of a group, of a strand, of a pair.
    #[cfg(test)]
    pub const fn numbers(&self) -> [usize; 3] {
        self.size.numbers
    }

    fn tree_width(&self) -> usize {
        let [groups, strands, pairs] = self.size.numbers;
        groups + WHO + self.kinds.len() + strands + 3 * pairs
    }

    /// What the trees read of each pair: its group, who else plays, its section, its strand, itself, and itself less the mean over the group's strands and over the strand's groups.
    fn tree_rows(&self, table: &CastingTable, groups: &[usize], kinds: &[usize]) -> Vec<f32> {
        let strands = table.strands.len();
        let pairs: Vec<f32> =
            groups.iter().flat_map(|&group| table.pairs[group * strands..(group + 1) * strands].concat()).collect();
        let off = set_off(&pairs, groups.len(), strands);
        let width = self.size.numbers[2];
        let middle = |group: usize| table.groups[group][MIDDLE];
        let family = |group: usize| {
            let flags = table.groups[group][..FAMILIES].iter().enumerate();
            flags.fold((0, f32::NEG_INFINITY), |best, (at, &flag)| if flag > best.1 { (at, flag) } else { best }).0
        };
        let mut out = Vec::with_capacity(groups.len() * strands * self.tree_width());
        for (place, (&group, &kind)) in groups.iter().zip(kinds).enumerate() {
            let count = |test: &dyn Fn(usize) -> bool| groups.iter().filter(|&&other| test(other)).count() as f32;
            let all = groups.len() as f32;
            let kin = |other: usize| family(other) == family(group);
            let who: [f32; WHO] = [
                all / 10.0,
                count(&|other| middle(other) > middle(group)) / all,
                count(&kin) / all,
                count(&|other| kin(other) && middle(other) > middle(group)),
                count(&|other| kin(other) && middle(other) < middle(group)),
                count(&|other| family(other) == 0),
                count(&|other| family(other) == 1),
                count(&|other| family(other) == 3),
            ];
            for strand in 0..strands {
                out.extend_from_slice(&table.groups[group]);
                out.extend(who);
                out.extend((0..self.kinds.len()).map(|known| f32::from(u8::from(known == kind))));
                out.extend_from_slice(&table.strands[strand]);
                let own = &off[(place * strands + strand) * 3 * width..][..3 * width];
                // The networks read them the other way round.
                out.extend_from_slice(&own[..width]);
                out.extend_from_slice(&own[2 * width..]);
                out.extend_from_slice(&own[width..2 * width]);
            }
        }
        out
    }

    fn scaled<'a>(&self, of: usize, rows: impl Iterator<Item = &'a Vec<f32>>) -> Vec<f32> {
        let (means, deviations) = &self.scales[of];
        let one = |row: &'a Vec<f32>| {
            let numbers = row.iter().zip(means.iter().zip(deviations));
            numbers.map(|(value, (mean, deviation))| ((value - mean) / deviation).clamp(-4.0, 4.0))
        };
        rows.flat_map(one).collect()
    }
}

/// Numbers that tell the trees who else plays.
const WHO: usize = 8;

/// Logarithms of shares in proportion to the exponentials of scores.
fn logs_of(scores: &[f64]) -> Vec<f64> {
    let most = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let all = scores.iter().map(|score| (score - most).exp()).sum::<f64>().ln() + most;
    scores.iter().map(|score| score - all).collect()
}

/// Several strands of one role share what is likely of the role: the likeliest of them is as likely as the role, the others less by as much as they are less likely than it.
fn by_role(logs: &[f64], strands: &[Vec<f32>]) -> Vec<f64> {
    let same = |a: usize, b: usize| strands[a][..ROLES.len()] == strands[b][..ROLES.len()];
    let one = |at: usize| {
        let own = || (0..logs.len()).filter(|&other| same(at, other)).map(|other| logs[other]);
        let most = own().fold(f64::NEG_INFINITY, f64::max);
        logs[at] + own().map(|log| (log - most).exp()).sum::<f64>().ln()
    };
    (0..logs.len()).map(one).collect()
}

/// The mean of the rows `first`, `first + step` ..., `count` of them.
fn mean_of(rows: &[f32], width: usize, first: usize, step: usize, count: usize) -> Vec<f32> {
    let mut sums = vec![0.0; width];
    for at in 0..count {
        let row = first + at * step;
        add(&mut sums, &rows[row * width..(row + 1) * width]);
    }
    sums.iter_mut().for_each(|sum| *sum /= count.max(1) as f32);
    sums
}

/// Each row with what sets it off from the mean of all.
fn beside(rows: &[f32], count: usize) -> Vec<f32> {
    let width = rows.len() / count.max(1);
    let mean = mean_of(rows, width, 0, 1, count);
    rows.chunks_exact(width.max(1))
        .flat_map(|row| row.iter().copied().chain(row.iter().zip(&mean).map(|(value, mean)| value - mean)))
        .collect()
}

/// Each pair's row with what sets it off from the mean over the strand's groups, then from the mean over the group's strands.
fn set_off(pairs: &[f32], groups: usize, strands: usize) -> Vec<f32> {
    let width = pairs.len() / (groups * strands).max(1);
    let of_strands: Vec<Vec<f32>> = (0..strands).map(|strand| mean_of(pairs, width, strand, strands, groups)).collect();
    let of_groups: Vec<Vec<f32>> = (0..groups).map(|group| mean_of(pairs, width, group * strands, 1, strands)).collect();
    let mut out = Vec::with_capacity(3 * pairs.len());
    for (at, row) in pairs.chunks_exact(width.max(1)).enumerate() {
        out.extend_from_slice(row);
        for mean in [&of_strands[at % strands], &of_groups[at / strands]] {
            out.extend(row.iter().zip(mean).map(|(value, mean)| value - mean));
        }
    }
    out
}

impl Network {
    fn take(numbers: &mut Numbers<'_>, size: Size, kinds: usize) -> Option<Self> {
        let Size { numbers: [groups, strands, pairs], width, of_pair, heads, blocks } = size;
        let inputs =
            [numbers.linear(width, 2 * groups)?, numbers.linear(width, 2 * strands)?, numbers.linear(of_pair, 3 * pairs)?];
        let kinds = numbers.take((kinds + 1) * width)?;
        let mut block = || {
            Some(Block {
                before: numbers.norm(width)?,
                ask: numbers.linear(3 * width, width)?,
                give: numbers.linear(width, width)?,
                between: numbers.norm(width)?,
                wide: numbers.linear(2 * width, width)?,
                narrow: numbers.linear(width, 2 * width)?,
            })
        };
        let found = (0..blocks).map(|_| block()).collect::<Option<_>>()?;
        let leans = [numbers.linear(heads * blocks, of_pair)?, numbers.linear(heads * blocks, of_pair)?];
        let last = numbers.norm(width)?;
        let joint = [numbers.linear(width, width)?, numbers.linear(width, width)?, numbers.linear(width, of_pair)?];
        Some(Self { inputs, kinds, blocks: found, leans, last, joint, score: numbers.take(width)? })
    }

    /// A score for each group and strand.
    fn scores(&self, size: Size, rows: &[Vec<f32>; 3], kinds: &[usize]) -> Vec<f32> {
        let Size { width, heads, blocks, .. } = size;
        let mut x = self.inputs[0].apply(&rows[0]);
        for (row, &kind) in x.chunks_exact_mut(width).zip(kinds) {
            add(row, &self.kinds[kind * width..(kind + 1) * width]);
        }
        x.extend(self.inputs[1].apply(&rows[1]));
        let mut pairs = self.inputs[2].apply(&rows[2]);
        pairs.iter_mut().for_each(|value| *value = gelu(*value));
        let (groups, tokens) = (kinds.len(), x.len() / width);
        let strands = tokens - groups;
        let leans = [self.leans[0].apply(&pairs), self.leans[1].apply(&pairs)];
        for (at, block) in self.blocks.iter().enumerate() {
            let mut lean = vec![0.0; tokens * tokens * heads];
            for (pair, (down, up)) in leans[0].chunks_exact(heads * blocks).zip(leans[1].chunks_exact(heads * blocks)).enumerate()
            {
                let (group, strand) = (pair / strands, groups + pair % strands);
                for (asked, other, from) in [(group, strand, down), (strand, group, up)] {
                    let to = (asked * tokens + other) * heads;
                    lean[to..to + heads].copy_from_slice(&from[at * heads..(at + 1) * heads]);
                }
            }
            let heard = attend(&block.ask.apply(&block.before.apply(&x)), heads, &lean);
            add(&mut x, &block.give.apply(&heard));
            let mut wide = block.wide.apply(&block.between.apply(&x));
            wide.iter_mut().for_each(|value| *value = gelu(*value));
            add(&mut x, &block.narrow.apply(&wide));
        }
        let x = self.last.apply(&x);
        let (of_groups, of_strands) = x.split_at(groups * width);
        let of_groups = self.joint[0].apply(of_groups);
        let of_strands = self.joint[1].apply(of_strands);
        let of_pairs = self.joint[2].apply(&pairs);
        let score = |(pair, own): (usize, &[f32])| {
            let group = &of_groups[pair / strands * width..][..width];
            let strand = &of_strands[pair % strands * width..][..width];
            let parts = own.iter().zip(group).zip(strand).zip(&self.score);
            parts.map(|(((own, group), strand), weight)| weight * gelu(own + group + strand)).sum::<f32>()
        };
        of_pairs.chunks_exact(width).enumerate().map(score).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: a role with two strands of .3 and .2 beside another of .5. Each alone .5 would be chosen; the two together are as likely as it, and three to two among themselves.
    #[test]
    fn strands_of_one_role_share_what_is_likely_of_it() {
        let flags = |role: usize| (0..ROLES.len()).map(|at| f32::from(u8::from(at == role))).chain([0.25]).collect::<Vec<f32>>();
        let logs: Vec<f64> = [0.5f64, 0.3, 0.2].iter().map(|share| share.ln()).collect();
        let found: Vec<f64> = by_role(&logs, &[flags(0), flags(1), flags(1)]).into_iter().map(f64::exp).collect();
        for (found, by_hand) in found.iter().zip([0.5, 0.5, 0.5 * 2.0 / 3.0]) {
            assert!((found - by_hand).abs() < 1e-12, "{found} is not {by_hand}");
        }
        // Of strands of different roles nothing changes.
        let apart: Vec<f64> = by_role(&logs, &[flags(0), flags(1), flags(2)]);
        assert!(apart.iter().zip(&logs).all(|(a, b)| (a - b).abs() < 1e-12));
    }
}
