//! What reaches the ear, and in what way it is played.

use ripieno_score::CountReason;
use ripieno_study::Study;
use ripieno_study::acoustics::Situation;
use ripieno_texture::Techniques;

use super::Table;
use super::column::{Cell, Filling};
use super::made::table;
use crate::answer::runs;

/// What masks by less is not kept, in dB.
const LEAST: f64 = 0.3;

/// The tables "balance" and "maskers": from a seat in a hall, which no score leaves undecided; empty for a chart, which cannot be weighed.
pub(super) fn balance(study: &Study) -> [Table; 2] {
    let balance = study.balance(Situation::hall()).ok();
    let of_bars = |rows: &mut Filling| {
        for (bar, balance) in balance.iter().flat_map(|balance| balance.bars().into_iter().map(move |bar| (bar, balance))) {
            let (told, chord) = (balance.melody_in(bar), balance.chord_in(bar));
            let grade = told.map(|told| told.audible.grade().to_string());
            let even = chord.map(|chord| chord.evenness.grade().to_string());
            rows.push([
                Cell::Whole(i64::from(bar)),
                told.map_or(Cell::Nothing, |told| Cell::count(told.part)),
                told.map_or(Cell::Nothing, |told| Cell::Decimal(told.audible.margin_db)),
                told.map_or(Cell::Nothing, |told| Cell::Decimal(told.audible.spread_db)),
                Cell::text(grade.as_deref()),
                chord.map_or(Cell::Nothing, |chord| Cell::count(chord.evenness.tones.len())),
                chord.map_or(Cell::Nothing, |chord| Cell::Decimal(chord.evenness.spread)),
                Cell::text(even.as_deref()),
            ]);
        }
    };
    let of_maskers = |rows: &mut Filling| {
        for told in balance.iter().flat_map(|balance| &balance.melody) {
            for masker in told.maskers.iter().filter(|masker| masker.gain_db >= LEAST) {
                // A section masks as one. Its parts share that evenly, in whole tenths, so that they sum up to it; who has nothing of it is no masker.
                #[allow(clippy::cast_possible_truncation)] // at most some hundreds
                let tenths = (masker.gain_db * 10.0).round() as i32;
                let count = i32::try_from(masker.parts.len()).unwrap_or(1).max(1);
                for (place, part) in (0..).zip(&masker.parts) {
                    let share = tenths / count + i32::from(place < tenths % count);
                    if share > 0 {
                        rows.push([Cell::Whole(i64::from(told.bar)), Cell::count(*part), Cell::Decimal(f64::from(share) / 10.0)]);
                    }
                }
            }
        }
    };
    [table("balance", of_bars), table("maskers", of_maskers)]
}

/// What the page says of the players, as a way of playing: "a 2" for two or more on one line by a mark, "divided" for a body in several lines.
const OF_PLAYERS: [&str; 2] = ["a 2", "divided"];

/// The table "techniques", by part and way, bar after bar.
pub(super) fn techniques(study: &Study) -> Table {
    let (notes, bars) = (&study.sounding.notes, &study.sounding.bars);
    let known: Vec<(Techniques, String)> =
        Techniques::all().iter_names().map(|(name, way)| (way, name.to_lowercase().replace('_', " "))).collect();
    table("techniques", |rows: &mut Filling| {
        for (part, of_part) in notes.of_part.iter().enumerate() {
            let body = study.score.parts.get(part).is_some_and(|part| part.is_body);
            let mut held = vec![vec![false; bars.len()]; known.len() + OF_PLAYERS.len()];
            for row in of_part.clone() {
                let first = notes.bar[row] as usize;
                let end = notes.onset[row] + notes.duration[row];
                let touched = 1 + bars.iter().skip(first + 1).take_while(|bar| bar.start < end).count();
                let own = study.ways.get(row).copied().unwrap_or_default();
                let marked = notes.players_reason[row] == CountReason::Mark && notes.players[row].least >= 2 && !body;
                let divided = notes.players_reason[row] == CountReason::Divided;
                let has = known.iter().map(|(way, _)| own.contains(*way)).chain([marked, divided]);
                for (bars, _) in held.iter_mut().zip(has).filter(|(_, has)| *has) {
                    bars.iter_mut().skip(first).take(touched).for_each(|bar| *bar = true);
                }
            }
            let names = known.iter().map(|(_, name)| name.as_str()).chain(OF_PLAYERS);
            for (name, bars) in names.zip(&held) {
                for (first, last) in runs(bars) {
                    rows.push([Cell::count(part), Cell::count(first), Cell::count(last), Cell::Text(name)]);
                }
            }
        }
    })
}
