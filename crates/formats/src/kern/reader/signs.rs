//! What stands beside the notes: dynamics, tandem interpretations, printed words.

use ripieno_score::{ChangeKind, ClefSign, Crotchets, DirectionKind, Edge, Swell};

use super::report::shown;
use super::{MOST_COLUMNS, Reader};
use crate::Severity;
use crate::kern::spine::{Holds, Moment, Spanning, Spine, TimeSpan};
use crate::kern::tandem::{self, Tandem};
use crate::kern::text::text;
use crate::kern::{dynamics, instruments, tempo};

impl<'a> Reader<'a> {
    /// A tempo heading, such as `Allegro [quarter] = 132`.
    pub(super) fn heading(&mut self, value: &[u8], moment: Moment) {
        let words = text(value);
        let (words, metronome) = tempo::split(&words);
        if let Some((beat, per_minute)) = metronome {
            self.assembly.metronomes.push((moment, beat, per_minute));
        }
        if !words.is_empty() {
            self.assembly.words.push((moment, words.to_owned()));
        }
    }

    /// A token of a spine without notes, on a line with notes or between such lines.
    pub(super) fn beside(&mut self, number: usize, layer: u16, token: &'a [u8], moment: Moment, with_notes: bool) {
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

    pub(super) fn close_hairpin(&mut self, number: usize, swell: Swell, stop: Moment) {
        let Some(spine) = self.spines.get_mut(number) else { return };
        let place = spine.hairpins.iter().rposition(|(open, _)| *open == swell).or(spine.hairpins.len().checked_sub(1));
        match place {
            Some(place) => {
                let (swell, start) = spine.hairpins.remove(place);
                spine.time_spans.push(TimeSpan { what: Spanning::Hairpin(swell), start, stop });
            }
            None => self.find(
                Severity::Note,
                "hairpin-unmatched",
                Some(number),
                "a hairpin ends that did not begin",
                "It was left out",
            ),
        }
    }

    pub(super) fn tandem(&mut self, number: usize, layer: u16, token: &'a [u8], time: Crotchets) {
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
                spine.percussion = clef.sign == ClefSign::Percussion;
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
                let said = self
                    .assembly
                    .words
                    .iter()
                    .rev()
                    .take(MOST_COLUMNS)
                    .take_while(|(at, _)| *at == moment)
                    .any(|other| *other == words);
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
                } else if let Some(name) = instruments::name(&code).filter(|_| spine.names.code != code) {
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
    pub(super) fn name(spine: &mut Spine<'a>, moment: Moment, begins: bool, name: String) {
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
    pub(super) fn words(&mut self, spine: Option<usize>, layout: &[u8], time: Crotchets) {
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
}

/// A name on the margin; `\n` in it begins another printed line.
pub(super) fn printed_name(name: &[u8]) -> String {
    text(name).replace("\\n", " ")
}
