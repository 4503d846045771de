//! `<sound>`: what is meant for playback. Only tempo, jumps and changes of instrument matter here.

use ripieno_score::{ChangeKind, DirectionKind, Jump};

use super::context::Context;
use super::entities::plain;
use super::number::Decimal;
use super::part_reader::{Fact, PartReader};
use super::tag::Tag;

/// What one `<sound>` says.
#[derive(Default)]
pub(super) struct Sound {
    pub tempo: Option<f64>,
    pub jumps: Vec<Jump>,
    pub forward_repeat: bool,
    pub instrument: Option<u8>,
    pub offset: Option<Decimal>,
}

/// Crotchets a minute that somebody could mean.
pub(super) fn sensible_tempo(per_minute: f64) -> bool {
    per_minute > 0.0 && per_minute <= 10_000.0
}

impl<'x> PartReader<'x> {
    pub(super) fn sound(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) -> Sound {
        context.count_event();
        let mut sound = Sound::default();
        for (key, value) in tag.attributes() {
            let label = || Box::from(plain(value).trim());
            match key {
                "tempo" => {
                    sound.tempo = Decimal::parse(value).map(Decimal::to_f64).filter(|&tempo| sensible_tempo(tempo));
                    if sound.tempo.is_none() {
                        let shown: String = value.chars().take(20).collect();
                        self.warn(
                            context,
                            "bad-tempo",
                            format!("a playback tempo of {shown:?} makes no sense"),
                            "It was left out",
                        );
                    }
                }
                "dacapo" if value.trim() == "yes" => sound.jumps.push(Jump::DaCapo),
                "segno" => sound.jumps.push(Jump::Segno(label())),
                "dalsegno" => sound.jumps.push(Jump::DalSegno(label())),
                "coda" => sound.jumps.push(Jump::Coda(label())),
                "tocoda" => sound.jumps.push(Jump::ToCoda(label())),
                "fine" => sound.jumps.push(Jump::Fine),
                "forward-repeat" => sound.forward_repeat = value.trim() == "yes",
                _ => {}
            }
        }
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "instrument-change" => {
                    let id = plain(tag.attribute("id").unwrap_or_default());
                    let index = self.part.instruments.iter().position(|instrument| instrument.id == id.trim());
                    sound.instrument = index.and_then(|index| u8::try_from(index).ok());
                    context.cursor.skip();
                    if sound.instrument.is_none() {
                        let what = format!("a change to the instrument {:?}, which the part list does not have", id.trim());
                        self.warn(context, "unknown-instrument", what, "The part stays with the instrument before");
                    }
                }
                "offset" => sound.offset = Decimal::parse(&context.cursor.text()),
                _ => context.cursor.skip(),
            }
        }
        sound
    }

    /// A `<sound>` that stands in the bar by itself.
    pub(super) fn loose_sound(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let sound = self.sound(tag, context);
        if let Some(tempo) = sound.tempo {
            let kind = DirectionKind::PlaybackTempo { crotchets_per_minute: tempo };
            let at = self.position(sound.offset);
            self.push_direction(at, 1, None, None, kind);
        }
        self.apply_sound(&sound);
    }

    /// Takes over what a sound says about the bar and the instrument.
    pub(super) fn apply_sound(&mut self, sound: &Sound) {
        for jump in &sound.jumps {
            self.jump(jump.clone());
        }
        if sound.forward_repeat {
            self.fact(Fact::RepeatStart);
        }
        if let Some(instrument) = sound.instrument {
            self.instrument = instrument;
            self.last_instrument = Some(instrument);
            self.change(None, ChangeKind::Instrument(instrument));
        }
    }

    /// Notes a jump or its aim. Signs to jump to stand at the start of a bar: one at the end of a bar means the next.
    pub(super) fn jump(&mut self, jump: Jump) {
        let at_end = matches!(jump, Jump::Segno(_) | Jump::Coda(_))
            && self.clock.now().is_positive()
            && self.metre_length().is_some_and(|length| self.clock.now() >= length);
        let bar = self.bar.0.saturating_add(u32::from(at_end));
        self.facts.push((bar, Fact::Jump(jump)));
    }
}
