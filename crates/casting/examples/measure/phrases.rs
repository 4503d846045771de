//! Phrases found, against the fermatas of chorales, which are taken out before they are sought.

use std::path::{Path, PathBuf};

use ripieno_casting::{Plan, Sketch};
use ripieno_formats::{Limits, read_file};
use ripieno_score::{Articulations, Crotchets};

use crate::Answer;

/// Moments found and moments there are, and how many are both.
#[derive(Default)]
struct Found {
    both: usize,
    found: usize,
    there: usize,
}

impl Found {
    fn add(&mut self, cuts: &[Crotchets], there: &[Crotchets]) {
        self.both += cuts.iter().filter(|cut| there.contains(cut)).count();
        self.found += cuts.len();
        self.there += there.len();
    }

    fn tell(&self, what: &str) {
        let share = |of: usize| self.both as f64 / of.max(1) as f64;
        println!(
            "{what}: {} of {} cuts at a phrase's end ({:.2}), {:.2} of {} ends found",
            self.both,
            self.found,
            share(self.found),
            share(self.there),
            self.there
        );
    }
}

pub fn phrases(folder: &str) -> Answer {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).map_err(|error| error.to_string())?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "musicxml"));
    files.sort();
    let (mut ours, mut told, mut fours) = (Found::default(), Found::default(), Found::default());
    for file in &files {
        let (sketch, ends) = without_fermatas(file)?;
        let marked = crate::sketch_of(file)?;
        let plan = Plan::phrases_of(&marked);
        let cuts: Vec<Crotchets> = plan.phrases.iter().skip(1).map(|phrase| marked.seam(phrase.bars.start)).collect();
        told.add(&cuts, &ends);
        // The first and the last moment are no cuts.
        let inner = |bars: &[usize]| -> Vec<usize> {
            bars.iter().copied().filter(|&bar| bar > 0 && bar < sketch.score.bars.len()).collect()
        };
        let starts: Vec<usize> = Plan::phrases_of(&sketch).phrases.iter().map(|phrase| phrase.bars.start).collect();
        let cuts: Vec<Crotchets> = inner(&starts).into_iter().map(|bar| sketch.seam(bar)).collect();
        ours.add(&cuts, &ends);
        let upbeat = usize::from(sketch.score.bars.len() > 1 && sketch.score.bars[0].length < sketch.score.bars[1].length);
        let every: Vec<usize> = (1..).map(|n| upbeat + 4 * n).take_while(|&bar| bar < sketch.score.bars.len()).collect();
        // A count of fours that knows the upbeat.
        let by = if upbeat == 1 { sketch.score.bars[0].length } else { Crotchets::ZERO };
        let cuts: Vec<Crotchets> = every.into_iter().map(|bar| sketch.bar_start(bar) - by).collect();
        fours.add(&cuts, &ends);
    }
    println!("{} chorales", files.len());
    ours.tell("along the tune");
    fours.tell("every four bars");
    told.tell("along the tune, fermatas left in");
    Ok(())
}

/// A sketch with its fermatas taken out, and when the notes under those of the melody end.
fn without_fermatas(file: &Path) -> Result<(Sketch, Vec<Crotchets>), String> {
    let mut score = read_file(file, &Limits::default()).map_err(|error| error.to_string())?.score;
    let mut ends = Vec::new();
    for (at, part) in score.parts.iter_mut().enumerate() {
        for note in part.notes.iter_mut().filter(|note| note.articulations.contains(Articulations::FERMATA)) {
            note.articulations -= Articulations::FERMATA;
            if at == 0 {
                ends.push(score.bars[note.bar.at()].start + note.at + note.duration);
            }
        }
    }
    let sketch = Sketch::by_names(score).ok_or_else(|| format!("{}: no staff is named by a role", file.display()))?;
    let last = sketch.score.length();
    ends.retain(|end| *end < last);
    ends.dedup();
    Ok((sketch, ends))
}
