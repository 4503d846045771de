//! What the original does: the study's own reading of passages of scores.

use std::collections::BTreeMap;

use ripieno_study::Study;
use ripieno_texture::{Role, RoleReading};

/// What a role is called in a reduction.
pub const fn class(role: Role) -> Role {
    match role {
        Role::Punctuation => Role::Rhythm,
        other => other,
    }
}

/// The three groups of the published annotations: melody, harmony, rhythm.
pub const fn group(role: Role) -> u8 {
    match role {
        Role::Melody | Role::Countermelody => 0,
        Role::Harmony | Role::Pedal | Role::Bass => 1,
        Role::Tacet => 3,
        _ => 2,
    }
}

/// What a section does in bars of the original.
pub struct Original {
    /// How long it has each role, in crotchets of all its notes.
    pub time: BTreeMap<Role, f64>,
    /// The median of its keys.
    pub median: Option<i32>,
    /// Whether it sounds in at least a quarter of the bars.
    sounds: bool,
}

impl Original {
    /// The role it has for most of its time; tacet where it sounds in less than a quarter of the bars.
    pub fn role(&self) -> Role {
        let longest = |best: (Role, f64), (role, time): (&Role, &f64)| if *time > best.1 { (*role, *time) } else { best };
        if self.sounds { self.time.iter().fold((Role::Tacet, 0.0), longest).0 } else { Role::Tacet }
    }
}

/// Reads what a section does in bars of the original. `roles`: the study's, with what a reduction settles (`ripieno_casting::grounded`).
pub fn times(
    study: &Study,
    roles: &RoleReading,
    of_part: &[Option<usize>],
    section: usize,
    bars: std::ops::Range<usize>,
) -> Original {
    let mut time: BTreeMap<Role, f64> = BTreeMap::new();
    let mut keys: Vec<i32> = Vec::new();
    let mut sounds = vec![false; bars.len()];
    let notes = &study.sounding.notes;
    for (part, _) in of_part.iter().enumerate().filter(|(_, at)| **at == Some(section)) {
        let rows = notes.of_part[part].clone();
        for row in rows.filter(|&row| bars.contains(&(notes.bar[row] as usize)) && notes.duration[row].is_positive()) {
            let bar = notes.bar[row] as usize;
            sounds[bar - bars.start] = true;
            if let Some(key) = notes.key[row] {
                keys.push(i32::from(key.number()));
            }
            let line = study.lines.of_row[row] as usize;
            let span = roles.in_bar(part, notes.bar[row]).find(|span| span.line == line);
            if let Some(span) = span {
                *time.entry(class(span.role())).or_default() += notes.duration[row].to_f64();
            }
        }
    }
    keys.sort_unstable();
    let median = keys.get(keys.len() / 2).copied();
    Original { time, median, sounds: sounds.iter().filter(|&&sound| sound).count() * 4 >= bars.len() }
}

/// Every role that the study shows for a section in at least a third of the bars in which it sounds: where players of one section, or bars of one phrase, do different
/// things, more than one.
pub fn told(roles: &RoleReading, of_part: &[Option<usize>], section: usize, bars: std::ops::Range<usize>) -> Vec<Role> {
    let mut counts: BTreeMap<Role, usize> = BTreeMap::new();
    let mut sounding = 0;
    for bar in bars {
        let at = u32::try_from(bar).unwrap_or(u32::MAX);
        let parts = of_part.iter().enumerate().filter(|(_, of)| **of == Some(section));
        let mut here: Vec<Role> = parts.flat_map(|(part, _)| roles.in_bar(part, at)).map(|span| class(span.role())).collect();
        here.sort_unstable();
        here.dedup();
        sounding += usize::from(!here.is_empty());
        for role in here {
            *counts.entry(role).or_default() += 1;
        }
    }
    counts.into_iter().filter(|(_, count)| count * 3 >= sounding).map(|(role, _)| role).collect()
}

/// Bars of the two passages of a score: where most sections sound, and where the melody is led most clearly over a thinner texture.
pub fn passages(study: &Study, length: usize) -> Vec<(&'static str, usize)> {
    passages_beside(study, length, &[])
}

/// The same of what does not overlap passages that begin at bars `taken`.
pub fn passages_beside(study: &Study, length: usize, taken: &[(&str, usize)]) -> Vec<(&'static str, usize)> {
    let bars = study.score.bars.len();
    if bars < length + 2 {
        return Vec::new();
    }
    let sections = |bar: usize| {
        let bar = u32::try_from(bar).unwrap_or(0);
        study.of_sections.iter().filter(|measured| measured.presence.bars.binary_search(&bar).is_ok()).count()
    };
    let counts: Vec<usize> = (0..bars).map(sections).collect();
    let lead =
        |bar: usize| study.roles.roles.leads.iter().map(|leads| leads.get(bar).copied().unwrap_or(0.0)).fold(0.0f32, f32::max);
    let most = counts.iter().copied().max().unwrap_or(0);
    let starts = (1..bars - length).filter(|start| taken.iter().all(|(_, taken)| start.abs_diff(*taken) >= length));
    let full =
        starts.clone().max_by_key(|&start| (counts[start..start + length].iter().sum::<usize>(), std::cmp::Reverse(start)));
    let clear = starts
        .filter(|&start| counts[start..start + length].iter().all(|&count| count >= 3 && count * 5 <= most * 4))
        .max_by(|&a, &b| {
            let sum = |start: usize| (start..start + length).map(lead).sum::<f32>();
            sum(a).total_cmp(&sum(b)).then(b.cmp(&a))
        });
    full.map(|start| ("tutti", start)).into_iter().chain(clear.map(|start| ("melody", start))).collect()
}
