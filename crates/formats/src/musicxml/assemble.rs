//! Puts the parts together into one score: one list of bars for all, each as long as its longest part.

use std::collections::BTreeSet;

use ripieno_score::{About, Bar, Bracket, Change, ChangeKind, Crotchets, Jump, Metre, NoteFlags, Score};

use super::align;
use super::bar_length::{self, Extent};
use super::context::{At, Context};
use super::jumps::same_kind;
use super::metres;
use super::part_reader::{BarRead, Fact, PartReader};

/// Weighs what the parts say about each bar, and builds the score.
pub(super) fn assemble<'x>(
    about: About,
    brackets: Vec<Bracket>,
    mut parts: Vec<PartReader<'x>>,
    context: &mut Context<'x, '_>,
) -> Score {
    align::align(&mut parts, context);
    name_apart(&mut parts);
    for part in &mut parts {
        finish_part(part, context);
    }
    let count = parts.iter().map(|part| part.bars.len()).max().unwrap_or(0);
    let mut bars: Vec<Bar> = (0..count).map(|index| numbered_bar(index, &parts)).collect();
    metres::share(&mut parts, &mut bars);
    set_lengths(&mut bars, &parts, context);
    for part in &parts {
        for (bar, fact) in &part.facts {
            merge(&mut bars, *bar, fact, part.label(), context);
        }
    }
    settle_jumps(&mut bars);
    let parts = parts.into_iter().map(|reader| {
        let mut part = reader.part;
        hold_ties(&mut part, &reader.bars, &bars);
        part
    });
    let parts = parts.collect();
    let mut score = Score { about, bars, parts, brackets };
    score.finish();
    score
}

/// Gives parts whose id is missing or used before one of their own.
fn name_apart(parts: &mut [PartReader<'_>]) {
    let mut used: BTreeSet<String> = parts.iter().map(|part| part.part.id.clone()).collect();
    let mut seen = BTreeSet::new();
    let mut next = parts.len();
    for part in parts {
        while part.part.id.is_empty() || seen.contains(&part.part.id) {
            next += 1;
            let id = format!("P{next}");
            if used.insert(id.clone()) {
                part.part.id = id;
            }
        }
        seen.insert(part.part.id.clone());
    }
}

/// What can be settled within a part once all of it has been read.
fn finish_part(reader: &mut PartReader<'_>, context: &mut Context<'_, '_>) {
    if !context.ties_sound {
        for (index, flags) in std::mem::take(&mut reader.drawn_ties) {
            if let Some(note) = reader.part.notes.get_mut(index as usize) {
                note.flags |= flags;
            }
        }
    }
    super::harmonics::resolve(reader, context);
    let similes = std::mem::take(&mut reader.similes);
    similes.fill(&mut reader.part, &mut reader.bars, context);
}

/// A bar with its printed number, from the first part that has it.
fn numbered_bar(index: usize, parts: &[PartReader<'_>]) -> Bar {
    let read = parts.iter().filter_map(|part| part.bars.get(index)).find(|bar| !bar.missing);
    let mut bar = Bar::new("", Crotchets::ZERO, Crotchets::ZERO);
    if let Some(read) = read {
        bar.number = super::entities::plain(read.number).trim().into();
        bar.uncounted = read.implicit;
    }
    bar
}

/// Decides how long each bar is, and reports parts that fill it otherwise.
fn set_lengths(bars: &mut [Bar], parts: &[PartReader<'_>], context: &mut Context<'_, '_>) {
    let mut metre: Option<Crotchets> = None;
    let extents: Vec<Extent> = bars
        .iter()
        .enumerate()
        .map(|(index, bar)| {
            if let Some(change) = &bar.metre {
                metre = change.length();
            }
            bar_length::extent(index, metre, parts)
        })
        .collect();
    let mut before = None;
    for (index, extent) in extents.iter().enumerate() {
        let around =
            bar_length::Around { before, after: extents.get(index + 1), first: index == 0, last: index + 1 == extents.len() };
        let Some(bar) = bars.get_mut(index) else { break };
        bar.length = bar_length::decide(extent, &around, bar.uncounted).min(Crotchets::whole(context.limits.bar_crotchets));
        bar_length::report(index, bar, extent, &around, parts, context);
        before = Some(bar.length);
    }
}

fn merge(bars: &mut [Bar], index: u32, fact: &Fact, part: &str, context: &mut Context<'_, '_>) {
    let Some(bar) = bars.get_mut(index as usize) else {
        if *fact != Fact::RepeatStart {
            context.note(At { part, bar: "" }, "sign-after-end", "a sign stands after the last bar", "It was left out");
        }
        return;
    };
    let mut differs = None;
    match fact {
        Fact::RepeatStart => bar.repeat_start = true,
        Fact::RepeatEnd(times) => {
            let before = *bar.repeat_end.get_or_insert(*times);
            differs = (before != *times).then_some("the number of times a repeat is played");
        }
        Fact::EndingStart(numbers) => {
            if bar.ending_start.is_empty() {
                bar.ending_start.clone_from(numbers);
            }
            differs = (bar.ending_start != *numbers).then_some("the numbers of an ending");
        }
        Fact::EndingStop => bar.ending_stop = true,
        Fact::Jump(jump) => add_jump(&mut bar.jumps, jump),
        Fact::Barline(style) => {
            bar.barline.get_or_insert_with(|| style.clone());
        }
    }
    if let Some(what) = differs {
        let number = bar.number.clone();
        context.warn(
            At { part, bar: &number },
            "parts-disagree",
            format!("the parts disagree about {what}"),
            "The topmost part was followed",
        );
    }
}

/// Every part may repeat the same sign; one that names its label wins.
fn add_jump(jumps: &mut Vec<Jump>, jump: &Jump) {
    match jumps.iter_mut().find(|other| same_kind(other, jump)) {
        None => jumps.push(jump.clone()),
        Some(other) => {
            if label_mut(other).is_some_and(|label| label.is_empty()) {
                *other = jump.clone();
            }
        }
    }
}

fn label_mut(jump: &mut Jump) -> Option<&mut Box<str>> {
    match jump {
        Jump::Segno(label) | Jump::Coda(label) | Jump::ToCoda(label) | Jump::DalSegno(label) => Some(label),
        Jump::Fine | Jump::DaCapo => None,
    }
}

/// Drops labels where there is only one sign of a kind, and tells where a score with two coda signs leaves for the second.
fn settle_jumps(bars: &mut [Bar]) {
    let places = |bars: &[Bar], kind: &Jump| -> Vec<usize> {
        let has = |bar: &Bar| bar.jumps.iter().any(|jump| same_kind(jump, kind));
        bars.iter().enumerate().filter(|(_, bar)| has(bar)).map(|(index, _)| index).collect()
    };
    let none = || Box::from("");
    let codas = places(bars, &Jump::Coda(none()));
    if places(bars, &Jump::ToCoda(none())).is_empty()
        && codas.len() >= 2
        && let Some(leave) = codas.first().and_then(|&first| first.checked_sub(1))
    {
        if let Some(bar) = bars.get_mut(leave + 1) {
            bar.jumps.retain(|jump| !matches!(jump, Jump::Coda(_)));
        }
        if let Some(bar) = bars.get_mut(leave) {
            bar.jumps.push(Jump::ToCoda(none()));
        }
    }
    for aims_at_segno in [true, false] {
        let belongs = |jump: &Jump| match jump {
            Jump::Segno(_) | Jump::DalSegno(_) => aims_at_segno,
            Jump::Coda(_) | Jump::ToCoda(_) => !aims_at_segno,
            Jump::Fine | Jump::DaCapo => false,
        };
        let aims =
            bars.iter().flat_map(|bar| &bar.jumps).filter(|jump| matches!(jump, Jump::Segno(_) | Jump::Coda(_)) && belongs(jump));
        if aims.count() <= 1 {
            let jumps = bars.iter_mut().flat_map(|bar| &mut bar.jumps).filter(|jump| belongs(jump));
            jumps.filter_map(label_mut).for_each(|label| *label = Box::from(""));
        }
    }
}

/// Where a part leaves a bar short, a note tied over the barline is held to it: the tie says that nothing comes between.
fn hold_ties(part: &mut ripieno_score::Part, read: &[BarRead<'_>], bars: &[Bar]) {
    let short = |index: usize| {
        let (read, bar) = (read.get(index)?, bars.get(index)?);
        (read.reached < bar.length).then_some((read.reached, bar.length))
    };
    if !(0..read.len()).any(|index| short(index).is_some()) {
        return;
    }
    for note in &mut part.notes {
        if note.flags.contains(NoteFlags::TIE_START)
            && note.duration.is_positive()
            && let Some((reached, length)) = short(note.bar.at())
            && note.at + note.duration == reached
        {
            note.duration = length - note.at;
        }
    }
}

/// A change of metre in one part.
pub(super) fn metre_change(bar: u32, staff: Option<u8>, metre: Metre) -> Change {
    Change { bar: ripieno_score::BarIndex(bar), at: Crotchets::ZERO, staff, kind: ChangeKind::Metre(metre) }
}
