//! What every section does in every few bars, beside the sketch of these bars: a table for fitting models of who does what.

use std::collections::BTreeMap;

use ripieno_casting::{Lineup, Plan, reduce, units};
use ripieno_formats::Limits;
use ripieno_score::Crotchets;
use ripieno_study::{Study, analyse_file};

use crate::original::{class, passages, told, truth};
use crate::{Answer, scores};

/// For each octave, the share of a line's notes that lines of the same role double there.
fn doubled_at(study: &Study, strand: &ripieno_casting::Strand, bars: &std::ops::Range<usize>) -> BTreeMap<i32, f64> {
    let start = study.score.bars[bars.start].start;
    let notes = &study.sounding.notes;
    let mut found: BTreeMap<i32, f64> = BTreeMap::new();
    let mut main: BTreeMap<Crotchets, i32> = BTreeMap::new();
    for note in strand.notes.iter().filter(|note| note.duration.is_positive()) {
        main.insert(note.onset, note.key());
    }
    let mut seen: std::collections::BTreeSet<(Crotchets, i32)> = std::collections::BTreeSet::new();
    for span in &study.roles.roles.spans {
        if class(span.role()) != class(strand.role) {
            continue;
        }
        for &row in &study.lines.lines[span.line].rows {
            let row = row as usize;
            let bar = notes.bar[row];
            if !span.bars.contains(&bar) || !bars.contains(&(bar as usize)) {
                continue;
            }
            let (Some(key), onset) = (notes.key[row], notes.onset[row] - start) else { continue };
            if let Some(own) = main.get(&onset) {
                let apart = i32::from(key.number()) - own;
                if apart % 12 == 0 && seen.insert((onset, apart)) {
                    *found.entry(apart / 12).or_default() += 1.0 / main.len() as f64;
                }
            }
        }
    }
    found
}

pub fn windows(folder: &str, out: &str) -> Answer {
    const LENGTH: usize = 4;
    let files = scores(folder)?;
    let mut table = "file,kind,bar,unit,section,instrument,chairs,low,high,truth,told,median,level,strands\n".to_owned();
    for file in &files {
        let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
        let name = file.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let (lineup, of_part) = Lineup::of_score(&study.score);
        let groups = units(&lineup);
        let mut wanted: Vec<(&str, std::ops::Range<usize>)> = (0..study.score.bars.len().saturating_sub(LENGTH))
            .step_by(2 * LENGTH)
            .map(|start| ("window", start..start + LENGTH))
            .collect();
        for (kind, start) in passages(&study, 2 * LENGTH) {
            let bars = start..start + 2 * LENGTH;
            let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
            let phrases = Plan::phrases_of(&sketch).phrases;
            wanted.extend(phrases.iter().map(|phrase| (kind, start + phrase.bars.start..start + phrase.bars.end)));
        }
        for (kind, bars) in wanted {
            let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars.clone());
            let strands: Vec<String> = sketch
                .strands
                .iter()
                .map(|strand| {
                    let mut keys: BTreeMap<i32, usize> = BTreeMap::new();
                    for note in &strand.notes {
                        *keys.entry(note.key()).or_default() += 1;
                    }
                    let keys: Vec<String> = keys.iter().map(|(key, count)| format!("{key}x{count}")).collect();
                    let mut onsets: Vec<Crotchets> = strand.notes.iter().map(|note| note.onset).collect();
                    onsets.dedup();
                    let octaves = if strand.is_chordal() { BTreeMap::new() } else { doubled_at(&study, strand, &bars) };
                    let octaves: Vec<String> = octaves.iter().map(|(octave, share)| format!("{octave}x{share:.2}")).collect();
                    format!("{}:{}:{}:{}", strand.role, keys.join(" "), onsets.len(), octaves.join(" "))
                })
                .collect();
            let level =
                sketch.strands.iter().filter_map(|strand| sketch.level_at(strand.part, Crotchets::ZERO)).fold(0.0f32, f32::max);
            for (n, unit) in groups.iter().enumerate() {
                let (role, median) = truth(&study, &of_part, unit.section, bars.clone());
                let chair = &lineup.sections[unit.section].chairs[unit.chairs[0]];
                let median = median.map_or_else(String::new, |median| median.to_string());
                table += &format!(
                    "{name},{kind},{}-{},{n},{},{},{},{},{},{role},{},{median},{level},{}\n",
                    bars.start,
                    bars.end,
                    lineup.sections[unit.section].kind,
                    chair.instrument.id,
                    unit.chairs.len(),
                    chair.reach.possible.low(),
                    chair.reach.possible.high(),
                    told(&study, &of_part, unit.section, bars.clone())
                        .iter()
                        .map(|role| role.name())
                        .collect::<Vec<_>>()
                        .join("|"),
                    strands.join(";")
                );
            }
        }
        eprintln!("{name}");
        std::fs::write(out, &table).map_err(|error| error.to_string())?;
    }
    Ok(())
}
