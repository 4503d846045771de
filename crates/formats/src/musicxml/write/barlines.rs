//! Repeats, endings and the styles of barlines.

use ripieno_score::Bar;

use super::xml::Xml;

/// Styles MusicXML has a name for.
const STYLES: [&str; 11] =
    ["regular", "dotted", "dashed", "heavy", "light-light", "light-heavy", "heavy-light", "heavy-heavy", "tick", "short", "none"];

/// Writes the barlines of a part, bar after bar.
#[derive(Default)]
pub(super) struct Barlines {
    /// Numbers of the ending that has begun and not stopped.
    ending: Option<String>,
}

impl Barlines {
    /// What stands at the bar's beginning.
    pub(super) fn left(&mut self, xml: &mut Xml, bar: &Bar) {
        if !bar.repeat_start && bar.ending_start.is_empty() {
            return;
        }
        xml.element("barline", &[("location", "left")], |xml| {
            if !bar.ending_start.is_empty() {
                let numbers = ending_numbers(bar);
                xml.empty("ending", &[("number", &numbers), ("type", "start")]);
                self.ending = Some(numbers);
            }
            if bar.repeat_start {
                xml.empty("repeat", &[("direction", "forward")]);
            }
        });
    }

    /// What stands at its end. An ending that stops without having begun says nothing and is left out.
    pub(super) fn right(&mut self, xml: &mut Xml, bar: &Bar) {
        let style = bar.barline.as_deref().filter(|style| STYLES.contains(style));
        let ending = if bar.ending_stop { self.ending.take() } else { None };
        if style.is_none() && bar.repeat_end.is_none() && ending.is_none() {
            return;
        }
        xml.element("barline", &[("location", "right")], |xml| {
            if let Some(style) = style {
                xml.text("bar-style", style);
            }
            if let Some(numbers) = ending {
                xml.empty("ending", &[("number", &numbers), ("type", "stop")]);
            }
            if let Some(times) = bar.repeat_end {
                let times = times.to_string();
                let with: &[(&str, &str)] = &[("direction", "backward"), ("times", &times)];
                xml.empty("repeat", if bar.repeat_end == Some(2) { &with[..1] } else { with });
            }
        });
    }
}

fn ending_numbers(bar: &Bar) -> String {
    let numbers: Vec<String> = bar.ending_start.iter().filter(|&&n| n > 0).map(ToString::to_string).collect();
    numbers.join(", ")
}
