//! Is the melody heard, do chords ring evenly: estimated from a seat in a hall.

use ripieno_study::acoustics::Situation;
use ripieno_study::{BalanceTopic, Study};

use super::text::escaped;

/// The sentences with their bars; empty where there is nothing to say, and for a chart, which cannot be weighed.
pub(super) fn balance(study: &Study) -> String {
    let Ok(balance) = study.balance(Situation::hall()) else { return String::new() };
    let found = balance.sentences(study);
    if found.is_empty() {
        return String::new();
    }
    let mut out = format!(
        "<p>Heard: {}. An estimate from published and remembered values, not a measurement; it knows masking, not expression or rehearsal. \
Other places, all bars and exposure: <code>ripieno balance</code>.</p>\n<ul>\n",
        escaped(&balance.situation.to_string())
    );
    for finding in &found {
        let bars = study.cite(&finding.bars).to_string();
        let cited = if bars.is_empty() || finding.topic == BalanceTopic::Spot {
            String::new()
        } else {
            format!(" Bars {}.", escaped(&bars))
        };
        out += &format!("<li>{}{cited}</li>\n", escaped(&finding.text));
    }
    out + "</ul>\n"
}
