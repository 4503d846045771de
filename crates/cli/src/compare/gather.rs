//! From files, folders and saved profiles to one profile.

use std::path::{Path, PathBuf};

use ripieno_formats::Limits;
use ripieno_library::score_files;
use ripieno_study::{Cancel, Profile, Study, read_all};

use crate::open::is_read;

/// A side of a comparison.
pub struct Gathered {
    /// Its practice.
    pub profile: Profile,
    /// The study, where the side is one score file.
    pub only: Option<Study>,
}

/// Fewest scores of a set that need not be measured in stretches: with so many there is a spread between works, or between movements.
const SET: usize = 4;

/// Reads everything, telling how far it has come. Files that cannot be read are told and left out; a side of which nothing can be read is an error.
pub fn gather(paths: &[PathBuf], name: Option<&str>, work: Option<&str>, windows: bool) -> Result<Gathered, String> {
    let mut profiles: Vec<Profile> = Vec::new();
    let mut given: Vec<PathBuf> = Vec::new();
    for path in paths {
        if is_profile(path) { profiles.push(saved(path)?) } else { given.push(path.clone()) }
    }
    let files = score_files(&given).map_err(|error| error.to_string())?;
    if files.is_empty() && profiles.is_empty() {
        let named: Vec<String> = paths.iter().map(|path| path.display().to_string()).collect();
        return Err(format!("{}: there are no scores here", named.join(", ")));
    }
    let windows = windows || files.len() < SET;
    let is_one = files.len() == 1 && profiles.is_empty();
    let mut only = None;
    let mut read: Vec<(usize, Profile)> = Vec::new();
    let mut unread = 0usize;
    read_all(
        &files,
        &Limits::default(),
        &Cancel::default(),
        |progress| unread += usize::from(!is_read(progress)),
        |index, study| {
            let mut profile = study.profile(windows);
            for score in &mut profile.scores {
                // Files of one name in different folders are different files.
                score.file = files[index].display().to_string();
                if let Some(work) = work {
                    work.clone_into(&mut score.work);
                }
            }
            read.push((index, profile));
            if is_one {
                only = Some(study);
            }
        },
    );
    if unread > 0 {
        if unread == files.len() && profiles.is_empty() {
            return Err(format!("none of {unread} files could be read"));
        }
        eprintln!("{unread} of {} files are left out, because they could not be read", files.len());
    }
    read.sort_by_key(|read| read.0);
    profiles.extend(read.into_iter().map(|read| read.1));
    let own = match profiles.as_slice() {
        [one] => one.name.clone(),
        _ => paths.first().map_or_else(String::new, |path| path.display().to_string()),
    };
    Ok(Gathered { profile: Profile::gather(name.unwrap_or(&own), &profiles), only })
}

fn is_profile(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("json"))
}

/// Most bytes of a saved profile: about a thousand scores.
const MOST: u64 = 1 << 30;

fn saved(path: &Path) -> Result<Profile, String> {
    let failed = |what: String| format!("{}: {what}", path.display());
    let length = std::fs::metadata(path).map_err(|error| failed(format!("the file cannot be opened ({error})")))?.len();
    if length > MOST {
        return Err(failed("the file is too large for a saved profile".to_owned()));
    }
    let text = std::fs::read_to_string(path).map_err(|error| failed(format!("the file cannot be read ({error})")))?;
    Profile::from_json(&text).map_err(|error| failed(error.to_string()))
}
