//! Where the words of an engraved line stand once they are set in their font: the engine reckons with another, and lets them run over its end.

use quick_xml::Reader;
use quick_xml::events::Event;
use resvg::usvg::{Group, Node, Options, Tree};

use crate::export::ExportError;
use crate::fonts::fonts;
use crate::page::{Page, attribute};
use crate::systems::{System, first_class, position};

/// How the words of a line are set, by the class of the group they stand in: for pages of systems.
pub const STYLE: &str = ".ending,.fing,.reh,.tempo{font-weight:bold}.dir,.dynam,.mNum{font-style:italic}";

/// Words on a line of music, in its inner units, or on a page, in its pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Words {
    /// Where their `<text` stands in the drawing.
    pub at: usize,
    /// What they are: "tempo", "dir", "dynam", "reh", "bar-number"; empty where nothing says it.
    pub class: String,
    /// Left edge of their ink.
    pub left: f64,
    /// Top of it.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Foot.
    pub foot: f64,
}

/// Classes that tell what words are.
const CLASSES: [&str; 10] = ["bar-number", "reh", "tempo", "dir", "dynam", "label", "labelAbbr", "ending", "tuplet", "hairpin"];
/// Inner units to a pixel of the drawing that is measured, whose coordinates are kept with less precision far from its corner.
const FINE: f64 = 10.0;

impl System {
    /// The words of the line, in the order of the drawing; those without ink are left out.
    ///
    /// # Errors
    /// When the line cannot be drawn.
    pub fn words(&self) -> Result<Vec<Words>, ExportError> {
        let signs: String = self.signs.values().map(String::as_str).collect();
        let head = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" width=\"3000\" height=\"3000\">\
<defs>{signs}</defs><style>{STYLE}</style><g transform=\"scale({})\" font-family=\"Times, serif\">",
            1.0 / FINE
        );
        measured(&self.body, |numbered| format!("{head}{numbered}</g></svg>"), FINE)
    }

    /// The line with some of its words moved to the left, each told by [`Words::at`] with how far, in the order of the drawing.
    #[must_use]
    pub fn with_moved(mut self, moves: &[(usize, f64)]) -> Self {
        for &(at, left) in moves.iter().rev() {
            self.body.insert_str(at + TEXT.len(), &format!(" transform=\"translate({:.1} 0)\"", -left));
        }
        self
    }
}

impl Page {
    /// The words of the page, in its pixels and in the order of the drawing; those without ink are left out.
    ///
    /// # Errors
    /// When the page cannot be drawn.
    pub fn words(&self) -> Result<Vec<Words>, ExportError> {
        measured(&self.svg, str::to_owned, 1.0)
    }
}

const TEXT: &str = "<text";

/// The words of a drawing; `document` makes one of it that can be drawn, in which it is so many times `smaller`.
fn measured(drawing: &str, document: impl Fn(&str) -> String, smaller: f64) -> Result<Vec<Words>, ExportError> {
    let (numbered, mut found) = numbered(drawing);
    let options = Options { fontdb: fonts(), font_family: "serif".to_owned(), ..Options::default() };
    let tree = Tree::from_str(&document(&numbered), &options).map_err(|error| ExportError::NotDrawn(error.to_string()))?;
    measure(tree.root(), smaller, &mut found);
    found.retain(|words| words.left < words.right);
    Ok(found)
}

/// A drawing whose texts have numbers as their ids, and what each is.
fn numbered(body: &str) -> (String, Vec<Words>) {
    let mut found: Vec<Words> = Vec::new();
    let mut classes: Vec<String> = Vec::new();
    let mut reader = Reader::from_str(body);
    loop {
        let at = position(&reader);
        match reader.read_event() {
            Ok(Event::Start(tag)) => {
                if tag.name().as_ref() == "text" && attribute(&tag, "id").is_none() {
                    let own = first_class(&tag);
                    let class = std::iter::once(&own).chain(classes.iter().rev()).find(|class| CLASSES.contains(&class.as_str()));
                    let class = class.cloned().unwrap_or_default();
                    found.push(Words { at, class, left: f64::MAX, top: f64::MAX, right: f64::MIN, foot: f64::MIN });
                }
                classes.push(first_class(&tag));
            }
            Ok(Event::End(_)) => drop(classes.pop()),
            Ok(Event::Eof) | Err(_) => break,
            Ok(_) => {}
        }
    }
    let mut out = String::with_capacity(body.len() + 24 * found.len());
    let mut from = 0;
    for (number, words) in found.iter().enumerate() {
        let to = words.at + TEXT.len();
        out.push_str(&body[from..to]);
        out.push_str(&format!(" id=\"words-{number}\""));
        from = to;
    }
    out.push_str(&body[from..]);
    (out, found)
}

/// Where the ink of numbered texts lies.
fn measure(group: &Group, smaller: f64, found: &mut [Words]) {
    for node in group.children() {
        match node {
            Node::Group(group) => measure(group, smaller, found),
            Node::Text(text) => {
                let number = text.id().strip_prefix("words-").and_then(|number| number.parse::<usize>().ok());
                if let Some(words) = number.and_then(|number| found.get_mut(number)) {
                    // Outlines are given where the text is before it is moved.
                    let ink = text.flattened().bounding_box().transform(text.abs_transform());
                    let inner = |length: f32| f64::from(length) * smaller;
                    if let Some(ink) = ink.filter(|ink| ink.width() > 0.0) {
                        (words.left, words.right) = (inner(ink.left()), inner(ink.right()));
                        (words.top, words.foot) = (inner(ink.top()), inner(ink.bottom()));
                    }
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    #[test]
    fn words_are_measured_and_moved() {
        let body = "<g class=\"system\"><g class=\"tempo\"><text x=\"1000\" y=\"500\" font-size=\"0px\">\
<tspan font-size=\"405px\">Moderato</tspan></text></g><g class=\"dir\"><text x=\"0\" y=\"9\" font-size=\"0px\"></text></g></g>";
        let system = System::drawn(body);
        let words = system.words().unwrap();
        assert_eq!(words.len(), 1, "what has no ink is no word: {words:?}");
        assert_eq!(words[0].class, "tempo");
        // Eight letters of a serif face, each half to nine tenths of its size wide (common practice), from where they are said to begin.
        let width = words[0].right - words[0].left;
        assert!((words[0].left - 1000.0).abs() < 60.0 && (8.0 * 200.0..8.0 * 365.0).contains(&width), "{words:?}");
        assert!(words[0].top < 300.0 && (words[0].foot - 500.0).abs() < 20.0, "{words:?}");
        let moved = system.with_moved(&[(words[0].at, 400.0)]).words().unwrap();
        assert!((moved[0].right - (words[0].right - 400.0)).abs() < 1.0, "{moved:?}");
    }
}
