//! Density: how much goes on at once, and where least and most does.

use std::collections::BTreeSet;

use ripieno_score::Crotchets;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};

pub(super) const MEASURE: Measure = Measure {
    name: "density",
    title: "Density",
    says: "How many attacks a second, players, lines and pitch classes the score and each family sound on average, and in which bars it is thinnest and thickest.",
    definition: "Attacks: moments at which a line begins a note or a chord, grace notes left out, a tremolo or roll counting once, over the bars in which the group \
                 sounds; a second at the printed tempo, without fermatas and changes in words, and left out where no tempo is printed or given for playback. Players (as printed, a body of strings \
                 without a number with its least), lines and pitch classes: the average over the time in which anything of the group sounds, for pitch classes anything with pitch. Thinnest and thickest bars: the \
                 lowest and highest of these averages taken bar by bar, of bars in which the group sounds, with every bar that has it.",
    source: "common practice of analysis; the definition is this project's",
    example: "The demo has fewest players in bar 0, where one horn begins alone, and most lines in the last chord, bar 108.",
    on_chart: OnChart::Without("without attacks and pitch classes"),
    take,
};

/// What a group does in one bar.
#[derive(Debug, Clone, Copy, Default)]
struct Bar {
    attacks: u32,
    /// Time in which it sounds.
    sounds: Crotchets,
    /// Time in which it sounds with pitch.
    pitched: Crotchets,
    /// Time times players, lines and pitch classes.
    players: Crotchets,
    lines: Crotchets,
    classes: Crotchets,
}

fn take(material: &Material<'_>) -> Vec<Value> {
    let subjects =
        material.subjects().into_iter().filter(|of| matches!(of, Subject::Everybody | Subject::Family(_) | Subject::Named(_)));
    subjects.flat_map(|of| density_of(of, &bars_of(material, of), material)).collect()
}

/// The bars of the piece for one group.
fn bars_of(material: &Material<'_>, of: Subject) -> Vec<Bar> {
    let member = material.members(of);
    let mut bars = vec![Bar::default(); material.sounding.bars.len()];
    let mut here: Vec<u32> = Vec::new();
    for (slice, rows) in material.slices.iter() {
        here.clear();
        here.extend(rows.iter().filter(|&&row| member[material.part_of(row)]));
        let Some(bar) = bars.get_mut(slice.bar as usize).filter(|_| !here.is_empty()) else { continue };
        let lines: BTreeSet<usize> = here.iter().map(|&row| material.line_of(row)).collect();
        let classes: BTreeSet<i32> = here.iter().filter_map(|&row| material.key_of(row)).map(|key| key % 12).collect();
        let times = |count: usize| slice.length() * Crotchets::whole(i64::try_from(count).unwrap_or(i64::MAX));
        bar.sounds += slice.length();
        bar.players += slice.length() * Crotchets::whole(i64::from(material.players(&here)));
        bar.lines += times(lines.len());
        bar.classes += times(classes.len());
        if !classes.is_empty() {
            bar.pitched += slice.length();
        }
    }
    for line in material.lines.lines.iter().filter(|line| member[line.part]) {
        for attack in &line.attacks {
            if let Some(bar) = bars.get_mut(attack.bar as usize) {
                bar.attacks += 1;
            }
        }
    }
    bars
}

fn density_of(of: Subject, bars: &[Bar], material: &Material<'_>) -> Vec<Value> {
    let mut values = Vec::new();
    let mean = |sum: Crotchets, time: Crotchets| sum.checked_div(time).map(Crotchets::to_f64);
    if !material.sounding.tempo.assumed && !material.charted {
        let seconds = |bar: u32| {
            let bar = &material.sounding.bars[bar as usize];
            let tempo = &material.sounding.tempo;
            tempo.seconds(bar.start + bar.length) - tempo.seconds(bar.start)
        };
        let attacks: Vec<(u32, f64, f64)> = (0u32..)
            .zip(bars)
            .filter(|(_, bar)| !bar.sounds.is_zero())
            .map(|(index, bar)| (index, f64::from(bar.attacks), seconds(index)))
            .filter(|&(_, _, seconds)| seconds > 0.0)
            .collect();
        let (sum, time) = attacks.iter().fold((0.0, 0.0), |(sum, time), one| (sum + one.1, time + one.2));
        let by_bar: Vec<(u32, f64)> = attacks.iter().map(|&(bar, attacks, seconds)| (bar, attacks / seconds)).collect();
        values.extend(average(of, "attacks", Unit::PerSecond, (time > 0.0).then_some(sum / time), &by_bar));
    }
    let mut over_time = |aspect: &str, unit: Unit, of_bar: fn(&Bar) -> (Crotchets, Crotchets)| {
        let sums = bars.iter().map(of_bar).fold((Crotchets::ZERO, Crotchets::ZERO), |a, b| (a.0 + b.0, a.1 + b.1));
        let by_bar: Vec<(u32, f64)> = (0u32..)
            .zip(bars)
            .filter_map(|(index, bar)| {
                let (sum, time) = of_bar(bar);
                Some((index, mean(sum, time)?))
            })
            .collect();
        values.extend(average(of, aspect, unit, mean(sums.0, sums.1), &by_bar));
    };
    over_time("players", Unit::Players, |bar| (bar.players, bar.sounds));
    over_time("lines", Unit::Count, |bar| (bar.lines, bar.sounds));
    over_time("pitch classes", Unit::Count, |bar| (bar.classes, bar.pitched));
    values
}

/// An average with its thinnest and thickest bars; nothing where there is no average.
fn average(of: Subject, aspect: &str, unit: Unit, mean: Option<f64>, by_bar: &[(u32, f64)]) -> Vec<Value> {
    let Some(mean) = mean else { return Vec::new() };
    let value = |aspect: String, value: f64, bars: Vec<u32>| Value { of, with: None, aspect, value, unit, bars };
    let mut values = vec![value(aspect.to_owned(), mean, by_bar.iter().map(|bar| bar.0).collect())];
    let lowest = by_bar.iter().map(|bar| bar.1).fold(f64::INFINITY, f64::min);
    let highest = by_bar.iter().map(|bar| bar.1).fold(f64::NEG_INFINITY, f64::max);
    for (which, extreme) in [("thinnest", lowest), ("thickest", highest)] {
        // Bars of one tempo may differ in the last digit of their seconds.
        let alike = |value: f64| (value - extreme).abs() <= 1e-9 * extreme.abs().max(1.0);
        let at = by_bar.iter().filter(|bar| alike(bar.1)).map(|bar| bar.0).collect();
        values.push(value(format!("{aspect}, {which} bars"), extreme, at));
    }
    values
}
