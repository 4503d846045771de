//! An excerpt with one staff for each layer, at sounding pitch.
//!
//! Who belongs to which layer is the caller's to say, note by note. Lines of a layer that move in one rhythm in a bar become chords, those that
//! double at the unison one note; lines in rhythms of their own become voices. A layer too wide for one staff gets two under
//! a brace.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{
    Articulations, BarIndex, Beams, Change, ChangeKind, Clef, ClefSign, Crotchets, Direction, DirectionKind, Head, Mark, Note,
    NoteFlags, Part, PartInstrument, Pitch, PlayerMark, Rest, Score, Stem,
};

use super::concert::{self, Octaves};
use super::{Cut, CutError, Excerpt, NoteOrigin, Parts, cut, moment, tempo};

/// Name of the staff for what the caller gives no layer.
const OTHERS: &str = "other lines";
/// Staff positions a treble and a bass staff hold with three ledger lines on either side (C0 is 0, middle C 28).
const TREBLE: std::ops::RangeInclusive<i32> = 23..=45;
const BASS: std::ops::RangeInclusive<i32> = 11..=33;
/// Where two staves divide: middle C.
const MIDDLE: i32 = 28;
/// One note in so many may lie beyond the ledger lines before a layer gets two staves.
const SELDOM: usize = 8;

/// One line of a layer in the excerpt: a voice of a part.
type Stream = (usize, u16);
/// A line and its notes in a bar.
type StreamInBar = (Stream, Vec<usize>);

/// Cuts bars `first` to `last` and sets each layer on a staff of its own. `layer_of[part][note]` is the layer of a note of `score`, an
/// index into `names`; notes that play and have none come together on a last staff.
///
/// # Errors
/// When the score has no such bars, or nothing plays in them.
pub fn condense(
    score: &Score,
    (first, last): (BarIndex, BarIndex),
    names: &[String],
    layer_of: &[Vec<Option<usize>>],
) -> Result<Excerpt, CutError> {
    let whole = cut(score, &Cut { parts: Parts::Sounding, ..Cut::bars(first, last) })?;
    let mut sounding = whole.score;
    concert::sound(&mut sounding, Octaves::Undone);
    let layer = |origin: &NoteOrigin| {
        let named = layer_of.get(origin.part).and_then(|notes| notes.get(origin.note as usize)).copied().flatten();
        named.filter(|&layer| layer < names.len()).unwrap_or(names.len())
    };
    let mut layers: BTreeMap<usize, BTreeMap<Stream, Vec<usize>>> = BTreeMap::new();
    for (part, origins) in whole.origin.iter().enumerate() {
        for (index, (note, origin)) in sounding.parts[part].notes.iter().zip(origins).enumerate() {
            if note.plays() {
                layers.entry(layer(origin)).or_default().entry((part, note.voice)).or_default().push(index);
            }
        }
    }
    let key = common_key(&sounding);
    let mut excerpt = Excerpt {
        score: Score { about: sounding.about.clone(), bars: sounding.bars.clone(), ..Score::default() },
        origin: Vec::new(),
        held_over: Vec::new(),
    };
    let held: BTreeSet<(usize, u32)> = whole.held_over.iter().copied().collect();
    for (layer, streams) in &layers {
        let name = names.get(*layer).map_or(OTHERS, String::as_str);
        let place = excerpt.score.parts.len();
        let staff = Staff { score: &sounding, streams };
        let (mut part, sources) = staff.part(name, place, &key);
        if place == 0 {
            let mut leading: Vec<Direction> =
                sounding.parts[0].directions.iter().filter(|d| tempo::leads(&sounding.parts[0], d)).cloned().collect();
            leading.iter_mut().for_each(|direction| direction.staff = 1);
            leading.append(&mut part.directions);
            part.directions = leading;
            part.directions.sort_by_key(moment);
        }
        for (note, source) in (0u32..).zip(&sources) {
            if held.contains(&(source.0, u32::try_from(source.1).unwrap_or(u32::MAX))) {
                excerpt.held_over.push((place, note));
            }
        }
        excerpt.origin.push(sources.iter().map(|&(part, note)| whole.origin[part][note]).collect());
        excerpt.score.parts.push(part);
    }
    excerpt.score.finish();
    Ok(excerpt)
}

/// The keys most parts are written in: orchestral horns and timpani often go without.
fn common_key(score: &Score) -> Vec<Change> {
    let mut counts: Vec<(usize, Vec<Change>)> = Vec::new();
    for part in &score.parts {
        let keys: Vec<Change> = part
            .changes
            .iter()
            .filter(|change| matches!(change.kind, ChangeKind::Key(_)) && change.staff.is_none_or(|staff| staff == 1))
            .map(|change| Change { staff: None, ..change.clone() })
            .collect();
        match counts.iter_mut().find(|(_, known)| *known == keys) {
            Some((count, _)) => *count += 1,
            None => counts.push((1, keys)),
        }
    }
    let most = counts.iter().map(|(count, _)| *count).max().unwrap_or(0);
    counts.into_iter().find(|(count, _)| *count == most).map_or_else(Vec::new, |(_, keys)| keys)
}

/// What goes onto the staff of a layer.
struct Staff<'a> {
    score: &'a Score,
    streams: &'a BTreeMap<Stream, Vec<usize>>,
}

/// A voice of the new staff in one bar: lines in one rhythm.
struct Voice {
    /// The lines, the first leading: its signs are printed.
    lines: Vec<StreamInBar>,
    /// Staff position of its middle note.
    height: i32,
}

impl Staff<'_> {
    fn note(&self, stream: Stream, index: usize) -> &Note {
        &self.score.parts[stream.0].notes[index]
    }

    /// The part, and where each of its notes comes from: part and note of the sounding excerpt.
    fn part(&self, name: &str, place: usize, key: &[Change]) -> (Part, Vec<(usize, usize)>) {
        let pitches: Vec<Pitch> = self
            .streams
            .iter()
            .flat_map(|(stream, notes)| notes.iter().filter_map(|&index| self.note(*stream, index).pitch()))
            .collect();
        let (clefs, two) = clefs(&pitches);
        let mut part = Part {
            id: format!("L{}", place + 1),
            name: name.to_owned(),
            instruments: vec![PartInstrument { name: name.to_owned(), ..PartInstrument::default() }],
            staves: u8::try_from(clefs.len()).unwrap_or(1),
            changes: clefs.into_iter().chain(if pitches.is_empty() { Vec::new() } else { key.to_vec() }).collect(),
            ..Part::default()
        };
        let mut sources = Vec::new();
        for bar in (0u32..).take(self.score.bars.len()).map(BarIndex) {
            let voices = self.voices(bar);
            // A staff of more than four voices must not run into those of the staff below.
            let below = u16::try_from(voices.len()).unwrap_or(u16::MAX - 1).max(4) + 1;
            let (mut next, mut is_first) = ([1, below], [true; 2]);
            for voice in &voices {
                let staff = if two && voice.height < MIDDLE { 2u8 } else { 1 };
                let place = usize::from(staff) - 1;
                let leads = std::mem::replace(&mut is_first[place], false);
                self.write(voice, bar, (staff, next[place], leads), &mut part, &mut sources);
                next[place] = next[place].saturating_add(1);
            }
        }
        // The lists are in order within bars only voice by voice.
        let mut order: Vec<usize> = (0..part.notes.len()).collect();
        order.sort_by_key(|&index| (part.notes[index].bar, part.notes[index].at, part.notes[index].voice));
        let mut place_of = vec![0u32; order.len()];
        for (new, &old) in (0u32..).zip(&order) {
            place_of[old] = new;
        }
        part.notes = order.iter().map(|&index| part.notes[index].clone()).collect();
        sources = order.iter().map(|&index| sources[index]).collect();
        part.marks.iter_mut().for_each(|(note, _)| *note = place_of[*note as usize]);
        part.marks.sort_by_key(|(note, _)| *note);
        whole_spans(&mut part.marks);
        part.directions = self.directions();
        (part, sources)
    }

    /// The voices of a bar from the top down, lines in one rhythm together.
    fn voices(&self, bar: BarIndex) -> Vec<Voice> {
        type Rhythm = Vec<(Crotchets, Crotchets, bool)>;
        let mut by_rhythm: Vec<(Rhythm, Vec<StreamInBar>)> = Vec::new();
        for (&stream, notes) in self.streams {
            let from = notes.partition_point(|&index| self.note(stream, index).bar < bar);
            let here: Vec<usize> =
                notes[from..].iter().copied().take_while(|&index| self.note(stream, index).bar == bar).collect();
            if here.is_empty() {
                continue;
            }
            let mut rhythm: Rhythm = here
                .iter()
                .map(|&index| self.note(stream, index))
                .map(|note| (note.at, note.duration, note.flags.contains(NoteFlags::GRACE)))
                .collect();
            rhythm.dedup();
            // Graces are not to be run together with another line's.
            let plain = rhythm.iter().all(|(.., grace)| !grace);
            match by_rhythm.iter_mut().find(|(known, _)| plain && *known == rhythm) {
                Some((_, lines)) => lines.push((stream, here)),
                None => by_rhythm.push((rhythm, vec![(stream, here)])),
            }
        }
        let mut voices: Vec<Voice> = by_rhythm
            .into_iter()
            .map(|(_, lines)| {
                let notes = lines.iter().flat_map(|(stream, notes)| notes.iter().map(|&index| self.note(*stream, index)));
                let mut heights: Vec<i32> = notes.filter_map(Note::pitch).map(Pitch::staff_position).collect();
                heights.sort_unstable();
                Voice { height: heights.get(heights.len() / 2).copied().unwrap_or(MIDDLE), lines }
            })
            .collect();
        voices.sort_by_key(|voice| std::cmp::Reverse(voice.height));
        voices
    }

    fn write(
        &self,
        voice: &Voice,
        bar: BarIndex,
        (staff, number, leads): (u8, u16, bool),
        part: &mut Part,
        sources: &mut Vec<(usize, usize)>,
    ) {
        let Some((lead, lead_notes)) = voice.lines.first() else { return };
        // Of unisons one head stays, unless one of the two is held on and the other is not.
        let mut done: BTreeSet<(Crotchets, i32, u32)> = BTreeSet::new();
        let mut moments: Vec<Crotchets> = lead_notes.iter().map(|&index| self.note(*lead, index).at).collect();
        moments.dedup();
        for at in moments {
            let mut begun = false;
            // A sign of the chord stands once, whoever of its notes has it; only a broken chord is marked on each.
            let mut signed = Articulations::empty();
            for (stream, notes) in &voice.lines {
                for &index in notes {
                    let source = self.note(*stream, index);
                    if source.at != at {
                        continue;
                    }
                    let grace = source.flags.contains(NoteFlags::GRACE);
                    let place = source.pitch().map_or_else(|| head_place(source.head), Pitch::semitones);
                    let ties = source.flags & (NoteFlags::TIE_START | NoteFlags::TIE_STOP);
                    if !grace && !done.insert((at, place, ties.bits())) {
                        continue;
                    }
                    let mut note = Note { voice: number, staff, stem: Stem::Unset, instrument: 0, ..source.clone() };
                    let own_chord = source.flags.contains(NoteFlags::CHORD);
                    let joins = if grace { own_chord } else { begun };
                    note.flags.set(NoteFlags::CHORD, joins);
                    begun |= !grace;
                    if !grace {
                        let broken = Articulations::ARPEGGIO | Articulations::NON_ARPEGGIO;
                        note.articulations -= signed - broken;
                        signed |= note.articulations;
                    }
                    if joins {
                        note.beams = Beams::default();
                    }
                    let new = u32::try_from(part.notes.len()).unwrap_or(u32::MAX);
                    if stream == lead {
                        let marks = self.score.parts[stream.0].marks_of(index);
                        part.marks
                            .extend(marks.filter(|mark| !matches!(mark, Mark::Lyric { .. })).map(|mark| (new, mark.clone())));
                    }
                    part.notes.push(note);
                    sources.push((stream.0, index));
                }
            }
        }
        // Rests of the leading line, where it is the first of its staff.
        if leads {
            let ends: Vec<(Crotchets, Crotchets)> =
                lead_notes.iter().map(|&index| self.note(*lead, index)).map(|note| (note.at, note.at + note.duration)).collect();
            let rests =
                self.score.parts[lead.0].rests.iter().filter(|rest| rest.bar == bar && rest.voice == lead.1 && !rest.whole_bar);
            let free = rests.filter(|rest| ends.iter().all(|&(from, to)| rest.at + rest.duration <= from || rest.at >= to));
            part.rests.extend(free.map(|rest| Rest { voice: number, staff, ..rest.clone() }));
        }
    }

    /// Dynamics and ways of playing of the part that plays most notes in the layer, tempi left out.
    fn directions(&self) -> Vec<Direction> {
        let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
        for (stream, notes) in self.streams {
            *counts.entry(stream.0).or_default() += notes.len();
        }
        let most = counts.values().copied().max().unwrap_or(0);
        let Some((&lead, _)) = counts.iter().find(|(_, count)| **count == most) else { return Vec::new() };
        let part = &self.score.parts[lead];
        part.directions
            .iter()
            .filter(|direction| {
                // How many play from one part says nothing of a staff that several share.
                let counts = matches!(&direction.kind, DirectionKind::Words(text) if PlayerMark::parse(text).is_some());
                let shown = !counts
                    && matches!(
                        direction.kind,
                        DirectionKind::Dynamic(_)
                            | DirectionKind::HairpinStart { .. }
                            | DirectionKind::HairpinStop { .. }
                            | DirectionKind::Words(_)
                    );
                shown && direction.staff == 1 && !tempo::leads(part, direction)
            })
            .map(|direction| Direction { voice: None, ..direction.clone() })
            .collect()
    }
}

fn head_place(head: Head) -> i32 {
    match head {
        Head::Pitched(pitch) | Head::Unpitched(pitch) => pitch.staff_position(),
    }
}

/// The clefs of a layer, and whether it takes two staves.
fn clefs(pitches: &[Pitch]) -> (Vec<Change>, bool) {
    let change =
        |staff: Option<u8>, clef: Clef| Change { bar: BarIndex(0), at: Crotchets::ZERO, staff, kind: ChangeKind::Clef(clef) };
    if pitches.is_empty() {
        return (vec![change(None, Clef { sign: ClefSign::Percussion, line: 2, octaves: 0 })], false);
    }
    let one = concert::fitting_clef(pitches.iter().copied());
    let holds = if one.sign == ClefSign::G { TREBLE } else { BASS };
    let beyond = pitches.iter().filter(|pitch| !holds.contains(&pitch.staff_position())).count();
    if beyond * SELDOM <= pitches.len() {
        return (vec![change(None, one)], false);
    }
    let treble = Clef { sign: ClefSign::G, line: 2, octaves: 0 };
    (vec![change(Some(1), treble), change(Some(2), Clef { sign: ClefSign::F, line: 4, octaves: 0 })], true)
}

/// Leaves out spanning marks whose other end stayed with a line that does not lead.
fn whole_spans(marks: &mut Vec<(u32, Mark)>) {
    let partners = super::spans::paired(marks);
    let mut place = 0;
    marks.retain(|_| {
        place += 1;
        partners[place - 1]
    });
}
