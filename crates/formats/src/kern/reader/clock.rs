//! Lines of data: when they sound, what waits for them, and the notes they begin.
//!
//! Tokens on one line are simultaneous. A line with notes falls at the moment its spines' previous notes end; where they
//! disagree, the moment most of them name counts (the later one if it is a tie), notes that reach beyond it are cut, and the
//! disagreement is reported. Barlines and interpretations fall where the next line with notes does. Lines on which only
//! other spines say something (a dynamic in the middle of a long note) divide the time around them evenly.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Head, Metre, NoteFlags};

use super::report::in_crotchets;
use super::{Entry, Reader, Waiting, fields};
use crate::kern::barline::{self, Barline};
use crate::kern::columns::Column;
use crate::kern::spine::{self, Holds, Moment, Spine};
use crate::kern::token::{self, Grace, Kind};
use crate::{ReadError, Severity};

impl<'a> Reader<'a> {
    pub(super) fn data(&mut self, line: &'a [u8]) -> Result<(), ReadError> {
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
            self.find(
                Severity::Warning,
                "barline-beside-notes",
                None,
                "a barline stands in some spines beside notes in others",
                hint,
            );
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
    pub(super) fn time_of_line(&mut self) -> Crotchets {
        let timed = self.entries.iter().any(|entry| entry.takes_time);
        let ends = || {
            let entries = self.entries.iter().filter(|entry| entry.takes_time == timed);
            entries
                .filter_map(|entry| self.columns.get(entry.column))
                .map(|column| column.until)
                .filter(|&until| until >= self.now)
        };
        let Some(first) = ends().next() else { return self.soonest.max(self.now) };
        if ends().all(|until| until == first) {
            return first;
        }
        // They disagree: the moment most of them name, or of equally many the latest.
        let mut votes: BTreeMap<Crotchets, usize> = BTreeMap::new();
        for until in ends() {
            *votes.entry(until).or_default() += 1;
        }
        let time = votes.iter().max_by_key(|(until, votes)| (**votes, **until)).map_or(first, |(until, _)| *until);
        let odd = self.entries.iter().find(|entry| {
            entry.takes_time == timed
                && self.columns.get(entry.column).is_some_and(|column| column.until >= self.now && column.until != time)
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
            let hint = if until > time {
                "The notes were cut; check their durations"
            } else {
                "The gap was left empty; check the durations before it"
            };
            self.find(Severity::Warning, "spines-disagree", spine, what, hint);
        }
        time
    }

    /// Brings what has been waiting to its place, now that the next line with notes is known to sound at `time`.
    pub(super) fn arrive(&mut self, time: Crotchets) -> Result<(), ReadError> {
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
        let belongs_later =
            |index: usize, item: &Waiting<'a>| last_barline.is_some_and(|last| index < last) && item.looks_ahead();
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
    pub(super) fn settle(&mut self, item: Waiting<'a>, time: Crotchets) {
        match item {
            Waiting::Tandem { spine, layer, token } => self.tandem(spine, layer, token, time),
            Waiting::Words { spine, layout } => self.words(spine, layout, time),
            Waiting::Heading(value) => self.heading(value, self.bars.moment(time)),
            Waiting::Barline(_) | Waiting::Beside { .. } => {}
        }
    }

    pub(super) fn barline_time(&self, barline: &Barline, time: Crotchets, more: bool) -> Crotchets {
        match self.assembly.metre.as_ref().and_then(Metre::length) {
            Some(length) if more && !barline.number.is_empty() => (self.bars.start() + length).max(self.now).min(time),
            _ => time,
        }
    }

    /// Reports spines that ended before the barline at `time`.
    pub(super) fn check_ends(&mut self, time: Crotchets) {
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
            self.find(
                Severity::Warning,
                "bar-short",
                Some(spine),
                what,
                "The gap was left empty; check the durations, or a missing rest",
            );
        }
    }

    /// A barline; where notes sound on through `more` of them, each closes a bar of the metre's length.
    pub(super) fn barline(&mut self, token: &[u8], time: Crotchets, more: bool) {
        let barline = barline::parse(token);
        let at = self.barline_time(&barline, time, more);
        self.bars.barline(at, &barline);
        if barline.fermata {
            self.assembly.fermatas.push(self.bars.moment(at));
        }
    }

    pub(super) fn sound(&mut self, time: Crotchets) {
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
    pub(super) fn sound_entry(&mut self, entry: &Entry, time: Crotchets, moment: Moment) {
        let Some(column) = self.columns.get_mut(entry.column) else { return };
        let Some(number) = column.spine else { return };
        let Some(spine) = self.spines.get_mut(number) else { return };
        let subs = self.parsed.subs.get(entry.subs.clone()).unwrap_or_default();
        let has_notes = subs.iter().any(|sub| sub.kind != Kind::Rest);
        let voice = column.layer.saturating_add(1);
        let Some(leader) = subs.iter().find(|sub| !has_notes || sub.kind != Kind::Rest) else { return };
        let mut length = if leader.grace == Grace::No {
            leader.duration.map_or(Crotchets::ZERO, |recip| recip.length)
        } else {
            Crotchets::ZERO
        };
        let longest = Crotchets::whole(self.limits.bar_crotchets);
        let absurd = length > longest;
        length = length.min(longest);
        let uneven = subs.iter().any(|sub| {
            sub.kind != Kind::Rest && sub.duration.map(|recip| recip.length) != leader.duration.map(|recip| recip.length)
        });
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
}

pub(super) fn takes_time(sub: &token::Sub) -> bool {
    sub.grace == Grace::No && sub.duration.is_some()
}

/// Ends the last notes or rest of a column at `time`.
pub(super) fn cut_short(spine: &mut Spine<'_>, column: &Column, time: Crotchets) {
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
