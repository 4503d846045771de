//! The same music written another way, with what was read from it carried over line by line.

use ripieno_practice::Groups;
use ripieno_score::{Head, Mark, NoteFlags, Part, PlayerCount, Score, Sounding, Transposition, Unroll};
use ripieno_texture::{
    Carried, Doublings, Layer, Layers, Lines, Member, NoteName, RoleReading, RoleSpan, Support, themes, top_lines,
};

use crate::pieces::Piece;

/// The whole score a major second higher. Lines are told apart again and must come out the same.
pub fn up_a_tone(piece: &Piece) -> Piece {
    const UP: Transposition = Transposition { chromatic: 2, diatonic: 1, ..Transposition::NONE };
    let mut score = piece.score.clone();
    for part in &mut score.parts {
        for note in &mut part.notes {
            if let Head::Pitched(pitch) = &mut note.head {
                *pitch = pitch.moved(UP);
            }
        }
        for (_, mark) in &mut part.marks {
            if let Mark::SoundingPitch(pitch) = mark {
                *pitch = pitch.moved(UP);
            }
        }
    }
    let mut new = rewritten(piece, score, |row| row, |part| part);
    assert_eq!(new.lines.of_row, piece.lines.of_row);
    let up = |name: NoteName| name.above(2, 1);
    for chord in &mut new.harmony.chords {
        (chord.root, chord.bass) = (up(chord.root), chord.bass.map(up));
    }
    for key in &mut new.harmony.keys {
        key.tonic = up(key.tonic);
    }
    new
}

/// The page upside down.
pub fn parts_reversed(piece: &Piece) -> Piece {
    let mut score = piece.score.clone();
    score.parts.reverse();
    score.brackets.clear();
    let last = score.parts.len() - 1;
    // Rows go part by part, those of a part in one order.
    let of_part = &piece.sounding.notes.of_part;
    let mut first = vec![0; last + 1];
    for part in (0..last).rev() {
        first[part] = first[part + 1] + of_part[part + 1].len();
    }
    let part_of = |row: usize| usize::from(piece.sounding.notes.part[row]);
    rewritten(piece, score, |row| first[part_of(row)] + row - of_part[part_of(row)].start, |part| last - part)
}

/// A part written in chords of two, written in two voices.
pub fn two_voices(piece: Piece, name: &str) -> Piece {
    let index = piece.part(name);
    let mut score = piece.score.clone();
    let part = &mut score.parts[index];
    for at in 1..part.notes.len() {
        if part.notes[at].flags.contains(NoteFlags::CHORD) {
            part.notes[at].flags -= NoteFlags::CHORD;
            let pitch = |at: usize| match part.notes[at].head {
                Head::Pitched(pitch) | Head::Unpitched(pitch) => pitch.semitones(),
            };
            let lower = if pitch(at) < pitch(at - 1) { at } else { at - 1 };
            part.notes[lower].voice = 2;
        }
    }
    let new = rewritten(&piece, score, |row| row, |part| part);
    let voices: std::collections::BTreeSet<u16> = new.score.parts[index].notes.iter().map(|note| note.voice).collect();
    assert_eq!(voices.len(), 2);
    new
}

/// A part of two voices with the second on a staff of its own. Who plays what is carried over: an engraver would write "a 2" and "1." anew, since over one
/// staff of two they say something else.
pub fn two_staves(piece: &Piece, name: &str) -> Piece {
    let index = piece.part(name);
    let mut score = piece.score.clone();
    let part = &mut score.parts[index];
    part.staves = 2;
    part.notes.iter_mut().filter(|note| note.voice == 2).for_each(|note| note.staff = 2);
    let mut new = rewritten(piece, score, |row| row, |part| part);
    new.sounding.notes.players.clone_from(&piece.sounding.notes.players);
    new
}

/// A part of two players in two voices as two parts of one player.
pub fn two_parts(piece: &Piece, name: &str) -> Piece {
    let index = piece.part(name);
    let mut score = piece.score.clone();
    let of_voice = |voice: u16| {
        let mut part: Part = piece.score.parts[index].clone();
        assert!(part.marks.is_empty(), "marks on notes would have to move with them");
        part.id = format!("{}-{voice}", part.id);
        part.name = format!("Horn {voice}");
        part.players = PlayerCount::exactly(1);
        part.notes.retain(|note| note.voice == voice);
        part
    };
    score.parts.splice(index..=index, [of_voice(1), of_voice(2)]);
    let notes = &piece.sounding.notes;
    let rows = notes.of_part[index].clone();
    let upper = rows.clone().filter(|&row| notes.voice[row] == 1).count();
    let row_of = |row: usize| {
        if !rows.contains(&row) {
            return row;
        }
        let before = rows.clone().filter(|&other| other < row && notes.voice[other] == notes.voice[row]).count();
        rows.start + before + if notes.voice[row] == 2 { upper } else { 0 }
    };
    rewritten(piece, score, row_of, |part| if part > index { part + 1 } else { part })
}

/// `piece` as `score` writes it: `row_of` and `part_of` tell where rows and parts have gone.
fn rewritten(piece: &Piece, score: Score, row_of: impl Fn(usize) -> usize, part_of: impl Fn(usize) -> usize) -> Piece {
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    assert_eq!(sounding.notes.len(), piece.sounding.notes.len());
    let lines = Lines::new(&score, &sounding);
    assert_eq!(lines.lines.len(), piece.lines.lines.len());
    let mut line_of = vec![None; lines.lines.len()];
    for (row, &line) in piece.lines.of_row.iter().enumerate() {
        let new = row_of(row);
        assert_eq!(sounding.notes.onset[new], piece.sounding.notes.onset[row]);
        let (known, line_now) = (&mut line_of[line as usize], lines.of_row[new] as usize);
        assert!(known.is_none_or(|known| known == line_now), "one line became two");
        *known = Some(line_now);
    }
    let line_of: Vec<usize> = line_of.into_iter().map(|line| line.unwrap()).collect();
    Piece {
        groups: Groups::new(&score),
        doublings: Doublings::new(&sounding, &lines),
        roles: carried_over(&piece.roles, &lines, score.parts.len(), &line_of, part_of),
        harmony: piece.harmony.clone(),
        themes: themes(&top_lines(&sounding)),
        score,
        sounding,
        lines,
    }
}

/// Roles of the same lines under their new numbers. Evidence is left out: no measure may hang on the words of an explanation.
fn carried_over(
    old: &RoleReading,
    lines: &Lines,
    parts: usize,
    line_of: &[usize],
    part_of: impl Fn(usize) -> usize,
) -> RoleReading {
    let span = |span: &RoleSpan| {
        let line = line_of[span.line];
        RoleSpan { part: lines.lines[line].part, line, evidence: Vec::new(), ..span.clone() }
    };
    let mut spans: Vec<RoleSpan> = old.spans.iter().map(span).collect();
    spans.sort_by_key(|span| (span.part, span.from, span.line));
    let layer = |layer: &Layer| {
        let mut members: Vec<Member> =
            layer.members.iter().map(|member| Member { line: line_of[member.line], ..member.clone() }).collect();
        members[1..].sort_by_key(|member| (member.line, member.bars.start));
        Layer { bars: layer.bars.clone(), members }
    };
    let carried = |carried: &Carried| {
        let line = line_of[carried.line];
        let mut support: Vec<Support> =
            carried.support.iter().map(|support| Support { part: part_of(support.part), ..support.clone() }).collect();
        support.sort_by_key(|support| (support.part, support.from));
        Carried { part: lines.lines[line].part, line, support, ..carried.clone() }
    };
    let mut leads = vec![vec![0.0; old.leads.first().map_or(0, Vec::len)]; parts];
    for (part, bars) in old.leads.iter().enumerate() {
        leads[part_of(part)].clone_from(bars);
    }
    RoleReading {
        spans,
        layers: Layers::new(old.layers.layers.iter().map(layer).collect()),
        melody: old.melody.iter().map(carried).collect(),
        leads,
    }
}
