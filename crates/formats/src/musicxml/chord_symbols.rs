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
        context.count_event();
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
            self.push_direction(at, staff, None, above, DirectionKind::ChordSymbol(text.into()));
        }
    }

    pub(super) fn figured_bass(&mut self, context: &mut Context<'x, '_>) {
        context.count_event();
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
            self.push_direction(self.clock.now(), 1, None, Some(false), kind);
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

/// The kinds of chord MusicXML names, and their usual letters.
const KINDS: [(&str, &str); 26] = [
    ("major", ""),
    ("minor", "m"),
    ("augmented", "+"),
    ("diminished", "dim"),
    ("dominant", "7"),
    ("major-seventh", "maj7"),
    ("minor-seventh", "m7"),
    ("diminished-seventh", "dim7"),
    ("augmented-seventh", "+7"),
    ("half-diminished", "m7♭5"),
    ("major-minor", "m(maj7)"),
    ("major-sixth", "6"),
    ("minor-sixth", "m6"),
    ("dominant-ninth", "9"),
    ("major-ninth", "maj9"),
    ("minor-ninth", "m9"),
    ("dominant-11th", "11"),
    ("major-11th", "maj11"),
    ("minor-11th", "m11"),
    ("dominant-13th", "13"),
    ("major-13th", "maj13"),
    ("minor-13th", "m13"),
    ("suspended-second", "sus2"),
    ("suspended-fourth", "sus4"),
    ("power", "5"),
    ("none", "N.C."),
];

/// The usual letters for a kind of chord, when the file gives no text of its own.
fn kind_text(kind: &str) -> &str {
    KINDS.iter().find(|(name, _)| *name == kind).map_or(kind, |(_, text)| text)
}

/// MusicXML's name for the kind of chord these letters usually stand for; "other" where they name none.
pub(super) fn kind_named(text: &str) -> &'static str {
    KINDS.iter().find(|(_, letters)| *letters == text).map_or("other", |(name, _)| name)
}

/// A chord symbol taken apart again.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Symbol<'t> {
    /// Letter and semitones of alteration.
    pub root: (char, i8),
    pub kind: &'t str,
    pub bass: Option<(char, i8)>,
}

impl<'t> Symbol<'t> {
    /// Takes a text apart; `None` for those that do not begin with a note: functions, figured bass, "N.C.".
    pub fn of(text: &'t str) -> Option<Self> {
        let (root, rest) = note_in(text)?;
        let with_bass =
            rest.rsplit_once('/').and_then(|(kind, bass)| Some((kind, note_in(bass).filter(|bass| bass.1.is_empty())?.0)));
        Some(match with_bass {
            Some((kind, bass)) => Self { root, kind, bass: Some(bass) },
            None => Self { root, kind: rest, bass: None },
        })
    }
}

/// The note a text begins with, as [`note_name`] writes it, and what follows.
fn note_in(text: &str) -> Option<((char, i8), &str)> {
    let letter = text.chars().next().filter(|letter| ('A'..='G').contains(letter))?;
    let rest = text.get(1..)?;
    let signs = [("♯", 1), ("𝄪", 2), ("♭", -1), ("𝄫", -2)];
    let sign = signs.iter().find_map(|&(sign, alter)| Some((alter, rest.strip_prefix(sign)?)));
    let (alter, rest) = sign.unwrap_or((0, rest));
    Some(((letter, alter), rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_are_taken_apart() {
        let symbol = |root, kind, bass| Some(Symbol { root, kind, bass });
        assert_eq!(Symbol::of("C"), symbol(('C', 0), "", None));
        assert_eq!(Symbol::of("B♭m7♭5/A♭"), symbol(('B', -1), "m7♭5", Some(('A', -1))));
        assert_eq!(Symbol::of("F♯7(♭9)"), symbol(('F', 1), "7(♭9)", None));
        assert_eq!(Symbol::of("G6/9"), symbol(('G', 0), "6/9", None));
        for text in ["N.C.", "6 4", "", "V7", "♭II"] {
            assert_eq!(Symbol::of(text), None, "{text}");
        }
    }

    #[test]
    fn each_kind_has_letters_of_its_own() {
        for (name, text) in KINDS {
            assert_eq!((kind_text(name), kind_named(text)), (text, name));
        }
        assert_eq!((kind_text(""), kind_named("blue")), ("", "other"));
    }
}
