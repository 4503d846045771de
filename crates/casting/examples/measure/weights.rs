//! What each term of the programme should weigh: settings compared on passages by which nothing is reported.

use std::path::Path;

use ripieno_casting::{Lineup, Options, Plan, Taste, cast, grounded, units};
use ripieno_formats::Limits;
use ripieno_practice::Profile;
use ripieno_study::analyse_file;
use ripieno_texture::Role;

use crate::masters::{LENGTH, REDUCTIONS, Tally, alone, of_others, role_in};
use crate::original::{passages, passages_beside, times};
use crate::{Answer, scores};

/// Files are read by so many at once.
pub const AT_ONCE: usize = 3;

/// A taste with weights of a setting, `known=2,steady=0`; as it is where nothing is said.
pub fn set(taste: &Taste, setting: &str) -> Result<Taste, String> {
    let mut taste = taste.clone();
    for word in setting.split(',').filter(|word| !word.is_empty() && *word != "usual") {
        let fault = || format!("“{word}” is no weight; give for example known=2,steady=0");
        let (name, value) = word.split_once('=').ok_or_else(fault)?;
        let weight = match name {
            "known" => &mut taste.known,
            "register" => &mut taste.register,
            "steady" => &mut taste.steady,
            "theme" => &mut taste.theme,
            "heard" => &mut taste.heard,
            "pairs" => &mut taste.pairs,
            "few" => &mut taste.few,
            "like" => &mut taste.like,
            "carrier" => &mut taste.carrier,
            "wish" => &mut taste.wish,
            _ => return Err(fault()),
        };
        *weight = value.parse().map_err(|_| fault())?;
    }
    Ok(taste)
}

/// For each setting, and for what is learned alone, the agreement of roles, told who plays, in the second-best passages of every score: of plain sketches and of sketches in octaves, of these the
/// same in line-ups in which every player is a group of his own, and the mean of the first two.
pub fn weights(profile: &str, folder: &str, folds: &str, settings: &[&str]) -> Answer {
    let text = std::fs::read_to_string(profile).map_err(|error| format!("{profile}: {error}"))?;
    let profile = Profile::from_json(&text).map_err(|error| error.to_string())?;
    let files = scores(folder)?;
    let tastes: Vec<Taste> = settings.iter().map(|setting| set(&Taste::default(), setting)).collect::<Result<_, _>>()?;
    let of_file = |file: &Path| one(&profile, file, folds, &tastes);
    let mine = |first: usize| files.iter().skip(first).step_by(AT_ONCE).map(|file| of_file(file)).collect::<Result<Vec<_>, _>>();
    let found: Vec<Result<Vec<_>, String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..AT_ONCE).map(|first| scope.spawn(move || mine(first))).collect();
        threads.into_iter().map(|thread| thread.join().unwrap_or_else(|_| Err("a score could not be read".to_owned()))).collect()
    });
    let mut sums = vec![[Tally::default(); COUNTED]; settings.len() + 1];
    let mut passages = 0;
    for (count, tallies) in found.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten() {
        passages += count;
        for (sums, tallies) in sums.iter_mut().zip(tallies) {
            for (sum, tally) in sums.iter_mut().zip(tallies) {
                sum.right += tally.right;
                sum.all += tally.all;
            }
        }
    }
    println!("{passages} passages\nsetting,plain,of,in_octaves,of,plain few,of,in_octaves few,of,mean");
    for (setting, found) in settings.iter().copied().chain(["learned alone"]).zip(sums) {
        let cells: Vec<String> = found.iter().map(|tally| format!("{:.4},{}", tally.share(), tally.all)).collect();
        println!("{},{},{:.4}", setting.replace(',', " "), cells.join(","), f64::midpoint(found[0].share(), found[1].share()));
    }
    Ok(())
}

/// Passages of a score, and for each taste what is right of each kind of sketch.
type Counted = (usize, Vec<[Tally; COUNTED]>);

/// Each kind of sketch; all line-ups, and line-ups of few.
const COUNTED: usize = 2 * REDUCTIONS.len();

fn one(profile: &Profile, file: &Path, folds: &str, tastes: &[Taste]) -> Result<Counted, String> {
    let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
    let (habits, learned) = of_others(profile, file, folds)?;
    let (lineup, of_part) = Lineup::of_score(&study.score);
    let groups = units(&lineup);
    let mut tallies = vec![[Tally::default(); COUNTED]; tastes.len() + 1];
    // In line-ups of few every player is a group of his own.
    let few = !lineup.sections.iter().any(|section| section.is_body) && groups.iter().all(|unit| unit.chairs.len() == 1);
    let others = passages_beside(&study, LENGTH, &passages(&study, LENGTH));
    for &(_, start) in &others {
        let roles = grounded(&study.lines, &study.roles.roles, &(start..start + LENGTH));
        for (kind, (_, reduction)) in REDUCTIONS.into_iter().enumerate() {
            let sketch = reduction(&study.score, &study.sounding, &study.lines, &study.roles.roles, start..start + LENGTH);
            if sketch.strands.is_empty() {
                continue;
            }
            let plan = Plan::phrases_of(&sketch);
            let of_phrase = |bars: &std::ops::Range<usize>| -> Vec<Role> {
                let bars = start + bars.start..start + bars.end;
                groups.iter().map(|unit| times(&study, &roles, &of_part, unit.section, bars.clone()).role()).collect()
            };
            let truths: Vec<Vec<Role>> = plan.phrases.iter().map(|phrase| of_phrase(&phrase.bars)).collect();
            let playing = truths.iter().map(|phrase| phrase.iter().map(|role| *role != Role::Tacet).collect()).collect();
            let mut options = Options { playing: Some(playing), ..Options::default() };
            for (taste, tallies) in tastes.iter().zip(&mut tallies) {
                options.taste = Taste { learned: learned.clone(), ..taste.clone() };
                let given = cast(&sketch, &lineup, &plan, &habits, &options);
                for (phrase, truths) in given.plan.phrases.iter().zip(&truths) {
                    for (unit, role) in groups.iter().zip(truths).filter(|(_, role)| **role != Role::Tacet) {
                        let right = role_in(&sketch, phrase, unit) == *role;
                        tallies[kind].add(right);
                        if few {
                            tallies[kind + REDUCTIONS.len()].add(right);
                        }
                    }
                }
            }
            for (phrase, truths) in plan.phrases.iter().zip(&truths) {
                let plays: Vec<bool> = truths.iter().map(|role| *role != Role::Tacet).collect();
                let likeliest = alone(&sketch, &lineup, &groups, phrase, &learned, &plays);
                for (ours, role) in likeliest.iter().zip(truths).filter(|(_, role)| **role != Role::Tacet) {
                    tallies[tastes.len()][kind].add(ours == role);
                    if few {
                        tallies[tastes.len()][kind + REDUCTIONS.len()].add(ours == role);
                    }
                }
            }
        }
    }
    Ok((others.len(), tallies))
}
