//! A score as it sounds at one place: every note with its excitation there, moments and sums of lines.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_instruments::{Clues, catalogue, recognise};
use ripieno_loudness::{Field, Sones, zwicker};
use ripieno_score::{Crotchets, DynamicLevel, NoteRow, Part, PartInstrument, PlayerCount, Score, Sounding};

use crate::ear::{CHANNELS, Excitation, channel_hz, channel_of};
use crate::level::{level_of, power_of};
use crate::playing::{is_short, sounding_length};
use crate::seating::Seat;
use crate::situation::{Refused, Situation, Transfer, transfers};
use crate::source::{Source, Ways};

/// Partials above this are left out: they mask nothing that is listened for.
const HIGHEST_HZ: f64 = 14_000.0;
/// Dynamics are told apart in quarters of a printed step.
const LEVEL_STEPS: f32 = 4.0;
/// Most moments told apart in one bar. Beyond, neighbours are taken together and a note counts by the share of the time that it sounds, so that
/// the work in a bar grows with its notes and not with their square.
const MOST_MOMENTS: usize = 256;

/// Notes that are listened for together: a part, a melody with its doublings, the chords.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What it is called in words.
    pub name: String,
    /// Its notes, rows of [`ripieno_score::Notes`].
    pub rows: Vec<usize>,
}

impl Line {
    /// Every part as a line of its own.
    #[must_use]
    pub fn of_parts(score: &Score, sounding: &Sounding) -> Vec<Self> {
        let rows = sounding.notes.of_part.iter().cloned();
        score.parts.iter().zip(rows).map(|(part, rows)| Self { name: part.name.clone(), rows: rows.collect() }).collect()
    }
}

/// A tone of one player as it reaches the listener.
#[derive(Debug)]
pub(crate) struct Heard {
    pub(crate) excitation: Excitation,
    /// Power sent out by channel, re 1 pW.
    pub(crate) emitted: Box<[f64; CHANNELS]>,
    /// Power level of one player, dB re 1 pW.
    pub(crate) power_db: f64,
    /// Uncertainty of it.
    pub(crate) spread: f64,
    /// Decay of a struck or plucked tone.
    pub(crate) t60: Option<f64>,
}

/// What tells one tone from another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct ToneKey {
    pub(crate) part: u16,
    /// Index into the scene's instruments.
    pub(crate) voice: u16,
    pub(crate) key: u8,
    pub(crate) level: i16,
    pub(crate) ways: Ways,
}

impl ToneKey {
    pub(crate) fn dynamic(&self) -> DynamicLevel {
        DynamicLevel(f32::from(self.level) / LEVEL_STEPS)
    }

    /// So many printed steps louder.
    pub(crate) fn louder(self, steps: i16) -> Self {
        #[allow(clippy::cast_possible_truncation)] // 4
        Self { level: self.level + steps * LEVEL_STEPS as i16, ..self }
    }
}

/// A note in the scene.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Note {
    pub(crate) tone: ToneKey,
    pub(crate) heard: usize,
    /// Players, as a factor of power.
    pub(crate) players: f64,
    /// Uncertainty of the number of players, in dB.
    pub(crate) players_spread: f64,
    pub(crate) from: Crotchets,
    pub(crate) to: Crotchets,
    pub(crate) from_s: f64,
}

/// A score as it sounds in one situation.
#[derive(Debug)]
pub struct Scene<'a> {
    pub(crate) score: &'a Score,
    pub(crate) sounding: &'a Sounding,
    /// Where it is heard.
    pub situation: Situation,
    pub(crate) seats: Vec<Seat>,
    pub(crate) transfers: Vec<Transfer>,
    /// Catalogue ids in use.
    pub(crate) voices: Vec<String>,
    pub(crate) heard: Vec<Heard>,
    pub(crate) notes: Vec<Note>,
    /// Rows that last, by onset.
    order: Vec<usize>,
    /// Until when any row up to this place of `order` sounds.
    reach: Vec<Crotchets>,
    /// Notes that stand before their part's first dynamic mark and were taken as mezzo-forte.
    pub unmarked: usize,
}

/// A stretch of time in which nothing begins or ends.
pub(crate) struct Moment<'a> {
    pub(crate) bar: usize,
    pub(crate) from: Crotchets,
    pub(crate) seconds: f64,
    /// (row, gain by which its tone counts) of all that sounds.
    pub(crate) active: &'a [(usize, f64)],
}

impl<'a> Scene<'a> {
    /// Works out what every note is at the listener's place. `ways` gives the way of playing of each row of notes; rows beyond it, and all
    /// when it is empty, are played in the usual way.
    ///
    /// # Errors
    /// When the situation cannot be judged: a mix without levels, a listener at a part that is not there.
    pub fn new(score: &'a Score, sounding: &'a Sounding, ways: &[Ways], situation: Situation) -> Result<Self, Refused> {
        let mut scene = Self {
            score,
            sounding,
            situation,
            seats: Vec::new(),
            transfers: Vec::new(),
            voices: Vec::new(),
            heard: Vec::new(),
            notes: Vec::with_capacity(sounding.notes.len()),
            order: Vec::new(),
            reach: Vec::new(),
            unmarked: 0,
        };
        let main: Vec<&Source> = score.parts.iter().map(|part| Source::of(&part.instrument_id)).collect();
        (scene.seats, scene.transfers) = transfers(score, &main, &scene.situation)?;
        let instruments = scene.instruments();
        let mut known: BTreeMap<ToneKey, usize> = BTreeMap::new();
        for (index, row) in sounding.notes.rows().enumerate() {
            scene.unmarked += usize::from(row.level.is_none());
            let voice = instruments[usize::from(row.part)].get(usize::from(row.instrument)).copied().unwrap_or_default();
            let tone = tone_key(&row, voice, ways.get(index).copied().unwrap_or_default());
            let heard = *known.entry(tone).or_insert_with(|| {
                scene.heard.push(scene.hear(tone));
                scene.heard.len() - 1
            });
            let (players, players_spread) = players_of(row.players);
            scene.notes.push(Note {
                tone,
                heard,
                players,
                players_spread,
                from: row.onset,
                to: row.onset + scene.played(&row),
                from_s: sounding.tempo.seconds(row.onset),
            });
        }
        scene.order = (0..scene.notes.len()).filter(|row| scene.notes[*row].to > scene.notes[*row].from).collect();
        scene.order.sort_by_key(|row| scene.notes[*row].from);
        let reach = scene.order.iter().scan(Crotchets::ZERO, |reach, row| {
            *reach = (*reach).max(scene.notes[*row].to);
            Some(*reach)
        });
        scene.reach = reach.collect();
        Ok(scene)
    }

    /// For how long a row is played: a short one in whole sixteenths of what is written, any other as written, since what players take off its end is
    /// filled by the room.
    fn played(&self, row: &NoteRow) -> Crotchets {
        let note = self.score.parts.get(usize::from(row.part)).and_then(|part| part.notes.get(row.written as usize));
        let Some(note) = note.filter(|note| is_short(note.articulations)) else { return row.duration };
        let tempo = &self.sounding.tempo;
        let length = tempo.seconds(row.onset + row.duration) - tempo.seconds(row.onset);
        #[allow(clippy::cast_possible_truncation)] // a share in sixteenths
        let sixteenths = (sounding_length(length, note.articulations, false) / length.max(1e-6) * 16.0).round() as i64;
        row.duration * Crotchets::new(sixteenths.clamp(1, 16), 16).unwrap_or_default()
    }

    /// For each part the indices of its instruments in `voices`.
    fn instruments(&mut self) -> Vec<Vec<u16>> {
        let mut place = |id: String| {
            let at = self.voices.iter().position(|known| *known == id).unwrap_or_else(|| {
                self.voices.push(id);
                self.voices.len() - 1
            });
            u16::try_from(at).unwrap_or(0)
        };
        let mut all = Vec::new();
        for part in &self.score.parts {
            all.push(instruments_of(part).into_iter().map(&mut place).collect());
        }
        all
    }

    /// A tone of one player at the listener.
    pub(crate) fn hear(&self, tone: ToneKey) -> Heard {
        let source = Source::of(self.voices.get(usize::from(tone.voice)).map_or("", String::as_str));
        let made = source.tone(f64::from(tone.key), tone.dynamic(), tone.ways, HIGHEST_HZ);
        let transfer = &self.transfers[usize::from(tone.part)];
        let mut excitation = Excitation::default();
        let mut emitted = Box::new([0.0; CHANNELS]);
        let mut send = |hz: f64, db: f64| {
            let (channel, power) = (channel_of(hz), power_of(made.power.db + db));
            emitted[channel] += power;
            excitation.excite(hz, power * transfer[channel]);
        };
        for partial in &made.partials {
            send(partial.hz, partial.db);
        }
        for band in &made.noise {
            // Three lines stand for a band.
            for offset in [-1.0, 0.0, 1.0] {
                send(band.hz * (offset / 9.0_f64).exp2(), band.db - 4.771);
            }
        }
        let t60 = source.decay(f64::from(tone.key), tone.ways);
        Heard { excitation, emitted, power_db: made.power.db, spread: made.power.spread, t60 }
    }

    /// Rows that sound in some bars, by onset.
    pub(crate) fn rows_in(&self, bars: Range<usize>) -> Vec<usize> {
        let played = &self.sounding.bars;
        match (played.get(bars.start), bars.end.checked_sub(1).and_then(|bar| played.get(bar))) {
            (Some(first), Some(last)) => self.rows_between(first.start, last.start + last.length),
            _ => Vec::new(),
        }
    }

    /// Rows that sound between two moments, by onset.
    fn rows_between(&self, begin: Crotchets, end: Crotchets) -> Vec<usize> {
        self.rows_reaching(self.order.partition_point(|row| self.notes[*row].from < end), begin)
    }

    /// Rows that sound at a moment, by onset.
    pub(crate) fn rows_at(&self, at: Crotchets) -> Vec<usize> {
        self.rows_reaching(self.order.partition_point(|row| self.notes[*row].from <= at), at)
    }

    /// Of the first rows by onset, those that sound beyond a moment, by onset.
    fn rows_reaching(&self, until: usize, after: Crotchets) -> Vec<usize> {
        let reaching = (0..until).rev().take_while(|place| self.reach[*place] > after).map(|place| self.order[place]);
        let mut rows: Vec<usize> = reaching.filter(|row| self.notes[*row].to > after).collect();
        rows.reverse();
        rows
    }

    /// Walks the moments of some bars in order.
    pub(crate) fn moments(&self, bars: Range<usize>, mut visit: impl FnMut(&Moment<'_>)) {
        let played = &self.sounding.bars;
        if bars.is_empty() || bars.end > played.len() {
            return;
        }
        let order = self.rows_in(bars.clone());
        let (mut next, mut here) = (0, Vec::new());
        let mut active: Vec<(usize, f64)> = Vec::new();
        for bar in bars {
            let (begin, end) = (played[bar].start, played[bar].start + played[bar].length);
            while next < order.len() && self.notes[order[next]].from < end {
                here.push(order[next]);
                next += 1;
            }
            here.retain(|row: &usize| self.notes[*row].to > begin);
            let cuts = self.cuts(&here, begin, end);
            let thinned = cuts.len() > MOST_MOMENTS;
            let (mut begun, mut rows) = (0, Vec::new());
            for pair in cuts.windows(2) {
                let (from, to) = (pair[0], pair[1]);
                while begun < here.len() && self.notes[here[begun]].from < to {
                    rows.push(here[begun]);
                    begun += 1;
                }
                rows.retain(|row: &usize| self.notes[*row].to > from);
                let (from_s, to_s) = (self.sounding.tempo.seconds(from), self.sounding.tempo.seconds(to));
                active.clear();
                active.extend(rows.iter().map(|row| {
                    let share = if thinned { self.share(*row, from, to) } else { 1.0 };
                    (*row, share * self.gain(*row, from_s, to_s))
                }));
                visit(&Moment { bar, from, seconds: to_s - from_s, active: &active });
            }
        }
    }

    /// Where something begins or ends between two moments, they among it; thinned to [`MOST_MOMENTS`].
    fn cuts(&self, rows: &[usize], begin: Crotchets, end: Crotchets) -> Vec<Crotchets> {
        let mut cuts: Vec<Crotchets> = rows.iter().flat_map(|row| [self.notes[*row].from, self.notes[*row].to]).collect();
        cuts.retain(|at| *at > begin && *at < end);
        cuts.extend([begin, end]);
        cuts.sort_unstable();
        cuts.dedup();
        let last = cuts.len() - 1;
        if last > MOST_MOMENTS {
            cuts = (0..=MOST_MOMENTS).map(|at| cuts[at * last / MOST_MOMENTS]).collect();
        }
        cuts
    }

    /// For how much of the time between two moments a row sounds.
    fn share(&self, row: usize, from: Crotchets, to: Crotchets) -> f64 {
        let note = &self.notes[row];
        ((note.to.min(to) - note.from.max(from)).to_f64() / (to - from).to_f64()).clamp(0.0, 1.0)
    }

    /// By how much one row's tone counts between two seconds: its players, and what is left of a decaying tone on average.
    fn gain(&self, row: usize, from_s: f64, to_s: f64) -> f64 {
        let note = &self.notes[row];
        note.players * self.heard[note.heard].t60.map_or(1.0, |t60| left_of(t60, from_s - note.from_s, to_s - note.from_s))
    }

    /// Sums what sounds into lines; the last sum holds what belongs to none.
    pub(crate) fn sum_lines(&self, moment: &Moment<'_>, line_of: &[u16], sums: &mut [Excitation]) {
        sums.iter_mut().for_each(Excitation::clear);
        for (row, gain) in moment.active {
            let line = usize::from(line_of[*row]).min(sums.len() - 1);
            sums[line].add(&self.heard[self.notes[*row].heard].excitation, *gain);
        }
    }

    /// Loudness (ISO 532-1, diffuse field) at the listener of some rows, each with its gain: what they are heard alone.
    pub(crate) fn loudness(&self, rows: impl Iterator<Item = (usize, f64)>) -> Sones {
        let mut bands = [0.0; BANDS];
        for (row, gain) in rows {
            let note = &self.notes[row];
            let transfer = &self.transfers[usize::from(note.tone.part)];
            for (channel, (power, transfer)) in self.heard[note.heard].emitted.iter().zip(transfer.iter()).enumerate() {
                bands[band_of(channel)] += gain * power * transfer;
            }
        }
        // ISO 532-1 holds up to 120 dB in a band; nothing here comes near.
        let levels = bands.map(|power| level_of(power).clamp(-60.0, 120.0));
        zwicker::from_levels(&levels, Field::Diffuse).map_or(Sones(0.0), |loudness| loudness.total)
    }

    /// For every row the line it belongs to; rows of no line get `u16::MAX`. A row named by several lines belongs to the first.
    pub(crate) fn line_of(&self, lines: &[Line]) -> Vec<u16> {
        let mut of = vec![u16::MAX; self.notes.len()];
        for (line, rows) in (0u16..).zip(lines) {
            for row in &rows.rows {
                if let Some(of @ &mut u16::MAX) = of.get_mut(*row) {
                    *of = line;
                }
            }
        }
        of
    }

    /// The seat of every part.
    #[must_use]
    pub fn seats(&self) -> &[Seat] {
        &self.seats
    }
}

/// Third-octave bands of ISO 532-1, 25 Hz to 12.5 kHz.
const BANDS: usize = 28;

/// The third-octave band in which a channel lies.
fn band_of(channel: usize) -> usize {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
    let band = (10.0 * channel_hz(channel).log10() - 14.0).round().clamp(0.0, 27.0) as usize;
    band
}

/// Mean power left, between two moments after the stroke, of a tone that loses 60 dB in `t60` seconds.
pub(crate) fn left_of(t60: f64, from: f64, to: f64) -> f64 {
    let rate = 6.0 * std::f64::consts::LN_10 / t60.max(0.01);
    let (from, span) = (from.max(0.0), (to - from).max(0.0));
    if rate * span < 1e-6 { (-rate * from).exp() } else { (-rate * from).exp() * (1.0 - (-rate * span).exp()) / (rate * span) }
}

fn tone_key(row: &NoteRow, voice: u16, ways: Ways) -> ToneKey {
    let level = row.level.unwrap_or(DynamicLevel::MEZZO_FORTE).0.clamp(-2.0, 12.0);
    #[allow(clippy::cast_possible_truncation)] // clamped
    let level = (level * LEVEL_STEPS).round() as i16;
    ToneKey { part: row.part, voice, key: row.key.map_or(60, ripieno_score::MidiKey::number), level, ways }
}

/// The instruments of a part by their catalogue ids, as [`Part::instruments`] lists them; that of the part where it lists none or one. Balance and sound
/// share it. A name wins over a drum's key, and an instrument not told apart is that of the part.
#[must_use]
pub fn instruments_of(part: &Part) -> Vec<String> {
    if part.instruments.len() <= 1 {
        return vec![part.instrument_id.clone()];
    }
    let id = |one: &PartInstrument| {
        let found = recognise(&Clues {
            name: &one.name,
            instrument_name: &one.name,
            sound_id: &one.sound,
            midi_program: one.program,
            midi_channel10: one.channel == Some(10),
            ..Clues::default()
        });
        if found.confidence >= 0.6 {
            return found.instrument.id.clone();
        }
        let by_key =
            one.drum_key.and_then(|key| catalogue().all().iter().find(|item| item.drum_key == Some(key) && !item.pitched));
        by_key.map_or_else(|| part.instrument_id.clone(), |instrument| instrument.id.clone())
    };
    part.instruments.iter().map(id).collect()
}

/// How many players a count stands for, and the spread of that in dB: the geometric mean of the least and the most, since players add in decibels;
/// the spread of an even distribution over them.
#[must_use]
pub fn players_of(count: PlayerCount) -> (f64, f64) {
    let (least, most) = (f64::from(count.least.max(1)), f64::from(count.most.max(1)));
    ((least * most).sqrt(), level_of(most / least) / 12f64.sqrt())
}
