//! From the spines of a section to parts of the score.
//!
//! A `**kern` spine is a staff. Spines of one `*part` number, of one staff, or keyboard and harp staves side by side make a part
//! of several staves. Parts stand in the order of their `*staff` numbers or, without them, from the last spine to the first,
//! since Humdrum writes the lowest staff first. Other spines belong to the staves they name, otherwise to the `**kern` spine
//! on their left. When a file goes on with another section, parts of the same name go on too.

use std::collections::BTreeMap;

use ripieno_score::{
    BarIndex, Change, ChangeKind, Direction, DirectionKind, Edge, Mark, Metre, NoteFlags, NoteValue, Part, PartInstrument,
};

use super::instruments;
use super::spine::{Holds, Moment, Names, NoteSpan, Spanning, Spine, TimeSpan};
use super::text::text;

/// A part and what identifies it from section to section.
#[derive(Debug)]
pub(super) struct Building {
    /// Name as the file gives it, and which of several so named.
    key: (String, usize),
    pub part: Part,
    /// Humdrum staff numbers of its staves.
    pub staff_numbers: Vec<u16>,
}

/// The parts so far and what concerns the score as a whole.
#[derive(Debug, Default)]
pub(super) struct Assembly {
    pub parts: Vec<Building>,
    /// Words over the whole score.
    pub words: Vec<(Moment, String)>,
    /// Crotchets a minute.
    pub tempi: Vec<(Moment, f64)>,
    /// Metronome marks: note values a minute.
    pub metronomes: Vec<(Moment, NoteValue, f64)>,
    /// Barlines with a fermata.
    pub fermatas: Vec<Moment>,
    /// The metre last seen.
    pub metre: Option<Metre>,
}

/// Spines that make a part, from the top.
#[derive(Debug, Default)]
struct Group {
    spines: Vec<usize>,
    /// Staff within the part of each spine, from 0.
    staves: Vec<u8>,
}

impl Assembly {
    pub(super) fn part_count(&self) -> usize {
        self.parts.len()
    }

    /// Adds the spines of a section.
    pub(super) fn add(&mut self, mut spines: Vec<Spine<'_>>) {
        for spine in &mut spines {
            spine.names.part = name_of(&spine.names);
        }
        attach(&mut spines);
        let groups = group(&spines);
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        let mut after = 0;
        let mut spines: Vec<Option<Spine<'_>>> = spines.into_iter().map(Some).collect();
        for group in groups {
            let members: Vec<(u8, Spine<'_>)> = group
                .spines
                .iter()
                .zip(&group.staves)
                .filter_map(|(&index, &staff)| Some((staff, spines.get_mut(index)?.take()?)))
                .collect();
            let Some((_, top)) = members.first() else { continue };
            let name = top.names.part.clone();
            let count = seen.entry(name.clone()).or_default();
            let key = (name, *count);
            *count += 1;
            let known = self.parts.iter().position(|building| building.key == key);
            let place = known.unwrap_or_else(|| {
                let building = begin(key, top);
                self.parts.insert(after.min(self.parts.len()), building);
                after
            });
            after = place + 1;
            if let Some(building) = self.parts.get_mut(place) {
                building.merge(members);
            }
        }
    }
}

/// The name printed for a spine's part; the code's English name where the file has no name.
fn name_of(names: &Names) -> String {
    if let Some(name) = [&names.name, &names.comment].into_iter().find(|name| !name.is_empty()) {
        return name.clone();
    }
    let derived = instruments::name(&names.code).map_or_else(|| names.code.clone(), str::to_owned);
    if names.ordinal > 0 && !derived.is_empty() { format!("{derived} {}", names.ordinal) } else { derived }
}

fn begin(key: (String, usize), top: &Spine<'_>) -> Building {
    let part = Part { name: key.0.clone(), abbreviation: top.names.abbreviation.clone(), ..Part::default() };
    Building { key, part, staff_numbers: Vec::new() }
}

/// Sorts the `**kern` spines from the top and gathers those of one part.
fn group(spines: &[Spine<'_>]) -> Vec<Group> {
    let mut order: Vec<usize> = (0..spines.len()).filter(|&index| spines[index].holds == Holds::Notes).collect();
    let numbered = order.iter().all(|&index| !spines[index].staves.is_empty());
    order.sort_by_key(|&index| {
        let spine = &spines[index];
        let staff = if numbered { spine.staves.iter().copied().min() } else { None };
        (staff, std::cmp::Reverse(spine.place), index)
    });
    let mut groups: Vec<Group> = Vec::new();
    for (position, &index) in order.iter().enumerate() {
        let spine = &spines[index];
        let belongs = |group: &Group| group.spines.iter().any(|&other| one_part(&spines[other], spine));
        let mut found = groups.iter().rposition(belongs);
        if found.is_none() && continues_keyboard(spines, &order, position, groups.last()) {
            found = groups.len().checked_sub(1);
        }
        let found = found.unwrap_or_else(|| {
            groups.push(Group::default());
            groups.len() - 1
        });
        if let Some(group) = groups.get_mut(found) {
            let same = group.spines.iter().position(|&other| one_staff(&spines[other], spine));
            let staff = same.and_then(|same| group.staves.get(same).copied());
            let next = group.staves.iter().max().map_or(0, |most| most.saturating_add(1));
            group.spines.push(index);
            group.staves.push(staff.unwrap_or(next));
        }
    }
    groups
}

fn one_staff(a: &Spine<'_>, b: &Spine<'_>) -> bool {
    a.place == b.place || (!a.staves.is_empty() && a.staves == b.staves)
}

fn one_part(a: &Spine<'_>, b: &Spine<'_>) -> bool {
    if a.place == b.place {
        return true;
    }
    if let (Some(a), Some(b)) = (a.part, b.part) {
        return a == b;
    }
    let (first, second) = (&a.names.part, &b.names.part);
    one_staff(a, b) && (first == second || first.is_empty() || second.is_empty())
}

/// Whether a staff belongs to the keyboard or harp staff above it. Four in a row are two players, three an organ.
fn continues_keyboard(spines: &[Spine<'_>], order: &[usize], position: usize, above: Option<&Group>) -> bool {
    let Some(above) = above else { return false };
    let spine = &spines[order[position]];
    let alike = |other: &Spine<'_>| {
        let keyboard =
            instruments::has_several_staves(&spine.names.code) || (spine.names.class == "klav" && spine.names.code.is_empty());
        let names = [&spine.names.name, &other.names.name];
        keyboard
            && spine.part.is_none()
            && other.part.is_none()
            && spine.names.code == other.names.code
            && (names[0] == names[1] || names[0].is_empty() || names[1].is_empty())
    };
    let Some(&last) = above.spines.last() else { return false };
    let adjacent = position.checked_sub(1).and_then(|before| order.get(before)) == Some(&last);
    let run = order.iter().filter(|&&index| alike(&spines[index])).count();
    let most = if run == 4 { 2 } else { 3 };
    adjacent && alike(&spines[last]) && above.spines.len() < most
}

/// Gives what the other spines hold to the `**kern` spines they belong to.
fn attach(spines: &mut [Spine<'_>]) {
    let mut verses: BTreeMap<usize, u8> = BTreeMap::new();
    for index in 0..spines.len() {
        let targets = targets(spines, index);
        let Some(spine) = spines.get_mut(index).filter(|spine| !matches!(spine.holds, Holds::Notes | Holds::Other)) else {
            continue;
        };
        let (words, dynamics) = (std::mem::take(&mut spine.words), std::mem::take(&mut spine.dynamics));
        let (directions, spans) = (std::mem::take(&mut spine.directions), std::mem::take(&mut spine.time_spans));
        let (holds, layers) = (spine.holds, u8::try_from(spine.layers).unwrap_or(u8::MAX));
        for &target in &targets {
            let verse = verses.get(&target).copied().unwrap_or(0);
            let Some(notes) = spines.get_mut(target) else { continue };
            match holds {
                Holds::Lyrics => {
                    sing(notes, &words, verse);
                    verses.insert(target, verse.saturating_add(layers));
                }
                Holds::Chords => {
                    for (moment, _, token) in &words {
                        let symbol = text(token);
                        if !symbol.starts_with('=') {
                            notes.direct(*moment, DirectionKind::ChordSymbol(symbol.into()));
                        }
                    }
                }
                _ => {
                    for (moment, mark) in &dynamics {
                        notes.direct(*moment, DirectionKind::Dynamic(mark.clone()));
                    }
                    notes.directions.extend(directions.iter().cloned());
                    notes.time_spans.extend(spans.iter().copied());
                }
            }
        }
    }
}

/// Parts one spine of dynamics may serve.
const MOST_TARGETS: usize = 32;

/// The `**kern` spines another spine speaks of: one of each part it names a staff of; or the nearest on its left, or on its right.
fn targets(spines: &[Spine<'_>], index: usize) -> Vec<usize> {
    let Some(spine) = spines.get(index) else { return Vec::new() };
    let notes = |other: &usize| spines.get(*other).is_some_and(|spine| spine.holds == Holds::Notes);
    let mut named: Vec<usize> = (0..spines.len())
        .filter(notes)
        .filter(|&other| spines.get(other).is_some_and(|other| other.staves.iter().any(|staff| spine.staves.contains(staff))))
        .collect();
    named.sort_by_key(|&other| spines.get(other).and_then(|other| other.staves.iter().min().copied()));
    if !named.is_empty() {
        let mut chosen: Vec<usize> = Vec::new();
        for other in named {
            // On the staves of one player one mark serves all.
            let served = chosen.iter().any(|&earlier| serves(&spines[earlier], &spines[other]));
            if !served && chosen.len() < MOST_TARGETS {
                chosen.push(other);
            }
        }
        return chosen;
    }
    if spine.part.is_some()
        && let Some(other) =
            (0..spines.len()).rev().filter(notes).find(|&other| spines.get(other).is_some_and(|other| other.part == spine.part))
    {
        return vec![other];
    }
    let left = (0..spines.len()).filter(notes).rfind(|&other| spines.get(other).is_some_and(|other| other.place < spine.place));
    left.or_else(|| (0..spines.len()).find(notes)).into_iter().collect()
}

fn serves(a: &Spine<'_>, b: &Spine<'_>) -> bool {
    one_part(a, b) || (a.part.is_none() && a.names.code == b.names.code && instruments::has_several_staves(&a.names.code))
}

/// Notes of a staff at one moment among which a syllable looks for its own.
const MOST_AT_ONCE: usize = 256;

/// Attaches syllables to the notes they stand beside.
fn sing(spine: &mut Spine<'_>, words: &[(Moment, u16, &[u8])], verse: u8) {
    for (moment, layer, token) in words {
        let syllable = text(token);
        let bare = syllable.trim_matches(|c| matches!(c, '-' | '_' | '|' | '%'));
        if bare.is_empty() || syllable.starts_with('=') {
            continue;
        }
        let first = spine.notes.partition_point(|note| (note.bar, note.at) < (moment.bar, moment.at));
        let here = spine
            .notes
            .iter()
            .enumerate()
            .skip(first)
            .take(MOST_AT_ONCE)
            .take_while(|(_, note)| (note.bar, note.at) == (moment.bar, moment.at));
        let sung = here
            .filter(|(_, note)| !note.flags.intersects(NoteFlags::GRACE | NoteFlags::CHORD))
            .min_by_key(|(_, note)| note.voice);
        let Some(index) = sung.and_then(|(index, _)| u32::try_from(index).ok()) else { continue };
        let verse = verse.saturating_add(u8::try_from(*layer).unwrap_or(u8::MAX)).saturating_add(1);
        spine.marks.push((index, Mark::Lyric { verse, text: bare.into(), hyphen: syllable.ends_with('-') }));
    }
}

/// Voices of a staff that leave the next staff's numbers as the page would have them.
const VOICES_OF_A_STAFF: u16 = 4;

impl Building {
    /// Adds the staves of a section.
    fn merge(&mut self, members: Vec<(u8, Spine<'_>)>) {
        let stride = members.iter().map(|(_, spine)| spine.layers).max().unwrap_or(1).max(VOICES_OF_A_STAFF);
        let several = members.iter().any(|(staff, _)| *staff > 0);
        let mut slurs: Vec<(Moment, Moment, NoteSpan)> = Vec::new();
        let mut stretches: Vec<(u8, TimeSpan)> = Vec::new();
        let first_change = self.part.changes.len();
        let mut staff_count = 0;
        // Of spines on one staff the voices are counted on.
        let mut voices: BTreeMap<u8, u16> = BTreeMap::new();
        for (staff, mut spine) in members {
            self.instruments(&mut spine);
            if self.part.abbreviation.is_empty() {
                self.part.abbreviation = std::mem::take(&mut spine.names.abbreviation);
            }
            self.staff_numbers.extend(spine.staves.iter().copied());
            staff_count = staff_count.max(staff.saturating_add(1));
            let offset = u32::try_from(self.part.notes.len()).unwrap_or(u32::MAX);
            let moment =
                |note: u32| spine.notes.get(note as usize).map(|note| Moment { bar: note.bar, at: note.at }).unwrap_or_default();
            slurs.extend(spine.note_spans.iter().map(|span| {
                let moved =
                    NoteSpan { start: span.start.saturating_add(offset), stop: span.stop.saturating_add(offset), ..*span };
                (moment(span.start), moment(span.stop), moved)
            }));
            stretches.extend(spine.time_spans.iter().map(|span| (staff.saturating_add(1), *span)));
            let below = voices.get(&staff).copied().unwrap_or_else(|| u16::from(staff).saturating_mul(stride));
            voices.insert(staff, below.saturating_add(spine.layers));
            for note in &mut spine.notes {
                note.staff = staff.saturating_add(1);
                note.voice = note.voice.saturating_add(below);
            }
            for rest in &mut spine.rests {
                rest.staff = staff.saturating_add(1);
                rest.voice = rest.voice.saturating_add(below);
            }
            for direction in &mut spine.directions {
                direction.staff = staff.saturating_add(1);
            }
            for change in &mut spine.changes {
                change.staff = several.then_some(staff.saturating_add(1));
            }
            self.part.marks.extend(spine.marks.into_iter().map(|(note, mark)| (note.saturating_add(offset), mark)));
            if self.part.notes.is_empty() {
                self.part.notes = spine.notes;
            } else {
                self.part.notes.append(&mut spine.notes);
            }
            self.part.rests.append(&mut spine.rests);
            self.part.directions.append(&mut spine.directions);
            self.part.changes.append(&mut spine.changes);
        }
        self.staff_numbers.sort_unstable();
        self.staff_numbers.dedup();
        self.part.staves = self.part.staves.max(staff_count);
        if several {
            share_changes(&mut self.part.changes, first_change, staff_count);
        }
        self.number_slurs(slurs);
        self.number_stretches(stretches);
    }

    /// Enters the instruments of a spine and renumbers its changes between them.
    fn instruments(&mut self, spine: &mut Spine<'_>) {
        let list = &mut self.part.instruments;
        let mut place = |name: String| {
            list.iter().position(|known| known.name == name).unwrap_or_else(|| {
                list.push(PartInstrument { name, ..PartInstrument::default() });
                list.len() - 1
            })
        };
        // The code says plainly what the printed name may say in another language.
        let coded = instruments::name(&spine.names.code).map(str::to_owned);
        let first = place(coded.unwrap_or_else(|| spine.names.part.clone()));
        let later: Vec<usize> = spine.later_instruments.drain(..).map(&mut place).collect();
        let mut holds: Vec<(BarIndex, ripieno_score::Crotchets, u8)> = Vec::new();
        if first > 0 {
            holds.push((BarIndex(0), ripieno_score::Crotchets::ZERO, u8::try_from(first).unwrap_or(0)));
        }
        for change in &mut spine.changes {
            if let ChangeKind::Instrument(index) = &mut change.kind {
                let index_of_part = match usize::from(*index).checked_sub(1) {
                    None => first,
                    Some(index) => later.get(index).copied().unwrap_or(first),
                };
                *index = u8::try_from(index_of_part).unwrap_or(0);
                holds.push((change.bar, change.at, *index));
            }
        }
        for (bar, at, index) in holds {
            let from = spine.notes.partition_point(|note| (note.bar, note.at) < (bar, at));
            for note in spine.notes.iter_mut().skip(from) {
                note.instrument = index;
            }
        }
    }

    fn number_slurs(&mut self, mut slurs: Vec<(Moment, Moment, NoteSpan)>) {
        slurs.sort_by_key(|(start, _, span)| (*start, span.start));
        let mut numbers = Numbers::default();
        for (start, stop, span) in slurs {
            let Some(number) = numbers.take(span.glissando, start, stop) else { continue };
            let mark = |edge| {
                if span.glissando {
                    Mark::Glissando { edge, number, straight: false, text: "".into() }
                } else {
                    Mark::Slur { edge, number }
                }
            };
            self.part.marks.push((span.start, mark(Edge::Start)));
            self.part.marks.push((span.stop, mark(Edge::Stop)));
        }
    }

    fn number_stretches(&mut self, mut stretches: Vec<(u8, TimeSpan)>) {
        stretches.sort_by_key(|(staff, span)| (span.start, *staff));
        let mut numbers = Numbers::default();
        for (staff, span) in stretches {
            let hairpin = matches!(span.what, Spanning::Hairpin(_));
            let Some(number) = numbers.take(hairpin, span.start, span.stop) else { continue };
            let kind = |edge| match (span.what, edge) {
                (Spanning::Hairpin(swell), Edge::Start) => {
                    DirectionKind::HairpinStart { swell, number, niente: false, dashes: false }
                }
                (Spanning::Hairpin(_), _) => DirectionKind::HairpinStop { number, niente: false, dashes: false },
                (Spanning::Octave(octaves), edge) => DirectionKind::OctaveShift { edge, octaves, number },
            };
            for (at, edge) in [(span.start, Edge::Start), (span.stop, Edge::Stop)] {
                let direction = Direction { bar: at.bar, at: at.at, staff, voice: None, above: None, kind: kind(edge) };
                self.part.directions.push(direction);
            }
        }
    }
}

/// Changes all staves of a part make together are the part's. `staves` spines have added theirs since `first`.
fn share_changes(changes: &mut Vec<Change>, first: usize, staves: u8) {
    let mut rest = changes.split_off(first.min(changes.len()));
    rest.sort_by_key(|change| (change.bar, change.at));
    let mut here: Vec<Change> = Vec::new();
    let mut rest = rest.into_iter().peekable();
    while let Some(change) = rest.next() {
        let last_here = rest.peek().is_none_or(|next| (next.bar, next.at) != (change.bar, change.at));
        let shared = !matches!(change.kind, ChangeKind::Clef(_) | ChangeKind::StaffLines(_));
        let same = here.iter().filter(|other| other.kind == change.kind && other.staff != change.staff).count();
        if shared && same + 1 == usize::from(staves) {
            here.retain(|other| other.kind != change.kind);
            here.push(Change { staff: None, ..change });
        } else {
            here.push(change);
        }
        if last_here {
            changes.append(&mut here);
        }
    }
}

/// Hands out the lowest number that is free while a sign lasts; two kinds of sign are numbered apart.
#[derive(Debug, Default)]
struct Numbers {
    busy_until: [Vec<Moment>; 2],
}

impl Numbers {
    /// Signs of one kind at one time; a page has a handful.
    const MOST: usize = 64;

    fn take(&mut self, kind: bool, start: Moment, stop: Moment) -> Option<u8> {
        let busy = &mut self.busy_until[usize::from(kind)];
        let free = busy.iter().position(|until| *until < start);
        let place = match free {
            Some(place) => place,
            None if busy.len() < Self::MOST => {
                busy.push(stop);
                busy.len() - 1
            }
            None => return None,
        };
        if let Some(until) = busy.get_mut(place) {
            *until = stop;
        }
        u8::try_from(place + 1).ok()
    }
}
