//! One pass over all moments at which something begins.

use ripieno_score::{Crotchets, Sounding};

use super::{Doubling, FEWER_SHARE};
use crate::lines::{Line, Lines};

/// Common notes that are no accident; a phrase head is seldom shorter (the demo's planted truth counts from four too).
const NO_ACCIDENT: u32 = 4;
/// Common notes that mean something where both lines begin nothing else in their bars. One such note is mostly a meeting of two chord tones: of those
/// .08 were stated in an annotated collection, of two .12, of three .18, of what is told otherwise of one to three .14 to .20.
const NOTES_IN_BARS: u32 = 2;
/// Attacks the sparser line may have for itself between two common ones.
const FEWER_OWN: u32 = 1;
/// Attacks the denser line may have for itself between two common ones.
const MORE_OWN: u32 = 3;

/// Something begins: (moment, pitch class, line, attack).
type Event = (Crotchets, u8, u32, u32);

pub(super) fn find(sounding: &Sounding, lines: &Lines) -> Vec<Doubling> {
    let count = lines.lines.len();
    let mut open: Vec<Option<Course>> = Vec::new();
    open.resize_with(count * count, || None);
    let mut found = Vec::new();
    let events = events(lines);
    for group in events.chunk_by(|a, b| a.0 == b.0 && a.1 == b.1) {
        for (k, &(_, _, b, j)) in group.iter().enumerate() {
            for &(_, _, a, i) in &group[..k] {
                let common = Common::new(&lines.lines, (a as usize, i), (b as usize, j));
                let state = &mut open[a as usize * count + b as usize];
                match state {
                    Some(course) if common.continues(&course.last) => common.extend(&mut course.last),
                    Some(course) if common.follows(&course.last) => course.turn(common.alone),
                    _ => {
                        if let Some(done) = state.replace(Course::new(common.alone)) {
                            done.close(sounding, lines, &mut found);
                        }
                    }
                }
            }
        }
    }
    open.into_iter().flatten().for_each(|course| course.close(sounding, lines, &mut found));
    found.sort_by_key(|doubling| (doubling.from, doubling.a, doubling.b));
    found
}

/// What two lines have in common without a break, at one interval or, where one of them changes octave, at several in turn.
struct Course {
    last: Doubling,
    /// At other intervals, before `last`.
    before: Vec<Doubling>,
}

impl Course {
    const fn new(first: Doubling) -> Self {
        Self { last: first, before: Vec::new() }
    }

    /// Goes on at another interval.
    fn turn(&mut self, next: Doubling) {
        self.before.push(std::mem::replace(&mut self.last, next));
    }

    /// Keeps what is no accident: all of it when the course has notes enough, else what stands by itself.
    fn close(self, sounding: &Sounding, lines: &Lines, found: &mut Vec<Doubling>) {
        let shared: u32 = self.before.iter().chain([&self.last]).map(|doubling| doubling.shared).sum();
        let all = self.before.into_iter().chain([self.last]);
        found.extend(all.filter(|doubling| shared >= NO_ACCIDENT || is_no_accident(sounding, lines, doubling)));
    }
}

/// All pitched attacks, by moment, pitch class and line.
fn events(lines: &Lines) -> Vec<Event> {
    let mut events: Vec<Event> = Vec::with_capacity(lines.of_row.len());
    for (index, line) in (0u32..).zip(&lines.lines) {
        for (at, attack) in (0u32..).zip(&line.attacks) {
            if let Some(key) = attack.top {
                events.push((attack.onset, key % 12, index, at));
            }
        }
    }
    events.sort_unstable();
    events
}

/// A note two lines have in common.
struct Common {
    alone: Doubling,
}

impl Common {
    fn new(lines: &[Line], (a, i): (usize, u32), (b, j): (usize, u32)) -> Self {
        let (x, y) = (lines[a].attacks[i as usize], lines[b].attacks[j as usize]);
        let interval = i16::from(y.top.unwrap_or(0)) - i16::from(x.top.unwrap_or(0));
        let alone = Doubling {
            a,
            b,
            interval,
            a_attacks: (i, i),
            b_attacks: (j, j),
            from: x.onset,
            to: x.end.max(y.end),
            bars: (x.bar, x.bar),
            shared: 1,
        };
        Self { alone }
    }

    /// Whether the note comes next in both lines, at another interval.
    const fn follows(&self, doubling: &Doubling) -> bool {
        self.alone.a_attacks.0 == doubling.a_attacks.1 + 1 && self.alone.b_attacks.0 == doubling.b_attacks.1 + 1
    }

    /// Whether `doubling` goes on with this note.
    #[allow(clippy::cast_precision_loss)]
    fn continues(&self, doubling: &Doubling) -> bool {
        let next = &self.alone;
        let own_a = next.a_attacks.0 - doubling.a_attacks.1 - 1;
        let own_b = next.b_attacks.0 - doubling.b_attacks.1 - 1;
        if doubling.interval != next.interval || own_a.min(own_b) > FEWER_OWN || own_a.max(own_b) > MORE_OWN {
            return false;
        }
        if own_a + own_b == 0 {
            return true;
        }
        let of_a = next.a_attacks.0 - doubling.a_attacks.0 + 1;
        let of_b = next.b_attacks.0 - doubling.b_attacks.0 + 1;
        (doubling.shared + 1) as f32 >= FEWER_SHARE * of_a.min(of_b) as f32
    }

    fn extend(&self, doubling: &mut Doubling) {
        doubling.a_attacks.1 = self.alone.a_attacks.1;
        doubling.b_attacks.1 = self.alone.b_attacks.1;
        doubling.to = doubling.to.max(self.alone.to);
        doubling.bars.1 = self.alone.bars.1;
        doubling.shared += 1;
    }
}

/// Whether the doubling means something: enough notes, or long, or all that both lines play between rests, or all that both begin in whole bars.
fn is_no_accident(sounding: &Sounding, lines: &Lines, doubling: &Doubling) -> bool {
    if doubling.shared >= NO_ACCIDENT {
        return true;
    }
    if !doubling.is_exact() {
        return false;
    }
    let (x, y) = (&lines.lines[doubling.a], &lines.lines[doubling.b]);
    let held = (doubling.a_attacks.0..=doubling.a_attacks.1).zip(doubling.b_attacks.0..=doubling.b_attacks.1).fold(
        Crotchets::ZERO,
        |held, (i, j)| {
            let (p, q) = (x.attacks[i as usize], y.attacks[j as usize]);
            held + (p.end.min(q.end) - p.onset)
        },
    );
    let bar = sounding.bars.get(doubling.bars.0 as usize).map_or(Crotchets::MAX, |bar| bar.length);
    held >= bar
        || between_rests(x, doubling.a_attacks, bar) && between_rests(y, doubling.b_attacks, bar)
        || doubling.shared >= NOTES_IN_BARS && fills_bars(x, doubling.a_attacks) && fills_bars(y, doubling.b_attacks)
}

/// Whether the line begins nothing else in the bars of these attacks.
fn fills_bars(line: &Line, (first, last): (u32, u32)) -> bool {
    let bar = |at: u32| line.attacks.get(at as usize).map(|attack| attack.bar);
    first.checked_sub(1).is_none_or(|before| bar(before) < bar(first))
        && bar(last + 1).is_none_or(|after| Some(after) > bar(last))
}

/// Whether the line rests before and after these attacks, for at least a quarter of a bar.
fn between_rests(line: &Line, (first, last): (u32, u32), bar: Crotchets) -> bool {
    const PARTS: i64 = 4;
    let rests = |end: Crotchets, next: Crotchets| (next - end) * Crotchets::whole(PARTS) >= bar;
    let before = first.checked_sub(1).and_then(|before| line.attacks.get(before as usize));
    let after = line.attacks.get(last as usize + 1);
    let (from, to) = (line.attacks[first as usize].onset, line.attacks[last as usize].end);
    before.is_none_or(|attack| rests(attack.end, from)) && after.is_none_or(|attack| rests(to, attack.onset))
}
