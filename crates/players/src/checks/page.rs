//! What stands on the page, or is missing: dynamics, ties, hairpins, who plays, cues.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::Family;
use ripieno_score::{BarIndex, CountReason, Crotchets, DirectionKind, DynamicMark, Mark, Note, NoteFlags, Swell};

use super::Found;
use crate::kind::{Kind, Severity};
use crate::view::{Manner, PartView, View};

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    dynamics(view, part, found);
    hairpins(view, part, found);
    ties(view, part, found);
    if part.manner == Manner::Lines {
        players(view, part, found);
    }
    cues(view, part, found);
}

/// Score time of a place.
fn time(view: &View<'_>, bar: BarIndex, at: Crotchets) -> Crotchets {
    view.score.bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.start) + at
}

/// Bars of rest after which an entry wants its dynamic again.
const AFTER: usize = 8;
/// After so many nobody remembers the last one.
const LONG_AFTER: usize = 16;

fn dynamics(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let mut marked: BTreeSet<Crotchets> = BTreeSet::new();
    for direction in &part.part.directions {
        let says = match &direction.kind {
            DirectionKind::Dynamic(_) | DirectionKind::HairpinStart { .. } => true,
            DirectionKind::Words(text) => is_dynamic(text),
            _ => false,
        };
        if says {
            marked.insert(time(view, direction.bar, direction.at));
        }
    }
    for (index, mark) in &part.part.marks {
        if let (Mark::Dynamic(_), Some(note)) = (mark, part.part.notes.get(*index as usize)) {
            marked.insert(time(view, note.bar, note.at));
        }
    }
    // Each bar of the page with notes of this part, and the first row in it.
    let mut bars: BTreeMap<BarIndex, usize> = BTreeMap::new();
    for row in part.rows().filter(|row| !view.is_grace(*row)) {
        bars.entry(view.bar(row)).or_insert(row);
    }
    let silent = marked.is_empty();
    let unmarked = view.begins_unmarked;
    let mut before: Option<BarIndex> = None;
    for (bar, row) in bars {
        let rest = before.map_or(usize::MAX, |last| bar.at().saturating_sub(last.at() + 1));
        before = before.max(Some(part_last(view, part, bar, row)));
        if rest < AFTER {
            continue;
        }
        let onset = time(view, bar, view.place(row));
        // An upbeat has its dynamic on the downbeat.
        let near = marked.range(onset - Crotchets::ONE..=onset + Crotchets::whole(4)).next().is_some();
        if near {
            continue;
        }
        if view.level_of(row).is_none() {
            // Where most parts begin unmarked it is the custom of the score.
            let severity =
                if silent || unmarked || part.instrument.family == Family::Voice { Severity::Note } else { Severity::Fault };
            found.rows(
                (Kind::NoDynamic, severity),
                part,
                None,
                &[row],
                "an entry before any dynamic of the part",
                "Write a dynamic at the entry",
            );
            if silent {
                return;
            }
        } else if rest != usize::MAX {
            let reason = format!("an entry without a dynamic after {rest} bars of rest");
            let said = part.instrument.family == Family::Voice || rest < LONG_AFTER;
            let severity = if said { Severity::Note } else { Severity::Caution };
            found.rows((Kind::NoDynamic, severity), part, None, &[row], reason, "Write the dynamic again at the entry");
        }
    }
}

/// The last bar into which the notes of a bar sound; long notes count to their end.
fn part_last(view: &View<'_>, part: &PartView<'_>, bar: BarIndex, row: usize) -> BarIndex {
    let end = part.rows().end;
    (row..end).take_while(|row| view.bar(*row) == bar).map(|row| view.last_bar(row)).max().unwrap_or(bar)
}

fn is_dynamic(text: &str) -> bool {
    let lower = text.to_lowercase();
    // What says how to play says how loud as well.
    let manner = ["dolce", "espr", "cantab", "marc", "legg", "tranq", "grazios", "zart", "ausdruck", "doux"];
    manner.iter().any(|word| lower.contains(word))
        || ["cresc", "dim", "decresc", "piano", "forte", "sempre p", "sempre f", "più", "meno", "sotto voce", "mezza voce"]
            .iter()
            .any(|word| lower.contains(word))
        || lower
            .split(|c: char| !c.is_alphabetic())
            .any(|word| !word.is_empty() && word.len() <= 4 && word.chars().all(|c| matches!(c, 'p' | 'f' | 'm' | 's' | 'z')))
}

fn hairpins(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    // (staff, time, level) of lasting marks.
    let mut levels: Vec<(u8, Crotchets, f32)> = Vec::new();
    let mut stresses: Vec<(u8, Crotchets)> = Vec::new();
    let mut put = |staff: u8, at: Crotchets, mark: &DynamicMark| match mark {
        DynamicMark::Level(level) => levels.push((staff, at, level.0)),
        DynamicMark::AttackThen(_, level) => {
            levels.push((staff, at, level.0));
            stresses.push((staff, at));
        }
        DynamicMark::Attack(_) | DynamicMark::Other(_) => stresses.push((staff, at)),
    };
    for direction in &part.part.directions {
        if let DirectionKind::Dynamic(mark) = &direction.kind {
            put(direction.staff, time(view, direction.bar, direction.at), mark);
        }
    }
    for (index, mark) in &part.part.marks {
        if let (Mark::Dynamic(mark), Some(note)) = (mark, part.part.notes.get(*index as usize)) {
            put(note.staff, time(view, note.bar, note.at), mark);
        }
    }
    levels.sort_by_key(|level| (level.0, level.1));
    stresses.sort_unstable();
    // Where the loudness changes otherwise: no mark before such a place tells the level after it.
    let mut swells: Vec<(u8, Crotchets)> = Vec::new();
    let mut open: BTreeMap<u8, Vec<Hairpin>> = BTreeMap::new();
    let mut closed: Vec<(Hairpin, Crotchets)> = Vec::new();
    for direction in &part.part.directions {
        let at = time(view, direction.bar, direction.at);
        match &direction.kind {
            DirectionKind::HairpinStart { swell, number, dashes, .. } => {
                swells.push((direction.staff, at));
                let place = (direction.bar, direction.at);
                open.entry(*number).or_default().push(Hairpin {
                    place,
                    start: at,
                    swell: *swell,
                    staff: direction.staff,
                    dashes: *dashes,
                });
            }
            DirectionKind::HairpinStop { number, .. } => {
                if let Some(hairpin) = open.get_mut(number).and_then(Vec::pop) {
                    closed.push((hairpin, at));
                }
            }
            DirectionKind::Words(text) if swells_in_words(text) => swells.push((direction.staff, at)),
            _ => {}
        }
    }
    for hairpin in open.into_values().flatten() {
        // Some exporters write the same hairpin once for each voice and end it once.
        let twice = closed.iter().any(|(other, _)| (other.start, other.swell) == (hairpin.start, hairpin.swell));
        // Dashes after a word need no end.
        if !twice && !hairpin.dashes {
            let reason = "a hairpin that never ends";
            found.place(
                (Kind::HairpinOpen, Severity::Fault),
                part,
                hairpin.place,
                reason,
                "End it, and write the dynamic it leads to",
            );
        }
    }
    swells.sort_unstable();
    let mut spans: Vec<(u8, Swell, Crotchets, Crotchets)> =
        closed.iter().map(|(hairpin, end)| (hairpin.staff, hairpin.swell, hairpin.start, *end)).collect();
    spans.sort_by_key(|span| span.2);
    for (hairpin, end) in closed {
        let staff = hairpin.staff;
        // Two hairpins over each other are a swell and its fall, drawn too long.
        let near = spans.partition_point(|span| span.2 < hairpin.start - RECENT)..;
        let over = |(own, swell, from, to): &(u8, Swell, Crotchets, Crotchets)| {
            *own == staff && *swell != hairpin.swell && *from < end && *to > hairpin.start
        };
        if spans[near].iter().take_while(|span| span.2 < end).any(over) {
            continue;
        }
        let until = levels.partition_point(|level| (level.0, level.1) <= (staff, hairpin.start));
        let Some(before) = levels[..until].last().filter(|level| level.0 == staff) else { continue };
        let after = levels.get(levels.partition_point(|level| (level.0, level.1) < (staff, end)));
        let near = end + Crotchets::new(1, 2).unwrap_or_default();
        let Some(after) = after.filter(|level| level.0 == staff && level.1 <= near) else { continue };
        // A mark long ago says little about now, and a stress at either end is no level.
        let first = stresses.partition_point(|stress| *stress < (staff, hairpin.start));
        let stressed = stresses.get(first).is_some_and(|stress| *stress <= (staff, near));
        if stressed || before.1 + RECENT < hairpin.start {
            continue;
        }
        let first = swells.partition_point(|swell| *swell < (staff, before.1));
        let between = swells.get(first).is_some_and(|swell| *swell < (staff, hairpin.start));
        let against = match hairpin.swell {
            Swell::Crescendo => after.2 < before.2,
            Swell::Diminuendo => after.2 > before.2,
        };
        if against && !between && plays_on(view, part, (before.1, hairpin.start)) {
            let what = if hairpin.swell == Swell::Crescendo { "crescendo" } else { "diminuendo" };
            let mark = |level: f32| ripieno_score::DynamicLevel(level).mark();
            let reason = format!("a {what} from {} to {}", mark(before.2), mark(after.2));
            let remedy = "If it is a sudden change, write “subito”; otherwise turn the hairpin or mend the mark";
            found.place((Kind::HairpinContradicted, Severity::Caution), part, hairpin.place, reason, remedy);
        }
    }
}

/// Whether a part plays in every bar of a span: after a rest nobody begins at the level of before.
fn plays_on(view: &View<'_>, part: &PartView<'_>, (from, to): (Crotchets, Crotchets)) -> bool {
    let bar = |at: Crotchets| view.score.bars.partition_point(|bar| bar.start <= at).saturating_sub(1);
    (bar(from)..=bar(to)).all(|bar| {
        let bar = BarIndex(u32::try_from(bar).unwrap_or(u32::MAX));
        part.part.notes_in(bar).iter().any(Note::plays)
    })
}

/// How far back a mark still tells the level at which a hairpin begins.
const RECENT: Crotchets = Crotchets::whole(16);

/// A hairpin or the dashes of "cresc. - - -".
struct Hairpin {
    place: (BarIndex, Crotchets),
    start: Crotchets,
    swell: Swell,
    staff: u8,
    dashes: bool,
}

fn swells_in_words(text: &str) -> bool {
    let lower = text.to_lowercase();
    ["cresc", "dim", "decresc", "morendo", "calando", "smorz"].iter().any(|word| lower.contains(word))
}

fn ties(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let notes = &part.part.notes;
    let starts: BTreeSet<(Crotchets, i32)> =
        notes.iter().filter_map(|note| Some((time(view, note.bar, note.at), note.pitch()?.semitones()))).collect();
    for note in notes
        .iter()
        .filter(|note| note.plays() && note.flags.contains(NoteFlags::TIE_START) && !note.flags.contains(NoteFlags::GRACE))
    {
        let Some(pitch) = note.pitch() else { continue };
        let end = time(view, note.bar, note.at) + note.duration;
        if starts.contains(&(end, pitch.semitones())) {
            continue;
        }
        // Over a repeat sign or out of an ending the tie leads elsewhere.
        let bar = &view.score.bars[note.bar.at()];
        let turns = bar.repeat_end.is_some() || bar.ending_stop || !bar.jumps.is_empty();
        if turns && end >= bar.start + bar.length {
            continue;
        }
        let reason = format!("the tie on {pitch} leads to no {pitch}");
        found.place(
            (Kind::TieOpen, Severity::Fault),
            part,
            (note.bar, note.at),
            reason,
            "Tie it to the same note, or make it a slur or “l.v.”",
        );
    }
}

fn players(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let notes = &view.sounding.notes;
    for strand in &part.strands {
        for event in strand.events.iter().filter(|event| !event.chord.is_empty() && !view.is_grace(event.row)) {
            let rows: Vec<usize> = event.rows().filter(|row| !view.is_grace(*row)).collect();
            let mut keys: Vec<Option<u8>> = rows.iter().map(|row| view.key(*row)).collect();
            keys.sort_unstable();
            keys.dedup();
            if keys.len() > 1 {
                let names: Vec<String> = rows.iter().map(|row| view.name(*row)).collect();
                let reason = format!("{} at once for one player", names.join(" "));
                found.rows(
                    (Kind::TooManyNotes, Severity::Fault),
                    part,
                    strand.player,
                    &rows,
                    reason,
                    "Say how many play from this staff, or leave a note out",
                );
            }
        }
    }
    let rows: Vec<usize> = part.rows().filter(|row| !view.is_grace(*row)).collect();
    for run in rows.chunk_by(|a, b| {
        (notes.players_reason[*a] == CountReason::Unsettled) == (notes.players_reason[*b] == CountReason::Unsettled)
    }) {
        if notes.players_reason[run[0]] == CountReason::Unsettled {
            let reason = format!("one line for {} players and no mark says who plays", part.part.players.most);
            found.rows((Kind::PlayersOpen, Severity::Note), part, None, run, reason, "Write “1.”, “2.” or “a 2”");
        }
    }
}

/// Bars of rest that want a cue, and how far before the entry it stands.
const CUE_AFTER: u32 = 20;
const CUE_BEFORE: u32 = 3;

fn cues(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    // A full score has none; they are written into the parts.
    if view.score.parts.len() > 1 {
        return;
    }
    let mut before: Option<u32> = None;
    let mut bars: BTreeMap<u32, usize> = BTreeMap::new();
    // Until which bar anything that begins in a bar is held.
    let mut held: BTreeMap<u32, u32> = BTreeMap::new();
    for row in part.rows() {
        let bar = view.bar(row).0;
        bars.entry(bar).or_insert(row);
        let until = held.entry(bar).or_default();
        *until = (*until).max(view.last_bar(row).0);
    }
    for (bar, row) in bars {
        let rest = before.map_or(bar, |last| bar.saturating_sub(last + 1));
        before = before.max(held.get(&bar).copied()).max(Some(bar));
        if rest < CUE_AFTER {
            continue;
        }
        let first = bar.saturating_sub(CUE_BEFORE);
        let cued =
            (first..=bar).any(|bar| part.part.notes_in(BarIndex(bar)).iter().any(|note| note.flags.contains(NoteFlags::CUE)));
        if !cued {
            let reason = format!("{rest} bars of rest before {} and no cue", view.name(row));
            found.rows(
                (Kind::Cue, Severity::Note),
                part,
                None,
                &[row],
                reason,
                "Put a cue of something prominent into the part, in its own key",
            );
        }
    }
}
