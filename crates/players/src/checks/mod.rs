//! The checks, one file a subject. Each looks once along the notes.

mod changes;
mod compass;
mod hands;
mod motion;
mod page;
mod percussion;
mod signs;
mod slide;
mod stamina;
mod strings;
mod timpani;
mod trills;

use std::collections::BTreeSet;

use ripieno_score::{BarIndex, Crotchets};

use crate::kind::{Kind, Severity};
use crate::objection::Objection;
use crate::tempo::Basis;
use crate::view::{PartView, View};

/// Objections found so far.
pub(crate) struct Found<'v, 'a> {
    view: &'v View<'a>,
    objections: Vec<Objection>,
}

/// Runs every check; answers objections of some kinds, or of all where none is named.
pub(crate) fn run(view: &View<'_>, only: &[Kind]) -> Vec<Objection> {
    let mut found = Found { view, objections: Vec::new() };
    for part in &view.parts {
        let slurs = motion::Slurs::new(view, part);
        compass::check(view, part, &mut found);
        motion::check(view, part, &slurs, &mut found);
        stamina::check(view, part, &slurs, &mut found);
        slide::check(view, part, &slurs, &mut found);
        changes::check(view, part, &slurs, &mut found);
        timpani::check(view, part, &mut found);
        hands::check(view, part, &mut found);
        strings::check(view, part, &mut found);
        trills::check(view, part, &mut found);
        percussion::check(view, part, &mut found);
        page::check(view, part, &mut found);
        signs::check(view, part, &mut found);
    }
    signs::keys(view, &mut found);
    let mut objections = found.objections;
    if !only.is_empty() {
        objections.retain(|one| only.contains(&one.kind));
    }
    one_cause(objections)
}

/// Leaves out what only follows from notes that are objected to as written in the wrong octave.
fn one_cause(mut objections: Vec<Objection>) -> Vec<Objection> {
    let misplaced = |one: &Objection| one.kind == Kind::Transposition && !one.notes.is_empty();
    let doubted: BTreeSet<(usize, u32)> =
        objections.iter().filter(|one| misplaced(one)).flat_map(|one| one.notes.iter().map(|note| (one.part, *note))).collect();
    let follows = |one: &Objection| {
        matches!(one.kind, Kind::Register | Kind::ExposedEntry | Kind::SoftRegister | Kind::LoudRegister)
            && !one.notes.is_empty()
            && one.notes.iter().all(|note| doubted.contains(&(one.part, *note)))
    };
    objections.retain(|one| !follows(one));
    objections
}

impl Found<'_, '_> {
    /// Objects to notes, given as rows in order of time; nothing without rows.
    fn rows(
        &mut self,
        (kind, severity): (Kind, Severity),
        part: &PartView<'_>,
        player: Option<u16>,
        rows: &[usize],
        reason: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        let (Some(&first), Some(&last)) = (rows.first(), rows.last()) else { return };
        let bar = self.view.bar(first);
        let last = self.view.last_bar(last).max(bar);
        let mut notes: Vec<u32> = rows.iter().map(|row| self.view.sounding.notes.written[*row]).collect();
        notes.sort_unstable();
        notes.dedup();
        let at = self.view.place(first);
        self.add((kind, severity), part, player, (bar, last, at), notes, reason.into(), remedy.into());
    }

    /// Objects to a place of the page.
    fn place(
        &mut self,
        what: (Kind, Severity),
        part: &PartView<'_>,
        (bar, at): (BarIndex, Crotchets),
        reason: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        self.add(what, part, None, (bar, bar, at), Vec::new(), reason.into(), remedy.into());
    }

    /// Adds the sources of a value to the objection raised last.
    fn sourced(&mut self, codes: &str) {
        let Some(last) = self.objections.last_mut() else { return };
        for code in codes.split('+').filter(|code| !code.is_empty()) {
            if !last.source.split('+').any(|own| own == code) {
                last.source.push('+');
                last.source.push_str(code);
            }
        }
    }

    #[allow(clippy::too_many_arguments)] // one place where an objection is put together
    fn add(
        &mut self,
        (kind, severity): (Kind, Severity),
        part: &PartView<'_>,
        player: Option<u16>,
        (bar, last, at): (BarIndex, BarIndex, Crotchets),
        notes: Vec<u32>,
        mut reason: String,
        remedy: String,
    ) {
        let mut severity = severity;
        if kind.needs_tempo() {
            let basis = self.view.tempo_basis(bar, at);
            reason.push_str(match basis {
                Basis::Number => "",
                Basis::Words if severity != Severity::Fault => "",
                Basis::Words => " (at the playback tempo of the file; the page has words and no number)",
                Basis::Hidden => " (at a playback tempo of the file that no sign prints)",
                Basis::Nothing => " (no tempo is marked here; taken at 120 crotchets a minute)",
            });
            severity = match basis {
                Basis::Number => severity,
                Basis::Words => severity.max(Severity::Caution),
                Basis::Hidden | Basis::Nothing => Severity::Note,
            };
        }
        let source = kind.source().to_owned();
        self.objections.push(Objection {
            kind,
            severity,
            part: part.index,
            player,
            bar,
            last,
            at,
            notes,
            reason,
            remedy,
            source,
        });
    }
}

/// Severity of a time that falls short: below the least a fault, below the comfortable a caution.
fn short_of(seconds: f64, least: f64, comfortable: f64) -> Option<Severity> {
    if seconds < least {
        Some(Severity::Fault)
    } else if seconds < comfortable {
        Some(Severity::Caution)
    } else {
        None
    }
}

/// Windows that overlap or touch, put together: (first, last) indices.
fn passages(windows: impl Iterator<Item = (usize, usize)>) -> Vec<(usize, usize)> {
    let mut found: Vec<(usize, usize)> = Vec::new();
    for (first, last) in windows {
        match found.last_mut() {
            Some(passage) if first <= passage.1 + 1 => passage.1 = passage.1.max(last),
            _ => found.push((first, last)),
        }
    }
    found
}
