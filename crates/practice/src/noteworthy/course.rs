//! The course of a piece bar by bar: who is there, how loud, and who does what in a stretch.

use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::{Crotchets, DynamicLevel};

use super::marks::{Sign, signs_in_force};
use super::runs;
use super::tasks::Tasks;
use crate::material::Material;
use crate::measures::{Standing, printed_levels};

/// Facts of each played bar.
pub(super) struct Course<'a> {
    pub material: &'a Material<'a>,
    /// Section of each part.
    pub section_of: Vec<usize>,
    /// Bars in which each section sounds.
    pub bars_of: Vec<Vec<u32>>,
    /// Loudest level in force for anyone who sounds, stresses aside, by bar.
    pub level: Vec<Option<f32>>,
    /// The printed sign in force, by row of the notes.
    pub signs: Vec<Option<Sign>>,
    /// By section and bar the newest such sign of those who sound: where one of two has a new sign, an old one of the other says nothing.
    pub sign_of: Vec<Vec<Option<f32>>>,
    /// Which bars are shorter than their metre.
    partial: Vec<Partial>,
    /// Parts that sound, by bar.
    pub parts: Vec<Vec<bool>>,
    /// Stretches in which the orchestra plays as a whole.
    pub tuttis: Vec<Range<u32>>,
    /// What each line does in each bar.
    pub tasks: Tasks,
}

/// A section is there in a bar in which it sounds for more than this share, or begins so many notes: the last note of a phrase on the downbeat is not playing on.
const THERE: (i64, u32) = (4, 2);

impl<'a> Course<'a> {
    pub fn new(material: &'a Material<'a>) -> Self {
        let bars = material.sounding.bars.len();
        let sections = &material.groups.sections;
        let section_of = material.groups.section_of_parts();
        let levels = printed_levels(material);
        let mut level = vec![None; bars];
        let mut parts = vec![vec![false; material.score.parts.len()]; bars];
        let mut time_of = vec![vec![Crotchets::ZERO; bars]; sections.len()];
        let mut sounds: Vec<usize> = Vec::new();
        for (slice, rows) in material.slices.iter() {
            let bar = slice.bar as usize;
            sounds.clear();
            for &row in rows {
                let part = material.part_of(row);
                parts[bar][part] = true;
                if !sounds.contains(&section_of[part]) {
                    sounds.push(section_of[part]);
                    time_of[section_of[part]][bar] += slice.length();
                }
                level[bar] = level[bar].into_iter().chain(levels[row as usize]).reduce(f32::max);
            }
        }
        let signs = signs_in_force(material, &parts);
        let sign_of = newest(material, &section_of, &signs);
        let standing = Standing::new(material.sounding, material.groups);
        let tuttis = tuttis(material, &standing, &section_of, &time_of);
        let bars_of = standing.of_sections;
        let partial = partial(material);
        Self { material, section_of, bars_of, level, signs, sign_of, partial, parts, tuttis, tasks: Tasks::new(material) }
    }

    pub fn section_name(&self, section: usize) -> &'static str {
        self.material.groups.sections.get(section).map_or("", |section| section.name)
    }

    pub fn family_of(&self, section: usize) -> Family {
        self.material.groups.sections.get(section).map_or(Family::Other, |section| section.family)
    }

    /// Number of bars, an upbeat left out.
    pub fn whole_bars(&self) -> usize {
        self.count(0..u32::try_from(self.partial.len()).unwrap_or(u32::MAX)) as usize
    }

    /// Bars in a stretch: an upbeat at the beginning of the score is none, and the halves of a split bar are one.
    fn count(&self, bars: Range<u32>) -> u32 {
        let counts = |bar: &u32| match self.partial.get(*bar as usize) {
            Some(Partial::Begins) => *bar > 0,
            Some(Partial::Ends) => *bar == bars.start && *bar > 0,
            _ => true,
        };
        u32::try_from(bars.clone().filter(counts).count()).unwrap_or(u32::MAX)
    }

    /// Whether a bar is as long as its metre asks for.
    pub fn is_whole(&self, bar: usize) -> bool {
        self.partial.get(bar).is_none_or(|partial| *partial == Partial::Whole)
    }

    /// Whole bars of rest before `bar` when the last sound was in the bar before `rested`.
    pub fn rest(&self, rested: Range<u32>) -> u32 {
        self.count(rested)
    }

    /// The sign that half of the sections with one reach in a bar, where at least half of those who sound have one.
    pub fn usual_level(&self, bar: u32) -> Option<f32> {
        let mut levels: Vec<f32> = self.sign_of.iter().filter_map(|of| *of.get(bar as usize)?).collect();
        let sounding = self.bars_of.iter().filter(|bars| bars.binary_search(&bar).is_ok()).count();
        levels.sort_unstable_by(f32::total_cmp);
        levels.get(levels.len() / 2).copied().filter(|_| levels.len() * 2 >= sounding)
    }

    /// The loudest [`Course::usual_level`] of a stretch.
    pub fn loudest(&self, bars: Range<u32>) -> Option<f32> {
        bars.filter_map(|bar| self.usual_level(bar)).reduce(f32::max)
    }

    /// How loud a stretch is marked for most of the sections: " at ff" where that holds for three quarters of the bars, else " between p and ff"; empty where fewer than
    /// half of the bars are told by signs.
    pub fn mark(&self, bars: Range<u32>) -> String {
        in_words(bars.len(), bars.filter_map(|bar| self.usual_level(bar)).collect())
    }

    /// The same of one section.
    pub fn mark_of(&self, section: usize, bars: Range<u32>) -> String {
        in_words(bars.len(), bars.filter_map(|bar| self.sign_of[section][bar as usize]).collect())
    }
}

fn in_words(bars: usize, mut levels: Vec<f32>) -> String {
    if levels.len() * 2 < bars {
        return String::new();
    }
    levels.sort_unstable_by(f32::total_cmp);
    let (Some(&low), Some(&high)) = (levels.first(), levels.last()) else { return String::new() };
    let middle = levels[levels.len() / 2];
    let mark = |level: f32| DynamicLevel(level).mark();
    let same = levels.iter().filter(|&&level| mark(level) == mark(middle)).count();
    if same == levels.len() {
        format!(" at {}", mark(middle))
    } else if same * 4 >= levels.len() * 3 {
        format!(" mostly at {}", mark(middle))
    } else {
        format!(" between {} and {}", mark(low), mark(high))
    }
}

/// By section and bar the newest sign of those who sound there, the loudest of equals.
fn newest(material: &Material<'_>, section_of: &[usize], signs: &[Option<Sign>]) -> Vec<Vec<Option<f32>>> {
    let bars = material.sounding.bars.len();
    let mut found: Vec<Vec<Option<Sign>>> = vec![vec![None; bars]; material.groups.sections.len()];
    for (slice, rows) in material.slices.iter() {
        for &row in rows {
            let Some(sign) = signs[row as usize] else { continue };
            let known = &mut found[section_of[material.part_of(row)]][slice.bar as usize];
            let newer =
                known.is_none_or(|known| sign.place > known.place || sign.place == known.place && sign.level > known.level);
            if newer {
                *known = Some(sign);
            }
        }
    }
    found.into_iter().map(|of| of.into_iter().map(|sign| sign.map(|sign| sign.level)).collect()).collect()
}

/// Bars shorter than their metre asks for: upbeats, and the halves of a bar that the file has split.
fn partial(material: &Material<'_>) -> Vec<Partial> {
    let mut metre = Crotchets::ZERO;
    let mut asked = |bar: &ripieno_score::Bar| {
        metre = bar.metre.as_ref().and_then(ripieno_score::Metre::length).unwrap_or(metre);
        metre
    };
    let asked: Vec<Crotchets> = material.score.bars.iter().map(&mut asked).collect();
    let mut found: Vec<Partial> = Vec::with_capacity(material.sounding.bars.len());
    let mut before = Crotchets::ZERO;
    for bar in &material.sounding.bars {
        let asked = asked.get(bar.bar.at()).copied().unwrap_or(Crotchets::ZERO);
        let kind = match found.last() {
            _ if bar.length >= asked => Partial::Whole,
            Some(Partial::Begins) if before + bar.length <= asked => Partial::Ends,
            _ => Partial::Begins,
        };
        found.push(kind);
        before = bar.length;
    }
    found
}

/// Whether a bar of the file is one to a musician.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Partial {
    /// It is.
    Whole,
    /// It is shorter than its metre.
    Begins,
    /// With the one before it makes one.
    Ends,
}

/// Stretches in which every standing family is there with at least two thirds of its sections.
fn tuttis(material: &Material<'_>, standing: &Standing, section_of: &[usize], time_of: &[Vec<Crotchets>]) -> Vec<Range<u32>> {
    let bars = &material.sounding.bars;
    let mut attacks = vec![vec![0u32; bars.len()]; time_of.len()];
    for line in &material.lines.lines {
        for attack in &line.attacks {
            attacks[section_of[line.part]][attack.bar as usize] += 1;
        }
    }
    let lines_in: Vec<u32> = (0..time_of.len()).map(|section| lines_in(material, section_of, section)).collect();
    let there = |section: usize, bar: u32| {
        let bar = bar as usize;
        time_of[section][bar] * Crotchets::whole(THERE.0) > bars[bar].length
            || attacks[section][bar] >= THERE.1 * lines_in[section]
    };
    runs(&standing.full_where(material.sounding, material.groups, there)).collect()
}

/// How many lines a section has in the score.
fn lines_in(material: &Material<'_>, section_of: &[usize], section: usize) -> u32 {
    let count = material.lines.lines.iter().filter(|line| section_of[line.part] == section).count();
    u32::try_from(count).unwrap_or(u32::MAX).max(1)
}
