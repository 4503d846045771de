//! What has been gathered from one spine: a column of the file with all it splits into.

use ripieno_score::{
    Articulations, BarIndex, Beam, Beams, Change, ChangeKind, Crotchets, Direction, DirectionKind, DynamicMark, Head, Key, Mark,
    Note, NoteFlags, Pitch, Rest, Swell, Transposition,
};

use super::token::{Grace, Kind, Sign, Sub};

/// What a spine holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    /// `**kern`.
    Notes,
    /// `**dynam`, `**dyn`.
    Dynamics,
    /// `**text`, `**silbe`, `**lyrics`.
    Lyrics,
    /// `**mxhm`, `**fb` and the like: chord symbols and figures.
    Chords,
    /// Something this reader has no use for.
    Other,
}

impl Holds {
    /// By exclusive interpretation, such as `**kern`.
    pub(super) fn of(token: &[u8]) -> Self {
        match token {
            b"**kern" => Self::Notes,
            b"**dynam" | b"**dyn" => Self::Dynamics,
            b"**text" | b"**silbe" | b"**lyrics" => Self::Lyrics,
            b"**mxhm" | b"**fb" | b"**fba" | b"**Bnum" | b"**B-num" => Self::Chords,
            _ => Self::Other,
        }
    }
}

/// A position on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Moment {
    pub bar: BarIndex,
    pub at: Crotchets,
}

/// A slur or glissando between two notes of a spine, by their indices.
#[derive(Debug, Clone, Copy)]
pub(super) struct NoteSpan {
    pub glissando: bool,
    pub start: u32,
    pub stop: u32,
}

/// A sign over a stretch of time.
#[derive(Debug, Clone, Copy)]
pub(super) struct TimeSpan {
    pub what: Spanning,
    pub start: Moment,
    pub stop: Moment,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Spanning {
    Hairpin(Swell),
    Octave(i8),
}

/// Names a spine gives itself.
#[derive(Debug, Clone, Default)]
pub(super) struct Names {
    pub name: String,
    pub abbreviation: String,
    pub code: String,
    pub class: String,
    pub ordinal: u16,
    /// The first local comment, in files that name voices so.
    pub comment: String,
    /// What the part is called in the end; known when the section is complete.
    pub part: String,
}

/// A column of the file and what was read from it.
#[derive(Debug)]
pub(super) struct Spine<'a> {
    pub holds: Holds,
    /// Position among the spines of its section, from the left.
    pub place: usize,
    pub staves: Vec<u16>,
    pub part: Option<u16>,
    pub names: Names,
    /// Further instruments taken up later on.
    pub later_instruments: Vec<String>,
    pub notes: Vec<Note>,
    pub rests: Vec<Rest>,
    pub marks: Vec<(u32, Mark)>,
    pub changes: Vec<Change>,
    pub directions: Vec<Direction>,
    pub note_spans: Vec<NoteSpan>,
    pub time_spans: Vec<TimeSpan>,
    /// Syllables and chord symbols: when, in which sub-spine, the token.
    pub words: Vec<(Moment, u16, &'a [u8])>,
    /// Dynamics, in order.
    pub dynamics: Vec<(Moment, DynamicMark)>,
    /// Most sub-spines side by side.
    pub layers: u16,
    pub percussion: bool,
    to_written: Transposition,
    /// Sharps or flats at sounding pitch, and the mode.
    signature: Option<(i8, Option<bool>)>,
    mode: Option<(Moment, bool)>,
    slurs: Vec<(u8, u32)>,
    glissandi: Vec<u32>,
    pub hairpins: Vec<(Swell, Moment)>,
    octave: Option<(i8, Moment)>,
}

/// Kinds of change there are, so that looking for one at a moment is bounded.
const KINDS_OF_CHANGE: usize = 8;
/// Slurs open at once in a spine; a page has a handful.
const MOST_OPEN: usize = 32;

/// Signs that did not find their other end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unmatched {
    SlurEnd,
    SlurStart,
    Glissando,
}

impl Spine<'_> {
    pub(super) fn new(holds: Holds, place: usize) -> Self {
        Self {
            holds,
            place,
            staves: Vec::new(),
            part: None,
            names: Names::default(),
            later_instruments: Vec::new(),
            notes: Vec::new(),
            rests: Vec::new(),
            marks: Vec::new(),
            changes: Vec::new(),
            directions: Vec::new(),
            note_spans: Vec::new(),
            time_spans: Vec::new(),
            words: Vec::new(),
            dynamics: Vec::new(),
            layers: 1,
            percussion: false,
            to_written: Transposition::NONE,
            signature: None,
            mode: None,
            slurs: Vec::new(),
            glissandi: Vec::new(),
            hairpins: Vec::new(),
            octave: None,
        }
    }

    /// How findings call it: its name, or where it stands.
    pub(super) fn label(&self) -> String {
        let derived = || super::instruments::name(&self.names.code).map(str::to_owned);
        let named = [&self.names.name, &self.names.comment].into_iter().find(|name| !name.is_empty());
        named.cloned().or_else(derived).unwrap_or_else(|| format!("spine {}", self.place + 1))
    }

    pub(super) fn has_music(&self) -> bool {
        !self.notes.is_empty() || !self.rests.is_empty()
    }

    /// A change; one of the same kind at the same moment is replaced.
    pub(super) fn change(&mut self, at: Moment, kind: ChangeKind) {
        let here = self.changes.iter_mut().rev().take_while(|change| (change.bar, change.at) == (at.bar, at.at));
        let same = std::mem::discriminant(&kind);
        if let Some(earlier) = here.take(KINDS_OF_CHANGE).find(|change| std::mem::discriminant(&change.kind) == same) {
            earlier.kind = kind;
        } else {
            self.changes.push(Change { bar: at.bar, at: at.at, staff: None, kind });
        }
    }

    /// The key signature that stands at this moment.
    fn key_at(&mut self, at: Moment) -> Option<&mut Key> {
        let here = self.changes.iter_mut().rev().take_while(|change| (change.bar, change.at) == (at.bar, at.at));
        here.take(KINDS_OF_CHANGE).find_map(|change| if let ChangeKind::Key(key) = &mut change.kind { Some(key) } else { None })
    }

    pub(super) fn direct(&mut self, at: Moment, kind: DirectionKind) {
        self.directions.push(Direction { bar: at.bar, at: at.at, staff: 1, voice: None, above: None, kind });
    }

    /// A key signature, at sounding pitch as Humdrum has it.
    pub(super) fn signature(&mut self, at: Moment, fifths: i8) {
        let major = self.mode.filter(|(when, _)| *when == at).map(|(_, major)| major);
        self.signature = Some((fifths, major));
        self.write_key(at, fifths, major);
    }

    /// A key by name. It belongs to the signature that stands beside it; elsewhere it is an analyst's remark.
    pub(super) fn key(&mut self, at: Moment, major: Option<bool>) -> bool {
        let Some(major) = major else { return true };
        self.mode = Some((at, major));
        if let Some(key) = self.key_at(at) {
            key.major = Some(major);
            self.signature = self.signature.map(|(fifths, _)| (fifths, Some(major)));
            return true;
        }
        at == Moment::default()
    }

    fn write_key(&mut self, at: Moment, fifths: i8, major: Option<bool>) {
        // Moving up by an interval moves the signature along the circle of fifths.
        let by = self.to_written.total_chromatic() * 7 - self.to_written.total_diatonic() * 12;
        let written = i32::from(fifths) + by;
        let written = if written > 7 {
            written - 12
        } else if written < -7 {
            written + 12
        } else {
            written
        };
        let fifths = i8::try_from(written).unwrap_or(fifths);
        match self.key_at(at) {
            Some(key) => *key = Key { fifths, major: major.or(key.major) },
            None => self.change(at, ChangeKind::Key(Key { fifths, major })),
        }
    }

    /// The interval from sounding to printed pitch from here on.
    pub(super) fn transpose(&mut self, at: Moment, to_written: Transposition) {
        if self.to_written == to_written {
            return;
        }
        self.to_written = to_written;
        self.change(at, ChangeKind::Transposition(to_written.inverse()));
        if let Some((fifths, major)) = self.signature {
            self.write_key(at, fifths, major);
        }
    }

    pub(super) fn octave_shift(&mut self, at: Moment, octaves: i8, open: bool) {
        if let Some((octaves, start)) = self.octave.take() {
            self.time_spans.push(TimeSpan { what: Spanning::Octave(octaves), start, stop: at });
        }
        if open {
            self.octave = Some((octaves, at));
        }
    }

    /// Adds a rest of this length.
    pub(super) fn rest(&mut self, at: Moment, sub: &Sub, length: Crotchets, voice: u16, silent: NoteFlags) {
        let (value, tuplet) = sub.duration.map_or((None, None), |recip| (recip.value, recip.tuplet));
        let flags = sub.flags | silent;
        self.rests.push(Rest {
            bar: at.bar,
            at: at.at,
            duration: length,
            value,
            tuplet,
            voice,
            staff: 1,
            whole_bar: sub.whole_rest,
            hidden: flags.contains(NoteFlags::HIDDEN),
            cue: flags.intersects(NoteFlags::CUE | NoteFlags::OSSIA),
            fermata: sub.articulations.contains(Articulations::FERMATA),
        });
    }

    /// Adds a note and returns its index.
    pub(super) fn note(&mut self, at: Moment, sub: &Sub, pitch: Pitch, duration: Crotchets, voice: u16, flags: NoteFlags) -> u32 {
        let unpitched = self.percussion || matches!(sub.kind, Kind::Unpitched(_));
        let head = if unpitched { Head::Unpitched(pitch) } else { Head::Pitched(pitch.moved(self.to_written)) };
        let index = u32::try_from(self.notes.len()).unwrap_or(u32::MAX);
        let grace = match sub.grace {
            Grace::No => NoteFlags::empty(),
            Grace::Slashed => NoteFlags::GRACE | NoteFlags::SLASHED,
            Grace::Plain => NoteFlags::GRACE,
        };
        self.notes.push(Note {
            bar: at.bar,
            at: at.at,
            duration,
            head,
            value: sub.duration.and_then(|recip| recip.value),
            tuplet: sub.duration.and_then(|recip| recip.tuplet),
            voice,
            staff: 1,
            instrument: 0,
            velocity: 0,
            tremolo: strokes(sub),
            flags: sub.flags | grace | flags,
            articulations: sub.articulations,
            beams: Beams::default(),
            stem: sub.stem,
        });
        index
    }

    /// Attaches a sign to note `index`.
    pub(super) fn sign(&mut self, index: u32, sign: Sign) -> Option<Unmatched> {
        let mark = match sign {
            Sign::SlurOpen(level) => {
                self.slurs.push((level, index));
                let many = self.slurs.len() > MOST_OPEN;
                if many {
                    self.slurs.remove(0);
                }
                return many.then_some(Unmatched::SlurStart);
            }
            Sign::SlurClose(level) => {
                let Some(place) = self.slurs.iter().rposition(|(open, _)| *open == level) else {
                    return Some(Unmatched::SlurEnd);
                };
                let (_, start) = self.slurs.remove(place);
                self.note_spans.push(NoteSpan { glissando: false, start, stop: index });
                return None;
            }
            Sign::GlissandoOpen => {
                self.glissandi.push(index);
                let many = self.glissandi.len() > MOST_OPEN;
                if many {
                    self.glissandi.remove(0);
                }
                return many.then_some(Unmatched::Glissando);
            }
            Sign::GlissandoClose => {
                let Some(start) = self.glissandi.pop() else { return Some(Unmatched::Glissando) };
                self.note_spans.push(NoteSpan { glissando: true, start, stop: index });
                return None;
            }
            Sign::PhraseOpen => Mark::Other("phrase start".into()),
            Sign::PhraseClose => Mark::Other("phrase stop".into()),
            Sign::Sforzando => Mark::Dynamic(DynamicMark::Attack("sfz".into())),
            Sign::Pizzicato => Mark::Technique("pizzicato".into()),
            Sign::ConSordino => Mark::Technique("con sordino".into()),
            Sign::Ornament => Mark::Other("other-ornament".into()),
            Sign::Articulation => Mark::Other("other-articulation".into()),
        };
        self.marks.push((index, mark));
        None
    }

    /// Closes what is open at the end of the section; how many slurs and glissandi never ended.
    pub(super) fn close(&mut self, end: Moment) -> usize {
        if let Some((octaves, start)) = self.octave.take() {
            self.time_spans.push(TimeSpan { what: Spanning::Octave(octaves), start, stop: end });
        }
        for (swell, start) in std::mem::take(&mut self.hairpins) {
            self.time_spans.push(TimeSpan { what: Spanning::Hairpin(swell), start, stop: end });
        }
        let unmatched = self.slurs.len() + self.glissandi.len();
        self.slurs.clear();
        self.glissandi.clear();
        unmatched
    }
}

/// Strokes to draw for a tremolo in notes of 1/`tremolo`, beside the flags the note has by itself.
fn strokes(sub: &Sub) -> u8 {
    if sub.tremolo == 0 {
        return 0;
    }
    let flags = sub.duration.and_then(|recip| recip.value).map_or(2, |value| value.halvings.max(2));
    let halvings = i8::try_from(sub.tremolo.ilog2()).unwrap_or(0);
    u8::try_from((halvings - flags).clamp(0, 5)).unwrap_or(0)
}

/// Beams of a note, given how many are open before it; updates that number.
pub(super) fn beams(open: &mut u8, [begin, end, forward, backward]: [u8; 4]) -> Beams {
    let mut beams = Beams::default();
    let kept = open.saturating_sub(end);
    for level in 1..=kept.min(Beams::LEVELS) {
        beams.set(level, Beam::Continue);
    }
    for level in kept + 1..=(*open).min(Beams::LEVELS) {
        beams.set(level, Beam::End);
    }
    let mut level = if begin > 0 { kept } else { *open };
    *open = kept.saturating_add(begin).min(Beams::LEVELS);
    for (count, beam) in [(begin, Beam::Begin), (forward, Beam::ForwardHook), (backward, Beam::BackwardHook)] {
        for _ in 0..count.min(Beams::LEVELS) {
            level = level.saturating_add(1);
            beams.set(level, beam);
        }
    }
    beams
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(beams: Beams) -> String {
        (1..=4).map_while(|level| beams.get(level)).map(|beam| format!("{beam:?}")).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn beams_level_by_level() {
        // Humdrum Representation Reference, **kern: a double-dotted semiquaver beamed to a demisemihemi ... is 16..LL 32JJkk.
        let mut open = 0;
        assert_eq!(shown(beams(&mut open, [1, 0, 0, 0])), "Begin");
        assert_eq!(shown(beams(&mut open, [1, 0, 0, 0])), "Continue Begin");
        assert_eq!(shown(beams(&mut open, [0, 0, 0, 0])), "Continue Continue");
        assert_eq!(shown(beams(&mut open, [0, 2, 0, 1])), "End End BackwardHook");
        assert_eq!(open, 0);
        assert_eq!(shown(beams(&mut open, [1, 0, 1, 0])), "Begin ForwardHook");
        assert_eq!(shown(beams(&mut open, [0, 1, 0, 1])), "End BackwardHook");
    }
}
