//! A page as SVG, and what stands where on it.

use std::borrow::Cow;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use crate::EngraveError;

/// An engraved page.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// The page as an SVG document that needs nothing beside it.
    pub svg: String,
    /// Width in pixels.
    pub width: f64,
    /// Height in pixels.
    pub height: f64,
}

/// A notehead on a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Notehead {
    /// The id of its note.
    pub id: String,
    /// Bar on the page, from 0.
    pub bar: usize,
    /// Staff from the top of the system, from 0.
    pub staff: usize,
    /// Left edge, in the page's inner units.
    pub x: f64,
    /// Height of its middle, downwards, in the page's inner units.
    pub y: f64,
    /// Place on the staff in steps above its lowest line.
    pub step: i32,
    /// Distance of two steps, in the page's inner units.
    pub half_space: f64,
}

/// Tidies what the engine drew: its signature is left out, its size read.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn tidied(svg: &str) -> Result<Page, EngraveError> {
    let no_page = |what: &str| EngraveError::NoPage(what.to_owned());
    let mut reader = Reader::from_str(svg);
    let root = loop {
        match reader.read_event() {
            Ok(Event::Start(tag)) if tag.name().as_ref() == "svg" => break tag.into_owned(),
            Ok(Event::Eof) | Err(_) => return Err(no_page("no SVG")),
            Ok(_) => {}
        }
    };
    let size = |name: &str| {
        let text = attribute(&root, name)?;
        text.trim_end_matches("px").parse::<f64>().ok().filter(|size| size.is_finite() && *size > 0.0)
    };
    let (Some(width), Some(height)) = (size("width"), size("height")) else { return Err(no_page("no size")) };
    let svg = match (svg.find("<desc>"), svg.find("</desc>")) {
        (Some(from), Some(to)) if from < to => format!("{}{}", &svg[..from], &svg[to + "</desc>".len()..]),
        _ => svg.to_owned(),
    };
    Ok(Page { svg, width, height })
}

pub(crate) fn attribute(tag: &BytesStart<'_>, name: &str) -> Option<String> {
    let attribute = tag.try_get_attribute(name).ok()??;
    Some(attribute.value.into_owned())
}

/// What an open element is, as far as it matters here.
enum Open {
    Staff { lines: Vec<f64> },
    Note { id: String, is_placed: bool },
    Notehead,
    Other,
}

impl Page {
    /// The width in whole pixels, at least 1.
    #[must_use]
    pub fn width_in_pixels(&self) -> u32 {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
        let width = self.width.clamp(1.0, 100_000.0).round() as u32;
        width
    }

    /// Adds a drawing in the coordinates of the music, after all of it.
    pub(crate) fn add_inside(&mut self, drawing: &str) {
        // Into the group the notes are drawn in, which shifts by the page's margins.
        let inner = self.svg.rfind("</svg>").and_then(|outer| self.svg[..outer].rfind("</svg>"));
        if let Some(at) = inner.and_then(|inner| self.svg[..inner].rfind("</g>")) {
            self.svg.insert_str(at, drawing);
        }
    }

    /// The noteheads, in the order they are drawn: bar by bar, staff by staff. The first head of each note counts.
    #[must_use]
    pub fn noteheads(&self) -> Vec<Notehead> {
        let mut found = Vec::new();
        let mut open: Vec<Open> = Vec::new();
        let (mut bars, mut staves) = (0usize, 0usize);
        let mut reader = Reader::from_str(&self.svg);
        loop {
            match reader.read_event() {
                Ok(Event::Start(tag)) => {
                    let class = attribute(&tag, "class").map_or(Cow::Borrowed(""), Cow::Owned);
                    // The class of a role stands before the engine's own (`tint`).
                    open.push(match class.split(' ').find(|class| !class.starts_with("role-")).unwrap_or("") {
                        "measure" => {
                            bars += 1;
                            staves = 0;
                            Open::Other
                        }
                        "staff" => {
                            staves += 1;
                            Open::Staff { lines: Vec::new() }
                        }
                        "note" => Open::Note { id: attribute(&tag, "id").unwrap_or_default(), is_placed: false },
                        "notehead" => Open::Notehead,
                        _ => Open::Other,
                    });
                }
                Ok(Event::Empty(tag)) => match (tag.name().as_ref(), open.last_mut()) {
                    ("path", Some(Open::Staff { lines })) => lines.extend(level_of(&tag)),
                    ("use", Some(Open::Notehead)) => {
                        let place = attribute(&tag, "transform").and_then(|transform| translation(&transform));
                        if let Some(place) = place {
                            place_note(&mut open, place, (bars, staves), &mut found);
                        }
                    }
                    _ => {}
                },
                Ok(Event::End(_)) => drop(open.pop()),
                Ok(Event::Eof) | Err(_) => return found,
                Ok(_) => {}
            }
        }
    }
}

/// Notes the place of the innermost open note.
fn place_note(open: &mut [Open], (x, y): (f64, f64), (bars, staves): (usize, usize), found: &mut Vec<Notehead>) {
    let lines = open.iter().rev().find_map(|open| if let Open::Staff { lines } = open { Some(lines.clone()) } else { None });
    let Some(lines) = lines.filter(|lines| !lines.is_empty()) else { return };
    let note = open.iter_mut().rev().find_map(|open| match open {
        Open::Note { id, is_placed } => Some((id, is_placed)),
        _ => None,
    });
    let Some((id, is_placed)) = note.filter(|(_, is_placed)| !**is_placed) else { return };
    *is_placed = true;
    let (top, bottom) = (lines[0], lines[lines.len() - 1]);
    #[allow(clippy::cast_precision_loss)] // a handful of lines
    let half_space = if lines.len() > 1 { (bottom - top) / (lines.len() - 1) as f64 / 2.0 } else { 90.0 };
    #[allow(clippy::cast_possible_truncation)] // a staff position
    let step = ((bottom - y) / half_space).round() as i32;
    found.push(Notehead { id: id.clone(), bar: bars.saturating_sub(1), staff: staves.saturating_sub(1), x, y, step, half_space });
}

/// The height of a level line, `M0 540 L2000 540`.
fn level_of(tag: &BytesStart<'_>) -> Option<f64> {
    let path = attribute(tag, "d")?;
    let numbers: Vec<f64> = path.split(['M', 'L', ' ', ',']).filter_map(|number| number.parse().ok()).collect();
    match numbers[..] {
        [_, from, _, to] if (from - to).abs() < 0.5 => Some(from),
        _ => None,
    }
}

/// `translate(12, 34) scale(...)` as (12, 34).
pub(crate) fn translation(transform: &str) -> Option<(f64, f64)> {
    let inside = transform.strip_prefix("translate(")?.split(')').next()?;
    let (x, y) = inside.split_once([',', ' '])?;
    Some((x.trim().parse().ok()?, y.trim().parse().ok()?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp)] // a test may stop at the first surprise
mod tests {
    use super::*;

    const SVG: &str = "<svg width=\"300px\" height=\"120px\" xmlns=\"http://www.w3.org/2000/svg\"><desc>signed</desc>\
<g class=\"measure\"><g class=\"staff\"><path d=\"M0 100 L90 100\"/><path d=\"M0 120 L90 120\"/><path d=\"M0 140 L90 140\"/>\
<path d=\"M0 160 L90 160\"/><path d=\"M0 180 L90 180\"/><g class=\"layer\"><g id=\"n0-3\" class=\"note\"><g class=\"notehead\">\
<use href=\"#a\" transform=\"translate(44, 170) scale(0.7, 0.7)\"/></g></g></g></g></g></svg>";

    #[test]
    fn a_page_is_read_again() {
        let page = tidied(SVG).unwrap();
        assert_eq!((page.width, page.height), (300.0, 120.0));
        assert!(!page.svg.contains("signed"));
        let heads = page.noteheads();
        assert_eq!(heads.len(), 1);
        assert_eq!((heads[0].id.as_str(), heads[0].bar, heads[0].staff, heads[0].step), ("n0-3", 0, 0, 1));
        assert_eq!((heads[0].x, heads[0].half_space), (44.0, 10.0));
        let tinted = Page { svg: SVG.replace("class=\"note\"", "class=\"role-bass note\""), ..page };
        assert_eq!(tinted.noteheads(), heads);
    }

    #[test]
    fn what_is_no_page_says_so() {
        assert!(tidied("<html/>").is_err());
        assert!(tidied("<svg width=\"a\"></svg>").is_err());
    }
}
