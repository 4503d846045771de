//! The score as a whole: the root element, the header, and the music by parts or by bars.

use std::collections::BTreeMap;

use ripieno_score::{About, Part, Score};

use crate::{ReadError, Severity};

use super::assemble::assemble;
use super::context::{At, Context};
use super::entities::plain;
use super::header;
use super::part_list::PartList;
use super::part_reader::PartReader;
use super::tag::Tag;

/// Reads a whole document.
pub(super) fn read<'x>(file: &str, context: &mut Context<'x, '_>) -> Result<Score, ReadError> {
    let Some(root) = context.cursor.child() else { return Err(no_score(file, context, "it has no XML element")) };
    let timewise = match root.name() {
        "score-partwise" => false,
        "score-timewise" => true,
        "opus" => {
            let hint = "It lists scores in other files; give those";
            return Err(ReadError::whole_file(file, "opus", "this is a MusicXML opus, not a score", hint));
        }
        name => {
            let shown: String = name.chars().take(40).collect();
            return Err(no_score(file, context, &format!("its XML begins with <{shown}>")));
        }
    };
    let mut score = ScoreReader::default();
    while let Some(tag) = context.cursor.child() {
        score.child(tag, timewise, context);
    }
    report_fault(context, score.current.and_then(|part| score.parts.get(part)));
    if let Some(fault) = context.cursor.fault().filter(|fault| fault.limit) {
        let what = format!("reading stopped: {}", fault.what);
        return Err(ReadError::whole_file(file, "limit", what, "Split the score into movements"));
    }
    if !score.parts.iter().any(|part| part.has_music) {
        return Err(no_music(file, context));
    }
    score.report_parts_without_music(context);
    if let Some(name) = context.cursor.unknown_entity.take() {
        let what = format!("the entity &{name}; is not one every XML file has, and was kept as it stands");
        context.warn(At::FILE, "entity", what, "Declared and external entities are never expanded; write the character itself");
    }
    Ok(assemble(score.about, score.list.brackets, score.parts, context))
}

fn no_score(file: &str, context: &Context<'_, '_>, why: &str) -> ReadError {
    if let Some(fault) = context.cursor.fault() {
        let what = format!("{} in line {}", fault.what, context.cursor.line(fault.offset));
        return ReadError::whole_file(file, "damaged", what, "Export the score again");
    }
    ReadError::whole_file(file, "not-musicxml", format!("this is not a MusicXML score: {why}"), "Export the score as MusicXML")
}

fn no_music(file: &str, context: &Context<'_, '_>) -> ReadError {
    match context.cursor.fault() {
        Some(fault) => {
            let what = format!("{} in line {}, before any music", fault.what, context.cursor.line(fault.offset));
            ReadError::whole_file(file, "damaged", what, "Export the score again")
        }
        None => ReadError::whole_file(file, "no-music", "the score has no bars", "Export the score again"),
    }
}

/// Says where the XML is damaged or cut off, in terms of part and bar.
fn report_fault(context: &mut Context<'_, '_>, part: Option<&PartReader<'_>>) {
    let Some(fault) = context.cursor.fault() else { return };
    let (line, what) = (context.cursor.line(fault.offset), fault.what.clone());
    let at = part.map_or(At::FILE, PartReader::here);
    context.say_line(Severity::Error, line, at, "damaged", what, "What follows there was not read; export the score again");
}

#[derive(Default)]
struct ScoreReader<'x> {
    about: About,
    list: PartList,
    parts: Vec<PartReader<'x>>,
    by_id: BTreeMap<String, Vec<usize>>,
    /// The part being read.
    current: Option<usize>,
    bars_begun: usize,
}

impl<'x> ScoreReader<'x> {
    fn child(&mut self, tag: Tag<'x>, timewise: bool, context: &mut Context<'x, '_>) {
        if header::read(&mut self.about, tag, context) {
            return;
        }
        match tag.name() {
            "part-list" => {
                self.list.read(context);
                for part in std::mem::take(&mut self.list.parts) {
                    self.add(part);
                }
            }
            "part" if !timewise => self.part(tag, context),
            "measure" if timewise => self.measure(tag, context),
            name => context.skip_unknown(name, At::FILE),
        }
    }

    fn add(&mut self, part: Part) -> usize {
        let index = self.parts.len();
        self.by_id.entry(part.id.clone()).or_default().push(index);
        self.parts.push(PartReader::new(part));
        index
    }

    /// The part with the id of `tag` that is not `taken` yet; made if the list has none.
    fn find(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>, taken: impl Fn(&PartReader<'x>) -> bool) -> Option<usize> {
        let id = plain(tag.attribute("id").unwrap_or_default());
        let id = id.trim();
        let known = self
            .by_id
            .get(id)
            .and_then(|all| all.iter().copied().find(|&index| self.parts.get(index).is_some_and(|part| !taken(part))));
        if known.is_some() {
            return known;
        }
        if self.parts.len() >= context.limits.parts {
            context.cursor.stop(format!("the score has more than the {} parts allowed", context.limits.parts));
            return None;
        }
        let twice = self.by_id.contains_key(id);
        let what =
            if twice { format!("a second part has the id {id:?}") } else { format!("the part {id:?} is not in the part list") };
        let code = if twice { "duplicate-part" } else { "unlisted-part" };
        context.warn(At { part: id, bar: "" }, code, what, "It was added below the others");
        Some(self.add(Part { id: id.to_owned(), ..Part::default() }))
    }

    fn part(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let Some(index) = self.find(tag, context, |part| part.has_music) else { return };
        self.current = Some(index);
        let Some(part) = self.parts.get_mut(index) else { return };
        part.has_music = true;
        while let Some(tag) = context.cursor.child() {
            if tag.name() == "measure" {
                part.measure(tag.attribute("number").unwrap_or_default(), tag.says("implicit", "yes"), context);
            } else {
                context.skip_unknown(tag.name(), part.here());
            }
        }
        if context.cursor.fault().is_none() {
            self.current = None;
        }
    }

    fn measure(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let (number, implicit) = (tag.attribute("number").unwrap_or_default(), tag.says("implicit", "yes"));
        let bar = self.bars_begun;
        self.bars_begun += 1;
        while let Some(tag) = context.cursor.child() {
            if tag.name() != "part" {
                context.skip_unknown(tag.name(), At { part: "", bar: number });
                continue;
            }
            let Some(index) = self.find(tag, context, |part| part.bars.len() > bar) else { return };
            self.current = Some(index);
            let Some(part) = self.parts.get_mut(index) else { return };
            part.pad_to(bar, number, context);
            part.measure(number, implicit, context);
        }
        if context.cursor.fault().is_none() {
            self.current = None;
        }
    }

    fn report_parts_without_music(&self, context: &mut Context<'x, '_>) {
        for part in self.parts.iter().filter(|part| !part.has_music) {
            let what = "the part list has this part, but the file has no music for it";
            context.warn(At { part: part.label(), bar: "" }, "part-without-music", what, "It was kept as an empty part");
        }
    }
}
