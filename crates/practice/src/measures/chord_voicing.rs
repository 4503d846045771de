//! Chord voicing: how chords are laid out, by whom, and how the sections interlace.

use ripieno_instruments::family::Family;
use ripieno_score::Crotchets;
use ripieno_texture::{ChordSpan, ChordTone};

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::slices::Slice;
use crate::spread::Spread;
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "chord_voicing",
    title: "How chords are voiced",
    says: "How chords are spaced from the bass up, close or open, which chord tones are doubled and by whom, and whether the sections lie over, within or among each other.",
    definition: "Moments at which at least three different tones of the chord of the moment sound. For a family or section by itself: at which it has three of them. Notes foreign to the chord are left out, but \
                 for the lowest note, which is always counted; percussion is left out. Pitches that sound more than once count once in spacing. Bottom gap: from the lowest to the second \
                 lowest pitch. Usual gap: the median between neighbours above that; top gap: between the two highest. All are medians by time. Close: above the lowest note, no chord tone that \
                 sounds could be set between two neighbours; open: it could. Within an octave: highest and lowest pitch no more than 12 semitones apart. Doubled: the group plays the tone with at least two \
                 notes, at whatever octaves. Players on a tone: people who play it, at whatever octave, meant over the time in which it sounds; shares on a tone are of the player-time on chord tones \
                 while the whole orchestra has a chord. Two sections, each with at least two different chord-tone pitches: overlapped when they share a pitch; else layered when \
                 one lies wholly above the other; else enclosed when one lies wholly inside the range of the other; else interlocked, their ranges crossing. Shares of two sections are of the time \
                 in which both have two.",
    source: "common practice of handbooks of orchestration (overlaying, crossing, enclosure) and of harmony (close and open position); fixed here exactly",
    example: "In the demo's bars 81 to 100 horns and trombones share a pitch in every chord: overlapped.",
    on_chart: OnChart::Not,
    take,
};

const TONES: [(ChordTone, &str); 4] =
    [(ChordTone::Root, "root"), (ChordTone::Third, "third"), (ChordTone::Fifth, "fifth"), (ChordTone::Seventh, "seventh")];

/// Pitches as a set of MIDI keys.
type Keys = u128;

const fn lowest(keys: Keys) -> i32 {
    keys.trailing_zeros().cast_signed()
}

const fn highest(keys: Keys) -> i32 {
    127 - keys.leading_zeros().cast_signed()
}

/// What a group sounds at a moment.
#[derive(Debug, Clone, Copy, Default)]
struct Here {
    /// Chord tones.
    keys: Keys,
    /// The lowest note of all, be it foreign.
    lowest: Option<i32>,
    notes: [u32; 4],
    people: [u32; 4],
}

impl Here {
    fn add(&mut self, key: i32, tone: Option<usize>) {
        self.lowest = Some(self.lowest.map_or(key, |low| low.min(key)));
        if let Some(tone) = tone {
            self.keys |= 1 << key;
            self.notes[tone] += 1;
        }
    }

    fn has_chord(&self) -> bool {
        self.notes.iter().filter(|&&notes| notes > 0).count() >= 3
    }
}

/// What a group does in the piece.
#[derive(Debug, Clone, Default)]
struct Voicing {
    chord: Tally,
    close: Tally,
    open: Tally,
    within_octave: Tally,
    bottom: Spread,
    usual: Spread,
    top: Spread,
    doubled: [Tally; 4],
    /// Crotchets times people, and time, on each tone while the orchestra has a chord.
    people: [Crotchets; 4],
    on_tone: [Tally; 4],
}

impl Voicing {
    fn add(&mut self, here: &Here, slice: &Slice) {
        for tone in (0..TONES.len()).filter(|&tone| here.notes[tone] > 0) {
            self.on_tone[tone].add(slice);
            self.people[tone] += slice.length() * Crotchets::whole(i64::from(here.people[tone]));
        }
        if !here.has_chord() {
            return;
        }
        self.chord.add(slice);
        for (tally, _) in self.doubled.iter_mut().zip(here.notes).filter(|(_, notes)| *notes > 1) {
            tally.add(slice);
        }
        let keys = here.keys | here.lowest.map_or(0, |key| 1 << key);
        let pitches: Vec<i32> = (lowest(keys)..=highest(keys)).filter(|key| keys >> key & 1 == 1).collect();
        let mut gaps: Vec<i32> = pitches.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let (Some(&bottom), Some(&top)) = (gaps.first(), gaps.last()) else { return };
        self.bottom.add(bottom, slice);
        self.top.add(top, slice);
        let above = &mut gaps[1..];
        if !above.is_empty() {
            above.sort_unstable();
            self.usual.add(above[(above.len() - 1) / 2], slice);
        }
        let spacing = if is_close(&pitches, here.keys) { &mut self.close } else { &mut self.open };
        spacing.add(slice);
        if highest(keys) - lowest(keys) <= 12 {
            self.within_octave.add(slice);
        }
    }

    fn values(self, of: Subject, all: Crotchets) -> Vec<Value> {
        let mut values = Vec::new();
        let whole = self.chord.time;
        let number = |aspect: String, value: f64, unit: Unit, bars: &[u32]| Value {
            of,
            with: None,
            aspect,
            value,
            unit,
            bars: bars.to_vec(),
        };
        if !whole.is_zero() {
            for (spread, aspect) in [(&self.bottom, "bottom gap"), (&self.usual, "usual gap"), (&self.top, "top gap")] {
                values.extend(
                    spread.median().map(|gap| number(aspect.to_owned(), f64::from(gap), Unit::Semitones, &self.chord.bars)),
                );
            }
            values.push(self.chord.value(of, None, "in chords", all));
            values.push(self.close.value(of, None, "close", whole));
            values.push(self.open.value(of, None, "open", whole));
            values.push(self.within_octave.value(of, None, "within an octave", whole));
            for (tally, (_, tone)) in self.doubled.into_iter().zip(TONES) {
                values.push(tally.value(of, None, format!("{tone} doubled"), whole));
            }
        }
        let people: Crotchets = self.people.iter().copied().sum();
        for ((on_tone, time), (_, tone)) in self.people.into_iter().zip(self.on_tone).zip(TONES) {
            let Some(mean) = on_tone.checked_div(time.time) else { continue };
            let share = on_tone.checked_div(people).map_or(0.0, Crotchets::to_f64);
            values.push(number(format!("players on the {tone}"), mean.to_f64(), Unit::Players, &time.bars));
            values.push(number(format!("on the {tone}"), share, Unit::ShareOfPlayerTime, &time.bars));
        }
        values
    }
}

/// Whether no tone that sounds in the chord fits between two neighbours above the lowest pitch.
fn is_close(pitches: &[i32], chord: Keys) -> bool {
    let mut classes = [false; 12];
    for key in (0..128usize).filter(|key| chord >> key & 1 == 1) {
        classes[key % 12] = true;
    }
    let fits = |low: i32, high: i32| (low + 1..high).any(|key| usize::try_from(key).is_ok_and(|key| classes[key % 12]));
    pitches.get(1..).unwrap_or_default().windows(2).all(|pair| !fits(pair[0], pair[1]))
}

/// How two sections stand to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    Overlapped,
    LayeredAbove,
    LayeredBelow,
    Encloses,
    Enclosed,
    Interlocked,
}

impl Standing {
    const ALL: [(Self, &'static str); 6] = [
        (Self::LayeredAbove, "layered above"),
        (Self::LayeredBelow, "layered below"),
        (Self::Interlocked, "interlocked"),
        (Self::Encloses, "encloses"),
        (Self::Enclosed, "enclosed"),
        (Self::Overlapped, "overlapped"),
    ];

    /// Of `a`, as seen from it.
    const fn of(a: Keys, b: Keys) -> Self {
        let (a_low, a_high, b_low, b_high) = (lowest(a), highest(a), lowest(b), highest(b));
        if a & b != 0 {
            Self::Overlapped
        } else if a_low > b_high {
            Self::LayeredAbove
        } else if a_high < b_low {
            Self::LayeredBelow
        } else if a_low < b_low && b_high < a_high {
            Self::Encloses
        } else if b_low < a_low && a_high < b_high {
            Self::Enclosed
        } else {
            Self::Interlocked
        }
    }
}

/// Two sections.
#[derive(Debug, Clone, Default)]
struct Pair {
    both: Tally,
    standings: [Tally; 6],
}

fn take(material: &Material<'_>) -> Vec<Value> {
    let (section_of, family_of) = (material.groups.section_of_parts(), material.groups.family_of_parts());
    let (sections, families) = (material.groups.sections.len(), material.groups.families.len());
    // The whole score, then families, then sections.
    let groups = 1 + families + sections;
    let groups_of = |part: usize| [0, 1 + family_of[part], 1 + families + section_of[part]];
    let mut sums = vec![Voicing::default(); groups];
    let mut pairs = vec![Pair::default(); sections * sections];
    let mut here = vec![Here::default(); groups];
    for (slice, rows) in material.slices.iter() {
        let Some(chord) = material.harmony.chord_at(slice.from) else { continue };
        here.fill(Here::default());
        gather(material, chord, rows, &groups_of, &mut here);
        if !here[0].has_chord() {
            continue;
        }
        for (sum, here) in sums.iter_mut().zip(&here).filter(|(_, here)| here.lowest.is_some()) {
            sum.add(here, slice);
        }
        let here = &here[1 + families..];
        let full: Vec<usize> = (0..sections).filter(|&section| here[section].keys.count_ones() > 1).collect();
        for (at, &a) in full.iter().enumerate() {
            for &b in &full[at + 1..] {
                let pair = &mut pairs[a * sections + b];
                pair.both.add(slice);
                let standing = Standing::of(here[a].keys, here[b].keys);
                for (tally, _) in pair.standings.iter_mut().zip(Standing::ALL).filter(|(_, (kind, _))| *kind == standing) {
                    tally.add(slice);
                }
            }
        }
    }
    let all = material.sounding.length();
    let subject = |group: usize| match group.checked_sub(1) {
        None => Subject::Everybody,
        Some(family) if family < families => Subject::Family(family),
        Some(section) => Subject::Section(section - families),
    };
    let mut values: Vec<Value> = sums.into_iter().enumerate().flat_map(|(group, sum)| sum.values(subject(group), all)).collect();
    for (index, pair) in pairs.into_iter().enumerate().filter(|(_, pair)| !pair.both.time.is_zero()) {
        let (of, with) = (Subject::Section(index / sections), Subject::Section(index % sections));
        let whole = pair.both.time;
        let told = pair.standings.into_iter().zip(Standing::ALL).filter(|(tally, _)| !tally.time.is_zero());
        values.extend(told.map(|(tally, (_, aspect))| tally.value(of, Some(with), aspect, whole)));
    }
    values
}

/// Gathers the notes of a moment by group.
fn gather(material: &Material<'_>, chord: &ChordSpan, rows: &[u32], groups_of: &impl Fn(usize) -> [usize; 3], here: &mut [Here]) {
    let tone_of = |key: i32| {
        let tone = chord.tone(u8::try_from(key.rem_euclid(12)).unwrap_or(0));
        TONES.iter().position(|(kind, _)| *kind == tone)
    };
    let mut on_tone: Vec<u32> = Vec::new();
    for of_part in rows.chunk_by(|&a, &b| material.part_of(a) == material.part_of(b)) {
        let part = material.part_of(of_part[0]);
        if material.groups.parts[part].family == Family::Percussion {
            continue;
        }
        let groups = groups_of(part);
        let mut sounding = [false; 4];
        for key in of_part.iter().filter_map(|&row| material.key_of(row)) {
            let tone = tone_of(key);
            tone.into_iter().for_each(|tone| sounding[tone] = true);
            groups.iter().for_each(|&group| here[group].add(key, tone));
        }
        for tone in (0..TONES.len()).filter(|&tone| sounding[tone]) {
            on_tone.clear();
            on_tone.extend(of_part.iter().filter(|&&row| material.key_of(row).and_then(tone_of) == Some(tone)));
            let people = material.players(&on_tone);
            groups.iter().for_each(|&group| here[group].people[tone] += people);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(keys: &[u32]) -> Keys {
        keys.iter().fold(0, |set, key| set | 1 << key)
    }

    #[test]
    fn every_standing_is_told_from_both_sides() {
        let (low, high) = (keys(&[48, 52]), keys(&[60, 64]));
        assert_eq!(Standing::of(high, low), Standing::LayeredAbove);
        assert_eq!(Standing::of(low, high), Standing::LayeredBelow);
        // C4 E4 around or among D4 and so on.
        assert_eq!(Standing::of(keys(&[60, 67]), keys(&[62, 64])), Standing::Encloses);
        assert_eq!(Standing::of(keys(&[62, 64]), keys(&[60, 67])), Standing::Enclosed);
        assert_eq!(Standing::of(keys(&[60, 64]), keys(&[62, 67])), Standing::Interlocked);
        assert_eq!(Standing::of(keys(&[60, 64]), keys(&[64, 67])), Standing::Overlapped);
    }

    #[test]
    fn close_position_leaves_no_tone_out_above_the_bass() {
        let close = |pitches: &[u32]| is_close(&pitches.iter().map(|&key| key.cast_signed()).collect::<Vec<_>>(), keys(pitches));
        assert!(close(&[36, 60, 64, 67]), "the bass may lie apart");
        assert!(!close(&[48, 55, 64]), "C3 G3 E4 leaves out C4");
        assert!(close(&[48, 52, 55]));
    }
}
