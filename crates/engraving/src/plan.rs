//! What stands where on a page, in pixels: for those who click on a note or follow the bars with a finger.

use quick_xml::Reader;
use quick_xml::events::Event;

use crate::page::{Page, attribute, translation};
use crate::systems::{first_class, staff_line};

/// A notehead on a page, in pixels from its upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub struct HeadOnPage {
    /// The id of its note (`ripieno_formats::musicxml::note_id`).
    pub id: String,
    /// Left edge.
    pub x: f64,
    /// Middle.
    pub y: f64,
}

/// A bar on a page: all staves of its system, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarOnPage {
    /// Left edge.
    pub x: f64,
    /// Line on top of the upper staff.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Down to the lowest line of the lowest staff.
    pub height: f64,
}

/// Heads and bars of a page, in the order of the music.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    /// Height of a notehead in pixels.
    pub head: f64,
    /// Noteheads.
    pub heads: Vec<HeadOnPage>,
    /// Bars.
    pub bars: Vec<BarOnPage>,
}

/// From the coordinates of the music to pixels: factor, then shift.
struct Place {
    scale: f64,
    x: f64,
    y: f64,
}

impl Page {
    /// Where heads and bars stand.
    #[must_use]
    pub fn plan(&self) -> Plan {
        let place = self.place();
        let heads = self.noteheads();
        let head = heads.first().map_or(0.0, |head| head.half_space * 2.0 * place.scale);
        let on_page = heads.into_iter().map(|head| HeadOnPage {
            id: head.id,
            x: place.x + head.x * place.scale,
            y: place.y + head.y * place.scale,
        });
        let bars = self.bars_inside().into_iter().map(|[left, top, right, bottom]| BarOnPage {
            x: place.x + left * place.scale,
            y: place.y + top * place.scale,
            width: (right - left) * place.scale,
            height: (bottom - top) * place.scale,
        });
        Plan { head, heads: on_page.collect(), bars: bars.collect() }
    }

    fn place(&self) -> Place {
        let none = Place { scale: 1.0, x: 0.0, y: 0.0 };
        let mut reader = Reader::from_str(&self.svg);
        let (mut scale, mut x, mut y) = (1.0, 0.0, 0.0);
        loop {
            let tag = match reader.read_event() {
                Ok(Event::Start(tag)) => tag,
                Ok(Event::Eof) | Err(_) => return none,
                Ok(_) => continue,
            };
            if let Some(view) = attribute(&tag, "viewBox") {
                let numbers: Vec<f64> = view.split([' ', ',']).filter_map(|number| number.parse().ok()).collect();
                let [_, _, width, height] = numbers[..] else { return none };
                // Drawn as large as fits, in the middle (SVG 2, 8.2, preserveAspectRatio).
                scale = (self.width / width).min(self.height / height);
                (x, y) = ((self.width - width * scale) / 2.0, (self.height - height * scale) / 2.0);
            }
            if attribute(&tag, "class").is_some_and(|class| class == "page-margin") {
                let (right, down) = attribute(&tag, "transform").and_then(|shift| translation(&shift)).unwrap_or((0.0, 0.0));
                return Place { scale, x: x + right * scale, y: y + down * scale };
            }
        }
    }

    /// Left, top, right, bottom of the staff lines of each bar, in the coordinates of the music.
    fn bars_inside(&self) -> Vec<[f64; 4]> {
        let mut bars: Vec<[f64; 4]> = Vec::new();
        let mut classes: Vec<String> = Vec::new();
        let mut reader = Reader::from_str(&self.svg);
        loop {
            match reader.read_event() {
                Ok(Event::Start(tag)) => {
                    let class = first_class(&tag);
                    if class == "measure" {
                        bars.push([f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY]);
                    }
                    classes.push(class);
                }
                Ok(Event::Empty(tag)) => {
                    let line = staff_line(&tag, classes.last().map(String::as_str));
                    if let (Some([left, top, right, foot]), Some(bar)) = (line, bars.last_mut()) {
                        *bar = [bar[0].min(left), bar[1].min(top), bar[2].max(right), bar[3].max(foot)];
                    }
                }
                Ok(Event::End(_)) => drop(classes.pop()),
                Ok(Event::Eof) | Err(_) => break,
                Ok(_) => {}
            }
        }
        // A bar without a line has nothing on it.
        bars.retain(|bar| bar[0].is_finite());
        bars
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heads_and_bars_are_placed_in_pixels() {
        let lines: String = [0, 20, 40, 60, 80].iter().map(|y| format!("<path d=\"M0 {y} L400 {y}\"/>")).collect();
        let svg = format!(
            "<svg width=\"100px\" height=\"90px\"><svg class=\"definition-scale\" viewBox=\"0 0 1000 500\">\
<g class=\"page-margin\" transform=\"translate(50, 60)\"><g class=\"measure\"><g class=\"staff\">{lines}\
<g id=\"n0-1\" class=\"note\"><g class=\"notehead\"><use transform=\"translate(100, 40) scale(1)\"/></g></g></g></g></g></svg></svg>"
        );
        let plan = Page { svg, width: 100.0, height: 90.0 }.plan();
        // A tenth of its size; 90 pixels hold 50 of music, so that it begins 20 lower.
        assert_eq!(plan.bars, [BarOnPage { x: 5.0, y: 26.0, width: 40.0, height: 8.0 }]);
        assert_eq!(plan.heads, [HeadOnPage { id: "n0-1".to_owned(), x: 15.0, y: 30.0 }]);
        assert!((plan.head - 2.0).abs() < 1e-9);
    }
}
