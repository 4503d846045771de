//! The register chart: one bar for each section, from its lowest to its highest note, thick where half of its playing lies.

use std::fmt::Write;

use crate::svg::{LONGEST_NAME, escaped, open, percent, px, room_for, shortened};

/// One section or part.
#[derive(Debug, Clone, PartialEq)]
pub struct RegisterBar {
    /// Name at the left.
    pub label: String,
    /// Lowest and highest sounding key (MIDI).
    pub range: (u8, u8),
    /// Half of the playing time lies between these keys.
    pub middle: (u8, u8),
    /// The middle key by time.
    pub median: u8,
    /// What a pointer resting there is told.
    pub tip: String,
}

/// The chart.
#[derive(Debug, Clone, PartialEq)]
pub struct RegisterChart {
    /// What the picture shows, for those who cannot see it.
    pub title: String,
    /// Sections from the top.
    pub bars: Vec<RegisterBar>,
}

const LINE: f64 = 20.0;
const TOP: f64 = 26.0;

/// Draws the chart, as wide as the page; octaves are ruled at every C.
#[must_use]
#[allow(clippy::cast_precision_loss)] // counts of rows
pub fn register_chart(chart: &RegisterChart) -> String {
    let low = chart.bars.iter().map(|bar| bar.range.0).min().unwrap_or(36);
    let high = chart.bars.iter().map(|bar| bar.range.1).max().unwrap_or(84);
    let (low, high) = (low - low % 12, high.saturating_add(12 - high % 12));
    let left = room_for(chart.bars.iter().map(|bar| bar.label.as_str()));
    let x = |key: u8| (f64::from(key) - f64::from(low)) / (f64::from(high) - f64::from(low)).max(1.0);
    let height = TOP + chart.bars.len() as f64 * LINE + 8.0;
    let mut out = open("register-chart", "", &chart.title, left, height);
    for (index, bar) in chart.bars.iter().enumerate() {
        let _ = write!(
            out,
            "<text x=\"-8\" y=\"{}\" text-anchor=\"end\" fill=\"currentColor\">{}</text>",
            px(TOP + index as f64 * LINE + LINE / 2.0 + 4.0),
            escaped(&shortened(&bar.label, LONGEST_NAME)),
        );
    }
    for key in (low..=high).step_by(12) {
        let octave = i16::from(key / 12) - 1;
        let _ = write!(
            out,
            "<line x1=\"{x}\" x2=\"{x}\" y1=\"{}\" y2=\"{}\" stroke=\"currentColor\" stroke-opacity=\"{}\"/>\
<text x=\"{x}\" y=\"14\" text-anchor=\"middle\" fill=\"currentColor\">C{octave}</text>",
            px(TOP - 6.0),
            px(height - 4.0),
            if key == 60 { "0.5" } else { "0.16" },
            x = percent(x(key)),
        );
    }
    for (index, bar) in chart.bars.iter().enumerate() {
        let y = TOP + index as f64 * LINE + LINE / 2.0;
        // A semitone wide at least, so that a single note shows.
        let line = |from: u8, to: u8, height: f64, opacity: &str| {
            format!(
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"2\" fill=\"#2b6f77\" fill-opacity=\"{opacity}\"/>",
                percent(x(from)),
                px(y - height / 2.0),
                percent((x(to) - x(from)).max(0.003)),
                px(height)
            )
        };
        let _ = write!(
            out,
            "<g><title>{}</title>{}{}<line x1=\"{m}\" x2=\"{m}\" y1=\"{}\" y2=\"{}\" stroke=\"currentColor\" stroke-width=\"2\"/></g>",
            escaped(&bar.tip),
            line(bar.range.0, bar.range.1, 4.0, "0.45"),
            line(bar.middle.0, bar.middle.1, 11.0, "0.9"),
            px(y - 7.0),
            px(y + 7.0),
            m = percent(x(bar.median)),
        );
    }
    out.push_str("</svg>\n");
    out
}
