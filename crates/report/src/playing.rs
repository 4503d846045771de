//! Tempo, ways of playing, dynamics and combinations as tables.

use ripieno_study::{Loudness, Study};
use serde_json::json;

use crate::map::part_label;
use crate::page::{layout_words, metronome};
use crate::tables::{Table, rounded};

/// One row for each tempo mark.
pub(crate) fn tempo(study: &Study) -> Table {
    let map = &study.sounding.tempo;
    let rows = study
        .tempo_marks()
        .into_iter()
        .filter_map(|mark| {
            let onset = study.sounding.bars.get(mark.bar as usize)?.start + mark.at;
            Some(vec![
                json!(mark.bar),
                json!(study.bar_label(mark.bar)),
                json!(onset.to_string()),
                json!(mark.words),
                json!(mark.metronome.map(|(beat, per_minute)| metronome(beat, per_minute))),
                json!((!map.assumed).then(|| rounded(map.tempo(onset)))),
            ])
        })
        .collect();
    Table { name: "tempo", columns: &["bar_index", "bar", "onset", "words", "metronome_mark", "crotchets_per_minute"], rows }
}

/// One row for each way of playing in each part.
pub(crate) fn ways(study: &Study) -> Table {
    let rows = study
        .ways_of_playing()
        .into_iter()
        .map(|way| {
            let bars = study.cite(&way.bars);
            vec![
                json!(way.part),
                json!(part_label(study, way.part)),
                json!(way.name),
                json!(bars.count()),
                json!(bars.to_string()),
            ]
        })
        .collect();
    Table { name: "ways", columns: &["part_index", "part", "way", "bar_count", "bars"], rows }
}

/// One row for each section and level.
pub(crate) fn dynamics(study: &Study) -> Table {
    let mut rows = Vec::new();
    for (section, here) in study.groups.sections.iter().zip(study.loudness_of_sections()) {
        let mut levels: Vec<(Option<&str>, Vec<u32>)> = Vec::new();
        for (bar, loudness) in (0u32..).zip(here) {
            let level = match loudness {
                Loudness::Silent => continue,
                Loudness::Unmarked => None,
                Loudness::Marked(level) => Some(level.mark()),
            };
            match levels.iter_mut().find(|(known, _)| *known == level) {
                Some((_, bars)) => bars.push(bar),
                None => levels.push((level, vec![bar])),
            }
        }
        for (level, bars) in levels {
            let bars = study.cite(&bars);
            rows.push(vec![json!(section.name), json!(level), json!(bars.count()), json!(bars.to_string())]);
        }
    }
    Table { name: "dynamics", columns: &["section", "level", "bar_count", "bars"], rows }
}

/// One row for each layout of each combination of sections.
pub(crate) fn combinations(study: &Study) -> Table {
    let mut rows = Vec::new();
    for combination in study.combinations() {
        let sections: Vec<&str> = combination.sections.iter().map(|&section| study.groups.sections[section].name).collect();
        for layout in &combination.layouts {
            let bars = study.cite(&layout.bars);
            rows.push(vec![
                json!(sections.join("; ")),
                json!(layout_words(study, layout)),
                json!(layout.time.to_string()),
                json!(bars.count()),
                json!(bars.to_string()),
            ]);
        }
    }
    Table { name: "combinations", columns: &["sections", "lie", "time", "bar_count", "bars"], rows }
}
