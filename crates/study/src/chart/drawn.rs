//! The chart of a studied score: what a person would write down who read it without the notes.

use std::collections::BTreeMap;

use ripieno_chart::{Chart, ChartPart, Doubles, Places, Row, Run, Span};
use ripieno_practice::{Material, each_doubled, printed_levels};
use ripieno_score::{Bar, Crotchets, DirectionKind, DynamicLevel, PlayerCount};
use ripieno_texture::{Role, RoleSpan, Techniques};

use crate::Study;

/// How finely a score is charted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Grain {
    /// Every rest and entry to the moment, so that whatever needs no notes is counted on the chart as on the score.
    #[default]
    Exact,
    /// Bars, as a person charts: who sounds anywhere in a bar has it, in the role that fills most of it.
    Bars,
}

/// What a line does at a moment.
#[derive(Debug, Clone, PartialEq)]
struct State {
    roles: Vec<Role>,
    confidence: Option<f32>,
    layer: Option<usize>,
    level: Option<f32>,
    players: PlayerCount,
    manner: Techniques,
}

/// For a while.
#[derive(Debug, Clone, PartialEq)]
struct Stretch {
    from: Crotchets,
    to: Crotchets,
    state: State,
}

/// A doubling by its two lines, its interval in semitones, and whether it is one in full.
type Doubled = (usize, usize, i16, bool);

impl Study {
    /// The chart of this score.
    #[must_use]
    pub fn chart(&self, grain: Grain) -> Chart {
        let material = self.material();
        let names = self.chart_names();
        let mut of_line = self.stretches(&material);
        let mut doubled = self.doubled(&material);
        let mut melody: Vec<(Crotchets, Crotchets)> = self.roles.roles.melody.iter().map(|one| (one.from, one.to)).collect();
        if grain == Grain::Bars {
            of_line.iter_mut().for_each(|line| *line = self.by_bars(line));
            for span in doubled.values_mut().flatten() {
                *span = self.whole_bars(*span);
            }
            doubled.values_mut().for_each(join);
            melody.iter_mut().for_each(|span| *span = self.whole_bars(*span));
        }
        let letters = self.letters();
        let places = Places::of(&self.score);
        let mut rows = Vec::new();
        for (line, stretches) in of_line.iter().enumerate() {
            let part = self.lines.lines[line].part;
            // One row says what is the same again later.
            let mut told: Vec<(State, Option<String>, Vec<Span>)> = Vec::new();
            for stretch in stretches {
                let letter = stretch.state.layer.map(|layer| letters[layer].clone());
                let state = State { layer: None, ..stretch.state.clone() };
                let span = Span::between(&places, stretch.from, stretch.to);
                match told.iter_mut().find(|(other, name, _)| *other == state && *name == letter) {
                    Some((.., spans)) => spans.push(span),
                    None => told.push((state, letter, vec![span])),
                }
            }
            let row = |(state, letter, bars): (State, Option<String>, Vec<Span>)| Row {
                who: vec![names[part].clone()],
                line: self.line_number(line),
                bars,
                roles: state.roles,
                confidence: state.confidence,
                layer: letter.unwrap_or_default(),
                manner: state.manner,
                dynamic: state.level.map(DynamicLevel),
                players: Some(state.players),
                ..Row::default()
            };
            rows.extend(told.into_iter().map(row));
        }
        for (carried, (from, to)) in self.roles.roles.melody.iter().zip(melody) {
            let with = carried.parts().into_iter().filter(|&part| part != carried.part);
            rows.push(Row {
                who: std::iter::once(carried.part).chain(with).map(|part| names[part].clone()).collect(),
                line: self.line_number(carried.line),
                bars: vec![Span::between(&places, from, to)],
                lead: true,
                ..Row::default()
            });
        }
        for ((a, b, interval, full), spans) in doubled {
            let part = |line: usize| self.lines.lines[line].part;
            rows.push(Row {
                who: vec![names[part(b)].clone()],
                line: self.line_number(b),
                bars: spans.into_iter().map(|(from, to)| Span::between(&places, from, to)).collect(),
                doubles: Some(Doubles {
                    who: names[part(a)].clone(),
                    line: self.line_number(a),
                    octaves: interval / 12,
                    in_part: !full,
                }),
                ..Row::default()
            });
        }
        let about = &self.score.about;
        Chart {
            title: about.work.clone(),
            movement: about.movement.clone(),
            composer: about.composer().unwrap_or_default().to_owned(),
            made: format!("by analysis of {}", self.file),
            parts: self.chart_parts(&names),
            bars: self.runs(),
            rows,
            ..Chart::default()
        }
    }

    /// Names by which the parts can be told apart.
    fn chart_names(&self) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for (part, identity) in self.score.parts.iter().zip(&self.groups.parts) {
            let printed = part.name.trim();
            let plain =
                if printed.is_empty() { identity.instrument.map_or("part", |instrument| instrument.name()) } else { printed };
            let taken = |name: &str| names.iter().any(|other| other.to_lowercase() == name.to_lowercase());
            let numbered = (2..).map(|number| format!("{plain} ({number})")).find(|name| !taken(name)).unwrap_or_default();
            names.push(if taken(plain) { numbered } else { plain.to_owned() });
        }
        names
    }

    fn chart_parts(&self, names: &[String]) -> Vec<ChartPart> {
        let part = |(part, name): (&ripieno_score::Part, &String)| ChartPart {
            name: name.clone(),
            instrument: part.instrument_id.clone(),
            players: Some(part.players),
            body: Some(part.is_body),
            comments: Vec::new(),
        };
        self.score.parts.iter().zip(names).map(part).collect()
    }

    /// Which line of its part a line is; `None` for the first.
    fn line_number(&self, line: usize) -> Option<u16> {
        let of_part = &self.lines.of_part[self.lines.lines[line].part];
        u16::try_from(line - of_part.start + 1).ok().filter(|number| *number > 1)
    }

    /// What each line does, from change to change.
    fn stretches(&self, material: &Material<'_>) -> Vec<Vec<Stretch>> {
        let levels = printed_levels(material);
        let notes = &self.sounding.notes;
        let mut all: Vec<Vec<Stretch>> = vec![Vec::new(); self.lines.lines.len()];
        let mut here: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
        for (slice, rows) in material.slices.iter() {
            here.clear();
            for &row in rows {
                here.entry(material.line_of(row)).or_default().push(row);
            }
            for (&line, rows) in &here {
                let span = material.span_at(line, slice.from);
                let people = |of: fn(PlayerCount) -> u16| {
                    rows.iter().map(|&row| of(notes.players[row as usize])).fold(0, u16::saturating_add)
                };
                let state = State {
                    roles: span.map_or_else(Vec::new, |span| span.roles.iter().map(|held| held.role).collect()),
                    confidence: span.and_then(confidence),
                    layer: self.roles.roles.layers.of(line, slice.bar),
                    level: rows.iter().filter_map(|&row| levels[row as usize]).reduce(f32::max),
                    players: PlayerCount::between(people(|count| count.least).max(1), people(|count| count.most).max(1)),
                    manner: rows.iter().fold(Techniques::empty(), |all, &row| all | self.ways[row as usize]),
                };
                match all[line].last_mut().filter(|last| last.to == slice.from && last.state == state) {
                    Some(last) => last.to = slice.to,
                    None => all[line].push(Stretch { from: slice.from, to: slice.to, state }),
                }
            }
        }
        all
    }

    /// Bar by bar, what fills most of each.
    fn by_bars(&self, stretches: &[Stretch]) -> Vec<Stretch> {
        let mut of_bar: BTreeMap<u32, Vec<(Crotchets, &State)>> = BTreeMap::new();
        for stretch in stretches {
            for bar in self.bars_between(stretch.from, stretch.to) {
                let played = &self.sounding.bars[bar as usize];
                let time = stretch.to.min(played.start + played.length) - stretch.from.max(played.start);
                let states = of_bar.entry(bar).or_default();
                match states.iter_mut().find(|(_, state)| **state == stretch.state) {
                    Some((sum, _)) => *sum += time,
                    None => states.push((time, &stretch.state)),
                }
            }
        }
        let mut found: Vec<Stretch> = Vec::new();
        for (bar, states) in of_bar {
            let played = &self.sounding.bars[bar as usize];
            // Of equals the first.
            let Some((_, state)) = states.into_iter().rev().max_by_key(|(time, _)| *time) else { continue };
            let (from, to) = (played.start, played.start + played.length);
            match found.last_mut().filter(|last| last.to == from && last.state == *state) {
                Some(last) => last.to = to,
                None => found.push(Stretch { from, to, state: state.clone() }),
            }
        }
        found
    }

    fn whole_bars(&self, (from, to): (Crotchets, Crotchets)) -> (Crotchets, Crotchets) {
        let bars = self.bars_between(from, to);
        let last = &self.sounding.bars[bars.end.saturating_sub(1) as usize];
        (self.sounding.bars[bars.start as usize].start, last.start + last.length)
    }

    /// When which lines double each other.
    fn doubled(&self, material: &Material<'_>) -> BTreeMap<Doubled, Vec<(Crotchets, Crotchets)>> {
        let mut all: BTreeMap<Doubled, Vec<(Crotchets, Crotchets)>> = BTreeMap::new();
        let mut here: BTreeMap<(usize, usize, i16), bool> = BTreeMap::new();
        each_doubled(material, |slice, doublings| {
            here.clear();
            for &index in doublings {
                let one = &self.doublings.all[index as usize];
                *here.entry((one.a, one.b, one.interval)).or_default() |= one.is_full();
            }
            for (&(a, b, interval), &full) in &here {
                let spans = all.entry((a, b, interval, full)).or_default();
                match spans.last_mut().filter(|last| last.1 == slice.from) {
                    Some(last) => last.1 = slice.to,
                    None => spans.push((slice.from, slice.to)),
                }
            }
        });
        all
    }

    /// A letter for each layer: none that another has at the same time or just before.
    fn letters(&self) -> Vec<String> {
        let layers = &self.roles.roles.layers.layers;
        let mut free_from: Vec<u32> = Vec::new();
        let mut letters = Vec::new();
        for layer in layers {
            let at = free_from.iter().position(|&free| free < layer.bars.start).unwrap_or(free_from.len());
            if at == free_from.len() {
                free_from.push(0);
            }
            free_from[at] = layer.bars.end;
            letters.push(letter(at));
        }
        letters
    }

    /// The bars in stretches in which nothing changes.
    fn runs(&self) -> Vec<Run> {
        let mut over: BTreeMap<usize, (Option<f64>, Option<String>)> = BTreeMap::new();
        for direction in self.score.parts.iter().flat_map(|part| &part.directions).filter(|one| one.at.is_zero()) {
            let told = over.entry(direction.bar.at()).or_default();
            match &direction.kind {
                // A playback tempo is meant for this use and wins, as in the sounding view.
                DirectionKind::PlaybackTempo { crotchets_per_minute } => told.0 = Some(*crotchets_per_minute),
                DirectionKind::Metronome { beat, per_minute, .. } => {
                    told.0 = told.0.or(Some(per_minute * beat.length().to_f64()));
                }
                DirectionKind::Rehearsal(mark) => told.1 = told.1.take().or_else(|| Some(mark.to_string())),
                _ => {}
            }
        }
        let mut runs: Vec<Run> = Vec::new();
        let (mut next, mut metre): (u64, Option<&ripieno_score::Metre>) = (1, None);
        let mut ended = true;
        for (at, bar) in self.score.bars.iter().enumerate() {
            metre = bar.metre.as_ref().or(metre);
            let full = metre.and_then(ripieno_score::Metre::length);
            let (tempo, mark) = over.remove(&at).unwrap_or_default();
            let number = (*bar.number != *next.to_string()).then(|| bar.number.to_string());
            let leading: String = bar.number.chars().take_while(char::is_ascii_digit).collect();
            match leading.parse::<u64>() {
                Ok(counted) => next = counted.saturating_add(1),
                Err(_) if !bar.uncounted => next = next.saturating_add(1),
                Err(_) => {}
            }
            let run = Run {
                count: 1,
                number,
                uncounted: bar.uncounted,
                metre: bar.metre.as_ref().map(ToString::to_string),
                length: (full != Some(bar.length)).then_some(bar.length),
                tempo,
                mark,
                repeat_start: bar.repeat_start,
                repeat_end: bar.repeat_end,
                ending: bar.ending_start.clone(),
                comments: Vec::new(),
            };
            ended = append(&mut runs, run, bar, ended);
        }
        runs
    }
}

/// Adds a bar to the last run where nothing changes with it. Answers whether the run is closed with it.
fn append(runs: &mut Vec<Run>, run: Run, bar: &Bar, closed: bool) -> bool {
    let quiet = run.number.is_none() && run.metre.is_none() && run.tempo.is_none() && run.mark.is_none();
    let opens = run.repeat_start || !run.ending.is_empty();
    let same = |last: &&mut Run| last.length == run.length && last.uncounted == run.uncounted;
    match runs.last_mut().filter(same).filter(|_| quiet && !opens && !closed) {
        Some(last) => {
            last.count += 1;
            last.repeat_end = run.repeat_end;
        }
        None => runs.push(run),
    }
    bar.repeat_end.is_some() || bar.ending_stop || bar.uncounted
}

/// How sure a role is that the analysis read; `None` for what a person set.
fn confidence(span: &RoleSpan) -> Option<f32> {
    let by_hand = span.evidence.contains(&ripieno_texture::Evidence::SetByHand);
    span.roles.first().filter(|_| !by_hand).map(|held| held.confidence.clamp(0.0, 1.0))
}

/// a to z, aa, ab ...
fn letter(at: usize) -> String {
    let own = char::from(b'a' + u8::try_from(at % 26).unwrap_or(0));
    match at / 26 {
        0 => own.to_string(),
        before => format!("{}{own}", letter(before - 1)),
    }
}

/// Joins spans that touch or overlap.
fn join(spans: &mut Vec<(Crotchets, Crotchets)>) {
    let mut joined: Vec<(Crotchets, Crotchets)> = Vec::new();
    for &(from, to) in spans.iter() {
        match joined.last_mut().filter(|last| last.1 >= from) {
            Some(last) => last.1 = last.1.max(to),
            None => joined.push((from, to)),
        }
    }
    *spans = joined;
}
