//! Why players have what they have, in a musician's words: register, loudness, continuity, who is free; the statistic of usual practice stands behind.
//! They are given when all is done, from the notes that sound and from who has what in the end: what is planned may still move by an octave, or go to another.

use ripieno_instruments::Family;
use ripieno_score::DynamicLevel;
use ripieno_texture::Role;

use crate::assign::doing;
use crate::balance::Marked;
use crate::explain::with_signs;
use crate::lineup::Chair;
use crate::loudness::level_at;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::{PhraseCast, Setting};

/// How begins what `turns.rs` and `fills.rs` say besides of a task, of what they do with its notes.
const BESIDES: [&str; 3] = ["; by turns", "; the end of bar", "; doubling chords besides"];

/// Leaves of a task's reason what is said of the task itself: what is done with its notes is said anew whenever it is done, and the notes of a task that a person has set are left as they are.
pub(crate) fn only_the_task(task: &mut Task) {
    if let Some(from) = BESIDES.iter().filter_map(|said| task.why.find(said)).min() {
        task.why.truncate(from);
    }
}

/// Says of each task from `own` on, which casting has filled in, why it is so, when the phrase is done; until then it holds what usual practice says. `before`: the phrase that leads into
/// this one, `marked`: what is to be said of tasks that are marked softer.
pub(crate) fn give_reasons(
    setting: &Setting<'_>,
    phrase: &mut PhrasePlan,
    own: usize,
    before: Option<&PhrasePlan>,
    done: &PhraseCast,
    marked: &Marked,
) {
    let mark = |task: &Task| marked.get(&doing(task)).map(String::as_str);
    let why = |task: &Task| reason(setting, phrase, before, done, task, mark(task));
    let said: Vec<String> = phrase.tasks[own..].iter().map(why).collect();
    for (task, why) in phrase.tasks[own..].iter_mut().zip(said) {
        task.why = why;
    }
}

fn reason(
    setting: &Setting<'_>,
    phrase: &PhrasePlan,
    before: Option<&PhrasePlan>,
    done: &PhraseCast,
    task: &Task,
    mark: Option<&str>,
) -> String {
    let Some(strand_at) = task.strand else { return task.why.clone() };
    let (sketch, lineup) = (setting.sketch, setting.lineup);
    let strand = &sketch.strands[strand_at];
    let span = Plan::span(sketch, &phrase.bars);
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
    // Register, of the notes that sound.
    let keys = || {
        let own = task.chairs.iter().filter_map(|&chair| done.notes.get(&(task.section, chair)));
        own.flatten().map(|note| note.key())
    };
    if let (Some(low), Some(high)) = (keys().min(), keys().max()) {
        said.push(if strand.is_chordal() { chords_lie(chair, low, high) } else { line_lies(chair, low, high) });
    }
    // Loudness.
    let all = || phrase.tasks.iter().filter(|other| other.strand == Some(strand_at));
    if let Some(level) = level_at(sketch, Some(task), strand_at, span, span.0) {
        let mark = DynamicLevel(level).mark();
        let of = |task: &Task| -> u32 {
            task.chairs.iter().map(|&chair| u32::from(lineup.sections[task.section].chairs[chair].people)).sum()
        };
        match (strand.role, chair.instrument.family) {
            (Role::Melody, Family::Brass) if level >= 5.5 => said.push(format!("their sound carries it at {mark}")),
            (Role::Melody, _) if level <= 3.5 && all().map(of).sum::<u32>() <= 2 => said.push(format!("few enough for {mark}")),
            _ => {}
        }
    }
    // Who else has it in the end.
    let also: Vec<String> = all().filter(|other| other.section != task.section).map(|other| lineup.label(other.section)).fold(
        Vec::new(),
        |mut names: Vec<String>, name| {
            if !names.contains(&name) {
                names.push(name);
            }
            names
        },
    );
    match also.as_slice() {
        [] => {}
        [one] => said.push(format!("together with {one}")),
        [one, more @ ..] => said.push(format!("together with {one} and {} more", more.len())),
    }
    // What the notes themselves were changed for stands behind the statistic.
    let (statistic, more) = task.why.split_once("; ").map_or((&*task.why, None), |(statistic, more)| (statistic, Some(more)));
    let mut text = match (said.is_empty(), statistic.is_empty()) {
        (true, _) => statistic.to_owned(),
        (false, true) => said.join(", "),
        (false, false) => format!("{} ({statistic})", said.join(", ")),
    };
    for more in mark.into_iter().chain(more) {
        text.push_str("; ");
        text.push_str(more);
    }
    with_signs(&text)
}

/// How a line lies for a player.
fn line_lies(chair: &Chair, low: i32, high: i32) -> String {
    let name = |key: i32| ripieno_score::MidiKey::try_from(key).map_or_else(|_| key.to_string(), |key| key.pitch().to_string());
    let comfortable = chair.reach.comfortable;
    let how = match (low < i32::from(comfortable.low()), high > i32::from(comfortable.high())) {
        (false, false) => "lies well for them",
        (false, true) => "lies high for them",
        (true, false) => "lies low for them",
        (true, true) => "goes to both ends of what they have",
    };
    format!("{}–{} {how}", name(low), name(high))
}

/// In which thirds of what is comfortable for a player the notes of chords lie.
fn chords_lie(chair: &Chair, low: i32, high: i32) -> String {
    let (bottom, top) = (i32::from(chair.reach.comfortable.low()), i32::from(chair.reach.comfortable.high()));
    let third = (top - bottom) / 3;
    let place = |key: i32| usize::from(key >= bottom + third) + usize::from(key > top - third);
    match (place(low), place(high)) {
        (0, 0) => "the chords lie low for them",
        (0, 1) => "the chords lie between low and middle for them",
        (1, 1) => "the chords lie in their middle register",
        (1, 2) => "the chords lie between middle and high for them",
        (2, 2) => "the chords lie high for them",
        _ => "the chords go through all of their registers",
    }
    .to_owned()
}
