//! Which instrument a player holds: a part may change it ("Flute 2, later Piccolo").

use ripieno_instruments::catalogue::Instrument;
use ripieno_instruments::recognise::{Clues, recognise};
use ripieno_practice::{Extreme, RegisterUse};
use ripieno_score::MidiKey;

use crate::Study;

/// Below this certainty an instrument's own name is not believed, and the part's stands for it.
const SURE: f32 = 0.6;

/// What is played on one instrument, in one part or in all.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// The part, or the first of them; index into [`ripieno_score::Score::parts`].
    pub part: usize,
    /// The instrument; `None` when not recognised.
    pub instrument: Option<&'static Instrument>,
    /// Bars in which its notes begin.
    pub bars: Vec<u32>,
    /// How high and low it is used; `None` without pitch.
    pub register: Option<RegisterUse>,
    rows: Vec<usize>,
}

impl Study {
    /// The instruments of each part, in page order and by first bar; a part without notes has the one it is named for.
    #[must_use]
    pub fn instruments_of_parts(&self) -> Vec<Held> {
        let mut all = Vec::new();
        for (part, rows) in self.sounding.notes.of_part.iter().enumerate() {
            let own = self.groups.parts[part].instrument;
            let of_index: Vec<Option<&'static Instrument>> = self.score.parts[part]
                .instruments
                .iter()
                .map(|declared| {
                    let clues = Clues { name: &declared.name, sound_id: &declared.sound, ..Clues::default() };
                    let found = recognise(&clues);
                    if found.fallback || found.confidence < SURE { own } else { Some(found.instrument) }
                })
                .collect();
            let mut used: Vec<usize> = rows.clone().map(|row| usize::from(self.sounding.notes.instrument[row])).collect();
            used.sort_unstable();
            used.dedup();
            let mut held: Vec<(Option<&'static Instrument>, Vec<usize>)> = Vec::new();
            for row in rows.clone() {
                let index = usize::from(self.sounding.notes.instrument[row]);
                let named = of_index.get(index).copied().flatten();
                let instrument = if used.len() > 1 { named.or(own) } else { own };
                match held.iter_mut().find(|(known, _)| *known == instrument) {
                    Some((_, known)) => known.push(row),
                    None => held.push((instrument, vec![row])),
                }
            }
            if held.is_empty() {
                held.push((own, Vec::new()));
            }
            all.extend(held.into_iter().map(|(instrument, rows)| self.held(part, instrument, rows)));
        }
        all
    }

    /// The same by instrument over all parts, in order of first appearance on the page; those not recognised stay apart by part.
    #[must_use]
    pub fn instruments(&self) -> Vec<Held> {
        let mut found: Vec<(usize, Option<&'static Instrument>, Vec<usize>)> = Vec::new();
        for held in self.instruments_of_parts() {
            let known = found.iter_mut().find(|(_, instrument, _)| held.instrument.is_some() && *instrument == held.instrument);
            match known {
                Some((.., rows)) => rows.extend(held.rows),
                None => found.push((held.part, held.instrument, held.rows)),
            }
        }
        found.into_iter().map(|(part, instrument, rows)| self.held(part, instrument, rows)).collect()
    }

    fn held(&self, part: usize, instrument: Option<&'static Instrument>, rows: Vec<usize>) -> Held {
        let mut bars: Vec<u32> = rows.iter().map(|&row| self.sounding.notes.bar[row]).collect();
        bars.sort_unstable();
        bars.dedup();
        Held { part, instrument, bars, register: self.register_of(&rows), rows }
    }

    /// As [`ripieno_practice::register`], of these notes alone.
    fn register_of(&self, rows: &[usize]) -> Option<RegisterUse> {
        let notes = &self.sounding.notes;
        let mut by_key: Vec<(MidiKey, u32, f64)> = rows
            .iter()
            .filter_map(|&row| notes.key[row].map(|key| (key, notes.bar[row], notes.duration[row].to_f64().max(1.0 / 64.0))))
            .collect();
        by_key.sort_unstable_by_key(|(key, bar, _)| (*key, *bar));
        let lowest = by_key.first().map(|&(key, bar, _)| Extreme { key, bar })?;
        let top = by_key.last().map(|&(key, ..)| key)?;
        let highest = by_key.iter().find(|(key, ..)| *key == top).map(|&(key, bar, _)| Extreme { key, bar })?;
        let total: f64 = by_key.iter().map(|(.., time)| time).sum();
        let at = |share: f64| {
            let mut sum = 0.0;
            let found = by_key.iter().find(|(.., time)| {
                sum += time;
                sum >= total * share
            });
            found.map_or(top, |&(key, ..)| key)
        };
        Some(RegisterUse { lowest, highest, middle: (at(0.25), at(0.75)), median: at(0.5) })
    }
}
