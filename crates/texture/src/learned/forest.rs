//! Boosted trees: sums of the leaves that a row of numbers falls into. For crates that bring a forest of their own, too.

/// A question at a fork.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Fork {
    input: u16,
    threshold: f32,
    /// Left and right: a fork, or below zero -1 - leaf.
    ways: [i8; 2],
    /// Where an undefined number goes: 0 left, 1 right.
    undefined: u8,
}

#[derive(Debug, PartialEq)]
struct Tree {
    forks: Vec<Fork>,
    leaves: Vec<f32>,
}

/// Trees whose sums answer in `classes` numbers; tree i adds to number i modulo `classes`.
#[derive(Debug, PartialEq)]
pub struct Forest {
    trees: Vec<Tree>,
    classes: usize,
}

/// Rows taken together, so that they and the tree stay near the processor.
const TOGETHER: usize = 64;

impl Forest {
    /// Takes a forest off the front of `bytes`; `None` when it is not one for rows of `width` numbers. Form: `model/README.md`.
    pub fn take(bytes: &mut &[u8], width: usize, classes: usize) -> Option<Self> {
        let count = u32::from_le_bytes(first(bytes)?) as usize;
        let trees = (0..count).map(|_| Tree::take(bytes, width)).collect::<Option<Vec<_>>>()?;
        (count > 0 && count.is_multiple_of(classes)).then_some(Self { trees, classes })
    }

    /// Raw answers `[row * classes + class]` for rows of `width` numbers.
    #[must_use]
    pub fn answer(&self, rows: &[f32], width: usize) -> Vec<f64> {
        let mut out = vec![0.0; rows.len() / width * self.classes];
        for (sums, rows) in out.chunks_mut(TOGETHER * self.classes).zip(rows.chunks(TOGETHER * width)) {
            for (index, tree) in self.trees.iter().enumerate() {
                let class = index % self.classes;
                for (sums, row) in sums.chunks_exact_mut(self.classes).zip(rows.chunks_exact(width)) {
                    sums[class] += f64::from(tree.leaf(row));
                }
            }
        }
        out
    }
}

impl Tree {
    fn take(bytes: &mut &[u8], width: usize) -> Option<Self> {
        let [count] = first(bytes)?;
        let count = usize::from(count);
        let mut forks = Vec::with_capacity(count);
        for at in 0..count {
            let input = u16::from_le_bytes(first(bytes)?);
            let threshold = f32::from_le_bytes(first(bytes)?);
            let [left, right, lost] = first(bytes)?;
            let ways = [left.cast_signed(), right.cast_signed()];
            // Forks lead only downwards, so every way ends in a leaf.
            let sound = ways.iter().all(|&way| {
                if way < 0 { (-1 - i16::from(way)) as usize <= count } else { way as usize > at && (way as usize) < count }
            });
            if usize::from(input) >= width || lost > 1 || !sound {
                return None;
            }
            forks.push(Fork { input, threshold, ways, undefined: 1 - lost });
        }
        let leaves = (0..=count).map(|_| first(bytes).map(f32::from_le_bytes)).collect::<Option<_>>()?;
        Some(Self { forks, leaves })
    }

    fn leaf(&self, row: &[f32]) -> f32 {
        let mut at = 0i8;
        if self.forks.is_empty() {
            return self.leaves[0];
        }
        while at >= 0 {
            let fork = &self.forks[at as usize];
            let value = row[usize::from(fork.input)];
            let way = if value.is_nan() { fork.undefined } else { u8::from(value > fork.threshold) };
            at = fork.ways[usize::from(way)];
        }
        self.leaves[(-1 - i16::from(at)) as usize]
    }
}

fn first<const N: usize>(bytes: &mut &[u8]) -> Option<[u8; N]> {
    let (now, rest) = bytes.split_first_chunk::<N>()?;
    *bytes = rest;
    Some(*now)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tree_asks_and_an_undefined_number_goes_its_own_way() {
        // One tree: is number 1 above 0.5? Undefined goes right.
        let mut bytes = vec![1, 0, 0, 0, 1, 1, 0];
        bytes.extend(0.5f32.to_le_bytes());
        bytes.extend([0xff, 0xfe, 0]);
        bytes.extend([1.0f32, 2.0].iter().flat_map(|leaf| leaf.to_le_bytes()));
        let forest = Forest::take(&mut bytes.as_slice(), 2, 1).unwrap();
        assert_eq!(forest.answer(&[9.0, 0.5, 9.0, 0.6, 9.0, f32::NAN], 2), [1.0, 2.0, 2.0]);
        assert!(Forest::take(&mut &bytes[..bytes.len() - 1], 2, 1).is_none());
        assert!(Forest::take(&mut bytes.as_slice(), 1, 1).is_none(), "number 1 is outside");
    }
}
