//! Reads the file line by line and keeps the clock.
//!
//! Time. Tokens on one line are simultaneous. A line with notes falls at the moment its spines' previous notes end; where they
//! disagree, the moment most of them name counts (the later one if it is a tie), notes that reach beyond it are cut, and the
//! disagreement is reported. Barlines and interpretations fall where the next line with notes does. Lines on which only
//! other spines say something (a dynamic in the middle of a long note) divide the time around them evenly.

use ripieno_score::{ChangeKind, Crotchets, DirectionKind, Edge, Head, Metre, NoteFlags, Score, Swell};

use super::about::{self, Records};
use super::barline::{self, Barline};
use super::bars::Bars;
use super::columns::{self, Column, Fault, Path};
use super::dynamics;
use super::expansion::Sections;
use super::parts::Assembly;
use super::signifiers::Signifiers;
use super::spine::{self, Holds, Moment, Spanning, Spine, TimeSpan, Unmatched};
use super::tandem::{self, Tandem};
use super::tempo;
use super::text::text;
use super::token::{self, Doubt, Grace, Kind, Parsed};
use crate::{Finding, Findings, Limits, Place, ReadError, Severity};

/// Spines and sub-spines side by side; the largest scores have a tenth of it.
const MOST_COLUMNS: usize = 1024;
/// Pieces one after the other in a file.
const MOST_SECTIONS: usize = 1000;
/// Lines out of shape after which the rest of the file is given up.
const MOST_BROKEN_LINES: usize = 10_000;
/// Different tandem interpretations or signifiers reported as unknown.
const MOST_UNKNOWN: usize = 50;

/// Something that waits for the next line with notes to know its time.
#[derive(Debug, Clone, Copy)]
enum Waiting<'a> {
    Barline(&'a [u8]),
    Tandem { spine: usize, layer: u16, token: &'a [u8] },
    /// A local or global comment that carries words to print.
    Words { spine: Option<usize>, layout: &'a [u8] },
    /// A tempo or movement heading from a reference record.
    Heading(&'a [u8]),
    /// A token of another spine on a line without notes; the number counts such lines.
    Beside { spine: usize, layer: u16, token: &'a [u8], line: u32 },
}

impl Waiting<'_> {
    /// Whether it concerns what follows, so that before a barline it belongs behind it. A clef before the barline is printed
    /// there, and what ends there ends there.
    fn looks_ahead(&self) -> bool {
        const STAYS: [&[u8]; 4] = [b"*clef", b"*X8", b"*X15", b"*Xped"];
        match self {
            Self::Tandem { token, .. } => !STAYS.iter().any(|prefix| token.starts_with(prefix)),
            Self::Words { .. } | Self::Heading(_) => true,
            Self::Barline(_) | Self::Beside { .. } => false,
        }
    }
}

/// The notes of one token on the current line.
#[derive(Debug, Clone)]
struct Entry {
    column: usize,
    subs: std::ops::Range<usize>,
    signs: std::ops::Range<usize>,
    takes_time: bool,
}

pub(super) struct Reader<'a> {
    file: &'a str,
    limits: &'a Limits,
    own: Signifiers,
    findings: Findings,
    line: u64,
    columns: Vec<Column>,
    spines: Vec<Spine<'a>>,
    bars: Bars,
    /// When the last line with notes sounded.
    now: Crotchets,
    /// When the first note begun on that line ends.
    soonest: Crotchets,
    /// When everything read so far has ended.
    latest: Crotchets,
    /// Each with the line it stands on.
    waiting: Vec<(u64, Waiting<'a>)>,
    lines_beside: u32,
    /// Hairpins that end with the line before: spine and which way they go.
    closing: Vec<(usize, Swell)>,
    parsed: Parsed,
    entries: Vec<Entry>,
    signs: Vec<dynamics::Sign>,
    events: usize,
    broken_lines: usize,
    unknown: Vec<Vec<u8>>,
    sections_read: usize,
    /// Whether the section has had a note or rest.
    music: bool,
    records: Records,
    assembly: Assembly,
    sections: Sections,
    decoration: String,
}

/// What [`Reader::read`] arrives at.
pub(super) struct Done {
    pub score: Score,
    pub findings: Findings,
}

impl<'a> Reader<'a> {
    pub(super) fn new(file: &'a str, bytes: &'a [u8], limits: &'a Limits) -> Self {
        Self {
            file,
            limits,
            own: Signifiers::of(bytes),
            findings: Findings::default(),
            line: 0,
            columns: Vec::new(),
            spines: Vec::new(),
            bars: Bars::new(),
            now: Crotchets::ZERO,
            soonest: Crotchets::ZERO,
            latest: Crotchets::ZERO,
            waiting: Vec::new(),
            lines_beside: 0,
            closing: Vec::new(),
            parsed: Parsed::default(),
            entries: Vec::new(),
            signs: Vec::new(),
            events: 0,
            broken_lines: 0,
            unknown: Vec::new(),
            sections_read: 0,
            music: false,
            records: Records::default(),
            assembly: Assembly::default(),
            sections: Sections::default(),
            decoration: String::new(),
        }
    }

    pub(super) fn read(mut self, bytes: &'a [u8]) -> Result<Done, ReadError> {
        let mut rest = bytes;
        while !rest.is_empty() {
            let end = rest.iter().position(|&byte| byte == b'\n' || byte == b'\r').unwrap_or(rest.len());
            let (line, tail) = rest.split_at(end);
            rest = match tail {
                [b'\r', b'\n', tail @ ..] | [_, tail @ ..] => tail,
                [] => tail,
            };
            self.line += 1;
            self.one_line(line, rest)?;
            self.fits_memory()?;
            if self.broken_lines > MOST_BROKEN_LINES {
                let what = format!("more than {MOST_BROKEN_LINES} lines do not fit the spines; the rest of the file was not read");
                self.find(Severity::Error, "spines-broken", None, what, "Check the file with a Humdrum syntax checker");
                break;
            }
        }
        if !self.columns.is_empty() {
            if self.music {
                self.find(Severity::Note, "not-terminated", None, "the spines are not ended by *-", "Check that the file is complete");
            }
            self.end_section()?;
        }
        self.finish()
    }

    fn wait(&mut self, item: Waiting<'a>) {
        self.waiting.push((self.line, item));
    }

    fn find(&mut self, severity: Severity, code: &'static str, spine: Option<usize>, what: impl Into<String>, hint: impl Into<String>) {
        let part = spine.and_then(|spine| self.spines.get(spine)).map(Spine::label);
        let bar = (self.music || self.sections_read > 0).then(|| self.bars.label());
        let place = Place { file: self.file.to_owned(), part, bar, line: Some(self.line) };
        self.findings.push(Finding { severity, code, place, what: what.into(), hint: hint.into() });
    }

    fn too_much(&self, what: String) -> ReadError {
        let place = Place { file: self.file.to_owned(), part: None, bar: Some(self.bars.label()), line: Some(self.line) };
        let hint = "Split the score into movements".to_owned();
        ReadError(Box::new(Finding { severity: Severity::Error, code: "too-large", place, what, hint }))
    }

    fn one_line(&mut self, line: &'a [u8], rest: &'a [u8]) -> Result<(), ReadError> {
        match line {
            [] => {}
            [b'!', b'!', b'!', ..] => self.record(line),
            [b'!', b'!', ..] => {
                if let Some(layout) = line.strip_prefix(b"!!LO:") {
                    self.wait(Waiting::Words { spine: None, layout });
                }
            }
            [b'!', ..] => self.comments(line),
            [b'*', b'*', ..] => self.exclusive(line)?,
            [b'*', ..] => self.interpretations(line, rest)?,
            _ if line.iter().all(u8::is_ascii_whitespace) => {}
            _ if self.columns.is_empty() => {
                self.broken_lines += 1;
                self.find(Severity::Warning, "outside-spines", None, "data stand outside any spine and were left out", "");
            }
            _ => self.data(line)?,
        }
        Ok(())
    }

    fn record(&mut self, line: &'a [u8]) {
        let Some((code, value)) = about::split(line) else { return };
        match code {
            b"OMD" => {
                self.wait(Waiting::Heading(value));
                if !self.music && self.sections_read == 0 {
                    self.records.add(code, value);
                }
            }
            b"system" if line.starts_with(b"!!!system-decoration") => self.decoration = text(value),
            _ if self.sections_read == 0 || self.columns.is_empty() => self.records.add(code, value),
            _ => {}
        }
    }

    fn fits_memory(&self) -> Result<(), ReadError> {
        if self.events.max(self.waiting.len()) > self.limits.events {
            return Err(self.too_much(format!("the score has more than {} notes, rests and signs", self.limits.events)));
        }
        Ok(())
    }

    fn comments(&mut self, line: &'a [u8]) {
        let tokens: Vec<&[u8]> = fields(line).take(MOST_COLUMNS).collect();
        // Some collections name their voices in a row of local comments, one for each spine.
        let names = !self.music
            && tokens.len() == self.columns.len()
            && tokens.iter().all(|token| (2..=40).contains(&token.len()) && !token.starts_with(b"!LO:") && !token.starts_with(b"!!"));
        for (column, token) in self.columns.iter().zip(tokens) {
            let Some(spine) = column.spine else { continue };
            if let Some(layout) = token.strip_prefix(b"!LO:") {
                self.waiting.push((self.line, Waiting::Words { spine: Some(spine), layout }));
            } else if let Some(spine) = self.spines.get_mut(spine).filter(|spine| names && spine.names.comment.is_empty()) {
                spine.names.comment = text(token.get(1..).unwrap_or_default());
            }
        }
    }

    /// A line that begins with an exclusive interpretation: a section begins, or spines change what they hold.
    fn exclusive(&mut self, line: &'a [u8]) -> Result<(), ReadError> {
        let tokens: Vec<&[u8]> = fields(line).take(MOST_COLUMNS + 1).collect();
        let all_new = tokens.iter().all(|token| token.starts_with(b"**"));
        if self.columns.is_empty() || (all_new && self.music) {
            if !self.columns.is_empty() {
                self.end_section()?;
            }
            return self.begin_section(&tokens);
        }
        self.change_spines(&tokens);
        Ok(())
    }

    fn begin_section(&mut self, tokens: &[&'a [u8]]) -> Result<(), ReadError> {
        if tokens.iter().any(|token| token.windows(3).any(|three| three == b" **")) {
            let hint = "Save the file with tab characters between its columns";
            return Err(ReadError::whole_file(self.file, "no-tabs", "the spines are separated by spaces, not tabs", hint));
        }
        if tokens.len() > MOST_COLUMNS {
            let what = format!("there are more than {MOST_COLUMNS} spines; those beyond were left out");
            self.find(Severity::Error, "too-many-spines", None, what, "");
        }
        self.music = false;
        self.now = self.latest;
        self.soonest = self.latest;
        self.bars.section(self.latest);
        for (place, token) in tokens.iter().take(MOST_COLUMNS).enumerate() {
            let holds = Holds::of(token);
            self.columns.push(Column::new(Some(place), self.latest));
            self.spines.push(Spine::new(holds, place));
            self.report_unused(place, holds, token);
        }
        Ok(())
    }

    fn report_unused(&mut self, spine: usize, holds: Holds, token: &[u8]) {
        if holds == Holds::Other && token.starts_with(b"**") {
            let what = format!("the spine {} is of no use to this reader and was left out", shown(token));
            self.find(Severity::Note, "spine-left-out", Some(spine), what, "");
        }
    }

    /// New exclusive interpretations for some of the columns.
    fn change_spines(&mut self, tokens: &[&'a [u8]]) {
        for (index, token) in tokens.iter().enumerate() {
            if !token.starts_with(b"**") || self.spines.len() >= 4 * MOST_COLUMNS {
                continue;
            }
            let holds = Holds::of(token);
            let Some(column) = self.columns.get(index) else { continue };
            let old = column.spine.and_then(|spine| self.spines.get(spine));
            if old.is_some_and(|old| old.holds == holds) {
                continue;
            }
            let mut spine = Spine::new(holds, self.spines.len());
            if let Some(old) = old {
                spine.place = old.place;
                (spine.staves, spine.part, spine.names) = (old.staves.clone(), old.part, old.names.clone());
            }
            let number = self.spines.len();
            self.spines.push(spine);
            if let Some(column) = self.columns.get_mut(index) {
                column.spine = Some(number);
                column.layer = 0;
            }
            self.report_unused(number, holds, token);
        }
    }

    fn interpretations(&mut self, line: &'a [u8], rest: &'a [u8]) -> Result<(), ReadError> {
        if self.columns.is_empty() {
            self.broken_lines += 1;
            self.find(Severity::Warning, "outside-spines", None, "an interpretation stands outside any spine and was left out", "");
            return Ok(());
        }
        let mut paths: Vec<Path> = Vec::new();
        let (mut moves, mut renames, mut count) = (false, false, 0);
        for token in fields(line) {
            let path = Path::of(token);
            moves |= path != Path::Keep;
            renames |= token.starts_with(b"**");
            paths.push(path);
            count += 1;
            if count > MOST_COLUMNS {
                break;
            }
        }
        self.check_width(count);
        if renames {
            let tokens: Vec<&[u8]> = fields(line).take(MOST_COLUMNS).collect();
            self.change_spines(&tokens);
            return Ok(());
        }
        if !moves {
            for (index, token) in fields(line).take(self.columns.len()).enumerate() {
                if token != b"*" {
                    self.tandem_token(index, token);
                }
            }
            return Ok(());
        }
        if paths.iter().all(|&path| path == Path::End) && paths.len() >= self.columns.len() {
            return self.end_section();
        }
        let before = self.columns.len();
        let wanted = before + paths.iter().filter(|path| matches!(path, Path::Split | Path::Add)).count();
        if wanted > MOST_COLUMNS {
            let what = format!("the spines split into more than {MOST_COLUMNS}; those beyond were left out");
            self.find(Severity::Error, "too-many-spines", None, what, "");
        }
        let columns = std::mem::take(&mut self.columns);
        let (columns, faults) = columns::carry_out(columns, &paths, width_ahead(rest), MOST_COLUMNS);
        self.columns = columns;
        for column in &self.columns {
            if let Some(spine) = column.spine.and_then(|spine| self.spines.get_mut(spine)) {
                spine.layers = spine.layers.max(column.layer.saturating_add(1));
            }
        }
        for fault in faults {
            let what = match fault {
                Fault::LoneJoin => "a spine is to be joined (*v) but its neighbour is not",
                Fault::LoneExchange => "a spine is to be exchanged (*x) but its neighbour is not",
            };
            self.broken_lines += 1;
            self.find(Severity::Warning, "spine-path", None, what, "The spine was left as it is");
        }
        if self.columns.is_empty() { self.end_section() } else { Ok(()) }
    }

    /// Reports a line that has not as many tokens as there are spines.
    fn check_width(&mut self, count: usize) {
        let wanted = self.columns.len();
        if count == wanted {
            return;
        }
        self.broken_lines += 1;
        let what = format!("the line has {count} tokens for {wanted} spines");
        let hint = if count < wanted { "The spines on the right were taken as silent here" } else { "The tokens on the right were left out" };
        self.find(Severity::Warning, "line-width", None, what, hint);
    }

    /// A tandem interpretation: what concerns the columns at once is done, the rest waits for its time.
    fn tandem_token(&mut self, index: usize, token: &'a [u8]) {
        let Some(column) = self.columns.get_mut(index) else { return };
        let (Some(spine), layer) = (column.spine, column.layer) else { return };
        match tandem::parse(token) {
            Tandem::Cue(on) => column.silent.set(NoteFlags::CUE, on),
            Tandem::Ossia(on) => column.silent.set(NoteFlags::OSSIA, on),
            // Of several strophes the first is played; verses of text are not affected.
            Tandem::Strophe => column.silent.set(NoteFlags::OSSIA, layer > 0),
            Tandem::StropheEnd => column.silent.set(NoteFlags::OSSIA, false),
            Tandem::Ignored => {}
            _ => self.wait(Waiting::Tandem { spine, layer, token }),
        }
    }

    fn data(&mut self, line: &'a [u8]) -> Result<(), ReadError> {
        self.parsed.clear();
        self.entries.clear();
        let mut barline: Option<&[u8]> = None;
        let (mut count, mut beside) = (0, false);
        let mark = self.waiting.len();
        for (index, token) in fields(line).enumerate() {
            count = index + 1;
            if token == b"." {
                continue;
            }
            let Some(column) = self.columns.get(index) else { continue };
            let Some(number) = column.spine else { continue };
            let Some(spine) = self.spines.get(number) else { continue };
            if token.first() == Some(&b'=') {
                if barline.is_none() || spine.holds == Holds::Notes {
                    barline = barline.filter(|first| first.len() >= token.len()).or(Some(token));
                }
                continue;
            }
            match spine.holds {
                Holds::Notes => {
                    let (subs, signs) = (self.parsed.subs.len(), self.parsed.signs.len());
                    token::parse(token, &self.own, &mut self.parsed);
                    let subs = subs..self.parsed.subs.len();
                    let takes_time = self.parsed.subs.get(subs.clone()).is_some_and(|subs| subs.iter().any(takes_time));
                    if !subs.is_empty() {
                        self.entries.push(Entry { column: index, subs, signs: signs..self.parsed.signs.len(), takes_time });
                    }
                    if !self.parsed.doubts.is_empty() {
                        self.report_doubts(number, token);
                    }
                }
                Holds::Other => {}
                Holds::Dynamics | Holds::Lyrics | Holds::Chords => {
                    beside = true;
                    self.wait(Waiting::Beside { spine: number, layer: column.layer, token, line: self.lines_beside + 1 });
                }
            }
        }
        self.check_width(count);
        if self.entries.is_empty() {
            self.lines_beside += u32::from(beside);
            if let Some(token) = barline {
                self.wait(Waiting::Barline(token));
            }
            return Ok(());
        }
        if barline.is_some() {
            let hint = "The barline was left out; bars must end together in all spines";
            self.find(Severity::Warning, "barline-beside-notes", None, "a barline stands in some spines beside notes in others", hint);
        }
        let with_notes = self.waiting.split_off(mark.min(self.waiting.len()));
        let time = self.time_of_line();
        self.arrive(time)?;
        for (_, item) in with_notes {
            if let Waiting::Beside { spine, layer, token, .. } = item {
                self.beside(spine, layer, token, self.bars.moment(time), true);
            }
        }
        self.sound(time);
        Ok(())
    }

    /// When the line that has just been parsed sounds.
    fn time_of_line(&mut self) -> Crotchets {
        let timed = self.entries.iter().any(|entry| entry.takes_time);
        let ends = || {
            let entries = self.entries.iter().filter(|entry| entry.takes_time == timed);
            entries.filter_map(|entry| self.columns.get(entry.column)).map(|column| column.until).filter(|&until| until >= self.now)
        };
        let Some(first) = ends().next() else { return self.soonest.max(self.now) };
        if ends().all(|until| until == first) {
            return first;
        }
        // They disagree: the moment most of them name, or of equally many the latest.
        let mut votes: std::collections::BTreeMap<Crotchets, usize> = std::collections::BTreeMap::new();
        for until in ends() {
            *votes.entry(until).or_default() += 1;
        }
        let time = votes.iter().max_by_key(|(until, votes)| (**votes, **until)).map_or(first, |(until, _)| *until);
        let odd = self.entries.iter().find(|entry| {
            entry.takes_time == timed && self.columns.get(entry.column).is_some_and(|column| column.until >= self.now && column.until != time)
        });
        let spine = odd.and_then(|entry| self.columns.get(entry.column)).map(|column| (column.spine, column.until));
        // What ended too early before a barline is reported there.
        let at_barline = self.waiting.iter().any(|(_, item)| matches!(item, Waiting::Barline(_)));
        if let (true, Some((spine, until))) = (timed, spine)
            && !(at_barline && until < time)
        {
            let what = if until > time {
                format!("notes last {} beyond the next ones on the same line", in_crotchets(until - time))
            } else {
                format!("notes end {} before the next ones on the same line", in_crotchets(time - until))
            };
            let hint = if until > time { "The notes were cut; check their durations" } else { "The gap was left empty; check the durations before it" };
            self.find(Severity::Warning, "spines-disagree", spine, what, hint);
        }
        time
    }

    /// Brings what has been waiting to its place, now that the next line with notes is known to sound at `time`.
    fn arrive(&mut self, time: Crotchets) -> Result<(), ReadError> {
        let before = self.bars.moment(time);
        for (spine, swell) in std::mem::take(&mut self.closing) {
            self.close_hairpin(spine, swell, before);
        }
        let waiting = std::mem::take(&mut self.waiting);
        let is_barline = |(_, item): &(u64, Waiting<'a>)| matches!(item, Waiting::Barline(_));
        let token = |(_, item): &(u64, Waiting<'a>)| if let Waiting::Barline(token) = item { Some(*token) } else { None };
        let tokens: Vec<&[u8]> = waiting.iter().filter_map(token).collect();
        let barlines = tokens.len();
        let last_barline = waiting.iter().rposition(is_barline);
        let line = self.line;
        if barlines > 0 {
            self.check_ends(time);
        }
        let lines = i64::from(self.lines_beside) + 1;
        let mut seen = 0;
        let belongs_later = |index: usize, item: &Waiting<'a>| last_barline.is_some_and(|last| index < last) && item.looks_ahead();
        for (index, (line, item)) in waiting.iter().enumerate() {
            if belongs_later(index, item) {
                continue;
            }
            self.line = *line;
            match *item {
                Waiting::Barline(token) => {
                    seen += 1;
                    self.barline(token, time, seen < barlines);
                }
                Waiting::Beside { spine, layer, token, line } => {
                    let share = Crotchets::new(i64::from(line), lines).unwrap_or(Crotchets::ZERO);
                    let between = last_barline.is_none_or(|last| index < last);
                    let at = if between { self.now + (time - self.now) * share } else { time };
                    self.beside(spine, layer, token, self.bars.moment(at.max(self.bars.start())), false);
                }
                // Of several barlines the first may fall before the next notes, and with it what stands before it.
                _ => {
                    let next = tokens.get(seen).map(|token| self.barline_time(&barline::parse(token), time, seen + 1 < barlines));
                    self.settle(*item, next.unwrap_or(time));
                }
            }
        }
        for (index, (line, item)) in waiting.iter().enumerate() {
            if belongs_later(index, item) {
                self.line = *line;
                self.settle(*item, time);
            }
        }
        self.line = line;
        self.lines_beside = 0;
        self.waiting = waiting;
        self.waiting.clear();
        self.fits_memory()?;
        if self.bars.len() > self.limits.bars {
            return Err(self.too_much(format!("the score has more than {} bars", self.limits.bars)));
        }
        Ok(())
    }

    /// What has a place but no time of its own.
    fn settle(&mut self, item: Waiting<'a>, time: Crotchets) {
        match item {
            Waiting::Tandem { spine, layer, token } => self.tandem(spine, layer, token, time),
            Waiting::Words { spine, layout } => self.words(spine, layout, time),
            Waiting::Heading(value) => self.heading(value, self.bars.moment(time)),
            Waiting::Barline(_) | Waiting::Beside { .. } => {}
        }
    }

    fn barline_time(&self, barline: &Barline, time: Crotchets, more: bool) -> Crotchets {
        match self.assembly.metre.as_ref().and_then(Metre::length) {
            Some(length) if more && !barline.number.is_empty() => (self.bars.start() + length).max(self.now).min(time),
            _ => time,
        }
    }

    /// A tempo heading, such as `Allegro [quarter] = 132`.
    fn heading(&mut self, value: &[u8], moment: Moment) {
        let words = text(value);
        let (words, metronome) = tempo::split(&words);
        if let Some((beat, per_minute)) = metronome {
            self.assembly.metronomes.push((moment, beat, per_minute));
        }
        if !words.is_empty() {
            self.assembly.words.push((moment, words.to_owned()));
        }
    }

    /// Reports spines that ended before the barline at `time`.
    fn check_ends(&mut self, time: Crotchets) {
        let mut short: Vec<(usize, Crotchets)> = Vec::new();
        let mut columns = self.columns.iter_mut().peekable();
        while let Some(column) = columns.next() {
            let mut until = column.until;
            let spine = column.spine;
            column.until = until.max(time);
            while let Some(other) = columns.next_if(|other| other.spine == spine) {
                until = until.max(other.until);
                other.until = other.until.max(time);
            }
            if until < time
                && let Some(spine) = spine
                && self.spines.get(spine).is_some_and(|spine| spine.holds == Holds::Notes && spine.has_music())
            {
                short.push((spine, time - until));
            }
        }
        for (spine, by) in short {
            let what = format!("the bar ends {} too early", in_crotchets(by));
            self.find(Severity::Warning, "bar-short", Some(spine), what, "The gap was left empty; check the durations, or a missing rest");
        }
    }

    /// A barline; where notes sound on through `more` of them, each closes a bar of the metre's length.
    fn barline(&mut self, token: &[u8], time: Crotchets, more: bool) {
        let barline = barline::parse(token);
        let at = self.barline_time(&barline, time, more);
        self.bars.barline(at, &barline);
        if barline.fermata {
            self.assembly.fermatas.push(self.bars.moment(at));
        }
    }

    fn sound(&mut self, time: Crotchets) {
        let moment = self.bars.moment(time);
        let entries = std::mem::take(&mut self.entries);
        let mut soonest: Option<Crotchets> = None;
        for entry in &entries {
            self.sound_entry(entry, time, moment);
            if let (true, Some(column)) = (entry.takes_time, self.columns.get(entry.column)) {
                soonest = Some(soonest.map_or(column.until, |least| least.min(column.until)));
                self.latest = self.latest.max(column.until);
            }
            self.events += entry.subs.len();
        }
        self.now = time;
        self.music = true;
        self.latest = self.latest.max(time);
        self.soonest = soonest.unwrap_or(time);
        self.entries = entries;
    }

    /// Adds the notes of one token at `time`.
    fn sound_entry(&mut self, entry: &Entry, time: Crotchets, moment: Moment) {
        let Some(column) = self.columns.get_mut(entry.column) else { return };
        let Some(number) = column.spine else { return };
        let Some(spine) = self.spines.get_mut(number) else { return };
        let subs = self.parsed.subs.get(entry.subs.clone()).unwrap_or_default();
        let has_notes = subs.iter().any(|sub| sub.kind != Kind::Rest);
        let voice = column.layer.saturating_add(1);
        let Some(leader) = subs.iter().find(|sub| !has_notes || sub.kind != Kind::Rest) else { return };
        let mut length = if leader.grace == Grace::No { leader.duration.map_or(Crotchets::ZERO, |recip| recip.length) } else { Crotchets::ZERO };
        let longest = Crotchets::whole(self.limits.bar_crotchets);
        let absurd = length > longest;
        length = length.min(longest);
        let uneven = subs.iter().any(|sub| sub.kind != Kind::Rest && sub.duration.map(|recip| recip.length) != leader.duration.map(|recip| recip.length));
        let no_duration = leader.grace == Grace::No && leader.duration.is_none();
        let mut lost = Vec::new();
        if entry.takes_time && column.until > time {
            cut_short(spine, column, time);
        }
        let first = u32::try_from(spine.notes.len()).unwrap_or(u32::MAX);
        let mut beams = [0u8; 4];
        for (index, sub) in entry.subs.clone().zip(subs) {
            for (total, own) in beams.iter_mut().zip(sub.beams) {
                *total = total.saturating_add(own);
            }
            let pitch = match sub.kind {
                Kind::Pitched(pitch) | Kind::Unpitched(pitch) => pitch,
                Kind::Rest => continue,
            };
            let first_of_chord = spine.notes.len() == first as usize;
            let mut flags = column.silent;
            flags.set(NoteFlags::CHORD, !first_of_chord);
            if no_duration {
                flags |= NoteFlags::GRACE;
            }
            let mut sub = *sub;
            sub.duration = leader.duration;
            if sub.tremolo_between {
                flags |= if column.tremolo { NoteFlags::TREMOLO_STOP } else { NoteFlags::TREMOLO_START };
            }
            let note = spine.note(moment, &sub, pitch, length, voice, flags);
            for (owner, sign) in self.parsed.signs.get(entry.signs.clone()).unwrap_or_default() {
                if *owner as usize == index {
                    lost.extend(spine.sign(note, *sign));
                }
            }
        }
        if leader.tremolo_between {
            column.tremolo = !column.tremolo;
        }
        if has_notes {
            let open = usize::from(leader.grace != Grace::No);
            if let (Some(open), Some(note)) = (column.beams.get_mut(open), spine.notes.get_mut(first as usize)) {
                note.beams = spine::beams(open, beams);
            }
        } else {
            if entry.takes_time {
                spine.rest(moment, leader, length, voice, column.silent);
            }
            // Beams over rests keep their count.
            if let Some(open) = column.beams.first_mut() {
                let _ = spine::beams(open, beams);
            }
        }
        if entry.takes_time {
            column.onset = time;
            column.until = time + length;
            column.last = (first, u32::try_from(spine.notes.len()).unwrap_or(u32::MAX) - first);
            column.last_rest = (!has_notes).then(|| u32::try_from(spine.rests.len().saturating_sub(1)).unwrap_or(u32::MAX));
        }
        self.report_entry(number, (absurd, uneven, no_duration), &lost);
    }

    fn report_entry(&mut self, spine: usize, (absurd, uneven, no_duration): (bool, bool, bool), lost: &[Unmatched]) {
        if absurd {
            let what = format!("a note or rest lasts longer than {} crotchets", self.limits.bar_crotchets);
            self.find(Severity::Warning, "absurd-duration", Some(spine), what, "It was cut to that length");
        }
        if uneven {
            let hint = "All were given the length of the first; write the others in a sub-spine";
            self.find(Severity::Warning, "chord-lengths", Some(spine), "the notes of a chord have different lengths", hint);
        }
        if no_duration {
            let hint = "A note was taken as a grace note, a rest left out";
            self.find(Severity::Warning, "no-duration", Some(spine), "a note or rest has no duration", hint);
        }
        for lost in lost {
            let what = match lost {
                Unmatched::SlurEnd => "a slur ends that did not begin",
                Unmatched::SlurStart => "too many slurs are open at once; the oldest was dropped",
                Unmatched::Glissando => "a glissando has no beginning",
            };
            self.find(Severity::Note, "slur-unmatched", Some(spine), what, "It was left out");
        }
    }

    fn report_doubts(&mut self, spine: usize, token: &[u8]) {
        let doubts = std::mem::take(&mut self.parsed.doubts);
        for doubt in doubts {
            match doubt {
                Doubt::Unknown(byte) => {
                    if self.is_news(&[byte]) {
                        let what = format!("the signifier {} has no meaning in **kern and the file gives it none", shown(&[byte]));
                        self.find(Severity::Note, "unknown-signifier", Some(spine), what, "It was left out wherever it occurs");
                    }
                }
                Doubt::TwoPitches => {
                    let what = format!("{} has two pitches in one note", shown(token));
                    self.find(Severity::Warning, "two-pitches", Some(spine), what, "The first was taken; separate the notes of a chord by spaces");
                }
                Doubt::Nothing => {
                    let what = format!("{} is neither a note nor a rest", shown(token));
                    self.find(Severity::Warning, "no-note", Some(spine), what, "It was left out");
                }
                Doubt::Duration => {
                    let what = format!("the duration of {} cannot be read", shown(token));
                    self.find(Severity::Warning, "bad-duration", Some(spine), what, "");
                }
            }
        }
    }

    /// Whether this has not been reported as unknown yet.
    fn is_news(&mut self, what: &[u8]) -> bool {
        let news = self.unknown.len() < MOST_UNKNOWN && !self.unknown.iter().any(|known| known == what);
        if news {
            self.unknown.push(what.to_owned());
        }
        news
    }

    /// A token of a spine without notes, on a line with notes or between such lines.
    fn beside(&mut self, number: usize, layer: u16, token: &'a [u8], moment: Moment, with_notes: bool) {
        self.events += 1;
        let Some(spine) = self.spines.get_mut(number) else { return };
        if spine.holds != Holds::Dynamics {
            spine.words.push((moment, layer, token));
            return;
        }
        if layer > 0 {
            return;
        }
        let mut signs = std::mem::take(&mut self.signs);
        signs.clear();
        dynamics::parse(token, &mut signs);
        let has_mark = signs.iter().any(|sign| matches!(sign, dynamics::Sign::Mark(_)));
        for sign in signs.drain(..) {
            let Some(spine) = self.spines.get_mut(number) else { break };
            match sign {
                dynamics::Sign::Mark(mark) => spine.dynamics.push((moment, mark)),
                dynamics::Sign::Words(words) => spine.direct(moment, DirectionKind::Words(words.into())),
                dynamics::Sign::Open(swell) => {
                    for (open, start) in std::mem::take(&mut spine.hairpins) {
                        spine.time_spans.push(TimeSpan { what: Spanning::Hairpin(open), start, stop: moment });
                    }
                    spine.hairpins.push((swell, moment));
                }
                // A hairpin that ends with a note lasts as long as the note, unless a mark stands there too.
                dynamics::Sign::Close(swell) if with_notes && !has_mark => self.closing.push((number, swell)),
                dynamics::Sign::Close(swell) => self.close_hairpin(number, swell, moment),
            }
        }
        self.signs = signs;
    }

    fn close_hairpin(&mut self, number: usize, swell: Swell, stop: Moment) {
        let Some(spine) = self.spines.get_mut(number) else { return };
        let place = spine.hairpins.iter().rposition(|(open, _)| *open == swell).or(spine.hairpins.len().checked_sub(1));
        match place {
            Some(place) => {
                let (swell, start) = spine.hairpins.remove(place);
                spine.time_spans.push(TimeSpan { what: Spanning::Hairpin(swell), start, stop });
            }
            None => self.find(Severity::Note, "hairpin-unmatched", Some(number), "a hairpin ends that did not begin", "It was left out"),
        }
    }

    fn tandem(&mut self, number: usize, layer: u16, token: &'a [u8], time: Crotchets) {
        let moment = self.bars.moment(time);
        let begins = !self.music;
        let tandem = tandem::parse(token);
        let Some(spine) = self.spines.get_mut(number) else { return };
        let notes = spine.holds == Holds::Notes;
        match tandem {
            Tandem::Staves(staves) => spine.staves = staves,
            Tandem::Part(part) => spine.part = Some(part),
            // What follows concerns the staff as a whole, so its first sub-spine speaks for all.
            _ if layer > 0 || !notes => {}
            Tandem::Clef(clef) => {
                spine.percussion = clef.sign == ripieno_score::ClefSign::Percussion;
                spine.change(moment, ChangeKind::Clef(clef));
            }
            Tandem::Signature { fifths, usual } => {
                spine.signature(moment, fifths);
                if !usual {
                    let what = format!("the key signature {} is not one of the usual", shown(token));
                    let hint = format!("It was taken as {} {}", fifths.abs(), if fifths < 0 { "flats" } else { "sharps" });
                    self.find(Severity::Note, "key-signature", Some(number), what, hint);
                }
            }
            Tandem::Key { major, name } => {
                if !spine.key(moment, major) {
                    let words = format!("key: {}", text(name).trim_end_matches(':'));
                    spine.direct(moment, DirectionKind::Other(words.into()));
                }
            }
            Tandem::Metre(metre) => {
                self.assembly.metre = Some(metre.clone());
                spine.change(moment, ChangeKind::Metre(metre));
            }
            Tandem::Tempo(tempo) => self.assembly.tempi.push((moment, tempo)),
            Tandem::TempoWords(words) => {
                let words = (moment, text(words));
                let said = self.assembly.words.iter().rev().take(MOST_COLUMNS).take_while(|(at, _)| *at == moment).any(|other| *other == words);
                if !said {
                    self.assembly.words.push(words);
                }
            }
            Tandem::Transposition(to_written) => spine.transpose(moment, to_written),
            Tandem::Name(name) => Self::name(spine, moment, begins, printed_name(name)),
            Tandem::Abbreviation(name) => {
                if begins {
                    spine.names.abbreviation = printed_name(name);
                }
            }
            Tandem::Code(code) => {
                let code = text(code);
                if begins {
                    spine.names.code = code;
                } else if let Some(name) = super::instruments::name(&code).filter(|_| spine.names.code != code) {
                    spine.names.code = code;
                    Self::name(spine, moment, false, name.to_owned());
                }
            }
            Tandem::Ordinal(ordinal) => spine.names.ordinal = ordinal,
            Tandem::Class(class) => spine.names.class = text(class),
            Tandem::OctaveShift { octaves, open } => spine.octave_shift(moment, octaves, open),
            Tandem::Pedal { down } => spine.direct(moment, DirectionKind::Pedal(if down { Edge::Start } else { Edge::Stop })),
            Tandem::StaffLines(lines) => spine.change(moment, ChangeKind::StaffLines(lines)),
            Tandem::Label(label) => self.sections.label(time, label),
            Tandem::Expansion { variant, labels } => {
                if variant.is_empty() {
                    self.sections.expansion(&labels);
                }
            }
            Tandem::Broken(what) => {
                let what = format!("the {what} {} cannot be read", shown(token));
                self.find(Severity::Warning, "bad-interpretation", Some(number), what, "It was left out");
            }
            Tandem::Unknown => {
                if self.is_news(token) {
                    let what = format!("the interpretation {} is not known", shown(token));
                    self.find(Severity::Note, "unknown-interpretation", Some(number), what, "It was left out wherever it occurs");
                }
            }
            Tandem::Cue(_) | Tandem::Ossia(_) | Tandem::Strophe | Tandem::StropheEnd | Tandem::Ignored => {}
        }
    }

    /// The name of the instrument: the part's at its start, a change of instrument later on.
    fn name(spine: &mut Spine<'a>, moment: Moment, begins: bool, name: String) {
        if begins || spine.names.name.is_empty() && !spine.has_music() {
            spine.names.name = name;
            return;
        }
        let known = (name == spine.label()).then_some(0);
        let known = known.or_else(|| spine.later_instruments.iter().position(|other| *other == name).map(|index| index + 1));
        let index = known.unwrap_or_else(|| {
            spine.later_instruments.push(name);
            spine.later_instruments.len()
        });
        if let Ok(index) = u8::try_from(index) {
            spine.change(moment, ChangeKind::Instrument(index));
        }
    }

    /// Words from a layout comment: `TX:a:t=pizz.`; other layout is of no concern.
    fn words(&mut self, spine: Option<usize>, layout: &[u8], time: Crotchets) {
        let mut keys = layout.split(|&byte| byte == b':');
        let kind = keys.next().unwrap_or_default();
        let (mut words, mut above) = (None, None);
        for key in keys.take(32) {
            match key {
                b"a" => above = Some(true),
                b"b" => above = Some(false),
                _ => words = key.strip_prefix(b"t=").map(text).or(words),
            }
        }
        let Some(words) = words.filter(|words| !words.is_empty()) else { return };
        let moment = self.bars.moment(time);
        let direction = match kind {
            b"TX" => DirectionKind::Words(words.clone().into()),
            b"REH" => DirectionKind::Rehearsal(words.clone().into()),
            _ => return,
        };
        match spine.and_then(|spine| self.spines.get_mut(spine)) {
            Some(spine) => {
                spine.direct(moment, direction);
                if let Some(direction) = spine.directions.last_mut() {
                    direction.above = above;
                }
            }
            None => self.assembly.words.push((moment, words)),
        }
    }

    fn end_section(&mut self) -> Result<(), ReadError> {
        let end = self.latest;
        self.arrive(end)?;
        let moment = self.bars.moment(end);
        for (spine, swell) in std::mem::take(&mut self.closing) {
            self.close_hairpin(spine, swell, moment);
        }
        self.columns.clear();
        let mut spines = std::mem::take(&mut self.spines);
        for spine in &mut spines {
            let unmatched = spine.close(moment);
            if unmatched > 0 {
                let place = Place { file: self.file.to_owned(), part: Some(spine.label()), bar: None, line: None };
                let what = if unmatched == 1 {
                    "a slur or glissando begins that does not end".to_owned()
                } else {
                    format!("{unmatched} slurs or glissandi begin that do not end")
                };
                let hint = "They were left out".to_owned();
                self.findings.push(Finding { severity: Severity::Note, code: "slur-unmatched", place, what, hint });
            }
        }
        if spines.iter().any(|spine| spine.holds == Holds::Notes) {
            self.sections_read += 1;
            self.assembly.add(spines);
            self.sections.section_end(end);
        }
        if self.sections_read > MOST_SECTIONS {
            return Err(self.too_much(format!("the file holds more than {MOST_SECTIONS} pieces")));
        }
        if self.assembly.part_count() > self.limits.parts {
            return Err(self.too_much(format!("the score has more than {} parts", self.limits.parts)));
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Done, ReadError> {
        if self.sections_read == 0 {
            let hint = "Ripieno reads the notes of **kern spines";
            return Err(ReadError::whole_file(self.file, "no-kern", "the file has no **kern spine, so it holds no notes", hint));
        }
        if self.sections_read > 1 {
            let what = format!("the file holds {} pieces or movements one after the other", self.sections_read);
            let hint = "They were read as one score, in order; parts of the same name were joined".to_owned();
            let place = Place { file: self.file.to_owned(), ..Place::default() };
            self.findings.push(Finding { severity: Severity::Note, code: "several-sections", place, what, hint });
        }
        for (_, item) in std::mem::take(&mut self.waiting) {
            // Reference records may stand at the end of the file; a heading there is that of the beginning.
            if let Waiting::Heading(value) = item {
                self.heading(value, Moment::default());
            }
        }
        let about = self.records.about();
        let (bars, section_starts) = self.bars.finish(self.latest);
        let room = self.limits.events.saturating_sub(self.events);
        let mut score = self.assembly.finish(about, (bars, &section_starts), &self.decoration, room, (self.file, &mut self.findings))?;
        self.sections.apply(&mut score, self.file, &mut self.findings);
        Ok(Done { score, findings: self.findings })
    }
}

/// A length as findings say it.
fn in_crotchets(length: Crotchets) -> String {
    if length == Crotchets::ONE { "1 crotchet".to_owned() } else { format!("{length} crotchets") }
}

/// A name on the margin; `\n` in it begins another printed line.
fn printed_name(name: &[u8]) -> String {
    text(name).replace("\\n", " ")
}

fn takes_time(sub: &token::Sub) -> bool {
    sub.grace == Grace::No && sub.duration.is_some()
}

/// Ends the last notes or rest of a column at `time`.
fn cut_short(spine: &mut Spine<'_>, column: &Column, time: Crotchets) {
    let length = (time - column.onset).max(Crotchets::ZERO);
    let (first, count) = column.last;
    for note in spine.notes.iter_mut().skip(first as usize).take(count as usize) {
        if matches!(note.head, Head::Pitched(_) | Head::Unpitched(_)) && !note.flags.contains(NoteFlags::GRACE) {
            note.duration = length;
            (note.value, note.tuplet) = (None, None);
        }
    }
    if let Some(rest) = column.last_rest.and_then(|rest| spine.rests.get_mut(rest as usize)) {
        rest.duration = length;
        (rest.value, rest.tuplet) = (None, None);
    }
}

/// Tokens of a line: separated by a tab, or by several as some editors leave them.
fn fields(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(|&byte| byte == b'\t').map(<[u8]>::trim_ascii).filter(|token| !token.is_empty())
}

/// The number of tokens on the next line that has one for each spine.
fn width_ahead(rest: &[u8]) -> Option<usize> {
    const MOST_LINES: usize = 64;
    let lines = rest.split(|&byte| byte == b'\n' || byte == b'\r').take(MOST_LINES);
    lines.filter(|line| !line.is_empty() && !line.starts_with(b"!!")).map(|line| fields(line).count()).next()
}

/// A token as findings quote it, cut to a readable length.
fn shown(token: &[u8]) -> String {
    const MOST: usize = 40;
    let whole = text(token);
    if whole.chars().count() > MOST { format!("“{}…”", whole.chars().take(MOST).collect::<String>()) } else { format!("“{whole}”") }
}
