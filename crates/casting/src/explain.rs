//! Who does what and why, as text.

use std::fmt::Write as _;

use ripieno_score::MidiKey;

use crate::cast::Cast;
use crate::criteria::Criterion;
use crate::lineup::Lineup;
use crate::plan::{Doubling, Task, Thickening};
use crate::realise::{CastNote, PhraseCast};
use crate::sketch::Sketch;

/// A table of a casting: phrase by phrase who has what and why, then the criteria, how near the best it is, and what has to be said.
#[must_use]
pub fn explain(sketch: &Sketch, lineup: &Lineup, cast: &Cast) -> String {
    let mut text = String::new();
    for (phrase, done) in cast.plan.phrases.iter().zip(&cast.phrases) {
        let last = phrase.bars.end.saturating_sub(1);
        let _ = writeln!(text, "bars {}–{}", sketch.bar_name(phrase.bars.start), sketch.bar_name(last));
        for task in &phrase.tasks {
            let section = &lineup.sections[task.section];
            let label = with_signs(&lineup.label(task.section));
            let who = if task.chairs.len() == section.chairs.len() || section.is_body {
                label
            } else {
                let numbers: Vec<String> = task.chairs.iter().map(|chair| (chair + 1).to_string()).collect();
                format!("{label} {}", numbers.join("."))
            };
            let mut what = task.strand.map_or_else(|| "silence".to_owned(), |strand| sketch.strands[strand].name.to_lowercase());
            let octave = task.octave_heard();
            if octave != 0 {
                let _ = write!(what, ", {octave:+} octave");
            }
            if task.doubling == Doubling::Octaves {
                what.push_str(", in octaves");
            }
            if task.muted {
                what.push_str(", muted");
            }
            match task.thickening {
                Thickening::None => {}
                Thickening::Diatonic => what.push_str(", thickened in thirds"),
                Thickening::ChordTones => what.push_str(", thickened by chord tones"),
                Thickening::Triads => what.push_str(", thickened to triads"),
            }
            let register = registers(task, done);
            let _ = writeln!(text, "  {who:<24} {what:<28} {register:<10} {}", task.why);
        }
    }
    text.push_str("criteria\n");
    for criterion in &cast.criteria.all {
        let _ = writeln!(text, "  {:<40} {:>8} {}", criterion.name, criterion.text(), criterion.counted());
    }
    let _ = writeln!(text, "search: {}", cast.optimality.reason());
    for remark in &cast.remarks {
        let _ = writeln!(text, "note: {remark}");
    }
    text
}

/// The lowest and the highest note of those who share a task in a phrase: "F3–D5" where that is the same for all of them, else each player's own,
/// "1 C4–G4, 2.3 A3–E♭4"; empty where nobody has a note.
#[must_use]
pub fn registers(task: &Task, done: &PhraseCast) -> String {
    let name = |key: i32| MidiKey::try_from(key).map_or_else(|_| key.to_string(), |key| with_signs(&key.pitch().to_string()));
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for &chair in &task.chairs {
        let keys = || done.notes.get(&(task.section, chair)).into_iter().flatten().map(CastNote::key);
        let Some((low, high)) = keys().min().zip(keys().max()) else { continue };
        let range = if low == high { name(low) } else { format!("{}–{}", name(low), name(high)) };
        let player = (chair + 1).to_string();
        match found.iter_mut().find(|(other, _)| *other == range) {
            Some((_, players)) => players.push(player),
            None => found.push((range, vec![player])),
        }
    }
    match found.as_slice() {
        [(range, _)] => range.clone(),
        several => several.iter().map(|(range, players)| format!("{} {range}", players.join("."))).collect::<Vec<_>>().join(", "),
    }
}

/// A text with the signs that scores print for the letters of keys and notes in it: "Flugelhorn in B♭", "F♯4–E♭5".
#[must_use]
pub fn with_signs(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut found = String::with_capacity(text.len() + 8);
    let mut at = 0;
    while at < chars.len() {
        let begins = ('A'..='G').contains(&chars[at]) && (at == 0 || !chars[at - 1].is_alphanumeric());
        let mark = chars.get(at + 1).copied().filter(|mark| begins && matches!(mark, 'b' | '#'));
        let Some(mark) = mark else {
            found.push(chars[at]);
            at += 1;
            continue;
        };
        let marks = chars[at + 1..].iter().take_while(|other| **other == mark).count();
        let goes_on = chars.get(at + 1 + marks).is_some_and(|next| next.is_alphabetic() || *next == '#');
        found.push(chars[at]);
        let sign = if mark == 'b' { '\u{266d}' } else { '\u{266f}' };
        found.extend(std::iter::repeat_n(if goes_on || marks > 2 { mark } else { sign }, marks));
        at += 1 + marks;
    }
    found
}

/// Several castings of one sketch beside each other: criterion by criterion, the best value starred where they differ, and how many players do something else than in the first.
#[must_use]
pub fn side_by_side(lineup: &Lineup, casts: &[Cast]) -> String {
    let mut text = "proposals beside each other\n".to_owned();
    let Some(first) = casts.first() else { return text };
    for criterion in &first.criteria.all {
        let of = |cast: &Cast| cast.criteria.all.iter().find(|other| other.name == criterion.name).cloned();
        let all: Vec<Option<Criterion>> = casts.iter().map(of).collect();
        let known = || all.iter().flatten();
        let better = |a: &&Criterion, b: &&Criterion| {
            let order = a.value.total_cmp(&b.value);
            if criterion.more_is_better { order } else { order.reverse() }
        };
        // What reads alike is alike.
        let best = known().max_by(better).map(Criterion::text);
        let differ = known().any(|one| Some(one.text()) != best);
        let cell = |one: &Option<Criterion>| {
            let text = one.as_ref().map(Criterion::text);
            let star = if differ && text.is_some() && text == best { "*" } else { " " };
            format!("{:>9}{star}", text.unwrap_or_else(|| "-".to_owned()))
        };
        let cells: Vec<String> = all.iter().map(cell).collect();
        let _ = writeln!(text, "  {:<40} {} {}", criterion.name, cells.join(" "), criterion.counted());
    }
    let cells: Vec<String> = casts
        .iter()
        .map(|cast| {
            let (other, all) = differing(lineup, first, cast);
            format!("{:>9} ", format!("{other} of {all}"))
        })
        .collect();
    let _ = writeln!(text, "  {:<40} {} players, phrase by phrase", "do something else than in the first", cells.join(" "));
    text
}

/// Of all players in all phrases, how many have another strand or octave in the second casting than in the first.
#[must_use]
pub fn differing(lineup: &Lineup, a: &Cast, b: &Cast) -> (usize, usize) {
    let (mut other, mut all) = (0, 0);
    for (x, y) in a.plan.phrases.iter().zip(&b.plan.phrases) {
        for (section, found) in lineup.sections.iter().enumerate() {
            for chair in 0..found.chairs.len() {
                let has = |phrase: &crate::plan::PhrasePlan| {
                    let task = phrase.tasks.iter().find(|task| task.section == section && task.chairs.contains(&chair));
                    task.and_then(|task| task.strand.map(|strand| (strand, task.octave_heard())))
                };
                all += 1;
                other += usize::from(has(x) != has(y));
            }
        }
    }
    (other, all)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_get_the_signs_of_keys_and_notes() {
        for (text, wanted) in [
            ("F#4–Eb5 lies well, together with Flugelhorn in Bb", "F♯4–E♭5 lies well, together with Flugelhorn in B♭"),
            ("Cornets in Bb/Eb (Ab)", "Cornets in B♭/E♭ (A♭)"),
            ("Bbb3, F##6", "B♭♭3, F♯♯6"),
            ("About Ebony, phrase #4, Abbreviation, A b", "About Ebony, phrase #4, Abbreviation, A b"),
            ("C♯5", "C♯5"),
        ] {
            assert_eq!(with_signs(text), wanted);
        }
    }
}
