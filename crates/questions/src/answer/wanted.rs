//! Which of the bars in which a condition holds are wanted: the longest, the first, the loudest.

use std::collections::BTreeMap;

use ripieno_score::MidiKey;
use ripieno_texture::Role;

use crate::language::{Among, End, Wanted, Who};
use crate::record::{Damaged, NOTHING};

use super::stage::Stage;
use super::{bands, lines, page, runs};

/// First and last bar, what is told of them besides, and the section it is told of where the answer goes section by section.
type Run = ((usize, usize), Option<String>, Option<String>);
type Runs = Vec<Run>;

/// Runs of bars, and what is told of them besides: the pitch, number, distance, role or name, where one was asked for. Of equals all.
pub(super) fn wanted(wanted: &Wanted, holds: &[bool], stage: &Stage<'_>) -> Result<Runs, Damaged> {
    let runs = runs(holds);
    let bars = stage.record.table("bars")?;
    let runs = match wanted {
        Wanted::All => runs,
        Wanted::Place(End::Low) => runs.into_iter().take(1).collect(),
        Wanted::Place(End::High) => runs.into_iter().next_back().into_iter().collect(),
        Wanted::Bar(End::Low) => runs.into_iter().take(1).map(|(first, _)| (first, first)).collect(),
        Wanted::Bar(End::High) => runs.into_iter().next_back().map(|(_, last)| (last, last)).into_iter().collect(),
        Wanted::Length(end) => {
            let length = |(first, last): &(usize, usize)| last - first;
            let best = if *end == End::High { runs.iter().map(length).max() } else { runs.iter().map(length).min() };
            runs.into_iter().filter(|run| Some(length(run)) == best).collect()
        }
        Wanted::Level(end) => extreme(bars.numbers("level")?, holds, *end),
        Wanted::Parts(end) => {
            // An empty bar is no thin one.
            let parts = bars.numbers("parts_sounding")?;
            let sounding: Vec<bool> = holds.iter().zip(parts).map(|(holds, parts)| *holds && *parts > 0).collect();
            extreme(parts, &sounding, *end)
        }
        Wanted::Note(end, who) => {
            let own = stage.record.table("roles")?.numbers(if *end == End::High { "highest" } else { "lowest" })?;
            let cast = stage.cast(who);
            let key = |bar: usize| {
                let rows = cast.members().filter(|member| member.is_in(bar)).filter_map(|member| stage.row(member.part, bar));
                let keys = rows.filter_map(|row| own.get(row).copied()).filter(|&key| key != NOTHING);
                (if *end == End::High { keys.max() } else { keys.min() }).unwrap_or(NOTHING)
            };
            let keys: Vec<i64> = (0..stage.bars).map(key).collect();
            let runs = extreme(&keys, holds, *end);
            let pitch = runs.first().and_then(|(first, _)| keys.get(*first)).and_then(|key| name(*key));
            return Ok(runs.into_iter().map(|run| (run, pitch.clone(), None)).collect());
        }
        Wanted::Distance(end, who, other) => {
            let between = bands::between(stage, who, other)?;
            let best = extreme(&between[usize::from(*end == End::Low)], holds, *end);
            return Ok(best
                .into_iter()
                .filter_map(|run| Some((run, between[usize::from(*end == End::Low)].get(run.0).copied()?)))
                .filter(|&(_, size)| if *end == End::High { size > 0 } else { size < 0 })
                .map(|(run, size)| (run, Some(semitones(size)), None))
                .collect());
        }
        Wanted::Most(end, among) => return Ok(most(stage, holds, *end, *among)),
        Wanted::Number(who) => return number(stage, holds, who),
        Wanted::Against(section) => return Ok(told_each(page::against(stage, *section)?, holds)),
        Wanted::RolesOf(who) => return roles_of(stage, holds, who),
    };
    Ok(runs.into_iter().map(|run| (run, None, None)).collect())
}

/// What is told of bars, each with its runs among those that hold, by their first bar.
fn told_each(told: Vec<(String, Vec<bool>)>, holds: &[bool]) -> Runs {
    let of = |(name, bars): (String, Vec<bool>)| {
        let here: Vec<bool> = bars.iter().zip(holds).map(|(bar, holds)| *bar && *holds).collect();
        runs(&here).into_iter().map(move |run| (run, Some(name.clone()), None))
    };
    let mut found: Runs = told.into_iter().flat_map(of).collect();
    found.sort_by_key(|(run, ..)| *run);
    found
}

/// "12 semitones", of an overlap "9 semitones".
fn semitones(size: i64) -> String {
    if size.abs() == 1 { "1 semitone".to_owned() } else { format!("{} semitones", size.abs()) }
}

/// Whichever sounds in most bars, or in fewest but at all.
fn most(stage: &Stage<'_>, holds: &[bool], end: End, among: Among) -> Runs {
    let mut told: Vec<(String, Vec<bool>)> = Vec::new();
    for (name, cast) in stage.bodies(among) {
        let here = (0..stage.bars).map(|bar| holds[bar] && stage.sounds(&cast, bar)).collect::<Vec<bool>>();
        told.push((name, here));
    }
    let count = |bars: &[bool]| bars.iter().filter(|holds| **holds).count();
    let counts = || told.iter().map(|(_, bars)| count(bars)).filter(|count| *count > 0);
    let best = if end == End::High { counts().max() } else { counts().min() };
    told.retain(|(_, bars)| Some(count(bars)) == best);
    told_each(told, holds)
}

/// How many people of these play, bar by bar, each at its fullest moment.
fn number(stage: &Stage<'_>, holds: &[bool], who: &Who) -> Result<Runs, Damaged> {
    let roles = stage.record.table("roles")?;
    let (least, most) = (roles.numbers("players_least")?, roles.numbers("players_most")?);
    let cast = stage.cast(who);
    let mut told: BTreeMap<(i64, i64), Vec<bool>> = BTreeMap::new();
    for bar in (0..stage.bars).filter(|&bar| holds[bar]) {
        let rows = cast.members().filter(|member| member.is_in(bar)).filter_map(|member| stage.row(member.part, bar));
        let people = rows.fold((0, 0), |(few, many), row| {
            let known = |counts: &[i64]| counts.get(row).copied().filter(|&count| count != NOTHING).unwrap_or(0);
            (few + known(least), many + known(most))
        });
        if people.1 > 0 {
            told.entry(people).or_insert_with(|| vec![false; stage.bars])[bar] = true;
        }
    }
    let words = |((least, most), bars): ((i64, i64), Vec<bool>)| {
        let people = if least == most { least.to_string() } else { format!("{least} to {most}") };
        (people, bars)
    };
    Ok(told_each(told.into_iter().map(words).collect(), holds))
}

/// What these do, role by role; of everybody and of a family section by section in score order.
fn roles_of(stage: &Stage<'_>, holds: &[bool], who: &Who) -> Result<Runs, Damaged> {
    let bodies = match who {
        Who::Everybody => stage.bodies(Among::Sections(None)),
        Who::Family(family) => stage.bodies(Among::Sections(Some(*family))),
        who => vec![(String::new(), stage.cast(who))],
    };
    let mut told: Vec<Vec<(String, Vec<bool>)>> = vec![Vec::new(); bodies.len()];
    for role in Role::ALL.iter().filter(|role| **role != Role::Tacet) {
        let held = lines::held(stage, &[*role])?;
        for ((name, cast), told) in bodies.iter().zip(&mut told) {
            let plays =
                |bar: usize| cast.members().any(|it| it.is_in(bar) && held[it.part][bar] && stage.row(it.part, bar).is_some());
            let name = if name.is_empty() { role.name().to_owned() } else { format!("{name}: {}", role.name()) };
            told.push((name, (0..stage.bars).map(plays).collect()));
        }
    }
    let each = bodies.into_iter().zip(told).flat_map(|((name, _), told)| {
        let name = (!name.is_empty()).then_some(name);
        told_each(told, holds).into_iter().map(move |(run, told, _)| (run, told, name.clone()))
    });
    Ok(each.collect())
}

/// Of the bars in which something holds, those with the highest number, or the lowest.
fn extreme(numbers: &[i64], holds: &[bool], end: End) -> Vec<(usize, usize)> {
    let here = || numbers.iter().zip(holds).filter(|(number, holds)| **holds && **number != NOTHING).map(|(number, _)| *number);
    let best = if end == End::High { here().max() } else { here().min() };
    let best: Vec<bool> = numbers.iter().zip(holds).map(|(number, holds)| *holds && Some(*number) == best).collect();
    runs(&best)
}

/// "Bb5", by the usual spelling of the twelve notes.
fn name(key: i64) -> Option<String> {
    let key = MidiKey::try_from(i32::try_from(key).ok()?).ok()?;
    Some(key.pitch().to_string())
}
