//! In what situation balance is judged. A verdict without one means nothing.

use std::fmt;

use ripieno_score::Score;

use crate::ear::{CHANNELS, channel_hz};
use crate::level::power_of;
use crate::room::Room;
use crate::seating::{CONDUCTOR, Place, Plan, Seat, gain_towards};
use crate::source::Source;

/// Where and how the music is heard.
#[derive(Debug, Clone, PartialEq)]
pub enum Situation {
    /// In the audience, so many metres behind the conductor.
    Hall {
        /// The hall.
        room: Room,
        /// Who sits where.
        plan: Plan,
        /// Metres behind the conductor.
        metres: f64,
    },
    /// On the stage: from the conductor's place, or a player's.
    Stage {
        /// The room.
        room: Room,
        /// Who sits where.
        plan: Plan,
        /// A part of the score, or the conductor.
        part: Option<usize>,
    },
    /// Sections recorded apart, each from its best side at 2 m, and mixed.
    Mix {
        /// What the mix adds to each part, in dB; without it there is nothing to judge.
        gains_db: Option<Vec<f64>>,
    },
}

impl Situation {
    /// The middle of a concert hall of usual size.
    #[must_use]
    pub fn hall() -> Self {
        Self::Hall { room: Room::hall(), plan: Plan::ViolinsTogether, metres: 15.0 }
    }

    /// The conductor's place on the stage of such a hall.
    #[must_use]
    pub fn conductor() -> Self {
        Self::Stage { room: Room::hall(), plan: Plan::ViolinsTogether, part: None }
    }
}

impl fmt::Display for Situation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Hall { room, metres, .. } => write!(f, "{}, seat {metres:.0} m behind the conductor", room.name),
            Self::Stage { room, part: None, .. } => write!(f, "{}, the conductor's place", room.name),
            Self::Stage { room, part: Some(part), .. } => write!(f, "{}, at the desk of part {}", room.name, part + 1),
            Self::Mix { .. } => write!(f, "sections recorded apart and mixed at the levels given"),
        }
    }
}

/// Why no verdict is given.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Refused {
    /// A mix without its levels.
    NoMixLevels,
    /// Levels for another number of parts.
    MixLevels {
        /// How many were given.
        given: usize,
        /// How many parts there are.
        parts: usize,
    },
    /// Exposure where nobody sits together.
    NoSeats,
    /// A chart, which holds no notes.
    NoNotes,
    /// A listener at a part that the score does not have.
    NoSuchPart {
        /// Which, from 0.
        part: usize,
    },
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoMixLevels => write!(
                f,
                "Sections that are recorded apart have no balance until they are mixed: give the level of every part in the mix, or choose hall or stage."
            ),
            Self::MixLevels { given, parts } => {
                write!(f, "The mix gives levels for {given} parts, the score has {parts}: give one for each.")
            }
            Self::NoSeats => write!(f, "Exposure needs a place where the players sit together: choose hall or stage."),
            Self::NoNotes => write!(f, "A chart holds no notes, so nothing in it can be weighed: weigh the score itself."),
            Self::NoSuchPart { part } => {
                write!(f, "The score has no part {}: choose a part that it has, or the conductor.", part + 1)
            }
        }
    }
}

impl std::error::Error for Refused {}

/// What is left of the power of a part at the listener: a factor for each channel.
pub(crate) type Transfer = Box<[f64; CHANNELS]>;

/// Distance at which sections recorded apart are taken, in metres.
const MICROPHONE: f64 = 2.0;

/// Seats of the parts and what of their sound reaches the listener.
pub(crate) fn transfers(
    score: &Score,
    sources: &[&Source],
    situation: &Situation,
) -> Result<(Vec<Seat>, Vec<Transfer>), Refused> {
    let count = score.parts.len();
    let (room, plan, ear, own) = match situation {
        Situation::Hall { room, plan, metres } => (room, *plan, Place { x: 0.0, y: -metres.max(0.5) }, None),
        Situation::Stage { room, plan, part: None } => (room, *plan, CONDUCTOR, None),
        Situation::Stage { part: Some(part), .. } if *part >= count => return Err(Refused::NoSuchPart { part: *part }),
        Situation::Stage { room, plan, part: Some(part) } => (room, *plan, plan.seats(score)[*part].place, Some(*part)),
        Situation::Mix { gains_db: None } => return Err(Refused::NoMixLevels),
        Situation::Mix { gains_db: Some(gains) } if gains.len() != count => {
            return Err(Refused::MixLevels { given: gains.len(), parts: count });
        }
        Situation::Mix { gains_db: Some(gains) } => {
            let at = |source: &Source, gain: f64, hz: f64| {
                let towards = source.direction.gain_db(hz, source.direction.right, source.direction.up);
                power_of(gain + Room::direct_db(MICROPHONE, towards))
            };
            let all = sources.iter().zip(gains).map(|(source, gain)| by_channel(|hz| at(source, *gain, hz))).collect();
            return Ok((Plan::ViolinsTogether.seats(score), all));
        }
    };
    let seats = plan.seats(score);
    let all = (seats.iter().zip(sources).enumerate())
        .map(
            |(part, (seat, source))| {
                if own == Some(part) { at_own_ear(room, source) } else { between(room, source, seat.place, ear) }
            },
        )
        .collect();
    Ok((seats, all))
}

/// From a place to a listener elsewhere.
pub(crate) fn between(room: &Room, source: &Source, from: Place, to: Place) -> Transfer {
    let metres = from.distance(to);
    by_channel(|hz| power_of(room.received_db(metres, gain_towards(&source.direction, hz, from, to), hz)))
}

/// From an instrument to its player's nearer ear, and back from the room.
pub(crate) fn at_own_ear(room: &Room, source: &Source) -> Transfer {
    by_channel(|hz| power_of(Room::direct_db(source.ear_m, 0.0)) + power_of(room.late_db(source.ear_m, hz)))
}

fn by_channel(of: impl Fn(f64) -> f64) -> Transfer {
    Box::new(std::array::from_fn(|channel| of(channel_hz(channel))))
}
