//! The map: rows are parts or sections in score order, columns are bars. It is as wide as the page, however many bars it has.

use std::fmt::Write;
use std::ops::Range;

use crate::marks::{LINE, Mark, lines_taken, ruler, write as write_marks};
use crate::svg::{LONGEST_NAME, escaped, open, percent, px, room_for, shortened};

/// One stretch of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct MapCell {
    /// First column, from 0.
    pub first: usize,
    /// Column after the last.
    pub end: usize,
    /// SVG fill: a colour, or a texture of [`crate::definitions`].
    pub fill: String,
    /// Which strip of the row it takes, from the top, and how many strips share the row here: two lines on one staff are
    /// drawn one above the other.
    pub strip: (usize, usize),
    /// A few letters drawn on it where they find place; may be empty.
    pub label: String,
    /// Number under which the page tells more, written as `data-more`.
    pub more: Option<usize>,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct MapRow {
    /// Name at the left.
    pub label: String,
    /// Whether a new section or family begins here: more space above.
    pub opens_group: bool,
    /// Its cells, ascending.
    pub cells: Vec<MapCell>,
}

/// A line of words above the rows: tempo, metre, keys.
#[derive(Debug, Clone, PartialEq)]
pub struct MapLane {
    /// Name at the left.
    pub label: String,
    /// Columns with their texts, ascending.
    pub marks: Vec<(usize, String)>,
    /// Whether texts that stand too close for one line go into a second and third.
    pub staggered: bool,
}

/// The whole map.
#[derive(Debug, Clone, PartialEq)]
pub struct BarMap {
    /// What the picture shows, for those who cannot see it.
    pub title: String,
    /// Printed number of each column's bar.
    pub bars: Vec<String>,
    /// Lines of words above, from the top.
    pub lanes: Vec<MapLane>,
    /// Rows from the top.
    pub rows: Vec<MapRow>,
}

const ROW: f64 = 15.0;
const GAP: f64 = 3.0;
const GROUP_GAP: f64 = 7.0;
/// Lines of a staggered lane at most.
const MOST_LINES: usize = 6;
const RULER: f64 = 16.0;

/// A part of the map: some columns, and the rows shown.
struct Stretch<'a> {
    map: &'a BarMap,
    columns: Range<usize>,
    /// Rows with the top of each.
    rows: Vec<(&'a MapRow, f64)>,
    /// The lines of words: base of the first line of each, its texts in these columns, and how many lines they take.
    lanes: Vec<(f64, Vec<Mark<'a>>, usize)>,
    left: f64,
    top: f64,
    height: f64,
}

impl<'a> Stretch<'a> {
    #[allow(clippy::cast_precision_loss)] // a few lanes
    fn new(map: &'a BarMap, columns: Range<usize>, only_sounding: bool) -> Self {
        let names = map.rows.iter().map(|row| row.label.as_str()).chain(map.lanes.iter().map(|lane| lane.label.as_str()));
        let left = room_for(names);
        let mut lanes = Vec::new();
        let mut y = 0.0;
        for lane in &map.lanes {
            let marks = in_force(lane, &columns);
            let lines = lines_taken(&marks, if lane.staggered { MOST_LINES } else { 1 });
            lanes.push((y + 11.0, marks, lines));
            y += lines as f64 * LINE;
        }
        let top = y + RULER + 4.0;
        let mut y = top;
        let mut rows: Vec<(&MapRow, f64)> = Vec::new();
        let mut opens = false;
        for row in &map.rows {
            opens |= row.opens_group;
            if only_sounding && !row.cells.iter().any(|cell| cell.first < columns.end && cell.end > columns.start) {
                continue;
            }
            if opens && !rows.is_empty() {
                y += GROUP_GAP;
            }
            opens = false;
            rows.push((row, y));
            y += ROW + GAP;
        }
        Self { map, columns, rows, lanes, left, top, height: y + 4.0 }
    }

    fn x(&self, column: usize) -> f64 {
        place(column, &self.columns)
    }
}

/// Place of a column as a share of the field.
#[allow(clippy::cast_precision_loss)] // columns
fn place(column: usize, columns: &Range<usize>) -> f64 {
    let inside = column.clamp(columns.start, columns.end) - columns.start;
    inside as f64 / columns.len().max(1) as f64
}

/// What stands over these columns; what is in force where they begin stands at their beginning.
fn in_force<'a>(lane: &'a MapLane, columns: &Range<usize>) -> Vec<Mark<'a>> {
    let before = lane.marks.iter().rposition(|(column, _)| *column <= columns.start).unwrap_or(0);
    let inside = |(column, _): &&(usize, String)| *column < columns.end;
    lane.marks[before.min(lane.marks.len())..]
        .iter()
        .take_while(inside)
        .map(|(column, text)| Mark { at: place(*column, columns), text, room: 1.0 })
        .collect()
}

/// Draws some columns of the map, all rows or only those that have a cell there. The first column and their number
/// stand in `data-first` and `data-count`; each cell is a `rect` of class `cell`.
#[must_use]
pub fn bar_map(map: &BarMap, columns: Range<usize>, only_sounding: bool) -> String {
    let columns = columns.start.min(map.bars.len())..columns.end.min(map.bars.len());
    let stretch = Stretch::new(map, columns.clone(), only_sounding);
    let data = format!(" data-first=\"{}\" data-count=\"{}\"", columns.start, columns.len());
    let mut out = open("bar-map", &data, &map.title, stretch.left, stretch.height);
    names(&mut out, &stretch);
    ruler(&mut out, &map.bars[columns], stretch.top - 6.0, stretch.height - 4.0);
    lanes(&mut out, &stretch);
    for &(row, y) in &stretch.rows {
        draw_row(&mut out, row, y, &stretch);
    }
    out.push_str("</svg>\n");
    out
}

fn names(out: &mut String, stretch: &Stretch<'_>) {
    let mut name = |text: &str, y: f64, style: &str| {
        let text = escaped(&shortened(text, LONGEST_NAME));
        let _ = write!(out, "<text x=\"-7\" y=\"{}\" text-anchor=\"end\" fill=\"currentColor\"{style}>{text}</text>", px(y));
    };
    for (lane, (y, ..)) in stretch.map.lanes.iter().zip(&stretch.lanes) {
        name(&lane.label, *y, " fill-opacity=\"0.75\"");
    }
    name("bar", stretch.top - 6.0, " fill-opacity=\"0.75\"");
    for (row, y) in &stretch.rows {
        name(&row.label, y + ROW - 4.0, "");
    }
}

#[allow(clippy::cast_precision_loss)] // a few lanes
fn lanes(out: &mut String, stretch: &Stretch<'_>) {
    for (y, marks, lines) in &stretch.lanes {
        // Every mark has its tick below the last line, whether its words find place or not.
        let base = y + lines.saturating_sub(1) as f64 * LINE;
        for mark in marks {
            let x = percent(mark.at);
            let (top, bottom) = (px(base + 1.0), px(base + 4.0));
            let _ = write!(
                out,
                "<line x1=\"{x}\" x2=\"{x}\" y1=\"{top}\" y2=\"{bottom}\" stroke=\"currentColor\" stroke-opacity=\"0.55\"/>"
            );
        }
        write_marks(out, marks, *y, *lines, "fill=\"currentColor\"");
    }
}

fn draw_row(out: &mut String, row: &MapRow, y: f64, stretch: &Stretch<'_>) {
    let middle = px(y + ROW / 2.0);
    let _ = write!(out, "<line x2=\"100%\" y1=\"{middle}\" y2=\"{middle}\" stroke=\"currentColor\" stroke-opacity=\"0.13\"/>");
    let mut labels = Vec::new();
    for cell in row.cells.iter().filter(|cell| cell.first < stretch.columns.end && cell.end > stretch.columns.start) {
        let (x, end) = (stretch.x(cell.first), stretch.x(cell.end));
        #[allow(clippy::cast_precision_loss)] // a few lines on a staff
        let (strip, strips) = (cell.strip.0 as f64, cell.strip.1.max(1) as f64);
        let more = cell.more.map_or_else(String::new, |more| format!(" data-more=\"{more}\""));
        let _ = write!(
            out,
            "<rect class=\"cell\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"{more}/>",
            percent(x),
            px(y + ROW * strip / strips),
            percent(end - x),
            px(ROW / strips),
            cell.fill,
        );
        if !cell.label.is_empty() {
            labels.push(Mark { at: x, text: &cell.label, room: end - x });
        }
    }
    if !labels.is_empty() {
        write_marks(out, &labels, y + ROW - 4.0, 1, "class=\"on-cell\"");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map() -> BarMap {
        let cell = |first, end, more| MapCell {
            first,
            end,
            fill: "#123456".into(),
            strip: (0, 1),
            label: String::new(),
            more: Some(more),
        };
        BarMap {
            title: "Roles <&>".into(),
            bars: (1..=8).map(|n| n.to_string()).collect(),
            lanes: vec![MapLane {
                label: "tempo".into(),
                marks: vec![(0, "Adagio".into()), (6, "Allegro".into())],
                staggered: true,
            }],
            rows: vec![
                MapRow { label: "Flute".into(), opens_group: true, cells: vec![cell(0, 4, 1)] },
                MapRow { label: "Horn".into(), opens_group: true, cells: vec![cell(2, 6, 2)] },
            ],
        }
    }

    #[test]
    fn the_map_is_as_wide_as_the_page_and_cells_lie_over_their_bars() {
        let svg = bar_map(&map(), 0..8, false);
        assert!(svg.contains("width:calc(100% - ") && !svg.contains("viewBox"));
        assert!(svg.contains("x=\"25%\"") && svg.contains("width=\"50%\""), "bars 3 to 6 of 8: {svg}");
        assert!(svg.contains("Roles &lt;&amp;&gt;"));
    }

    #[test]
    fn a_stretch_shows_what_sounds_in_it_and_what_is_in_force() {
        let svg = bar_map(&map(), 4..8, true);
        assert!(!svg.contains(">Flute<") && svg.contains(">Horn<"));
        assert!(svg.contains("data-more=\"2\"") && svg.contains("x=\"0%\"") && svg.contains("width=\"50%\""));
        assert!(svg.contains(">Adagio<") && svg.contains(">Allegro<"), "{svg}");
    }

    #[test]
    fn rows_do_not_overlap() {
        let map = map();
        let stretch = Stretch::new(&map, 0..8, false);
        assert!(stretch.rows[1].1 - stretch.rows[0].1 >= ROW + GAP + GROUP_GAP);
    }
}
