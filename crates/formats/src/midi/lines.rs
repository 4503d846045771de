//! From tracks and channels to lines, each of which becomes a part.

use std::ops::Range;

use ripieno_instruments::catalogue::Instrument;
use ripieno_instruments::family::Family;
use ripieno_instruments::recognise::{Clues, recognise};

use super::events::{Strike, TextKind, Track, Tracks, What};
use super::general_midi;
use super::sessions::TrackName;
use super::text;

/// What becomes one part.
#[derive(Debug, Clone, Default)]
pub(super) struct Line {
    pub(super) name: String,
    /// Ranges of [`Tracks::notes`], one for each staff from the top.
    pub(super) staves: Vec<Range<usize>>,
    /// Tracks it comes from.
    pub(super) tracks: Vec<usize>,
    /// Bit set of channels, 0 to 15.
    pub(super) channels: u16,
    /// General MIDI programs by moment, 0 to 127; the first holds from the beginning.
    pub(super) programs: Vec<(u32, u8)>,
    /// Percussion without pitch: keys are instruments.
    pub(super) percussion: bool,
    /// Pitched, with percussion without pitch on channel 10.
    pub(super) mixed: bool,
    /// What the catalogue knows of it, where its name or program tells.
    pub(super) identity: Option<Identity>,
    /// Ways of playing by moment.
    pub(super) words: Vec<(u32, String)>,
}

/// An instrument recognised by its name.
#[derive(Debug, Clone)]
pub(super) struct Identity {
    instrument: &'static Instrument,
    /// Numbers in the name: 1 for "Horns 1".
    pub(super) numbers: Vec<u16>,
    /// Division, key and staff in the name, as text.
    rest: String,
}

/// A recognition at least this sure is relied on.
const SURE: f32 = 0.75;

impl Identity {
    /// Recognises who plays; `None` when the name does not tell.
    fn of(who: &str) -> Option<Self> {
        let found = recognise(&Clues { name: who, ..Clues::default() });
        if found.fallback || found.confidence < SURE {
            return None;
        }
        let division = found.division.map(|division| division.to_string()).unwrap_or_default();
        let keys = found.keys.iter().map(|key| format!(" {key}")).collect::<String>();
        let also = found.also.iter().map(|also| format!(" {} {:?}", also.instrument.id, also.numbers)).collect::<String>();
        Some(Self { instrument: found.instrument, numbers: found.numbers, rest: division + &keys + &also })
    }

    /// The catalogue's entry.
    pub(super) const fn instrument(&self) -> &'static Instrument {
        self.instrument
    }

    /// Equal for names of the same players; `numbered`: with their numbers.
    pub(super) fn key(&self, numbered: bool) -> String {
        if numbered {
            format!("{} {:?}{}", self.instrument.id, self.numbers, self.rest)
        } else {
            format!("{}{}", self.instrument.id, self.rest)
        }
    }

    /// The widest compass as it sounds.
    pub(super) fn compass(&self) -> Option<(u8, u8)> {
        let widest = self.instrument.transpositions.iter().filter_map(|key| self.instrument.sounding(key));
        let range = widest.map(|ranges| (ranges.extreme.low(), ranges.extreme.high()));
        range.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }
}

/// General MIDI's percussion channel, counted from 0.
pub(super) const PERCUSSION_CHANNEL: u8 = 9;
/// The same as a set of channels.
const PERCUSSION: u16 = 1 << PERCUSSION_CHANNEL;

impl Line {
    /// Whether a strike of it has no pitch.
    pub(super) const fn is_unpitched(&self, strike: &Strike) -> bool {
        self.percussion || self.mixed && strike.channel == PERCUSSION_CHANNEL
    }

    /// Its first channel, 1 to 16; of a mixed line, of what has pitch.
    pub(super) fn channel(&self) -> Option<u8> {
        let own = if self.mixed { self.channels & !PERCUSSION } else { self.channels };
        let first = u8::try_from(own.trailing_zeros()).ok()?;
        (first < 16).then_some(first + 1)
    }

    /// Whether an event of this channel concerns it.
    pub(super) const fn has_channel(&self, channel: u8) -> bool {
        self.channels & (1 << (channel & 15)) != 0
    }
}

/// Forms one line of every track, or of every group of its channels that play one program.
pub(super) fn form(all: &mut Tracks<'_>, single_track: bool) -> Vec<Line> {
    let mut lines = Vec::new();
    for index in 0..all.tracks.len() {
        let Some(track) = all.tracks.get(index).cloned() else { continue };
        let names = Names::of(all, &track);
        let groups = channel_groups(all, &track, single_track);
        let alone = groups.len() == 1;
        if !alone {
            let mask_of = |channel: u8| groups.iter().position(|group| group & (1 << channel) != 0);
            if let Some(notes) = all.notes.get_mut(track.notes.clone()) {
                notes.sort_by_key(|strike| mask_of(strike.channel)); // stable: order in time stays
            }
        }
        let mut first = track.notes.start;
        for &channels in &groups {
            let notes = all.notes.get(first..track.notes.end).unwrap_or_default();
            let count = if alone { notes.len() } else { notes.partition_point(|s| channels & (1 << s.channel) != 0) };
            let mixed = channels != PERCUSSION && channels & PERCUSSION != 0;
            let programs = programs(all, &track, if mixed { channels & !PERCUSSION } else { channels });
            let mut line = Line {
                name: String::new(),
                staves: std::iter::once(first..first + count).collect(),
                tracks: vec![index],
                channels,
                programs,
                percussion: channels == PERCUSSION,
                mixed,
                ..Line::default()
            };
            line.name = names.choose(&line, index, alone, single_track);
            line.identity = Identity::of(&TrackName::of(&line.name).who);
            if let Some(identity) = &line.identity {
                // A name says more than a channel: sessions give violas channel 10 and drums channel 1.
                let vague = matches!(identity.instrument.family, Family::Other | Family::Electronic);
                line.percussion = !mixed && (!identity.instrument.pitched || vague && line.percussion);
            }
            first += count;
            lines.push(line);
        }
    }
    lines
}

/// Channels with notes, as bit sets, in order of their first channel: those of one program together, percussion apart
/// unless there is only one other group (a player's bells and triangle, say). In a file of one track each channel is a
/// part of its own.
fn channel_groups(all: &Tracks<'_>, track: &Track, single_track: bool) -> Vec<u16> {
    let used = all.notes_of(track).iter().fold(0u16, |used, strike| used | 1 << (strike.channel & 15));
    if used.count_ones() <= 1 {
        return if used == 0 { Vec::new() } else { vec![used] };
    }
    let mut groups: Vec<(Option<u8>, u16)> = Vec::new();
    for channel in (0..16u8).filter(|channel| used & (1 << channel) != 0) {
        let program = programs(all, track, 1 << channel).first().map(|&(_, program)| program);
        let same = groups
            .iter_mut()
            .find(|(other, group)| !single_track && *other == program && channel != PERCUSSION_CHANNEL && *group != PERCUSSION);
        match same {
            Some((_, group)) => *group |= 1 << channel,
            None => groups.push((program, 1 << channel)),
        }
    }
    if !single_track
        && let [(_, a), (_, b)] = *groups.as_slice()
        && (a | b) & PERCUSSION != 0
    {
        return vec![a | b];
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// Program changes of these channels, without repetitions.
fn programs(all: &Tracks<'_>, track: &Track, channels: u16) -> Vec<(u32, u8)> {
    let mut programs: Vec<(u32, u8)> = Vec::new();
    for event in all.events_of(track) {
        let What::Program { channel, program } = event.what else { continue };
        if channels & (1 << (channel & 15)) == 0 {
            continue;
        }
        match programs.last_mut() {
            Some(last) if last.0 == event.at => last.1 = program,
            Some(last) if last.1 == program => {}
            _ => programs.push((event.at, program)),
        }
    }
    programs
}

/// What a track is called.
struct Names {
    track: String,
    instrument: String,
    /// Names after a channel prefix.
    channels: Vec<(u8, String)>,
}

impl Names {
    fn of(all: &Tracks<'_>, track: &Track) -> Self {
        let mut names = Self { track: String::new(), instrument: String::new(), channels: Vec::new() };
        for event in all.events_of(track) {
            let What::Text { kind, bytes, channel } = event.what else { continue };
            if !matches!(kind, TextKind::TrackName | TextKind::InstrumentName) {
                continue;
            }
            let name = text::clean(bytes);
            match channel {
                Some(channel) => names.channels.push((channel, name)),
                None if kind == TextKind::TrackName && names.track.is_empty() => names.track = name,
                None if kind == TextKind::InstrumentName && names.instrument.is_empty() => names.instrument = name,
                None => {}
            }
        }
        names
    }

    /// The track's name, the instrument's, the program's or a number, in that order; with several lines in the
    /// track, also what tells this one apart.
    fn choose(&self, line: &Line, track: usize, alone: bool, single_track: bool) -> String {
        let own = self.channels.iter().find(|(channel, name)| line.has_channel(*channel) && !name.is_empty());
        if let Some((_, name)) = own {
            return name.clone();
        }
        let program = match line.programs.first() {
            _ if line.percussion => "Percussion",
            Some(&(_, program)) => general_midi::program_name(program),
            None => "",
        };
        let channel = line.channel().unwrap_or(1);
        if single_track && !(alone && !self.track.is_empty() && program.is_empty()) {
            return if program.is_empty() { format!("Channel {channel}") } else { program.to_owned() };
        }
        let track_name = if self.track.is_empty() { &self.instrument } else { &self.track };
        match (track_name.is_empty(), program.is_empty()) {
            (false, _) if alone => track_name.clone(),
            (false, false) => format!("{track_name} ({program})"),
            (false, true) => format!("{track_name} (channel {channel})"),
            (true, false) => program.to_owned(),
            (true, true) if alone => format!("Track {}", track + 1),
            (true, true) => format!("Track {} (channel {channel})", track + 1),
        }
    }
}

/// The name of a track, where it has one.
pub(super) fn track_name(all: &Tracks<'_>, track: &Track) -> Option<String> {
    let names = Names::of(all, track);
    [names.track, names.instrument].into_iter().find(|name| !name.is_empty())
}

/// The strikes of a line, staff by staff.
pub(super) fn strikes<'t>(all: &'t Tracks<'_>, line: &'t Line) -> impl Iterator<Item = &'t Strike> {
    line.staves.iter().flat_map(|staff| all.notes.get(staff.clone()).unwrap_or_default())
}
