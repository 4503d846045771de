//! From units to spans of chord and key, with names, inversion and confidence.

use std::ops::Range;

use ripieno_score::{Crotchets, Sounding};

use super::chord::{Mode, NoteName, Quality};
use super::decode::{Evidence, State};
use super::model::{CHORDS, HarmonyModel, KEYS, QUALITIES};
use super::spelling::{self, Votes};
use super::units::Units;
use crate::model::sigmoid;

/// Silence up to this long belongs to the chord before it.
const BREATH: Crotchets = Crotchets::whole(4);

/// One chord for as long as it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordSpan {
    /// When it begins, from the start of the piece.
    pub onset: Crotchets,
    /// When it ends.
    pub end: Crotchets,
    /// Root, spelled as the parts spell it, else as the key does.
    pub root: NoteName,
    /// Kind of chord.
    pub quality: Quality,
    /// Which chord tone lies lowest for the longest: 0 root, 1 third, 2 fifth, 3 seventh. `None` when the bass is foreign to the chord (a pedal).
    pub inversion: Option<u8>,
    /// Lowest note for the longest.
    pub bass: Option<NoteName>,
    /// How often chords told so surely have root and quality right, 0 to 1.
    pub confidence: f32,
}

/// One local key for as long as it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct KeySpan {
    /// When it begins, from the start of the piece.
    pub onset: Crotchets,
    /// When it ends.
    pub end: Crotchets,
    /// Tonic.
    pub tonic: NoteName,
    /// Major or minor.
    pub mode: Mode,
    /// Mean probability of the key over the span, 0 to 1, not calibrated.
    pub confidence: f32,
}

/// What a note is in the chord it sounds with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum ChordTone {
    Root,
    Third,
    Fifth,
    Seventh,
    /// Passing, changing, suspended ...: no tone of the chord.
    Foreign,
}

/// Chords and keys of a piece. Both lists are in order of time and do not overlap; silence longer than a bar of 4/4 has neither chord nor gap filled.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Harmony {
    /// Chords.
    pub chords: Vec<ChordSpan>,
    /// Local keys.
    pub keys: Vec<KeySpan>,
}

impl ChordSpan {
    /// The chord's notes from the root up, spelled.
    #[must_use]
    pub fn tones(&self) -> Vec<NoteName> {
        let (tones, letters) = (self.quality.tones(), self.quality.letters());
        tones.iter().zip(letters).map(|(&semitones, &letters)| self.root.above(semitones, letters)).collect()
    }

    /// What a pitch class (0 to 11 from C) is in this chord.
    #[must_use]
    pub fn tone(&self, class: u8) -> ChordTone {
        const NAMES: [ChordTone; 4] = [ChordTone::Root, ChordTone::Third, ChordTone::Fifth, ChordTone::Seventh];
        let above = (class % 12 + 12 - self.root.class()) % 12;
        let place = self.quality.tones().iter().position(|&tone| tone == above);
        place.map_or(ChordTone::Foreign, |place| NAMES[place])
    }
}

impl Harmony {
    /// The chord at a moment; `None` in silence and beyond the piece.
    #[must_use]
    pub fn chord_at(&self, at: Crotchets) -> Option<&ChordSpan> {
        let after = self.chords.partition_point(|span| span.onset <= at);
        after.checked_sub(1).map(|index| &self.chords[index]).filter(|span| at < span.end)
    }

    /// The key at a moment.
    #[must_use]
    pub fn key_at(&self, at: Crotchets) -> Option<&KeySpan> {
        let after = self.keys.partition_point(|span| span.onset <= at);
        after.checked_sub(1).map(|index| &self.keys[index]).filter(|span| at < span.end)
    }

    /// What note `row` of the sounding view is in the chord at its onset; `None` without pitch or chord.
    #[must_use]
    pub fn chord_tone_of(&self, sounding: &Sounding, row: usize) -> Option<ChordTone> {
        let key = sounding.notes.key[row]?;
        Some(self.chord_at(sounding.notes.onset[row])?.tone(key.number() % 12))
    }

    /// Share of the sounding time of some notes that is spent on tones of the chord of the moment, 0 to 1: near 1 where a thickened line
    /// keeps to the chord, lower where it runs in parallel through foreign notes. `None` when none of them meets a chord.
    #[must_use]
    pub fn on_chord_tones(&self, sounding: &Sounding, rows: &[usize]) -> Option<f64> {
        let (mut on, mut all) = (0.0, 0.0);
        for &row in rows {
            let Some(key) = sounding.notes.key[row] else { continue };
            let (onset, end) = (sounding.notes.onset[row], sounding.notes.onset[row] + sounding.notes.duration[row]);
            let first = self.chords.partition_point(|span| span.end <= onset);
            for span in self.chords[first..].iter().take_while(|span| span.onset < end) {
                let time = (span.end.min(end) - span.onset.max(onset)).to_f64();
                all += time;
                if span.tone(key.number() % 12) != ChordTone::Foreign {
                    on += time;
                }
            }
        }
        (all > 0.0).then(|| on / all)
    }
}

pub(super) fn spans(model: &HarmonyModel, sounding: &Sounding, units: &Units, evidence: &Evidence, path: &[State]) -> Harmony {
    let voiced = voiced(units);
    let votes = spelling::is_known(sounding).then(|| unit_votes(sounding, units));
    let mut harmony = Harmony::default();
    for run in runs(path.len(), |a, b| path[a].key == path[b].key && voiced[a] == voiced[b]) {
        if !voiced[run.start] {
            continue;
        }
        let key = path[run.start].key;
        let mode = if key.is_multiple_of(2) { Mode::Major } else { Mode::Minor };
        let named = votes.as_ref().and_then(|votes| gather(votes, run.clone()).name(key / 2));
        let confidence = mean(run.clone(), |unit| evidence.keys[unit * KEYS + key].exp());
        let (onset, end) = (units.units[run.start].onset, units.units[run.end - 1].end);
        let tonic = named.unwrap_or_else(|| spelling::tonic(key / 2, mode));
        harmony.keys.push(KeySpan { onset, end, tonic, mode, confidence });
    }
    for run in runs(path.len(), |a, b| path[a].chord == path[b].chord && voiced[a] == voiced[b]) {
        if !voiced[run.start] {
            continue;
        }
        let chord = path[run.start].chord;
        let quality = Quality::ALL[chord % QUALITIES];
        let (onset, end) = (units.units[run.start].onset, units.units[run.end - 1].end);
        let heard = votes.as_ref().map(|votes| gather(votes, run.clone()));
        let tonic = harmony.key_at(onset).map_or(NoteName::at_fifths(0), |key| key.tonic);
        let named = heard.as_ref().and_then(|votes| votes.name(chord / QUALITIES));
        let root = named.unwrap_or_else(|| spelling::root(chord / QUALITIES, quality, tonic));
        let sure = mean(run.clone(), |unit| evidence.chords[unit * CHORDS + chord].exp()).clamp(0.001, 0.999);
        let logit = model.knobs.sure_slope * (sure / (1.0 - sure)).ln() + model.knobs.sure_shift;
        let confidence = sigmoid(logit);
        let mut span = ChordSpan { onset, end, root, quality, inversion: None, bass: None, confidence };
        let bass = bass_of(units, run);
        span.inversion = bass.and_then(|class| inversion(&span, class));
        span.bass = bass.map(|class| {
            let tones = span.tones();
            let in_chord = tones.into_iter().find(|name| usize::from(name.class()) == class);
            let heard = heard.as_ref().and_then(|votes| votes.name(class));
            heard.or(in_chord).unwrap_or_else(|| spelling::root(class, Quality::Major, tonic))
        });
        harmony.chords.push(span);
    }
    harmony
}

/// The pitch class that lies lowest for the longest.
fn bass_of(units: &Units, run: Range<usize>) -> Option<usize> {
    let mut bass = [0f32; 12];
    for unit in run {
        for (sum, &share) in bass.iter_mut().zip(&units.bass[unit]) {
            *sum += share;
        }
    }
    let top = (0..12).rev().max_by(|&a, &b| bass[a].total_cmp(&bass[b]))?;
    (bass[top] > 0.0).then_some(top)
}

fn inversion(span: &ChordSpan, bass: usize) -> Option<u8> {
    match span.tone(u8::try_from(bass).unwrap_or(0)) {
        ChordTone::Root => Some(0),
        ChordTone::Third => Some(1),
        ChordTone::Fifth => Some(2),
        ChordTone::Seventh => Some(3),
        ChordTone::Foreign => None,
    }
}

/// Whether each unit counts as sounding: short silences do, after a sound.
fn voiced(units: &Units) -> Vec<bool> {
    let silent: Vec<bool> = (0..units.len()).map(|unit| units.is_silent(unit)).collect();
    let mut voiced: Vec<bool> = silent.iter().map(|silent| !silent).collect();
    for run in runs(units.len(), |a, b| silent[a] == silent[b]) {
        let length = units.units[run.end - 1].end - units.units[run.start].onset;
        if silent[run.start] && run.start > 0 && length <= BREATH {
            voiced[run].fill(true);
        }
    }
    voiced
}

/// Spellings heard in each unit.
fn unit_votes(sounding: &Sounding, units: &Units) -> Vec<Votes> {
    let mut votes = vec![Votes::default(); units.len()];
    let notes = &sounding.notes;
    for row in 0..notes.len() {
        if notes.key[row].is_none() {
            continue;
        }
        let (onset, end) = (notes.onset[row], notes.onset[row] + notes.duration[row]);
        let name = NoteName::of(notes.pitch[row].tamed());
        let first = units.units.partition_point(|unit| unit.end <= onset);
        for (unit, votes) in units.units[first..].iter().zip(&mut votes[first..]).take_while(|(unit, _)| unit.onset < end) {
            votes.add(name, (unit.end.min(end) - unit.onset.max(onset)).to_f64());
        }
    }
    votes
}

fn gather(votes: &[Votes], run: Range<usize>) -> Votes {
    let mut all = Votes::default();
    votes[run].iter().for_each(|votes| all.join(votes));
    all
}

fn mean(run: Range<usize>, value: impl Fn(usize) -> f32) -> f32 {
    let count = run.len().max(1) as f32;
    run.map(value).sum::<f32>() / count
}

/// Maximal runs of neighbours that are `alike`.
fn runs(count: usize, alike: impl Fn(usize, usize) -> bool) -> Vec<Range<usize>> {
    let mut runs = Vec::new();
    let mut from = 0;
    for at in 1..=count {
        if at == count || !alike(at - 1, at) {
            runs.push(from..at);
            from = at;
        }
    }
    runs
}
