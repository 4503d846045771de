//! `<direction>`: what stands above and below the staves.

use ripieno_score::{Crotchets, Direction, DirectionKind, Jump, Swell};

use super::context::Context;
use super::dynamics;
use super::jumps;
use super::metronome::Metronome;
use super::notations::pairing;
use super::note::voice;
use super::number::{Decimal, small};
use super::part_reader::PartReader;
use super::sound::Sound;
use super::tag::Tag;
use super::text::clean;

/// Dashes share the numbering of hairpins in the score, from here on, so that the two cannot be mistaken for each other.
const DASHES_FROM: u8 = 100;

/// Spanning signs of one kind that may be open at a time; more are damage.
const OPEN_AT_ONCE: usize = 64;

/// A direction as its elements are met.
#[derive(Default)]
struct Draft {
    kinds: Vec<DirectionKind>,
    /// Text so far: several `<words>` in a row are one text in several fonts.
    words: String,
    metronome: bool,
    segno: bool,
    coda: bool,
}

impl Draft {
    fn end_words(&mut self) {
        let text = clean(&self.words);
        self.words.clear();
        if !text.is_empty() {
            self.kinds.push(DirectionKind::Words(text.into()));
        }
    }

    fn last_words(&self) -> Option<&str> {
        self.kinds.iter().rev().find_map(|kind| match kind {
            DirectionKind::Words(text) => Some(&**text),
            _ => None,
        })
    }
}

impl<'x> PartReader<'x> {
    pub(super) fn direction(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        context.count_event();
        let above = placement(tag);
        let mut draft = Draft::default();
        let (mut offset, mut for_voice, mut staff) = (None, None, 1);
        let mut sounds: Option<Sound> = None;
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "direction-type" => self.direction_type(&mut draft, context),
                "offset" => offset = Decimal::parse(&context.cursor.text()),
                "voice" => for_voice = Some(voice(&context.cursor.text())),
                "staff" => staff = small::<u8>(&context.cursor.text()).unwrap_or(1).max(1),
                "sound" => sounds = Some(self.sound(tag, context)),
                "footnote" | "level" | "listening" => context.cursor.skip(),
                name => context.skip_unknown(name, self.here()),
            }
        }
        if context.cursor.fault().is_some() {
            return;
        }
        draft.end_words();
        let sound = sounds.unwrap_or_default();
        if let Some(tempo) = sound.tempo.filter(|_| !draft.metronome) {
            draft.kinds.push(DirectionKind::PlaybackTempo { crotchets_per_minute: tempo });
        }
        self.printed_jumps(&draft, &sound);
        self.apply_sound(&sound);
        let at = self.position(offset);
        for kind in draft.kinds {
            if let DirectionKind::Words(text) = &kind {
                self.notice_change_in_words(text, context);
            }
            self.push_direction(at, staff, for_voice, above, kind);
        }
    }

    /// Where something stands that is moved from here by `offset` divisions; never before the barline.
    pub(super) fn position(&self, offset: Option<Decimal>) -> Crotchets {
        let now = self.clock.now();
        match offset {
            Some(offset) => (now + self.clock.length(offset)).max(Crotchets::ZERO),
            None => now,
        }
    }

    pub(super) fn push_direction(
        &mut self,
        at: Crotchets,
        staff: u8,
        voice: Option<u16>,
        above: Option<bool>,
        kind: DirectionKind,
    ) {
        self.part.directions.push(Direction { bar: self.bar, at, staff, voice, above, kind });
    }

    /// Jumps that are printed but that no playback instruction beside them repeats.
    fn printed_jumps(&mut self, draft: &Draft, sound: &Sound) {
        let said = |jump: &Jump| sound.jumps.iter().any(|other| jumps::same_kind(other, jump));
        let (segno, coda) = (Jump::Segno("".into()), Jump::Coda("".into()));
        let (dal_segno, to_coda) = (Jump::DalSegno("".into()), Jump::ToCoda("".into()));
        let mut in_words: Vec<Jump> = Vec::new();
        for kind in &draft.kinds {
            if let DirectionKind::Words(text) = kind {
                in_words.extend(jumps::in_words(text));
            }
        }
        let written = |jump: &Jump| in_words.iter().any(|other| jumps::same_kind(other, jump));
        if draft.segno && !said(&segno) && !said(&dal_segno) && !written(&dal_segno) && !written(&segno) {
            self.jump(segno);
        }
        if draft.coda && !said(&coda) && !said(&to_coda) && in_words.is_empty() {
            // A coda sign inside or at the end of a bar is where the player leaves, one at its start where he arrives.
            let leaves = self.clock.now().is_positive();
            self.jump(if leaves { to_coda } else { coda });
        }
        for jump in in_words {
            let opposite =
                matches!(jump, Jump::Coda(_)) && (said(&Jump::ToCoda("".into())) || draft.coda && sound.jumps.len() == 1);
            if !said(&jump) && !opposite {
                self.jump(jump);
            }
        }
    }

    fn direction_type(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        while let Some(tag) = context.cursor.child() {
            context.count_event();
            if tag.name() == "words" {
                let text = context.cursor.text();
                let joins = draft.words.ends_with(char::is_whitespace) || text.starts_with(char::is_whitespace);
                if !draft.words.is_empty() && !joins {
                    draft.words.push(' ');
                }
                draft.words.push_str(&text);
                continue;
            }
            draft.end_words();
            match tag.name() {
                "dynamics" => draft.kinds.extend(dynamics::read(context).into_iter().map(DirectionKind::Dynamic)),
                "wedge" => self.wedge(draft, tag, context),
                "dashes" => self.dashes(draft, tag, context),
                "metronome" => {
                    let metronome = Metronome::read(tag, context);
                    if let Some(kind) = metronome.kind() {
                        draft.metronome |= matches!(kind, DirectionKind::Metronome { .. } | DirectionKind::PlaybackTempo { .. });
                        draft.kinds.push(kind);
                    } else if context.cursor.fault().is_none() {
                        self.warn(context, "bad-tempo", "a metronome mark cannot be read", "It was left out");
                    }
                }
                "rehearsal" => {
                    let text = clean(&context.cursor.text());
                    if !text.is_empty() {
                        draft.kinds.push(DirectionKind::Rehearsal(text.into()));
                    }
                }
                "octave-shift" => self.octave_shift(draft, tag, context),
                "pedal" => {
                    context.cursor.skip();
                    draft.kinds.extend(pedal(tag).map(DirectionKind::Pedal));
                }
                "segno" => {
                    context.cursor.skip();
                    draft.segno = true;
                }
                "coda" => {
                    context.cursor.skip();
                    draft.coda = true;
                }
                "harp-pedals" => draft.kinds.push(DirectionKind::HarpPedals(harp_pedals(context).into())),
                name @ ("damp"
                | "damp-all"
                | "eyeglasses"
                | "scordatura"
                | "percussion"
                | "accordion-registration"
                | "staff-divide") => {
                    context.cursor.skip();
                    draft.kinds.push(DirectionKind::Other(name.into()));
                }
                "string-mute" => {
                    context.cursor.skip();
                    let on = tag.says("type", "on");
                    draft.kinds.push(DirectionKind::Other(if on { "string-mute on".into() } else { "string-mute off".into() }));
                }
                "principal-voice" => {
                    context.cursor.skip();
                    let symbol = tag.attribute("symbol").unwrap_or("principal-voice").trim();
                    let edge = tag.attribute("type").unwrap_or("start").trim();
                    draft.kinds.push(DirectionKind::Other(format!("{symbol} {edge}").into()));
                }
                "other-direction" | "symbol" => {
                    let text = clean(&context.cursor.text());
                    if !text.is_empty() && !tag.says("print-object", "no") {
                        draft.kinds.push(DirectionKind::Other(text.into()));
                    }
                }
                // Lines and pictures without meaning of their own.
                "bracket" | "image" => context.cursor.skip(),
                name => context.skip_unknown(name, self.here()),
            }
        }
    }

    fn wedge(&mut self, draft: &mut Draft, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        context.cursor.skip();
        let (number, niente) = (pairing(tag), tag.says("niente", "yes"));
        let swell = match tag.attribute("type").map(str::trim) {
            Some("crescendo") => Swell::Crescendo,
            Some("diminuendo") => Swell::Diminuendo,
            Some("stop") => return draft.kinds.push(DirectionKind::HairpinStop { number, niente, dashes: false }),
            _ => return,
        };
        draft.kinds.push(DirectionKind::HairpinStart { swell, number, niente, dashes: false });
    }

    /// Dashes that follow "cresc." or "dim." are a hairpin in another dress; after other words they say nothing about loudness.
    fn dashes(&mut self, draft: &mut Draft, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        context.cursor.skip();
        let number = pairing(tag).saturating_add(DASHES_FROM);
        match tag.attribute("type").map(str::trim) {
            Some("start") => {
                let before = || {
                    let here = self.part.directions.iter().rev().take_while(|direction| direction.bar == self.bar);
                    here.into_iter().find_map(|direction| match &direction.kind {
                        DirectionKind::Words(text) => Some(&**text),
                        _ => None,
                    })
                };
                let Some(swell) = draft.last_words().or_else(before).and_then(swell_in_words) else { return };
                if self.dashes.len() < OPEN_AT_ONCE {
                    self.dashes.push(number);
                }
                draft.kinds.push(DirectionKind::HairpinStart { swell, number, niente: false, dashes: true });
            }
            Some("stop") => {
                if let Some(open) = self.dashes.iter().rposition(|&open| open == number) {
                    self.dashes.remove(open);
                    draft.kinds.push(DirectionKind::HairpinStop { number, niente: false, dashes: true });
                }
            }
            _ => {}
        }
    }

    fn octave_shift(&mut self, draft: &mut Draft, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        use ripieno_score::Edge;
        context.cursor.skip();
        let number = pairing(tag);
        let octaves = match tag.attribute("size").and_then(small::<u8>) {
            Some(15) => 2,
            Some(22) => 3,
            _ => 1,
        };
        let open = self.octave_shifts.iter().rposition(|&(other, _)| other == number);
        // "down": printed lower than meant, as under 8va.
        let (edge, octaves) = match (tag.attribute("type").map(str::trim), open) {
            (Some("down"), _) => (Edge::Start, octaves),
            (Some("up"), _) => (Edge::Start, -octaves),
            (Some("continue"), Some(open)) => (Edge::Continue, self.octave_shifts.get(open).map_or(0, |shift| shift.1)),
            (Some("stop"), Some(open)) => (Edge::Stop, self.octave_shifts.remove(open).1),
            _ => return,
        };
        if edge == Edge::Start && self.octave_shifts.len() < OPEN_AT_ONCE {
            self.octave_shifts.push((number, octaves));
        }
        draft.kinds.push(DirectionKind::OctaveShift { edge, octaves, number });
    }

    /// Reports words that ask for another instrument, crook or tuning when the part list has nothing to tell which.
    fn notice_change_in_words(&mut self, text: &str, context: &mut Context<'x, '_>) {
        if self.part.instruments.len() < 2 && asks_for_change(text) {
            let shown: String = text.chars().take(60).collect();
            let what = format!("\"{shown}\" may ask for another instrument, crook or tuning, which the part list does not have");
            context.note(self.here(), "change-in-words", what, "Pitches are read as the file transposes them");
        }
    }
}

/// Above or below, where said.
pub(super) fn placement(tag: Tag<'_>) -> Option<bool> {
    match tag.attribute("placement")?.trim() {
        "above" => Some(true),
        "below" => Some(false),
        _ => None,
    }
}

fn pedal(tag: Tag<'_>) -> Option<ripieno_score::Edge> {
    use ripieno_score::Edge;
    Some(match tag.attribute("type")?.trim() {
        "start" | "sostenuto" | "resume" => Edge::Start,
        "stop" | "discontinue" => Edge::Stop,
        "change" | "continue" => Edge::Continue,
        _ => return None,
    })
}

/// "D C B | E F G A" with signs, as harpists write it.
fn harp_pedals(context: &mut Context<'_, '_>) -> String {
    let mut text = String::new();
    while let Some(tag) = context.cursor.child() {
        if tag.name() != "pedal-tuning" || text.len() > 64 {
            context.cursor.skip();
            continue;
        }
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "pedal-step" => {
                    if !text.is_empty() {
                        text.push(' ');
                    }
                    text.push_str(context.cursor.text().trim());
                }
                "pedal-alter" => text.push_str(match small::<i8>(&context.cursor.text()) {
                    Some(1) => "♯",
                    Some(-1) => "♭",
                    _ => "",
                }),
                _ => context.cursor.skip(),
            }
        }
    }
    text
}

/// Which way words like "poco a poco cresc." let the loudness go.
pub(super) fn swell_in_words(text: &str) -> Option<Swell> {
    let text = text.to_lowercase();
    if text.contains("cresc") && !text.contains("decresc") {
        return Some(Swell::Crescendo);
    }
    ["dim", "decresc", "morendo", "calando", "smorz", "perdendo"]
        .iter()
        .any(|word| text.contains(word))
        .then_some(Swell::Diminuendo)
}

/// "muta in Es", "change to Piccolo", "nimmt kleine Flöte" ...
fn asks_for_change(text: &str) -> bool {
    const ASKING: [&str; 14] = [
        "muta in",
        "mutano in",
        "muta a",
        "change to",
        "changes to",
        "changing to",
        "take ",
        "takes ",
        "nimmt",
        "nehmen",
        "wechselt",
        "wechseln",
        "prend ",
        "changez en",
    ];
    const OTHER: [&str; 8] = ["mute", "sord", "dämpfer", "sourdine", "time", "over", "bow", "breath"];
    const LONGEST: usize = 80;
    if text.len() > LONGEST {
        return false;
    }
    let text = text.to_lowercase();
    ASKING.iter().any(|word| text.contains(word)) && !OTHER.iter().any(|word| text.contains(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_ask_for_another_instrument() {
        assert!(asks_for_change("muta in Flauto piccolo"));
        assert!(asks_for_change("Fl. 2 take Piccolo"));
        assert!(!asks_for_change("take mute"));
        assert!(!asks_for_change("espressivo"));
    }

    #[test]
    fn words_that_swell() {
        assert_eq!(swell_in_words("poco cresc."), Some(Swell::Crescendo));
        assert_eq!(swell_in_words("decresc."), Some(Swell::Diminuendo));
        assert_eq!(swell_in_words("rit."), None);
    }
}
