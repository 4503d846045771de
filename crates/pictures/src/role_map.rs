//! The role map: rows are parts in score order, columns are bars, colour and texture tell the role.

use std::fmt::Write;

use ripieno_texture::Role;

use crate::palette::fill;
use crate::svg::{escaped, patterns, px};

/// One stretch of a row with one role.
#[derive(Debug, Clone, PartialEq)]
pub struct MapCell {
    /// First column, from 0.
    pub first: usize,
    /// Column after the last.
    pub end: usize,
    /// The role shown; tacet is left blank.
    pub role: Role,
    /// Which strip of the row it takes, from the top, and how many strips share the row here: two lines on one staff are
    /// drawn one above the other.
    pub strip: (usize, usize),
    /// What a pointer resting there is told.
    pub tip: String,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct MapRow {
    /// Name at the left.
    pub label: String,
    /// Whether a new section or family begins here: more space above.
    pub opens_group: bool,
    /// Its cells, ascending, not overlapping.
    pub cells: Vec<MapCell>,
}

/// The whole map.
#[derive(Debug, Clone, PartialEq)]
pub struct RoleMap {
    /// What the picture shows, for those who cannot see it.
    pub title: String,
    /// Printed number of each column's bar.
    pub bars: Vec<String>,
    /// Columns with a heading above, such as rehearsal marks: (column, text).
    pub headings: Vec<(usize, String)>,
    /// Rows from the top.
    pub rows: Vec<MapRow>,
}

const ROW: f64 = 15.0;
const GAP: f64 = 3.0;
const GROUP_GAP: f64 = 8.0;
const TOP: f64 = 34.0;
const CHARACTER: f64 = 6.1;
/// Width of the field of bars aimed at, and the bounds of one bar's width.
const FIELD: f64 = 1400.0;
const BAR_WIDTH: std::ops::RangeInclusive<f64> = 1.6..=22.0;

/// Where things lie; columns and rows in user units.
struct Layout {
    left: f64,
    bar: f64,
    /// Top of each row.
    rows: Vec<f64>,
    width: f64,
    height: f64,
}

impl Layout {
    #[allow(clippy::cast_precision_loss)] // counts of rows, columns and characters
    fn new(map: &RoleMap) -> Self {
        let longest = map.rows.iter().map(|row| row.label.chars().count()).max().unwrap_or(0).min(32);
        let left = longest as f64 * CHARACTER + 14.0;
        let bars = map.bars.len().max(1) as f64;
        let bar = (FIELD / bars).clamp(*BAR_WIDTH.start(), *BAR_WIDTH.end());
        let mut y = TOP;
        let mut rows = Vec::with_capacity(map.rows.len());
        for (index, row) in map.rows.iter().enumerate() {
            if row.opens_group && index > 0 {
                y += GROUP_GAP;
            }
            rows.push(y);
            y += ROW + GAP;
        }
        Self { left, bar, rows, width: left + bars * bar + 10.0, height: y + 8.0 }
    }

    #[allow(clippy::cast_precision_loss)] // column numbers
    fn x(&self, column: usize) -> f64 {
        self.left + column as f64 * self.bar
    }
}

/// Draws the map. Each cell is a `rect` with `data-first` and `data-end` (columns) and a tip.
#[must_use]
pub fn role_map(map: &RoleMap) -> String {
    let layout = Layout::new(map);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"role-map\" role=\"img\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" \
data-left=\"{left}\" data-bar=\"{bar}\" font-family=\"system-ui, sans-serif\" font-size=\"11\"><title>{title}</title>{patterns}",
        w = px(layout.width),
        h = px(layout.height),
        left = px(layout.left),
        bar = px(layout.bar),
        title = escaped(&map.title),
        patterns = patterns(),
    );
    ruler(&mut out, map, &layout);
    for (row, &y) in map.rows.iter().zip(&layout.rows) {
        draw_row(&mut out, row, y, &layout);
    }
    names(&mut out, map, &layout);
    out.push_str("</svg>\n");
    out
}

/// The rows' names, as one group over the map that a page can keep in view when the map is moved sideways.
fn names(out: &mut String, map: &RoleMap, layout: &Layout) {
    let _ = write!(
        out,
        "<g class=\"names\"><rect width=\"{}\" height=\"{}\" fill=\"none\"/>",
        px(layout.left - 3.0),
        px(layout.height)
    );
    for (row, &y) in map.rows.iter().zip(&layout.rows) {
        let label: String =
            if row.label.chars().count() > 32 { row.label.chars().take(31).chain(['…']).collect() } else { row.label.clone() };
        let _ = write!(
            out,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"end\" fill=\"currentColor\">{}</text>",
            px(layout.left - 7.0),
            px(y + ROW - 4.0),
            escaped(&label)
        );
    }
    out.push_str("</g>");
}

/// Bar numbers at round distances, rehearsal marks above them.
fn ruler(out: &mut String, map: &RoleMap, layout: &Layout) {
    let bottom = layout.height - 6.0;
    // A number needs about 34 units; take the first round step that leaves as much.
    let step =
        [1usize, 2, 4, 5, 10, 20, 25, 50, 100, 200, 500, 1000].into_iter().find(|&step| layout.x(step) - layout.x(0) >= 34.0);
    let step = step.unwrap_or(2000);
    let mut free = f64::MIN;
    for (column, number) in map.bars.iter().enumerate() {
        // Round printed numbers where bars are numbered, every so many columns where they are not.
        let round = number.parse::<usize>().map_or(column % step == 0, |printed| printed % step == 0 || column == 0);
        if !round || layout.x(column) < free {
            continue;
        }
        free = layout.x(column) + 30.0;
        let x = px(layout.x(column));
        let _ =
            write!(out, "<path d=\"M{x} {} V{}\" stroke=\"currentColor\" stroke-opacity=\"0.16\"/>", px(TOP - 4.0), px(bottom));
        let _ = write!(
            out,
            "<text x=\"{x}\" y=\"{}\" dx=\"2\" fill=\"currentColor\" fill-opacity=\"0.75\">{}</text>",
            px(TOP - 7.0),
            escaped(number)
        );
    }
    let mut free = f64::MIN;
    for (column, text) in &map.headings {
        let x = layout.x(*column);
        if x >= free {
            let _ =
                write!(out, "<text x=\"{}\" y=\"11\" font-weight=\"700\" fill=\"currentColor\">{}</text>", px(x), escaped(text));
            #[allow(clippy::cast_precision_loss)] // characters of a heading
            let width = text.chars().count() as f64 * CHARACTER;
            free = x + width + 8.0;
        }
    }
}

fn draw_row(out: &mut String, row: &MapRow, y: f64, layout: &Layout) {
    let _ = write!(
        out,
        "<path d=\"M{} {y} H{}\" stroke=\"currentColor\" stroke-opacity=\"0.13\"/>",
        px(layout.left),
        px(layout.width - 10.0),
        y = px(y + ROW / 2.0)
    );
    for cell in row.cells.iter().filter(|cell| cell.role != Role::Tacet && cell.end > cell.first) {
        let (x, end) = (layout.x(cell.first), layout.x(cell.end));
        #[allow(clippy::cast_precision_loss)] // a few lines on a staff
        let (strip, strips) = (cell.strip.0 as f64, cell.strip.1.max(1) as f64);
        let _ = write!(
            out,
            "<rect class=\"cell\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\" data-first=\"{}\" data-end=\"{}\"><title>{}</title></rect>",
            px(x),
            px(y + ROW * strip / strips),
            px((end - x - 0.4).max(0.6)),
            px(ROW / strips),
            fill(cell.role),
            cell.first,
            cell.end,
            escaped(&cell.tip)
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map() -> RoleMap {
        let cell = |first, end, role| MapCell { first, end, role, strip: (0, 1), tip: format!("{role} <&>") };
        RoleMap {
            title: "Roles".into(),
            bars: (1..=8).map(|n| n.to_string()).collect(),
            headings: vec![(0, "A".into()), (4, "B".into())],
            rows: vec![
                MapRow {
                    label: "Flute".into(),
                    opens_group: true,
                    cells: vec![cell(0, 4, Role::Melody), cell(4, 8, Role::Tacet)],
                },
                MapRow { label: "Horn".into(), opens_group: true, cells: vec![cell(2, 6, Role::Rhythm)] },
            ],
        }
    }

    #[test]
    fn cells_lie_over_their_bars_and_tacet_is_blank() {
        let svg = role_map(&map());
        assert_eq!(svg.matches("class=\"cell\"").count(), 2);
        assert!(svg.contains("data-first=\"2\" data-end=\"6\""));
        assert!(svg.contains("&lt;&amp;&gt;"), "tips are escaped");
    }

    #[test]
    fn rows_do_not_overlap() {
        let layout = Layout::new(&map());
        assert!(layout.rows[1] - layout.rows[0] >= ROW + GAP + GROUP_GAP);
    }
}
