//! `<barline>`: repeats, endings, styles.

use ripieno_score::Jump;

use super::context::Context;
use super::entities::plain;
use super::number::small;
use super::part_reader::{Fact, PartReader};
use super::tag::Tag;

/// The side of the bar a barline stands on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Middle,
    Right,
}

impl<'x> PartReader<'x> {
    pub(super) fn barline(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let side = match tag.attribute("location").map(str::trim) {
            Some("left") => Side::Left,
            Some("middle") => Side::Middle,
            _ => Side::Right,
        };
        for (key, value) in tag.attributes() {
            match key {
                "segno" => self.facts.push((self.bar.0, Fact::Jump(Jump::Segno(plain(value).trim().into())))),
                "coda" => self.facts.push((self.bar.0, Fact::Jump(Jump::Coda(plain(value).trim().into())))),
                _ => {}
            }
        }
        while let Some(tag) = context.cursor.child() {
            context.count_event();
            match tag.name() {
                "bar-style" => {
                    let style = context.cursor.text();
                    let style = style.trim();
                    if side == Side::Right && style != "regular" && !style.is_empty() {
                        self.fact(Fact::Barline(style.into()));
                    }
                }
                "repeat" => self.repeat(tag, side, context),
                "ending" => self.ending(tag, side, context),
                "segno" | "coda" => {
                    context.cursor.skip();
                    let bar = self.bar.0.saturating_add(u32::from(side == Side::Right));
                    let jump = if tag.name() == "segno" { Jump::Segno("".into()) } else { Jump::Coda("".into()) };
                    self.facts.push((bar, Fact::Jump(jump)));
                }
                _ => context.cursor.skip(),
            }
        }
    }

    fn repeat(&mut self, tag: Tag<'x>, side: Side, context: &mut Context<'x, '_>) {
        context.cursor.skip();
        let bar = self.bar.0;
        let times = match tag.attribute("times") {
            Some(text) => small::<u8>(text).filter(|&times| times >= 1).unwrap_or_else(|| {
                self.warn(context, "bad-repeat", "a repeat is to be played an impossible number of times", "Twice was assumed");
                2
            }),
            None => 2,
        };
        match (tag.attribute("direction").map(str::trim), side) {
            (_, Side::Middle) => {
                let what = "a repeat sign stands inside a bar";
                self.warn(context, "repeat-inside-bar", what, "It was left out; divide the bar there if it is to be followed");
            }
            (Some("forward"), Side::Left) => self.facts.push((bar, Fact::RepeatStart)),
            (Some("forward"), Side::Right) => self.facts.push((bar.saturating_add(1), Fact::RepeatStart)),
            (Some("backward"), Side::Right) => self.facts.push((bar, Fact::RepeatEnd(times))),
            (Some("backward"), Side::Left) if bar > 0 => self.facts.push((bar - 1, Fact::RepeatEnd(times))),
            _ => self.warn(context, "bad-repeat", "a repeat sign has no direction that makes sense", "It was left out"),
        }
    }

    fn ending(&mut self, tag: Tag<'x>, side: Side, context: &mut Context<'x, '_>) {
        let text = context.cursor.text();
        let bar = self.bar.0;
        let from_left = side == Side::Left;
        match tag.attribute("type").map(str::trim) {
            Some("start") => {
                let numbers = tag.attribute("number").map(endings).filter(|numbers| !numbers.is_empty());
                let Some(numbers) = numbers.or_else(|| Some(endings(&text)).filter(|numbers| !numbers.is_empty())) else {
                    self.warn(context, "bad-ending", "an ending has no number", "It was left out");
                    return;
                };
                self.facts.push((bar.saturating_add(u32::from(!from_left)), Fact::EndingStart(numbers)));
            }
            Some("stop" | "discontinue") => self.facts.push((bar.saturating_sub(u32::from(from_left)), Fact::EndingStop)),
            _ => self.warn(context, "bad-ending", "an ending neither starts nor stops", "It was left out"),
        }
    }
}

/// The numbers of an ending: "1", "1, 2", "1-3", "2.".
fn endings(text: &str) -> Vec<u8> {
    const MOST: usize = 32;
    let mut numbers = Vec::new();
    for piece in
        text.split([',', ' ', ';', '+']).map(|piece| piece.trim_matches('.')).filter(|piece| !piece.is_empty()).take(MOST)
    {
        let (from, to) = piece.split_once('-').unwrap_or((piece, piece));
        if let (Some(from), Some(to)) = (small::<u8>(from.trim_matches('.')), small::<u8>(to.trim_matches('.'))) {
            numbers.extend((from.max(1)..=to).take(MOST));
        }
    }
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endings_may_be_lists_and_ranges() {
        for (text, numbers) in [
            ("1", vec![1]),
            ("1, 2", vec![1, 2]),
            ("1-3", vec![1, 2, 3]),
            ("2.", vec![2]),
            ("1. 2.", vec![1, 2]),
            ("", vec![]),
            ("x", vec![]),
        ] {
            assert_eq!(endings(text), numbers, "{text}");
        }
    }
}
