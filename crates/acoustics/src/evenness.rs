//! Does a chord ring evenly? The loudness of its tones side by side, and by section.

use std::collections::BTreeMap;
use std::fmt;

use ripieno_instruments::catalogue;
use ripieno_loudness::erb;
use ripieno_loudness::roughness::roughness;
use ripieno_score::Crotchets;

use crate::audibility::components;
use crate::ear::channel_hz;
use crate::scene::Scene;

/// A tone of a chord: all that sounds on one key.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordTone {
    /// The key, 60 is C4.
    pub key: u8,
    /// Its notes, rows of [`ripieno_score::Notes`].
    pub rows: Vec<usize>,
    /// Loudness level of the tone heard alone, in phon (ISO 532-1).
    pub level: f64,
    /// That against the mean of the chord.
    pub above_mean: f64,
}

/// A section's share in a chord.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionShare {
    /// The section, as the catalogue names it.
    pub section: &'static str,
    /// Mean loudness of its tones against the mean of the chord, in phon.
    pub above_mean: f64,
    /// Standard deviation of its tones, in phon.
    pub spread: f64,
    /// How many tones it has.
    pub tones: usize,
}

/// The evenness of a chord.
#[derive(Debug, Clone, PartialEq)]
pub struct Evenness {
    /// Tones from the lowest up.
    pub tones: Vec<ChordTone>,
    /// Standard deviation of their loudness, in phon.
    pub spread: f64,
    /// The sections in it, in score order of their first part.
    pub sections: Vec<SectionShare>,
    /// A hint of how they blend: how far the centres of their spectra lie apart at the listener, standard deviation in ERB; 0 for one section. G. J. Sandell (Music
    /// Perception 13, 1995, 209, from memory): the nearer and the darker together, the better two sounds blend.
    pub colours_apart: f64,
    /// A hint of how it grates ([`roughness`]), of its strongest components; compares only with other chords of the same place.
    pub roughness: f64,
}

/// In plain words; the bounds are ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum EvenGrade {
    /// Less than 2.5 phon.
    Even,
    /// Less than 5 phon.
    Fair,
    /// More.
    Uneven,
}

impl fmt::Display for EvenGrade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Even => "even",
            Self::Fair => "fairly even",
            Self::Uneven => "uneven",
        })
    }
}

impl Evenness {
    /// In plain words.
    #[must_use]
    pub fn grade(&self) -> EvenGrade {
        match self.spread {
            s if s < 2.5 => EvenGrade::Even,
            s if s < 5.0 => EvenGrade::Fair,
            _ => EvenGrade::Uneven,
        }
    }

    /// The weakest and the strongest tone.
    #[must_use]
    pub fn extremes(&self) -> Option<(&ChordTone, &ChordTone)> {
        let by_level = |a: &&ChordTone, b: &&ChordTone| a.level.total_cmp(&b.level);
        Some((self.tones.iter().min_by(by_level)?, self.tones.iter().max_by(by_level)?))
    }
}

/// Components of which roughness is taken.
const GRATING: usize = 48;
/// Fewest tones of a full chord.
const FULL_TONES: usize = 4;
/// Fewest different pitch classes of it.
const FULL_CLASSES: u32 = 3;

/// For each bar the moment at which its full chord is heard: of those at which at least four keys of three pitch classes sound on the rows that
/// `wanted` admits, the one that lasts longest. Bars without such a moment are left out.
#[must_use]
pub fn full_chords(scene: &Scene<'_>, wanted: impl Fn(usize) -> bool) -> Vec<(usize, Crotchets)> {
    let notes = &scene.sounding.notes;
    let mut found: Vec<(usize, Crotchets, f64)> = Vec::new();
    let mut keys: Vec<u8> = Vec::new();
    scene.moments(0..scene.sounding.bars.len(), |moment| {
        keys.clear();
        keys.extend(moment.active.iter().filter(|(row, _)| wanted(*row)).filter_map(|(row, _)| Some(notes.key[*row]?.number())));
        keys.sort_unstable();
        keys.dedup();
        let classes = keys.iter().fold(0u16, |classes, key| classes | 1 << (key % 12)).count_ones();
        if keys.len() < FULL_TONES || classes < FULL_CLASSES {
            return;
        }
        match found.last_mut() {
            Some((bar, at, seconds)) if *bar == moment.bar => {
                if moment.seconds > *seconds + 1e-9 {
                    (*at, *seconds) = (moment.from, moment.seconds);
                }
            }
            _ => found.push((moment.bar, moment.from, moment.seconds)),
        }
    });
    found.into_iter().map(|(bar, at, _)| (bar, at)).collect()
}

/// The chord that sounds at a moment, from the rows of [`ripieno_score::Notes`] that `wanted` admits; `None` for fewer than two pitched tones.
#[must_use]
pub fn evenness(scene: &Scene<'_>, at: Crotchets, wanted: impl Fn(usize) -> bool) -> Option<Evenness> {
    let notes = &scene.sounding.notes;
    let mut tones: BTreeMap<u8, Vec<usize>> = BTreeMap::new();
    for row in scene.rows_at(at) {
        if notes.key[row].is_some() && wanted(row) {
            tones.entry(scene.notes[row].tone.key).or_default().push(row);
        }
    }
    if tones.len() < 2 {
        return None;
    }
    let level = |rows: &[usize]| scene.loudness(rows.iter().map(|row| (*row, scene.notes[*row].players))).phons().0;
    let mut tones: Vec<ChordTone> =
        tones.into_iter().map(|(key, rows)| ChordTone { key, level: level(&rows), rows, above_mean: 0.0 }).collect();
    let levels: Vec<f64> = tones.iter().map(|tone| tone.level).collect();
    let (mean, spread) = mean_and_spread(&levels);
    tones.iter_mut().for_each(|tone| tone.above_mean = tone.level - mean);
    let mut order: Vec<&'static str> = Vec::new();
    let mut by_section: BTreeMap<&'static str, Vec<f64>> = BTreeMap::new();
    for tone in &tones {
        let mut by: BTreeMap<&'static str, Vec<usize>> = BTreeMap::new();
        for row in &tone.rows {
            by.entry(section_of(scene, *row)).or_default().push(*row);
        }
        for (section, rows) in by {
            by_section.entry(section).or_default().push(level(&rows) - mean);
        }
    }
    for part in &scene.score.parts {
        let section = catalogue().by_id(&part.instrument_id).map_or("others", |item| item.section.name());
        if !order.contains(&section) {
            order.push(section);
        }
    }
    order.extend(by_section.keys().filter(|section| !order.contains(section)).copied().collect::<Vec<_>>());
    let sections = (order.into_iter())
        .filter_map(|section| {
            let levels = by_section.get(section)?;
            let (above_mean, spread) = mean_and_spread(levels);
            Some(SectionShare { section, above_mean, spread, tones: levels.len() })
        })
        .collect();
    let rows = || tones.iter().flat_map(|tone| tone.rows.iter().copied());
    let (colours_apart, roughness) = (colours_apart(scene, rows()), grating(scene, rows()));
    Some(Evenness { tones, spread, sections, colours_apart, roughness })
}

/// Standard deviation of the centres of the sections' spectra at the listener, in ERB.
fn colours_apart(scene: &Scene<'_>, rows: impl Iterator<Item = usize>) -> f64 {
    // By section: what reaches the listener, and the same times the number of its filter.
    let mut by: BTreeMap<&'static str, (f64, f64)> = BTreeMap::new();
    for row in rows {
        let note = &scene.notes[row];
        let transfer = &scene.transfers[usize::from(note.tone.part)];
        let (sum, weighted) = by.entry(section_of(scene, row)).or_default();
        for (channel, (power, transfer)) in scene.heard[note.heard].emitted.iter().zip(transfer.iter()).enumerate() {
            let heard = note.players * power * transfer;
            *sum += heard;
            *weighted += heard * erb::number(channel_hz(channel));
        }
    }
    let centres: Vec<f64> = by.into_values().filter(|(sum, _)| *sum > 0.0).map(|(sum, weighted)| weighted / sum).collect();
    mean_and_spread(&centres).1
}

/// Roughness of the strongest components.
fn grating(scene: &Scene<'_>, rows: impl Iterator<Item = usize>) -> f64 {
    let mut tones = Vec::new();
    rows.for_each(|row| components(scene, row, scene.notes[row].players, &mut tones));
    tones.sort_by(|a, b| b.level.total_cmp(&a.level).then(a.hertz.total_cmp(&b.hertz)));
    tones.truncate(GRATING);
    roughness(&tones)
}

fn section_of(scene: &Scene<'_>, row: usize) -> &'static str {
    let id = &scene.voices[usize::from(scene.notes[row].tone.voice)];
    catalogue().by_id(id).map_or("others", |item| item.section.name())
}

fn mean_and_spread(values: &[f64]) -> (f64, f64) {
    #[allow(clippy::cast_precision_loss)] // a number of tones
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    (mean, (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count).sqrt())
}
