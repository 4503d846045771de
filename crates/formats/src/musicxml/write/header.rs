//! Titles and the list of parts.

use std::collections::BTreeSet;

use ripieno_score::{Part, PartInstrument, Score};

use super::xml::Xml;

/// Identifiers of parts and their instruments: as in the source where XML allows them, otherwise our own.
pub(super) struct Ids {
    parts: Vec<String>,
    instruments: Vec<Vec<String>>,
    /// Whether notes have ids.
    notes: bool,
}

impl Ids {
    pub(super) fn new(score: &Score) -> Self {
        let mut taken = BTreeSet::new();
        let parts: Vec<String> =
            (1..).zip(&score.parts).map(|(n, part)| unique(&part.id, &format!("P{n}"), &mut taken)).collect();
        let instruments = score
            .parts
            .iter()
            .zip(&parts)
            .map(|(part, id)| {
                (1..).zip(&part.instruments).map(|(n, i)| unique(&i.id, &format!("{id}-I{n}"), &mut taken)).collect()
            })
            .collect();
        Self { parts, instruments, notes: false }
    }

    /// The same with ids for notes. A part or instrument that has the look of one is named anew.
    pub(super) fn with_notes(self) -> Self {
        let anew = |id: String| if looks_like_note(&id) { format!("_{id}") } else { id };
        let all = |ids: Vec<String>| ids.into_iter().map(anew).collect();
        Self { parts: all(self.parts), instruments: self.instruments.into_iter().map(all).collect(), notes: true }
    }

    pub(super) fn note(&self, part: usize, note: usize) -> Option<String> {
        self.notes.then(|| super::note_id(part, note))
    }

    pub(super) fn part(&self, index: usize) -> &str {
        &self.parts[index]
    }

    pub(super) fn instrument(&self, part: usize, instrument: u8) -> Option<&str> {
        self.instruments[part].get(usize::from(instrument)).map(String::as_str)
    }
}

fn looks_like_note(id: &str) -> bool {
    let rest = id.strip_prefix('n').and_then(|rest| rest.split_once('-'));
    let number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    rest.is_some_and(|(part, note)| number(part) && number(note))
}

/// `wanted` if it is a name XML accepts as an id and not taken yet; otherwise `own`, made unique.
fn unique(wanted: &str, own: &str, taken: &mut BTreeSet<String>) -> String {
    let starts_well = wanted.starts_with(|c: char| c.is_ascii_alphabetic() || c == '_');
    let is_name = starts_well && wanted.chars().all(|c| c.is_ascii_alphanumeric() || "-_.".contains(c));
    let mut id = if is_name { wanted.to_owned() } else { own.to_owned() };
    while !taken.insert(id.clone()) {
        id = format!("{}_", if id.starts_with(own) { &id } else { own });
    }
    id
}

pub(super) fn write(xml: &mut Xml, score: &Score, ids: &Ids) {
    let about = &score.about;
    if !(about.work.is_empty() && about.work_number.is_empty()) {
        xml.element("work", &[], |xml| {
            xml.text_if("work-number", &about.work_number);
            xml.text_if("work-title", &about.work);
        });
    }
    xml.text_if("movement-number", &about.movement_number);
    xml.text_if("movement-title", &about.movement);
    xml.element("identification", &[], |xml| {
        for (role, name) in &about.creators {
            xml.text_with("creator", &[("type", role)], name);
        }
        xml.text_if("rights", &about.rights);
        xml.element("encoding", &[], |xml| {
            xml.text("software", "Ripieno");
            xml.empty("supports", &[("element", "accidental"), ("type", "yes")]);
            xml.empty("supports", &[("element", "beam"), ("type", "yes")]);
        });
    });
    if about.concert_pitch {
        xml.element("defaults", &[], |xml| xml.empty("concert-score", &[]));
    }
    xml.element("part-list", &[], |xml| part_list(xml, score, ids));
}

fn part_list(xml: &mut Xml, score: &Score, ids: &Ids) {
    let number = |index: usize| (index + 1).to_string();
    for (index, part) in score.parts.iter().enumerate() {
        // Brackets that open here, the widest first, so that they nest.
        let mut opening: Vec<usize> = (0..score.brackets.len()).filter(|&b| score.brackets[b].first == index).collect();
        opening.sort_by_key(|&b| std::cmp::Reverse(score.brackets[b].last));
        for b in opening {
            let bracket = &score.brackets[b];
            xml.element("part-group", &[("type", "start"), ("number", &number(b))], |xml| {
                xml.text_if("group-name", &bracket.name);
                let known = ["bracket", "brace", "line", "square", "none"].contains(&bracket.symbol.as_str());
                xml.text("group-symbol", if known { &bracket.symbol } else { "bracket" });
                xml.text("group-barline", "yes");
            });
        }
        xml.element("score-part", &[("id", ids.part(index))], |xml| score_part(xml, part, index, ids));
        let mut closing: Vec<usize> = (0..score.brackets.len()).filter(|&b| score.brackets[b].last == index).collect();
        closing.sort_by_key(|&b| std::cmp::Reverse(score.brackets[b].first));
        for b in closing {
            xml.empty("part-group", &[("type", "stop"), ("number", &number(b))]);
        }
    }
}

fn score_part(xml: &mut Xml, part: &Part, index: usize, ids: &Ids) {
    xml.text("part-name", &part.name);
    xml.text_if("part-abbreviation", &part.abbreviation);
    let instruments = || (0u8..).zip(&part.instruments).filter_map(|(n, i)| Some((ids.instrument(index, n)?, i)));
    for (id, instrument) in instruments() {
        xml.element("score-instrument", &[("id", id)], |xml| {
            xml.text("instrument-name", if instrument.name.is_empty() { &part.name } else { &instrument.name });
            xml.text_if("instrument-sound", &instrument.sound);
            match instrument.ensemble {
                None => {}
                Some(0) => xml.empty("ensemble", &[]),
                Some(1) => xml.empty("solo", &[]),
                Some(players) => xml.text("ensemble", players),
            }
        });
    }
    for (id, instrument) in instruments() {
        midi_instrument(xml, id, instrument);
    }
}

fn midi_instrument(xml: &mut Xml, id: &str, instrument: &PartInstrument) {
    if instrument.channel.is_none() && instrument.program.is_none() && instrument.drum_key.is_none() {
        return;
    }
    xml.element("midi-instrument", &[("id", id)], |xml| {
        if let Some(channel) = instrument.channel.filter(|channel| (1..=16).contains(channel)) {
            xml.text("midi-channel", channel);
        }
        if let Some(program) = instrument.program.filter(|program| (1..=128).contains(program)) {
            xml.text("midi-program", program);
        }
        if let Some(key) = instrument.drum_key.filter(|&key| key <= 127) {
            // MusicXML counts MIDI keys of unpitched instruments from 1.
            xml.text("midi-unpitched", u16::from(key) + 1);
        }
    });
}
