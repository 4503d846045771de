//! Is the melody heard, do chords ring evenly: estimated from a seat in a hall.

use ripieno_pictures::bar_map;
use ripieno_study::Study;
use ripieno_study::acoustics::Situation;

use super::text::{cited, escaped, legend};
use crate::map::{balance_keys, balance_map};

/// The sentences with their bars; empty where there is nothing to say, and for a chart, which cannot be weighed.
pub(super) fn balance(study: &Study) -> String {
    let Ok(balance) = study.balance(Situation::hall()) else { return String::new() };
    let found = balance.sentences(study);
    if found.is_empty() {
        return String::new();
    }
    let map = balance_map(study, &balance);
    let mut out = format!(
        "<p><strong>An estimate</strong> from published and remembered values, not a measurement; it knows masking, not expression or rehearsal. Heard: {}. \
Other places, all bars and exposure: <code>ripieno balance</code>.</p>\n{}<div class=\"picture\">\n{}</div>\n<ul>\n",
        escaped(&balance.situation.to_string()),
        legend(&balance_keys()),
        bar_map(&map, 0..map.bars.len(), false)
    );
    for finding in &found {
        out +=
            &format!("<li>{} <span class=\"where\">{}</span></li>\n", escaped(&finding.text), cited(&study.cite(&finding.bars)));
    }
    out + "</ul>\n"
}
