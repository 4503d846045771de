//! Reduces bars of a studied score to a sketch: a staff for each role, at concert pitch.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::{
    About, Articulations, BarIndex, Change, ChangeKind, Clef, ClefSign, Crotchets, Part, Pitch, Score, Sounding,
};
use ripieno_texture::{Lines, Role, RoleReading, RoleSpan};

use crate::dynamics::tempered;
use crate::expression::{course, expression};
use crate::ground::grounded;
use crate::groups::grouped;
use crate::keys::signatures;
use crate::leads::leaders;
use crate::notate::{Event, Like, TOUCH, lay, throughout, touch};
use crate::sketch::{Sketch, role_named};

/// Strands of a reduction, in the order of the page.
const STAVES: [(Role, &str); 8] = [
    (Role::Melody, "Melody"),
    (Role::Countermelody, "Answer"),
    (Role::Figuration, "Figure"),
    (Role::Rhythm, "Rhythm"),
    (Role::Harmony, "Chords"),
    (Role::Pedal, "Pedal"),
    (Role::Bass, "Bass"),
    (Role::Effect, "Effect"),
];

/// Which strand of a reduction a role goes to.
pub(crate) const fn staff_of(role: Role) -> Option<Role> {
    Some(match role {
        Role::Melody => Role::Melody,
        Role::Countermelody => Role::Countermelody,
        Role::Bass => Role::Bass,
        Role::Harmony => Role::Harmony,
        Role::Pedal => Role::Pedal,
        Role::Rhythm | Role::Punctuation => Role::Rhythm,
        Role::Figuration => Role::Figuration,
        Role::Effect => Role::Effect,
        _ => return None,
    })
}

/// Every line that has a role in a bar and pitches throughout it.
fn all_of(lines: &Lines, roles: &RoleReading, bar: u32, role: Role) -> Vec<usize> {
    let has = |span: &&RoleSpan| span.bars.contains(&bar) && staff_of(span.role()) == Some(role);
    let pitched = |&line: &usize| {
        let attacks = &lines.lines[line].attacks;
        let first = attacks.partition_point(|attack| attack.bar < bar);
        attacks[first..].iter().take_while(|attack| attack.bar == bar).all(|attack| attack.top.is_some())
    };
    roles.spans.iter().filter(has).map(|span| span.line).filter(pitched).collect()
}

/// How much of what has a role a reduction keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kept {
    /// Of a line strand the line that leads.
    Leader,
    /// The same, in all octaves in which it sounds.
    InOctaves,
    /// Every line, in all octaves in which it sounds; what is more than doubles another stands on a staff of its own.
    EveryLine,
}

/// Reduces bars of a studied score to a condensed sketch by role, in concert pitch: one staff a role. A line strand takes the line that
/// leads (melody: the strongest lead; others: the one with most attacks, of equals the highest, for the bass the lowest) and stays with it as long as it goes on; chords take all
/// pitches of their lines, each once. Printed dynamics and hairpins are the leader's, of lines its words of expression too; tempo and its words stand on the
/// first staff. The sketch has the bars asked for alone, renumbered from their printed numbers.
#[must_use]
pub fn reduce(score: &Score, sounding: &Sounding, lines: &Lines, roles: &RoleReading, bars: Range<usize>) -> Sketch {
    reduction(score, sounding, lines, roles, bars, Kept::Leader)
}

/// The same, with lines written in all octaves in which they sound: a richer sketch, from which casting knows where a line is to be doubled ([`Strand::octaves`]).
#[must_use]
pub fn reduce_in_octaves(score: &Score, sounding: &Sounding, lines: &Lines, roles: &RoleReading, bars: Range<usize>) -> Sketch {
    reduction(score, sounding, lines, roles, bars, Kept::InOctaves)
}

/// The same, with a staff of its own for each further line of a role ("Answer 2", "Melody 2" in thirds), three at most; what only doubles a line in unison or octaves goes with it.
/// What has no room or is there for one bar only is left out, which [`Sketch::remarks`] says.
#[must_use]
pub fn reduce_every_line(score: &Score, sounding: &Sounding, lines: &Lines, roles: &RoleReading, bars: Range<usize>) -> Sketch {
    reduction(score, sounding, lines, roles, bars, Kept::EveryLine)
}

/// The titles of a score with a word more about what is made of it: "The Boat Goes Out: bars 82–98".
pub(crate) fn titled(about: &About, more: &str) -> About {
    let movement = match about.movement.as_str() {
        movement if movement.is_empty() || movement == about.work => more.to_owned(),
        movement => format!("{movement}, {more}"),
    };
    About { movement, ..about.clone() }
}

/// Staves of one role in a reduction that keeps every line, at most: what a short score shows without becoming a full one (the number is ours).
const STAVES_A_ROLE: usize = 3;

/// Bars for which a further line is worth a staff of its own (ours).
const WORTH_A_STAFF: usize = 2;

/// A strand of a reduction: in each bar the line that leads it.
type Leads = Vec<Option<usize>>;

/// Who leads each staff of a line strand. `every`: besides the leader every line that is not there already.
fn staves(
    score: &Score,
    sounding: &Sounding,
    lines: &Lines,
    roles: &RoleReading,
    bars: &Range<usize>,
    role: Role,
    every: bool,
) -> Vec<Leads> {
    let mut found: Vec<Leads> = Vec::new();
    // Lines that stand on a staff in a bar, themselves or as a doubling.
    let mut there: BTreeSet<(usize, usize)> = BTreeSet::new();
    loop {
        let leads = leaders(score, lines, roles, bars, role, &there);
        let long = leads.iter().flatten().count();
        if !found.is_empty() && long < WORTH_A_STAFF.min(bars.len()).max(1) {
            return found;
        }
        found.push(leads);
        if !every || found.len() == STAVES_A_ROLE {
            return found;
        }
        let Some(leads) = found.last() else { return found };
        for (bar, lead) in bars.clone().zip(leads).filter_map(|(bar, lead)| Some((bar, (*lead)?))) {
            let own: BTreeSet<(Crotchets, i32)> = begun(sounding, lines, lead, bar).collect();
            for line in lines_with(roles, bar, role) {
                let (mut all, mut same) = (0, 0);
                for note in begun(sounding, lines, line, bar) {
                    all += 1;
                    same += usize::from(own.contains(&note));
                }
                if line == lead || all > 0 && same * 4 >= all * 3 {
                    there.insert((bar, line));
                }
            }
        }
    }
}

/// Notes with length and pitch that a line begins in a bar: when, and their class.
fn begun<'a>(sounding: &'a Sounding, lines: &'a Lines, line: usize, bar: usize) -> impl Iterator<Item = (Crotchets, i32)> + 'a {
    let notes = &sounding.notes;
    let rows = &lines.lines[line].rows;
    let first = rows.partition_point(|&row| (notes.bar[row as usize] as usize) < bar);
    let here = rows[first..].iter().map(|&row| row as usize).take_while(move |&row| notes.bar[row] as usize == bar);
    here.filter_map(|row| classed(sounding, row))
}

/// When a note with length and pitch begins, and its class.
fn classed(sounding: &Sounding, row: usize) -> Option<(Crotchets, i32)> {
    let notes = &sounding.notes;
    let key = notes.key[row].filter(|_| notes.duration[row].is_positive())?;
    Some((notes.onset[row], i32::from(key.number()) % 12))
}

/// A sentence on the notes of a role that stand on none of its staves in any octave.
fn without_a_staff(
    score: &Score,
    sounding: &Sounding,
    lines: &Lines,
    roles: &RoleReading,
    bars: &Range<usize>,
    (role, name): (Role, &str),
    written: &BTreeSet<(Crotchets, i32)>,
) -> Option<String> {
    let (mut count, mut where_from) = (0usize, Vec::<String>::new());
    for bar in bars.clone() {
        for line in lines_with(roles, bar, role) {
            let here = begun(sounding, lines, line, bar).filter(|note| !written.contains(note)).count();
            let who = &score.parts[lines.lines[line].part].name;
            if here > 0 && !where_from.contains(who) {
                where_from.push(who.clone());
            }
            count += here;
        }
    }
    let notes = if count == 1 { "one note".to_owned() } else { format!("{count} notes") };
    (count > 0).then(|| {
        format!(
            "{name}: {notes} of lines for less than {WORTH_A_STAFF} bars, of variants or beyond {STAVES_A_ROLE} staves stand in no octave of the sketch ({})",
            named(&where_from)
        )
    })
}

/// Names of parts, the first six of many.
fn named(parts: &[String]) -> String {
    let (first, others) = parts.split_at(parts.len().min(6));
    match others.len() {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

/// The lines that have a role of a strand in a bar.
fn lines_with(roles: &RoleReading, bar: usize, role: Role) -> impl Iterator<Item = usize> + '_ {
    let has = move |span: &&RoleSpan| {
        u32::try_from(bar).is_ok_and(|bar| span.bars.contains(&bar)) && staff_of(span.role()) == Some(role)
    };
    roles.spans.iter().filter(has).map(|span| span.line)
}

fn reduction(score: &Score, sounding: &Sounding, lines: &Lines, roles: &RoleReading, bars: Range<usize>, kept: Kept) -> Sketch {
    let bars = bars.start.min(score.bars.len())..bars.end.min(score.bars.len());
    let start = score.bars.get(bars.start).map_or(Crotchets::ZERO, |bar| bar.start);
    let span = (start, score.bars[bars.clone()].last().map_or(start, |bar| bar.start + bar.length));
    let keys = signatures(score, &bars);
    let roles = &grounded(lines, roles, &bars);
    let about = if bars == (0..score.bars.len()) || bars.is_empty() {
        score.about.clone()
    } else {
        let name = |bar: usize| {
            let number = &score.bars[bar].number;
            if number.is_empty() { (bar + 1).to_string() } else { number.to_string() }
        };
        let (first, last) = (name(bars.start), name(bars.end - 1));
        titled(&score.about, &if first == last { format!("bar {first}") } else { format!("bars {first}–{last}") })
    };
    let mut reduced = Score { about: About { concert_pitch: true, ..about }, ..Score::default() };
    reduced.bars = score.bars[bars.clone()]
        .iter()
        .map(|bar| ripieno_score::Bar {
            start: bar.start - start,
            repeat_start: false,
            repeat_end: None,
            ending_start: Vec::new(),
            ending_stop: false,
            jumps: Vec::new(),
            ..bar.clone()
        })
        .collect();
    if let Some(first) = reduced.bars.first_mut()
        && first.metre.is_none()
    {
        first.metre = score.bars[..=bars.start].iter().rev().find_map(|bar| bar.metre.clone());
    }
    let mut left_out: Vec<String> = Vec::new();
    for (role, name) in STAVES {
        let chordal = matches!(role, Role::Harmony | Role::Rhythm);
        let every = kept == Kept::EveryLine && !chordal;
        let mut written: BTreeSet<(Crotchets, i32)> = BTreeSet::new();
        for (at, leads) in staves(score, sounding, lines, roles, &bars, role, every).into_iter().enumerate() {
            let mut rows: Vec<usize> = Vec::new();
            for (bar, lead) in bars.clone().zip(&leads) {
                let Ok(played) = u32::try_from(bar) else { continue };
                let here = if chordal { all_of(lines, roles, played, role) } else { lead.iter().copied().collect() };
                for line in here {
                    let of_line = lines.lines[line].rows.iter().map(|&row| row as usize);
                    rows.extend(of_line.filter(|&row| sounding.notes.bar[row] == played && sounding.notes.key[row].is_some()));
                }
            }
            let mut held = held_into(sounding, lines, roles, (bars.start, start), role, leads.first().copied().flatten());
            // Only the first staff has what others hold.
            held.retain(|(own, _)| *own || at == 0);
            rows.extend(held.into_iter().map(|(_, row)| row));
            if rows.is_empty() {
                continue;
            }
            rows.sort_by_key(|&row| (sounding.notes.onset[row], sounding.notes.key[row], row));
            rows.dedup();
            written.extend(rows.iter().filter_map(|&row| classed(sounding, row)));
            let mut events = match role {
                Role::Rhythm => layered_events(sounding, lines, roles, &rows, (span, &bars)),
                _ if chordal => chord_events(sounding, &rows, span),
                _ => line_events(sounding, &rows, span),
            };
            if chordal {
                signed(score, sounding, &rows, start, &mut events);
            }
            let name = if at == 0 { name.to_owned() } else { format!("{name} {}", at + 1) };
            let mut part = Part { id: format!("S{}", reduced.parts.len() + 1), name, staves: 1, ..Part::default() };
            // Chords without length of their own (grace notes) say nothing of harmony.
            for voice in 1..=events.iter().map(|event| event.voice).max().unwrap_or(1) {
                let own: Vec<Event> = events.iter().filter(|event| event.voice == voice).cloned().collect();
                lay(&mut part, &reduced.bars, &own, &score.parts, (voice == 1).then(|| throughout(&reduced.bars)));
            }
            let mean = events.iter().flat_map(|event| &event.pitches).map(|(pitch, _)| pitch.semitones()).sum::<i32>()
                / i32::try_from(events.iter().map(|event| event.pitches.len()).sum::<usize>()).unwrap_or(1).max(1);
            let (sign, line) = if mean < 58 { (ClefSign::F, 4) } else { (ClefSign::G, 2) };
            let at = |kind| Change { bar: BarIndex(0), at: Crotchets::ZERO, staff: None, kind };
            part.changes.push(at(ChangeKind::Clef(Clef { sign, line, octaves: 0 })));
            part.changes.extend(keys.iter().map(|signature| Change {
                bar: BarIndex(u32::try_from(signature.bar - bars.start).unwrap_or(0)),
                at: signature.at,
                staff: None,
                kind: ChangeKind::Key(signature.key),
            }));
            if kept != Kept::Leader && !chordal {
                let of_bar = |bar: u32| lines_with(roles, bar as usize, role).collect();
                for (voice, rows) in (2u16..).zip(doublings(sounding, lines, &rows, of_bar).into_values().take(VOICES - 1)) {
                    let mut events = line_events(sounding, &rows, span);
                    for event in &mut events {
                        event.voice = voice;
                    }
                    lay(&mut part, &reduced.bars, &events, &score.parts, None);
                }
            }
            grouped(&mut part, &reduced.bars);
            part.directions = expression(score, sounding, lines, &leads, &bars, !chordal);
            reduced.parts.push(part);
        }
        if every {
            left_out.extend(without_a_staff(score, sounding, lines, roles, &bars, (role, name), &written));
        }
    }
    // What accompanies is measured against a tune that stands above it.
    if reduced.parts.first().is_some_and(|part| role_named(&part.name) == Some(Role::Melody)) {
        tempered(&mut reduced.parts, &reduced.bars);
    }
    if let Some(first) = reduced.parts.first_mut() {
        first.directions.extend(course(score, &bars));
    }
    reduced.finish();
    let mut sketch = Sketch::by_names(reduced.clone()).unwrap_or_else(|| Sketch::of_nothing(reduced));
    // A line read as several by its page would be cast twice.
    sketch.keep_one_strand_a_staff();
    sketch.remarks.extend(left_out);
    sketch
}

/// Rows that sound into the first of these bars, which begins at a moment, each with whether it is the leader's: of chords those of every line that has the role there, or had it when it began and has
/// none now; of a line strand that of who leads it, and where that one begins nothing at once, the highest of others (of a bass the lowest).
fn held_into(
    sounding: &Sounding,
    lines: &Lines,
    roles: &RoleReading,
    (first, start): (usize, Crotchets),
    role: Role,
    lead: Option<usize>,
) -> Vec<(bool, usize)> {
    let notes = &sounding.notes;
    let of_bar = |line: usize, bar: u32| {
        let mut spans = roles.spans.iter().filter(move |span| span.line == line && span.bars.contains(&bar));
        spans.find_map(|span| staff_of(span.role()))
    };
    let now = u32::try_from(first).unwrap_or(u32::MAX);
    let mut found: Vec<(bool, usize)> = Vec::new();
    for (line, of) in lines.lines.iter().enumerate() {
        let rows = of.rows.iter().map(|&row| row as usize);
        let held = rows.filter(|&row| notes.onset[row] < start && start < notes.onset[row] + notes.duration[row]);
        let has = |row: &usize| of_bar(line, now).or_else(|| of_bar(line, notes.bar[*row])) == Some(role);
        found.extend(held.filter(|&row| notes.key[row].is_some()).filter(has).map(|row| (Some(line) == lead, row)));
    }
    if matches!(role, Role::Harmony | Role::Rhythm) {
        return found;
    }
    let begins = |&row: &u32| notes.onset[row as usize] == start;
    if lead.is_some_and(|lead| lines.lines[lead].rows.iter().any(begins)) {
        return Vec::new();
    }
    let height = |row: usize| if role == Role::Bass { -notes.pitch[row].semitones() } else { notes.pitch[row].semitones() };
    let best = found.into_iter().max_by_key(|&(own, row)| (own, height(row), std::cmp::Reverse(row)));
    best.into_iter().collect()
}

/// From when to when a row sounds in bars that last from one moment to another, counted from their beginning. `None` where it does not last there.
fn within(sounding: &Sounding, row: usize, (start, end): (Crotchets, Crotchets)) -> Option<(Crotchets, Crotchets)> {
    let notes = &sounding.notes;
    let (from, to) = (notes.onset[row].max(start), (notes.onset[row] + notes.duration[row]).min(end));
    (from < to).then(|| (from - start, to - start))
}

/// Rows that have the notes of a line at other octaves, by octave, of the lines that share its role in a bar; only where they have at least half of its notes.
fn doublings(
    sounding: &Sounding,
    lines: &Lines,
    rows: &[usize],
    of_bar: impl Fn(u32) -> Vec<usize>,
) -> std::collections::BTreeMap<i32, Vec<usize>> {
    let notes = &sounding.notes;
    let key = |row: usize| notes.key[row].map(|key| i32::from(key.number()));
    let mut found: std::collections::BTreeMap<i32, Vec<usize>> = std::collections::BTreeMap::new();
    let mut bars: Vec<u32> = rows.iter().map(|&row| notes.bar[row]).collect();
    bars.dedup();
    for bar in bars {
        let own: Vec<usize> =
            rows.iter().copied().filter(|&row| notes.bar[row] == bar && notes.duration[row].is_positive()).collect();
        let mut here: std::collections::BTreeMap<i32, std::collections::BTreeMap<usize, usize>> =
            std::collections::BTreeMap::new();
        for line in of_bar(bar) {
            let of_line = lines.lines[line].rows.iter().map(|&row| row as usize).filter(|&row| notes.bar[row] == bar);
            for row in of_line.filter(|&row| notes.duration[row].is_positive()) {
                let same = own.iter().position(|&other| notes.onset[other] == notes.onset[row]);
                let apart = same.and_then(|at| Some((at, key(row)? - key(own[at])?)));
                if let Some((at, apart)) = apart.filter(|(_, apart)| *apart != 0 && apart % 12 == 0) {
                    here.entry(apart / 12).or_default().entry(at).or_insert(row);
                }
            }
        }
        for (octave, doubled) in here.into_iter().filter(|(_, doubled)| doubled.len() * 2 >= own.len()) {
            found.entry(octave).or_default().extend(doubled.into_values());
        }
    }
    found
}

/// Gives chords the signs with which at least half of those who begin their notes there attack or hold them.
fn signed(score: &Score, sounding: &Sounding, rows: &[usize], start: Crotchets, events: &mut [Event]) {
    let notes = &sounding.notes;
    let sounds = |row: &&usize| notes.duration[**row].is_positive();
    for event in events {
        let from = event.from + start;
        let first = rows.partition_point(|&row| notes.onset[row] < from);
        let begun = || rows[first..].iter().take_while(|&&row| notes.onset[row] == from).filter(sounds);
        let own = |row: &&usize| {
            event.pitches.iter().any(|&(pitch, held)| !held && pitch.semitones() == notes.pitch[**row].semitones())
        };
        let all: Vec<Articulations> = begun()
            .filter(own)
            .map(|&row| touch(&score.parts[usize::from(notes.part[row])], notes.written[row] as usize))
            .collect();
        let half = |sign: &Articulations| 2 * all.iter().filter(|signs| signs.contains(*sign)).count() >= all.len().max(1);
        event.signs = TOUCH.iter().filter(half).fold(Articulations::empty(), Articulations::union);
    }
}

/// The rows of a line strand as events; what overlaps the next is cut there.
fn line_events(sounding: &Sounding, rows: &[usize], span: (Crotchets, Crotchets)) -> Vec<Event> {
    let notes = &sounding.notes;
    let mut events: Vec<Event> = Vec::new();
    for &row in rows {
        let Some((from, to)) = within(sounding, row, span) else { continue };
        match events.last_mut() {
            Some(last) if last.from == from => {
                // Of a chord the highest note is the line.
                if notes.pitch[row].semitones() > last.pitches[0].0.semitones() {
                    *last = Event::plain(from, to, vec![(notes.pitch[row], false)], 1);
                }
                continue;
            }
            Some(last) if last.to > from => last.to = from,
            _ => {}
        }
        let like = Like { part: usize::from(notes.part[row]), note: notes.written[row] as usize, plain: false };
        let like = (notes.onset[row] >= span.0).then_some(like);
        events.push(Event { like, ..Event::plain(from, to, vec![(notes.pitch[row], false)], 1) });
    }
    events
}

/// From how great a share of common attacks on lines of rhythm are one layer.
const ONE_LAYER: f64 = 0.6;

/// The rows of a rhythm strand as events: lines that strike together are one layer, and each layer stands in a voice of its own, the same from bar to bar, so
/// that quavers and triplets stay what they are.
fn layered_events(
    sounding: &Sounding,
    lines: &Lines,
    roles: &RoleReading,
    rows: &[usize],
    (span, bars): ((Crotchets, Crotchets), &Range<usize>),
) -> Vec<Event> {
    let notes = &sounding.notes;
    let wanted: BTreeSet<usize> = rows.iter().copied().collect();
    let mut voice_of: std::collections::BTreeMap<usize, usize> = std::collections::BTreeMap::new();
    let mut events: Vec<Event> = Vec::new();
    for bar in bars.clone() {
        let Ok(played) = u32::try_from(bar) else { continue };
        // Lines with their attacks, those that strike together gathered.
        let mut layers: Vec<(Vec<usize>, BTreeSet<Crotchets>, Vec<usize>)> = Vec::new();
        for line in all_of(lines, roles, played, Role::Rhythm) {
            let of_line = lines.lines[line].rows.iter().map(|&row| row as usize);
            // What is held into the first bar belongs to it.
            let in_bar = |row: usize| notes.bar[row] == played || bar == bars.start && notes.bar[row] < played;
            let here: Vec<usize> =
                of_line.filter(|row| in_bar(*row) && notes.duration[*row].is_positive() && wanted.contains(row)).collect();
            let onsets: BTreeSet<Crotchets> = here.iter().map(|&row| notes.onset[row].max(span.0)).collect();
            if onsets.is_empty() {
                continue;
            }
            #[allow(clippy::cast_precision_loss)] // attacks of a bar
            let alike = |(_, other, _): &(Vec<usize>, BTreeSet<Crotchets>, Vec<usize>)| {
                let both = other.intersection(&onsets).count();
                both as f64 / (other.len() + onsets.len() - both).max(1) as f64
            };
            let best = (0..layers.len()).max_by(|&a, &b| alike(&layers[a]).total_cmp(&alike(&layers[b])).then(b.cmp(&a)));
            // More layers than voices: to the one most alike.
            match best.filter(|&at| alike(&layers[at]) >= ONE_LAYER || layers.len() == VOICES) {
                Some(at) => {
                    layers[at].0.push(line);
                    layers[at].1.extend(onsets);
                    layers[at].2.extend(here);
                }
                None => layers.push((vec![line], onsets, here)),
            }
        }
        let mut taken = [false; VOICES];
        // Who had a voice in a bar before keeps it.
        let known = |own: &[usize], taken: &[bool; VOICES], voice_of: &std::collections::BTreeMap<usize, usize>| {
            own.iter().filter_map(|line| voice_of.get(line).copied()).find(|&voice| !taken[voice])
        };
        layers.sort_by_key(|(own, onsets, _)| {
            (!own.iter().any(|line| voice_of.contains_key(line)), std::cmp::Reverse(onsets.len()))
        });
        for (own, _, here) in layers {
            let free = || taken.iter().position(|taken| !taken).unwrap_or(VOICES - 1);
            let voice = known(&own, &taken, &voice_of).unwrap_or_else(free);
            taken[voice] = true;
            voice_of.extend(own.iter().map(|line| (*line, voice)));
            let mut tones: Vec<Tone> = here.iter().filter_map(|&row| Tone::of(sounding, row, span)).collect();
            tones.sort_by_key(|tone| (tone.from, tone.pitch.semitones(), std::cmp::Reverse(tone.to)));
            tones.dedup_by_key(|tone| (tone.from, tone.pitch.semitones()));
            let mut own: Vec<Event> = Vec::new();
            for struck in tones.chunk_by(|a, b| a.from == b.from) {
                let from = struck[0].from;
                let to = struck.iter().map(|tone| tone.to).max().unwrap_or(from);
                let pitches = struck.iter().map(|tone| (tone.pitch, false)).collect();
                if let Some(last) = own.last_mut() {
                    last.to = last.to.min(from);
                }
                own.push(Event::plain(from, to, pitches, u16::try_from(voice + 1).unwrap_or(1)));
            }
            events.extend(own);
        }
    }
    events.sort_by_key(|event| (event.voice, event.from));
    for at in 1..events.len() {
        if events[at].voice == events[at - 1].voice {
            let next = events[at].from;
            events[at - 1].to = events[at - 1].to.min(next);
        }
    }
    events
}

/// A pitch of a chord strand and how long it sounds.
#[derive(Debug, Clone, Copy)]
struct Tone {
    from: Crotchets,
    to: Crotchets,
    pitch: Pitch,
}

impl Tone {
    fn of(sounding: &Sounding, row: usize, span: (Crotchets, Crotchets)) -> Option<Self> {
        within(sounding, row, span).map(|(from, to)| Self { from, to, pitch: sounding.notes.pitch[row] })
    }
}

/// Most voices a staff shows.
const VOICES: usize = 4;

/// The rows of a chord strand as chords. Tones that begin and end together are one chord, and chords that overlap stand in different voices, so that every
/// rhythm stays whole; only where four voices do not suffice are they cut into slices and tied.
fn chord_events(sounding: &Sounding, rows: &[usize], span: (Crotchets, Crotchets)) -> Vec<Event> {
    let mut tones: Vec<Tone> = rows.iter().filter_map(|&row| Tone::of(sounding, row, span)).collect();
    tones.sort_by(|a, b| (a.from, b.to, a.pitch.semitones()).cmp(&(b.from, a.to, b.pitch.semitones())));
    // What another player holds longer at the same pitch says nothing more; what is struck again while held does.
    tones.dedup_by(|a, b| a.from == b.from && a.pitch.semitones() == b.pitch.semitones());
    let mut events: Vec<Event> = Vec::new();
    let mut first = 0;
    while first < tones.len() {
        // As far as anything is held over.
        let (mut next, mut end) = (first, tones[first].from);
        while next < tones.len() && (next == first || tones[next].from < end) {
            end = end.max(tones[next].to);
            next += 1;
        }
        events.extend(in_voices(&tones[first..next]).unwrap_or_else(|| sliced(&tones[first..next])));
        first = next;
    }
    events
}

/// Chords of whole tones in as many voices as they need; `None` where these are too many.
fn in_voices(tones: &[Tone]) -> Option<Vec<Event>> {
    // Held and struck again at one pitch: the held one ends where the other begins, as on one string.
    let mut tones = tones.to_vec();
    for at in 0..tones.len() {
        let Tone { from, to, pitch } = tones[at];
        let again = tones[at + 1..].iter().take_while(|other| other.from < to);
        let again =
            again.filter(|other| other.from > from && other.pitch.semitones() == pitch.semitones()).map(|other| other.from).min();
        tones[at].to = again.unwrap_or(to);
    }
    tones.sort_by(|a, b| (a.from, b.to, a.pitch.semitones()).cmp(&(b.from, a.to, b.pitch.semitones())));
    let mut events: Vec<Event> = Vec::new();
    let mut ends: Vec<Crotchets> = Vec::new();
    for chord in tones.chunk_by(|a, b| a.from == b.from && a.to == b.to) {
        let (from, to) = (chord[0].from, chord[0].to);
        // The voice that ends here goes on; else the first that is free.
        let voice = ends
            .iter()
            .position(|&end| end == from)
            .or_else(|| ends.iter().position(|&end| end < from))
            .or_else(|| (ends.len() < VOICES).then_some(ends.len()))?;
        match ends.get_mut(voice) {
            Some(end) => *end = to,
            None => ends.push(to),
        }
        let pitches = chord.iter().map(|tone| (tone.pitch, false)).collect();
        events.push(Event::plain(from, to, pitches, u16::try_from(voice + 1).unwrap_or(1)));
    }
    Some(events)
}

/// One chord for each moment at which any tone begins, held tones tied over.
fn sliced(tones: &[Tone]) -> Vec<Event> {
    let mut onsets: Vec<Crotchets> = tones.iter().map(|tone| tone.from).collect();
    onsets.dedup();
    let mut events: Vec<Event> = Vec::new();
    let mut held: Vec<Tone> = Vec::new();
    let mut begun = 0;
    for (n, &from) in onsets.iter().enumerate() {
        held.retain(|tone| tone.to > from);
        while begun < tones.len() && tones[begun].from <= from {
            held.push(tones[begun]);
            begun += 1;
        }
        let last = held.iter().map(|tone| tone.to).max().unwrap_or(from);
        let to = onsets.get(n + 1).map_or(last, |&next| next.min(last));
        let mut pitches: Vec<(Pitch, bool)> = Vec::new();
        for tone in &held {
            let over = tone.from < from;
            match pitches.iter_mut().find(|(pitch, _)| pitch.semitones() == tone.pitch.semitones()) {
                Some(known) => known.1 &= over,
                None => pitches.push((tone.pitch, over)),
            }
        }
        pitches.sort_by_key(|(pitch, _)| pitch.semitones());
        events.push(Event::plain(from, to, pitches, 1));
    }
    events
}
