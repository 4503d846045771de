//! The bars of one part: everything at its position, voice by voice.

use std::collections::{BTreeMap, BTreeSet};
use std::num::NonZeroU32;
use std::ops::Range;

use ripieno_score::{Bar, BarIndex, Change, Crotchets, Direction, Mark, Note, NoteFlags, Part, Rest, Score};

use super::accidentals::Accidentals;
use super::attributes::{self, AttributesAt};
use super::barlines::Barlines;
use super::directions;
use super::hairpins::Hairpins;
use super::header::Ids;
use super::notes::{self, Context};
use super::printing::{LineBreak, Printing};
use super::tuplets::TupletEdges;
use super::xml::Xml;

/// Most ticks a crotchet used for a whole part; beyond it each bar has its own.
const MOST_DIVISIONS: i64 = 1 << 20;

/// Writes one part.
pub(super) struct Writer<'a> {
    score: &'a Score,
    part: &'a Part,
    index: usize,
    ids: &'a Ids,
    printing: &'a Printing,
    /// Ticks a crotchet for the whole part, if one number serves.
    divisions: Option<i64>,
    accidentals: Accidentals,
    barlines: Barlines,
    hairpins: Hairpins,
    /// Syllables that go on with a word: note and verse.
    going_on: BTreeSet<(usize, u8)>,
}

/// The part's lists cut to one bar.
struct Content<'a> {
    bar: &'a Bar,
    notes: Range<usize>,
    rests: &'a [Rest],
    directions: &'a [Direction],
    /// Place of the first of them in the part.
    first_direction: usize,
    changes: &'a [Change],
}

impl<'a> Content<'a> {
    fn new(score: &'a Score, part: &'a Part, index: BarIndex) -> Self {
        let directions = cut(&part.directions, index, |direction| direction.bar);
        Self {
            bar: &score.bars[index.at()],
            notes: cut(&part.notes, index, |note| note.bar),
            rests: &part.rests[cut(&part.rests, index, |rest| rest.bar)],
            first_direction: directions.start,
            directions: &part.directions[directions],
            changes: &part.changes[cut(&part.changes, index, |change| change.bar)],
        }
    }

    /// Every position and length in the bar.
    fn times(&self, part: &'a Part) -> impl Iterator<Item = Crotchets> {
        let notes = part.notes[self.notes.clone()].iter().flat_map(|note| [note.at, note.duration]);
        let rests = self.rests.iter().flat_map(|rest| [rest.at, rest.duration]);
        let others = self.directions.iter().map(|d| d.at).chain(self.changes.iter().map(|change| change.at));
        notes.chain(rests).chain(others).chain([self.bar.length])
    }
}

fn cut<T>(list: &[T], bar: BarIndex, of: impl Fn(&T) -> BarIndex) -> Range<usize> {
    list.partition_point(|item| of(item) < bar)..list.partition_point(|item| of(item) <= bar)
}

/// Least ticks a crotchet that make all these whole; `None` when that is more than `most`.
fn common_divisions(times: impl Iterator<Item = Crotchets>, most: i64) -> Option<i64> {
    let mut divisions = 1i64;
    for time in times {
        let denominator = time.denominator();
        if divisions % denominator != 0 {
            let (mut a, mut b) = (divisions, denominator);
            while b != 0 {
                (a, b) = (b, a % b);
            }
            divisions = divisions.checked_mul(denominator / a).filter(|&d| d <= most)?;
        }
    }
    Some(divisions)
}

/// Where the writer stands inside a bar, in ticks.
struct Cursor {
    now: i64,
    per_crotchet: NonZeroU32,
}

impl Cursor {
    fn ticks(&self, length: Crotchets) -> i64 {
        length.to_ticks(self.per_crotchet)
    }

    /// Goes to a position by `backup` or `forward`.
    fn go(&mut self, xml: &mut Xml, to: Crotchets, voice_staff: Option<(u16, Option<u8>)>) {
        self.go_to(xml, self.ticks(to), voice_staff);
    }

    fn go_to(&mut self, xml: &mut Xml, to: i64, voice_staff: Option<(u16, Option<u8>)>) {
        let way = to - self.now;
        if way < 0 {
            xml.element("backup", &[], |xml| xml.text("duration", -way));
        } else if way > 0 {
            xml.element("forward", &[], |xml| {
                xml.text("duration", way);
                if let Some((voice, staff)) = voice_staff {
                    xml.text("voice", voice);
                    if let Some(staff) = staff {
                        xml.text("staff", staff);
                    }
                }
            });
        }
        self.now = to;
    }
}

/// A note or a rest of one voice.
pub(super) enum Event<'a> {
    Note(usize, &'a Note),
    Rest(&'a Rest),
}

impl Event<'_> {
    fn at(&self) -> Crotchets {
        match self {
            Self::Note(_, note) => note.at,
            Self::Rest(rest) => rest.at,
        }
    }
}

impl<'a> Writer<'a> {
    pub(super) fn new(score: &'a Score, part: &'a Part, index: usize, ids: &'a Ids, printing: &'a Printing) -> Self {
        let bars = 0..u32::try_from(score.bars.len()).unwrap_or(u32::MAX);
        let times = bars.flat_map(|bar| Content::new(score, part, BarIndex(bar)).times(part).collect::<Vec<_>>());
        let divisions = common_divisions(times, MOST_DIVISIONS);
        Self {
            score,
            part,
            index,
            ids,
            printing,
            divisions,
            accidentals: Accidentals::default(),
            barlines: Barlines::default(),
            hairpins: Hairpins::new(part),
            going_on: going_on(part),
        }
    }

    pub(super) fn write(mut self, xml: &mut Xml) {
        for (n, bar) in (0u32..).zip(&self.score.bars) {
            let number = if bar.number.is_empty() { (n + 1).to_string() } else { bar.number.to_string() };
            let uncounted: &[(&str, &str)] = &[("number", &number), ("implicit", "yes")];
            xml.element("measure", if bar.uncounted { uncounted } else { &uncounted[..1] }, |xml| self.bar(xml, BarIndex(n)));
        }
    }

    fn bar(&mut self, xml: &mut Xml, index: BarIndex) {
        let content = Content::new(self.score, self.part, index);
        let fine = || common_divisions(content.times(self.part), i64::from(u32::MAX >> 8)).unwrap_or(720_720);
        let divisions = self.divisions.unwrap_or_else(fine);
        let per_crotchet = u32::try_from(divisions).ok().and_then(NonZeroU32::new).unwrap_or(NonZeroU32::MIN);
        let mut cursor = Cursor { now: 0, per_crotchet };
        match self.printing.breaks.get(&index) {
            Some(LineBreak::System) => xml.empty("print", &[("new-system", "yes")]),
            Some(LineBreak::Page) => xml.empty("print", &[("new-page", "yes")]),
            None => {}
        }
        self.barlines.left(xml, content.bar);
        let first = index.0 == 0;
        let at_start = content.changes.partition_point(|change| change.at <= Crotchets::ZERO);
        let start = AttributesAt {
            divisions: (first || self.divisions.is_none()).then_some(divisions),
            metre: content.bar.metre.as_ref(),
            staves: (first && self.part.staves > 1).then_some(self.part.staves),
            changes: &content.changes[..at_start],
            multiple_rest: None,
            is_metre_known: first && self.printing.goes_on,
        };
        attributes::write(xml, self.part, &start);
        if self.index == 0 {
            directions::jumps(xml, &content.bar.jumps, content.directions, true);
        }
        let accidentals = self.accidentals.of_bar(self.part, content.notes.clone(), content.changes);
        let voices = voices(self.part, &content);
        let mut signs = Signs {
            changes: &content.changes[at_start..],
            directions: content.directions,
            first_direction: content.first_direction,
            hairpins: &self.hairpins,
        };
        if let Some(bars) = self.printing.multiple_rest(self.index, index) {
            // After the signs over the rest: some readers leave out what follows it in its first bar.
            signs.up_to(xml, self.part, Crotchets::ZERO, &mut cursor);
            let rest = AttributesAt { multiple_rest: Some(bars), ..AttributesAt::default() };
            attributes::write(xml, self.part, &rest);
        }
        for voice in &voices {
            cursor.go(xml, Crotchets::ZERO, None);
            self.voice(xml, voice, &mut signs, &accidentals, &mut cursor);
        }
        self.fill(xml, &content, index, voices.is_empty(), &mut cursor);
        signs.up_to(xml, self.part, Crotchets::MAX, &mut cursor);
        cursor.go(xml, content.bar.length, None);
        if self.index == 0 {
            directions::jumps(xml, &content.bar.jumps, content.directions, false);
        }
        self.barlines.right(xml, content.bar);
    }

    fn voice(
        &self,
        xml: &mut Xml,
        events: &[Event<'_>],
        signs: &mut Signs<'_>,
        accidentals: &BTreeMap<usize, &'static str>,
        cursor: &mut Cursor,
    ) {
        let several = self.part.instruments.len() > 1;
        let staff = |staff: u8| (self.part.staves > 1).then(|| notes::staff_of(staff, self.part));
        let mut last_note: Option<&Note> = None;
        let tuplets = TupletEdges::new(self.part, events);
        for (place, event) in events.iter().enumerate() {
            let at = event.at();
            match event {
                Event::Note(index, note) => {
                    let chord = note.flags.contains(NoteFlags::CHORD)
                        && last_note.is_some_and(|last| {
                            last.at == at
                                && last.duration == note.duration
                                && notes::is_timeless(last) == notes::is_timeless(note)
                        });
                    if !chord {
                        signs.up_to(xml, self.part, at, cursor);
                        cursor.go(xml, at, Some((note.voice, staff(note.staff))));
                    }
                    let ticks = cursor.ticks(note.duration).max(1);
                    let context = Context {
                        part: self.part,
                        index: *index,
                        id: self.ids.note(self.index, *index),
                        ticks,
                        chord,
                        accidental: accidentals.get(index).copied(),
                        instrument: if several { self.ids.instrument(self.index, note.instrument) } else { None },
                        going_on: &self.going_on,
                        moved: &tuplets.moved,
                    };
                    notes::note(xml, note, &context);
                    if !chord && !notes::is_timeless(note) {
                        cursor.now += ticks;
                    }
                    last_note = Some(note);
                }
                Event::Rest(rest) => {
                    signs.up_to(xml, self.part, at, cursor);
                    cursor.go(xml, at, Some((rest.voice, staff(rest.staff))));
                    let ticks = cursor.ticks(rest.duration);
                    if ticks > 0 {
                        let short = self.score.bars.get(rest.bar.at()).is_some_and(|bar| bar.uncounted);
                        let marks = tuplets.on_rests.get(&place).map_or(&[][..], Vec::as_slice);
                        notes::rest(xml, rest, self.part, ticks, short, marks);
                        cursor.now += ticks;
                    }
                    last_note = None;
                }
            }
        }
    }

    /// Makes the bar as long as it is: a rest where the part has nothing, an invisible one where no part reaches the end.
    fn fill(&self, xml: &mut Xml, content: &Content<'_>, index: BarIndex, empty: bool, cursor: &mut Cursor) {
        let rest = |at: Crotchets, whole_bar: bool| Rest {
            at,
            duration: content.bar.length - at,
            whole_bar,
            hidden: !whole_bar,
            ..Rest::default()
        };
        let ticks = cursor.ticks(content.bar.length);
        if empty && ticks > 0 {
            notes::rest(xml, &rest(Crotchets::ZERO, true), self.part, ticks, content.bar.uncounted, &[]);
            cursor.now = ticks;
        } else if self.index == 0 && cursor.now < ticks && !self.is_reached(index) {
            let at = Crotchets::new(cursor.now, i64::from(cursor.per_crotchet.get())).unwrap_or_default();
            notes::rest(xml, &rest(at, false), self.part, ticks - cursor.now, content.bar.uncounted, &[]);
            cursor.now = ticks;
        }
    }

    /// Whether a note or rest of any part lasts to the end of the bar. A part with nothing in it is given a rest of that length.
    fn is_reached(&self, index: BarIndex) -> bool {
        self.score.parts.iter().any(|part| {
            let content = Content::new(self.score, part, index);
            let length = content.bar.length;
            let notes = &part.notes[content.notes.clone()];
            let ends =
                notes.iter().map(|note| note.at + note.duration).chain(content.rests.iter().map(|rest| rest.at + rest.duration));
            (notes.is_empty() && content.rests.is_empty()) || ends.max().is_some_and(|end| end >= length)
        })
    }
}

/// Syllables that go on with the word of the syllable before them in their voice and verse.
fn going_on(part: &Part) -> BTreeSet<(usize, u8)> {
    let mut broken: BTreeMap<(u16, u8), bool> = BTreeMap::new();
    let mut going_on = BTreeSet::new();
    for (index, mark) in &part.marks {
        let index = *index as usize;
        if let (Mark::Lyric { verse, hyphen, .. }, Some(note)) = (mark, part.notes.get(index))
            && broken.insert((note.voice, *verse), *hyphen) == Some(true)
        {
            going_on.insert((index, *verse));
        }
    }
    going_on
}

/// Notes and rests of the bar, voice by voice: by staff, then number.
fn voices<'a>(part: &'a Part, content: &Content<'a>) -> Vec<Vec<Event<'a>>> {
    let mut staff_of: BTreeMap<u16, u8> = BTreeMap::new();
    let mut by_voice: BTreeMap<u16, Vec<Event<'a>>> = BTreeMap::new();
    for index in content.notes.clone() {
        let note = &part.notes[index];
        staff_of.entry(note.voice).or_insert(note.staff);
        by_voice.entry(note.voice).or_default().push(Event::Note(index, note));
    }
    for rest in content.rests {
        staff_of.entry(rest.voice).or_insert(rest.staff);
        by_voice.entry(rest.voice).or_default().push(Event::Rest(rest));
    }
    let order: BTreeSet<(u8, u16)> = staff_of.into_iter().map(|(voice, staff)| (staff, voice)).collect();
    order
        .into_iter()
        .filter_map(|(_, voice)| by_voice.remove(&voice))
        .map(|mut events| {
            // Stable: graces and chord members stay where the part's list has them, rests after notes of the same moment.
            events.sort_by_key(Event::at);
            events
        })
        .collect()
}

/// Directions and changes of a bar not yet written; they go along with the first voice that passes them.
struct Signs<'a> {
    changes: &'a [Change],
    directions: &'a [Direction],
    /// Place of the first of them in the part.
    first_direction: usize,
    hairpins: &'a Hairpins,
}

impl Signs<'_> {
    /// Writes what stands at or before `until`, from where the cursor is.
    fn up_to(&mut self, xml: &mut Xml, part: &Part, until: Crotchets, cursor: &mut Cursor) {
        while let Some(change) = self.changes.first().filter(|change| change.at <= until) {
            let count = self.changes.partition_point(|other| other.at <= change.at);
            let (now, later) = self.changes.split_at(count);
            let back = cursor.now;
            cursor.go(xml, change.at, None);
            attributes::write(xml, part, &AttributesAt { changes: now, ..AttributesAt::default() });
            if until != change.at {
                cursor.go_to(xml, back, None);
            }
            self.changes = later;
        }
        while let Some((direction, later)) = self.directions.split_first().filter(|(direction, _)| direction.at <= until) {
            let hairpin = self.hairpins.drawn(self.first_direction);
            directions::write(xml, part, direction, hairpin, cursor.ticks(direction.at) - cursor.now);
            self.directions = later;
            self.first_direction += 1;
        }
    }
}
