//! The forward pass: attention among the parts of a bar, convolution along the bars of a part.

use super::relations::RELATIONS;
use super::weights::{Block, HEADS, Network, OUTPUTS, TAPS, WIDTH};
use crate::dense::{self, add, gelu};

/// Numbers answered for a token.
pub(super) const ANSWERS: usize = OUTPUTS[0] + OUTPUTS[1] + OUTPUTS[2];

/// What the network reads. A token is a part in a bar in which it sounds with pitch; tokens are ordered by bar, then part.
pub(super) struct Input {
    /// `[token * features ..]`, standardised.
    pub features: Vec<f32>,
    /// Family and player of each token.
    pub names: Vec<(usize, usize)>,
    /// Tokens of each bar.
    pub bars: Vec<std::ops::Range<usize>>,
    /// For each bar, pair by pair.
    pub relations: Vec<Vec<[f32; RELATIONS]>>,
    /// The token of the same part so many bars on: `[token][-4..=4]`.
    pub neighbours: Vec<[Option<usize>; 9]>,
}

/// Answers `[token][ANSWERS]`, as logits: mean over the networks.
pub(super) fn answer(networks: &[Network], input: &Input) -> Vec<[f32; ANSWERS]> {
    let mut out = vec![[0.0; ANSWERS]; input.names.len()];
    for network in networks {
        for (sum, new) in out.iter_mut().zip(network.answer(input)) {
            sum.iter_mut().zip(new).for_each(|(sum, new)| *sum += new / networks.len() as f32);
        }
    }
    out
}

impl Network {
    fn answer(&self, input: &Input) -> Vec<[f32; ANSWERS]> {
        let count = self.mean.len();
        let mut scaled = input.features.clone();
        for row in scaled.chunks_exact_mut(count) {
            for (value, (mean, deviation)) in row.iter_mut().zip(self.mean.iter().zip(&self.deviation)) {
                *value = ((*value - mean) / deviation).clamp(-4.0, 4.0);
            }
        }
        let mut x = self.input.apply(&scaled);
        for (row, &(family, player)) in x.chunks_exact_mut(WIDTH).zip(&input.names) {
            let family = &self.families[family * WIDTH..(family + 1) * WIDTH];
            let player = &self.players[player * WIDTH..(player + 1) * WIDTH];
            row.iter_mut().zip(family.iter().zip(player)).for_each(|(value, (a, b))| *value += a + b);
        }
        for block in &self.blocks {
            block.run(input, &mut x);
        }
        let x = self.last.apply(&x);
        let mut out = vec![[0.0; ANSWERS]; input.names.len()];
        let mut at = 0;
        for head in &self.heads {
            for (row, new) in out.iter_mut().zip(head.apply(&x).chunks_exact(head.outputs)) {
                row[at..at + head.outputs].copy_from_slice(new);
            }
            at += head.outputs;
        }
        out
    }
}

impl Block {
    fn run(&self, input: &Input, x: &mut [f32]) {
        let heard = self.attend(input, &self.attention.apply(&self.norms[0].apply(x)));
        add(x, &self.attention_out.apply(&heard));
        add(x, &self.mix.apply(&self.along(input, &self.norms[1].apply(x))));
        let mut wide = self.wide.apply(&self.norms[2].apply(x));
        wide.iter_mut().for_each(|value| *value = gelu(*value));
        add(x, &self.narrow.apply(&wide));
    }

    fn attend(&self, input: &Input, qkv: &[f32]) -> Vec<f32> {
        let of_bar = |(bar, relations): (&std::ops::Range<usize>, &Vec<[f32; RELATIONS]>)| {
            dense::attend(&qkv[3 * WIDTH * bar.start..3 * WIDTH * bar.end], HEADS, &self.lean.apply(relations.as_flattened()))
        };
        input.bars.iter().zip(&input.relations).flat_map(of_bar).collect()
    }

    fn along(&self, input: &Input, y: &[f32]) -> Vec<f32> {
        let mut out = vec![0.0; y.len() * 2];
        for (token, (row, neighbours)) in out.chunks_exact_mut(2 * WIDTH).zip(&input.neighbours).enumerate() {
            let (mixed, own) = row.split_at_mut(WIDTH);
            own.copy_from_slice(&y[token * WIDTH..(token + 1) * WIDTH]);
            mixed.copy_from_slice(&self.taps_bias);
            for tap in 0..TAPS {
                // The middle tap is the bar itself, index 4 of nine.
                if let Some(other) = neighbours[4 + tap * self.stride - 2 * self.stride] {
                    let other = &y[other * WIDTH..(other + 1) * WIDTH];
                    for (channel, (sum, value)) in mixed.iter_mut().zip(other).enumerate() {
                        *sum += value * self.taps[channel * TAPS + tap];
                    }
                }
            }
            mixed.iter_mut().for_each(|value| *value = gelu(*value));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::learned::{model, table::TABLE};

    /// Against numpy (`model/roles/reference.py made-up`), which reads the model file by itself, on made-up inputs.
    #[test]
    fn the_forward_pass_equals_the_reference() {
        let (parts, bars) = (5usize, 7usize);
        let present = |part: usize, bar: usize| !(part + bar).is_multiple_of(5);
        let mut index = vec![None; parts * bars];
        let mut input =
            Input { features: Vec::new(), names: Vec::new(), bars: Vec::new(), relations: Vec::new(), neighbours: Vec::new() };
        for bar in 0..bars {
            let first = input.names.len();
            for part in (0..parts).filter(|&part| present(part, bar)) {
                index[part * bars + bar] = Some(input.names.len());
                input.names.push((part % 6, 1 + part % 3));
                let token = bar * parts + part;
                let value = |column: usize| ((token * 37 + column * 101 + token * column) % 641) as f32 / 64.0 - 5.0;
                input.features.extend((0..TABLE.len()).map(value));
            }
            let here = input.names.len() - first;
            input.bars.push(first..first + here);
            let pairs = (0..here * here).map(|pair| {
                let (i, j) = (pair / here, pair % here);
                std::array::from_fn(|r| ((bar * 3 + i * 5 + j * 7 + r * 11) % 16) as f32 / 16.0)
            });
            input.relations.push(pairs.collect());
        }
        for bar in 0..bars {
            for part in (0..parts).filter(|&part| present(part, bar)) {
                let other = |k: usize| (bar + k).checked_sub(4).filter(|&b| b < bars).and_then(|b| index[part * bars + b]);
                input.neighbours.push(std::array::from_fn(other));
            }
        }
        let answers = answer(&model().networks, &input);
        let expected: Vec<Vec<f32>> = include_str!("../../tests/learned/logits.txt")
            .lines()
            .map(|line| line.split(' ').filter_map(|word| word.parse().ok()).collect())
            .collect();
        assert_eq!(answers.len(), expected.len());
        for (ours, theirs) in answers.iter().zip(&expected) {
            assert_eq!(theirs.len(), ANSWERS);
            for (a, b) in ours.iter().zip(theirs) {
                assert!((a - b).abs() < 1e-4, "{a} is not {b}");
            }
        }
    }
}
