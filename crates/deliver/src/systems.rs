//! The systems of engraved music, cut out of the pages an engraver made.

use std::collections::BTreeMap;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use ripieno_engraving::{EngraveError, Page};

/// Height of a staff in the inner units of a page.
pub(crate) const STAFF: f64 = 720.0;
/// Width the engraver leaves free on both sides, in inner units.
const SIDES: f64 = 1200.0;
/// How far a sign may reach above and below the point it is drawn at.
const REACH: f64 = 300.0;

/// A line of music, drawn in inner units.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct System {
    /// The drawing.
    pub body: String,
    /// The signs it is drawn with: id and drawing.
    pub signs: BTreeMap<String, String>,
    /// Left edge of each bar, long rests counted once.
    pub bars: Vec<f64>,
    /// Staves of a bar.
    pub staves: usize,
    /// Top of its highest staff.
    pub staff_top: f64,
    /// Foot of its lowest staff.
    pub staff_foot: f64,
    /// Highest ink.
    pub top: f64,
    /// Lowest ink.
    pub foot: f64,
}

/// The page width in pixels for which lines are this wide.
pub(crate) fn page_width(inner: f64, staff: f64) -> u32 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
    let width = ((inner + SIDES) * scale(staff) / 1000.0).round().clamp(100.0, 50_000.0) as u32;
    width
}

/// The engraver scales by whole per cent.
fn scale(staff: f64) -> f64 {
    (staff / 72.0 * 100.0).round().max(1.0)
}

/// All systems of these pages, in order.
pub(crate) fn systems(pages: &[Page]) -> Result<Vec<System>, EngraveError> {
    let mut all = Vec::new();
    for page in pages {
        let signs = signs(&page.svg)?;
        let before = all.len();
        scan(&page.svg, &mut all)?;
        for system in &mut all[before..] {
            system.signs = signs.iter().filter(|(id, _)| system.body.contains(&format!("#{id}\""))).map(clone_pair).collect();
        }
    }
    Ok(all)
}

fn clone_pair((id, drawing): (&String, &String)) -> (String, String) {
    (id.clone(), drawing.clone())
}

fn no_page(what: &str) -> EngraveError {
    EngraveError::NoPage(what.to_owned())
}

/// The signs defined at the head of a page.
fn signs(svg: &str) -> Result<BTreeMap<String, String>, EngraveError> {
    let mut found = BTreeMap::new();
    let Some(defs) = svg.split_once("<defs>").and_then(|(_, rest)| rest.split_once("</defs>")).map(|(defs, _)| defs) else {
        return Ok(found);
    };
    let mut reader = Reader::from_str(defs);
    let (mut depth, mut start, mut id) = (0usize, 0usize, String::new());
    loop {
        let at = position(&reader);
        match reader.read_event().map_err(|_| no_page("damaged signs"))? {
            Event::Start(tag) => {
                if depth == 0 {
                    (start, id) = (at, attribute(&tag, "id").unwrap_or_default());
                }
                depth += 1;
            }
            Event::End(_) => {
                depth = depth.saturating_sub(1);
                if depth == 0 && !id.is_empty() {
                    found.insert(std::mem::take(&mut id), defs[start..position(&reader)].to_owned());
                }
            }
            Event::Eof => return Ok(found),
            _ => {}
        }
    }
}

fn position(reader: &Reader<&[u8]>) -> usize {
    usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX)
}

fn attribute(tag: &BytesStart<'_>, name: &str) -> Option<String> {
    Some(tag.try_get_attribute(name).ok()??.value.into_owned())
}

/// Reads the systems of one page.
fn scan(svg: &str, all: &mut Vec<System>) -> Result<(), EngraveError> {
    let mut reader = Reader::from_str(svg);
    let mut classes: Vec<String> = Vec::new();
    // Depth and start of the system being read.
    let mut open: Option<(usize, usize, Ink)> = None;
    loop {
        let at = position(&reader);
        match reader.read_event().map_err(|_| no_page("a damaged page"))? {
            Event::Start(tag) => {
                let class = attribute(&tag, "class").unwrap_or_default();
                let class = class.split(' ').next().unwrap_or("").to_owned();
                if class == "system" && open.is_none() {
                    open = Some((classes.len(), at, Ink::default()));
                }
                if let Some((_, _, ink)) = &mut open {
                    ink.begin(&class);
                    ink.see(&tag, &classes);
                }
                classes.push(class);
            }
            Event::Empty(tag) => {
                if let Some((_, _, ink)) = &mut open {
                    ink.see(&tag, &classes);
                }
            }
            Event::End(_) => {
                classes.pop();
                if let Some((depth, start, ink)) = open.take_if(|(depth, ..)| *depth == classes.len()) {
                    debug_assert!(depth <= classes.len());
                    all.extend(ink.system(svg[start..position(&reader)].to_owned()));
                }
            }
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

/// Where the ink of a system lies.
#[derive(Default)]
struct Ink {
    bars: Vec<f64>,
    staves: Vec<usize>,
    staff: Option<(f64, f64)>,
    reach: Option<(f64, f64)>,
}

impl Ink {
    fn begin(&mut self, class: &str) {
        match class {
            "measure" => {
                self.bars.push(f64::INFINITY);
                self.staves.push(0);
            }
            "staff" => {
                if let Some(staves) = self.staves.last_mut() {
                    *staves += 1;
                }
            }
            _ => {}
        }
    }

    fn see(&mut self, tag: &BytesStart<'_>, classes: &[String]) {
        let number = |name: &str| attribute(tag, name).and_then(|text| text.trim_end_matches("px").parse::<f64>().ok());
        let extent = match tag.name().as_ref() {
            "path" => {
                let points = numbers(&attribute(tag, "d").unwrap_or_default());
                if let (Some("staff"), [left, y, right, _]) = (classes.last().map(String::as_str), &points[..]) {
                    widen(&mut self.staff, (*y, *y));
                    if let Some(bar) = self.bars.last_mut() {
                        *bar = bar.min(left.min(*right));
                    }
                }
                ends(points.into_iter().skip(1).step_by(2))
            }
            "polygon" | "polyline" => ends(numbers(&attribute(tag, "points").unwrap_or_default()).into_iter().skip(1).step_by(2)),
            "use" => attribute(tag, "transform").and_then(|text| translation(&text)).map(|y| (y - REACH, y + REACH)),
            "text" => number("y").map(|y| (y - REACH - 100.0, y + 120.0)),
            "rect" => number("y").map(|y| (y, y + number("height").unwrap_or(0.0))),
            _ => None,
        };
        if let Some(extent) = extent {
            widen(&mut self.reach, extent);
        }
    }

    fn system(self, body: String) -> Option<System> {
        let (staff_top, staff_foot) = self.staff?;
        let (top, foot) = self.reach.unwrap_or((staff_top, staff_foot));
        Some(System {
            body,
            signs: BTreeMap::new(),
            bars: self.bars,
            staves: self.staves.into_iter().max().unwrap_or(1).max(1),
            staff_top,
            staff_foot,
            top: top.min(staff_top),
            foot: foot.max(staff_foot),
        })
    }
}

fn widen(extent: &mut Option<(f64, f64)>, (low, high): (f64, f64)) {
    let (from, to) = extent.unwrap_or((low, high));
    *extent = Some((from.min(low), to.max(high)));
}

fn ends(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |found: Option<(f64, f64)>, value| {
        let (low, high) = found.unwrap_or((value, value));
        Some((low.min(value), high.max(value)))
    })
}

fn numbers(path: &str) -> Vec<f64> {
    path.split(|c: char| !(c.is_ascii_digit() || c == '-' || c == '.')).filter_map(|number| number.parse().ok()).collect()
}

/// The height of `translate(12, 34) ...`.
fn translation(transform: &str) -> Option<f64> {
    let inside = transform.strip_prefix("translate(")?.split(')').next()?;
    inside.split_once([',', ' '])?.1.trim().parse().ok()
}
