//! From file to study.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use ripieno_formats::{Finding, Format, Limits, ReadError, Reading, load, read, trouble_findings};
use ripieno_practice::{
    Groups, Material, Presence, RegisterUse, Sentence, Taken, bar_label, bars_with_all, noteworthy, presence, register, take_all,
};
use ripieno_score::{Crotchets, Score, Sounding, Unroll};
use ripieno_texture::{
    Carried, Doublings, Harmony, Lines, RoleProbabilities, Techniques, Theme, harmony, predict, read_roles, techniques,
    themes_sung, top_lines,
};

use crate::bars::BarSpans;
use crate::chart;
use crate::compass::{beyond_compass, with_caveats};
use crate::corrections::{Corrected, Corrections, CorrectionsError, Instruction, apply};
use crate::mutes::lasting_mutes;
use crate::upbeat::counted_upbeat;

/// Presence and register of a part or group.
#[derive(Debug, Clone)]
pub struct Measured {
    /// Where and how much it sounds.
    pub presence: Presence,
    /// How high and low; `None` without pitched notes.
    pub register: Option<RegisterUse>,
}

/// Bars in which everyone of a named body plays.
#[derive(Debug, Clone)]
pub struct TuttiBars {
    /// Of whom: "brass", "all sections".
    pub whom: String,
    /// The sections or parts that all have to sound.
    pub members: Vec<String>,
    /// The bars.
    pub bars: BarSpans,
}

/// One analysed score.
#[derive(Debug, Clone)]
pub struct Study {
    /// File name as given.
    pub file: String,
    /// What it was.
    pub format: Format,
    /// What the reader found, and what a person's corrections give cause to say.
    pub findings: Vec<Finding>,
    /// The score.
    pub score: Score,
    /// What is heard, each bar once in page order, since a study cites printed bars.
    pub sounding: Sounding,
    /// Ways of playing in force, by row of [`Sounding::notes`].
    pub ways: Vec<Techniques>,
    /// Who is in it.
    pub groups: Groups,
    /// A person's corrections that have a place in this score, in the order they were made.
    pub corrections: Vec<Instruction>,
    /// What the learned model makes of each part in each bar, before anything else is weighed.
    pub learned: RoleProbabilities,
    /// Roles and melody, with the corrections in force.
    pub roles: Corrected,
    /// The lines told apart on each staff.
    pub lines: Lines,
    /// Who doubles whom, note for note.
    pub doublings: Doublings,
    /// Chords and local keys.
    pub harmony: Harmony,
    /// Recurring ideas and where they are stated.
    pub themes: Vec<Theme>,
    /// Measures of each part.
    pub of_parts: Vec<Measured>,
    /// Measures of each section, as in [`Groups::sections`].
    pub of_sections: Vec<Measured>,
    /// Measures of each family, as in [`Groups::families`].
    pub of_families: Vec<Measured>,
    /// Every measure of practice.
    pub practice: Vec<Taken>,
    /// Spans worth looking at, the most telling first.
    pub moments: Vec<ripieno_practice::Moment>,
    /// Findings in words, the most unusual first.
    pub noteworthy: Vec<Sentence>,
    /// Tutti bars: of the whole score, then of each family with more than one section.
    pub tutti: Vec<TuttiBars>,
}

impl Study {
    /// Whether it is a chart: who plays when and in what role, without notes.
    #[must_use]
    pub fn is_chart(&self) -> bool {
        self.format == Format::Chart
    }

    /// Everything that measures are taken from.
    #[must_use]
    pub fn material(&self) -> Material<'_> {
        let Self { score, sounding, groups, lines, doublings, harmony, themes, .. } = self;
        let material = Material::new(score, sounding, groups, lines, doublings, &self.roles.roles, harmony, themes);
        if self.is_chart() { material.of_chart() } else { material }
    }

    /// The span each row of [`Study::sounding`] belongs to, an index into the spans of its roles.
    #[must_use]
    pub fn spans_of_notes(&self) -> Vec<Option<usize>> {
        let spans = &self.roles.roles.spans;
        let mut of_line: Vec<Vec<usize>> = vec![Vec::new(); self.lines.lines.len()];
        for (index, span) in spans.iter().enumerate() {
            if let Some(of_line) = of_line.get_mut(span.line) {
                of_line.push(index);
            }
        }
        let onset = &self.sounding.notes.onset;
        let span = |row: usize| {
            let of_line = of_line.get(*self.lines.of_row.get(row)? as usize)?;
            let begun = of_line.partition_point(|&span| spans[span].from <= onset[row]);
            // Before the first span there is at most a grace note: it goes with what follows.
            of_line.get(begun.saturating_sub(1)).copied()
        };
        (0..onset.len()).map(span).collect()
    }

    /// Played bars as musicians cite them.
    #[must_use]
    pub fn cite(&self, bars: &[u32]) -> BarSpans {
        BarSpans::new(bars, &self.score, &self.sounding)
    }

    /// Played bars from the one that holds `from` to the one that holds the moment before `to`.
    #[must_use]
    pub fn bars_between(&self, from: Crotchets, to: Crotchets) -> Range<u32> {
        let first = self.sounding.bar_at(from).unwrap_or(0);
        let end = self.sounding.bars.partition_point(|bar| bar.start < to).max(first + 1);
        u32::try_from(first).unwrap_or(u32::MAX)..u32::try_from(end).unwrap_or(u32::MAX)
    }

    /// Orders the findings in words by how unusual they are among other works as well ([`ripieno_practice::among_works`]).
    pub fn stand_among(&mut self, standing: impl Fn(&str, f64) -> Option<(f64, usize)>) {
        self.noteworthy = ripieno_practice::among_works(std::mem::take(&mut self.noteworthy), standing);
    }

    /// What a musician calls this played bar.
    #[must_use]
    pub fn bar_label(&self, bar: u32) -> String {
        bar_label(&self.score, &self.sounding, bar)
    }

    /// Title for headings: the score's, or the file's name.
    #[must_use]
    pub fn title(&self) -> String {
        let title = self.score.about.title();
        if title.trim().is_empty() { self.file.clone() } else { title }
    }

    /// Who plays the melody with its carrier, in score order, each with the bars in which it does where these are not all bars of the stretch.
    #[must_use]
    pub fn along(&self, carried: &Carried) -> Vec<(usize, Option<BarSpans>)> {
        let mut bars: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
        carried.support.iter().for_each(|along| bars.entry(along.part).or_default().extend(along.bars.clone()));
        bars.into_iter().map(|(part, bars)| (part, (bars.len() < carried.bars.len()).then(|| self.cite(&bars)))).collect()
    }

    /// For each bar of the page the part that carries the melody, the last time it is played.
    #[must_use]
    pub fn leaders(&self) -> Vec<Option<usize>> {
        let mut leaders = vec![None; self.score.bars.len()];
        for carried in &self.roles.roles.melody {
            for bar in carried.bars.clone() {
                let written = self.sounding.bars.get(bar as usize).and_then(|played| leaders.get_mut(played.bar.at()));
                if let Some(leader) = written {
                    *leader = Some(carried.part);
                }
            }
        }
        leaders
    }
}

/// Reads a score or a chart and analyses it, with the corrections beside it in force. Corrections that cannot be read are a finding.
///
/// # Errors
/// When the file cannot be opened or holds no score.
pub fn analyse_file(path: &Path, limits: &Limits) -> Result<Study, ReadError> {
    analyse_file_telling(path, limits, &|_| {})
}

/// The same, telling each step as it begins. A chart is done at once and tells none.
///
/// # Errors
/// When the file cannot be opened or holds no score.
pub fn analyse_file_telling(path: &Path, limits: &Limits, tell: &dyn Fn(Step)) -> Result<Study, ReadError> {
    let (name, bytes) = load(path, limits)?;
    if Format::of(&bytes) == Some(Format::Chart) {
        return chart::analyse(name, &bytes, Corrections::beside(path));
    }
    let reading = read(&name, &bytes, limits)?;
    Ok(analyse_with(name, reading, Corrections::beside(path), tell))
}

/// Analyses a score that has been read, without corrections.
#[must_use]
pub fn analyse(file: String, reading: Reading) -> Study {
    analyse_telling(file, reading, &|_| {})
}

/// The same, telling each step as it begins.
#[must_use]
pub fn analyse_telling(file: String, reading: Reading, tell: &dyn Fn(Step)) -> Study {
    analyse_with(file, reading, Ok(Corrections::default()), tell)
}

/// What the analysis of a score is at, in the order of its steps. They do not take equally long.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Every part is looked through bar by bar for what its line resembles.
    Parts,
    /// Roles are settled, and who moves with whom.
    Roles,
    /// Unisons and octaves.
    Doublings,
    /// Chords, and themes that come back.
    Harmony,
    /// Measures, moments and findings are counted.
    Counting,
}

impl Step {
    /// All of them in order.
    pub const ALL: [Self; 5] = [Self::Parts, Self::Roles, Self::Doublings, Self::Harmony, Self::Counting];

    /// What is being done, for whoever waits: "who does what".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Parts => "looking through the parts",
            Self::Roles => "who does what",
            Self::Doublings => "who doubles whom",
            Self::Harmony => "chords and themes",
            Self::Counting => "what stands out",
        }
    }
}

fn analyse_with(
    file: String,
    reading: Reading,
    corrections: Result<Corrections, CorrectionsError>,
    tell: &dyn Fn(Step),
) -> Study {
    tell(Step::Parts);
    let Reading { score, mut findings, format, .. } = reading;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    findings.extend(trouble_findings(&file, &score, &sounding));
    findings.extend(beyond_compass(&file, &score, &sounding));
    let ways = techniques(&score, &sounding);
    findings.extend(lasting_mutes(&file, &score, &sounding, &ways));
    findings.extend(counted_upbeat(&file, &score, &sounding));
    let (corrections, groups) = match corrections {
        Ok(corrections) => {
            let placed = corrections.place(&score, &sounding);
            let (groups, lost) = corrections.group(&score);
            findings.extend(placed.findings);
            findings.extend(lost);
            (placed.instructions, groups)
        }
        Err(error) => {
            findings.push(*error.0);
            (Vec::new(), Groups::new(&score))
        }
    };
    let learned = predict(&score, &sounding);
    tell(Step::Roles);
    let lines = Lines::new(&score, &sounding);
    let roles = apply(read_roles(&score, &sounding, &lines, &learned), &corrections, &sounding, &lines);
    tell(Step::Doublings);
    let doublings = Doublings::new(&sounding, &lines);
    tell(Step::Harmony);
    let harmony = harmony(&sounding);
    let themes = themes_sung(&top_lines(&sounding), |part, from, to| roles.roles.sings(part, from, to));
    tell(Step::Counting);
    counted(Study {
        file,
        format,
        findings,
        score,
        sounding,
        ways,
        groups,
        corrections,
        learned,
        roles,
        lines,
        doublings,
        harmony,
        themes,
        of_parts: Vec::new(),
        of_sections: Vec::new(),
        of_families: Vec::new(),
        practice: Vec::new(),
        moments: Vec::new(),
        noteworthy: Vec::new(),
        tutti: Vec::new(),
    })
}

/// Fills in what is counted.
pub(crate) fn counted(mut study: Study) -> Study {
    let material = study.material();
    let practice = take_all(&material);
    let (moments, noteworthy) = noteworthy(&material, &practice);
    let Study { score, sounding, groups, .. } = &study;
    let measure = |parts: &[usize]| Measured { presence: presence(sounding, parts), register: register(sounding, parts) };
    let of_parts = (0..score.parts.len()).map(|part| measure(&[part])).collect();
    let of_sections: Vec<Measured> = groups.sections.iter().map(|group| measure(&group.parts)).collect();
    let of_families = groups.families.iter().map(|group| measure(&group.parts)).collect();
    let tutti = tutti(score, sounding, groups, &of_sections);
    study.of_parts = of_parts;
    study.of_sections = of_sections;
    study.of_families = of_families;
    study.practice = practice;
    study.moments = moments;
    study.noteworthy = noteworthy;
    study.tutti = tutti;
    with_caveats(&mut study);
    study
}

fn tutti(score: &Score, sounding: &Sounding, groups: &Groups, of_sections: &[Measured]) -> Vec<TuttiBars> {
    let measured: Vec<_> = groups.sections.iter().zip(of_sections).collect();
    let bodies = |whom: String, sections: &[&(&crate::Group, &Measured)]| {
        let present: Vec<&[u32]> = sections.iter().map(|(_, measured)| measured.presence.bars.as_slice()).collect();
        let bars = bars_with_all(&present);
        TuttiBars {
            whom,
            members: sections.iter().map(|(group, _)| group.name.to_owned()).collect(),
            bars: BarSpans::new(&bars, score, sounding),
        }
    };
    let mut found = vec![bodies("all sections".to_owned(), &measured.iter().collect::<Vec<_>>())];
    for family in &groups.families {
        let sections: Vec<_> = measured.iter().filter(|(section, _)| section.family == family.family).collect();
        if sections.len() > 1 {
            found.push(bodies(family.name.to_owned(), &sections));
        }
    }
    found
}

/// A request to stop, shared between threads; [`read_all`] looks at it before each file.
#[derive(Debug, Default)]
pub struct Cancel(AtomicBool);

impl Cancel {
    /// Asks to stop.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether that has been asked.
    #[must_use]
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Told after each file.
pub struct Progress<'a> {
    /// The file just finished.
    pub path: &'a Path,
    /// Files finished, this one included.
    pub done: usize,
    /// Files in all.
    pub total: usize,
    /// Whether it could be read.
    pub outcome: Result<(), &'a ReadError>,
}

/// Reads and analyses files on all cores and hands each study over as soon as it is there, so that no more than one a core is in memory.
///
/// `progress` and `take` may be called from several threads, never two at a time. Files not begun when `cancel` is asked are left out.
pub fn read_all(
    paths: &[PathBuf],
    limits: &Limits,
    cancel: &Cancel,
    progress: impl FnMut(&Progress<'_>) + Send,
    take: impl FnMut(usize, Study) + Send,
) {
    let next = AtomicUsize::new(0);
    let told = Mutex::new((progress, take, 0usize));
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(paths.len()).max(1);
    let work = || {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(path) = paths.get(index).filter(|_| !cancel.is_cancelled()) else { return };
            let study = analyse_file(path, limits);
            let mut told = told.lock().unwrap_or_else(PoisonError::into_inner);
            told.2 += 1;
            let done = told.2;
            (told.0)(&Progress { path, done, total: paths.len(), outcome: study.as_ref().map(|_| ()) });
            if let Ok(study) = study {
                (told.1)(index, study);
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..workers {
            scope.spawn(work);
        }
        work();
    });
}
