//! A picture as a document of its own: a sheet of fixed width with a heading and a key, for those who take it elsewhere.

use std::fmt::Write;

use crate::palette::fill;
use crate::svg::{CHARACTER, definitions, escaped, px};
use ripieno_texture::Role;

/// Margin on all sides, in pixels.
const MARGIN: f64 = 24.0;
/// Height of a line of text.
const LINE: f64 = 20.0;

/// A sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// SVG text that needs nothing beside it.
    pub svg: String,
    /// Width in pixels.
    pub width: f64,
    /// Height in pixels.
    pub height: f64,
}

/// What a fill means, for the key below a picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key {
    /// SVG fill: a colour, or a texture of [`definitions`].
    pub fill: String,
    /// The word.
    pub word: String,
}

impl Key {
    /// Of a colour.
    #[must_use]
    pub fn new(fill: &str, word: &str) -> Self {
        Self { fill: fill.to_owned(), word: word.to_owned() }
    }

    /// Of all roles that are drawn.
    #[must_use]
    pub fn roles() -> Vec<Self> {
        let drawn = Role::ALL.into_iter().filter(|role| *role != Role::Tacet);
        drawn.map(|role| Self { fill: fill(role), word: role.name().to_owned() }).collect()
    }
}

/// Puts a picture of this crate on white paper `width` pixels wide, under a heading, with a key below it. `None` where
/// `picture` is no picture of this crate.
#[must_use]
pub fn sheet(picture: &str, heading: &str, keys: &[Key], width: f64) -> Option<Sheet> {
    // Pictures say how far their field lies from the left and how high they are (`svg::open`).
    let between = |from: &str, to: char| picture.split_once(from)?.1.split(to).next()?.parse::<f64>().ok();
    let (left, tall) = (between("margin-left:", 'p')?, between(" height=\"", '"')?);
    let style_at = picture.find(" style=\"")?;
    let style_end = style_at + 8 + picture[style_at + 8..].find('"')? + 1;
    let key = key(keys, width - 2.0 * MARGIN);
    let top = MARGIN + LINE + 8.0;
    let below = top + tall + 10.0;
    let height = below + key.1 + MARGIN;
    let field = (width - 2.0 * MARGIN - left - 14.0).max(50.0);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}px\" height=\"{h}px\" viewBox=\"0 0 {w} {h}\" color=\"#221f1a\">",
        w = px(width),
        h = px(height)
    );
    let defined = definitions();
    if let (Some(from), Some(to)) = (defined.find("<defs>"), defined.find("</svg>")) {
        svg.push_str(&defined[from..to]);
    }
    let _ = write!(
        svg,
        "<rect width=\"{}\" height=\"{}\" fill=\"#ffffff\"/><text x=\"{MARGIN}\" y=\"{}\" font-family=\"serif\" font-size=\"17\" fill=\"#221f1a\">{}</text>",
        px(width),
        px(height),
        px(MARGIN + 13.0),
        escaped(heading)
    );
    svg.push_str(&picture[..style_at]);
    let _ = write!(svg, " x=\"{}\" y=\"{}\" width=\"{}\"", px(MARGIN + left), px(top), px(field));
    svg.push_str(picture[style_end..].trim_end());
    let _ = writeln!(
        svg,
        "<g transform=\"translate({MARGIN}, {})\" font-family=\"system-ui, sans-serif\" font-size=\"11\">{}</g></svg>",
        px(below),
        key.0
    );
    Some(Sheet { svg, width, height })
}

/// Swatches with their words, and the height they take.
fn key(keys: &[Key], width: f64) -> (String, f64) {
    let (mut out, mut x, mut y) = (String::new(), 0.0, 0.0);
    for one in keys {
        #[allow(clippy::cast_precision_loss)] // letters of a word
        let room = 22.0 + one.word.chars().count() as f64 * CHARACTER + 20.0;
        if x + room > width && x > 0.0 {
            (x, y) = (0.0, y + LINE);
        }
        let _ = write!(
            out,
            "<rect x=\"{}\" y=\"{}\" width=\"16\" height=\"11\" fill=\"{}\"/><text x=\"{}\" y=\"{}\" fill=\"#221f1a\">{}</text>",
            px(x),
            px(y),
            one.fill,
            px(x + 22.0),
            px(y + 10.0),
            escaped(&one.word)
        );
        x += room;
    }
    (out, if keys.is_empty() { 0.0 } else { y + LINE })
}
