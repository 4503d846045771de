//! Drafts on disk: a folder each beside the library, with the sketch, the proposals and one file that says everything else.
//!
//! Whatever is written is written whole under another name first, so that a draft is as it was before or as it is after, whenever
//! the desk ends.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use ripieno_casting::Sketch;
use ripieno_formats::{musicxml, read};
use ripieno_score::Score;
use serde::{Deserialize, Serialize};

use super::habits::KeptHabits;
use super::lineup::LineupRows;
use super::locks::LockRow;
use super::plan::PhraseRow;
use super::shown::ProposalShown;
use crate::failure::{Failure, Outcome};
use crate::studied::limits;

/// Steps that can be taken back.
const MOST_STEPS: usize = 100;
/// Drafts of a library.
pub(crate) const MOST_DRAFTS: usize = 500;

/// What is edited, and can be taken back.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct Step {
    pub lineup: LineupRows,
    pub plan: Vec<PhraseRow>,
    /// Sections whose players stand in rows of their own.
    #[serde(default)]
    pub split: Vec<String>,
    /// Single notes a person has set.
    #[serde(default)]
    pub locks: Vec<LockRow>,
}

/// Phrases cast again: each with its place and what was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Again {
    pub phrases: Vec<(usize, PhraseRow)>,
    pub seed: u64,
    /// The notes that were set then.
    #[serde(default)]
    pub locks: Vec<LockRow>,
}

/// A proposal as it is kept: its notes lie beside it as MusicXML.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct KeptProposal {
    /// Name of the file with its notes.
    pub file: String,
    /// What was asked for.
    pub asked: Step,
    /// The plan with everything filled in, as it was first made.
    pub plan: Vec<PhraseRow>,
    /// Of the search for voicings, as it was first made.
    pub seed: u64,
    /// What was cast again since, in order: with these the same notes come out once more.
    #[serde(default)]
    pub again: Vec<Again>,
    /// The notes that were set when it was first made.
    #[serde(default)]
    pub locks: Vec<LockRow>,
    /// As whose practice it was filled in: a score of the library, or a saved profile.
    #[serde(default, flatten)]
    pub model: Model,
    /// The habits of that model as they were then: it may be corrected since, or gone.
    #[serde(default)]
    pub habits: Option<KeptHabits>,
    pub shown: ProposalShown,
}

/// Whose practice is followed in what is left open: that of a score of the library or of a saved profile; the usual one without either.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct Model {
    pub like: Option<i64>,
    #[serde(default)]
    pub like_profile: Option<i64>,
}

impl Model {
    pub(crate) const fn is_some(self) -> bool {
        self.like.is_some() || self.like_profile.is_some()
    }
}

/// Everything about a draft but its notes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(crate) struct Kept {
    pub title: String,
    /// Where the sketch comes from: "bars 51–66 of The Boat Goes Out".
    pub from: String,
    /// Name of the file with the sketch; empty for [`SKETCH`].
    #[serde(default)]
    pub sketch: String,
    /// Name of the file with the file's own staves, where none was named by a role and the roles were found; empty otherwise.
    #[serde(default)]
    pub own_staves: String,
    /// Name of the file with the reduction that can be chosen in their place; empty for [`SKETCH`].
    #[serde(default)]
    pub reduction: String,
    /// Whether they are the sketch.
    #[serde(default)]
    pub uses_own_staves: bool,
    /// The score it was taken from.
    #[serde(default)]
    pub source: Option<i64>,
    /// Its first and last bar in that score, from 0.
    #[serde(default)]
    pub source_bars: Option<(u32, u32)>,
    /// The source's own line-up.
    #[serde(default)]
    pub own_lineup: Option<LineupRows>,
    /// What has to be said about the sketch.
    #[serde(default)]
    pub remarks: Vec<String>,
    pub steps: Vec<Step>,
    pub at: usize,
    #[serde(default)]
    pub proposals: Vec<KeptProposal>,
}

/// What a score made of a draft by a step of it is called: by the draft's title, and for whom it is cast.
pub(crate) fn called(title: &str, asked: &Step) -> String {
    match asked.lineup.name.trim() {
        "" => title.to_owned(),
        name => format!("{title}, for {name}"),
    }
}

impl Kept {
    /// Name of the file with the sketch.
    pub(crate) fn sketch_file(&self) -> &str {
        if self.sketch.is_empty() { SKETCH } else { &self.sketch }
    }

    /// Where one can choose between two sketches: what is the sketch now is what one comes back to.
    pub(crate) fn remember(&mut self) {
        match (self.own_staves.is_empty(), self.uses_own_staves) {
            (true, _) => {}
            (false, true) => self.own_staves = self.sketch_file().to_owned(),
            (false, false) => self.reduction.clone_from(&self.sketch),
        }
    }

    /// Whether the draft still needs a file: it is the sketch, or one that can be chosen in its place.
    pub(crate) fn names(&self, file: &str) -> bool {
        let reduction = if self.reduction.is_empty() { SKETCH } else { &self.reduction };
        file == self.sketch_file() || (!self.own_staves.is_empty() && [self.own_staves.as_str(), reduction].contains(&file))
    }

    /// What a score made of it is called: as the draft, and for whom it is cast.
    pub(crate) fn called(&self, proposal: &KeptProposal) -> String {
        called(&self.title, &proposal.asked)
    }

    pub(crate) fn now(&self) -> Step {
        self.steps.get(self.at).cloned().unwrap_or_default()
    }

    /// A step forward; what had been taken back is forgotten.
    pub(crate) fn step(&mut self, step: Step) {
        if self.steps.get(self.at) == Some(&step) {
            return;
        }
        self.steps.truncate(self.at + 1);
        self.steps.push(step);
        let over = self.steps.len().saturating_sub(MOST_STEPS);
        self.steps.drain(..over);
        self.at = self.steps.len() - 1;
    }
}

/// The folder of drafts of a library.
#[derive(Debug, Clone)]
pub(crate) struct Store(PathBuf);

impl Store {
    pub(crate) fn beside(library: &Path) -> Self {
        let stem = library.file_stem().map_or_else(|| "library".into(), |stem| stem.to_string_lossy());
        Self(library.with_file_name(format!("{stem}-drafts")))
    }

    fn folder(&self, draft: i64) -> PathBuf {
        self.0.join(draft.to_string())
    }

    fn failed(&self, error: &std::io::Error) -> Failure {
        Failure::machine(format!("{}: the draft cannot be kept ({error})", self.0.display()))
    }

    /// Numbers of the drafts, the newest first.
    pub(crate) fn numbers(&self) -> Vec<i64> {
        let Ok(entries) = fs::read_dir(&self.0) else { return Vec::new() };
        let number = |entry: fs::DirEntry| entry.file_name().to_str()?.parse::<i64>().ok().filter(|&number| number > 0);
        let mut all: Vec<i64> = entries.flatten().filter_map(number).collect();
        all.retain(|&draft| self.folder(draft).join("draft.json").is_file());
        all.sort_unstable_by(|a, b| b.cmp(a));
        all
    }

    /// A folder for a new draft.
    pub(crate) fn begin(&self) -> Outcome<i64> {
        if self.numbers().len() >= MOST_DRAFTS {
            return Err(Failure::refused(format!("{MOST_DRAFTS} drafts are kept already; throw one away first")));
        }
        fs::create_dir_all(&self.0).map_err(|error| self.failed(&error))?;
        let mut next = self.numbers().first().map_or(1, |last| last + 1);
        loop {
            match fs::create_dir(self.folder(next)) {
                Ok(()) => return Ok(next),
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => next += 1,
                Err(error) => return Err(self.failed(&error)),
            }
        }
    }

    pub(crate) fn write(&self, draft: i64, name: &str, bytes: &[u8]) -> Outcome<()> {
        let folder = self.folder(draft);
        let (path, part) = (folder.join(name), folder.join(format!("{name}.part")));
        let write = || {
            let mut file = fs::File::create(&part)?;
            file.write_all(bytes)?;
            file.sync_all()?;
            fs::rename(&part, &path)
        };
        write().map_err(|error| self.failed(&error))
    }

    pub(crate) fn read(&self, draft: i64, name: &str) -> Outcome<Vec<u8>> {
        fs::read(self.folder(draft).join(name)).map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => no_draft(draft),
            _ => self.failed(&error),
        })
    }

    pub(crate) fn keep(&self, draft: i64, kept: &Kept) -> Outcome<()> {
        let text = serde_json::to_vec(kept).map_err(|error| Failure::machine(error.to_string()))?;
        self.write(draft, "draft.json", &text)
    }

    pub(crate) fn kept(&self, draft: i64) -> Outcome<Kept> {
        let broken = |error| Failure::refused(format!("draft {draft} cannot be read ({error}); throw it away and begin anew"));
        serde_json::from_slice(&self.read(draft, "draft.json")?).map_err(broken)
    }

    pub(crate) fn keep_score(&self, draft: i64, name: &str, score: &Score) -> Outcome<()> {
        self.write(draft, name, musicxml::write(score).as_bytes())
    }

    /// Keeps a score under a name that is not taken; answers the name.
    pub(crate) fn keep_new(&self, draft: i64, stem: &str, score: &Score) -> Outcome<String> {
        let free = |name: &String| !self.folder(draft).join(name).exists();
        let name = (1..).map(|n| format!("{stem}-{n}.musicxml")).find(free).unwrap_or_default();
        self.keep_score(draft, &name, score)?;
        Ok(name)
    }

    /// Takes a file away that nothing names any more; one that stays does no harm.
    pub(crate) fn forget(&self, draft: i64, name: &str) {
        let _ = fs::remove_file(self.folder(draft).join(name));
    }

    pub(crate) fn score(&self, draft: i64, name: &str) -> Outcome<Score> {
        let bytes = self.read(draft, name)?;
        let reading = read(name, &bytes, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
        Ok(reading.score)
    }

    /// The sketch, by the names of its staves.
    pub(crate) fn sketch(&self, draft: i64, name: &str) -> Outcome<Sketch> {
        let nothing = || Failure::refused("no staff of the sketch has a role; give one of them a role");
        Sketch::by_names(self.score(draft, name)?).ok_or_else(nothing)
    }

    pub(crate) fn remove(&self, draft: i64) -> Outcome<()> {
        if !self.folder(draft).join("draft.json").is_file() {
            return Err(no_draft(draft));
        }
        fs::remove_dir_all(self.folder(draft)).map_err(|error| self.failed(&error))
    }

    /// Takes away what was written of a draft that could not be begun.
    pub(crate) fn discard(&self, draft: i64) {
        let _ = fs::remove_dir_all(self.folder(draft));
    }

    /// Where the latest delivery of a score is kept.
    pub(crate) fn delivery(&self, score: i64) -> PathBuf {
        self.0.join("deliveries").join(format!("{score}.zip"))
    }

    pub(crate) fn forget_delivery(&self, score: i64) {
        let _ = fs::remove_file(self.delivery(score));
    }

    /// Writes the delivery of a score.
    pub(crate) fn keep_delivery(&self, score: i64, bytes: &[u8]) -> Outcome<()> {
        let path = self.delivery(score);
        let write = || {
            fs::create_dir_all(self.0.join("deliveries"))?;
            let part = path.with_extension("zip.part");
            fs::write(&part, bytes)?;
            fs::rename(&part, &path)
        };
        write().map_err(|error| self.failed(&error))
    }
}

/// Name of a sketch as it came, in a draft's folder, and of a file's own staves, where the sketch was reduced from them.
pub(crate) const SKETCH: &str = "sketch.musicxml";
pub(crate) const OWN_STAVES: &str = "staves.musicxml";

pub(crate) fn no_draft(draft: i64) -> Failure {
    Failure::not_there(format!("there is no draft {draft}"))
}
