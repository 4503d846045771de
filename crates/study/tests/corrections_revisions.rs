//! How often corrections are found again in heavily revised real scores: a measurement, since real music repeats itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

mod scores;

use std::path::PathBuf;
use std::time::{Duration, Instant};

use ripieno_formats::{Limits, read_file};
use ripieno_score::{Head, Note, Score};
use ripieno_study::corrections::Corrections;
use ripieno_texture::Role;
use scores::{keyed, page, set, view, with_page};

/// Numbers drawn by a linear congruence, the same each time.
struct Dice(u64);

impl Dice {
    fn below(&mut self, count: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % count.max(1)
    }
}

/// A revision: one bar in twenty taken out, as many copies of bars put in elsewhere in runs of one to four, in one bar in ten of
/// each part a note changed, one part a fourth lower under another name, the first two parts exchanged. With, for each bar of
/// the old score, its place in the new.
fn revise(score: &Score, dice: &mut Dice) -> (Score, Vec<Option<usize>>) {
    let bars = score.bars.len();
    let mut pages: Vec<(Option<usize>, _)> = page(score).into_iter().enumerate().map(|(at, page)| (Some(at), page)).collect();
    let moved = dice.below(score.parts.len());
    for (_, (_, parts)) in &mut pages {
        for (part, notes) in parts.iter_mut().enumerate() {
            let lower = |note: &mut Note, by: i32| {
                if let Head::Pitched(pitch) = note.head {
                    note.head = Head::Pitched(keyed((pitch.semitones() - by).max(24)));
                }
            };
            if part == moved {
                notes.iter_mut().for_each(|note| lower(note, 5));
            }
            if !notes.is_empty() && dice.below(10) == 0 {
                let at = dice.below(notes.len());
                lower(&mut notes[at], 2);
            }
        }
    }
    for _ in 0..bars / 20 {
        pages.remove(dice.below(pages.len()));
    }
    let mut left = bars / 20;
    while left > 0 {
        let run = (1 + dice.below(4)).min(left);
        let (from, to) = (dice.below(pages.len() - run), dice.below(pages.len()));
        let copies: Vec<_> = pages[from..from + run].iter().map(|(_, page)| (None, page.clone())).collect();
        pages.splice(to..to, copies);
        left -= run;
    }
    let mut places = vec![None; bars];
    for (at, (old, _)) in pages.iter().enumerate() {
        if let Some(old) = old {
            places[*old] = Some(at);
        }
    }
    let page = pages.into_iter().map(|(_, page)| page).collect();
    let mut new = with_page(score, &page);
    new.parts[moved].name = "Another".to_owned();
    new.parts[moved].id = "another".to_owned();
    if new.parts.len() > 1 {
        new.parts.swap(0, 1);
    }
    (new, places)
}

/// Run with `RIPIENO_SCORES=FOLDER ... --ignored --nocapture`: a correction on one bar of one part, for every bar, and on eight bars.
#[test]
#[ignore = "a measurement on a folder of scores, not a check"]
fn bars_found_again() {
    let folder = PathBuf::from(std::env::var_os("RIPIENO_SCORES").unwrap());
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| ending == "mxl" || ending == "musicxml"));
    files.sort();
    let mut dice = Dice(7);
    let mut sums = [0usize; 9];
    let mut longest = (Duration::ZERO, String::new());
    for path in &files {
        let Ok(reading) = read_file(path, &Limits::default()) else { continue };
        let (before, before_view) = (reading.score.clone(), view(&reading.score));
        let (after, places) = revise(&before, &mut dice);
        let after_view = view(&after);
        let mut corrections = Corrections::default();
        let mut asked = Vec::new();
        let bars = before.bars.len();
        for length in [1, 8] {
            for bar in (0..bars.saturating_sub(length)).step_by(length) {
                // The part that plays in it, chosen by lot.
                let playing: Vec<usize> = (0..before.parts.len())
                    .filter(|&part| {
                        let rows = before_view.notes.of_part[part].clone();
                        before_view.notes.bar[rows].binary_search(&u32::try_from(bar).unwrap()).is_ok()
                    })
                    .collect();
                if playing.is_empty() {
                    continue;
                }
                let part = playing[dice.below(playing.len())];
                let (from, to) = (u32::try_from(bar).unwrap(), u32::try_from(bar + length - 1).unwrap());
                let id = corrections.add(&before, &before_view, set(&[Role::Melody], part, from, to)).unwrap();
                asked.push((id, part, bar, length));
            }
        }
        let start = Instant::now();
        let placed = corrections.place(&after, &after_view);
        longest = longest.max((start.elapsed(), format!("{} bars, {} parts", bars, before.parts.len())));
        for (id, part, bar, length) in asked {
            let found = placed.instructions.iter().find(|one| one.correction == id);
            let left: Vec<usize> = places[bar..bar + length].iter().flatten().copied().collect();
            let offset = if length == 1 { 0 } else { 4 };
            match (found, left.first(), left.last()) {
                (Some(one), Some(&first), Some(&last)) => {
                    let end = after_view.bars[last].start + after_view.bars[last].length;
                    let new_part = if part < 2 { 1 - part } else { part };
                    let right = one.from == after_view.bars[first].start && one.to == end && one.who[0].part == new_part;
                    sums[offset + usize::from(!right)] += 1;
                    if one.who[0].part != new_part {
                        sums[8] += 1;
                    }
                }
                (None, Some(_), _) => sums[offset + 2] += 1,
                (Some(_), None, _) => sums[offset + 3] += 1,
                (None, None, _) | (Some(_), Some(_), None) => {}
            }
        }
    }
    println!("{} scores; longest {longest:?}", files.len());
    println!("one bar: right {}, elsewhere {}, not found {}; found though gone {}", sums[0], sums[1], sums[2], sums[3]);
    println!(
        "eight bars: right {}, not exactly {}, not found {}; found though gone {}; other part {}",
        sums[4], sums[5], sums[6], sums[7], sums[8]
    );
}
