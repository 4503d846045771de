//! Who of the players on a staff plays which of its notes, read from the page as players read it (common practice).
//!
//! Of two voices the upper is the first player's, of a chord the highest note; "1." and "2." say who, "a 2" that all do. A voice has its players
//! through a bar that has a line for everybody, but only where the others have a note or a rest in sight: where one voice stands alone, what was
//! said last holds. Where the page does not say, everybody gets the line, and the bar is told.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_score::{BarIndex, Crotchets, DirectionKind, Note, NoteFlags, Part, Pitch, PlayerMark};

use crate::names::numbers_in_name;

/// What is said of who plays, from a moment on.
pub(crate) struct Said {
    from: (BarIndex, Crotchets),
    /// Those who play, as bits.
    pub who: u16,
    /// How many play each line, where it is left open which: 2 for "a 2" on a staff of three. 0 where somebody is named who is not on the staff.
    on_each: Option<usize>,
}

impl Said {
    /// Whether it settles who plays so many lines, being for so many people.
    fn settles(&self, lines: usize, people: usize) -> bool {
        self.on_each.is_none_or(|each| each * lines == people)
    }
}

/// What is said of who plays on a staff, in order.
pub(crate) fn said(part: &Part, players: u16) -> Vec<Said> {
    let everybody = everybody(players);
    let mut said = Vec::new();
    for direction in &part.directions {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        let (who, on_each) = match PlayerMark::parse(text) {
            Some(PlayerMark::All) => (everybody, None),
            Some(PlayerMark::Together(each)) => (everybody, (each < players).then_some(usize::from(each))),
            Some(PlayerMark::Only(count)) => match named(text, part, players) {
                Some(0) => (everybody, Some(0)),
                Some(who) => (who, None),
                None => (self::everybody(count.min(players)), None),
            },
            _ => continue,
        };
        said.push(Said { from: (direction.bar, direction.at), who, on_each });
    }
    said
}

/// What was said last at a moment.
pub(crate) fn in_force(said: &[Said], bar: BarIndex, at: Crotchets) -> Option<&Said> {
    said[..said.partition_point(|said| said.from <= (bar, at))].last()
}

/// The first so many players of a staff, as bits.
fn everybody(players: u16) -> u16 {
    (1u16 << players) - 1
}

/// The players a mark names, as bits: "2." of "Horns 1.2", "3." of "Horns 3.4"; 0 where none of them is on the staff, `None` where nobody is named.
fn named(text: &str, part: &Part, players: u16) -> Option<u16> {
    let named = PlayerMark::named(text);
    let numbers = numbers_in_name(&part.name).unwrap_or_else(|| (1..=players).collect());
    let places =
        named.iter().filter_map(|named| numbers.iter().position(|own| own == named)).filter(|&at| at < usize::from(players));
    (!named.is_empty()).then(|| places.fold(0, |who, place| who | 1 << place))
}

/// The voices of a bar that have something, a visible rest included, from the upper down.
pub(crate) fn voices(part: &Part, bar: BarIndex, notes: Range<usize>) -> Vec<u16> {
    let mut voices: Vec<u16> = part.notes[notes].iter().map(|note| note.voice).collect();
    let first = part.rests.partition_point(|rest| rest.bar < bar);
    voices
        .extend(part.rests[first..].iter().take_while(|rest| rest.bar == bar).filter(|rest| !rest.hidden).map(|rest| rest.voice));
    voices.sort_unstable();
    voices.dedup();
    voices
}

/// A moment of a bar; of grace notes before it how many have gone before in their voice, from 1 on.
type Moment = (Crotchets, usize);

/// One bar of a staff.
struct BarOf<'a> {
    part: &'a Part,
    bar: BarIndex,
    notes: Range<usize>,
    voices: Vec<u16>,
    moments: BTreeMap<Moment, Vec<usize>>,
}

impl<'a> BarOf<'a> {
    fn new(part: &'a Part, bar: BarIndex, notes: Range<usize>) -> Self {
        let voices = voices(part, bar, notes.clone());
        let mut moments: BTreeMap<Moment, Vec<usize>> = BTreeMap::new();
        let mut graces: BTreeMap<(Crotchets, u16), usize> = BTreeMap::new();
        for index in notes.clone() {
            let note = &part.notes[index];
            let place = if note.flags.contains(NoteFlags::GRACE) {
                let count = graces.entry((note.at, note.voice)).or_default();
                *count += usize::from(*count == 0 || !note.flags.contains(NoteFlags::CHORD));
                *count
            } else {
                0
            };
            moments.entry((note.at, place)).or_default().push(index);
        }
        Self { part, bar, notes, voices, moments }
    }

    /// For each voice its players, as bits, where the bar has a voice for each player, or a line: chords count as many as they have notes.
    fn people(&self, players: u16) -> Option<Vec<u16>> {
        let lines = |voice: u16| {
            let counts =
                self.moments.values().map(|notes| notes.iter().filter(|&&note| self.part.notes[note].voice == voice).count());
            counts.max().unwrap_or(0).max(1)
        };
        let lines: Vec<usize> = if self.voices.len() == usize::from(players) {
            vec![1; self.voices.len()]
        } else {
            self.voices.iter().map(|&voice| lines(voice)).collect()
        };
        if self.voices.len() < 2 || lines.iter().sum::<usize>() != usize::from(players) {
            return None;
        }
        let mut first = 0;
        let own = |lines: usize| {
            let bits = ((1u16 << lines) - 1) << first;
            first += lines;
            bits
        };
        Some(lines.into_iter().map(own).collect())
    }

    /// Whether every voice has something in sight where these notes sound: one of them, another note, or a rest.
    fn all_are_there(&self, notes: &[usize]) -> bool {
        let from = self.part.notes[notes[0]].at;
        let to = notes.iter().map(|&note| self.part.notes[note].at + self.part.notes[note].duration).max().unwrap_or(from);
        let is_there = |at: Crotchets, end: Crotchets| at <= from && from < end || from < at && at < to;
        let rests = &self.part.rests[self.part.rests.partition_point(|rest| rest.bar < self.bar)..];
        self.voices.iter().all(|&voice| {
            let own = |note: &Note| note.voice == voice && is_there(note.at, note.at + note.duration);
            notes.iter().any(|&note| self.part.notes[note].voice == voice)
                || self.part.notes[self.notes.clone()].iter().any(own)
                || rests.iter().take_while(|rest| rest.bar == self.bar).any(|rest| {
                    rest.voice == voice && !rest.hidden && (rest.whole_bar || is_there(rest.at, rest.at + rest.duration))
                })
        })
    }

    /// Notes begun together as lines, from the upper down: by voice, then by height.
    fn lines(&self, notes: &[usize]) -> Vec<usize> {
        let mut lines = notes.to_vec();
        lines.sort_by_key(|&index| {
            let note = &self.part.notes[index];
            (self.voices.iter().position(|&voice| voice == note.voice), std::cmp::Reverse(note.pitch().map(Pitch::semitones)))
        });
        lines
    }
}

/// Gives lines to people, as many to each; to all of them where that cannot be, which is then left unsettled. Returns whether it is settled.
fn give(lines: &[usize], who: u16, says: Option<&Said>, owners: &mut [u16]) -> bool {
    let those: Vec<u16> = (0..u16::BITS).filter(|bit| who & (1 << bit) != 0).map(|bit| 1 << bit).collect();
    let (count, people) = (lines.len(), those.len());
    if count > 0 && people % count == 0 && (count == people || says.is_some_and(|says| says.settles(count, people))) {
        for (line, &index) in lines.iter().enumerate() {
            owners[index] = those[line * people / count..(line + 1) * people / count].iter().sum();
        }
        return true;
    }
    lines.iter().for_each(|&index| owners[index] = who);
    false
}

/// For each note the players who play it, as bits; and the bars in which the page does not say.
pub(crate) fn owners(part: &Part, players: u16, said: &[Said]) -> (Vec<u16>, Vec<BarIndex>) {
    let everybody = everybody(players);
    let mut owners = vec![0u16; part.notes.len()];
    let mut unsettled = Vec::new();
    let mut first = 0;
    while first < part.notes.len() {
        let bar = part.notes[first].bar;
        let end = first + part.notes[first..].partition_point(|note| note.bar == bar);
        let own = BarOf::new(part, bar, first..end);
        let people = own.people(players);
        let mut is_settled = true;
        for (&(at, _), notes) in &own.moments {
            let says = in_force(said, bar, at);
            let lines = own.lines(notes);
            match people.as_ref().filter(|_| own.all_are_there(notes)) {
                Some(people) => {
                    for (&voice, &who) in own.voices.iter().zip(people) {
                        let lines: Vec<usize> = lines.iter().copied().filter(|&note| part.notes[note].voice == voice).collect();
                        is_settled &= lines.is_empty() || give(&lines, who, says, &mut owners);
                    }
                }
                // As many lines as players, whatever was said before.
                None if lines.len() == usize::from(players) => {
                    give(&lines, everybody, None, &mut owners);
                }
                None => is_settled &= give(&lines, says.map_or(everybody, |says| says.who), says, &mut owners),
            }
        }
        if !is_settled {
            unsettled.push(bar);
        }
        first = end;
    }
    (owners, unsettled)
}

#[cfg(test)]
mod tests {
    use ripieno_formats::{Limits, read};

    use crate::{Book, BookOptions, books};

    /// "C4:8v2~" as MusicXML in quavers of two: pitch or R, length in semiquavers, voice, tied on (~) or to (_); "+" before a further note of a chord,
    /// "<16" to go back, anything in quotes as words.
    fn measure(text: &str) -> String {
        let sign = |one: &str| {
            if let Some(words) = one.strip_prefix('"') {
                let words = words.trim_end_matches('"').replace('_', " ");
                return format!("<direction><direction-type><words>{words}</words></direction-type></direction>");
            }
            if let Some(back) = one.strip_prefix('<') {
                return format!("<backup><duration>{back}</duration></backup>");
            }
            let (head, rest) = one.split_once(':').unwrap();
            let length: String = rest.chars().take_while(char::is_ascii_digit).collect();
            let voice = rest.split_once('v').map_or("1", |(_, voice)| &voice[..1]);
            let pitch = head.trim_start_matches(['+', 'g']);
            let what = if pitch == "R" {
                "<rest/>".to_owned()
            } else {
                format!("<pitch><step>{}</step><octave>{}</octave></pitch>", &pitch[..1], &pitch[1..])
            };
            let tie =
                |sign: char, which: &str| if rest.contains(sign) { format!("<tie type=\"{which}\"/>") } else { String::new() };
            let (grace, duration) = match head.contains('g') {
                true => ("<grace/>", String::new()),
                false => ("", format!("<duration>{length}</duration>")),
            };
            let chord = if head.contains('+') { "<chord/>" } else { "" };
            format!("<note>{grace}{chord}{what}{duration}{}{}<voice>{voice}</voice></note>", tie('_', "stop"), tie('~', "start"))
        };
        text.split(' ').map(sign).collect()
    }

    fn taken_apart(name: &str, bars: &[&str]) -> Vec<Book> {
        let head = "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        let measures = bars.iter().zip(1..).map(|(bar, number)| {
            format!("<measure number=\"{number}\">{}{}</measure>", if number == 1 { head } else { "" }, measure(bar))
        });
        let text = format!(
            "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>{name}</part-name></score-part></part-list>\
             <part id=\"P1\">{}</part></score-partwise>",
            measures.collect::<String>()
        );
        let score = read("staff.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
        books(&score, &BookOptions::default()).unwrap()
    }

    /// What a book plays: pitch with voice from 2 on and ties, bar by bar; and the numbers of its unsettled bars.
    fn told(book: &Book) -> (Vec<String>, Vec<u32>) {
        let own = &book.score.parts[0];
        let bar = |bar: u32| {
            let notes = own.notes.iter().filter(|note| note.bar.0 == bar);
            let one = |note: &ripieno_score::Note| {
                let pitch = note.pitch().map(|pitch| pitch.to_string()).unwrap_or_default();
                let voice = if note.voice == 1 { String::new() } else { format!("v{}", note.voice) };
                let tie = |flag, sign| if note.flags.contains(flag) { sign } else { "" };
                let ties = (tie(super::NoteFlags::TIE_STOP, "_"), tie(super::NoteFlags::TIE_START, "~"));
                format!("{pitch}{voice}{}{}", ties.0, ties.1)
            };
            notes.map(one).collect::<Vec<_>>().join(" ")
        };
        let bars = u32::try_from(book.score.bars.len()).unwrap();
        ((0..bars).map(bar).collect(), book.unsettled.iter().map(|bar| bar.0 + 1).collect())
    }

    /// What is read of a staff for two or more is common practice; the parts below are written by hand.
    #[test]
    fn a_voice_that_stands_alone_is_for_whom_was_said() {
        let both = taken_apart("Flutes 1.2", &["\"a_2\" C5:8 D5:8", "C5:4 D5:4 E5:4 F5:4 <8 C5:4v2 D5:4v2"]);
        assert_eq!(both[0].name, "Flute 1");
        assert_eq!(told(&both[0]), (vec!["C5 D5".into(), "C5 D5 E5 F5".into()], vec![]));
        assert_eq!(told(&both[1]), (vec!["C5 D5".into(), "C5 D5 C5 D5".into()], vec![]));
        // Nobody has said: both get it, and the bar is told.
        let unsaid = taken_apart("Flutes 1.2", &["C5:4 D5:4 E5:4 F5:4 <8 C5:4v2 D5:4v2"]);
        assert_eq!(told(&unsaid[1]), (vec!["C5 D5 C5 D5".into()], vec![1]));
        // A rest in sight is the second player's, and so is what is begun while the first player's note goes on.
        let rests = taken_apart("Flutes 1.2", &["C5:4 D5:12 <16 R:8v2 E4:8v2", "C5:16 <8 C4:8v2"]);
        assert_eq!(told(&rests[1]), (vec!["E4".into(), "C4".into()], vec![]));
        assert_eq!(told(&rests[0]), (vec!["C5 D5".into(), "C5".into()], vec![]));
    }

    #[test]
    fn a_2_of_three_says_not_which_two() {
        let of_three = taken_apart("Trombones 1.2.3", &["\"a_2\" C4:16", "C3:16 +E3:16 +G3:16", "\"a_3\" E3:16", "\"7.\" E3:16"]);
        let third = told(&of_three[2]);
        assert_eq!(third, (vec!["C4".into(), "C3".into(), "E3".into(), "E3".into()], vec![1, 4]));
        assert_eq!(told(&of_three[0]).0, ["C4", "G3", "E3", "E3"]);
        // Two lines for two each of four are settled.
        let of_four = taken_apart("Horns 1-4", &["\"a_2\" C4:16 +E4:16"]);
        let all: Vec<_> = of_four.iter().map(told).collect();
        assert_eq!(all.iter().map(|one| one.0[0].as_str()).collect::<Vec<_>>(), ["E4", "E4", "C4", "C4"]);
        assert!(all.iter().all(|one| one.1.is_empty()));
    }

    #[test]
    fn a_voice_keeps_its_players_through_the_bar() {
        // Two tenors and a bass trombone as they are usually written: chords above, a held note below.
        let written = taken_apart("Trombones 1.2.3", &["F3:4 +A3:4 G3:4 +B3:4 F3:8 +A3:8 <16 C3:16v2"]);
        let notes: Vec<_> = written.iter().map(|one| told(one).0[0].clone()).collect();
        assert_eq!(notes, ["A3 B3 A3", "F3 G3 F3", "C3"]);
        assert!(written.iter().all(|one| one.unsettled.is_empty()));
    }

    #[test]
    fn two_rhythms_for_one_reader_stay_two_voices() {
        let unclear = taken_apart("Trombones 1.2.3", &["F3:4 G3:4 A3:4 G3:4 <16 C3:16v2"]);
        for book in &unclear {
            assert_eq!(told(book), (vec!["F3 C3v2 G3 A3 G3".into()], vec![1]), "{}", book.name);
            let mut lengths = std::collections::BTreeMap::new();
            for note in &book.score.parts[0].notes {
                *lengths.entry(note.voice).or_insert(super::Crotchets::ZERO) += note.duration;
            }
            assert!(lengths.values().all(|length| *length == super::Crotchets::whole(4)), "{lengths:?}");
        }
    }

    #[test]
    fn a_tie_into_what_another_player_has_ends() {
        let parts = taken_apart("Oboes 1.2", &["\"a_2\" E4:16~", "C4:16 +E4:16_"]);
        assert_eq!(told(&parts[0]).0, ["E4~", "E4_"]);
        assert_eq!(told(&parts[1]).0, ["E4", "C4"]);
    }

    #[test]
    fn grace_notes_one_after_the_other_are_one_line() {
        let parts = taken_apart("Oboes 1.2", &["\"a_2\" gC5:0 gD5:0 E5:16"]);
        assert!(parts.iter().all(|part| told(part) == (vec!["C5 D5 E5".into()], vec![])));
    }
}
