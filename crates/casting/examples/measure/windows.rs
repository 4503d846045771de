//! What every section does in every phrase of every score, beside what the sketch of the phrase tells: the tables a network of who does what is trained on.

use std::io::Write;
use std::path::Path;

use ripieno_casting::{Lineup, Plan, Sketch, casting_table, grounded, present, units};
use ripieno_formats::Limits;
use ripieno_study::{Study, analyse_file};
use ripieno_texture::{Role, RoleReading};

use crate::masters::{REDUCTIONS, name_of};
use crate::original::{class, passages, times};
use crate::weights::AT_ONCE;
use crate::{Answer, scores};

/// Bars of a passage that is reduced, as in `masters`; and from one to the next.
const LENGTH: usize = 8;
const STEP: usize = 4;

/// A phrase: its row of the index, and its numbers.
type Row = (String, Vec<f32>);

/// Writes two files. `OUT.csv` has a row for each phrase: score, kind of passage, sketch, first and last bar, its groups' sections, how many strands, how many numbers a group, a strand and a pair
/// have. `OUT.f32` has their numbers, one phrase after the other: of each group, of each strand, of each group with each strand, then of each group the place of the strand that it
/// has in the original (-1 where the sketch has none such) and of each strand the share of the group's time in its role. Groups that rest are left out.
pub fn windows(folder: &str, out: &str) -> Answer {
    let fault = |error: std::io::Error| format!("{out}: {error}");
    let mut index = std::io::BufWriter::new(std::fs::File::create(format!("{out}.csv")).map_err(fault)?);
    let mut body = std::io::BufWriter::new(std::fs::File::create(format!("{out}.f32")).map_err(fault)?);
    writeln!(index, "score,kind,sketch,from,to,sections,strands,of_group,of_strand,of_pair").map_err(fault)?;
    let files = scores(folder)?;
    let of_score = |file: &Path| -> Result<Vec<Row>, String> {
        let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
        let name = name_of(file);
        let bars = study.score.bars.len();
        let mut wanted: Vec<(&str, usize)> =
            (0..bars.saturating_sub(LENGTH)).step_by(STEP).map(|start| ("window", start)).collect();
        wanted.extend(passages(&study, LENGTH));
        let of_passage = |(kind, start): (&str, usize)| -> Vec<Row> {
            passage(&study, start).into_iter().map(|(row, numbers)| (format!("{name},{kind},{row}"), numbers)).collect()
        };
        let found = wanted.into_iter().flat_map(of_passage).collect();
        eprintln!("{name}");
        Ok(found)
    };
    // So many scores at once, written in their order.
    for some in files.chunks(AT_ONCE) {
        let found: Vec<Result<Vec<Row>, String>> = std::thread::scope(|scope| {
            let threads: Vec<_> = some.iter().map(|file| scope.spawn(|| of_score(file))).collect();
            threads
                .into_iter()
                .map(|thread| thread.join().unwrap_or_else(|_| Err("a score could not be read".to_owned())))
                .collect()
        });
        for (row, numbers) in found.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten() {
            writeln!(index, "{row}").map_err(fault)?;
            for number in numbers {
                body.write_all(&number.to_le_bytes()).map_err(fault)?;
            }
        }
    }
    index.flush().and_then(|()| body.flush()).map_err(fault)
}

/// The phrases of a passage: the rest of the row, and the numbers.
fn passage(study: &Study, start: usize) -> Vec<Row> {
    let (lineup, of_part) = Lineup::of_score(&study.score);
    let groups = units(&lineup);
    let roles = grounded(&study.lines, &study.roles.roles, &(start..start + LENGTH));
    let mut found = Vec::new();
    for (of, reduction) in REDUCTIONS {
        let sketch = reduction(&study.score, &study.sounding, &study.lines, &study.roles.roles, start..start + LENGTH);
        if sketch.strands.is_empty() {
            continue;
        }
        for phrase in Plan::phrases_of(&sketch).phrases {
            let bars = start + phrase.bars.start..start + phrase.bars.end;
            let span = Plan::span(&sketch, &phrase.bars);
            let strands = present(&sketch, span);
            let table = casting_table(&sketch, &lineup, &groups, &strands, span);
            let (mut rows, mut pairs, mut truths, mut shares, mut sections) = (vec![], vec![], vec![], vec![], vec![]);
            for (at, unit) in groups.iter().enumerate() {
                let original = times(study, &roles, &of_part, unit.section, bars.clone());
                if original.role() == Role::Tacet {
                    continue;
                }
                let role_of = |at: usize| class(sketch.strands[strands[at]].role);
                let times = strand_times(study, &roles, &of_part, unit.section, (bars.clone(), start), (&sketch, &strands));
                // Of several strands of its role the one that it has longest, of equals the first.
                let own = (0..strands.len()).rev().filter(|&at| role_of(at) == original.role());
                let place = own.max_by(|&a, &b| times[a].total_cmp(&times[b]));
                truths.push(place.map_or(-1.0, |place| place as f32));
                let all: f64 = original.time.values().sum::<f64>().max(1e-9);
                shares.extend(times.iter().map(|time| (time / all) as f32));
                sections.push(format!("{at}:{}", table.kinds[at]));
                rows.extend_from_slice(&table.groups[at]);
                for strand in 0..strands.len() {
                    pairs.extend_from_slice(&table.pairs[at * strands.len() + strand]);
                }
            }
            let width = |rows: &[Vec<f32>]| rows.first().map_or(0, Vec::len);
            let row = format!(
                "{of},{},{},{},{},{},{},{}",
                bars.start,
                bars.end,
                sections.join("|"),
                strands.len(),
                width(&table.groups),
                width(&table.strands),
                width(&table.pairs)
            );
            found.push((row, [rows, table.strands.concat(), pairs, truths, shares].concat()));
        }
    }
    found
}

/// How long a section has each strand, in crotchets of all its notes in the strand's role: each note goes to the strand of its role that begins the same note, the nearest octave first; else
/// to one that sounds it; else to the first.
fn strand_times(
    study: &Study,
    roles: &RoleReading,
    of_part: &[Option<usize>],
    section: usize,
    (bars, start): (std::ops::Range<usize>, usize),
    (sketch, strands): (&Sketch, &[usize]),
) -> Vec<f64> {
    let notes = &study.sounding.notes;
    let from = study.score.bars[start].start;
    let mut times = vec![0.0; strands.len()];
    for (part, _) in of_part.iter().enumerate().filter(|(_, at)| **at == Some(section)) {
        let rows = notes.of_part[part].clone();
        for row in rows.filter(|&row| bars.contains(&(notes.bar[row] as usize)) && notes.duration[row].is_positive()) {
            let line = study.lines.of_row[row] as usize;
            let Some(span) = roles.in_bar(part, notes.bar[row]).find(|span| span.line == line) else { continue };
            let at = notes.onset[row] - from;
            let key = notes.key[row].map(|key| i32::from(key.number()));
            let fit = |&place: &usize| -> (u8, i32, usize) {
                let found = &sketch.strands[strands[place]];
                let Some(key) = key else { return (2, 0, place) };
                let same = |note: &ripieno_casting::SketchNote| (note.key() - key) % 12 == 0;
                let first = found.notes.partition_point(|note| note.onset < at);
                let begun = found.notes[first..].iter().take_while(|note| note.onset == at).filter(|note| same(note));
                if let Some(off) = begun.map(|note| (note.key() - key).abs()).min() {
                    return (0, off, place);
                }
                if found.at(at).is_some_and(same) { (1, 0, place) } else { (2, 0, place) }
            };
            let own = (0..strands.len()).filter(|&place| class(sketch.strands[strands[place]].role) == class(span.role()));
            if let Some(place) = own.min_by_key(fit) {
                times[place] += notes.duration[row].to_f64();
            }
        }
    }
    times
}
