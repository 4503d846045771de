//! Profiles saved by `ripieno profile`: the practice of many scores in one file, kept beside the library to be compared with and written after.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::collections::VecDeque;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, PathRejection, QueryRejection};
use axum::extract::{Path as InPath, Query, State};
use axum::http::StatusCode;
use ripieno_study::Profile;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{Named, bad, blocking, bytes_of, number};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::studied::MOST_BYTES;

/// Profiles kept, and those held in memory: one of fifty scores takes twenty megabytes.
const MOST_KEPT: usize = 64;
const MOST_HELD: usize = 3;
/// The file with the highest number given so far.
const LAST: &str = "last";

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(list_profiles, add_profile)).routes(routes!(remove_profile))
}

/// A saved profile among others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct SavedProfile {
    pub profile: i64,
    pub name: String,
    pub works: usize,
    pub scores: usize,
}

/// What is told of a profile, in a small file beside it, so that a list need not read twenty megabytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Told {
    name: String,
    works: usize,
    scores: usize,
}

/// The profiles beside a library: `library.db` has `library-profiles/N.json`.
#[derive(Debug)]
pub(crate) struct SavedProfiles {
    folder: PathBuf,
    held: Mutex<VecDeque<(i64, Arc<Profile>)>>,
    /// One at a time is added.
    adding: Mutex<()>,
}

impl SavedProfiles {
    pub(crate) fn beside(library: &Path) -> Self {
        let stem = library.file_stem().map_or_else(|| "library".into(), |stem| stem.to_string_lossy());
        Self { folder: library.with_file_name(format!("{stem}-profiles")), held: Mutex::default(), adding: Mutex::default() }
    }

    fn file(&self, profile: i64, ending: &str) -> PathBuf {
        self.folder.join(format!("{profile}.{ending}"))
    }

    fn failed(&self, error: &std::io::Error) -> Failure {
        Failure::machine(format!("{}: the profile cannot be kept ({error})", self.folder.display()))
    }

    fn numbers(&self) -> Vec<i64> {
        let Ok(entries) = std::fs::read_dir(&self.folder) else { return Vec::new() };
        let number = |entry: std::fs::DirEntry| entry.file_name().to_str()?.strip_suffix(".json")?.parse::<i64>().ok();
        let mut all: Vec<i64> = entries.flatten().filter_map(number).filter(|&number| number > 0).collect();
        all.sort_unstable();
        all
    }

    /// What is told of a profile.
    fn told(&self, profile: i64) -> Option<SavedProfile> {
        let told: Told = serde_json::from_slice(&std::fs::read(self.file(profile, "about")).ok()?).ok()?;
        Some(SavedProfile { profile, name: told.name, works: told.works, scores: told.scores })
    }

    /// Whatever counts is listed, so that it can be thrown away: of what has lost the file beside it, the profile itself is asked.
    fn list(&self) -> Vec<SavedProfile> {
        let one = |profile| {
            self.told(profile).unwrap_or_else(|| match self.get(profile) {
                Ok(read) => {
                    let told = told_of(&read, "");
                    SavedProfile { profile, name: told.name, works: told.works, scores: told.scores }
                }
                Err(_) => SavedProfile { profile, name: format!("Profile {profile}, which cannot be read"), works: 0, scores: 0 },
            })
        };
        self.numbers().into_iter().map(one).collect()
    }

    /// The number for a new profile: above all that were ever given, as drafts and addresses go on naming one that is gone.
    fn next(&self) -> Outcome<i64> {
        let last = std::fs::read_to_string(self.folder.join(LAST)).ok().and_then(|text| text.trim().parse::<i64>().ok());
        let number = last.max(self.numbers().last().copied()).unwrap_or(0) + 1;
        self.write(LAST, number.to_string().as_bytes())?;
        Ok(number)
    }

    /// What a profile is called.
    pub(crate) fn named(&self, profile: i64) -> Outcome<SavedProfile> {
        let listed = || self.list().into_iter().find(|one| one.profile == profile);
        self.told(profile).or_else(listed).ok_or_else(|| no_profile(profile))
    }

    /// A saved profile, read when it is not in hand.
    pub(crate) fn get(&self, profile: i64) -> Outcome<Arc<Profile>> {
        let held = || self.held.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, found)) = held().iter().find(|(number, _)| *number == profile) {
            return Ok(Arc::clone(found));
        }
        let text = std::fs::read_to_string(self.file(profile, "json")).map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => no_profile(profile),
            _ => self.failed(&error),
        })?;
        let read = Arc::new(Profile::from_json(&text).map_err(|error| Failure::refused(error.to_string()))?);
        let mut held = held();
        // What was thrown away while it was read is not held on to.
        if self.file(profile, "json").exists() {
            held.push_back((profile, Arc::clone(&read)));
        }
        while held.len() > MOST_HELD {
            held.pop_front();
        }
        Ok(read)
    }

    fn write(&self, name: &str, bytes: &[u8]) -> Outcome<()> {
        let path = self.folder.join(name);
        let part = self.folder.join(format!("{name}.part"));
        let write = || {
            let mut file = std::fs::File::create(&part)?;
            file.write_all(bytes)?;
            file.sync_all()?;
            std::fs::rename(&part, &path)
        };
        write().map_err(|error| self.failed(&error))
    }

    fn add(&self, name: &str, bytes: &[u8]) -> Outcome<SavedProfile> {
        let text =
            std::str::from_utf8(bytes).map_err(|_| Failure::refused("this is no saved profile: it is no text in UTF-8"))?;
        let profile = Profile::from_json(text).map_err(|error| Failure::refused(error.to_string()))?;
        let _one_at_a_time = self.adding.lock().unwrap_or_else(PoisonError::into_inner);
        if self.numbers().len() >= MOST_KEPT {
            return Err(Failure::refused(format!("{MOST_KEPT} profiles are kept already; throw one away first")));
        }
        std::fs::create_dir_all(&self.folder).map_err(|error| self.failed(&error))?;
        let number = self.next()?;
        let told = told_of(&profile, name.rsplit_once('.').map_or(name, |(stem, _)| stem));
        let about = serde_json::to_vec(&told).map_err(|error| Failure::machine(error.to_string()))?;
        self.write(&format!("{number}.about"), &about)?;
        self.write(&format!("{number}.json"), bytes)?;
        self.named(number)
    }

    fn remove(&self, profile: i64) -> Outcome<()> {
        std::fs::remove_file(self.file(profile, "json")).map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => no_profile(profile),
            _ => self.failed(&error),
        })?;
        self.held.lock().unwrap_or_else(PoisonError::into_inner).retain(|(number, _)| *number != profile);
        let _ = std::fs::remove_file(self.file(profile, "about"));
        Ok(())
    }
}

/// What is told of a profile that came in a file of this name.
fn told_of(profile: &Profile, stem: &str) -> Told {
    let name = [profile.name.trim(), stem.trim(), "A practice"].into_iter().find(|name| !name.is_empty()).unwrap_or_default();
    Told { name: name.chars().take(120).collect(), works: profile.works(), scores: profile.scores.len() }
}

fn no_profile(profile: i64) -> Failure {
    Failure::not_there(format!("there is no saved profile {profile}"))
}

/// Saved profiles
#[utoipa::path(get, path = "/api/profiles", responses((status = 200, body = Vec<SavedProfile>)))]
async fn list_profiles(State(desk): State<Desk>) -> Outcome<Json<Vec<SavedProfile>>> {
    blocking(move || Ok(desk.saved_profiles.list())).await.map(Json)
}

/// Keep a profile saved by `ripieno profile`: its bytes are the body
#[utoipa::path(post, path = "/api/profiles", params(Named), request_body(content = Vec<u8>, content_type = "application/octet-stream"), responses((status = 201, body = SavedProfile), (status = 400, body = Failure), (status = 404, body = Failure), (status = 413, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn add_profile(
    State(desk): State<Desk>,
    named: Result<Query<Named>, QueryRejection>,
    body: Result<Bytes, BytesRejection>,
) -> Outcome<(StatusCode, Json<SavedProfile>)> {
    let Query(Named { name }) = named.map_err(bad)?;
    let name: String =
        name.rsplit(['/', '\\']).next().unwrap_or_default().chars().filter(|letter| !letter.is_control()).collect();
    let bytes = bytes_of(body, "the profile", MOST_BYTES)?;
    let kept = blocking(move || desk.saved_profiles.add(&name, &bytes)).await?;
    Ok((StatusCode::CREATED, Json(kept)))
}

/// Throw a saved profile away
#[utoipa::path(delete, path = "/api/profiles/{profile}", params(("profile" = i64, Path)), responses((status = 204), (status = 400, body = Failure), (status = 404, body = Failure), (status = 507, body = Failure)))]
async fn remove_profile(State(desk): State<Desk>, profile: Result<InPath<i64>, PathRejection>) -> Outcome<StatusCode> {
    let profile = number(profile)?;
    blocking(move || desk.saved_profiles.remove(profile)).await.map(|()| StatusCode::NO_CONTENT)
}
