//! The model file and what it holds; its form is told in `model/README.md`.

use super::forest::Forest;
use super::shapes::TREE_INPUTS;
use super::table::TABLE;
use crate::dense::{Linear, Norm, Numbers, text_and_numbers};

/// Width of the network.
pub(super) const WIDTH: usize = 48;
/// Attention heads.
pub(super) const HEADS: usize = 4;
/// Bars the convolution sees.
pub(super) const TAPS: usize = 5;
/// Outputs: three groups by one collection's habit, sixteen by another's, one for the lead.
pub(super) const OUTPUTS: [usize; 3] = [3, 16, 1];

#[derive(Debug)]
pub(super) struct Block {
    pub norms: [Norm; 3],
    pub attention: Linear,
    pub attention_out: Linear,
    /// Relations to one lean a head.
    pub lean: Linear,
    pub mix: Linear,
    pub wide: Linear,
    pub narrow: Linear,
    /// `[channel * TAPS + tap]`.
    pub taps: Vec<f32>,
    pub taps_bias: Vec<f32>,
    /// Bars between taps.
    pub stride: usize,
}

/// One trained network.
#[derive(Debug)]
pub(super) struct Network {
    pub mean: Vec<f32>,
    pub deviation: Vec<f32>,
    pub input: Linear,
    pub families: Vec<f32>,
    pub players: Vec<f32>,
    pub blocks: Vec<Block>,
    pub last: Norm,
    pub heads: Vec<Linear>,
}

/// The parsed file.
#[derive(Debug)]
pub(super) struct Model {
    /// Mean and deviation of each feature.
    pub scales: Vec<(f32, f32)>,
    /// Cut on the raw probability, then slope and shift of the calibrating logistic: melody, rhythm, harmony.
    pub decisions: [(f32, f32, f32); 3],
    /// Weight of the networks' logits beside the trees', for the groups.
    pub share: f32,
    /// Cut, and weight of the networks: broken chords, scales, repeated notes, sparse hits.
    pub kinds: [(f32, f32); 4],
    /// Alike networks whose answers are averaged.
    pub networks: Vec<Network>,
    /// Melody, rhythm, harmony, then the four kinds: one number each.
    pub forests: Vec<Forest>,
    /// Relation in the layer: three numbers.
    pub relation: Forest,
}

/// The kinds as the model file calls them.
const KINDS: [&str; 4] = ["arp", "scale", "repeat_note", "sparse"];

/// What is read of this network from numbers in order.
trait Networks {
    fn block(&mut self, stride: usize) -> Option<Block>;
    fn network(&mut self) -> Option<Network>;
}

impl Networks for Numbers<'_> {
    fn block(&mut self, stride: usize) -> Option<Block> {
        Some(Block {
            norms: [self.norm(WIDTH)?, self.norm(WIDTH)?, self.norm(WIDTH)?],
            attention: self.linear(3 * WIDTH, WIDTH)?,
            attention_out: self.linear(WIDTH, WIDTH)?,
            lean: self.linear(HEADS, super::relations::RELATIONS)?,
            mix: self.linear(WIDTH, 2 * WIDTH)?,
            wide: self.linear(2 * WIDTH, WIDTH)?,
            narrow: self.linear(WIDTH, 2 * WIDTH)?,
            taps: self.take(WIDTH * TAPS)?,
            taps_bias: self.take(WIDTH)?,
            stride,
        })
    }

    fn network(&mut self) -> Option<Network> {
        let (mean, deviation) = (self.take(TABLE.len())?, self.take(TABLE.len())?);
        let input = self.linear(WIDTH, TABLE.len())?;
        let (families, players) = (self.take(6 * WIDTH)?, self.take(4 * WIDTH)?);
        let blocks = vec![self.block(1)?, self.block(2)?];
        let last = self.norm(WIDTH)?;
        let heads = OUTPUTS.iter().map(|&outputs| self.linear(outputs, WIDTH)).collect::<Option<_>>()?;
        Some(Network { mean, deviation, input, families, players, blocks, last, heads })
    }
}

impl Model {
    /// Parses a model file; `None` when it is not one, or not for this table of features.
    pub fn parse(bytes: &[u8]) -> Option<Self> {
        let (head, rest) = text_and_numbers(bytes)?;
        let (mut lines, mut rest) = (head.lines(), Numbers(rest));
        let networks: usize = lines.next()?.strip_prefix("ripieno roles 2, networks: ")?.parse().ok()?;
        let mut decisions = [(0.0, 0.0, 0.0); 3];
        for (decision, name) in decisions.iter_mut().zip(["melody", "rhythm", "harmony"]) {
            let [cut, slope, shift] = numbers(lines.next()?, name)?;
            *decision = (cut, slope, shift);
        }
        let [share] = numbers(lines.next()?, "share")?;
        let mut kinds = [(0.0, 0.0); 4];
        for (kind, name) in kinds.iter_mut().zip(KINDS) {
            *kind = numbers(lines.next()?, name).map(|[cut, share]| (cut, share))?;
        }
        let scales = TABLE.iter().map(|(name, ..)| numbers(lines.next()?, name).map(|[mean, deviation]| (mean, deviation)));
        let scales = scales.collect::<Option<_>>()?;
        let networks = (0..networks).map(|_| rest.network()).collect::<Option<_>>()?;
        let forests = (0..7).map(|_| Forest::take(&mut rest.0, TREE_INPUTS, 1)).collect::<Option<_>>()?;
        let relation = Forest::take(&mut rest.0, TREE_INPUTS, 3)?;
        let whole = lines.next().is_none() && rest.0.is_empty();
        whole.then_some(Self { scales, decisions, share, kinds, networks, forests, relation })
    }
}

/// The numbers of a line that begins with `name`.
fn numbers<const N: usize>(line: &str, name: &str) -> Option<[f32; N]> {
    let mut words = line.split(' ');
    (words.next()? == name).then_some(())?;
    let values: Vec<f32> = words.map(str::parse).collect::<Result<_, _>>().ok()?;
    values.try_into().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_or_longer_file_is_refused() {
        let bytes = include_bytes!("../../data/roles.model");
        assert!(Model::parse(bytes).is_some());
        assert!(Model::parse(&bytes[..bytes.len() - 1]).is_none());
        assert!(Model::parse(&[bytes.as_slice(), b"\0\0"].concat()).is_none());
        assert!(Model::parse(b"").is_none());
    }
}
