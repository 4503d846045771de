//! The course of a piece bar by bar: who is there, how loud, and who does what in a stretch.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::{Crotchets, DynamicLevel};
use ripieno_texture::Role;

use super::words::{capital, list};
use crate::material::Material;
use crate::measure::Value;
use crate::measures::{full_bars, is_one_rhythm, presence, printed_levels, tuttis};
use crate::slices::Slice;

/// Facts of each played bar.
pub(super) struct Course<'a> {
    pub material: &'a Material<'a>,
    /// Section of each part.
    pub section_of: Vec<usize>,
    /// Bars in which each section sounds.
    pub bars_of: Vec<Vec<u32>>,
    /// Loudest level in force for anyone who sounds, stresses aside, by bar.
    pub level: Vec<Option<f32>>,
    /// The same by section and bar.
    pub level_of: Vec<Vec<Option<f32>>>,
    /// Parts that sound, by bar.
    pub parts: Vec<Vec<bool>>,
    /// Stretches in which the orchestra plays as a whole.
    pub tuttis: Vec<Range<u32>>,
}

/// What a musician asks about first: these roles, in this order, under these names.
const JOBS: [(&str, &[Role]); 8] = [
    ("melody", &[Role::Melody]),
    ("countermelody", &[Role::Countermelody]),
    ("chords", &[Role::Harmony]),
    ("bass", &[Role::Bass]),
    ("pedal", &[Role::Pedal]),
    ("figures", &[Role::Figuration]),
    ("pulse", &[Role::Rhythm, Role::Punctuation]),
    ("effects", &[Role::Effect]),
];

/// Which job a role is.
fn job_of(role: Role) -> Option<usize> {
    JOBS.iter().position(|(_, roles)| roles.contains(&role))
}

impl<'a> Course<'a> {
    pub fn new(material: &'a Material<'a>) -> Self {
        let bars = material.sounding.bars.len();
        let sections = &material.groups.sections;
        let section_of = material.groups.section_of_parts();
        let levels = printed_levels(material);
        let mut level = vec![None; bars];
        let mut level_of = vec![vec![None; bars]; sections.len()];
        let mut parts = vec![vec![false; material.score.parts.len()]; bars];
        for (slice, rows) in material.slices.iter() {
            let bar = slice.bar as usize;
            for &row in rows {
                let part = material.part_of(row);
                parts[bar][part] = true;
                let here = levels[row as usize];
                for known in [&mut level[bar], &mut level_of[section_of[part]][bar]] {
                    *known = (*known).into_iter().chain(here).reduce(f32::max);
                }
            }
        }
        let bars_of = sections.iter().map(|section| presence(material.sounding, &section.parts).bars).collect();
        let tuttis = tuttis(&full_bars(material.sounding, material.groups));
        Self { material, section_of, bars_of, level, level_of, parts, tuttis }
    }

    pub fn section_name(&self, section: usize) -> &'static str {
        self.material.groups.sections.get(section).map_or("", |section| section.name)
    }

    pub fn family_of(&self, section: usize) -> Family {
        self.material.groups.sections.get(section).map_or(Family::Other, |section| section.family)
    }

    /// Number of bars, an upbeat left out.
    pub fn whole_bars(&self) -> usize {
        self.material.sounding.bars.len() - usize::from(self.material.has_upbeat())
    }

    /// Whole bars of rest before `bar` when the last sound was in the bar before `rested`.
    pub fn rest(&self, rested: Range<u32>) -> u32 {
        let upbeat = u32::from(rested.start == 0 && self.material.has_upbeat());
        (rested.end - rested.start).saturating_sub(upbeat)
    }

    /// [`Course::loudest`] as a printed mark.
    pub fn mark(&self, bars: Range<u32>) -> Option<&'static str> {
        self.loudest(bars).map(|level| DynamicLevel(level.floor()).mark())
    }

    /// The loudest level that half of the sections with a level reach in one bar of a stretch: a part whose mark was forgotten decides nothing.
    pub fn loudest(&self, bars: Range<u32>) -> Option<f32> {
        let of_bar = |bar: usize| {
            let mut levels: Vec<f32> = self.level_of.iter().filter_map(|of| *of.get(bar)?).collect();
            levels.sort_unstable_by(f32::total_cmp);
            levels.get(levels.len() / 2).copied()
        };
        (bars.start as usize..bars.end as usize).filter_map(of_bar).reduce(f32::max)
    }

    /// For each job the sections that have it in a stretch: their chief one, and any for at least two fifths of the time of their lines there. Lines that act
    /// together have one job, the layer's chief one. Sections that sound for less than a quarter of the stretch are left out.
    pub fn jobs(&self, bars: Range<u32>) -> Vec<(&'static str, Vec<usize>)> {
        let of_layers = self.jobs_of_layers(&bars);
        let mut sung: BTreeMap<usize, [Crotchets; JOBS.len()]> = BTreeMap::new();
        // Time in which a section sounds, and the slice last counted.
        let mut there: BTreeMap<usize, (Crotchets, Option<Crotchets>)> = BTreeMap::new();
        self.each_line(&bars, |slice, line, row| {
            let section = self.section_of[self.material.part_of(row)];
            let layer = self.material.roles.layers.of(line, slice.bar).and_then(|layer| of_layers.get(&layer).copied());
            if let Some(job) = layer.or_else(|| job_of(self.material.role_at(row, slice.from))) {
                sung.entry(section).or_default()[job] += slice.length();
            }
            let (time, counted) = there.entry(section).or_default();
            if counted.replace(slice.from) != Some(slice.from) {
                *time += slice.length();
            }
        });
        let whole: Crotchets = self.slices_of(&bars).iter().map(Slice::length).sum();
        let present = |section: usize| there.get(&section).is_some_and(|(time, _)| *time * Crotchets::whole(4) >= whole);
        let has = |times: &[Crotchets; JOBS.len()], job: usize| {
            let all: Crotchets = times.iter().copied().sum();
            let chief = times.iter().all(|time| *time <= times[job]);
            times[job].is_positive() && (chief || times[job] * Crotchets::whole(5) >= all * Crotchets::whole(2))
        };
        let of_job = |(job, (name, _)): (usize, &(&'static str, &[Role]))| {
            let sections = sung.iter().filter(|(section, times)| present(**section) && has(times, job));
            (*name, sections.map(|(&section, _)| section).collect::<Vec<_>>())
        };
        JOBS.iter().enumerate().map(of_job).filter(|(_, sections)| !sections.is_empty()).collect()
    }

    /// The slices of a stretch of bars.
    fn slices_of(&self, bars: &Range<u32>) -> &[Slice] {
        let slices = &self.material.slices.slices;
        let first = slices.partition_point(|slice| slice.bar < bars.start);
        let end = slices.partition_point(|slice| slice.bar < bars.end);
        &slices[first..end.max(first)]
    }

    /// Visits each line that sounds in each slice of a stretch once, with one of its rows.
    fn each_line(&self, bars: &Range<u32>, mut visit: impl FnMut(&Slice, usize, u32)) {
        let mut lines: Vec<usize> = Vec::new();
        for slice in self.slices_of(bars) {
            lines.clear();
            for &row in self.material.slices.rows(slice) {
                let line = self.material.line_of(row);
                if !lines.contains(&line) {
                    lines.push(line);
                    visit(slice, line, row);
                }
            }
        }
    }

    /// The chief job of each layer in a stretch: the one its lines have most of the time, the earlier of equals in [`JOBS`].
    fn jobs_of_layers(&self, bars: &Range<u32>) -> BTreeMap<usize, usize> {
        let mut times: BTreeMap<usize, [Crotchets; JOBS.len()]> = BTreeMap::new();
        self.each_line(bars, |slice, line, row| {
            let layer = self.material.roles.layers.of(line, slice.bar);
            if let Some((layer, job)) = layer.zip(job_of(self.material.role_at(row, slice.from))) {
                times.entry(layer).or_default()[job] += slice.length();
            }
        });
        let chief = |times: &[Crotchets; JOBS.len()]| (0..JOBS.len()).max_by(|&a, &b| times[a].cmp(&times[b]).then(b.cmp(&a)));
        times.iter().filter_map(|(&layer, times)| Some((layer, chief(times)?))).collect()
    }

    /// [`Course::jobs`] as a sentence: "Melody: violins and flutes; chords: horns; bass: tubas."; empty when nobody has a role.
    pub fn who_does_what(&self, bars: Range<u32>) -> String {
        self.told(&self.jobs(bars))
    }

    /// The same of the sections of one family.
    pub fn who_does_what_of(&self, family: Family, bars: Range<u32>) -> String {
        let mut jobs = self.jobs(bars);
        jobs.iter_mut().for_each(|(_, sections)| sections.retain(|&section| self.family_of(section) == family));
        jobs.retain(|(_, sections)| !sections.is_empty());
        self.told(&jobs)
    }

    fn told(&self, jobs: &[(&'static str, Vec<usize>)]) -> String {
        let told: Vec<String> = jobs
            .iter()
            .map(|(job, sections)| {
                let names: Vec<&str> = sections.iter().map(|&section| self.section_name(section)).collect();
                format!("{job}: {}", list(&names))
            })
            .collect();
        if told.is_empty() { String::new() } else { capital(&format!("{}.", told.join("; "))) }
    }

    /// Those bars of a value about one section in which its lines do not all play in one rhythm.
    pub fn in_several_rhythms(&self, value: &Value) -> Vec<u32> {
        let member = self.material.members(value.of);
        value.bars.iter().copied().filter(|&bar| !is_one_rhythm(self.material, &member, bar)).collect()
    }

    /// Sections of woodwind, brass and strings that do not sound in a stretch at all, and those that sound in fewer than half of its bars.
    pub fn missing(&self, bars: &Range<u32>) -> (Vec<usize>, Vec<usize>) {
        let there = |section: usize| {
            let of = &self.bars_of[section];
            of.partition_point(|bar| *bar < bars.end) - of.partition_point(|bar| *bar < bars.start)
        };
        let told = |section: &usize| matches!(self.family_of(*section), Family::Woodwind | Family::Brass | Family::Strings);
        let few = (0..self.bars_of.len()).filter(told).filter(|&section| there(section) * 2 < bars.len());
        few.partition(|&section| there(section) == 0)
    }
}
