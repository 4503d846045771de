//! What the players can do: asked before a remedy is offered. This crate knows no limits of players; who does answers for them.

use ripieno_score::DynamicLevel;

/// A note that a player would be asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// The sounding key.
    pub key: u8,
    /// How loud.
    pub dynamic: DynamicLevel,
    /// Seconds from the start of the piece.
    pub from: f64,
    /// Until when, likewise.
    pub to: f64,
}

/// What the players of a score can do.
pub trait Able {
    /// Whether one player of a part can play these notes, in order of time, on an instrument of the catalogue with ease: compass at that dynamic, speed.
    fn plays(&self, part: usize, instrument: &str, notes: &[Asked]) -> bool;

    /// Whether a note is to be had at a dynamic: not every register is soft or loud on every instrument.
    fn has(&self, part: usize, instrument: &str, key: u8, dynamic: DynamicLevel) -> bool;

    /// Seconds in which a mute is put on and taken off without haste; `None` for an instrument without one.
    fn mutes(&self, instrument: &str) -> Option<f64>;
}
