//! How loud a player is marked: by the sketch, or by a task that asks for another dynamic, from which the sketch's own marks then move along.

use ripieno_score::Crotchets;

use crate::plan::Task;
use crate::sketch::Sketch;

/// The softest and the loudest level that is written: ppp and fff (the scale of [`ripieno_score::DynamicLevel`]).
pub(crate) const SOFTEST: f32 = 1.0;
pub(crate) const LOUDEST: f32 = 8.0;

/// The level of a strand where a phrase begins, by the sketch.
pub(crate) fn level_in(sketch: &Sketch, strand: usize, span: (Crotchets, Crotchets)) -> Option<f32> {
    let found = &sketch.strands[strand];
    let first = found.between(span.0, span.1).first().map_or(span.0, |note| note.onset);
    sketch.level_at(found.part, first)
}

/// By how much a task moves the sketch's levels in its phrase: what it asks for at the beginning less what the sketch has there; 0 where it asks for nothing.
pub(crate) fn moved_by(sketch: &Sketch, task: &Task, span: (Crotchets, Crotchets)) -> f32 {
    let (Some(asked), Some(strand)) = (task.dynamic, task.strand) else { return 0.0 };
    level_in(sketch, strand, span).map_or(0.0, |own| asked.0 - own)
}

/// The level at a moment of a phrase; `None` where neither sketch nor task says one.
pub(crate) fn level_at(
    sketch: &Sketch,
    task: Option<&Task>,
    strand: usize,
    span: (Crotchets, Crotchets),
    at: Crotchets,
) -> Option<f32> {
    let own = sketch.level_at(sketch.strands[strand].part, at);
    let Some(task) = task.filter(|task| task.dynamic.is_some() && task.strand == Some(strand)) else { return own };
    match own {
        Some(own) => Some((own + moved_by(sketch, task, span)).clamp(SOFTEST, LOUDEST)),
        None => task.dynamic.map(|asked| asked.0),
    }
}
