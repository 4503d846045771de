//! What each term of the programme should weigh: settings compared on passages by which nothing is reported.

use std::path::Path;

use ripieno_casting::{Lineup, Options, Plan, Taste, cast, grounded, units};
use ripieno_formats::Limits;
use ripieno_practice::Profile;
use ripieno_study::analyse_file;
use ripieno_texture::Role;

use crate::masters::{LENGTH, REDUCTIONS, Tally, of_others, role_in};
use crate::original::{passages, passages_beside, times};
use crate::{Answer, scores};

/// Files are read by so many at once.
const AT_ONCE: usize = 3;

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
            "carrier" => &mut taste.carrier,
            "wish" => &mut taste.wish,
            _ => return Err(fault()),
        };
        *weight = value.parse().map_err(|_| fault())?;
    }
    Ok(taste)
}

/// For each setting the agreement of roles, told who plays, in the second-best passages of every score: of plain sketches, of sketches in octaves, and their mean by work.
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
    let mut sums = vec![[Tally::default(); REDUCTIONS.len()]; settings.len()];
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
    println!("{passages} passages\nsetting,plain,of,in_octaves,of");
    for (setting, [plain, octaves]) in settings.iter().zip(sums) {
        println!("{},{:.4},{},{:.4},{}", setting.replace(',', " "), plain.share(), plain.all, octaves.share(), octaves.all);
    }
    Ok(())
}

/// Passages of a score, and for each taste what is right of each kind of sketch.
type Counted = (usize, Vec<[Tally; REDUCTIONS.len()]>);

fn one(profile: &Profile, file: &Path, folds: &str, tastes: &[Taste]) -> Result<Counted, String> {
    let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
    let (habits, learned) = of_others(profile, file, folds)?;
    let (lineup, of_part) = Lineup::of_score(&study.score);
    let groups = units(&lineup);
    let mut tallies = vec![[Tally::default(); REDUCTIONS.len()]; tastes.len()];
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
                        tallies[kind].add(role_in(phrase, unit) == *role);
                    }
                }
            }
        }
    }
    Ok((others.len(), tallies))
}
