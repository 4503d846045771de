//! Bar numbers in a row of their own under each system, clear of the music: a score is cited by its bars.

use std::fmt::Write;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use crate::page::{Page, attribute, translation};

/// Height of the figures, in the page's inner units (a staff is 720 high).
const FIGURES: f64 = 300.0;
/// From the lowest ink of a system to the foot of the figures.
const BELOW: f64 = 420.0;
/// How far a glyph may hang below the point it is drawn at.
const HANG: f64 = 200.0;

/// A system as far as numbering goes.
#[derive(Default)]
struct System {
    lowest: f64,
    /// Left edge of each bar.
    bars: Vec<f64>,
}

/// Numbers the bars of a page; `labels` are those of all bars from the page's first on. Answers how many bars the page has.
pub(crate) fn number_bars(page: &mut Page, labels: &[String]) -> usize {
    let systems = systems(&page.svg);
    let mut numbers = String::new();
    let mut labels = labels.iter();
    for system in &systems {
        for (&x, label) in system.bars.iter().zip(labels.by_ref()) {
            let shown: String = label.chars().filter(|c| !"<>&\"".contains(*c) && !c.is_control()).take(12).collect();
            let _ = write!(
                numbers,
                "<text class=\"bar-number\" x=\"{:.0}\" y=\"{:.0}\" font-family=\"Times, serif\" font-size=\"{FIGURES}px\" \
font-style=\"italic\">{shown}</text>",
                x + 40.0,
                system.lowest + BELOW
            );
        }
    }
    page.add_inside(&numbers);
    systems.iter().map(|system| system.bars.len()).sum()
}

fn systems(svg: &str) -> Vec<System> {
    let mut systems: Vec<System> = Vec::new();
    let mut classes: Vec<String> = Vec::new();
    let mut reader = Reader::from_str(svg);
    loop {
        match reader.read_event() {
            Ok(Event::Start(tag)) => {
                let class = attribute(&tag, "class").unwrap_or_default();
                match class.split(' ').next() {
                    Some("system") => systems.push(System::default()),
                    Some("measure") => {
                        if let Some(system) = systems.last_mut() {
                            system.bars.push(f64::INFINITY);
                        }
                    }
                    _ => {}
                }
                see(&tag, &classes, systems.last_mut());
                classes.push(class);
            }
            Ok(Event::Empty(tag)) => see(&tag, &classes, systems.last_mut()),
            Ok(Event::End(_)) => drop(classes.pop()),
            Ok(Event::Eof) | Err(_) => break,
            Ok(_) => {}
        }
    }
    for system in &mut systems {
        system.bars.retain(|x| x.is_finite());
    }
    systems
}

/// Takes note of how low an element reaches and, for the lines of a staff, where its bar begins.
fn see(tag: &BytesStart<'_>, classes: &[String], system: Option<&mut System>) {
    let Some(system) = system else { return };
    let number = |name: &str| attribute(tag, name).and_then(|text| text.trim_end_matches("px").parse::<f64>().ok());
    let low = match tag.name().as_ref() {
        "path" => {
            let points = numbers(&attribute(tag, "d").unwrap_or_default());
            let in_staff = classes.last().is_some_and(|class| class.split(' ').next() == Some("staff"));
            if let (true, [left, _, right, _], Some(bar)) = (in_staff, &points[..], system.bars.last_mut()) {
                *bar = bar.min(left.min(*right));
            }
            points.into_iter().skip(1).step_by(2).reduce(f64::max)
        }
        "polygon" | "polyline" => {
            numbers(&attribute(tag, "points").unwrap_or_default()).into_iter().skip(1).step_by(2).reduce(f64::max)
        }
        "use" => attribute(tag, "transform").and_then(|transform| translation(&transform)).map(|(_, y)| y + HANG),
        "text" => number("y"),
        "rect" => Some(number("y").unwrap_or(0.0) + number("height").unwrap_or(0.0)),
        _ => None,
    };
    system.lowest = low.map_or(system.lowest, |low| system.lowest.max(low));
}

/// The numbers in a path of absolute points.
fn numbers(path: &str) -> Vec<f64> {
    path.split(|c: char| !(c.is_ascii_digit() || c == '-' || c == '.')).filter_map(|number| number.parse().ok()).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    #[test]
    fn each_bar_is_numbered_under_its_system() {
        let staff = |x: u32| format!("<g class=\"measure\"><g class=\"staff\"><path d=\"M{x} 100 L{} 100\"/></g></g>", x + 500);
        let svg = format!(
            "<svg width=\"9px\" height=\"9px\"><svg class=\"definition-scale\"><g class=\"page-margin\"><g class=\"system\">{}{}</g>\
<g class=\"system\">{}<use transform=\"translate(7, 900) scale(1)\"/></g></g></svg></svg>",
            staff(10),
            staff(510),
            staff(20)
        );
        let mut page = Page { svg, width: 9.0, height: 9.0 };
        let labels: Vec<String> = ["40", "41", "42a", "43"].map(str::to_owned).into();
        assert_eq!(number_bars(&mut page, &labels), 3);
        let placed: Vec<&str> =
            page.svg.split("<text ").skip(1).map(|text| text.split('>').nth(1).unwrap().split('<').next().unwrap()).collect();
        assert_eq!(placed, ["40", "41", "42a"]);
        assert!(page.svg.contains("x=\"50\" y=\"520\"") && page.svg.contains("x=\"60\" y=\"1520\""));
    }
}
