//! Why players have what they have, in a musician's words: register, loudness, continuity, who is free; the statistic of usual practice stands behind.

use ripieno_instruments::Family;
use ripieno_score::DynamicLevel;
use ripieno_texture::Role;

use crate::lineup::Lineup;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::sketch::{Sketch, SketchNote};

/// How begins what `turns.rs` and `fills.rs` say besides of a task, of what they do with its notes.
const BESIDES: [&str; 3] = ["; by turns", "; the end of bar", "; doubling chords besides"];

/// Leaves of a task's reason what is said of the task itself: the notes of a task that a plan sets are left as they are, also where the plan is one that casting wrote.
pub(crate) fn only_the_task(task: &mut Task) {
    if let Some(from) = BESIDES.iter().filter_map(|said| task.why.find(said)).min() {
        task.why.truncate(from);
    }
}

/// The reason for a task that casting has filled in; `statistic` is what usual practice says, `before` the phrase that leads into this one.
pub(crate) fn reason(
    sketch: &Sketch,
    lineup: &Lineup,
    phrase: &PhrasePlan,
    before: Option<&PhrasePlan>,
    task: &Task,
    statistic: &str,
) -> String {
    let Some(strand_at) = task.strand else { return statistic.to_owned() };
    let strand = &sketch.strands[strand_at];
    let span = Plan::span(sketch, &phrase.bars);
    let notes = strand.between(span.0, span.1);
    let section = &lineup.sections[task.section];
    let chair = &section.chairs[task.chairs[0]];
    let mut said: Vec<String> = Vec::new();
    // Continuity.
    let in_phrase = |phrase: &PhrasePlan| -> Option<Option<usize>> {
        let has = |other: &&Task| other.section == task.section && other.chairs.iter().any(|chair| task.chairs.contains(chair));
        phrase.tasks.iter().find(has).map(|other| other.strand)
    };
    match before.map(in_phrase) {
        Some(Some(Some(same))) if same == strand_at => said.push("they go on with it".to_owned()),
        Some(Some(None) | None) => said.push("they enter fresh after a rest".to_owned()),
        _ => {}
    }
    // Register.
    let octave = task.octave.unwrap_or(0);
    if strand.is_chordal() {
        let mean = notes.iter().map(SketchNote::key).sum::<i32>() / i32::try_from(notes.len().max(1)).unwrap_or(1);
        let off = mean - chair.reach.middle();
        said.push(match off {
            -7..=7 => "the chords lie in their middle register".to_owned(),
            8.. => "they fill the chords from below".to_owned(),
            _ => "they fill the chords from above".to_owned(),
        });
    } else if let (Some(low), Some(high)) = (notes.iter().map(SketchNote::key).min(), notes.iter().map(SketchNote::key).max()) {
        let (low, high) = (low + 12 * octave, high + 12 * octave);
        let name =
            |key: i32| ripieno_score::MidiKey::try_from(key).map_or_else(|_| key.to_string(), |key| key.pitch().to_string());
        let comfortable = chair.reach.comfortable;
        let how = match (low < i32::from(comfortable.low()), high > i32::from(comfortable.high())) {
            (false, false) => "lies well for them",
            (false, true) => "lies high for them",
            (true, false) => "lies low for them",
            (true, true) => "goes to both ends of what they have",
        };
        said.push(format!("{}–{} {how}", name(low), name(high)));
    }
    // Loudness.
    if let Some(level) = sketch.level_at(strand.part, span.0) {
        let mark = DynamicLevel(level).mark();
        match (strand.role, chair.instrument.family) {
            (Role::Melody, Family::Brass) if level >= 5.5 => said.push(format!("their sound carries it at {mark}")),
            (Role::Melody, _) if level <= 3.5 && task.chairs.len() <= 2 => said.push(format!("few enough for {mark}")),
            _ => {}
        }
    }
    // Who else has it, and who is free.
    let also: Vec<String> = phrase
        .tasks
        .iter()
        .filter(|other| other.strand == Some(strand_at) && other.section != task.section)
        .map(|other| lineup.label(other.section))
        .fold(Vec::new(), |mut names: Vec<String>, name| {
            if !names.contains(&name) {
                names.push(name);
            }
            names
        });
    match also.as_slice() {
        [] => {}
        [one] => said.push(format!("together with {one}")),
        [one, more @ ..] => said.push(format!("together with {one} and {} more", more.len())),
    }
    let mut text = said.join(", ");
    if !statistic.is_empty() {
        text.push_str(&format!(" ({statistic})"));
    }
    text
}
