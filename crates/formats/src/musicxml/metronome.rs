//! `<metronome>`: a number of beats a minute, or how an old beat leads to a new one.

use ripieno_score::{DirectionKind, NoteValue};

use super::context::Context;
use super::note::halvings;
use super::number::Decimal;
use super::sound::sensible_tempo;
use super::tag::Tag;
use super::text::clean;

/// A metronome mark as its elements are met.
#[derive(Default)]
pub(super) struct Metronome {
    beats: Vec<NoteValue>,
    per_minute: Option<String>,
    hidden: bool,
    parentheses: bool,
}

impl Metronome {
    pub fn read(tag: Tag<'_>, context: &mut Context<'_, '_>) -> Self {
        let mut mark =
            Self { hidden: tag.says("print-object", "no"), parentheses: tag.says("parentheses", "yes"), ..Self::default() };
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "beat-unit" => mark.beat(&context.cursor.text()),
                "beat-unit-dot" => {
                    context.cursor.skip();
                    mark.dot();
                }
                "per-minute" => mark.per_minute = Some(clean(&context.cursor.text())),
                "metronome-note" => mark.note(context),
                // Tied beats, tuplets and arrows: shown, not needed to say which beat becomes which.
                _ => context.cursor.skip(),
            }
        }
        mark
    }

    fn beat(&mut self, text: &str) {
        const MOST: usize = 8;
        if let (Some(halvings), true) = (halvings(text), self.beats.len() < MOST) {
            self.beats.push(NoteValue { halvings, dots: 0 });
        }
    }

    fn dot(&mut self) {
        if let Some(beat) = self.beats.last_mut() {
            beat.dots = beat.dots.saturating_add(1).min(4);
        }
    }

    fn note(&mut self, context: &mut Context<'_, '_>) {
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "metronome-type" => self.beat(&context.cursor.text()),
                "metronome-dot" => {
                    context.cursor.skip();
                    self.dot();
                }
                _ => context.cursor.skip(),
            }
        }
    }

    /// The direction this is; `None` when it says nothing that can be read.
    pub fn kind(&self) -> Option<DirectionKind> {
        let beat = *self.beats.first()?;
        if let Some(text) = &self.per_minute {
            let Some(per_minute) = number_in(text).filter(|&number| sensible_tempo(number)) else {
                // "♩ = come prima": words, not a number.
                let shown: String = text.chars().take(80).collect();
                return (!text.is_empty()).then(|| DirectionKind::Words(format!("{} = {shown}", sign(beat)).into()));
            };
            if self.hidden {
                let crotchets_per_minute = per_minute * beat.length().to_f64();
                return Some(DirectionKind::PlaybackTempo { crotchets_per_minute });
            }
            let plain = Decimal::parse(text).is_some() && !self.parentheses;
            let shown = if self.parentheses { format!("({text})") } else { text.clone() };
            return Some(DirectionKind::Metronome { beat, per_minute, text: (!plain).then(|| shown.into()) });
        }
        let words: Vec<String> = self.beats.iter().map(|&beat| sign(beat)).collect();
        (words.len() > 1).then(|| DirectionKind::Words(words.join(" = ").into()))
    }
}

/// The number in "120", "ca. 120"; the middle of a range such as "96-104".
fn number_in(text: &str) -> Option<f64> {
    let mut numbers = text
        .split(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
        .map(|piece| piece.trim_matches(['.', ',']).replace(',', "."))
        .filter_map(|piece| Decimal::parse(&piece))
        .map(Decimal::to_f64);
    let first = numbers.next()?;
    Some(numbers.next().map_or(first, |second| f64::midpoint(first, second)))
}

/// A note value as a character, dots behind it.
fn sign(value: NoteValue) -> String {
    let note = match value.halvings {
        ..=-1 => "𝅜",
        0 => "𝅝",
        1 => "𝅗𝅥",
        2 => "♩",
        3 => "♪",
        4 => "𝅘𝅥𝅯",
        _ => "𝅘𝅥𝅰",
    };
    format!("{note}{}", ".".repeat(usize::from(value.dots)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_words() {
        for (text, number) in
            [("120", Some(120.0)), ("ca. 66", Some(66.0)), ("96-104", Some(100.0)), ("c.72,5", Some(72.5)), ("fast", None)]
        {
            assert_eq!(number_in(text), number, "{text}");
        }
    }
}
