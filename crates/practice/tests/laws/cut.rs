//! A stretch of bars of an analysed piece as a piece of its own, with the same lines, roles and chords.

use std::ops::Range;

use ripieno_score::{Crotchets, Notes, PlayedBar, Sounding};
use ripieno_texture::{Doublings, Harmony, Layer, Layers, Line, Lines, Member, RoleReading};

use crate::pieces::Piece;

/// The bar nearest the middle over whose barline no note is held and no doubling goes on: there a cut takes nothing away.
pub fn quiet_bar(piece: &Piece) -> Option<usize> {
    let (notes, bars) = (&piece.sounding.notes, &piece.sounding.bars);
    let quiet = |&bar: &usize| {
        let at = bars[bar].start;
        let held = (0..notes.len()).any(|row| notes.onset[row] < at && notes.onset[row] + notes.duration[row] > at);
        // A doubling of few notes counts where it is all that both play between rests; a cut is no rest.
        !held && !piece.doublings.all.iter().any(|doubling| doubling.from < at && doubling.to > at)
    };
    (1..bars.len()).filter(quiet).min_by_key(|bar| (2 * bar).abs_diff(bars.len()))
}

/// The bars `within`, from 0. Nothing may be held over its ends.
pub fn cut(piece: &Piece, within: Range<usize>) -> Piece {
    let start = piece.sounding.bars[within.start].start;
    let end = piece.sounding.bars.get(within.end).map_or(piece.sounding.length(), |bar| bar.start);
    let bars: Vec<PlayedBar> =
        piece.sounding.bars[within.clone()].iter().map(|bar| PlayedBar { start: bar.start - start, ..*bar }).collect();
    let offset = u32::try_from(within.start).unwrap();
    let (notes, row_of) = notes(&piece.sounding.notes, within.clone(), start);
    // The tempo stays that of the whole piece, since it cannot be shifted: attacks a second are no share.
    let sounding = Sounding { bars, notes, tempo: piece.sounding.tempo.clone(), troubles: Vec::new() };
    let lines = lines(&piece.lines, &row_of, within.clone(), start);
    let clip = |bars: &Range<u32>| {
        let last = u32::try_from(within.end).unwrap();
        let inside = bars.start.max(offset)..bars.end.min(last);
        (inside.start < inside.end).then(|| inside.start - offset..inside.end - offset)
    };
    let moment = |at: Crotchets| at.max(start).min(end) - start;
    let mut roles = RoleReading::default();
    for span in &piece.roles.spans {
        if let Some(bars) = clip(&span.bars) {
            let mut span = span.clone();
            (span.bars, span.from, span.to) = (bars, moment(span.from), moment(span.to));
            roles.spans.push(span);
        }
    }
    for carried in &piece.roles.melody {
        if let Some(bars) = clip(&carried.bars) {
            let mut carried = carried.clone();
            (carried.bars, carried.from, carried.to) = (bars, moment(carried.from), moment(carried.to));
            carried.support.retain_mut(|support| {
                (support.from, support.to) = (moment(support.from), moment(support.to));
                clip(&support.bars).map(|bars| support.bars = bars).is_some()
            });
            roles.melody.push(carried);
        }
    }
    roles.leads = piece.roles.leads.iter().map(|bars| bars[within.clone()].to_vec()).collect();
    let layer = |layer: &Layer| {
        let members: Vec<Member> =
            layer.members.iter().filter_map(|member| clip(&member.bars).map(|bars| Member { bars, ..member.clone() })).collect();
        clip(&layer.bars).filter(|_| !members.is_empty()).map(|bars| Layer { bars, members })
    };
    roles.layers = Layers::new(piece.roles.layers.layers.iter().filter_map(layer).collect());
    let mut harmony = Harmony::default();
    for chord in piece.harmony.chords.iter().filter(|chord| chord.onset < end && chord.end > start) {
        let mut chord = chord.clone();
        (chord.onset, chord.end) = (moment(chord.onset), moment(chord.end));
        harmony.chords.push(chord);
    }
    for key in piece.harmony.keys.iter().filter(|key| key.onset < end && key.end > start) {
        let mut key = key.clone();
        (key.onset, key.end) = (moment(key.onset), moment(key.end));
        harmony.keys.push(key);
    }
    Piece {
        score: piece.score.clone(),
        doublings: Doublings::new(&sounding, &lines),
        sounding,
        groups: piece.groups.clone(),
        lines,
        roles,
        harmony,
        themes: Vec::new(),
    }
}

/// The rows that begin in these bars, and for each old row its new one.
fn notes(old: &Notes, within: Range<usize>, start: Crotchets) -> (Notes, Vec<Option<u32>>) {
    let mut new = Notes::default();
    let mut row_of = vec![None; old.len()];
    for of_part in &old.of_part {
        let first = new.len();
        for row in of_part.clone().filter(|&row| within.contains(&(old.bar[row] as usize))) {
            row_of[row] = Some(u32::try_from(new.len()).unwrap());
            new.part.push(old.part[row]);
            new.bar.push(old.bar[row] - u32::try_from(within.start).unwrap());
            new.onset.push(old.onset[row] - start);
            new.duration.push(old.duration[row]);
            new.key.push(old.key[row]);
            new.pitch.push(old.pitch[row]);
            new.voice.push(old.voice[row]);
            new.staff.push(old.staff[row]);
            new.instrument.push(old.instrument[row]);
            new.players.push(old.players[row]);
            new.players_reason.push(old.players_reason[row]);
            new.level.push(old.level[row]);
            new.written.push(old.written[row]);
        }
        new.of_part.push(first..new.len());
    }
    (new, row_of)
}

/// The same lines, those without a note in these bars too, so that they keep their numbers.
fn lines(old: &Lines, row_of: &[Option<u32>], within: Range<usize>, start: Crotchets) -> Lines {
    let line = |line: &Line| {
        let rows: Vec<u32> = line.rows.iter().filter_map(|&row| row_of[row as usize]).collect();
        let attacks = line.attacks.iter().filter(|attack| within.contains(&(attack.bar as usize)));
        let attacks = attacks.map(|attack| {
            let first = row_of[line.rows[attack.first as usize] as usize].unwrap();
            let mut attack = *attack;
            attack.first = u32::try_from(rows.iter().position(|&row| row == first).unwrap()).unwrap();
            attack.bar -= u32::try_from(within.start).unwrap();
            attack.onset -= start;
            attack.end -= start;
            attack
        });
        Line { attacks: attacks.collect(), rows, ..line.clone() }
    };
    let of_row = old.of_row.iter().zip(row_of).filter(|(_, new)| new.is_some()).map(|(&line, _)| line);
    Lines { lines: old.lines.iter().map(line).collect(), of_row: of_row.collect(), of_part: old.of_part.clone() }
}
