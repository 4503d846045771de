//! The systems of engraved music: where their ink lies, and each cut out of its page to be set on another.

use std::collections::BTreeMap;
use std::ops::Range;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use crate::page::{Page, attribute, translation};
use crate::{EngraveError, Layout};

/// Height of a staff in the inner units of a page.
pub const STAFF: f64 = 720.0;
/// Height of a staff in pixels at the engine's scale of 100 %.
pub(crate) const STAFF_AT_FULL_SCALE: f64 = 72.0;
/// What the engine leaves free on the left and on the right, in tens of inner units.
pub(crate) const SIDE: u32 = 60;
/// How far a sign may reach above and below the point it is drawn at.
const REACH: f64 = 300.0;
/// How far a sign usually hangs below that point.
const HANG: f64 = 200.0;

/// A line of music, drawn in inner units.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
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
    /// Highest ink, generously.
    pub top: f64,
    /// Lowest ink, generously.
    pub foot: f64,
}

impl Layout {
    /// One endless page with lines of this width and staves of this height, both in pixels.
    #[must_use]
    pub fn lines(width: f64, staff: f64) -> Self {
        let inner = width / staff * STAFF + f64::from(2 * 10 * SIDE);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
        let width = (inner * scale(staff) / 1000.0).round().clamp(100.0, 50_000.0) as u32;
        Self { width, staff, height: None }
    }
}

/// The engine scales by whole per cent.
pub(crate) fn scale(staff: f64) -> f64 {
    (staff / STAFF_AT_FULL_SCALE * 100.0).round()
}

impl System {
    /// All systems of these pages, in order.
    ///
    /// # Errors
    /// When a page is damaged.
    pub fn of_pages(pages: &[Page]) -> Result<Vec<Self>, EngraveError> {
        let mut all = Vec::new();
        for page in pages {
            let signs = signs(&page.svg)?;
            for (range, ink) in inked(&page.svg)? {
                let body = page.svg[range].to_owned();
                let used = signs.iter().filter(|(id, _)| body.contains(&format!("#{id}\"")));
                let signs = used.map(|(id, drawing)| (id.clone(), drawing.clone())).collect();
                all.extend(ink.system(body, signs));
            }
        }
        Ok(all)
    }

    /// The same without the engine's own bar numbers, of which it gives none to a line that begins under a rehearsal mark.
    #[must_use]
    pub fn without_numbers(mut self) -> Self {
        let mut kept = String::with_capacity(self.body.len());
        let mut rest = self.body.as_str();
        while let Some(at) = rest.find("class=\"mNum\"") {
            let start = rest[..at].rfind("<g").unwrap_or(at);
            let end = rest[at..].find("</g>").map_or(rest.len(), |end| at + end + "</g>".len());
            kept.push_str(&rest[..start]);
            rest = &rest[end..];
        }
        kept.push_str(rest);
        self.body = kept;
        self
    }
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

/// The systems of a page: where each stands in its text, and where its ink lies.
pub(crate) fn inked(svg: &str) -> Result<Vec<(Range<usize>, Ink)>, EngraveError> {
    let mut all = Vec::new();
    let mut reader = Reader::from_str(svg);
    let mut classes: Vec<String> = Vec::new();
    // Depth and start of the system being read.
    let mut open: Option<(usize, usize, Ink)> = None;
    loop {
        let at = position(&reader);
        match reader.read_event().map_err(|_| no_page("a damaged page"))? {
            Event::Start(tag) => {
                let class = first_class(&tag);
                if class == "system" && open.is_none() {
                    open = Some((classes.len(), at, Ink::default()));
                }
                if let Some((_, _, ink)) = &mut open {
                    ink.begin(&class);
                    ink.see(&tag, classes.last().map(String::as_str));
                }
                classes.push(class);
            }
            Event::Empty(tag) => {
                if let Some((_, _, ink)) = &mut open {
                    ink.see(&tag, classes.last().map(String::as_str));
                }
            }
            Event::End(_) => {
                classes.pop();
                if let Some((_, start, ink)) = open.take_if(|(depth, ..)| *depth == classes.len()) {
                    all.push((start..position(&reader), ink));
                }
            }
            Event::Eof => return Ok(all),
            _ => {}
        }
    }
}

/// The first word of an element's class.
pub(crate) fn first_class(tag: &BytesStart<'_>) -> String {
    let class = attribute(tag, "class").unwrap_or_default();
    class.split(' ').next().unwrap_or_default().to_owned()
}

/// A line of a staff, when this element of a group of class `parent` is one: left, top, right, foot.
pub(crate) fn staff_line(tag: &BytesStart<'_>, parent: Option<&str>) -> Option<[f64; 4]> {
    if tag.name().as_ref() != "path" || parent != Some("staff") {
        return None;
    }
    let [x, y, to, down] = numbers(&attribute(tag, "d")?)[..] else { return None };
    Some([x.min(to), y.min(down), x.max(to), y.max(down)])
}

/// The numbers in a path of absolute points.
fn numbers(path: &str) -> Vec<f64> {
    path.split(|c: char| !(c.is_ascii_digit() || c == '-' || c == '.')).filter_map(|number| number.parse().ok()).collect()
}

/// Where the ink of a system lies.
#[derive(Debug, Default)]
pub(crate) struct Ink {
    /// Left edge of each bar; infinite for one without lines.
    pub bars: Vec<f64>,
    staves: Vec<usize>,
    staff: Option<(f64, f64)>,
    /// Highest and lowest, generously.
    reach: Option<(f64, f64)>,
    /// Lowest as it usually is.
    pub lowest: f64,
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

    fn see(&mut self, tag: &BytesStart<'_>, parent: Option<&str>) {
        if let Some([left, top, _, foot]) = staff_line(tag, parent) {
            widen(&mut self.staff, (top, foot));
            if let Some(bar) = self.bars.last_mut() {
                *bar = bar.min(left);
            }
        }
        let number = |name: &str| attribute(tag, name).and_then(|text| text.trim_end_matches("px").parse::<f64>().ok());
        let heights = |name: &str| ends(numbers(&attribute(tag, name).unwrap_or_default()).into_iter().skip(1).step_by(2));
        let drawn = |(top, foot): (f64, f64)| ((top, foot), foot);
        let seen = match tag.name().as_ref() {
            "path" => heights("d").map(drawn),
            "polygon" | "polyline" => heights("points").map(drawn),
            "rect" => number("y").map(|y| drawn((y, y + number("height").unwrap_or(0.0)))),
            "use" => attribute(tag, "transform")
                .and_then(|transform| translation(&transform))
                .map(|(_, y)| ((y - REACH, y + REACH), y + HANG)),
            "text" => number("y").map(|y| ((y - REACH - 100.0, y + 120.0), y)),
            _ => None,
        };
        if let Some((reach, low)) = seen {
            widen(&mut self.reach, reach);
            self.lowest = self.lowest.max(low);
        }
    }

    fn system(self, body: String, signs: BTreeMap<String, String>) -> Option<System> {
        let (staff_top, staff_foot) = self.staff?;
        let (top, foot) = self.reach.unwrap_or((staff_top, staff_foot));
        Some(System {
            body,
            signs,
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
