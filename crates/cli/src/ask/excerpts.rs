//! `ripieno ask --excerpts`: the bars of each result as a score of its own.

use std::path::Path;

use ripieno_formats::excerpt::{Cut, CutError, Parts, PitchShown, cut};
use ripieno_formats::musicxml;
use ripieno_questions::Found;
use ripieno_score::BarIndex;

use super::Answered;
use crate::open::open;
use crate::save::save;

/// Most excerpts written at once.
const MOST: usize = 500;

/// Writes `SCORE_FIRST-LAST.musicxml` for each result and tells each path on standard error, so that the answer itself stays as it is. Bars in which
/// nobody plays keep all parts.
///
/// # Errors
/// When a score cannot be read any more, or has fewer bars than when it was taken in, or the folder cannot be written to.
pub(super) fn write(folder: &Path, answers: &[Answered]) -> Result<(), String> {
    std::fs::create_dir_all(folder).map_err(|error| format!("{}: the folder cannot be made ({error})", folder.display()))?;
    let mut taken = std::collections::BTreeSet::new();
    let all: usize = answers.iter().map(|answered| once_each(answered).len()).sum();
    'scores: for answered in answers.iter().filter(|answered| !answered.found.is_empty()) {
        let path = answered.path.display();
        let Some(reading) = open(&answered.path, false) else {
            return Err(format!(
                "{path}: the score cannot be read here now, so its bars cannot be cut out; add it to the library again"
            ));
        };
        let stem = answered.path.file_stem().map_or_else(|| "score".into(), |stem| stem.to_string_lossy().into_owned());
        let stem = answered.score.map_or_else(|| stem.clone(), |score| format!("{score}_{stem}"));
        for found in once_each(answered) {
            if taken.len() >= MOST {
                break 'scores;
            }
            let whole =
                |parts| Cut { first: BarIndex(found.first), last: BarIndex(found.last), parts, pitch: PitchShown::Written };
            let excerpt = match cut(&reading.score, &whole(Parts::Sounding)) {
                Err(CutError::NoParts) => cut(&reading.score, &whole(Parts::All)),
                other => other,
            };
            let excerpt = excerpt.map_err(|error| {
                format!("{path}: {error}. If the score has changed since it was taken in, add it to the library again")
            })?;
            let bars = found.cited().replace('\u{2013}', "-");
            let bars: String = bars.chars().map(|sign| if sign.is_alphanumeric() || sign == '-' { sign } else { '_' }).collect();
            // A printed number may stand for several bars, and two files may have one name.
            let mut name = format!("{stem}_{bars}.musicxml");
            let mut again = 2;
            while !taken.insert(name.clone()) {
                name = format!("{stem}_{bars}.{again}.musicxml");
                again += 1;
            }
            let file = folder.join(name);
            save(&file, musicxml::write(&excerpt.score).as_bytes())?;
            eprintln!("{}", file.display());
        }
    }
    if all > taken.len() {
        eprintln!("{} of {all} excerpts are written; ask more narrowly for the rest", taken.len());
    }
    Ok(())
}

/// The passages of a score, each once: where a question asks who, several parts may answer for the same bars.
fn once_each(answered: &Answered) -> Vec<&Found> {
    let mut found: Vec<&Found> = answered.found.iter().collect();
    // Section by section the same bars come again.
    found.sort_by_key(|found| (found.first, found.last));
    found.dedup_by_key(|found| (found.first, found.last));
    found
}
