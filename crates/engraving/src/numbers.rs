//! Bar numbers in a row of their own under each system, clear of the music: a score is cited by its bars.

use std::fmt::Write;

use crate::page::Page;
use crate::systems::inked;

/// Height of the figures, in the page's inner units (a staff is 720 high).
const FIGURES: f64 = 300.0;
/// From the lowest ink of a system to the foot of the figures.
const BELOW: f64 = 420.0;

/// Numbers the bars of a page; `labels` are those of all bars from the page's first on. Answers how many bars the page has.
pub(crate) fn number_bars(page: &mut Page, labels: &[String]) -> usize {
    // A page that cannot be read again has no bars to number.
    let systems = inked(&page.svg).unwrap_or_default();
    let mut numbers = String::new();
    let mut labels = labels.iter();
    let mut count = 0;
    for (_, system) in &systems {
        for &x in system.bars.iter().filter(|x| x.is_finite()) {
            count += 1;
            let Some(label) = labels.next() else { continue };
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
    count
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
