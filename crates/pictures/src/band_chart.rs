//! The band chart: how high and low each group sounds over the bars, as the page draws it.

use std::fmt::Write;

use crate::marks::ruler;
use crate::svg::{escaped, open, px, room_for};

/// Lowest and highest key from one place to another, in columns: 3.5 is the middle of the fourth bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandStep {
    /// Where it begins.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// Lowest sounding key (MIDI).
    pub low: u8,
    /// Highest.
    pub high: u8,
}

/// One group.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Its name, for those who cannot see it.
    pub label: String,
    /// Its colour, as `#rrggbb`.
    pub colour: String,
    /// Its steps, ascending; of single notes, one each.
    pub steps: Vec<BandStep>,
    /// Single notes, drawn solid: what lies between them is not theirs.
    pub is_solid: bool,
}

/// The chart.
#[derive(Debug, Clone, PartialEq)]
pub struct BandChart {
    /// What the picture shows, for those who cannot see it.
    pub title: String,
    /// The bar of the first column, from 0.
    pub first: usize,
    /// Printed number of each column's bar.
    pub bars: Vec<String>,
    /// Groups; later ones lie over earlier ones.
    pub bands: Vec<Band>,
}

/// Height of a semitone and of the bar numbers above the field.
const STEP: f64 = 3.0;
const TOP: f64 = 22.0;

/// Draws the chart, as wide as the page; octaves are ruled at every C.
#[must_use]
#[allow(clippy::cast_precision_loss)] // columns
pub fn band_chart(chart: &BandChart) -> String {
    let steps = || chart.bands.iter().flat_map(|band| &band.steps);
    let low = steps().map(|step| step.low).min().unwrap_or(48);
    let high = steps().map(|step| step.high).max().unwrap_or(72);
    let (low, high) = (low - low % 12, high.saturating_add(12 - high % 12).min(127));
    let field = f64::from(high - low + 1) * STEP;
    let y = |key: u8| f64::from(high - key) * STEP;
    let left = room_for(["bar", "C-1"].into_iter());
    let data = format!(" data-first=\"{}\" data-count=\"{}\"", chart.first, chart.bars.len());
    let mut out = open("band-chart", &data, &chart.title, left, TOP + field + 6.0);
    out.push_str("<text x=\"-7\" y=\"14\" text-anchor=\"end\" fill=\"currentColor\" fill-opacity=\"0.75\">bar</text>");
    ruler(&mut out, &chart.bars, TOP - 8.0, TOP + field);
    for key in (low..=high).step_by(12) {
        let at = TOP + y(key) + STEP / 2.0;
        let _ = write!(
            out,
            "<line x2=\"100%\" y1=\"{at}\" y2=\"{at}\" stroke=\"currentColor\" stroke-opacity=\"{}\"/>\
<text x=\"-7\" y=\"{}\" text-anchor=\"end\" fill=\"currentColor\">C{}</text>",
            if key == 60 { "0.5" } else { "0.16" },
            px(at + 4.0),
            i16::from(key / 12) - 1,
            at = px(at)
        );
    }
    let columns = chart.bars.len().max(1) as f64;
    for band in &chart.bands {
        // One path for the fill and one for its edges, in units of a column across and a pixel down.
        let (mut fill, mut edges) = (String::new(), String::new());
        for step in &band.steps {
            let (top, bottom) = (y(step.high), y(step.low) + STEP);
            let (x, wide) = (px(step.from), px(step.to - step.from));
            let _ = write!(fill, "M{x} {}h{wide}v{}h-{wide}z", px(top), px(bottom - top));
            if band.is_solid {
                continue;
            }
            let _ = write!(edges, "M{x} {}h{wide}v1h-{wide}zM{x} {}h{wide}v1h-{wide}z", px(top), px(bottom - 1.0));
        }
        let _ = write!(
            out,
            "<svg y=\"{}\" width=\"100%\" height=\"{}\" viewBox=\"0 0 {} {}\" preserveAspectRatio=\"none\"><title>{}</title>\
<path d=\"{fill}\" fill=\"{c}\"{opacity}/>",
            px(TOP),
            px(field),
            px(columns),
            px(field),
            escaped(&band.label),
            c = band.colour,
            opacity = if band.is_solid { "" } else { " fill-opacity=\"0.24\"" },
        );
        if !band.is_solid {
            let _ = write!(out, "<path d=\"{edges}\" fill=\"{}\"/>", band.colour);
        }
        out.push_str("</svg>");
    }
    out.push_str("</svg>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_lie_over_their_bars_and_keys() {
        let band = |label: &str, steps| Band { label: label.into(), colour: "#8a3f63".into(), steps, is_solid: false };
        let chart = BandChart {
            title: "Register".into(),
            first: 0,
            bars: (1..=4).map(|bar| bar.to_string()).collect(),
            bands: vec![
                band("strings <low>", vec![BandStep { from: 1.0, to: 2.5, low: 48, high: 59 }]),
                band("brass", Vec::new()),
            ],
        };
        let svg = band_chart(&chart);
        // From C3 to C4 there are 13 semitones of three pixels: B3 lies one below the top, and the band is twelve semitones high.
        assert!(svg.contains("viewBox=\"0 0 4 39\"") && svg.contains("M1 3h1.5v36h-1.5z"), "{svg}");
        assert!(svg.contains(">C4<") && svg.contains("strings &lt;low&gt;") && svg.contains("fill-opacity=\"0.24\""));
        let solid = Band { is_solid: true, ..chart.bands[0].clone() };
        assert!(!band_chart(&BandChart { bands: vec![solid], ..chart.clone() }).contains("fill-opacity=\"0.24\""));
        assert!(band_chart(&BandChart { bands: Vec::new(), bars: Vec::new(), ..chart }).ends_with("</svg>\n"));
    }
}
