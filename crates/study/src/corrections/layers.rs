//! A person's word put into the layers. Layers are kept by bars: a span that begins or ends inside a bar takes the whole bar.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_texture::{Layer, Layers, Lines, Member, relate};

use super::apply::Said;
use super::change::Change;

/// Layers on their way, each with what was said of it.
pub(super) struct LayerWork<'a> {
    lines: &'a Lines,
    pieces: Vec<(Layer, Said)>,
}

impl<'a> LayerWork<'a> {
    pub(super) fn new(lines: &'a Lines, layers: Layers) -> Self {
        Self { lines, pieces: layers.layers.into_iter().map(|layer| (layer, Said::default())).collect() }
    }

    /// Follows one correction on `lines` over `bars`.
    pub(super) fn follow(&mut self, correction: &str, change: &Change, lines: &[usize], bars: &Range<u32>) {
        let meant = |member: &Member| lines.binary_search(&member.line).is_ok();
        let (mut inside, mut outside) = (Vec::new(), Vec::new());
        for (layer, said) in self.pieces.drain(..) {
            let touched = layer.members.iter().any(|member| meant(member) && overlap(&member.bars, bars).is_some());
            if !touched {
                outside.push((layer, said));
                continue;
            }
            for (stretch, here) in [(0..bars.start, false), (bars.clone(), true), (bars.end..u32::MAX, false)] {
                if let Some(part) = clipped(self.lines, &layer, &stretch) {
                    if here { &mut inside } else { &mut outside }.push((part, said.clone()));
                }
            }
        }
        let done = |mut said: Said, name: &Option<String>| {
            said.corrections.push(correction.to_owned());
            said.name = name.clone().or(said.name);
            said
        };
        match change {
            Change::SetLayer(_) | Change::SplitLayer => {
                let name = if let Change::SetLayer(name) = change { name } else { &None };
                let mut taken = Vec::new();
                for (layer, said) in inside {
                    let (theirs, rest): (Vec<Member>, Vec<Member>) = layer.members.into_iter().partition(meant);
                    taken.extend(theirs);
                    outside.extend(self.layer(rest).map(|layer| (layer, said)));
                }
                outside.extend(self.layer(taken).map(|layer| (layer, done(Said::default(), name))));
            }
            Change::MergeLayers => {
                let members = inside.into_iter().flat_map(|(layer, _)| layer.members).collect();
                outside.extend(self.layer(members).map(|layer| (layer, done(Said::default(), &None))));
            }
            Change::NameLayer(name) => {
                outside.extend(inside.into_iter().map(|(layer, said)| (layer, done(said, &Some(name.clone())))));
            }
            _ => outside.extend(inside),
        }
        self.pieces = outside;
    }

    /// The layers in order, with what was said of each.
    pub(super) fn finish(mut self) -> (Layers, Vec<Said>) {
        // As `Layers::new` orders them, so that the two lists stay side by side.
        self.pieces.sort_by_key(|(layer, _)| (layer.bars.start, layer.members.first().map(|member| member.line)));
        let (layers, said) = self.pieces.into_iter().unzip();
        (Layers::new(layers), said)
    }

    /// A layer of these members, `None` without any. The first in the list stays first: the chief line of the layer it came from.
    fn layer(&self, mut members: Vec<Member>) -> Option<Layer> {
        let chief = members.first()?.line;
        members.sort_by_key(|member| (member.line != chief, member.line, member.bars.start));
        relate(self.lines, &mut members);
        let bars = extent(&members);
        Some(Layer { bars, members })
    }
}

fn overlap(a: &Range<u32>, b: &Range<u32>) -> Option<Range<u32>> {
    let both = a.start.max(b.start)..a.end.min(b.end);
    (both.start < both.end).then_some(both)
}

fn extent(members: &[Member]) -> Range<u32> {
    let first = members.iter().map(|member| member.bars.start).min().unwrap_or(0);
    first..members.iter().map(|member| member.bars.end).max().unwrap_or(first)
}

/// What of a layer lies in these bars.
fn clipped(lines: &Lines, layer: &Layer, bars: &Range<u32>) -> Option<Layer> {
    let mut members: Vec<Member> =
        layer.members.iter().filter_map(|member| Some(Member { bars: overlap(&member.bars, bars)?, ..member.clone() })).collect();
    let chief = layer.members.first()?.line;
    if members.first()?.line != chief || members.iter().map(|member| member.line).collect::<BTreeSet<_>>().len() < 2 {
        relate(lines, &mut members);
    }
    Some(Layer { bars: extent(&members), members })
}
