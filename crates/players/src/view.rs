//! The score as the players see it: for each part its instruments and limits note by note, and the line of each player.

use std::collections::BTreeMap;

use ripieno_instruments::recognise::{AlsoRelation, Clues, recognise};
use ripieno_instruments::{Family, Instrument, Key, KeyName, KeyOctave, Section, catalogue};
use ripieno_score::{
    BarIndex, ChangeKind, CountReason, Crotchets, DirectionKind, DynamicLevel, Note, Part, PartLevels, Pitch, PlayerMark, Score,
    Sounding, Step,
};
use ripieno_texture::{Techniques, techniques};

use crate::level::Level;
use crate::limits::Limits;
use crate::tempo::{Basis, Tempi};

/// Most players of a part that are followed one by one; more are a body.
const MOST_PLAYERS: usize = 8;

/// Pieces into which a note is cut to find the level it is held at.
const PIECES: i64 = 8;

/// Everything the checks look at.
pub(crate) struct View<'a> {
    pub score: &'a Score,
    pub sounding: &'a Sounding,
    pub level: Level,
    /// Begin and end of each row in seconds.
    pub seconds: Vec<(f64, f64)>,
    /// Ways of playing of each row.
    pub techniques: Vec<Techniques>,
    pub parts: Vec<PartView<'a>>,
    /// Whether half of the parts or more begin without a dynamic.
    pub begins_unmarked: bool,
    tempi: Tempi,
}

/// How a part is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Manner {
    /// One note at a time for each player: winds, solo singers.
    Lines,
    /// Bowed strings, a choir: a body or one player with chords.
    Body,
    /// Two hands: keyboards, harp.
    Hands,
    /// Sticks.
    Struck,
    /// Nobody plays it, or nobody knows what it is.
    Other,
}

/// One part.
pub(crate) struct PartView<'a> {
    pub index: usize,
    pub part: &'a Part,
    pub manner: Manner,
    /// The instrument at the start.
    pub instrument: &'static Instrument,
    /// The instrument of each of the part's instruments.
    pub instruments: Vec<&'static Instrument>,
    /// Instruments the part's name says its players change to.
    pub also: Vec<&'static Instrument>,
    /// Numbers in the part's name: 3 and 4 for "Horn 3.4".
    pub numbers: Vec<u16>,
    /// Limits met in the part, and those of professionals beside them.
    limits: Vec<Option<Limits>>,
    professional: Vec<Option<Limits>>,
    /// For each of the part's rows, from the first: index into `limits`.
    which: Vec<u16>,
    first_row: usize,
    levels: PartLevels,
    /// Octaves by which the part sounds lower than the file has it: a horn in C whose file forgets that it sounds an octave lower.
    pub octaves_lower: u8,
    pub strands: Vec<Strand>,
}

/// The line of one player, or of a section.
pub(crate) struct Strand {
    /// The player's number, where the part's name has numbers or several share the part.
    pub player: Option<u16>,
    /// In order of onset.
    pub events: Vec<Event>,
}

/// What a player does at one moment.
pub(crate) struct Event {
    /// The (highest) row.
    pub row: usize,
    /// Further rows of the same player.
    pub chord: Vec<usize>,
    /// Whether others play the same note with them.
    pub shared: bool,
}

impl Event {
    pub fn rows(&self) -> impl Iterator<Item = usize> + '_ {
        std::iter::once(self.row).chain(self.chord.iter().copied())
    }
}

impl<'a> View<'a> {
    pub fn new(score: &'a Score, sounding: &'a Sounding, level: Level) -> Self {
        let notes = &sounding.notes;
        let tempi = Tempi::of(score);
        let tempo = tempi.map(&sounding.bars);
        let span = |row: usize| (notes.onset[row], notes.onset[row] + notes.duration[row]);
        let seconds = (0..notes.len()).map(span).map(|(from, to)| (tempo.seconds(from), tempo.seconds(to))).collect();
        let first = |rows: &std::ops::Range<usize>| {
            rows.clone().find(|row| !notes.duration[*row].is_zero()).map(|row| notes.level[row].is_none())
        };
        let begins: Vec<bool> = notes.of_part.iter().filter_map(first).collect();
        let begins_unmarked = begins.len() > 1 && begins.iter().filter(|unmarked| **unmarked).count() * 2 >= begins.len();
        let parts =
            score.parts.iter().enumerate().map(|(index, part)| PartView::new(score, sounding, index, part, level)).collect();
        Self { score, sounding, level, seconds, techniques: techniques(score, sounding), parts, begins_unmarked, tempi }
    }

    /// The written note of a row.
    pub fn note(&self, row: usize) -> Option<&'a Note> {
        let notes = &self.sounding.notes;
        self.score.parts[usize::from(notes.part[row])].notes.get(notes.written[row] as usize)
    }

    pub fn key(&self, row: usize) -> Option<u8> {
        let lower = 12 * self.octaves_lower(row);
        self.sounding.notes.key[row].map(|key| key.number().saturating_sub(lower))
    }

    fn octaves_lower(&self, row: usize) -> u8 {
        self.parts[usize::from(self.sounding.notes.part[row])].octaves_lower
    }

    /// The pitch of a row as it sounds.
    fn pitch(&self, row: usize) -> Pitch {
        let pitch = self.sounding.notes.pitch[row];
        Pitch { octave: pitch.octave.saturating_sub_unsigned(self.octaves_lower(row)), ..pitch }
    }

    pub fn level_of(&self, row: usize) -> Option<DynamicLevel> {
        self.sounding.notes.level[row]
    }

    /// The level a row is held at: the mean of its length, which a stress at its beginning does not lift.
    pub fn held_level(&self, part: &PartView<'_>, row: usize) -> Option<DynamicLevel> {
        let note = self.note(row)?;
        let start = self.score.bars.get(note.bar.at())?.start + note.at;
        let length = self.sounding.notes.duration[row];
        let middle = |piece: i64| Crotchets::new(2 * piece + 1, 2 * PIECES).map(|share| start + length * share);
        let levels: Vec<f32> =
            (0..PIECES).filter_map(|piece| part.levels.at(note.staff, note.voice, middle(piece)?).map(|level| level.0)).collect();
        #[allow(clippy::cast_precision_loss)] // eight at most
        (!levels.is_empty()).then(|| DynamicLevel(levels.iter().sum::<f32>() / levels.len() as f32))
    }

    /// The bar of the page a row stands in.
    pub fn bar(&self, row: usize) -> BarIndex {
        self.sounding.bars[self.sounding.notes.bar[row] as usize].bar
    }

    /// The bar of the page in which a row ends.
    pub fn last_bar(&self, row: usize) -> BarIndex {
        let notes = &self.sounding.notes;
        let end = notes.onset[row] + notes.duration[row];
        let mut at = notes.bar[row] as usize;
        while self.sounding.bars.get(at + 1).is_some_and(|bar| bar.start < end) {
            at += 1;
        }
        self.sounding.bars[at].bar
    }

    /// Where in its bar a row begins.
    pub fn place(&self, row: usize) -> Crotchets {
        self.sounding.notes.onset[row] - self.sounding.bars[self.sounding.notes.bar[row] as usize].start
    }

    /// A grace note: no time of its own.
    pub fn is_grace(&self, row: usize) -> bool {
        self.sounding.notes.duration[row].is_zero()
    }

    /// "Bb4", as it sounds.
    pub fn name(&self, row: usize) -> String {
        self.pitch(row).to_string()
    }

    /// The spelled note of a row with what the player reads, where that differs: "Bb4 (written F5)".
    pub fn full_name(&self, row: usize) -> String {
        let sounding = self.pitch(row);
        match self.note(row).and_then(Note::pitch) {
            Some(written) if written != sounding => format!("{sounding} (written {written})"),
            _ => sounding.to_string(),
        }
    }

    /// What seconds at this place of the page rest on.
    pub fn tempo_basis(&self, bar: BarIndex, at: Crotchets) -> Basis {
        self.tempi.basis((bar, at))
    }

    /// Whether the row is under a technique.
    pub fn has(&self, row: usize, technique: Techniques) -> bool {
        self.techniques[row].intersects(technique)
    }
}

impl<'a> PartView<'a> {
    fn new(score: &Score, sounding: &Sounding, index: usize, part: &'a Part, level: Level) -> Self {
        let recognised = recognise(&Clues { name: &part.name, abbreviation: &part.abbreviation, ..Clues::default() });
        let unknown = || catalogue().by_id("unspecified").unwrap_or(recognised.instrument);
        let instrument = catalogue().by_id(&part.instrument_id).unwrap_or_else(unknown);
        let instruments: Vec<_> = part
            .instruments
            .iter()
            .enumerate()
            .map(|(at, own)| {
                let found =
                    recognise(&Clues { name: &own.name, sound_id: &own.sound, midi_program: own.program, ..Clues::default() });
                // Files repeat the part's name, or a sound's, for its only instrument.
                if at == 0 || found.fallback || found.confidence < 0.6 { instrument } else { found.instrument }
            })
            .collect();
        let also =
            recognised.also.iter().filter(|also| also.relation == AlsoRelation::ChangesTo).map(|also| also.instrument).collect();
        let rows = sounding.notes.of_part[index].clone();
        let mut view = Self {
            index,
            part,
            manner: manner(part, instrument),
            instrument,
            instruments,
            also,
            numbers: recognised.numbers,
            limits: Vec::new(),
            professional: Vec::new(),
            which: Vec::new(),
            first_row: rows.start,
            levels: PartLevels::new(part, &score.bars),
            octaves_lower: 0,
            strands: Vec::new(),
        };
        view.octaves_lower = u8::from(view.is_horn_in_c_as_written(score, sounding, &recognised.keys));
        view.find_limits(sounding, rows.clone(), level);
        view.strands = match view.manner {
            Manner::Lines => view.lines(sounding, rows),
            Manner::Body | Manner::Hands => by_voice(sounding, rows, view.manner == Manner::Body),
            Manner::Struck | Manner::Other => vec![Strand { player: None, events: moments(sounding, rows.collect()) }],
        };
        view.strands.retain(|strand| !strand.events.is_empty());
        view
    }

    /// Whether the file takes a horn in C as it is written, where that is beyond the usual compass and all would fit an octave lower. There
    /// horns in C sound (catalogue); the one in C alto, which does not, says so.
    fn is_horn_in_c_as_written(&self, score: &Score, sounding: &Sounding, keys: &[Key]) -> bool {
        let in_c = keys.first().is_some_and(|key| key.name == KeyName::new(Step::C, 0) && key.octave != Some(KeyOctave::Alto));
        if self.instrument.section != Section::Horns || !in_c || self.part.instruments.len() > 1 || score.about.concert_pitch {
            return false;
        }
        let stated = self
            .part
            .changes
            .iter()
            .any(|change| matches!(change.kind, ChangeKind::Transposition(by) if by.total_chromatic() != 0));
        let Some(limits) = Limits::of(self.instrument, None, Level::Professional).filter(|_| !stated) else { return false };
        let keys = || sounding.notes.of_part[self.index].clone().filter_map(|row| sounding.notes.key[row]);
        keys().any(|key| key.number() > limits.comfortable.high())
            && keys().all(|key| key.number().checked_sub(12).is_some_and(|key| limits.possible.contains(key)))
    }

    /// Rows of this part.
    pub fn rows(&self) -> std::ops::Range<usize> {
        self.first_row..self.first_row + self.which.len()
    }

    /// What the player of a row can do on the instrument in hand.
    pub fn limits(&self, row: usize) -> Option<&Limits> {
        self.limits[usize::from(self.which[row - self.first_row])].as_ref()
    }

    /// What the best players of the instrument in hand can do: beyond it something is written wrongly.
    pub fn reach(&self, row: usize) -> Option<&Limits> {
        self.professional[usize::from(self.which[row - self.first_row])].as_ref()
    }

    /// The instrument in hand at a row.
    pub fn instrument_at(&self, sounding: &Sounding, row: usize) -> &'static Instrument {
        self.instruments.get(usize::from(sounding.notes.instrument[row])).copied().unwrap_or(self.instrument)
    }

    /// The transposition in force at a place of the page; `None` where the part states none.
    pub fn transposition_at(&self, bar: BarIndex, at: Crotchets) -> Option<i32> {
        let before = self.part.changes.partition_point(|change| (change.bar, change.at) <= (bar, at));
        self.part.changes[..before].iter().rev().find_map(|change| match change.kind {
            ChangeKind::Transposition(by) => Some(by.total_chromatic()),
            _ => None,
        })
    }

    fn find_limits(&mut self, sounding: &Sounding, rows: std::ops::Range<usize>, level: Level) {
        let mut known: BTreeMap<(&str, Option<i32>), u16> = BTreeMap::new();
        let moves: Vec<_> = self
            .part
            .changes
            .iter()
            .filter_map(|change| match change.kind {
                ChangeKind::Transposition(by) => Some(((change.bar, change.at), by.total_chromatic())),
                _ => None,
            })
            .collect();
        for row in rows {
            let played = sounding.bars[sounding.notes.bar[row] as usize];
            let place = (played.bar, sounding.notes.onset[row] - played.start);
            let by = moves.partition_point(|(at, _)| *at <= place).checked_sub(1).map(|at| moves[at].1);
            let by = if self.octaves_lower > 0 { Some(-12) } else { by };
            let instrument = self.instrument_at(sounding, row);
            let next = u16::try_from(self.limits.len()).unwrap_or(u16::MAX);
            let which = *known.entry((&instrument.id, by)).or_insert(next);
            if which == next {
                self.limits.push(Limits::of(instrument, by, level));
                self.professional.push(Limits::of(instrument, by, Level::Professional));
            }
            self.which.push(which);
        }
    }

    /// One line a player. Voices of a staff are shared out among the players from the top, then the notes of a chord; what only one
    /// voice shows is everybody's, unless a mark or a rest says otherwise.
    fn lines(&self, sounding: &Sounding, rows: std::ops::Range<usize>) -> Vec<Strand> {
        let notes = &sounding.notes;
        let players = usize::from(self.part.players.most).clamp(1, MOST_PLAYERS);
        let number = |at: usize| match self.numbers.get(at) {
            Some(number) if self.numbers.len() >= players => Some(*number),
            _ if players > 1 => u16::try_from(at + 1).ok(),
            _ => self.numbers.first().copied().filter(|_| self.numbers.len() == 1),
        };
        let mut strands: Vec<Strand> = (0..players).map(|at| Strand { player: number(at), events: Vec::new() }).collect();
        let marks = named_players(self.part, &self.numbers);
        let all: Vec<usize> = rows.collect();
        for bar in all.chunk_by(|a, b| notes.bar[*a] == notes.bar[*b]) {
            let mut voices: Vec<(u8, u16)> = bar.iter().map(|row| (notes.staff[*row], notes.voice[*row])).collect();
            voices.sort_unstable();
            voices.dedup();
            for moment in bar.chunk_by(|a, b| notes.onset[*a] == notes.onset[*b]) {
                for (rank, voice) in voices.iter().enumerate() {
                    // From the highest down.
                    let mut ours: Vec<usize> =
                        moment.iter().rev().copied().filter(|row| (notes.staff[*row], notes.voice[*row]) == *voice).collect();
                    ours.sort_by_key(|row| std::cmp::Reverse(notes.pitch[*row].semitones()));
                    let Some(&top) = ours.first() else { continue };
                    let chairs: Vec<usize> = if voices.len() > 1 {
                        (0..players).filter(|at| (at * voices.len() / players).min(voices.len() - 1) == rank).collect()
                    } else if ours.len() == 1 {
                        self.alone(sounding, top, players, &marks)
                    } else {
                        (0..players).collect()
                    };
                    // More voices than players: the last one has them all.
                    let chairs = if chairs.is_empty() { vec![rank.min(players - 1)] } else { chairs };
                    share(&mut strands, &chairs, &ours);
                }
            }
        }
        strands
    }

    /// Who plays a single note on a staff of several players.
    fn alone(&self, sounding: &Sounding, row: usize, players: usize, marks: &[((BarIndex, Crotchets), usize)]) -> Vec<usize> {
        let played = sounding.bars[sounding.notes.bar[row] as usize];
        let place = (played.bar, sounding.notes.onset[row] - played.start);
        match sounding.notes.players_reason[row] {
            CountReason::OthersRest if sounding.notes.voice[row].is_multiple_of(2) => vec![players - 1],
            CountReason::OthersRest => vec![0],
            CountReason::Mark if sounding.notes.players[row].most == 1 => {
                let named = marks.partition_point(|(at, _)| *at <= place).checked_sub(1).map_or(0, |at| marks[at].1);
                vec![named.min(players - 1)]
            }
            _ => (0..players).collect(),
        }
    }
}

/// The first player each mark names, as an index: "2." is 1, and "4." in a part for horns 3 and 4 is 1.
fn named_players(part: &Part, numbers: &[u16]) -> Vec<((BarIndex, Crotchets), usize)> {
    let mut found = Vec::new();
    for direction in &part.directions {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        let Some(PlayerMark::Only(_)) = PlayerMark::parse(text) else { continue };
        let at = PlayerMark::named(text).first().map_or(0, |number| {
            numbers.iter().position(|own| own == number).unwrap_or_else(|| usize::from(number.saturating_sub(1)))
        });
        found.push(((direction.bar, direction.at), at));
    }
    found
}

/// Gives rows (from the highest down) to players (from the first).
fn share(strands: &mut [Strand], chairs: &[usize], rows: &[usize]) {
    let (players, count) = (chairs.len(), rows.len());
    for (k, chair) in chairs.iter().enumerate() {
        if count <= players {
            let row = rows[k * count / players];
            strands[*chair].events.push(Event { row, chord: Vec::new(), shared: count < players });
        } else {
            let ours = || (0..count).filter(|i| i * players / count == k).map(|i| rows[i]);
            let Some(row) = ours().next() else { continue };
            strands[*chair].events.push(Event { row, chord: ours().skip(1).collect(), shared: false });
        }
    }
}

/// One strand for each staff, and of a body for each voice.
fn by_voice(sounding: &Sounding, rows: std::ops::Range<usize>, voices_apart: bool) -> Vec<Strand> {
    let notes = &sounding.notes;
    let mut of: BTreeMap<(u8, u16), Vec<usize>> = BTreeMap::new();
    for row in rows {
        of.entry((notes.staff[row], if voices_apart { notes.voice[row] } else { 0 })).or_default().push(row);
    }
    of.into_values().map(|rows| Strand { player: None, events: moments(sounding, rows) }).collect()
}

/// Rows, ordered by onset, as chords.
fn moments(sounding: &Sounding, rows: Vec<usize>) -> Vec<Event> {
    let notes = &sounding.notes;
    rows.chunk_by(|a, b| notes.onset[*a] == notes.onset[*b] && notes.duration[*a].is_zero() == notes.duration[*b].is_zero())
        .filter_map(|moment| {
            let (row, rest) = moment.split_last()?;
            Some(Event { row: *row, chord: rest.to_vec(), shared: false })
        })
        .collect()
}

fn manner(part: &Part, instrument: &Instrument) -> Manner {
    match instrument.family {
        Family::Strings => Manner::Body,
        Family::Voice if part.is_body || instrument.section == Section::Choirs => Manner::Body,
        Family::Woodwind | Family::Brass | Family::Voice => Manner::Lines,
        Family::Keyboard => Manner::Hands,
        Family::Plucked if instrument.section == Section::Harps => Manner::Hands,
        Family::Percussion => Manner::Struck,
        _ => Manner::Other,
    }
}
