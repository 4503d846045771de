//! Which time signatures all parts share, and which belong to one part alone.

use ripieno_score::{Bar, Crotchets, Metre};

use super::assemble::metre_change;
use super::part_reader::PartReader;

/// Sets each bar's change of metre to the one most parts have; parts that differ get a change of their own.
pub(super) fn share(parts: &mut [PartReader<'_>], bars: &mut [Bar]) {
    let mut stated: Vec<(u32, usize, Option<u8>, Metre)> = Vec::new();
    for (index, part) in parts.iter_mut().enumerate() {
        stated.extend(part.metres.drain(..).map(|time| (time.bar, index, time.staff, time.metre)));
    }
    stated.sort_by_key(|&(bar, part, ..)| (bar, part));
    let mut states = vec![false; parts.len()];
    for &(_, part, ..) in &stated {
        states[part] = true;
    }
    let mut in_force: Option<Metre> = None;
    // Parts that stand in a metre of their own: a later common signature must be said to them again.
    let mut apart = vec![false; parts.len()];
    for group in stated.chunk_by(|a, b| a.0 == b.0) {
        let Some(&(number, ..)) = group.first() else { continue };
        let Some(chosen) = choose(group, in_force.as_ref(), &states, parts) else { continue };
        for (_, part, staff, metre) in group {
            let Some(away) = apart.get_mut(*part) else { continue };
            if *metre != chosen || *away {
                *away = *metre != chosen;
                if let Some(part) = parts.get_mut(*part) {
                    part.part.changes.push(metre_change(number, *staff, metre.clone()));
                }
            }
        }
        if in_force.as_ref() != Some(&chosen)
            && let Some(bar) = bars.get_mut(number as usize)
        {
            bar.metre = Some(chosen.clone());
            in_force = Some(chosen);
        }
    }
}

/// The metre most parts have in this bar. Parts that say nothing stay with the metre before, unless what they play fits the new one.
fn choose(
    group: &[(u32, usize, Option<u8>, Metre)],
    in_force: Option<&Metre>,
    states: &[bool],
    parts: &[PartReader<'_>],
) -> Option<Metre> {
    let mut votes: Vec<(&Metre, usize)> = Vec::new();
    let mut speaking: Vec<usize> = Vec::new();
    for (_, part, _, metre) in group {
        // A part with a signature for each staff has one voice.
        if speaking.last() == Some(part) {
            continue;
        }
        speaking.push(*part);
        match votes.iter_mut().find(|(other, _)| *other == metre) {
            Some((_, count)) => *count += 1,
            None => votes.push((metre, 1)),
        }
    }
    let first_new = group.first().map(|&(bar, _, _, ref metre)| (bar, metre))?;
    if let Some(old) = in_force {
        let silent = states.iter().enumerate().filter(|&(index, &states)| states && speaking.binary_search(&index).is_err());
        let keep = silent.filter(|&(index, _)| keeps_old(index, first_new, old, parts)).count();
        match votes.iter_mut().find(|(other, _)| *other == old) {
            Some((_, count)) => *count += keep,
            None => votes.push((old, keep)),
        }
    }
    // The topmost part wins a tie.
    let most = votes.iter().map(|&(_, count)| count).max()?;
    votes.iter().find(|&&(_, count)| count == most).map(|&(metre, _)| metre.clone())
}

fn keeps_old(index: usize, (bar, new): (u32, &Metre), old: &Metre, parts: &[PartReader<'_>]) -> bool {
    let Some(read) = parts.get(index).and_then(|part| part.bars.get(bar as usize)) else { return false };
    let reach = read.reached;
    let (old, new) = (old.length().unwrap_or(Crotchets::ZERO), new.length().unwrap_or(Crotchets::ZERO));
    reach.is_positive() && (reach != new || old == new)
}
