//! Dynamics that go together: one mark at a place, no accompaniment louder than the tune, no mark for every player a strand has borrowed one from.
//!
//! Handbook rules, from memory (Rimsky-Korsakov, Adler, Gould): accompaniment at most as loud as what it accompanies; a note has one dynamic. That a strand
//! changes no oftener than every other bar is common practice, the number ours.

use ripieno_score::{Bar, Crotchets, Direction, DirectionKind, DynamicLevel, DynamicMark, Part};

/// Bars in which an accompanying strand has one mark.
const STEADY: usize = 2;

/// Of several dynamics at one place one stays: a stress with the level after it before a plain level, and that before a stress. In order of time.
pub(crate) fn one_at_each_place(directions: &mut Vec<Direction>) {
    const fn weight(direction: &Direction) -> Option<u8> {
        match &direction.kind {
            DirectionKind::Dynamic(DynamicMark::AttackThen(..)) => Some(3),
            DirectionKind::Dynamic(DynamicMark::Level(_)) => Some(2),
            DirectionKind::Dynamic(_) => Some(1),
            _ => None,
        }
    }
    let mut kept: Vec<Direction> = Vec::with_capacity(directions.len());
    for direction in directions.drain(..) {
        let same = |other: &&mut Direction| {
            (other.bar, other.at, other.staff) == (direction.bar, direction.at, direction.staff) && weight(other).is_some()
        };
        match weight(&direction).and_then(|own| Some((own, kept.iter_mut().rev().find(same)?))) {
            Some((own, other)) => {
                if weight(other) <= Some(own) {
                    *other = direction;
                }
            }
            None => kept.push(direction),
        }
    }
    *directions = kept;
}

/// The level a mark leaves in force.
pub(crate) const fn level(direction: &Direction) -> Option<DynamicLevel> {
    match &direction.kind {
        DirectionKind::Dynamic(DynamicMark::Level(level) | DynamicMark::AttackThen(_, level)) => Some(*level),
        _ => None,
    }
}

/// A mark brought down to a level: a stress stays one, as "sfp" or "sfpp" (the marks for it in MusicXML 4.0), where the level after it has such a sign.
fn lowered(kind: &DirectionKind, to: DynamicLevel) -> DynamicMark {
    // "pf" grows: it is no stress.
    let stress = matches!(kind, DirectionKind::Dynamic(DynamicMark::AttackThen(text, _)) if !text.starts_with('p'));
    match to.mark() {
        "p" if stress => DynamicMark::AttackThen("sfp".into(), to),
        "pp" if stress => DynamicMark::AttackThen("sfpp".into(), to),
        _ => DynamicMark::Level(to),
    }
}

/// Fits the marks of accompanying strands to the tune's, the first part of a reduction. `bars` are those of the parts.
pub(crate) fn tempered(parts: &mut [Part], bars: &[Bar]) {
    let when = |direction: &Direction| bars.get(direction.bar.at()).map_or(Crotchets::ZERO, |bar| bar.start) + direction.at;
    let Some((tune, others)) = parts.split_first_mut() else { return };
    tune.directions.sort_by_key(|one| (one.bar, one.at));
    one_at_each_place(&mut tune.directions);
    let course: Vec<(Crotchets, f32)> = tune.directions.iter().filter_map(|one| Some((when(one), level(one)?.0))).collect();
    let tune_at = |at: Crotchets| {
        let next = course.partition_point(|(from, _)| *from <= at);
        next.checked_sub(1).and_then(|last| course.get(last)).or(course.first()).map(|(_, level)| *level)
    };
    for part in others {
        part.directions.sort_by_key(|one| (one.bar, one.at));
        one_at_each_place(&mut part.directions);
        let swells: Vec<Crotchets> =
            part.directions.iter().filter(|one| matches!(one.kind, DirectionKind::HairpinStop { .. })).map(&when).collect();
        let own: Vec<Direction> = std::mem::take(&mut part.directions);
        let mut last: Option<(usize, f32)> = None;
        // Where the tune comes down, what accompanies it comes down with it.
        let mut marks: Vec<Direction> = own.clone();
        for one in tune.directions.iter().filter(|one| level(one).is_some()) {
            let before = own.iter().rev().find(|other| when(other) <= when(one) && level(other).is_some());
            let louder = before.and_then(level).is_some_and(|before| level(one).is_some_and(|tune| before.0 > tune.0));
            let marked = own.iter().any(|other| when(other) == when(one) && level(other).is_some());
            if louder && !marked {
                let kind = level(one).map_or_else(|| one.kind.clone(), |level| DirectionKind::Dynamic(DynamicMark::Level(level)));
                marks.push(Direction { kind, ..one.clone() });
            }
        }
        marks.sort_by_key(|one| (one.bar, one.at));
        for mut one in marks {
            let Some(found) = level(&one) else {
                part.directions.push(one);
                continue;
            };
            let at = when(&one);
            let most = tune_at(at).unwrap_or(f32::INFINITY);
            let capped = found.0.min(most);
            if capped < found.0 {
                one.kind = DirectionKind::Dynamic(lowered(&one.kind, DynamicLevel(capped)));
            }
            let stressed = matches!(one.kind, DirectionKind::Dynamic(DynamicMark::AttackThen(..)));
            let drops = last.is_some_and(|(_, before)| before > most);
            let again = last.is_some_and(|(_, before)| (before - capped).abs() < 0.5);
            let soon = last.is_some_and(|(bar, before)| one.bar.at() < bar + STEADY && (before - capped).abs() < 1.5);
            let led_to = swells.iter().any(|stop| (*stop - at).to_f64().abs() < 0.26);
            if !stressed && !drops && !led_to && (again || soon) {
                continue;
            }
            last = Some((one.bar.at(), capped));
            part.directions.push(one);
        }
    }
}

#[cfg(test)]
mod tests {
    use ripieno_score::BarIndex;

    use super::*;

    fn mark(bar: u32, kind: DynamicMark) -> Direction {
        Direction {
            bar: BarIndex(bar),
            at: Crotchets::ZERO,
            staff: 1,
            voice: None,
            above: None,
            kind: DirectionKind::Dynamic(kind),
        }
    }

    fn plain(bar: u32, name: &str) -> Direction {
        mark(bar, DynamicMark::Level(DynamicLevel::from_mark(name).unwrap_or(DynamicLevel::MEZZO_FORTE)))
    }

    fn part(directions: Vec<Direction>) -> Part {
        Part { directions, ..Part::default() }
    }

    fn shown(part: &Part) -> Vec<(u32, &'static str)> {
        part.directions.iter().filter_map(|one| Some((one.bar.0, level(one)?.mark()))).collect()
    }

    fn bars() -> Vec<Bar> {
        (0..12).map(|bar| Bar::new(bar.to_string(), Crotchets::whole(4 * bar), Crotchets::whole(4))).collect()
    }

    /// Gould on dynamics, from memory: a note has one.
    #[test]
    fn one_dynamic_stands_at_a_place() {
        let stress = || mark(1, DynamicMark::AttackThen("fp".into(), DynamicLevel(3.0)));
        for order in [vec![plain(1, "mp"), stress()], vec![stress(), plain(1, "mp")]] {
            let mut order = order;
            one_at_each_place(&mut order);
            assert_eq!(order, [stress()]);
        }
    }

    /// Tune pp, chords fp: the stress stays, the level after it is the tune's.
    #[test]
    fn a_stress_that_is_brought_down_stays_a_stress() {
        let chords = part(vec![plain(0, "pp"), mark(3, DynamicMark::AttackThen("fp".into(), DynamicLevel(3.0)))]);
        let mut parts = [part(vec![plain(0, "pp")]), chords];
        tempered(&mut parts, &bars());
        assert_eq!(parts[1].directions[1], mark(3, DynamicMark::AttackThen("sfpp".into(), DynamicLevel(2.0))));
    }

    /// Accompaniment at most as loud as the tune; terraces bar by bar become one step. Handbook rules, from memory.
    #[test]
    fn accompaniment_keeps_under_the_tune_and_keeps_still() {
        let tune = part(vec![plain(0, "mp"), plain(4, "mf"), plain(8, "p")]);
        let chords = part(vec![plain(0, "pp"), plain(1, "p"), plain(2, "mf"), plain(3, "mp"), plain(5, "f")]);
        let mut parts = [tune, chords];
        tempered(&mut parts, &bars());
        assert_eq!(shown(&parts[1]), [(0, "pp"), (2, "mp"), (5, "mf"), (8, "p")]);
    }
}
