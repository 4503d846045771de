//! The practice of a score or of a set of scores, to be kept, pooled and compared.
//!
//! A [`Profile`] has every value of every measure by score, under [`Key`]s that mean the same in all scores, with the bars behind
//! it. [`Profile::of`] makes one of one analysed score, [`Profile::gather`] of several; [`Profile::pooled`] pools by work: the
//! cues and movements of a work become one value before works are averaged, so that a work of many movements counts once. The
//! order of files decides nothing. Written out it is JSON (`docs/compare.md`).

mod key;
mod pooled;
mod taking;
mod windows;

use std::fmt;

use serde::{Deserialize, Serialize};

pub use key::{Counted, Key, Kind, Whom};
pub use pooled::{Index, Pooled, WorkValue};
pub use windows::BLOCKS;

/// What the form of a profile's JSON is called, and which it is.
const FORM: &str = "ripieno-profile";
const VERSION: u32 = 1;

/// One score of a profile.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct ScoreEntry {
    /// What scores of one work share: composer and title of the work, without signs and capitals; the file where none is given.
    pub work: String,
    /// Number of the movement or cue.
    pub number: String,
    /// Title for reading.
    pub title: String,
    /// The version, where one is named.
    #[serde(default)]
    pub version: String,
    /// The file.
    pub file: String,
    /// Played bars.
    pub bars: u32,
    /// Length in crotchets, times 1,000, rounded.
    pub milli_crotchets: u64,
    /// What each played bar is called on the page.
    pub printed: Vec<String>,
    /// What its reader doubts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<Doubt>,
}

/// Measures in which a wrong octave shows as practice.
pub const BY_PITCH: [&str; 7] =
    ["separation", "tessitura", "chord_voicing", "doubled_sections", "thickened_lines", "melody_support", "stack"];

/// Something in a file that may pass for practice and be a fault of the file: a transposition that is missing, a mute never taken off.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct Doubt {
    /// The section of the part.
    pub section: String,
    /// Its instrument, the catalogue's identifier.
    pub instrument: String,
    /// Whether pitches may be wrong.
    pub of_pitch: bool,
    /// Part, bar and what is doubtful, one sentence.
    pub text: String,
}

/// A value in one score.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InScore {
    /// Index into [`Profile::scores`].
    pub score: usize,
    /// The number, in the unit of the key.
    pub value: f64,
    /// Standard error between stretches of the piece ([`BLOCKS`]); `None` where it was not asked for or is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub error: Option<f64>,
    /// Played bars behind it, first and last of each span, ascending.
    pub bars: Vec<(u32, u32)>,
}

/// A key with its values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Under what the values stand.
    #[serde(flatten)]
    pub key: Key,
    /// At most one a score, by score.
    pub values: Vec<InScore>,
}

/// The practice of one score or of a set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Profile {
    /// Form of the file.
    form: String,
    /// Version of the form.
    form_version: u32,
    /// What to call it.
    pub name: String,
    /// Its scores, by work, number, title and file.
    pub scores: Vec<ScoreEntry>,
    /// Its values, by key.
    pub rows: Vec<Row>,
}

/// A profile that cannot be used: one sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProfileError(String);

impl fmt::Display for ProfileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for ProfileError {}

impl Profile {
    pub(crate) fn new(name: String, scores: Vec<ScoreEntry>, rows: Vec<Row>) -> Self {
        Self { form: FORM.to_owned(), form_version: VERSION, name, scores, rows }
    }

    /// The practice of several together. Their order decides nothing.
    #[must_use]
    pub fn gather(name: &str, profiles: &[Self]) -> Self {
        let mut order: Vec<(&ScoreEntry, usize, usize)> = Vec::new();
        for (profile_at, profile) in profiles.iter().enumerate() {
            order.extend(profile.scores.iter().enumerate().map(|(at, score)| (score, profile_at, at)));
        }
        order.sort_by_key(|&(score, ..)| score);
        let mut place: Vec<Vec<usize>> = profiles.iter().map(|profile| vec![0; profile.scores.len()]).collect();
        for (new, &(_, profile, at)) in order.iter().enumerate() {
            place[profile][at] = new;
        }
        let mut rows: std::collections::BTreeMap<&Key, Vec<InScore>> = std::collections::BTreeMap::new();
        for (profile, place) in profiles.iter().zip(&place) {
            for row in &profile.rows {
                let values = row.values.iter().map(|value| InScore { score: place[value.score], ..value.clone() });
                rows.entry(&row.key).or_default().extend(values);
            }
        }
        let row = |(key, mut values): (&Key, Vec<InScore>)| {
            values.sort_by_key(|value| value.score);
            Row { key: key.clone(), values }
        };
        let rows = rows.into_iter().map(row).collect();
        Self::new(name.to_owned(), order.into_iter().map(|(score, ..)| score.clone()).collect(), rows)
    }

    /// How many works its scores belong to.
    #[must_use]
    pub fn works(&self) -> usize {
        self.scores.chunk_by(|a, b| a.work == b.work).count()
    }

    /// As JSON, a row a line.
    #[must_use]
    pub fn to_json(&self) -> String {
        let line = |text: serde_json::Result<String>| text.unwrap_or_default();
        let lines = |texts: Vec<String>| texts.join(",\n    ");
        format!(
            "{{\n  \"form\": {},\n  \"form_version\": {},\n  \"name\": {},\n  \"scores\": [\n    {}\n  ],\n  \"rows\": [\n    {}\n  ]\n}}\n",
            line(serde_json::to_string(&self.form)),
            self.form_version,
            line(serde_json::to_string(&self.name)),
            lines(self.scores.iter().map(|score| line(serde_json::to_string(score))).collect()),
            lines(self.rows.iter().map(|row| line(serde_json::to_string(row))).collect()),
        )
    }

    /// Reads what [`Self::to_json`] wrote.
    ///
    /// # Errors
    /// When it is no such JSON, is of a newer form, or contradicts itself.
    pub fn from_json(text: &str) -> Result<Self, ProfileError> {
        let mut profile: Self =
            serde_json::from_str(text).map_err(|error| ProfileError(format!("this is no saved profile ({error})")))?;
        if profile.form != FORM {
            return Err(ProfileError(format!("this is no saved profile: its form is called “{}”", profile.form)));
        }
        if profile.form_version != VERSION {
            let form = profile.form_version;
            return Err(ProfileError(format!("the profile has form {form}; this program reads {VERSION}: save it again")));
        }
        let scores = &profile.scores;
        let sound = |value: &InScore| {
            let ascending = value.bars.windows(2).all(|pair| pair[0].1 < pair[1].0);
            let in_score = |score: &ScoreEntry| value.bars.iter().all(|span| span.0 <= span.1 && span.1 < score.bars);
            ascending && value.value.is_finite() && scores.get(value.score).is_some_and(in_score)
        };
        let once = |row: &Row| row.values.windows(2).all(|pair| pair[0].score < pair[1].score);
        if let Some(row) = profile.rows.iter().find(|row| !once(row) || !row.values.iter().all(sound)) {
            let (measure, of) = (&row.key.measure, row.key.of.spoken());
            return Err(ProfileError(format!("the profile's row “{measure}” of {of} names a score or bars it does not have")));
        }
        if let Some(score) = scores.iter().find(|score| score.printed.len() != score.bars as usize) {
            return Err(ProfileError(format!("the profile does not name all bars of {}", score.title)));
        }
        if !scores.is_sorted() {
            return Err(ProfileError("the profile's scores are not in order: save it again".to_owned()));
        }
        profile.rows.sort_by(|a, b| a.key.cmp(&b.key));
        Ok(profile)
    }

    /// Bars as musicians cite them: "12–15, 20".
    #[must_use]
    pub fn cite(&self, score: usize, bars: &[(u32, u32)]) -> String {
        let printed = |bar: u32| {
            let named = self.scores.get(score).and_then(|score| score.printed.get(bar as usize));
            named.map_or("?", String::as_str)
        };
        let span = |&(first, last): &(u32, u32)| {
            if first == last { printed(first).to_owned() } else { format!("{}–{}", printed(first), printed(last)) }
        };
        bars.iter().map(span).collect::<Vec<_>>().join(", ")
    }
}

impl ScoreEntry {
    /// Length in crotchets.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // far below 2^52
    pub fn crotchets(&self) -> f64 {
        self.milli_crotchets as f64 / 1000.0
    }
}
