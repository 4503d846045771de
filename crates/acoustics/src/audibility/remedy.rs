//! What masks a line, and what would uncover it: every answer recomputed, none guessed, and only what players can do.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_instruments::{Family, catalogue};
use ripieno_score::DynamicLevel;

use super::able::{Able, Asked};
use super::colour::{Kinship, kinship};
use super::trial::{Trial, Trials};
use super::{Audible, Grade};
use crate::scene::{Line, Scene, ToneKey, players_of};
use crate::source::Ways;

/// Changes that gain less than this are not worth telling, in dB.
const WORTH: f64 = 1.0;
/// Maskers for which remedies are sought, and parts of the line of which each is tried in another octave.
const MOST_TRIED: usize = 3;
/// Nobody is asked to play softer than pp or louder than fff.
const SOFTEST: f32 = 2.0;
const LOUDEST: f32 = 8.0;

/// A line that covers another.
#[derive(Debug, Clone, PartialEq)]
pub struct Masker {
    /// Index of the line; `None` for notes that belong to none.
    pub line: Option<usize>,
    /// What the covered line would gain if this one were silent, in dB.
    pub gain_db: f64,
}

/// What could be done, and by whom: parts are indices into [`ripieno_score::Score::parts`].
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum RemedyKind {
    /// A part with fewer players.
    Fewer {
        /// The part.
        part: usize,
        /// Players it has, as many as weigh in the balance.
        of: u16,
        /// Players it would have.
        to: u16,
    },
    /// A part that only doubles another leaves off.
    Leaves {
        /// The part.
        part: usize,
        /// The one it doubles.
        doubled: usize,
    },
    /// Parts one printed dynamic softer.
    Softer {
        /// The parts.
        parts: Vec<usize>,
        /// The loudest they have in the bar.
        from: DynamicLevel,
        /// What that would be.
        to: DynamicLevel,
    },
    /// Whoever else plays one printed dynamic softer.
    AllSofter {
        /// The parts.
        parts: Vec<usize>,
    },
    /// The line itself one printed dynamic louder.
    Louder {
        /// Its parts.
        parts: Vec<usize>,
        /// The loudest they have in the bar.
        from: DynamicLevel,
        /// What that would be.
        to: DynamicLevel,
    },
    /// A part muted.
    Muted {
        /// The part.
        part: usize,
    },
    /// Parts of the line an octave higher or lower.
    Octave {
        /// The parts.
        parts: Vec<usize>,
        /// 12 or -12 semitones.
        semitones: i8,
    },
    /// A part that rests plays the line too.
    Joins {
        /// The part.
        part: usize,
        /// Whose notes it plays.
        with: usize,
        /// So many semitones off: 0, 12 or -12.
        semitones: i8,
        /// At this dynamic, the loudest of those notes in the bar.
        at: DynamicLevel,
        /// How near its colour is to that of the line.
        kinship: Kinship,
    },
}

impl RemedyKind {
    /// How much has to change: in how many parts, and twice as much where somebody gets other notes or another sound.
    #[must_use]
    pub fn change(&self) -> usize {
        match self {
            Self::Fewer { .. } | Self::Leaves { .. } => 1,
            Self::Softer { parts, .. } | Self::AllSofter { parts } | Self::Louder { parts, .. } => parts.len(),
            Self::Muted { .. } | Self::Joins { .. } => 2,
            Self::Octave { parts, .. } => 2 * parts.len(),
        }
    }

    /// What is changed of the colour of the line, the least first: nothing; its register, or more of its own kind; a usual doubling; the colour of what masks it; another colour
    /// of its family; a foreign one.
    #[must_use]
    pub const fn recolours(&self) -> usize {
        match self {
            Self::Fewer { .. } | Self::Leaves { .. } | Self::Softer { .. } | Self::AllSofter { .. } | Self::Louder { .. } => 0,
            Self::Octave { .. } | Self::Joins { kinship: Kinship::Own, .. } => 1,
            Self::Joins { kinship: Kinship::Usual(_), .. } => 2,
            Self::Muted { .. } => 3,
            Self::Joins { kinship: Kinship::Family, .. } => 4,
            Self::Joins { kinship: Kinship::Foreign, .. } => 5,
        }
    }

    /// In words, with the names that `called` has for parts.
    #[must_use]
    pub fn told(&self, called: impl Fn(&[usize]) -> String) -> String {
        let octave = |semitones: i8| if semitones > 0 { "an octave higher" } else { "an octave lower" };
        match self {
            Self::Fewer { part, of, to: 1 } => format!("{} with one player instead of {of}", called(&[*part])),
            Self::Fewer { part, of, to } => format!("{} with half its players ({to} instead of {of})", called(&[*part])),
            Self::Leaves { part, doubled } => {
                format!("{} silent, which only doubles {}", called(&[*part]), called(&[*doubled]))
            }
            Self::Softer { parts, from, to } => {
                format!("{} one dynamic softer ({} instead of {})", called(parts), to.mark(), from.mark())
            }
            Self::AllSofter { .. } => "everybody else one dynamic softer".to_owned(),
            Self::Louder { parts, from, to } => {
                format!("{} one dynamic louder ({} instead of {})", called(parts), to.mark(), from.mark())
            }
            Self::Muted { part } => format!("{} muted, which veils their sound", called(&[*part])),
            Self::Octave { parts, semitones } => format!("{} {}", called(parts), octave(*semitones)),
            Self::Joins { part, with, semitones, at, kinship } => {
                let place = match semitones {
                    0 => format!("with {}", called(&[*with])),
                    other => format!("{} than {}", octave(*other), called(&[*with])),
                };
                let usual = if kinship.is_usual() { "a usual doubling that" } else { "which" };
                format!("{}, which rests, {place} at {}, {usual} {}", called(&[*part]), at.mark(), kinship.told())
            }
        }
    }
}

/// A change and what it would bring.
#[derive(Debug, Clone, PartialEq)]
pub struct Remedy {
    /// The change.
    pub kind: RemedyKind,
    /// The margin it would leave, in dB.
    pub margin_db: f64,
    /// What it gains, in dB.
    pub gain_db: f64,
}

impl Remedy {
    /// What comes first of several: foreign colours last; before those whatever suffices (the line is then at least heard among others); then what changes
    /// the colour of the line least; then by gain in whole dB; then the least change.
    #[must_use]
    pub fn order(&self) -> (bool, bool, usize, i32, usize) {
        let foreign = matches!(self.kind, RemedyKind::Joins { kinship: Kinship::Foreign, .. });
        #[allow(clippy::cast_possible_truncation)] // a few decibels
        let whole = self.gain_db.round() as i32;
        (foreign, Grade::of(self.margin_db) < Grade::Among, self.kind.recolours(), -whole, self.kind.change())
    }
}

/// Why a line is heard as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// How it is heard.
    pub audible: Audible,
    /// What masks it, most first.
    pub maskers: Vec<Masker>,
    /// What would help, in the order of [`Remedy::order`]; only what gains at least 1 dB.
    pub remedies: Vec<Remedy>,
}

/// Explains one line in one bar; `None` where it is silent. Remedies are meant for all of `bars`, a stretch around the bar: what is offered can be played
/// there from end to end, as far as `able` knows; what it gains is worked out for the bar.
#[must_use]
pub fn explain(
    scene: &Scene<'_>,
    lines: &[Line],
    line: usize,
    bar: usize,
    bars: &Range<usize>,
    able: &dyn Able,
) -> Option<Explanation> {
    let trials = Trials::new(scene, lines, line, bar, bars)?;
    let audible = trials.audible()?;
    let mut maskers: Vec<Masker> = (trials.others().into_iter())
        .filter_map(|other| {
            let gain_db = trials.margin(&Trials::silent(trials.of_line(other, false)))? - audible.margin_db;
            Some(Masker { line: (other != u16::MAX).then_some(usize::from(other)), gain_db })
        })
        .filter(|masker| masker.gain_db > 0.05)
        .collect();
    maskers.sort_by(|a, b| b.gain_db.total_cmp(&a.gain_db));
    let mut sought = Sought { trials: &trials, able, now: audible.margin_db, found: Vec::new() };
    for other in maskers.iter().filter_map(|masker| u16::try_from(masker.line?).ok()).take(MOST_TRIED) {
        sought.of_masker(other);
    }
    sought.of_all_others();
    sought.of_the_line();
    sought.of_who_rests();
    let mut remedies = sought.found;
    remedies.sort_by(|a, b| a.order().cmp(&b.order()).then(b.gain_db.total_cmp(&a.gain_db)));
    Some(Explanation { audible, maskers, remedies })
}

/// Remedies being sought.
struct Sought<'t, 'a, 's> {
    trials: &'t Trials<'a, 's>,
    able: &'t dyn Able,
    now: f64,
    found: Vec<Remedy>,
}

impl Sought<'_, '_, '_> {
    fn attempt(&mut self, kind: RemedyKind, trial: &Trial) {
        let Some(margin_db) = self.trials.margin(trial) else { return };
        let gain_db = margin_db - self.now;
        if gain_db >= WORTH {
            self.found.push(Remedy { kind, margin_db, gain_db });
        }
    }

    /// Whether all these rows are to be had so many printed steps off, and none goes beyond pp and fff.
    fn can_change(&self, mut rows: impl Iterator<Item = usize>, steps: i16) -> bool {
        rows.all(|row| {
            self.trials.asked(row, 0, steps).is_some_and(|note| {
                (SOFTEST..=LOUDEST).contains(&note.dynamic.0)
                    && self.able.has(self.trials.part(row), self.trials.instrument(row), note.key, note.dynamic)
            })
        })
    }

    /// The loudest of some rows, and that so many steps off.
    fn dynamics(&self, rows: impl Iterator<Item = usize>, steps: i16) -> (DynamicLevel, DynamicLevel) {
        let loudest = rows.map(|row| self.trials.note(row).tone.dynamic().0).fold(f32::MIN, f32::max);
        (DynamicLevel(loudest), DynamicLevel(loudest + f32::from(steps)))
    }

    fn of_masker(&mut self, other: u16) {
        let trials = self.trials;
        let parts = trials.parts(other);
        if self.can_change(trials.of_line(other, true), -1) {
            let (from, to) = self.dynamics(trials.of_line(other, false), -1);
            let trial = trials.toned(trials.of_line(other, false), |tone| tone.louder(-1));
            self.attempt(RemedyKind::Softer { parts: parts.clone(), from, to }, &trial);
        }
        for part in parts.iter().copied() {
            let rows = trials.of_part(other, part, false);
            self.fewer(part, &rows);
            self.muted(other, part, &rows);
            if let Some(doubled) = parts.iter().copied().find(|doubled| self.only_doubles(other, part, *doubled)) {
                self.attempt(RemedyKind::Leaves { part, doubled }, &Trials::silent(rows.iter().copied()));
            }
        }
    }

    /// Half of a body of players, or one where two or more play from a staff.
    fn fewer(&mut self, part: usize, rows: &[usize]) {
        let players = rows.iter().map(|row| self.trials.note(*row).players).fold(0.0, f64::max);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // people on chairs
        let of = players.round() as u16;
        let to = if self.trials.scene.score.parts[part].is_body { of / 2 } else { 1 };
        if of < 2 || to == 0 {
            return;
        }
        let trial = self.trials.thinned(rows.iter().copied(), f64::from(to) / players.max(1.0));
        self.attempt(RemedyKind::Fewer { part, of, to }, &trial);
    }

    /// Muted, where the instrument has a mute, plays without one, and rests long enough before and after.
    fn muted(&mut self, other: u16, part: usize, rows: &[usize]) {
        let trials = self.trials;
        let all = trials.of_part(other, part, true);
        let open = |row: &usize| !trials.note(*row).tone.ways.intersects(Ways::MUTED.union(Ways::STOPPED));
        let seconds = all.iter().map(|row| self.able.mutes(trials.instrument(*row)));
        let Some(seconds) = seconds.reduce(|a, b| Some(a?.max(b?))).flatten() else { return };
        let (before, after) = trials.rests_around(part);
        if all.iter().all(open) && before >= seconds && after >= seconds {
            let trial = trials.toned(rows.iter().copied(), |tone| ToneKey { ways: tone.ways | Ways::MUTED, ..tone });
            self.attempt(RemedyKind::Muted { part }, &trial);
        }
    }

    /// Whether one part of a line plays nothing in the stretch but what a part before or beside it has too, in unison or octaves.
    fn only_doubles(&self, line: u16, part: usize, doubled: usize) -> bool {
        let notes = |part: usize| -> Vec<_> {
            let rows = self.trials.of_part(line, part, true).into_iter();
            let mut notes: Vec<_> = rows.map(|row| (self.trials.note(row).from, self.trials.note(row).tone.key % 12)).collect();
            notes.sort_unstable();
            notes.dedup();
            notes
        };
        if part == doubled {
            return false;
        }
        let (mine, others) = (notes(part), notes(doubled));
        // Of two that play the same, the later leaves off.
        mine.iter().all(|note| others.binary_search(note).is_ok()) && (mine != others || part > doubled)
    }

    fn of_all_others(&mut self) {
        let trials = self.trials;
        let mut parts: Vec<usize> = trials.beside().map(|row| trials.part(row)).collect();
        parts.sort_unstable();
        parts.dedup();
        if parts.len() > 1 && self.can_change(trials.beside(), -1) {
            let trial = trials.toned(trials.beside(), |tone| tone.louder(-1));
            self.attempt(RemedyKind::AllSofter { parts }, &trial);
        }
    }

    fn of_the_line(&mut self) {
        let (trials, me) = (self.trials, self.trials.line);
        let parts = trials.parts(me);
        if self.can_change(trials.of_line(me, true), 1) {
            let (from, to) = self.dynamics(trials.of_line(me, false), 1);
            let trial = trials.toned(trials.of_line(me, false), |tone| tone.louder(1));
            self.attempt(RemedyKind::Louder { parts: parts.clone(), from, to }, &trial);
        }
        // The whole line, and where several play it one of them.
        let mut whose = vec![parts.clone()];
        if parts.len() > 1 {
            whose.extend(parts.iter().take(MOST_TRIED).map(|part| vec![*part]));
        }
        for parts in whose {
            for semitones in [12, -12] {
                let plays = |part: &usize| self.plays(*part, None, &trials.of_part(me, *part, true), semitones);
                if parts.iter().all(plays) {
                    let rows = trials.of_line(me, false).filter(|row| parts.contains(&trials.part(*row)));
                    let trial = trials.toned(rows, |tone| moved(tone, semitones));
                    self.attempt(RemedyKind::Octave { parts: parts.clone(), semitones }, &trial);
                }
            }
        }
    }

    /// Whether a part can play some rows so many semitones off, on their own instruments or another.
    fn plays(&self, part: usize, instrument: Option<&str>, rows: &[usize], semitones: i8) -> bool {
        let mut by: BTreeMap<&str, Vec<Asked>> = BTreeMap::new();
        for row in rows {
            let Some(note) = self.trials.asked(*row, semitones, 0) else { return false };
            by.entry(instrument.unwrap_or_else(|| self.trials.instrument(*row))).or_default().push(note);
        }
        let pitched = |id: &str| catalogue().by_id(id).is_some_and(|item| item.pitched);
        by.values_mut().for_each(|notes| notes.sort_by(|a, b| a.from.total_cmp(&b.from)));
        !by.is_empty() && by.iter().all(|(id, notes)| pitched(id) && self.able.plays(part, id, notes))
    }

    /// Whoever of woodwind, brass and strings rests in the whole stretch and can play what the part with most of the line has; one of each instrument.
    fn of_who_rests(&mut self) {
        let (trials, me) = (self.trials, self.trials.line);
        let Some(with) = trials.parts(me).into_iter().rev().max_by_key(|part| trials.of_part(me, *part, false).len()) else {
            return;
        };
        let (here, all) = (trials.of_part(me, with, false), trials.of_part(me, with, true));
        // One player has one note at a time, and a tone that dies away is no measure for one that is held.
        let single = all.windows(2).all(|pair| trials.note(pair[1]).from >= trials.note(pair[0]).to);
        if !single || all.iter().any(|row| trials.scene.heard[trials.note(*row).heard].t60.is_some()) {
            return;
        }
        let mut known: Vec<&str> = Vec::new();
        for part in trials.resting() {
            let of = &trials.scene.score.parts[part];
            let id = of.instrument_id.as_str();
            let sings = |id| {
                catalogue()
                    .by_id(id)
                    .is_some_and(|item| matches!(item.family, Family::Woodwind | Family::Brass | Family::Strings))
            };
            let voice = trials.scene.voices.iter().position(|voice| voice == id).and_then(|at| u16::try_from(at).ok());
            let (Some(voice), Ok(number)) = (voice, u16::try_from(part)) else { continue };
            if !sings(id) || known.contains(&id) {
                continue;
            }
            known.push(id);
            let at = self.dynamics(here.iter().copied(), 0).0;
            let kinship = here.first().map_or(Kinship::Foreign, |row| kinship(trials.instrument(*row), id));
            let (players, _) = players_of(of.players);
            let before = self.found.len();
            for semitones in [0, 12, -12] {
                if self.plays(part, Some(id), &all, semitones) {
                    let tone = |tone| ToneKey { part: number, voice, ways: Ways::empty(), ..moved(tone, semitones) };
                    let trial = trials.joined(here.iter().copied(), if of.is_body { players } else { 1.0 }, tone);
                    self.attempt(RemedyKind::Joins { part, with, semitones, at, kinship }, &trial);
                }
            }
            // The best of its octaves.
            if let Some(best) = self.found.split_off(before).into_iter().max_by(|a, b| a.gain_db.total_cmp(&b.gain_db)) {
                self.found.push(best);
            }
        }
    }
}

fn moved(tone: ToneKey, semitones: i8) -> ToneKey {
    ToneKey { key: tone.key.saturating_add_signed(semitones).min(127), ..tone }
}
