//! Small helpers for writing SVG.

use std::fmt::Write;

use crate::palette::{Weave, look};
use ripieno_texture::Role;

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
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Pattern definitions for all textured roles.
pub(crate) fn patterns() -> String {
    let mut out = String::from("<defs>");
    for role in Role::ALL {
        let Some(look) = look(role) else { continue };
        let strokes = match look.weave {
            Weave::Plain => continue,
            Weave::Rising => "M-1 1l2-2M0 6l6-6M5 7l2-2",
            Weave::Falling => "M-1 5l2 2M0 0l6 6M5-1l2 2",
            Weave::Upright => "M1.5 0v6M4.5 0v6",
            Weave::Level => "M0 1.5h6M0 4.5h6",
            Weave::Dots => "M1 1h1.2v1.2h-1.2zM4 4h1.2v1.2h-1.2z",
            Weave::Crossed => "M0 0l6 6M6 0l-6 6",
        };
        let _ = write!(
            out,
            "<pattern id=\"weave-{}\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 0h6v6h-6z\" fill=\"{}\"/>\
<path d=\"{strokes}\" fill=\"none\" stroke=\"{}\" stroke-width=\"0.9\"/></pattern>",
            role.name(),
            look.fill,
            look.ink
        );
    }
    out.push_str("</defs>");
    out
}
