//! Who sits where: simple plans, common practice, in metres from the conductor.

use ripieno_instruments::{Family, catalogue};
use ripieno_score::Score;

use crate::data::rows;
use crate::source::Direction;

/// A place on the floor: metres to the conductor's right, and metres from the conductor into the orchestra (negative in the audience).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// To the conductor's right.
    pub x: f64,
    /// Away from the audience.
    pub y: f64,
}

impl Place {
    /// Metres to another place.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    /// Angle in degrees under which a player here, who faces the conductor, has another place: 0 ahead, positive to the right.
    #[must_use]
    pub fn angle_to(self, other: Self) -> f64 {
        let bearing = |to: Self| (to.x - self.x).atan2(to.y - self.y).to_degrees();
        let ahead = if self.distance(CONDUCTOR) > 0.0 { bearing(CONDUCTOR) } else { 0.0 };
        (bearing(other) - ahead + 540.0).rem_euclid(360.0) - 180.0
    }
}

/// Where the conductor stands.
pub const CONDUCTOR: Place = Place { x: 0.0, y: 0.0 };

/// The seat of a part: its middle and what its players take up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// The middle.
    pub place: Place,
    /// Metres from side to side.
    pub width: f64,
    /// Metres from front to back.
    pub depth: f64,
}

impl Seat {
    /// Mean distance from one player to the others of the part, in metres, when there are `players` of them.
    #[must_use]
    pub fn spacing(&self, players: f64) -> f64 {
        if players < 2.0 { 1.2 } else { (0.4 * self.width.hypot(self.depth)).clamp(0.9, 4.0) }
    }
}

/// A plan of the orchestra.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plan {
    /// First and second violins on the conductor's left, cellos on the right.
    ViolinsTogether,
    /// Second violins opposite the first.
    ViolinsApart,
}

impl Plan {
    const fn id(self) -> &'static str {
        match self {
            Self::ViolinsTogether => "violins-together",
            Self::ViolinsApart => "violins-apart",
        }
    }

    /// The seat of every part of a score. A later part of violins takes the second violins' place; parts of one section sit side by side.
    #[must_use]
    pub fn seats(self, score: &Score) -> Vec<Seat> {
        let rows = rows("seating.csv", include_str!("../data/seating.csv"));
        let find = |kind: &str, name: &str| {
            let row = rows.iter().find(|row| {
                [self.id(), "*"].contains(&row.text("plan")) && row.text("kind") == kind && row.text("name") == name
            })?;
            let place = Place { x: row.get("x_m"), y: row.get("y_m") };
            Some(Seat { place, width: row.get("width_m"), depth: row.get("depth_m") })
        };
        let identity =
            |id: &str| catalogue().by_id(id).map_or((Family::Other, "others"), |item| (item.family, item.section.name()));
        let names: Vec<(Family, &str)> = score.parts.iter().map(|part| identity(&part.instrument_id)).collect();
        let somewhere = Seat { place: Place { x: 0.0, y: 6.0 }, width: 6.0, depth: 4.0 };
        (score.parts.iter().zip(&names).enumerate())
            .map(|(index, (part, (family, section)))| {
                let rank = names[..index].iter().filter(|(_, other)| other == section).count();
                let second = (rank > 0).then(|| find("second", section)).flatten();
                let choir = (*family == Family::Voice && part.is_body).then(|| find("choir", "voice")).flatten();
                let seat = second.or(choir).or_else(|| find("section", section)).or_else(|| find("family", family.name()));
                let mut seat = seat.unwrap_or(somewhere);
                let beside = names.iter().filter(|(_, other)| other == section).count();
                if beside > 1 && second.is_none() && *section != "violins" {
                    #[allow(clippy::cast_precision_loss)] // a number of parts
                    let (share, all) = (rank as f64 + 0.5, beside as f64);
                    seat.place.x += seat.width * (share / all - 0.5);
                    seat.width /= all;
                }
                seat
            })
            .collect()
    }
}

/// Gain in dB of a source at a place, radiating as it does, towards another place.
#[must_use]
pub fn gain_towards(direction: &Direction, hz: f64, from: Place, to: Place) -> f64 {
    direction.gain_db(hz, from.angle_to(to), 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_player_faces_the_conductor() {
        let player = Place { x: 0.0, y: 5.0 };
        assert!((player.angle_to(CONDUCTOR)).abs() < 1e-9);
        assert!((player.angle_to(Place { x: 0.0, y: -10.0 })).abs() < 1e-9);
        // Facing the audience, the player's right is the conductor's left.
        assert!((player.angle_to(Place { x: -3.0, y: 5.0 }) - 90.0).abs() < 1e-9);
        assert!((player.angle_to(Place { x: 0.0, y: 9.0 }).abs() - 180.0).abs() < 1e-9);
    }
}
