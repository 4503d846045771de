//! Changes of instrument, told in good time: "to Piccolo" stands where the rest before begins, the name where it is played.

use ripieno_score::{Bar, BarIndex, ChangeKind, Crotchets, Direction, DirectionKind, Part};

/// Says where a rest begins which instrument is taken up in it (common practice); not where the page says so itself.
pub(crate) fn announce(part: &mut Part, bars: &[Bar]) {
    let start = |bar: BarIndex| bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
    let mut told: Vec<Direction> = Vec::new();
    let mut in_hand = 0u8;
    for change in &part.changes {
        let ChangeKind::Instrument(next) = change.kind else { continue };
        let Some(name) = part.instruments.get(usize::from(next)).map(|one| one.name.as_str()).filter(|name| !name.is_empty())
        else {
            continue;
        };
        if std::mem::replace(&mut in_hand, next) == next {
            continue;
        }
        let taken_up = start(change.bar) + change.at;
        let before = part.notes.iter().filter(|note| note.plays() && start(note.bar) + note.at < taken_up);
        let Some(last) = before.max_by_key(|note| start(note.bar) + note.at + note.duration) else { continue };
        let end = start(last.bar) + last.at + last.duration;
        // At the end of the last note: in its bar, or at the beginning of the next.
        let bar = bars.partition_point(|bar| bar.start <= end).saturating_sub(1);
        let (Some(place), Ok(index)) = (bars.get(bar), u32::try_from(bar)) else { continue };
        if end >= taken_up || BarIndex(index) >= change.bar {
            continue;
        }
        let says = |direction: &Direction| match &direction.kind {
            DirectionKind::Words(text) => {
                let when = start(direction.bar) + direction.at;
                end <= when && when < taken_up && text.to_lowercase().contains(&name.to_lowercase())
            }
            _ => false,
        };
        if !part.directions.iter().any(says) {
            let kind = DirectionKind::Words(format!("to {name}").into());
            told.push(Direction { bar: BarIndex(index), at: end - place.start, staff: 1, voice: None, above: Some(true), kind });
        }
    }
    part.directions.append(&mut told);
    part.directions.sort_by_key(|direction| (direction.bar, direction.at));
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Change, Note, PartInstrument};

    #[test]
    fn a_change_is_told_where_the_rest_begins() {
        let bars: Vec<Bar> = (0..8).map(|n| Bar::new(n.to_string(), Crotchets::whole(4 * n), Crotchets::whole(4))).collect();
        let note = |bar| Note { bar: BarIndex(bar), duration: Crotchets::whole(2), ..Note::default() };
        let instrument = |name: &str| PartInstrument { name: name.to_owned(), ..PartInstrument::default() };
        let change = |bar, to| Change { bar: BarIndex(bar), at: Crotchets::ZERO, staff: None, kind: ChangeKind::Instrument(to) };
        let mut part = Part {
            notes: vec![note(0), note(5), note(6)],
            instruments: vec![instrument("Flute"), instrument("Piccolo")],
            changes: vec![change(5, 1), change(6, 0)],
            ..Part::default()
        };
        announce(&mut part, &bars);
        let told: Vec<(u32, Crotchets, String)> = part
            .directions
            .iter()
            .filter_map(|one| match &one.kind {
                DirectionKind::Words(text) => Some((one.bar.0, one.at, text.to_string())),
                _ => None,
            })
            .collect();
        // Back to the flute there is a bar's end to read it in.
        assert_eq!(told, [(0, Crotchets::whole(2), "to Piccolo".to_owned()), (5, Crotchets::whole(2), "to Flute".to_owned())]);
        let before = part.directions.len();
        announce(&mut part, &bars);
        assert_eq!(part.directions.len(), before);
    }
}
