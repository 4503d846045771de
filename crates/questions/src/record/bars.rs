//! Bars, and parts in bars: who sounds, how high, how loud, how many.

use ripieno_practice::Slices;
use ripieno_study::Study;
use ripieno_texture::RoleSpan;

use super::Table;
use super::column::{Cell, Filling};
use super::made::table;

/// A part in a bar.
#[derive(Debug, Clone, Default)]
struct Here {
    sounds: bool,
    attacks: i64,
    lowest: Option<u8>,
    highest: Option<u8>,
    softest: Option<f32>,
    loudest: Option<f32>,
    players: (u32, u32),
}

/// All parts in all bars, and people in each bar.
struct Presence {
    /// By part, then bar.
    here: Vec<Vec<Here>>,
    /// By bar: most people at a moment, counted with the least and the most the page allows.
    players: Vec<(u32, u32)>,
}

fn presence(study: &Study) -> Presence {
    let (bars, notes) = (&study.sounding.bars, &study.sounding.notes);
    let mut here = vec![vec![Here::default(); bars.len()]; study.score.parts.len()];
    for note in notes.rows() {
        let end = note.onset + note.duration;
        let first = note.bar as usize;
        let touched = bars[first..].iter().zip(&mut here[usize::from(note.part)][first..]).enumerate();
        for (_, (_, here)) in touched.take_while(|(at, (bar, _))| *at == 0 || bar.start < end) {
            here.sounds = true;
            let key = note.key.map(|key| key.number());
            let level = note.level.map(|level| level.0);
            here.lowest = [here.lowest, key].into_iter().flatten().min();
            here.highest = here.highest.max(key);
            here.softest = [here.softest, level].into_iter().flatten().min_by(f32::total_cmp);
            here.loudest = [here.loudest, level].into_iter().flatten().max_by(f32::total_cmp);
        }
        here[usize::from(note.part)][first].attacks += 1;
    }
    let mut players = vec![(0, 0); bars.len()];
    for (slice, rows) in Slices::new(&study.sounding).iter() {
        let (mut least, mut most) = (0, 0);
        let bar = slice.bar as usize;
        for rows in rows.chunk_by(|&a, &b| notes.part[a as usize] == notes.part[b as usize]) {
            let part = usize::from(notes.part[rows[0] as usize]);
            let there = u32::from(study.score.parts[part].players.most).max(1);
            let sum = |count: fn(&ripieno_score::PlayerCount) -> u16| {
                rows.iter().map(|&row| u32::from(count(&notes.players[row as usize]))).sum::<u32>().min(there)
            };
            let (fewest, at_most) = (sum(|count| count.least), sum(|count| count.most));
            least += fewest;
            most += at_most;
            let here = &mut here[part][bar].players;
            *here = (here.0.max(fewest), here.1.max(at_most));
        }
        players[bar] = (players[bar].0.max(least), players[bar].1.max(most));
    }
    Presence { here, players }
}

/// The tables "bars" and "roles".
pub(super) fn tables(study: &Study) -> [Table; 2] {
    let presence = presence(study);
    [bars(study, &presence), roles(study, &presence)]
}

fn bars(study: &Study, presence: &Presence) -> Table {
    table("bars", |rows| {
        let mut metre = None;
        for (bar, played) in study.sounding.bars.iter().enumerate() {
            metre = study.score.bars[played.bar.at()].metre.as_ref().or(metre);
            let sounding = || presence.here.iter().map(|bars| &bars[bar]).filter(|here| here.sounds);
            let in_group = |group: &&ripieno_study::Group| group.parts.iter().any(|&part| presence.here[part][bar].sounds);
            let mut levels: Vec<f32> = sounding().filter_map(|here| here.loudest).collect();
            levels.sort_by(f32::total_cmp);
            let middle = levels.len().checked_sub(1).map(|last| levels[last / 2]);
            let metre = metre.map(ToString::to_string);
            let (least, most) = presence.players[bar];
            rows.push([
                Cell::count(bar),
                Cell::Text(&study.bar_label(u32::try_from(bar).unwrap_or(u32::MAX))),
                Cell::Time(played.start),
                Cell::Time(played.length),
                Cell::text(metre.as_deref()),
                Cell::Decimal(study.sounding.tempo.tempo(played.start)),
                Cell::count(sounding().count()),
                Cell::count(study.groups.sections.iter().filter(in_group).count()),
                Cell::Whole(i64::from(least)),
                Cell::Whole(i64::from(most)),
                // A chart knows no attacks.
                Cell::of((!study.is_chart()).then(|| sounding().map(|here| here.attacks).sum::<i64>())),
                Cell::of(sounding().filter_map(|here| here.lowest).min()),
                Cell::of(sounding().filter_map(|here| here.highest).max()),
                level(middle),
            ]);
        }
    })
}

fn level(level: Option<f32>) -> Cell<'static> {
    level.map_or(Cell::Nothing, |level| Cell::Decimal(f64::from(level)))
}

fn roles(study: &Study, presence: &Presence) -> Table {
    table("roles", |rows: &mut Filling| {
        for (part, bars) in presence.here.iter().enumerate() {
            for (bar, here) in (0u32..).zip(bars).filter(|(_, here)| here.sounds) {
                let spans: Vec<&RoleSpan> = study.roles.roles.in_bar(part, bar).collect();
                let chief = spans.iter().flat_map(|span| span.roles.iter().take(1));
                let also = spans.iter().flat_map(|span| span.roles.iter().skip(1));
                let mut told: Vec<&str> = Vec::new();
                for held in chief.chain(also) {
                    if !told.contains(&held.role.name()) {
                        told.push(held.role.name());
                    }
                }
                let others = told.get(1..).filter(|others| !others.is_empty()).map(|others| others.join("; "));
                rows.push([
                    Cell::count(part),
                    Cell::Whole(i64::from(bar)),
                    Cell::text(told.first().copied()),
                    Cell::text(others.as_deref()),
                    Cell::of((!study.is_chart()).then_some(here.attacks)),
                    Cell::of(here.lowest),
                    Cell::of(here.highest),
                    level(here.softest),
                    level(here.loudest),
                    Cell::Whole(i64::from(here.players.0)),
                    Cell::Whole(i64::from(here.players.1)),
                ]);
            }
        }
    })
}
