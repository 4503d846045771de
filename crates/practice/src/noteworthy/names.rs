//! Parts, sections and bars by name.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_instruments::printed;

use super::course::Course;
use super::tasks::Task;
use super::words::{list, many};
use crate::material::bar_label;

impl Course<'_> {
    /// Lines of a section.
    pub fn lines_of_section(&self, section: usize) -> Vec<usize> {
        let lines = &self.material.lines.lines;
        (0..lines.len()).filter(|&line| self.section_of[lines[line].part] == section).collect()
    }

    /// Everyone.
    pub fn everybody(&self) -> Vec<bool> {
        vec![true; self.material.score.parts.len()]
    }

    /// The parts of these sections.
    pub fn members(&self, is: impl Fn(usize) -> bool) -> Vec<bool> {
        self.section_of.iter().map(|&section| is(section)).collect()
    }

    /// Whether a part plays anything in the score.
    pub fn plays(&self, part: usize) -> bool {
        !self.material.sounding.notes.of_part[part].is_empty()
    }

    /// Names of some parts, as short as they can be: a family or section by its name where all of its parts that play in the score are among them.
    pub fn who(&self, parts: &BTreeSet<usize>) -> Vec<String> {
        let groups = self.material.groups;
        let whole = |of: &[usize]| {
            let mut playing = of.iter().copied().filter(|&part| self.plays(part)).peekable();
            playing.peek().is_some() && playing.all(|part| parts.contains(&part))
        };
        let mut names = Vec::new();
        for family in &groups.families {
            let sections: Vec<_> = groups.sections.iter().filter(|section| section.family == family.family).collect();
            let orchestral = matches!(family.family, Family::Woodwind | Family::Brass | Family::Strings);
            if orchestral && sections.len() >= 3 && whole(&family.parts) {
                names.push(family.name.to_owned());
                continue;
            }
            for section in sections {
                if whole(&section.parts) {
                    names.push(section.name.to_owned());
                } else {
                    names.extend(section.parts.iter().filter(|part| parts.contains(part)).map(|&part| self.part_name(part)));
                }
            }
        }
        names
    }

    /// The same as one list in words.
    pub fn who_list(&self, parts: &BTreeSet<usize>) -> String {
        let names = self.who(parts);
        list(&names.iter().map(String::as_str).collect::<Vec<_>>())
    }

    /// "horns stop", "brass stops", "Oboe 1 goes on": a verb in the singular and in the plural.
    pub fn who_do(&self, parts: &BTreeSet<usize>, does: [&str; 2]) -> String {
        let names = self.who(parts);
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        format!("{} {}", list(&names), does[usize::from(many(&names))])
    }

    /// "in 12 to 16", in printed bars.
    pub fn span(&self, bars: &Range<u32>) -> String {
        let (first, last) = (self.printed(bars.start), self.printed(bars.end.saturating_sub(1)));
        if bars.len() <= 1 { format!("in {first}") } else { format!("in {first} to {last}") }
    }

    /// Whether a part is called a solo.
    pub fn is_soloist(&self, part: usize) -> bool {
        self.part_name(part).to_lowercase().contains("solo")
    }

    /// What a musician calls a played bar.
    pub fn printed(&self, bar: u32) -> String {
        bar_label(self.material.score, self.material.sounding, bar)
    }

    /// A part's name as scores print it.
    pub fn part_name(&self, part: usize) -> String {
        self.material.score.parts.get(part).map_or_else(String::new, |part| printed(&part.name))
    }

    /// A sounding key as the notes of some bars spell it; the first of them that has it.
    pub fn spelled(&self, key: u8, bars: &Range<u32>) -> String {
        let notes = &self.material.sounding.notes;
        let here = |row: &usize| bars.contains(&notes.bar[*row]) && notes.key[*row].is_some_and(|other| other.number() == key);
        (0..notes.len())
            .find(here)
            .map_or_else(String::new, |row| notes.pitch[row].to_string().replace('#', "♯").replace('b', "♭"))
    }

    /// What a section as a whole does in a stretch; `None` where its lines do different things.
    pub fn task_of(&self, section: usize, bars: &Range<u32>) -> Option<Task> {
        let lines = self.lines_of_section(section).into_iter().filter(|&line| self.tasks.sounds(line, bars) * 2 >= bars.len());
        self.tasks.agreed(lines, bars)
    }
}
