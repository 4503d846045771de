//! Scores side by side: who has which role, and what differs, largest clear difference first.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use ripieno_library::Kept;
use ripieno_pictures::Band;
use ripieno_report::{Register, register_bands};
use ripieno_study::{Comparison, Difference, Kind, Options, Profile, Side, Study, Whom, analyse_file, compare, versions};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::api::{bad, blocking};
use crate::desk::{Desk, Open, no_score};
use crate::failure::{Failure, Outcome};
use crate::profiles::SavedProfile;
use crate::shelf::{SmallRow, role_map};
use crate::studied::limits;
use crate::versions::{Changed, changes};
use crate::view::Cited;

/// Scores on both sides together.
const MOST_SCORES: usize = 24;

/// Saved profiles on one side.
const MOST_SAVED: usize = 3;

/// Differences told.
const MOST_ROWS: usize = 200;

/// Fewest scores of a side that need not be measured in stretches: with so many there is a spread between works, or between movements.
const SET: usize = 4;

/// Bars drawn of a score.
const MOST_BARS: usize = 4000;

/// Stretches of bars told of a score, the longest.
const STRETCHES: usize = 6;

/// Profiles taken before, by score.
#[derive(Debug, Default)]
pub(crate) struct Profiles(Mutex<BTreeMap<i64, Taken>>);

#[derive(Debug)]
struct Taken {
    /// Of what it was taken from.
    stamp: String,
    in_stretches: bool,
    profile: Arc<Profile>,
    drawn: Arc<Drawn>,
}

/// What is drawn of a score beside its roles, kept with its profile: a score that has been measured need not be studied again to be shown.
#[derive(Debug, Default)]
struct Drawn {
    rehearsal: Vec<MarkAt>,
    register: Vec<FamilyBand>,
}

impl Drawn {
    fn of(study: &Study) -> Self {
        let marks = study.rehearsal_marks().into_iter();
        let chart = register_bands(study, 0..study.sounding.bars.len(), Register::Families);
        let band = |band: Band| FamilyBand {
            from: band.steps.iter().map(|step| step.from).collect(),
            to: band.steps.iter().map(|step| step.to).collect(),
            low: band.steps.iter().map(|step| step.low).collect(),
            high: band.steps.iter().map(|step| step.high).collect(),
            family: band.label,
        };
        Self {
            rehearsal: marks.map(|(bar, text)| MarkAt { bar, text }).collect(),
            register: chart.bands.into_iter().map(band).collect(),
        }
    }
}

/// Profiles held.
const MOST_PROFILES: usize = 48;

impl Profiles {
    fn known(&self, kept: &Kept, in_stretches: bool) -> Option<Arc<Profile>> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = held.get(&kept.score)?;
        (taken.stamp == kept.stamp && (taken.in_stretches || !in_stretches)).then(|| Arc::clone(&taken.profile))
    }

    fn drawn(&self, score: i64) -> Arc<Drawn> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        held.get(&score).map(|taken| Arc::clone(&taken.drawn)).unwrap_or_default()
    }

    fn hold(&self, kept: &Kept, in_stretches: bool, profile: Profile, drawn: Drawn) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        while held.len() >= MOST_PROFILES {
            // The lowest number first: most likely of another comparison than the one being measured.
            let Some(oldest) = held.keys().next().copied() else { break };
            held.remove(&oldest);
        }
        held.insert(
            kept.score,
            Taken { stamp: kept.stamp.clone(), in_stretches, profile: Arc::new(profile), drawn: Arc::new(drawn) },
        );
    }
}

#[derive(Debug, Deserialize, IntoParams)]
pub(crate) struct Sides {
    /// Numbers of the scores of the one side, with points between them, and of saved profiles with a p before them: "1.4.p2".
    a: String,
    /// Those of the other side.
    b: String,
    /// Only differences about this family, section or instrument.
    #[serde(default)]
    group: String,
}

/// How far the measuring of scores is.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Measuring {
    done: usize,
    total: usize,
    /// The score measured next.
    next: String,
}

/// A score of a comparison.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Compared {
    score: i64,
    title: String,
    composers: String,
    /// What each bar is called.
    bars: Vec<String>,
    /// A role for each bar, a row for each section.
    map: Vec<SmallRow>,
    /// Rehearsal marks.
    rehearsal: Vec<MarkAt>,
    /// How high and low each family sounds over the bars.
    register: Vec<FamilyBand>,
}

/// A rehearsal mark.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct MarkAt {
    /// The bar, from 0.
    bar: u32,
    text: String,
}

/// Lowest and highest key of a family from one place to another, in bars: 3.5 is the middle of the fourth.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct FamilyBand {
    family: String,
    from: Vec<f64>,
    to: Vec<f64>,
    low: Vec<u8>,
    high: Vec<u8>,
}

/// One side.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct SideOf {
    works: usize,
    scores: Vec<Compared>,
    /// Saved profiles, whose scores are counted and not drawn.
    profiles: Vec<SavedProfile>,
}

/// Bars of a score that show a value.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Shown {
    /// The score's number; 0 for one of a saved profile, which is not on the shelf.
    score: i64,
    title: String,
    value: f64,
    /// The longest stretches.
    bars: Cited,
    /// Bars in all.
    count: u32,
}

/// A difference.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct DifferenceRow {
    /// "trumpets", "trumpets with trombones".
    bodies: String,
    /// The family; empty for the whole score.
    family: String,
    /// "role shares".
    measure: String,
    /// "melody".
    aspect: String,
    /// "share of bars".
    unit: String,
    is_share: bool,
    a: f64,
    b: f64,
    /// B less A on the scale named.
    effect: f64,
    scale: String,
    /// "clear of noise", "within noise", "noise not known".
    standing: String,
    /// "one work each", "few works: 2 and 3".
    sample: String,
    /// Whether it is among the first to read.
    is_leading: bool,
    a_shown: Vec<Shown>,
    b_shown: Vec<Shown>,
}

/// Scores side by side.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct SideBySide {
    a: SideOf,
    b: SideOf,
    /// Differences, clear ones first; at most 200.
    rows: Vec<DifferenceRow>,
    /// How many rows could be judged, and how many of them are clear of noise.
    judged: usize,
    clear: usize,
    /// Bodies that sound only on one side.
    only_a: Vec<String>,
    only_b: Vec<String>,
    /// Whether they are two versions of one piece; then what has changed from A to B.
    same_piece: bool,
    changes: Vec<Changed>,
}

/// Lay scores side by side; 202 while they are being measured, one at each call
#[utoipa::path(get, path = "/api/compare", params(Sides), responses((status = 200, body = SideBySide), (status = 202, body = Measuring), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn side_by_side(State(desk): State<Desk>, sides: Result<Query<Sides>, QueryRejection>) -> Outcome<Response> {
    let Query(sides) = sides.map_err(bad)?;
    let turn = Arc::clone(&desk.turns).acquire_owned().await.map_err(|_| Failure::machine("the desk is being closed"))?;
    blocking(move || {
        // The turn is kept until the work is done, also where nobody waits for it any more.
        let _turn = turn;
        laid(&desk, &sides)
    })
    .await
}

fn laid(desk: &Desk, sides: &Sides) -> Outcome<Response> {
    let (a, b) = (members(&sides.a)?, members(&sides.b)?);
    if a.scores.len() + b.scores.len() > MOST_SCORES {
        return Err(Failure::refused(format!(
            "at most {MOST_SCORES} scores are laid side by side here; `ripieno profile` makes one of folders, which can be added as a side"
        )));
    }
    let reader = desk.reader()?;
    let kept = |scores: &[i64]| -> Outcome<Vec<Kept>> {
        scores.iter().map(|&score| reader.kept(score)?.ok_or_else(|| no_score(score))).collect()
    };
    let (kept_a, kept_b) = (kept(&a.scores)?, kept(&b.scores)?);
    let of_side = |kept: &[Kept]| kept.len() < SET;
    let all: Vec<(&Kept, bool)> =
        [&kept_a, &kept_b].into_iter().flat_map(|side| side.iter().map(|one| (one, of_side(side)))).collect();
    let missing: Vec<&(&Kept, bool)> =
        all.iter().filter(|(one, stretched)| desk.profiles.known(one, *stretched).is_none()).collect();
    if let Some((one, stretched)) = missing.first() {
        let (profile, drawn) = measured(desk, one, *stretched)?;
        desk.profiles.hold(one, *stretched, profile, drawn);
        if let Some((next, _)) = missing.get(1) {
            let told = Measuring { done: all.len() - missing.len() + 1, total: all.len(), next: next.title.clone() };
            return Ok((StatusCode::ACCEPTED, Json(told)).into_response());
        }
    }
    let profile = |kept: &[Kept], saved: &[i64]| -> Outcome<Profile> {
        let known: Option<Vec<Profile>> =
            kept.iter().map(|one| desk.profiles.known(one, of_side(kept)).map(|profile| (*profile).clone())).collect();
        let mut known = known.ok_or_else(|| Failure::new(StatusCode::CONFLICT, "a score has changed meanwhile; ask again"))?;
        for &one in saved {
            known.push((*desk.saved_profiles.get(one)?).clone());
        }
        Ok(Profile::gather("", &known))
    };
    let (profile_a, profile_b) = (profile(&kept_a, &a.saved)?, profile(&kept_b, &b.saved)?);
    let groups: Vec<String> = Some(sides.group.trim().to_lowercase()).filter(|group| !group.is_empty()).into_iter().collect();
    let bodies = || [&profile_a, &profile_b].into_iter().flat_map(|profile| &profile.rows).map(|row| &row.key.of);
    if let Some(group) = groups.iter().find(|group| !bodies().any(|whom| whom.belongs_to(group))) {
        return Err(Failure::refused(format!("neither side has “{group}”")));
    }
    let (same_piece, changes) = match (kept_a.as_slice(), kept_b.as_slice()) {
        ([old], [new]) if old.score != new.score && a.saved.is_empty() && b.saved.is_empty() => {
            let (old, new) = (studied(desk, old)?, studied(desk, new)?);
            let found = versions(&old.study, &new.study);
            let same = found.is_same_piece();
            (same, if same { changes(&old.study, &new.study, &found) } else { Vec::new() })
        }
        _ => (false, Vec::new()),
    };
    let found = compare(&profile_a, &profile_b, &Options { groups, same_piece });
    let side = |profile: &Profile, kept: &[Kept], saved: &[i64]| -> Outcome<SideOf> {
        let scores = kept.iter().map(|one| {
            let entry = profile.scores.iter().find(|entry| entry.file == one.path);
            let drawn = desk.profiles.drawn(one.score);
            Ok(Compared {
                score: one.score,
                title: one.title.clone(),
                composers: one.composers.clone(),
                bars: entry.map(|entry| entry.printed.iter().take(MOST_BARS).cloned().collect()).unwrap_or_default(),
                map: role_map(&reader, one, MOST_BARS)?,
                rehearsal: drawn.rehearsal.clone(),
                register: drawn.register.clone(),
            })
        });
        let profiles = saved.iter().map(|&one| desk.saved_profiles.named(one)).collect::<Outcome<_>>()?;
        Ok(SideOf { works: profile.works(), scores: scores.collect::<Outcome<_>>()?, profiles })
    };
    let answer = SideBySide {
        rows: rows(&found, (&profile_a, &kept_a), (&profile_b, &kept_b)),
        judged: found.judged(),
        clear: found.clear(),
        only_a: sections(&found.bodies_only_a),
        only_b: sections(&found.bodies_only_b),
        a: side(&profile_a, &kept_a, &a.saved)?,
        b: side(&profile_b, &kept_b, &b.saved)?,
        same_piece,
        changes,
    };
    Ok(Json(answer).into_response())
}

/// Who is on a side.
#[derive(Debug, Default, PartialEq, Eq)]
struct Members {
    scores: Vec<i64>,
    /// Saved profiles.
    saved: Vec<i64>,
}

/// Numbers with points between them, those of saved profiles with a p.
fn members(text: &str) -> Outcome<Members> {
    let mut members = Members::default();
    for word in text.split('.') {
        let (list, digits) = match word.strip_prefix('p') {
            Some(digits) => (&mut members.saved, digits),
            None => (&mut members.scores, word),
        };
        let said = "name the scores of each side by their numbers, and saved profiles with a p, such as a=1.4.p2";
        let number = digits.parse().map_err(|_| Failure::refused(said))?;
        if !list.contains(&number) {
            list.push(number);
        }
    }
    if members.saved.len() > MOST_SAVED {
        return Err(Failure::refused(format!("at most {MOST_SAVED} saved profiles stand on a side")));
    }
    Ok(members)
}

/// The study of a score; it is held open, as whoever compares will look into it.
fn studied(desk: &Desk, kept: &Kept) -> Outcome<Arc<Open>> {
    if let Some(open) = desk.open(kept.score) {
        return Ok(open);
    }
    let study = analyse_file(Path::new(&kept.path), &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    Ok(desk.hold(kept.score, study))
}

fn measured(desk: &Desk, kept: &Kept, in_stretches: bool) -> Outcome<(Profile, Drawn)> {
    let open = studied(desk, kept)?;
    let mut profile = open.study.profile(in_stretches);
    for score in &mut profile.scores {
        // Files of one name in different folders are different files.
        score.file.clone_from(&kept.path);
    }
    Ok((profile, Drawn::of(&open.study)))
}

fn sections(bodies: &[Whom]) -> Vec<String> {
    bodies.iter().filter(|whom| whom.kind == Kind::Section).map(Whom::spoken).collect()
}

fn rows(found: &Comparison, a: (&Profile, &[Kept]), b: (&Profile, &[Kept])) -> Vec<DifferenceRow> {
    let leading: Vec<*const Difference> = found.leading(24).into_iter().map(std::ptr::from_ref).collect();
    let row = |row: &Difference| {
        let key = &row.key;
        DifferenceRow {
            bodies: key
                .with
                .as_ref()
                .map_or_else(|| key.of.spoken(), |with| format!("{} with {}", key.of.spoken(), with.spoken())),
            family: if key.of.kind == Kind::Family { key.of.name.clone() } else { key.of.family.clone() },
            measure: key.measure.replace('_', " "),
            aspect: key.aspect.clone(),
            unit: key.unit.name().to_owned(),
            is_share: key.unit.is_share(),
            a: row.a.pooled.mean,
            b: row.b.pooled.mean,
            effect: row.effect.size,
            scale: row.effect.scale.name().to_owned(),
            standing: row.effect.standing.name().to_owned(),
            sample: row.sample(),
            is_leading: leading.contains(&std::ptr::from_ref(row)),
            a_shown: shown(&row.a, a),
            b_shown: shown(&row.b, b),
        }
    };
    let (first, rest): (Vec<&Difference>, Vec<&Difference>) =
        found.rows.iter().partition(|row| leading.contains(&std::ptr::from_ref(*row)));
    first.into_iter().chain(rest).take(MOST_ROWS).map(row).collect()
}

/// The scores that show a side most plainly, with their longest stretches in order.
fn shown(side: &Side, (profile, kept): (&Profile, &[Kept])) -> Vec<Shown> {
    let one = |evidence: &ripieno_study::Evidence| {
        let entry = profile.scores.get(evidence.score)?;
        // Scores of a saved profile are told by name; they need not be on the shelf.
        let score = kept.iter().find(|kept| kept.path == entry.file).map_or(0, |kept| kept.score);
        let mut longest = evidence.bars.clone();
        longest.sort_by_key(|span| (std::cmp::Reverse(span.1 - span.0), span.0));
        longest.truncate(STRETCHES);
        longest.sort_unstable();
        let text = profile.cite(evidence.score, &longest);
        let count = evidence.bars.iter().map(|span| span.1 - span.0 + 1).sum();
        let spans = longest.iter().map(|span| [span.0, span.1]).collect();
        Some(Shown { score, title: entry.title.clone(), value: evidence.value, bars: Cited { text, spans }, count })
    };
    side.evidence.iter().take(4).filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_are_numbers_and_profiles() {
        let read = |text: &str| members(text).ok();
        assert_eq!(read("1.4.p2.4"), Some(Members { scores: vec![1, 4], saved: vec![2] }));
        assert_eq!(read("p1"), Some(Members { scores: Vec::new(), saved: vec![1] }));
        for wrong in ["", "1..2", "x", "p", "p1.p2.p3.p4", "1,2"] {
            assert_eq!(read(wrong), None, "{wrong:?}");
        }
    }
}
