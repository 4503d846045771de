//! Small helpers for writing SVG.

use std::fmt::Write;

use crate::palette::{Weave, look};
use ripieno_texture::Role;

/// Width of a letter of the pictures' text, on average, in pixels at 11 pixels height.
pub(crate) const CHARACTER: f64 = 6.1;
/// Longest name at the left, in letters.
pub(crate) const LONGEST_NAME: usize = 30;

/// Appends text with markup escaped.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A coordinate with at most two decimals: exact enough for print, and the same text everywhere.
pub(crate) fn px(value: f64) -> String {
    number(value, 2)
}

/// A place or width as a percentage of the field, fine enough for thousands of bars.
pub(crate) fn percent(share: f64) -> String {
    format!("{}%", number(share * 100.0, 3))
}

fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A text of at most so many letters, with an ellipsis where it was longer.
pub(crate) fn shortened(text: &str, letters: usize) -> String {
    if text.chars().count() <= letters {
        return text.to_owned();
    }
    let kept: String = text.chars().take(letters.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// The room names at the left take.
#[allow(clippy::cast_precision_loss)] // letters of a name
pub(crate) fn room_for<'a>(names: impl Iterator<Item = &'a str>) -> f64 {
    let longest = names.map(|name| name.chars().count()).max().unwrap_or(0).min(LONGEST_NAME);
    longest as f64 * CHARACTER + 14.0
}

/// Opens a picture as wide as its surroundings. Percentages count the field right of the names, which stand left of its zero.
pub(crate) fn open(class: &str, data: &str, title: &str, left: f64, height: f64) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"{class}\"{data} role=\"img\" height=\"{}\" overflow=\"visible\" \
style=\"margin-left:{left}px;width:calc(100% - {}px)\" font-family=\"system-ui, sans-serif\" font-size=\"11\"><title>{}</title>",
        px(height),
        px(left + 14.0),
        escaped(title),
        left = px(left),
    )
}

/// An empty picture that holds the textures of all roles; a page needs it once, before maps and legends.
#[must_use]
pub fn definitions() -> String {
    let mut out = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"0\" height=\"0\" style=\"position:absolute\" aria-hidden=\"true\"><defs>",
    );
    for role in Role::ALL {
        let Some(look) = look(role) else { continue };
        let strokes = match look.weave {
            Weave::Plain => continue,
            Weave::Rising => "M-1 1l2-2M0 6l6-6M5 7l2-2",
            Weave::Falling => "M-1 5l2 2M0 0l6 6M5-1l2 2",
            Weave::Upright => "M1.5 0v6M4.5 0v6",
            Weave::Level => "M0 1.5h6M0 4.5h6",
            Weave::Bands => "M0 1h6M0 2h6M0 3h6",
            Weave::Dots => "M1 1h1.2v1.2h-1.2zM4 4h1.2v1.2h-1.2z",
            Weave::Crossed => "M0 0l6 6M6 0l-6 6",
        };
        let _ = write!(
            out,
            "<pattern id=\"weave-{}\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 0h6v6h-6z\" fill=\"{}\"/>\
<path d=\"{strokes}\" fill=\"none\" stroke=\"{}\" stroke-width=\"1\"/></pattern>",
            role.name(),
            look.fill,
            look.ink
        );
    }
    out.push_str("</defs></svg>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_the_zeros_that_count() {
        assert_eq!([px(100.0), px(0.5), px(12.345), percent(0.5), percent(1.0)], ["100", "0.5", "12.35", "50%", "100%"]);
    }

    #[test]
    fn long_texts_are_cut_at_letters() {
        assert_eq!(shortened("Größe", 5), "Größe");
        assert_eq!(shortened("Größer", 5), "Größ…");
    }
}
