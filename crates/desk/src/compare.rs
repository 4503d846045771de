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
use ripieno_study::{Comparison, Difference, Kind, Options, Profile, Side, Whom, analyse_file, compare, versions};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::api::{bad, blocking};
use crate::desk::{Desk, Open, no_score};
use crate::failure::{Failure, Outcome};
use crate::shelf::{SmallRow, role_map};
use crate::studied::limits;
use crate::versions::{Changed, changes};
use crate::view::Cited;

/// Scores on both sides together.
const MOST_SCORES: usize = 24;

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
}

/// Profiles held.
const MOST_PROFILES: usize = 48;

impl Profiles {
    fn known(&self, kept: &Kept, in_stretches: bool) -> Option<Arc<Profile>> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = held.get(&kept.score)?;
        (taken.stamp == kept.stamp && (taken.in_stretches || !in_stretches)).then(|| Arc::clone(&taken.profile))
    }

    fn hold(&self, kept: &Kept, in_stretches: bool, profile: Profile) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        while held.len() >= MOST_PROFILES {
            // The lowest number first: most likely of another comparison than the one being measured.
            let Some(oldest) = held.keys().next().copied() else { break };
            held.remove(&oldest);
        }
        held.insert(kept.score, Taken { stamp: kept.stamp.clone(), in_stretches, profile: Arc::new(profile) });
    }
}

#[derive(Debug, Deserialize, IntoParams)]
pub(crate) struct Sides {
    /// Numbers of the scores of the one side, with points between them: "1.4".
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
}

/// One side.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct SideOf {
    works: usize,
    scores: Vec<Compared>,
}

/// Bars of a score that show a value.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Shown {
    score: i64,
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
    let (a, b) = (numbers(&sides.a)?, numbers(&sides.b)?);
    if a.len() + b.len() > MOST_SCORES {
        return Err(Failure::refused(format!(
            "at most {MOST_SCORES} scores are laid side by side here; `ripieno compare` takes folders"
        )));
    }
    let reader = desk.reader()?;
    let kept = |scores: &[i64]| -> Outcome<Vec<Kept>> {
        scores.iter().map(|&score| reader.kept(score)?.ok_or_else(|| no_score(score))).collect()
    };
    let (kept_a, kept_b) = (kept(&a)?, kept(&b)?);
    let of_side = |kept: &[Kept]| kept.len() < SET;
    let all: Vec<(&Kept, bool)> =
        [&kept_a, &kept_b].into_iter().flat_map(|side| side.iter().map(|one| (one, of_side(side)))).collect();
    let missing: Vec<&(&Kept, bool)> =
        all.iter().filter(|(one, stretched)| desk.profiles.known(one, *stretched).is_none()).collect();
    if let Some((one, stretched)) = missing.first() {
        let profile = measured(desk, one, *stretched)?;
        desk.profiles.hold(one, *stretched, profile);
        if let Some((next, _)) = missing.get(1) {
            let told = Measuring { done: all.len() - missing.len() + 1, total: all.len(), next: next.title.clone() };
            return Ok((StatusCode::ACCEPTED, Json(told)).into_response());
        }
    }
    let profile = |kept: &[Kept]| -> Outcome<Profile> {
        let known: Option<Vec<Profile>> =
            kept.iter().map(|one| desk.profiles.known(one, of_side(kept)).map(|profile| (*profile).clone())).collect();
        let known = known.ok_or_else(|| Failure::new(StatusCode::CONFLICT, "a score has changed meanwhile; ask again"))?;
        Ok(Profile::gather("", &known))
    };
    let (profile_a, profile_b) = (profile(&kept_a)?, profile(&kept_b)?);
    let groups: Vec<String> = Some(sides.group.trim().to_lowercase()).filter(|group| !group.is_empty()).into_iter().collect();
    let bodies = || [&profile_a, &profile_b].into_iter().flat_map(|profile| &profile.rows).map(|row| &row.key.of);
    if let Some(group) = groups.iter().find(|group| !bodies().any(|whom| whom.belongs_to(group))) {
        return Err(Failure::refused(format!("neither side has “{group}”")));
    }
    let (same_piece, changes) = match (kept_a.as_slice(), kept_b.as_slice()) {
        ([old], [new]) if old.score != new.score => {
            let (old, new) = (studied(desk, old)?, studied(desk, new)?);
            let found = versions(&old.study, &new.study);
            let same = found.is_same_piece();
            (same, if same { changes(&old.study, &new.study, &found) } else { Vec::new() })
        }
        _ => (false, Vec::new()),
    };
    let found = compare(&profile_a, &profile_b, &Options { groups, same_piece });
    let side = |profile: &Profile, kept: &[Kept]| -> Outcome<SideOf> {
        let scores = kept.iter().map(|one| {
            let entry = profile.scores.iter().find(|entry| entry.file == one.path);
            Ok(Compared {
                score: one.score,
                title: one.title.clone(),
                composers: one.composers.clone(),
                bars: entry.map(|entry| entry.printed.iter().take(MOST_BARS).cloned().collect()).unwrap_or_default(),
                map: role_map(&reader, one, MOST_BARS)?,
            })
        });
        Ok(SideOf { works: profile.works(), scores: scores.collect::<Outcome<_>>()? })
    };
    let answer = SideBySide {
        rows: rows(&found, (&profile_a, &kept_a), (&profile_b, &kept_b)),
        judged: found.judged(),
        clear: found.clear(),
        only_a: sections(&found.bodies_only_a),
        only_b: sections(&found.bodies_only_b),
        a: side(&profile_a, &kept_a)?,
        b: side(&profile_b, &kept_b)?,
        same_piece,
        changes,
    };
    Ok(Json(answer).into_response())
}

/// Numbers with points between them.
fn numbers(text: &str) -> Outcome<Vec<i64>> {
    let mut numbers: Vec<i64> = Vec::new();
    for word in text.split('.') {
        let number =
            word.parse().map_err(|_| Failure::refused("name the scores of each side by their numbers, such as a=1.4"))?;
        if !numbers.contains(&number) {
            numbers.push(number);
        }
    }
    Ok(numbers)
}

/// The study of a score; it is held open, as whoever compares will look into it.
fn studied(desk: &Desk, kept: &Kept) -> Outcome<Arc<Open>> {
    if let Some(open) = desk.open(kept.score) {
        return Ok(open);
    }
    let study = analyse_file(Path::new(&kept.path), &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    Ok(desk.hold(kept.score, study))
}

fn measured(desk: &Desk, kept: &Kept, in_stretches: bool) -> Outcome<Profile> {
    let mut profile = studied(desk, kept)?.study.profile(in_stretches);
    for score in &mut profile.scores {
        // Files of one name in different folders are different files.
        score.file.clone_from(&kept.path);
    }
    Ok(profile)
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
        let score = kept.iter().find(|kept| kept.path == entry.file)?.score;
        let mut longest = evidence.bars.clone();
        longest.sort_by_key(|span| (std::cmp::Reverse(span.1 - span.0), span.0));
        longest.truncate(STRETCHES);
        longest.sort_unstable();
        let text = profile.cite(evidence.score, &longest);
        let count = evidence.bars.iter().map(|span| span.1 - span.0 + 1).sum();
        let spans = longest.iter().map(|span| [span.0, span.1]).collect();
        Some(Shown { score, value: evidence.value, bars: Cited { text, spans }, count })
    };
    side.evidence.iter().take(4).filter_map(one).collect()
}
