//! `<harmony>` and `<figured-bass>`: kept as the text a reader would see.

use std::fmt::Write as _;

use ripieno_score::DirectionKind;

use super::context::Context;
use super::directions::placement;
use super::entities::plain;
use super::number::{Decimal, small};
use super::part_reader::PartReader;
use super::tag::Tag;
use super::text::{accidental, clean};

impl<'x> PartReader<'x> {
    pub(super) fn harmony(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let above = placement(tag);
        let hidden = tag.says("print-object", "no");
        let (mut text, mut offset, mut staff) = (String::new(), None, 1);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "root" => text.push_str(&note_name("root-step", "root-alter", context)),
                "numeral" => text.push_str(&note_name("numeral-root", "numeral-alter", context)),
                "function" => text.push_str(clean(&context.cursor.text()).as_str()),
                "kind" => {
                    let shown = tag.attribute("text").map(|text| clean(&plain(text)));
                    let kind = context.cursor.text();
                    text.push_str(&shown.unwrap_or_else(|| kind_text(kind.trim()).to_owned()));
                }
                "bass" => {
                    let bass = note_name("bass-step", "bass-alter", context);
                    let _ = write!(text, "/{bass}");
                }
                "degree" => degree(&mut text, context),
                "offset" => offset = Decimal::parse(&context.cursor.text()),
                "staff" => staff = small::<u8>(&context.cursor.text()).unwrap_or(1).max(1),
                _ => context.cursor.skip(),
            }
        }
        if context.cursor.fault().is_none() && !hidden && !text.is_empty() {
            let at = self.position(offset);
            self.push_direction(at, staff, None, above, DirectionKind::ChordSymbol(text.into()), context);
        }
    }

    pub(super) fn figured_bass(&mut self, context: &mut Context<'x, '_>) {
        let mut figures: Vec<String> = Vec::new();
        while let Some(tag) = context.cursor.child() {
            if tag.name() != "figure" {
                context.cursor.skip();
                continue;
            }
            let mut figure = String::new();
            while let Some(tag) = context.cursor.child() {
                match tag.name() {
                    "prefix" | "suffix" => figure.push_str(accidental(&context.cursor.text())),
                    "figure-number" => figure.push_str(clean(&context.cursor.text()).as_str()),
                    _ => context.cursor.skip(),
                }
            }
            const MOST: usize = 12;
            if !figure.is_empty() && figures.len() < MOST {
                figures.push(figure);
            }
        }
        if context.cursor.fault().is_none() && !figures.is_empty() {
            let kind = DirectionKind::ChordSymbol(figures.join(" ").into());
            self.push_direction(self.clock.now(), 1, None, Some(false), kind, context);
        }
    }
}

/// A step and its alteration: "B♭".
fn note_name(step: &str, alter: &str, context: &mut Context<'_, '_>) -> String {
    let (mut name, mut sign) = (String::new(), "");
    while let Some(tag) = context.cursor.child() {
        if tag.name() == step {
            name = clean(&context.cursor.text());
        } else if tag.name() == alter {
            sign = match small::<i8>(&context.cursor.text()) {
                Some(1) => "♯",
                Some(2) => "𝄪",
                Some(-1) => "♭",
                Some(-2) => "𝄫",
                _ => "",
            };
        } else {
            context.cursor.skip();
        }
    }
    name + sign
}

/// An added, altered or omitted degree: "(♭9)", "(no3)".
fn degree(text: &mut String, context: &mut Context<'_, '_>) {
    let (mut value, mut sign, mut omitted) = (String::new(), "", false);
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "degree-value" => value = clean(&context.cursor.text()),
            "degree-alter" => {
                sign = match small::<i8>(&context.cursor.text()) {
                    Some(1) => "♯",
                    Some(-1) => "♭",
                    _ => "",
                }
            }
            "degree-type" => omitted = context.cursor.text().trim() == "subtract",
            _ => context.cursor.skip(),
        }
    }
    const LONGEST: usize = 200;
    if text.len() < LONGEST {
        let _ = write!(text, "({}{sign}{value})", if omitted { "no" } else { "" });
    }
}

/// The usual letters for a kind of chord, when the file gives no text of its own.
fn kind_text(kind: &str) -> &str {
    match kind {
        "major" | "" => "",
        "minor" => "m",
        "augmented" => "+",
        "diminished" => "dim",
        "dominant" => "7",
        "major-seventh" => "maj7",
        "minor-seventh" => "m7",
        "diminished-seventh" => "dim7",
        "augmented-seventh" => "+7",
        "half-diminished" => "m7♭5",
        "major-minor" => "m(maj7)",
        "major-sixth" => "6",
        "minor-sixth" => "m6",
        "dominant-ninth" => "9",
        "major-ninth" => "maj9",
        "minor-ninth" => "m9",
        "dominant-11th" => "11",
        "major-11th" => "maj11",
        "minor-11th" => "m11",
        "dominant-13th" => "13",
        "major-13th" => "maj13",
        "minor-13th" => "m13",
        "suspended-second" => "sus2",
        "suspended-fourth" => "sus4",
        "power" => "5",
        "none" => "N.C.",
        other => other,
    }
}
