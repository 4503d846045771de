//! The cast as a score: one part a player, a body's players on one staff.

use std::collections::BTreeMap;

use ripieno_instruments::signed;
use ripieno_score::{
    About, Articulations, Bar, Bracket, Change, ChangeKind, Crotchets, Direction, DirectionKind, DynamicLevel, DynamicMark, Edge,
    Mark, NoteFlags, Part, PartInstrument, PlayerCount, Score, Transposition,
};

use crate::breath::SNATCHED;
use crate::cast::Cast;
use crate::clefs::clefs;
use crate::dynamics::{level, one_at_each_place};
use crate::expression::{is_expression, is_swell, to_all};
use crate::groups::grouped;
use crate::keys::{Signature, for_part, signatures};
use crate::lineup::{Chair, Lineup, LineupSection};
use crate::loudness::{LOUDEST, SOFTEST, level_in, moved_by};
use crate::notate::{Event, Like, bar_of, lay, throughout};
use crate::plan::{Plan, Task};
use crate::realise::{CastNote, Seat, span_of};
use crate::reduction::titled;
use crate::sketch::Sketch;

pub(crate) fn build(sketch: &Sketch, lineup: &Lineup, cast: &Cast) -> Score {
    let about = &sketch.score.about;
    // A line-up taken from the score is called after it.
    let named = !lineup.name.is_empty() && lineup.source != "the score" && !lineup.name.starts_with("as in ");
    let about = if named && !about.title().is_empty() { titled(about, &format!("for {}", lineup.name)) } else { about.clone() };
    let about = About { concert_pitch: false, ..about };
    let mut score = Score { about, bars: sketch.score.bars.clone(), ..Score::default() };
    for ((at, section), names) in lineup.sections.iter().enumerate().zip(part_names(lineup)) {
        let first_part = score.parts.len();
        if section.is_body {
            let seats: Vec<Seat> = (0..section.chairs.len()).map(|chair| (at, chair)).collect();
            let people: u16 = section.chairs.iter().map(|chair| chair.people).sum();
            score.parts.push(part(sketch, cast, &section.chairs[0], &names[0], &seats, people, score.parts.len()));
        } else {
            for ((n, chair), name) in section.chairs.iter().enumerate().zip(&names) {
                score.parts.push(part(sketch, cast, chair, name, &[(at, n)], 1, score.parts.len()));
            }
        }
        let last = score.parts.len() - 1;
        if last > first_part {
            score.brackets.push(Bracket { first: first_part, last, name: String::new(), symbol: "bracket".to_owned() });
        }
    }
    // Tempo, rehearsal marks and words about tempo stand on the first part.
    if let Some(first) = score.parts.first_mut() {
        first.directions.extend(to_all(&sketch.score));
    }
    score.finish();
    score
}

/// What each part of a score cast for a line-up is called, section by section: one part for a body, one for each player elsewhere. Players of one instrument are numbered through all sections, so that no two
/// parts have the same name: four horns and four more are eight.
pub(crate) fn part_names(lineup: &Lineup) -> Vec<Vec<String>> {
    let sections = || lineup.sections.iter().filter(|section| !section.is_body);
    let same = |chair: &Chair, other: &Chair| other.instrument.id == chair.instrument.id && key_of(other) == key_of(chair);
    let of = |(at, section): (usize, &LineupSection)| -> Vec<String> {
        if section.is_body {
            return vec![lineup.label(at)];
        }
        let name = |(n, chair): (usize, &Chair)| {
            let all = sections().flat_map(|section| &section.chairs).filter(|other| same(chair, other)).count();
            let earlier = lineup.sections[..at].iter().filter(|section| !section.is_body);
            let before: usize = earlier
                .filter(|section| section.chairs.iter().any(|other| same(chair, other)))
                .map(|section| section.chairs.len())
                .sum();
            let number = if all > 1 { format!(" {}", before + n + 1) } else { String::new() };
            format!("{}{number}{}", capital(chair.instrument.name()), key_of(chair))
        };
        section.chairs.iter().enumerate().map(name).collect()
    };
    lineup.sections.iter().enumerate().map(of).collect()
}

/// The key as the name of a part says it, " in F". Who reads "Trumpet 1" brings the usual one, in B flat: of an instrument that usually transposes the key is said, C as well.
fn key_of(chair: &Chair) -> String {
    let transposes = |by: &ripieno_instruments::Transposition| by.semitones % 12 != 0;
    let key = chair.transposition;
    let said = transposes(key) || chair.instrument.transpositions.first().is_some_and(transposes);
    if said { format!(" in {}", signed(&key.key.to_string())) } else { String::new() }
}

fn capital(name: &str) -> String {
    let mut chars = name.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// How an instrument is written.
fn written(transposition: &ripieno_instruments::Transposition) -> Transposition {
    let t = transposition;
    Transposition { chromatic: t.chromatic(), diatonic: t.diatonic(), octaves: t.octave_change(), doubled_below: false }
}

/// From which moment on a player holds which instrument: only where that changes, the usual one at the start.
fn hands(sketch: &Sketch, cast: &Cast, seat: Seat) -> Vec<(Crotchets, usize)> {
    let mut found = vec![(Crotchets::ZERO, 0)];
    for (phrase, done) in cast.plan.phrases.iter().zip(&cast.phrases) {
        let task = phrase.tasks.iter().find(|task| task.section == seat.0 && task.chairs.contains(&seat.1));
        let first = done.notes.get(&seat).and_then(|notes| notes.first());
        let (Some(task), Some(first)) = (task, first) else { continue };
        let from = first.onset.max(Plan::span(sketch, &phrase.bars).0);
        if found.last().is_some_and(|last| last.1 != task.held) {
            found.push((from, task.held));
        }
    }
    found
}

fn part(sketch: &Sketch, cast: &Cast, chair: &Chair, name: &str, seats: &[Seat], people: u16, index: usize) -> Part {
    let hands = hands(sketch, cast, seats[0]);
    // The usual instrument, and those that are taken up at all, by their number in the part.
    let mut used: Vec<usize> = hands.iter().map(|(_, held)| *held).collect();
    used.sort_unstable();
    used.dedup();
    let all: Vec<_> = chair.instruments().collect();
    let place = |held: usize| used.iter().position(|&used| used == held).unwrap_or(0);
    let held_at = |at: Crotchets| hands.iter().rev().find(|(from, _)| *from <= at).map_or(0, |(_, held)| *held);
    let by_at = |at: Crotchets| written(all.get(held_at(at)).map_or(chair.transposition, |(_, transposition)| transposition));
    let by = written(chair.transposition);
    let instrument = |(n, &held): (usize, &usize)| {
        let instrument = all.get(held).map_or(chair.instrument, |(instrument, _)| instrument);
        PartInstrument {
            id: format!("P{}-I{}", index + 1, n + 1),
            name: instrument.name().to_owned(),
            sound: instrument.sound().unwrap_or_default().to_owned(),
            program: instrument.program,
            channel: None,
            drum_key: None,
            ensemble: (people > 1).then_some(people),
        }
    };
    let mut part = Part {
        id: format!("P{}", index + 1),
        name: name.to_owned(),
        abbreviation: String::new(),
        instruments: used.iter().enumerate().map(instrument).collect(),
        staves: 1,
        players: PlayerCount::exactly(people),
        is_body: people > 1,
        instrument_id: chair.instrument.id.clone(),
        ..Part::default()
    };
    // Players of a body who have the same notes are one line on the staff.
    let mut lines: Vec<Vec<CastNote>> = Vec::new();
    for seat in seats {
        let notes = cast.notes_of(*seat);
        let same = |line: &Vec<CastNote>| {
            line.len() == notes.len()
                && line.iter().zip(&notes).all(|(a, b)| (a.onset, a.duration, a.pitch) == (b.onset, b.duration, b.pitch))
        };
        if !lines.iter().any(same) {
            lines.push(notes);
        }
    }
    let at_start = |kind| Change { bar: ripieno_score::BarIndex(0), at: Crotchets::ZERO, staff: None, kind };
    if by != Transposition::NONE {
        part.changes.push(at_start(ChangeKind::Transposition(by)));
    }
    let keys = signatures(&sketch.score, &(0..sketch.score.bars.len()));
    for &Signature { bar, at, key } in &keys {
        let kind = ChangeKind::Key(for_part(key, by_at(sketch.bar_start(bar) + at)).0);
        part.changes.push(Change { bar: ripieno_score::BarIndex(u32::try_from(bar).unwrap_or(0)), at, staff: None, kind });
    }
    let key_at = |moment: Crotchets| {
        let begun = |signature: &&Signature| sketch.bar_start(signature.bar) + signature.at <= moment;
        keys.iter().rev().find(begun).map(|signature| for_part(signature.key, by_at(moment)))
    };
    // As the player reads it, spelled for his signature.
    let read = |note: &CastNote| {
        let beside = key_at(note.onset).map_or(Transposition::NONE, |(_, beside)| beside);
        note.pitch.moved(by_at(note.onset).inverse()).moved(beside).tamed()
    };
    let mut taken_up = Vec::new();
    for pair in hands.windows(2) {
        let (at, held) = pair[1];
        let bar = bar_of(&sketch.score.bars, at);
        let here = |kind| Change {
            bar: ripieno_score::BarIndex(u32::try_from(bar).unwrap_or(0)),
            at: at - sketch.bar_start(bar),
            staff: None,
            kind,
        };
        if by_at(at) != written(all.get(pair[0].1).map_or(chair.transposition, |(_, transposition)| transposition)) {
            part.changes.push(here(ChangeKind::Transposition(by_at(at))));
            part.changes.extend(key_at(at).map(|(key, _)| here(ChangeKind::Key(key))));
        }
        // Told where the other is laid down, and again where it is played.
        let name = capital(all.get(held).map_or(chair.instrument, |(instrument, _)| instrument).name());
        let before = cast.notes_of(seats[0]).iter().map(CastNote::end).filter(|end| *end <= at).max();
        let word = |at: Crotchets, text: String| {
            let kind = DirectionKind::Words(text.into());
            Direction { above: Some(true), ..direction(sketch, at, kind) }
        };
        taken_up.push(word(before.unwrap_or(Crotchets::ZERO), format!("to {name}")));
        taken_up.push(word(at, name));
    }
    part.changes.sort_by_key(|change| (change.bar, change.at));
    let source: Vec<Part> = sketch.score.parts.clone();
    let voices = voices(&sketch.score.bars, lines);
    let divided = division(sketch, &voices);
    for (voice, notes, span) in voices {
        let (timed, graces): (Vec<CastNote>, Vec<CastNote>) = notes.into_iter().partition(|note| note.duration.is_positive());
        let events: Vec<Event> = timed
            .iter()
            .map(|note| Event {
                from: note.onset,
                to: note.end(),
                pitches: vec![(read(note), false)],
                like: like(sketch, note),
                signs: Articulations::empty(),
                voice,
            })
            .collect();
        lay(&mut part, &sketch.score.bars, &events, &source, Some(span));
        let breaths: Vec<Crotchets> = breaths(sketch, &timed);
        mark_breaths(&mut part, &sketch.score.bars, voice, &breaths);
        for grace in graces {
            let bar = bar_of(&sketch.score.bars, grace.onset);
            let mut note =
                grace.like.map_or_else(ripieno_score::Note::default, |like| source[like.part].notes[like.note].clone());
            note.head = ripieno_score::Head::Pitched(read(&grace));
            note.bar = ripieno_score::BarIndex(u32::try_from(bar).unwrap_or(0));
            note.at = grace.onset - sketch.score.bars[bar].start;
            (note.voice, note.staff, note.instrument) = (voice, 1, 0);
            note.flags = (note.flags | NoteFlags::GRACE) - NoteFlags::CHORD;
            // Before the note it leads to, which stands at the same moment.
            let place = part
                .notes
                .iter()
                .position(|other| {
                    let (there, here) = ((other.bar, other.at, other.voice), (note.bar, note.at, note.voice));
                    there > here || (there == here && !other.flags.contains(NoteFlags::GRACE))
                })
                .unwrap_or(part.notes.len());
            part.notes.insert(place, note);
            for (mark, _) in &mut part.marks {
                if *mark as usize >= place {
                    *mark += 1;
                }
            }
        }
    }
    for note in &mut part.notes {
        note.instrument = u8::try_from(place(held_at(sketch.bar_start(note.bar.at()) + note.at))).unwrap_or(0);
    }
    grouped(&mut part, &sketch.score.bars);
    let clefs = clefs(&part, &sketch.score.bars, chair.instrument);
    part.changes.splice(0..0, clefs);
    part.changes.sort_by_key(|change| (change.bar, change.at));
    part.directions = dynamics(sketch, cast, seats[0]);
    one_at_each_place(&mut part.directions);
    part.directions.extend(expressive(sketch, cast, seats[0]));
    part.directions.extend(in_turn(sketch, cast, seats[0]));
    part.directions.extend(divided);
    part.directions.extend(taken_up);
    part.directions.sort_by_key(|direction| (direction.bar, direction.at));
    part
}

/// The note of the sketch that a note is written like: its own, else one of its strand with which it begins, for that one's accents hold all the same.
fn like(sketch: &Sketch, note: &CastNote) -> Option<Like> {
    let strand = sketch.strands.get(note.line.strand)?;
    let begun = || {
        let first = strand.notes.partition_point(|other| other.onset < note.onset);
        let there = strand.notes[first..].iter().take_while(|other| other.onset == note.onset);
        let alike = there.filter(|other| other.duration.is_positive());
        let nearest = alike.min_by_key(|other| (other.duration != note.duration, other.written))?;
        Some(Like { part: strand.part, note: nearest.written, plain: true })
    };
    // Whoever has changed to another strand has that one's accents.
    note.like.filter(|like| like.part == strand.part).or_else(begun)
}

/// When the notes end after which a breath is marked: where no rest follows that would do.
fn breaths(sketch: &Sketch, notes: &[CastNote]) -> Vec<Crotchets> {
    let tempo = &sketch.sounding.tempo;
    let marked = |(at, note): (usize, &CastNote)| {
        let next = notes.get(at + 1)?;
        let rest = tempo.seconds(next.onset) - tempo.seconds(note.end());
        (note.breath && rest < SNATCHED).then(|| note.end())
    };
    notes.iter().enumerate().filter_map(marked).collect()
}

/// Writes breath marks on the notes of a voice that end at these moments; a slur in which one stands is written as two.
fn mark_breaths(part: &mut Part, bars: &[Bar], voice: u16, ends: &[Crotchets]) {
    if ends.is_empty() {
        return;
    }
    let onset = |note: &ripieno_score::Note| bars[note.bar.at()].start + note.at;
    let mut last: Vec<(usize, usize)> = Vec::new();
    let of_voice: Vec<usize> = (0..part.notes.len())
        .filter(|&at| part.notes[at].voice == voice && !part.notes[at].flags.contains(NoteFlags::GRACE))
        .collect();
    for pair in of_voice.windows(2) {
        let note = &part.notes[pair[0]];
        if ends.binary_search(&(onset(note) + note.duration)).is_ok() {
            last.push((pair[0], pair[1]));
        }
    }
    for &(at, next) in &last {
        part.notes[at].articulations |= Articulations::BREATH_MARK;
        part.marks = parted(std::mem::take(&mut part.marks), at, next);
    }
}

/// Marks of notes in which slurs that lead over from one note to the next end on the one and begin again on the other.
fn parted(marks: Vec<(u32, Mark)>, at: usize, next: usize) -> Vec<(u32, Mark)> {
    let mut open: Vec<u8> = Vec::new();
    let place = |note: u32| note as usize;
    for (note, mark) in marks.iter().filter(|(note, _)| place(*note) <= at) {
        match mark {
            Mark::Slur { edge: Edge::Start, number } => open.push(*number),
            Mark::Slur { edge: Edge::Stop, number } if place(*note) <= at => open.retain(|other| other != number),
            _ => {}
        }
    }
    if open.is_empty() {
        return marks;
    }
    let mut found: Vec<(u32, Mark)> = Vec::with_capacity(marks.len() + 2 * open.len());
    let (here, there) = (u32::try_from(at).unwrap_or(u32::MAX), u32::try_from(next).unwrap_or(u32::MAX));
    let slur = |edge: Edge, number: u8| Mark::Slur { edge, number };
    let begins_here = |number: u8| marks.contains(&(here, slur(Edge::Start, number)));
    let ends_there = |number: u8| marks.contains(&(there, slur(Edge::Stop, number)));
    for (note, mark) in &marks {
        let moved = open.iter().any(|&number| {
            (*note == here && *mark == slur(Edge::Start, number)) || (*note == there && *mark == slur(Edge::Stop, number))
        });
        if !moved {
            found.push((*note, mark.clone()));
        }
    }
    for &number in &open {
        if !begins_here(number) {
            found.push((here, slur(Edge::Stop, number)));
        }
        if !ends_there(number) {
            found.push((there, slur(Edge::Start, number)));
        }
    }
    found.sort_by_key(|(note, _)| *note);
    found
}

/// A voice of a staff, its notes, and the span in which its rests are shown.
type StaffVoice = (u16, Vec<CastNote>, (Crotchets, Crotchets));

/// The voices of a staff: the first throughout, the others only in the bars in which they have something else.
fn voices(bars: &[Bar], lines: Vec<Vec<CastNote>>) -> Vec<StaffVoice> {
    let touched = |note: &CastNote| {
        let last = bars.partition_point(|bar| bar.start < note.end()).saturating_sub(1);
        let first = bar_of(bars, note.onset);
        first..=last.max(first)
    };
    let mut found: Vec<StaffVoice> = Vec::new();
    let mut lines = lines.into_iter();
    let Some(upper) = lines.next() else { return found };
    for (voice, line) in (2u16..).zip(lines) {
        let mut differs = vec![false; bars.len()];
        let there = |note: &CastNote, other: &[CastNote]| {
            let first = other.partition_point(|other| other.onset < note.onset);
            let mut same = other[first..].iter().take_while(|other| other.onset == note.onset);
            same.any(|other| (other.duration, other.pitch) == (note.duration, note.pitch))
        };
        let own = line.iter().filter(|note| !there(note, &upper)).chain(upper.iter().filter(|note| !there(note, &line)));
        for bar in own.flat_map(touched) {
            differs[bar] = true;
        }
        // A note that reaches into such a bar belongs to it with all its length.
        let both: Vec<std::ops::RangeInclusive<usize>> = line.iter().chain(&upper).map(touched).collect();
        let mut again = true;
        while again {
            again = false;
            for range in &both {
                if differs[range.clone()].iter().any(|&bar| bar) && !differs[range.clone()].iter().all(|&bar| bar) {
                    differs[range.clone()].fill(true);
                    again = true;
                }
            }
        }
        let mut bar = 0;
        while bar < bars.len() {
            let end = bar + differs[bar..].iter().take_while(|&&differs| differs).count();
            if end == bar {
                bar += 1;
                continue;
            }
            let span = (bars[bar].start, bars[end - 1].start + bars[end - 1].length);
            let notes = line.iter().filter(|note| span.0 <= note.onset && note.onset < span.1).copied().collect();
            found.push((voice, notes, span));
            bar = end;
        }
    }
    found.sort_by_key(|(voice, _, span)| (*voice, span.0));
    found.insert(0, (1, upper, throughout(bars)));
    found
}

/// "div." where a body begins to play in several voices and "unis." where it next plays in one.
fn division(sketch: &Sketch, voices: &[StaffVoice]) -> Vec<Direction> {
    let mut spans: Vec<(Crotchets, Crotchets)> = voices.iter().skip(1).map(|(_, _, span)| *span).collect();
    spans.sort_unstable();
    let mut found = Vec::new();
    let mut divided = false;
    let upper = voices.first().map_or(&[][..], |(_, notes, _)| notes);
    let mut word = |at: Crotchets, text: &str| {
        let kind = DirectionKind::Words(text.into());
        found.push(Direction { above: Some(true), ..direction(sketch, at, kind) });
    };
    let mut end = Crotchets::ZERO;
    for (place, &(from, to)) in spans.iter().enumerate() {
        if !divided && from >= end {
            word(from, "div.");
        }
        end = end.max(to);
        let next = spans.get(place + 1).map(|span| span.0);
        let together = upper.iter().find(|note| note.onset >= end && next.is_none_or(|next| note.onset < next));
        divided = together.is_none();
        if let Some(note) = together {
            word(note.onset, "unis.");
        }
    }
    found
}

/// A stretch in which a player has one strand at the sketch's own dynamics, or at one the plan asks for.
struct Stretch {
    strand: usize,
    asked: Option<DynamicLevel>,
    /// By how much the sketch's own levels are moved for it.
    shift: f32,
    muted: bool,
    from: Crotchets,
    to: Crotchets,
}

/// The stretches of a player; neighbouring phrases with the same strand are one, so that a hairpin may lead from one into the next.
fn stretches(sketch: &Sketch, cast: &Cast, seat: Seat) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    let mut until = None;
    for phrase in &cast.plan.phrases {
        let follows = until.replace(phrase.bars.end) == Some(phrase.bars.start);
        let task = phrase.tasks.iter().find(|task| task.section == seat.0 && task.chairs.contains(&seat.1));
        let Some((task, strand)) = task.and_then(|task| Some((task, task.strand?))) else { continue };
        // What accompanies takes a phrase's dynamic at its barline, whatever the tune's upbeat does.
        let (from, to) = span_of(sketch, phrase, sketch.strands[strand].role, follows);
        let whole = Plan::span(sketch, &phrase.bars);
        let same_level = |last: &Stretch, task: &Task| match (last.asked, task.dynamic) {
            (None, None) => true,
            (Some(_), Some(_)) => match level_in(sketch, strand, whole) {
                Some(_) => (last.shift - moved_by(sketch, task, whole)).abs() < 0.01,
                None => last.asked == task.dynamic,
            },
            _ => false,
        };
        match found.last_mut() {
            Some(last) if last.strand == strand && same_level(last, task) && last.muted == task.muted && last.to == from => {
                last.to = to;
            }
            _ => {
                let shift = moved_by(sketch, task, whole);
                // Whoever takes up a tune with its upbeat leaves what he had there.
                if let Some(last) = found.last_mut() {
                    last.to = last.to.min(from);
                }
                found.push(Stretch { strand, asked: task.dynamic, shift, muted: task.muted, from, to });
            }
        }
    }
    found
}

/// Dynamics of a player: of each phrase's task, else of the strand as the sketch marks it. One mark at most stands at a place, and none inside a
/// hairpin that is taken over.
fn dynamics(sketch: &Sketch, cast: &Cast, seat: Seat) -> Vec<Direction> {
    let mut found: Vec<Direction> = Vec::new();
    let mut last: Option<&'static str> = None;
    let notes = cast.notes_of(seat);
    let mut mark = |at: Crotchets, level: DynamicLevel, found: &mut Vec<Direction>| {
        let name = level.mark();
        if last != Some(name)
            && let Some(level) = DynamicLevel::from_mark(name)
        {
            last = Some(name);
            let marked = direction(sketch, at, DirectionKind::Dynamic(DynamicMark::Level(level)));
            let same = |own: &Direction| {
                (own.bar, own.at) == (marked.bar, marked.at) && matches!(own.kind, DirectionKind::Dynamic(DynamicMark::Level(_)))
            };
            found.retain(|own| !same(own));
            found.push(marked);
        }
    };
    let written = |level: f32| DynamicLevel(level.clamp(SOFTEST, LOUDEST));
    let mut mute = false;
    // Hairpins that have begun, of the strand the player has; they may lead from one phrase into the next.
    let mut open: BTreeMap<u8, (Crotchets, Direction)> = BTreeMap::new();
    let mut had: Option<(usize, Crotchets)> = None;
    let stretches = stretches(sketch, cast, seat);
    for &Stretch { strand, asked, shift, muted, from, to } in &stretches {
        if had.replace((strand, to)) != Some((strand, from)) {
            open.clear();
        }
        let Some(first) = notes.iter().find(|note| note.onset >= from && note.onset < to) else { continue };
        if muted != mute {
            mute = muted;
            let words = if muted { "con sord." } else { "senza sord." };
            let kind = DirectionKind::Words(words.into());
            found.push(Direction { above: Some(true), ..direction(sketch, first.onset, kind) });
        }
        let index = sketch.strands[strand].part;
        let level = sketch.level_at(index, first.onset).map(|level| written(level + shift));
        if let Some(level) = level.or(asked) {
            mark(first.onset, level, &mut found);
        }
        let sounds = |from: Crotchets, to: Crotchets| notes.iter().any(|note| note.onset < to && from < note.end());
        for direction in &sketch.score.parts[index].directions {
            let at = sketch.bar_start(direction.bar.at()) + direction.at;
            if at < first.onset || at > to || (at == to && !matches!(direction.kind, DirectionKind::HairpinStop { .. })) {
                continue;
            }
            let moved = Direction { staff: 1, voice: None, ..direction.clone() };
            match &direction.kind {
                DirectionKind::Dynamic(DynamicMark::Level(level)) => {
                    if let Some(place) = place_of_mark(&sketch.score.parts[index].directions, sketch, &notes, at) {
                        mark(place, written(level.0 + shift), &mut found);
                    }
                }
                // An accent belongs to a note.
                DirectionKind::Dynamic(_) if notes.iter().any(|note| note.onset == at) => found.push(moved),
                DirectionKind::HairpinStart { number, .. } => {
                    open.insert(*number, (at, moved));
                }
                // A hairpin goes along only whole, and where the player has something to swell.
                DirectionKind::HairpinStop { number, .. } => {
                    if let Some((_, start)) = open.remove(number).filter(|(begin, _)| sounds(*begin, at)) {
                        found.extend([start, moved]);
                    }
                }
                _ => {}
            }
        }
    }
    found.sort_by_key(|direction| (direction.bar, direction.at));
    told_again(sketch, &notes, &beginnings(sketch, &stretches, &notes), &mut found);
    found
}

/// Notes at which something new begins for a player: another strand, a tempo, or what follows a double barline.
fn beginnings(sketch: &Sketch, stretches: &[Stretch], notes: &[CastNote]) -> Vec<Crotchets> {
    let tasks = stretches.windows(2).filter(|pair| pair[0].strand != pair[1].strand).map(|pair| pair[1].from);
    let bars = &sketch.score.bars;
    let double = |bar: &Bar| bar.barline.as_deref().is_some_and(|style| style.starts_with("light-"));
    let after_double = bars.windows(2).filter(|pair| double(&pair[0])).map(|pair| pair[1].start);
    let tempi = to_all(&sketch.score)
        .into_iter()
        .filter(|one| matches!(one.kind, DirectionKind::Metronome { .. }))
        .map(|one| sketch.bar_start(one.bar.at()) + one.at);
    let first = |at: Crotchets| notes.iter().map(|note| note.onset).find(|&onset| onset >= at);
    tasks.chain(after_double).chain(tempi).filter_map(first).collect()
}

/// Whoever enters after a bar of rest or more, or at whose note something new begins ([`beginnings`]), reads again how loud it is, unless a mark stands
/// there (common practice, from memory: Gould on dynamics after rests).
fn told_again(sketch: &Sketch, notes: &[CastNote], beginnings: &[Crotchets], marks: &mut Vec<Direction>) {
    let when = |direction: &Direction| sketch.bar_start(direction.bar.at()) + direction.at;
    let bars = &sketch.score.bars;
    let entries = notes.windows(2).filter_map(|pair| {
        // The bars between that in which the one ends and that in which the other begins are empty.
        let (end, next) = (pair[0].end(), pair[1].onset);
        let rests = bars.partition_point(|bar| bar.start < end);
        (rests < bar_of(bars, next)).then(|| (next, sketch.bar_start(bar_of(bars, next))))
    });
    // A mark for the task before may stand in the same bar.
    let mut places: Vec<(Crotchets, Crotchets)> = entries.chain(beginnings.iter().map(|&at| (at, at))).collect();
    places.sort_unstable();
    places.dedup_by_key(|(at, _)| *at);
    let is_mark = |one: &&Direction| matches!(one.kind, DirectionKind::Dynamic(_));
    let swells = |at: Crotchets| {
        let edges = marks.iter().filter(|one| when(one) < at).rev();
        let last = edges
            .map(|one| &one.kind)
            .find(|kind| matches!(kind, DirectionKind::HairpinStart { .. } | DirectionKind::HairpinStop { .. }));
        matches!(last, Some(DirectionKind::HairpinStart { .. }))
    };
    let again: Vec<Direction> = places
        .into_iter()
        .filter_map(|(entry, since)| {
            let there = marks.iter().filter(is_mark).any(|one| since <= when(one) && when(one) <= entry);
            let in_force = marks.iter().rev().filter(|one| when(one) < entry).find_map(level);
            let mark = |level| direction(sketch, entry, DirectionKind::Dynamic(DynamicMark::Level(level)));
            in_force.filter(|_| !there && !swells(entry)).map(mark)
        })
        .collect();
    marks.extend(again);
    marks.sort_by_key(|direction| (direction.bar, direction.at));
}

/// Words of expression of the strands a player has, where they stand; while the player rests, at the next entry.
fn expressive(sketch: &Sketch, cast: &Cast, seat: Seat) -> Vec<Direction> {
    let mut found: Vec<Direction> = Vec::new();
    let notes = cast.notes_of(seat);
    for Stretch { strand, from, to, .. } in stretches(sketch, cast, seat) {
        let part = &sketch.score.parts[sketch.strands[strand].part];
        for told in part.directions.iter().filter(|told| is_expression(part, told)) {
            let at = sketch.bar_start(told.bar.at()) + told.at;
            if at < from || at >= to {
                continue;
            }
            let sounds = notes.iter().any(|note| note.onset <= at && at < note.end());
            let next = || notes.iter().map(|note| note.onset).find(|&onset| onset >= at && onset < to);
            let place = if sounds { Some(at) } else { next().filter(|_| !is_swell(told)) };
            found.extend(place.map(|at| Direction { above: told.above, ..direction(sketch, at, told.kind.clone()) }));
        }
    }
    found
}

/// "breathe in turn" where a section begins to do so, for each of its players.
fn in_turn(sketch: &Sketch, cast: &Cast, seat: Seat) -> Vec<Direction> {
    let mut found = Vec::new();
    let mut before = false;
    for done in &cast.phrases {
        let notes = done.notes.get(&seat).filter(|notes| done.in_turn.contains(&seat) && notes.iter().any(|note| note.breath));
        if let Some(first) = notes.and_then(|notes| notes.first()).filter(|_| !before) {
            let kind = DirectionKind::Words("breathe in turn".into());
            found.push(Direction { above: Some(true), ..direction(sketch, first.onset, kind) });
        }
        before = notes.is_some();
    }
    found
}

/// Where a player reads a dynamic that the strand has at a moment: under a note that begins there, else under the next one, before another mark takes its
/// place. Inside a held note only where a hairpin leads to it: a note has one dynamic, not those of everything it stands for.
fn place_of_mark(directions: &[Direction], sketch: &Sketch, notes: &[CastNote], at: Crotchets) -> Option<Crotchets> {
    let when = |direction: &Direction| sketch.bar_start(direction.bar.at()) + direction.at;
    let level = |direction: &&Direction| matches!(direction.kind, DirectionKind::Dynamic(DynamicMark::Level(_)));
    let next = directions.iter().filter(level).map(when).find(|&place| place > at);
    let begins =
        notes.iter().map(|note| note.onset).find(|&onset| onset >= at).filter(|&onset| next.is_none_or(|next| onset < next));
    let leads = |direction: &Direction| matches!(direction.kind, DirectionKind::HairpinStop { .. }) && when(direction) == at;
    let held = notes.iter().any(|note| note.onset < at && at < note.end());
    begins.filter(|&onset| onset == at || !held).or_else(|| (held && directions.iter().any(leads)).then_some(at)).or(begins)
}

fn direction(sketch: &Sketch, at: Crotchets, kind: DirectionKind) -> Direction {
    let bar = bar_of(&sketch.score.bars, at);
    let position = at - sketch.bar_start(bar);
    Direction {
        bar: ripieno_score::BarIndex(u32::try_from(bar).unwrap_or(0)),
        at: position,
        staff: 1,
        voice: None,
        above: Some(false),
        kind,
    }
}
