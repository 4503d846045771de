//! Doublings gathered into combinations: which sections play one line together, at which intervals, for how long.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;
use ripieno_texture::Doubling;

use crate::Study;

/// Doublings with fewer common notes are chord tones that happen to meet as often as not; combinations leave them out.
pub const FEWEST_NOTES: u32 = 4;

/// One way in which a combination lies: each section with its octaves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// Section (index into [`crate::Groups::sections`]) and octaves below the highest line of the combination, 0 or negative; ordered by
    /// section, then from above.
    pub octaves: Vec<(usize, i16)>,
    /// How long it sounds.
    pub time: Crotchets,
    /// Its bars.
    pub bars: Vec<u32>,
}

/// Sections that play one line together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Combination {
    /// The sections, indices into [`crate::Groups::sections`], in page order. A single one: players of a section among themselves.
    pub sections: Vec<usize>,
    /// The parts that ever take part, indices into [`ripieno_score::Score::parts`].
    pub parts: Vec<usize>,
    /// How long, in all layouts.
    pub time: Crotchets,
    /// The bars.
    pub bars: Vec<u32>,
    /// The layouts, longest first.
    pub layouts: Vec<Layout>,
}

type Key = Vec<(usize, i16)>;

/// A stretch of a doubling without a bar in which its lines do not sound together.
struct Together {
    from: Crotchets,
    to: Crotchets,
    a: usize,
    b: usize,
    interval: i16,
}

#[derive(Default)]
struct Gathered {
    time: Crotchets,
    bars: BTreeSet<u32>,
    parts: BTreeSet<usize>,
}

impl Study {
    /// Combinations by duration, longest first. Lines belong to one combination at a moment when doublings of at least [`FEWEST_NOTES`]
    /// common notes lead from one to the other. Cost grows with the doublings times how many hold at once.
    #[must_use]
    pub fn combinations(&self) -> Vec<Combination> {
        let lines = &self.lines.lines;
        let mut section_of = vec![0; self.score.parts.len()];
        for (index, section) in self.groups.sections.iter().enumerate() {
            section.parts.iter().for_each(|&part| section_of[part] = index);
        }
        let doublings = self
            .doublings
            .all
            .iter()
            .filter(|doubling| doubling.shared >= FEWEST_NOTES && lines[doubling.a].part != lines[doubling.b].part);
        let mut kept: Vec<Together> = doublings.flat_map(|doubling| self.together(doubling)).collect();
        kept.sort_by_key(|stretch| (stretch.from, stretch.a, stretch.b));
        let mut edges: Vec<Crotchets> = kept.iter().flat_map(|stretch| [stretch.from, stretch.to]).collect();
        edges.sort_unstable();
        edges.dedup();
        let mut gathered: BTreeMap<Key, Gathered> = BTreeMap::new();
        let (mut now, mut next) = (Vec::new(), 0);
        for pair in edges.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            now.retain(|&index: &usize| kept[index].to > from);
            while kept.get(next).is_some_and(|stretch| stretch.from <= from) {
                now.push(next);
                next += 1;
            }
            let links = now.iter().map(|&index| (kept[index].a, kept[index].b, kept[index].interval));
            for group in joined(links) {
                let top = group.iter().map(|(_, interval)| *interval).max().unwrap_or(0);
                let mut key: Key = group.iter().map(|&(line, at)| (section_of[lines[line].part], (at - top) / 12)).collect();
                key.sort_unstable_by_key(|&(section, octaves)| (section, -octaves));
                key.dedup();
                let entry = gathered.entry(key).or_default();
                entry.time += to - from;
                entry.bars.extend(self.bars_between(from, to));
                entry.parts.extend(group.iter().map(|&(line, _)| lines[line].part));
            }
        }
        combined(gathered)
    }

    /// A doubling goes on through rests of both; these are its stretches from rest to rest, parted by bars in which the two have no common
    /// note sounding. A chart has no notes: there a doubling lasts while both sound.
    fn together(&self, doubling: &Doubling) -> Vec<Together> {
        let stretch = |from, to| Together { from, to, a: doubling.a, b: doubling.b, interval: doubling.interval };
        if self.is_chart() {
            return vec![stretch(doubling.from, doubling.to)];
        }
        let attacks = |line: usize, (first, last): (u32, u32)| {
            let all = &self.lines.lines[line].attacks;
            all.get(first as usize..=last as usize).unwrap_or_default()
        };
        let others = attacks(doubling.b, doubling.b_attacks);
        let mut found: Vec<(Together, u32)> = Vec::new();
        for one in attacks(doubling.a, doubling.a_attacks) {
            let other = others.binary_search_by_key(&one.onset, |other| other.onset).ok().and_then(|at| others.get(at));
            let common = other
                .filter(|other| one.top.zip(other.top).is_some_and(|(a, b)| i16::from(b) - i16::from(a) == doubling.interval));
            let Some(other) = common else { continue };
            let bars = self.bars_between(one.onset, one.end.min(other.end));
            let barline = self.sounding.bars.get(bars.end as usize).map_or(Crotchets::MAX, |next| next.start);
            // What one of them holds on alone belongs to it, but for the rest of a bar.
            let to = one.end.max(other.end).min(barline);
            match found.last_mut() {
                Some((open, end)) if bars.start <= *end => {
                    open.to = open.to.max(to);
                    *end = (*end).max(bars.end);
                }
                _ => found.push((stretch(one.onset, to), bars.end)),
            }
        }
        found.into_iter().map(|(stretch, _)| stretch).collect()
    }
}

/// Lines linked with each other, each with its height above the first of its group in semitones.
fn joined(links: impl Iterator<Item = (usize, usize, i16)>) -> Vec<Vec<(usize, i16)>> {
    let mut of: BTreeMap<usize, Vec<(usize, i16)>> = BTreeMap::new();
    for (a, b, interval) in links {
        of.entry(a).or_default().push((b, interval));
        of.entry(b).or_default().push((a, -interval));
    }
    let mut seen = BTreeSet::new();
    let mut groups = Vec::new();
    for &start in of.keys() {
        if !seen.insert(start) {
            continue;
        }
        let mut group = vec![(start, 0)];
        let mut at = 0;
        while let Some(&(line, height)) = group.get(at) {
            at += 1;
            for &(other, interval) in &of[&line] {
                if seen.insert(other) {
                    group.push((other, height + interval));
                }
            }
        }
        groups.push(group);
    }
    groups
}

fn combined(gathered: BTreeMap<Key, Gathered>) -> Vec<Combination> {
    let mut of: BTreeMap<Vec<usize>, (Gathered, Vec<Layout>)> = BTreeMap::new();
    for (octaves, layout) in gathered {
        let mut sections: Vec<usize> = octaves.iter().map(|(section, _)| *section).collect();
        sections.dedup();
        let (all, layouts) = of.entry(sections).or_default();
        all.time += layout.time;
        all.bars.extend(&layout.bars);
        all.parts.extend(&layout.parts);
        layouts.push(Layout { octaves, time: layout.time, bars: layout.bars.into_iter().collect() });
    }
    let mut found: Vec<Combination> = of
        .into_iter()
        .map(|(sections, (all, mut layouts))| {
            layouts.sort_by_key(|layout| std::cmp::Reverse(layout.time));
            let (parts, bars) = (all.parts.into_iter().collect(), all.bars.into_iter().collect());
            Combination { sections, parts, time: all.time, bars, layouts }
        })
        .collect();
    found.sort_by_key(|combination| std::cmp::Reverse(combination.time));
    found
}
