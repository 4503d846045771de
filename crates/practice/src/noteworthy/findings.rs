//! Findings in words: plain sentences from measures, each with its numbers and bars, the most unusual first.

use super::{interval, of, one};
use crate::material::Material;
use crate::measure::{Subject, Taken, Value};

/// One sentence, and the bars that prove it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sentence {
    /// The sentence, without bar numbers: those are [`Sentence::bars`].
    pub text: String,
    /// Name of the measure it rests on.
    pub measure: &'static str,
    /// Played bars, ascending; never empty.
    pub bars: Vec<u32>,
    /// How unusual, 0 to 1: the list's order.
    pub weight: f64,
}

/// Sentences about a score from its measures, the most unusual first. Each speaks of this score only.
#[must_use]
pub fn findings(material: &Material<'_>, taken: &[Taken]) -> Vec<Sentence> {
    let mut found = Vec::new();
    let name = |subject: Subject| material.name(subject);
    for index in 0..material.groups.sections.len() {
        let section = Subject::Section(index);
        presence(material, taken, section, &mut found);
        reserve(material, taken, section, &mut found);
        roles(material, taken, section, &mut found);
    }
    for (part, _) in material.score.parts.iter().enumerate() {
        never_beside(material, taken, Subject::Part(part), &mut found);
    }
    for value in of(taken, "cohesion").iter().filter(|value| value.aspect == "together") {
        let share = percent(value.value);
        if value.value >= 0.995 {
            add(&mut found, "cohesion", format!("The {} always act together.", name(value.of)), &value.bars, 0.3);
        } else if value.value < 0.7 && !value.bars.is_empty() {
            let text = format!("The {} act together in only {share} of the time in which several of them sound.", name(value.of));
            add(&mut found, "cohesion", text, &value.bars, 0.4 + 0.4 * (0.7 - value.value));
        }
    }
    for value in of(taken, "stack").iter().filter(|value| value.aspect == "one stack") {
        let whole = one(taken, "stack", value.of, "tutti bars").map_or(0.0, |tutti| tutti.value);
        let text = format!(
            "Where all sections of the {} play ({whole} bars), they are one chord in one rhythm for {} of the time.",
            if value.of == Subject::Everybody { "orchestra".to_owned() } else { name(value.of) },
            percent(value.value)
        );
        add(&mut found, "stack", text, &value.bars, 0.45 + 0.2 * (value.value - 0.5).abs());
    }
    for value in of(taken, "separation") {
        let (Some(with), Subject::Section(_)) = (value.with, value.of) else { continue };
        if value.aspect == "overlapping" && value.value >= 0.75 {
            let text = format!(
                "The {} and the {} overlap in register for {} of the time in which they are neighbours.",
                name(value.of),
                name(with),
                percent(value.value)
            );
            add(&mut found, "separation", text, &value.bars, 0.3 + 0.2 * value.value);
        }
        if value.aspect == "widest gap" && value.value >= 19.0 {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // whole semitones
            let size = interval(value.value as u32);
            let text = format!("Between the {} and the {} lies at most {size}.", name(value.of), name(with));
            add(&mut found, "separation", text, &value.bars, 0.25);
        }
    }
    for value in of(taken, "brass_weight").iter().filter(|value| value.with.is_none()) {
        if matches!(value.aspect.as_str(), "horns per trombone" | "horns per trumpet") {
            let text = format!("On shared chords at forte and louder there are {:.2} {}.", value.value, value.aspect);
            add(&mut found, "brass_weight", text, &value.bars, 0.45);
        }
    }
    for value in of(taken, "hand_offs").iter().filter(|value| value.aspect == "hands on to" && value.value >= 2.0) {
        let Some(with) = value.with else { continue };
        let text = format!("The {} hand the melody on to the {} {:.0} times.", name(value.of), name(with), value.value);
        add(&mut found, "hand_offs", text, &value.bars, 0.3 + 0.02 * value.value.min(10.0));
    }
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.text.cmp(&b.text)));
    found
}

fn add(found: &mut Vec<Sentence>, measure: &'static str, text: String, bars: &[u32], weight: f64) {
    if !bars.is_empty() {
        found.push(Sentence { text, measure, bars: bars.to_vec(), weight: weight.clamp(0.0, 1.0) });
    }
}

fn presence(material: &Material<'_>, taken: &[Taken], section: Subject, found: &mut Vec<Sentence>) {
    let Some(value) = one(taken, "presence", section, "bars") else { return };
    let (count, all) = (value.bars.len(), material.sounding.bars.len());
    if value.value < 0.5 && count > 0 {
        let text = format!("The {} sound in {count} of {all} bars.", material.name(section));
        add(found, "presence", text, &value.bars, 0.35 + 0.5 * (0.5 - value.value));
    }
}

fn reserve(material: &Material<'_>, taken: &[Taken], section: Subject, found: &mut Vec<Sentence>) {
    let bars = one(taken, "presence", section, "bars").map_or(0, |value| value.bars.len());
    if let Some(value) = one(taken, "reserve", section, "in the loudest quarter")
        && value.value >= 0.4
        && bars >= 4
    {
        let text = format!(
            "{} of the bars of the {} lie in the loudest quarter of their family's; a quarter would be chance.",
            percent(value.value),
            material.name(section)
        );
        add(found, "reserve", text, &value.bars, 0.4 + 0.5 * (value.value - 0.25));
    }
    if let Some(value) = one(taken, "reserve", section, "longest rest before an entry")
        && value.value >= 16.0
    {
        let text = format!("The {} rest for {:.0} bars before they enter.", material.name(section), value.value);
        let share = value.value / material.sounding.bars.len().max(1) as f64;
        add(found, "reserve", text, &value.bars, 0.4 + 0.5 * share);
    }
}

fn roles(material: &Material<'_>, taken: &[Taken], section: Subject, found: &mut Vec<Sentence>) {
    for value in of(taken, "role_shares").iter().filter(|value| value.of == section && value.value >= 0.75) {
        let text = format!(
            "The {} have {} for {} of the time in which they play.",
            material.name(section),
            value.aspect,
            percent(value.value)
        );
        add(found, "role_shares", text, &value.bars, 0.25 + 0.3 * (value.value - 0.75) * 4.0);
    }
    let melody = one(taken, "role_shares", section, "melody");
    if melody.is_none()
        && let Some(value) = one(taken, "presence", section, "bars").filter(|value| value.bars.len() >= 8)
    {
        let text = format!("The {} never have the melody.", material.name(section));
        add(found, "role_shares", text, &value.bars, 0.4);
    }
}

/// Who plays only where another rests.
fn never_beside(material: &Material<'_>, taken: &[Taken], part: Subject, found: &mut Vec<Sentence>) {
    let bars_of = |subject: Subject| one(taken, "presence", subject, "bars").map(|value: &Value| value.bars.as_slice());
    let Some(own) = bars_of(part).filter(|bars| bars.len() >= 8) else { return };
    let all = material.sounding.bars.len();
    if own.len() * 2 > all {
        return;
    }
    for other in (0..material.score.parts.len()).map(Subject::Part).filter(|other| *other != part) {
        let Some(theirs) = bars_of(other).filter(|bars| bars.len() >= all / 4) else { continue };
        if own.iter().all(|bar| theirs.binary_search(bar).is_err()) {
            let (name, other) = (material.name(part), material.name(other));
            let text = format!("{name} sounds in {} of {all} bars, always where {other} rests.", own.len());
            add(found, "presence", text, own, 0.8);
        }
    }
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}
