//! The list of parts: names, instruments, and the brackets over them.

use ripieno_score::{Bracket, Part, PartInstrument};

use super::context::{At, Context};
use super::entities::plain;
use super::number::small;
use super::tag::Tag;
use super::text::{accidental, clean};

/// The parts announced, in the order of the page.
#[derive(Default)]
pub(super) struct PartList {
    pub parts: Vec<Part>,
    pub brackets: Vec<Bracket>,
    open: Vec<OpenGroup>,
}

/// A group whose end has not been met.
struct OpenGroup {
    number: String,
    first: usize,
    name: String,
    symbol: String,
}

impl PartList {
    /// Reads `<part-list>`.
    pub fn read(&mut self, context: &mut Context<'_, '_>) {
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "score-part" => self.score_part(tag, context),
                "part-group" => self.part_group(tag, context),
                _ => context.cursor.skip(),
            }
            if context.cursor.fault().is_some() {
                break;
            }
        }
        // A group without an end reaches down to the last part.
        while let Some(group) = self.open.pop() {
            self.close(group);
        }
        self.brackets.sort_by_key(|bracket| (bracket.first, std::cmp::Reverse(bracket.last)));
    }

    fn score_part(&mut self, tag: Tag<'_>, context: &mut Context<'_, '_>) {
        let mut part = Part { id: plain(tag.attribute("id").unwrap_or_default()).trim().to_owned(), ..Part::default() };
        let (mut displayed, mut displayed_short) = (String::new(), String::new());
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "part-name" => part.name = clean(&context.cursor.text()),
                "part-name-display" => displayed = display(context),
                "part-abbreviation" => part.abbreviation = clean(&context.cursor.text()),
                "part-abbreviation-display" => displayed_short = display(context),
                "score-instrument" => score_instrument(&mut part, tag, context),
                "midi-instrument" => midi_instrument(&mut part, tag, context),
                _ => context.cursor.skip(),
            }
        }
        if !displayed.is_empty() {
            part.name = displayed;
        }
        if !displayed_short.is_empty() {
            part.abbreviation = displayed_short;
        }
        if self.parts.len() >= context.limits.parts {
            context.cursor.stop(format!("the score has more than the {} parts allowed", context.limits.parts));
            return;
        }
        if self.parts.iter().any(|other| other.id == part.id) {
            let what = format!("two parts of the list have the id {:?}", part.id);
            context.warn(
                At { part: &part.name, bar: "" },
                "duplicate-part",
                what,
                "They were kept apart in the order of the file",
            );
        }
        self.parts.push(part);
    }

    fn part_group(&mut self, tag: Tag<'_>, context: &mut Context<'_, '_>) {
        let number = tag.attribute("number").unwrap_or("1").trim().to_owned();
        let starts = !tag.says("type", "stop");
        let (mut name, mut displayed, mut symbol) = (String::new(), String::new(), String::new());
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "group-name" => name = clean(&context.cursor.text()),
                "group-name-display" => displayed = display(context),
                "group-symbol" => symbol = clean(&context.cursor.text()),
                _ => context.cursor.skip(),
            }
        }
        if let Some(place) = self.open.iter().rposition(|group| group.number == number) {
            let group = self.open.remove(place);
            self.close(group);
        }
        if starts && self.open.len() < context.limits.depth {
            let name = if displayed.is_empty() { name } else { displayed };
            self.open.push(OpenGroup { number, first: self.parts.len(), name, symbol });
        }
    }

    fn close(&mut self, group: OpenGroup) {
        if let Some(last) = self.parts.len().checked_sub(1).filter(|&last| last >= group.first) {
            self.brackets.push(Bracket { first: group.first, last, name: group.name, symbol: group.symbol });
        }
    }
}

/// The text of a display form: pieces of text and accidentals, as printed.
fn display(context: &mut Context<'_, '_>) -> String {
    let mut whole = String::new();
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "display-text" => whole.push_str(&context.cursor.text()),
            "accidental-text" => whole.push_str(accidental(&context.cursor.text())),
            _ => context.cursor.skip(),
        }
    }
    clean(&whole)
}

fn score_instrument(part: &mut Part, tag: Tag<'_>, context: &mut Context<'_, '_>) {
    let id = plain(tag.attribute("id").unwrap_or_default()).trim().to_owned();
    let mut instrument = PartInstrument { id, ..PartInstrument::default() };
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "instrument-name" => instrument.name = clean(&context.cursor.text()),
            "instrument-sound" => instrument.sound = clean(&context.cursor.text()),
            "solo" => {
                context.cursor.skip();
                instrument.ensemble = Some(1);
            }
            // An empty <ensemble/> is a section of unknown size.
            "ensemble" => instrument.ensemble = Some(small(&context.cursor.text()).unwrap_or(0)),
            _ => context.cursor.skip(),
        }
    }
    const INSTRUMENTS_KEPT: usize = 255;
    if part.instruments.len() < INSTRUMENTS_KEPT {
        part.instruments.push(instrument);
    }
}

fn midi_instrument(part: &mut Part, tag: Tag<'_>, context: &mut Context<'_, '_>) {
    let id = plain(tag.attribute("id").unwrap_or_default());
    let (mut channel, mut program, mut key) = (None, None, None);
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "midi-channel" => channel = small::<u8>(&context.cursor.text()).filter(|c| (1..=16).contains(c)),
            "midi-program" => program = small::<u8>(&context.cursor.text()).filter(|p| (1..=128).contains(p)),
            // Counted from 1 in MusicXML, from 0 on the wire.
            "midi-unpitched" => key = small::<u8>(&context.cursor.text()).and_then(|k| k.checked_sub(1)).filter(|&k| k < 128),
            _ => context.cursor.skip(),
        }
    }
    if let Some(instrument) = part.instruments.iter_mut().find(|instrument| instrument.id == id.trim()) {
        instrument.channel = channel.or(instrument.channel);
        instrument.program = program.or(instrument.program);
        instrument.drum_key = key.or(instrument.drum_key);
    }
}
