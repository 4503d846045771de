//! `<notations>`: what is drawn around a note and tells how to play it.

use ripieno_score::{Articulations, Edge, Mark, NoteFlags};

use super::context::Context;
use super::dynamics;
use super::note::Draft;
use super::number::small;
use super::part_reader::PartReader;
use super::tag::Tag;
use super::text::clean;

/// Start, continue or stop; `None` for anything else.
pub(super) fn edge(tag: Tag<'_>) -> Option<Edge> {
    Some(match tag.attribute("type")?.trim() {
        "start" => Edge::Start,
        "stop" => Edge::Stop,
        "continue" => Edge::Continue,
        _ => return None,
    })
}

/// The number that pairs start and stop; 1 when not given.
pub(super) fn pairing(tag: Tag<'_>) -> u8 {
    tag.attribute("number").and_then(small::<u8>).unwrap_or(1)
}

impl<'x> PartReader<'x> {
    pub(super) fn notations(&mut self, draft: &mut Draft, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        if tag.says("print-object", "no") {
            context.cursor.skip();
            return;
        }
        while let Some(tag) = context.cursor.child() {
            context.count_event();
            match tag.name() {
                "slur" => {
                    context.cursor.skip();
                    if let Some(edge) = edge(tag) {
                        draft.marks.push(Mark::Slur { edge, number: pairing(tag) });
                    }
                }
                "articulations" => self.articulations(draft, context),
                "tied" => {
                    context.cursor.skip();
                    drawn_tie(draft, tag);
                }
                "tuplet" => {
                    context.cursor.skip();
                    if let Some(edge) = edge(tag) {
                        let bracket = tag.says("bracket", "yes");
                        draft.marks.push(Mark::Tuplet { edge, number: pairing(tag), bracket });
                    }
                }
                "ornaments" => self.ornaments(draft, context),
                "technical" => self.technical(draft, context),
                "fermata" => {
                    context.cursor.skip();
                    draft.articulations |= Articulations::FERMATA;
                }
                "arpeggiate" => {
                    context.cursor.skip();
                    draft.articulations |= Articulations::ARPEGGIO;
                }
                "non-arpeggiate" => {
                    context.cursor.skip();
                    draft.articulations |= Articulations::NON_ARPEGGIO;
                }
                "glissando" => glissando(draft, tag, false, context),
                "slide" => glissando(draft, tag, true, context),
                "dynamics" => {
                    for mark in dynamics::read(context) {
                        draft.marks.push(Mark::Dynamic(mark));
                    }
                }
                "other-notation" => other(draft, context),
                // The pitch already holds every alteration.
                "accidental-mark" | "footnote" | "level" => context.cursor.skip(),
                name => context.skip_unknown(name, self.here()),
            }
        }
    }

    fn articulations(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        while let Some(tag) = context.cursor.child() {
            let sign = match tag.name() {
                "staccato" => Articulations::STACCATO,
                "accent" => Articulations::ACCENT,
                "tenuto" => Articulations::TENUTO,
                "strong-accent" => Articulations::STRONG_ACCENT,
                "staccatissimo" => Articulations::STACCATISSIMO,
                "detached-legato" => Articulations::DETACHED_LEGATO,
                "spiccato" => Articulations::SPICCATO,
                "scoop" => Articulations::SCOOP,
                "plop" => Articulations::PLOP,
                "doit" => Articulations::DOIT,
                "falloff" => Articulations::FALLOFF,
                "breath-mark" => Articulations::BREATH_MARK,
                "caesura" => Articulations::CAESURA,
                "stress" => Articulations::STRESS,
                "unstress" => Articulations::UNSTRESS,
                "soft-accent" => Articulations::SOFT_ACCENT,
                "other-articulation" => {
                    other(draft, context);
                    continue;
                }
                name => {
                    context.skip_unknown(name, self.here());
                    continue;
                }
            };
            context.cursor.skip();
            draft.articulations |= sign;
        }
    }

    fn ornaments(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        while let Some(tag) = context.cursor.child() {
            context.count_event();
            let sign = match tag.name() {
                "trill-mark" => Articulations::TRILL,
                "turn" | "delayed-turn" => Articulations::TURN,
                "inverted-turn" | "delayed-inverted-turn" => Articulations::INVERTED_TURN,
                "mordent" => Articulations::MORDENT,
                "inverted-mordent" => Articulations::INVERTED_MORDENT,
                "tremolo" => {
                    tremolo(draft, tag, context);
                    continue;
                }
                "wavy-line" => {
                    context.cursor.skip();
                    if let Some(edge) = edge(tag) {
                        draft.marks.push(Mark::TrillLine { edge, number: pairing(tag) });
                    }
                    continue;
                }
                name @ ("vertical-turn" | "inverted-vertical-turn" | "shake" | "schleifer" | "haydn") => {
                    context.cursor.skip();
                    draft.marks.push(Mark::Other(name.into()));
                    continue;
                }
                "other-ornament" => {
                    other(draft, context);
                    continue;
                }
                "accidental-mark" => {
                    context.cursor.skip();
                    continue;
                }
                name => {
                    context.skip_unknown(name, self.here());
                    continue;
                }
            };
            context.cursor.skip();
            draft.articulations |= sign;
        }
    }

    fn technical(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        while let Some(tag) = context.cursor.child() {
            context.count_event();
            let sign = match tag.name() {
                "up-bow" => Articulations::UP_BOW,
                "down-bow" => Articulations::DOWN_BOW,
                "stopped" => Articulations::STOPPED,
                "open" => Articulations::OPEN,
                "snap-pizzicato" => Articulations::SNAP_PIZZICATO,
                "open-string" => Articulations::OPEN_STRING,
                "double-tongue" => Articulations::DOUBLE_TONGUE,
                "triple-tongue" => Articulations::TRIPLE_TONGUE,
                "harmonic" => {
                    harmonic(draft, context);
                    continue;
                }
                "fingering" | "string" | "fret" | "pluck" => {
                    let text = clean(&context.cursor.text());
                    if !text.is_empty() {
                        draft.marks.push(Mark::Fingering(text.into()));
                    }
                    continue;
                }
                name @ "mute" => {
                    let text = clean(&context.cursor.text());
                    draft.marks.push(Mark::Technique(if text.is_empty() { name.into() } else { text.into() }));
                    continue;
                }
                "other-technical" => {
                    let text = clean(&context.cursor.text());
                    if !text.is_empty() {
                        draft.marks.push(Mark::Technique(text.into()));
                    }
                    continue;
                }
                name @ ("thumb-position" | "heel" | "toe" | "fingernails" | "hole" | "arrow" | "handbell" | "brass-bend"
                | "flip" | "smear" | "golpe" | "half-muted" | "harmon-mute" | "bend" | "tap" | "hammer-on"
                | "pull-off") => {
                    context.cursor.skip();
                    draft.marks.push(Mark::Technique(name.into()));
                    continue;
                }
                name => {
                    context.skip_unknown(name, self.here());
                    continue;
                }
            };
            context.cursor.skip();
            draft.articulations |= sign;
        }
    }
}

fn drawn_tie(draft: &mut Draft, tag: Tag<'_>) {
    match tag.attribute("type").map(str::trim) {
        Some("start") => draft.drawn_ties |= NoteFlags::TIE_START,
        Some("stop") => draft.drawn_ties |= NoteFlags::TIE_STOP,
        Some("continue") => draft.drawn_ties |= NoteFlags::TIE_START | NoteFlags::TIE_STOP,
        Some("let-ring") => draft.flags |= NoteFlags::LET_RING,
        _ => {}
    }
}

fn glissando(draft: &mut Draft, tag: Tag<'_>, straight: bool, context: &mut Context<'_, '_>) {
    let text = clean(&context.cursor.text()).into();
    if let Some(edge) = edge(tag) {
        draft.marks.push(Mark::Glissando { edge, number: pairing(tag), straight, text });
    }
}

fn tremolo(draft: &mut Draft, tag: Tag<'_>, context: &mut Context<'_, '_>) {
    const UNMEASURED: u8 = u8::MAX;
    const MOST_STROKES: u8 = 8;
    let strokes = small::<u8>(&context.cursor.text()).unwrap_or(3).min(MOST_STROKES);
    draft.tremolo = strokes;
    match tag.attribute("type").map(str::trim) {
        Some("start") => draft.flags |= NoteFlags::TREMOLO_START,
        Some("stop") => draft.flags |= NoteFlags::TREMOLO_STOP,
        Some("unmeasured") => draft.tremolo = UNMEASURED,
        _ => {}
    }
}

/// A harmonic: natural, or the base, touching or sounding note of an artificial one, which `harmonics` then puts together.
fn harmonic(draft: &mut Draft, context: &mut Context<'_, '_>) {
    draft.flags |= NoteFlags::HARMONIC;
    let (mut artificial, mut role) = (false, false);
    while let Some(tag) = context.cursor.child() {
        context.count_event();
        let name = tag.name();
        context.cursor.skip();
        if matches!(name, "base-pitch" | "touching-pitch" | "sounding-pitch") {
            role = true;
            draft.marks.push(Mark::Other(name.into()));
        }
        artificial |= name == "artificial";
    }
    if artificial && !role {
        draft.marks.push(Mark::Other("artificial".into()));
    }
}

/// A sign of the file's own, kept by its text.
fn other(draft: &mut Draft, context: &mut Context<'_, '_>) {
    let text = clean(&context.cursor.text());
    if !text.is_empty() {
        draft.marks.push(Mark::Other(text.into()));
    }
}
