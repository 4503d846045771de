//! One situation weighed: the score as it sounds there, kept while questions are asked of it.

use std::cell::OnceCell;
use std::collections::BTreeMap;

use ripieno_acoustics::{
    Audibility, Audible, Evenness, Grade, Line, Refused, Scene, Situation, Verdicts, audibility, evenness, full_chords, verdicts,
};
use ripieno_score::Crotchets;

use super::chairs::Chairs;
use super::lines::{Beside, OWN, chordal, melody};
use super::{Balance, FullChord, Help, Masking, index};
use crate::Study;

/// Maskers told of a span.
const MASKERS: usize = 4;

/// A studied score in one situation. What it holds grows with the notes; every question is answered from it without beginning again.
#[derive(Debug)]
pub struct Weighing<'a> {
    study: &'a Study,
    scene: Scene<'a>,
    voices: Voices,
    heard: OnceCell<Audibility>,
}

/// How a span is heard where it is heard worst.
#[derive(Debug, Clone, PartialEq)]
pub struct SpanHeard {
    /// The played bar.
    pub bar: u32,
    /// How it is heard there, with whoever plays it in unison or octaves.
    pub audible: Audible,
    /// Other parts that play it in unison or octaves there.
    pub with: Vec<usize>,
    /// What masks it there, most first.
    pub maskers: Vec<Masking>,
    /// What would uncover it there, in the order of [`ripieno_acoustics::audibility::Remedy::order`], each recomputed; for the bars around it in which it is hidden too.
    pub help: Vec<Help>,
    /// Two verdicts on it against the first masker; `None` where nothing masks it.
    pub verdicts: Option<Verdicts>,
}

impl Study {
    /// Weighs the score in a situation. The time grows with the notes and with moments times parts.
    ///
    /// # Errors
    /// When the situation cannot be judged: sections recorded apart and mixed without the levels of the mix, a listener at a part that is not there,
    /// a chart, which holds no notes.
    pub fn weigh(&self, situation: Situation) -> Result<Weighing<'_>, Refused> {
        // A stretch of a chart has no key, which the model would take as unpitched.
        if self.is_chart() {
            return Err(Refused::NoNotes);
        }
        let scene = Scene::new(&self.score, &self.sounding, &self.model_ways(), situation)?;
        Ok(Weighing { study: self, scene, voices: Voices::of(self), heard: OnceCell::new() })
    }
}

impl Weighing<'_> {
    /// Balance of melody and chords.
    #[must_use]
    pub fn balance(&self) -> Balance {
        let (study, scene) = (self.study, &self.scene);
        let beside = Beside::of(study, melody(study));
        let melody = study.melody_bars(scene, &beside);
        let spots = study.spots(scene, &beside, &melody);
        let judged = study.judged(scene, &beside, &melody);
        let chordal = chordal(study);
        let wanted = |row: usize| chordal[row] && !beside.own[row];
        let chord = |(bar, at): (usize, Crotchets)| {
            let evenness: Evenness = evenness(scene, at, wanted)?;
            Some(FullChord { bar: index(bar), at, evenness })
        };
        let chords = full_chords(scene, wanted).into_iter().filter_map(chord).collect();
        Balance { situation: scene.situation.clone(), melody, spots, judged, chords, unmarked: scene.unmarked }
    }

    /// How each span of [`ripieno_texture::RoleReading::spans`] is heard in each of its bars, with whoever plays it in unison or octaves;
    /// `None` in bars in which it is silent.
    #[must_use]
    pub fn spans(&self) -> Vec<Vec<Option<Audible>>> {
        let spans = &self.study.roles.roles.spans;
        spans.iter().map(|span| span.bars.clone().map(|bar| self.at(span.line, bar)).collect()).collect()
    }

    /// A span in the bar in which it is heard worst; `None` where there is no such span or it is silent.
    #[must_use]
    pub fn span(&self, span: usize) -> Option<SpanHeard> {
        let span = self.study.roles.roles.spans.get(span)?;
        let heard = span.bars.clone().filter_map(|bar| Some((bar, self.at(span.line, bar)?)));
        let (bar, _) = heard.min_by(|(_, a), (_, b)| a.margin_db.total_cmp(&b.margin_db))?;
        let voice = self.voices.at(span.line, bar)?;
        let beside = Beside::of(self.study, self.voices.lines[voice].rows.clone());
        let hidden = |bar: &u32| self.at(span.line, *bar).is_some_and(|heard| heard.grade() <= Grade::Hard);
        let first = (span.bars.start..bar).rev().take_while(hidden).last().unwrap_or(bar);
        let last = (bar + 1..span.bars.end).take_while(hidden).last().unwrap_or(bar);
        let bars = if hidden(&bar) { first..last + 1 } else { bar..bar + 1 };
        let told = self.study.explained(&self.scene, &beside, bar, &bars, &Chairs::of(&self.study.score))?;
        let mut maskers = beside.maskings(&told.maskers, bar as usize);
        let verdicts = maskers.first().and_then(|masker| {
            let section = beside.section_of(masker.parts[0]);
            let called = [&*self.study.called_with(&beside, span.part, bar), &*self.study.called(&masker.parts)];
            verdicts(&self.scene, &beside.lines, [OWN, section], called, bar as usize)
        });
        maskers.truncate(MASKERS);
        let with = self.voices.parts_in(self.study, voice, bar);
        Some(SpanHeard {
            bar,
            audible: told.audible,
            with: with.into_iter().filter(|part| *part != span.part).collect(),
            maskers,
            help: self.study.help(&told, &bars),
            verdicts,
        })
    }

    fn at(&self, line: usize, bar: u32) -> Option<Audible> {
        let heard = self.heard.get_or_init(|| audibility(&self.scene, &self.voices.lines));
        heard.at(self.voices.at(line, bar)?, bar as usize)
    }
}

/// The lines of a score as voices: what several play in unison or octaves at one time is one of them, under the first of these lines.
#[derive(Debug)]
struct Voices {
    /// By line, index into [`ripieno_texture::Lines::lines`]; empty where a line only ever follows another.
    lines: Vec<Line>,
    /// The voice of a line from a bar on, by line and bar.
    of_line: BTreeMap<(usize, u32), usize>,
    /// The lines in a voice from a bar on, by voice and bar.
    members: BTreeMap<(usize, u32), Vec<usize>>,
}

impl Voices {
    fn of(study: &Study) -> Self {
        let notes = &study.sounding.notes;
        let count = study.lines.lines.len();
        let mut in_bar: Vec<Vec<usize>> = vec![Vec::new(); study.sounding.bars.len()];
        for (index, doubling) in study.doublings.all.iter().enumerate() {
            for bar in doubling.bars.0..=doubling.bars.1 {
                if let Some(here) = in_bar.get_mut(bar as usize) {
                    here.push(index);
                }
            }
        }
        let mut at: BTreeMap<(u32, Crotchets), Vec<usize>> = BTreeMap::new();
        for row in 0..notes.len() {
            at.entry((notes.bar[row], notes.onset[row])).or_default().push(row);
        }
        let mut rows: Vec<Vec<usize>> = vec![Vec::new(); count];
        let mut counted: BTreeMap<(usize, u32, usize), usize> = BTreeMap::new();
        for ((bar, onset), here) in at {
            let mut first: Vec<usize> = (0..count).collect();
            let doublings = in_bar.get(bar as usize).map_or(&[][..], Vec::as_slice);
            for doubling in doublings.iter().map(|index| &study.doublings.all[*index]) {
                if doubling.from <= onset && onset < doubling.to {
                    let (a, b) = (root(&first, doubling.a), root(&first, doubling.b));
                    first[a.max(b)] = a.min(b);
                }
            }
            for row in here {
                let line = study.lines.of_row[row] as usize;
                if line < count {
                    let voice = root(&first, line);
                    rows[voice].push(row);
                    *counted.entry((line, bar, voice)).or_default() += 1;
                }
            }
        }
        let mut most: BTreeMap<(usize, u32), (usize, usize)> = BTreeMap::new();
        for ((line, bar, voice), count) in counted {
            let best = most.entry((line, bar)).or_insert((voice, 0));
            if count > best.1 {
                *best = (voice, count);
            }
        }
        let of_line: BTreeMap<(usize, u32), usize> = most.into_iter().map(|(place, (voice, _))| (place, voice)).collect();
        let mut members: BTreeMap<(usize, u32), Vec<usize>> = BTreeMap::new();
        for ((line, bar), voice) in &of_line {
            members.entry((*voice, *bar)).or_default().push(*line);
        }
        let lines = rows.into_iter().map(|rows| Line { name: String::new(), rows }).collect();
        Self { lines, of_line, members }
    }

    /// The voice of a line in a bar; what is held into a bar stays what it was.
    fn at(&self, line: usize, bar: u32) -> Option<usize> {
        self.of_line.range((line, 0)..=(line, bar)).next_back().map(|(_, voice)| *voice)
    }

    /// The parts in a voice in a bar, in score order.
    fn parts_in(&self, study: &Study, voice: usize, bar: u32) -> Vec<usize> {
        let members = self.members.range((voice, 0)..=(voice, bar)).next_back().map(|(_, lines)| lines);
        let mut parts: Vec<usize> =
            members.into_iter().flatten().filter_map(|line| Some(study.lines.lines.get(*line)?.part)).collect();
        parts.sort_unstable();
        parts.dedup();
        parts
    }
}

/// The first of the lines joined with one.
fn root(first: &[usize], mut line: usize) -> usize {
    while first[line] != line {
        line = first[line];
    }
    line
}
