//! Texts along the time axis that do not run into each other, whatever the width of the page.

use std::fmt::Write;

use crate::svg::{CHARACTER, escaped, percent, shortened};

/// A width of the field that texts are laid out for, and the class by which the page shows them.
struct Width {
    pixels: f64,
    class: &'static str,
    hidden: bool,
}

/// Wide windows, and narrow ones or paper. Without a style sheet the wide layout shows.
const WIDTHS: [Width; 2] =
    [Width { pixels: 1130.0, class: "wide", hidden: false }, Width { pixels: 540.0, class: "narrow", hidden: true }];

/// Height of a line of texts.
pub(crate) const LINE: f64 = 15.0;

/// A text at a share of the field's width.
pub(crate) struct Mark<'a> {
    pub at: f64,
    pub text: &'a str,
    /// Share of the width it may take; the way to the next mark at most.
    pub room: f64,
}

impl Mark<'_> {
    /// Where its text begins, as a share of the field: near the right edge as far left as the whole of it needs.
    #[allow(clippy::cast_precision_loss)] // letters
    fn start(&self, pixels: f64) -> f64 {
        if self.room < 1.0 {
            return self.at;
        }
        let needed = self.text.chars().count() as f64 * CHARACTER + 6.0;
        self.at.min(1.0 - needed / pixels).max(0.0)
    }
}

/// Pixels that a text needs at least, shortened.
#[allow(clippy::cast_precision_loss)] // letters
fn least(mark: &Mark<'_>) -> f64 {
    mark.text.chars().count().min(7) as f64 * CHARACTER + 6.0
}

/// Which texts find place in which of at most so many lines: a text goes where the one before it ends, else into a new line, else where the one before
/// it can be shortened most gently. What finds no place at all is left out.
#[allow(clippy::cast_precision_loss)] // letters
fn lines<'m, 't>(marks: &'m [Mark<'t>], pixels: f64, most: usize) -> Vec<Vec<&'m Mark<'t>>> {
    let mut lines: Vec<Vec<&Mark<'_>>> = vec![Vec::new()];
    for mark in marks {
        let start = mark.start(pixels);
        let room = mark.room.min(1.0 - start) * pixels + if mark.room < 1.0 { 0.0 } else { 12.0 };
        if room < least(mark) {
            continue;
        }
        let way = |last: &Mark<'_>| (start - last.start(pixels)) * pixels;
        let whole = |last: &Mark<'_>| way(last) >= last.text.chars().count() as f64 * CHARACTER + 6.0;
        let whole = lines.iter().position(|line| line.last().is_none_or(|last| whole(last)));
        let place = match whole {
            Some(line) => Some(line),
            None if lines.len() < most => {
                lines.push(Vec::new());
                Some(lines.len() - 1)
            }
            None => {
                let ways = lines.iter().enumerate().filter_map(|(at, line)| line.last().map(|last| (at, way(last), least(last))));
                let widest = ways.filter(|(_, way, least)| way >= least).max_by(|one, other| one.1.total_cmp(&other.1));
                widest.map(|(at, ..)| at)
            }
        };
        if let Some(place) = place {
            lines[place].push(mark);
        }
    }
    lines
}

/// How many lines, at most so many, the texts take where it is wide.
pub(crate) fn lines_taken(marks: &[Mark<'_>], most: usize) -> usize {
    lines(marks, WIDTHS[0].pixels, most).len()
}

/// Writes texts once for each width, in so many lines below each other, the first at `y`; those without room are shortened or left out.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // letters
pub(crate) fn write(out: &mut String, marks: &[Mark<'_>], y: f64, most: usize, style: &str) {
    for width in &WIDTHS {
        let hidden = if width.hidden { " display=\"none\"" } else { "" };
        let _ = write!(out, "<g class=\"{}\"{hidden}>", width.class);
        for (line, shown) in lines(marks, width.pixels, most).iter().enumerate() {
            let y = y + line as f64 * LINE;
            for (index, mark) in shown.iter().enumerate() {
                let start = mark.start(width.pixels);
                let next = shown.get(index + 1).map_or(1.0 + 12.0 / width.pixels, |next| next.start(width.pixels));
                let room = mark.room.min(next - start) * width.pixels - 4.0;
                let letters = (room / CHARACTER).max(0.0) as usize;
                let text = shortened(mark.text, letters.max(1));
                let _ = write!(out, "<text x=\"{}\" dx=\"2\" y=\"{y}\" {style}>{}</text>", percent(start), escaped(&text));
            }
        }
        out.push_str("</g>");
    }
}

/// Writes numbers at round distances: as many as find place.
pub(crate) fn ruler(out: &mut String, bars: &[String], y: f64, bottom: f64) {
    #[allow(clippy::cast_precision_loss)] // columns
    let share = |columns: usize| columns as f64 / bars.len().max(1) as f64;
    for width in &WIDTHS {
        let step = [1usize, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000].into_iter();
        let step = step.into_iter().find(|&step| share(step) * width.pixels >= 36.0).unwrap_or(2000);
        let hidden = if width.hidden { " display=\"none\"" } else { "" };
        let _ = write!(out, "<g class=\"{}\"{hidden}>", width.class);
        let mut free = f64::MIN;
        for (column, number) in bars.iter().enumerate() {
            // Round printed numbers where bars are numbered, every so many columns where they are not.
            let round = number.parse::<usize>().map_or(column % step == 0, |printed| printed % step == 0) || column == 0;
            let x = share(column);
            if !round || x * width.pixels < free {
                continue;
            }
            free = x * width.pixels + 30.0;
            let _ = write!(
                out,
                "<line x1=\"{at}\" x2=\"{at}\" y1=\"{}\" y2=\"{bottom}\" stroke=\"currentColor\" stroke-opacity=\"0.16\"/>\
<text x=\"{at}\" dx=\"2\" y=\"{y}\" fill=\"currentColor\" fill-opacity=\"0.8\">{}</text>",
                y - 9.0,
                escaped(number),
                at = percent(x),
            );
        }
        out.push_str("</g>");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_without_room_is_left_out_where_it_is_narrow() {
        let marks = [
            Mark { at: 0.0, text: "Adagio", room: 1.0 },
            Mark { at: 0.06, text: "Andante", room: 1.0 },
            Mark { at: 0.5, text: "Allegro non troppo", room: 1.0 },
        ];
        let mut out = String::new();
        write(&mut out, &marks, 10.0, 1, "");
        let (wide, narrow) = out.split_once("class=\"narrow\"").expect("two layouts");
        assert!(wide.contains("Andante") && !narrow.contains("Andante"), "{out}");
        assert!(narrow.contains("Adagio") && narrow.contains("Allegro non troppo"));
    }

    /// As the demo has them: bars 47, 50 and 51 of 109.
    #[test]
    fn texts_close_together_stand_below_each_other() {
        let at = |bar: f64, text| Mark { at: bar / 109.0, text, room: 1.0 };
        let marks = [at(47.0, "Poco meno mosso"), at(50.0, "rit"), at(51.0, "Andante cantabile"), at(71.0, "Allegro agitato")];
        assert_eq!(lines_taken(&marks, 3), 3);
        assert_eq!(lines_taken(&marks[..1], 3), 1);
        let mut out = String::new();
        write(&mut out, &marks, 10.0, 3, "");
        for mark in &marks {
            assert_eq!(out.matches(&format!(">{}<", mark.text)).count(), 2, "wide and narrow: {out}");
        }
        assert!(out.contains("y=\"10\"") && out.contains("y=\"25\"") && out.contains("y=\"40\""));
    }

    /// Tempo marks of a symphony's movement, closer together than words are long, up to its last bars: all of them are written in full where it is wide.
    #[test]
    fn no_tempo_is_left_out_or_cut_where_it_is_wide() {
        let at = |bar: f64, text| Mark { at: bar / 511.0, text, room: 1.0 };
        let marks = [
            at(0.0, "Adagio"),
            at(14.0, "Bewegter (im künftigen Allegrotempo)"),
            at(17.0, "Adagio"),
            at(22.0, "Bewegter"),
            at(30.0, "Tempo I"),
            at(50.0, "Allegro"),
            at(131.0, "a Tempo"),
            at(133.0, "ritard."),
            at(136.0, "Tempo von vorher im Allegro"),
            at(400.0, "ritard."),
            at(403.0, "a Tempo"),
            at(505.0, "crotchet = 72, breiter werdend"),
        ];
        let taken = lines_taken(&marks, 6);
        let mut out = String::new();
        write(&mut out, &marks, 10.0, taken, "");
        let (wide, _) = out.split_once("class=\"narrow\"").expect("two layouts");
        for mark in &marks {
            let told = marks.iter().filter(|other| other.text == mark.text).count();
            assert_eq!(wide.matches(&format!(">{}<", mark.text)).count(), told, "{}: {wide}", mark.text);
        }
        // Words that follow each other in a line do not meet.
        for line in lines(&marks, WIDTHS[0].pixels, taken) {
            for pair in line.windows(2) {
                let way = (pair[1].start(WIDTHS[0].pixels) - pair[0].start(WIDTHS[0].pixels)) * WIDTHS[0].pixels;
                assert!(way >= pair[0].text.chars().count() as f64 * CHARACTER, "{} and {}", pair[0].text, pair[1].text);
            }
        }
    }

    /// Labels of cells that follow each other, each 50 pixels wide in a wide window.
    #[test]
    fn a_label_ends_with_its_cell() {
        let cell = |at, text| Mark { at, text, room: 50.0 / 1130.0 };
        let mut out = String::new();
        write(&mut out, &[cell(0.1, "among others"), cell(0.1 + 50.0 / 1130.0, "prominent")], 10.0, 1, "");
        assert!(out.contains(">among…<") && out.contains(">promin…<"), "{out}");
    }

    #[test]
    fn round_numbers_stand_on_the_ruler() {
        let bars: Vec<String> = (1..=400).map(|bar| bar.to_string()).collect();
        let mut out = String::new();
        ruler(&mut out, &bars, 10.0, 20.0);
        let (wide, narrow) = out.split_once("class=\"narrow\"").expect("two layouts");
        assert!(wide.contains(">1<") && wide.contains(">20<") && !wide.contains(">21<"));
        assert!(narrow.contains(">50<") && !narrow.contains(">20<"));
    }
}
