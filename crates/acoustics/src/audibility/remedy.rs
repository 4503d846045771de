//! What masks a line, and what would uncover it: every answer recomputed, none guessed.

use std::collections::BTreeMap;
use std::fmt;

use ripieno_instruments::catalogue;

use super::{Audible, margin_when};
use crate::ear::Excitation;
use crate::level::power_of;
use crate::scene::{Heard, Line, Scene, ToneKey};
use crate::source::Ways;

/// Changes that gain less than this are not worth telling, in dB.
const WORTH: f64 = 1.0;

/// A line that covers another.
#[derive(Debug, Clone, PartialEq)]
pub struct Masker {
    /// Index of the line; `None` for notes that belong to none.
    pub line: Option<usize>,
    /// What the covered line would gain if this one were silent, in dB.
    pub gain_db: f64,
}

/// What could be done.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum RemedyKind {
    /// Half as many players on a line.
    FewerPlayers {
        /// The line that covers.
        line: usize,
    },
    /// A line one printed dynamic softer.
    Softer {
        /// The line that covers.
        line: usize,
    },
    /// All other lines one printed dynamic softer.
    AllSofter,
    /// The line itself one printed dynamic louder.
    Louder,
    /// The line an octave higher or lower.
    Octave {
        /// 12 or -12 semitones.
        semitones: i8,
    },
    /// The line in the colour of a part that rests in this bar.
    Colour {
        /// Index of the part.
        part: usize,
    },
    /// A line of strings or brass muted.
    Muted {
        /// The line that covers.
        line: usize,
    },
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

/// Why a line is heard as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// How it is heard.
    pub audible: Audible,
    /// What masks it, most first.
    pub maskers: Vec<Masker>,
    /// What would help, most first; only what gains at least 1 dB.
    pub remedies: Vec<Remedy>,
}

/// A change of some rows.
#[derive(Clone, Copy)]
enum Trial {
    Silent(u16),
    Halved(u16),
    Steps { line: u16, others: bool, steps: i16 },
    Moved { line: u16, semitones: i8 },
    Coloured { line: u16, part: u16, voice: u16 },
    Muted(u16),
}

/// Explains one line in one bar; `None` where it is silent.
#[must_use]
pub fn explain(scene: &Scene<'_>, lines: &[Line], line: usize, bar: usize) -> Option<Explanation> {
    let trials = Trials::new(scene, lines, line, bar)?;
    let audible = trials.audible()?;
    let mut maskers: Vec<Masker> = (trials.others().into_iter())
        .filter_map(|other| {
            let gain_db = trials.margin(Trial::Silent(other))? - audible.margin_db;
            Some(Masker { line: (other != u16::MAX).then_some(usize::from(other)), gain_db })
        })
        .filter(|masker| masker.gain_db > 0.05)
        .collect();
    maskers.sort_by(|a, b| b.gain_db.total_cmp(&a.gain_db));
    let mut remedies = Vec::new();
    let mut attempt = |kind: RemedyKind, trial: Trial| {
        if let Some(margin_db) = trials.margin(trial) {
            let gain_db = margin_db - audible.margin_db;
            if gain_db >= WORTH {
                remedies.push(Remedy { kind, margin_db, gain_db });
            }
        }
    };
    let me = trials.line;
    attempt(RemedyKind::AllSofter, Trial::Steps { line: me, others: true, steps: -1 });
    attempt(RemedyKind::Louder, Trial::Steps { line: me, others: false, steps: 1 });
    for masker in maskers.iter().filter_map(|masker| masker.line).take(2) {
        let other = u16::try_from(masker).unwrap_or(u16::MAX);
        if trials.players(other) > 1.5 {
            attempt(RemedyKind::FewerPlayers { line: masker }, Trial::Halved(other));
        }
        attempt(RemedyKind::Softer { line: masker }, Trial::Steps { line: other, others: false, steps: -1 });
        if trials.can_mute(other) {
            attempt(RemedyKind::Muted { line: masker }, Trial::Muted(other));
        }
    }
    for semitones in [12, -12] {
        if trials.fits(semitones, None) {
            attempt(RemedyKind::Octave { semitones }, Trial::Moved { line: me, semitones });
        }
    }
    for (part, voice) in trials.resting() {
        attempt(RemedyKind::Colour { part: usize::from(part) }, Trial::Coloured { line: me, part, voice });
    }
    remedies.sort_by(|a, b| b.gain_db.total_cmp(&a.gain_db));
    Some(Explanation { audible, maskers, remedies })
}

/// One line in one bar, to be tried in other ways.
struct Trials<'a, 's> {
    scene: &'a Scene<'s>,
    line_of: Vec<u16>,
    line: u16,
    bar: usize,
    /// Rows that sound in the bar.
    rows: Vec<usize>,
    lines: &'a [Line],
}

impl<'a, 's> Trials<'a, 's> {
    fn new(scene: &'a Scene<'s>, lines: &'a [Line], line: usize, bar: usize) -> Option<Self> {
        let line_of = scene.line_of(lines);
        let line = u16::try_from(line).ok()?;
        let mut rows = Vec::new();
        scene.moments(bar..bar + 1, |moment| rows.extend(moment.active.iter().map(|(row, _)| *row)));
        rows.sort_unstable();
        rows.dedup();
        Some(Self { scene, line_of, line, bar, rows, lines })
    }

    fn audible(&self) -> Option<Audible> {
        // The same sums as for the whole score, over one bar.
        let count = self.lines.len();
        let mut walk = super::Walk::new(count);
        let mut gathered = super::Gathered::default();
        self.scene.moments(self.bar..self.bar + 1, |moment| {
            self.scene.sum_lines(moment, &self.line_of, &mut walk.sums);
            walk.spreads(self.scene, moment, &self.line_of);
            walk.margins(&crate::ear::Excited, |line, margin, spread| {
                if line == usize::from(self.line) {
                    gathered.add(margin, spread, moment.seconds);
                }
            });
        });
        gathered.told()
    }

    fn others(&self) -> Vec<u16> {
        let mut others: Vec<u16> = self.rows.iter().map(|row| self.line_of[*row]).filter(|line| *line != self.line).collect();
        others.sort_unstable();
        others.dedup();
        others
    }

    fn of_line(&self, line: u16) -> impl Iterator<Item = usize> + '_ {
        self.rows.iter().copied().filter(move |row| self.line_of[*row] == line)
    }

    fn players(&self, line: u16) -> f64 {
        self.of_line(line).map(|row| self.scene.notes[row].players).fold(0.0, f64::max)
    }

    fn can_mute(&self, line: u16) -> bool {
        use ripieno_instruments::Family::{Brass, Strings};
        let mutes = |row: usize| {
            let tone = self.scene.notes[row].tone;
            let item = catalogue().by_id(&self.scene.voices[usize::from(tone.voice)]);
            item.is_some_and(|item| matches!(item.family, Brass | Strings)) && !tone.ways.contains(Ways::MUTED)
        };
        self.of_line(line).all(mutes)
    }

    /// Whether the line, moved, lies in the usual compass of its own instruments, or of another.
    fn fits(&self, semitones: i8, instrument: Option<&str>) -> bool {
        self.of_line(self.line).all(|row| {
            let tone = self.scene.notes[row].tone;
            let id = instrument.unwrap_or(&self.scene.voices[usize::from(tone.voice)]);
            let key = i16::from(tone.key) + i16::from(semitones);
            let item = catalogue().by_id(id).filter(|item| item.pitched);
            let ranges = item.and_then(|item| item.sounding(item.default_transposition()));
            ranges.is_some_and(|ranges| (i16::from(ranges.usual.low())..=i16::from(ranges.usual.high())).contains(&key))
        })
    }

    /// Parts that rest in the bar and could play the line, one of each instrument, with their main instrument.
    fn resting(&self) -> Vec<(u16, u16)> {
        let busy: Vec<u16> = self.rows.iter().map(|row| self.scene.notes[*row].tone.part).collect();
        let mut found: BTreeMap<u16, u16> = BTreeMap::new();
        for (part, score_part) in (0u16..).zip(&self.scene.score.parts) {
            let voice =
                self.scene.voices.iter().position(|id| *id == score_part.instrument_id).and_then(|at| u16::try_from(at).ok());
            if let Some(voice) = voice.filter(|_| !busy.contains(&part) && self.fits(0, Some(&score_part.instrument_id))) {
                found.entry(voice).or_insert(part);
            }
        }
        found.into_iter().map(|(voice, part)| (part, voice)).collect()
    }

    fn margin(&self, trial: Trial) -> Option<f64> {
        let tried: BTreeMap<usize, Option<(Heard, f64)>> =
            self.rows.iter().filter_map(|row| Some((*row, self.tried(*row, trial)?))).collect();
        let changed = |row: usize| -> Option<(&Excitation, f64)> {
            match tried.get(&row) {
                None => Some((&self.scene.heard[self.scene.notes[row].heard].excitation, 1.0)),
                Some(None) => None,
                Some(Some((heard, factor))) => Some((&heard.excitation, *factor)),
            }
        };
        self.sum(changed)
    }

    fn sum<'h>(&'h self, change: impl FnMut(usize) -> Option<(&'h Excitation, f64)>) -> Option<f64> {
        margin_when(self.scene, &self.line_of, self.line, self.bar, change)
    }

    /// How a row sounds in a trial; outer `None` when the trial leaves it alone.
    fn tried(&self, row: usize, trial: Trial) -> Option<Option<(Heard, f64)>> {
        let (mine, tone) = (self.line_of[row], self.scene.notes[row].tone);
        let heard = |tone: ToneKey| Some(Some((self.scene.hear(tone), 1.0)));
        match trial {
            Trial::Silent(line) if mine == line => Some(None),
            Trial::Halved(line) if mine == line => Some(Some((self.scene.hear(tone), power_of(-3.010_3)))),
            Trial::Steps { line, others, steps } if (mine == line) != others => heard(tone.louder(steps)),
            Trial::Moved { line, semitones } if mine == line => {
                heard(ToneKey { key: tone.key.saturating_add_signed(semitones).min(127), ..tone })
            }
            Trial::Coloured { line, part, voice } if mine == line => {
                let players = self.scene.score.parts[usize::from(part)].players;
                let factor =
                    (f64::from(players.least.max(1)) * f64::from(players.most.max(1))).sqrt() / self.scene.notes[row].players;
                Some(Some((self.scene.hear(ToneKey { part, voice, ways: Ways::empty(), ..tone }), factor)))
            }
            Trial::Muted(line) if mine == line => heard(ToneKey { ways: tone.ways | Ways::MUTED, ..tone }),
            _ => None,
        }
    }
}

impl RemedyKind {
    /// In words, with the names of the lines and parts.
    #[must_use]
    pub fn told(&self, scene: &Scene<'_>, lines: &[Line]) -> String {
        let line = |index: usize| lines.get(index).map_or("the rest", |line| line.name.as_str());
        match self {
            Self::FewerPlayers { line: other } => format!("half the players on {}", line(*other)),
            Self::Softer { line: other } => format!("{} one dynamic softer", line(*other)),
            Self::AllSofter => "all others one dynamic softer".to_owned(),
            Self::Louder => "the line one dynamic louder".to_owned(),
            Self::Octave { semitones: 12 } => "the line an octave higher".to_owned(),
            Self::Octave { .. } => "the line an octave lower".to_owned(),
            Self::Colour { part } => {
                format!("the line on {}", scene.score.parts.get(*part).map_or("another part", |part| part.name.as_str()))
            }
            Self::Muted { line: other } => format!("{} muted", line(*other)),
        }
    }
}

impl Explanation {
    /// One sentence: how it is heard, what covers it, what helps most.
    #[must_use]
    pub fn sentence(&self, scene: &Scene<'_>, lines: &[Line]) -> String {
        let mut text =
            format!("{} ({:+.0} dB, give or take {:.0})", self.audible.grade(), self.audible.margin_db, self.audible.spread_db);
        if let Some(masker) = self.maskers.first() {
            let name = masker.line.and_then(|line| lines.get(line)).map_or("notes of no line", |line| line.name.as_str());
            text += &format!("; most against it: {name} ({:.0} dB)", masker.gain_db);
        }
        if let Some(remedy) = self.remedies.first() {
            text += &format!("; most would help: {} (+{:.0} dB)", remedy.kind.told(scene, lines), remedy.gain_db);
        }
        text
    }
}

impl fmt::Display for Masker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {} ({:.1} dB)", line + 1, self.gain_db),
            None => write!(f, "notes of no line ({:.1} dB)", self.gain_db),
        }
    }
}
