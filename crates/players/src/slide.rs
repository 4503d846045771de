//! The trombone's slide: which partial in which position gives which note, and what a glissando or a quick change asks of the arm.
//!
//! Arithmetic on the harmonic series (source `harmonic-series`): in first position partial p sounds 12 log2 p semitones above the
//! fundamental, and each further position a semitone lower. Seven positions on the open tube, six with the F attachment, whose longer
//! tube needs longer steps; five with both valves of a bass trombone.

use crate::level::Level;

/// One tube of a trombone: open, or lengthened by valves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Side {
    /// How players call it: "open", "F attachment" ...
    pub name: &'static str,
    /// MIDI key of the fundamental in first position.
    pub fundamental: u8,
    /// Positions of the slide on this tube.
    pub positions: u8,
}

/// A way to play a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Index into [`Trombone::sides`].
    pub side: usize,
    /// Partial, from 1.
    pub partial: u8,
    /// Position, from 1.
    pub position: u8,
}

/// A trombone's tubes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Trombone {
    /// The open side first.
    pub sides: &'static [Side],
}

const OPEN: Side = Side { name: "open", fundamental: 34, positions: 7 };
const WITH_F: Side = Side { name: "F attachment", fundamental: 29, positions: 6 };

/// Tenor trombone with F attachment, the orchestra's usual one.
pub const TENOR: Trombone = Trombone { sides: &[OPEN, WITH_F] };
/// Tenor trombone without attachment, as many students have it.
pub const PLAIN: Trombone = Trombone { sides: &[OPEN] };
/// Bass trombone with two independent valves (F, G flat, together D).
pub const BASS: Trombone = Trombone {
    sides: &[
        OPEN,
        WITH_F,
        Side { name: "G flat valve", fundamental: 30, positions: 6 },
        Side { name: "both valves", fundamental: 26, positions: 5 },
    ],
};
/// Alto trombone in E flat.
pub const ALTO: Trombone = Trombone { sides: &[Side { name: "open", fundamental: 39, positions: 7 }] };

/// Highest partial used; 12 gives the tenor's F5.
pub const HIGHEST_PARTIAL: u8 = 12;

/// The trombone of the catalogue with this identifier, as players of a level have it; `None` where positions are of no use (cimbasso, contrabass of unknown build).
#[must_use]
pub fn trombone(id: &str, level: Level) -> Option<Trombone> {
    Some(match id {
        "trombone" | "tenor-trombone" if level == Level::Student => PLAIN,
        "trombone" | "tenor-trombone" => TENOR,
        "bass-trombone" => BASS,
        "alto-trombone" => ALTO,
        _ => return None,
    })
}

/// Semitones of partial `partial` above the fundamental, to the nearest, and its deviation from there in cents.
#[must_use]
pub fn partial(partial: u8) -> (u8, f64) {
    let exact = 12.0 * f64::from(partial.max(1)).log2();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 96 for any partial
    let nearest = exact.round() as u8;
    (nearest, (exact - f64::from(nearest)) * 100.0)
}

impl Trombone {
    /// Ways to play a note in tune: partials 7 and 11 left out, as players leave them; nearest position first.
    #[must_use]
    pub fn places(&self, key: u8) -> Vec<Place> {
        self.every_place(key).into_iter().filter(|place| !matches!(place.partial, 7 | 11)).collect()
    }

    /// Ways to reach a key, partial 7 included: a slide passes there too.
    fn every_place(&self, key: u8) -> Vec<Place> {
        let mut found = Vec::new();
        for (side, tube) in self.sides.iter().enumerate() {
            for number in (1..=HIGHEST_PARTIAL).filter(|number| *number != 11) {
                let top = tube.fundamental + partial(number).0;
                if let Some(position) = top.checked_sub(key).map(|down| down + 1).filter(|position| *position <= tube.positions) {
                    found.push(Place { side, partial: number, position });
                }
            }
        }
        found.sort_by_key(|place| (place.side, place.position));
        found
    }

    /// The tube and partial on which a glissando between two keys goes through without a break; `None` where there is none.
    #[must_use]
    pub fn glissando(&self, from: u8, to: u8) -> Option<(&'static Side, u8)> {
        let there = self.every_place(to);
        self.every_place(from)
            .into_iter()
            .find(|place| there.iter().any(|other| (other.side, other.partial) == (place.side, place.partial)))
            .map(|place| (&self.sides[place.side], place.partial))
    }

    /// Whether the open tube alone has this note.
    #[must_use]
    pub fn needs_valve(&self, key: u8) -> bool {
        let places = self.places(key);
        !places.is_empty() && places.iter().all(|place| place.side > 0)
    }
}

/// The easiest way to play notes one after the other: for each the place, such that the fastest move of the arm (positions a second)
/// is as slow as the notes allow, moves to a note being given as seconds from the one before.
///
/// Notes that the trombone does not have get `None` and let the arm start anew. Cost grows with the number of notes.
#[must_use]
pub fn easiest(trombone: &Trombone, notes: &[(u8, f64)]) -> Vec<Option<Place>> {
    let choices: Vec<Vec<Place>> = notes.iter().map(|(key, _)| trombone.places(*key)).collect();
    // Sum of squared speeds: it avoids the one impossible move rather than many small ones.
    let mut costs: Vec<Vec<(f64, usize)>> = Vec::with_capacity(notes.len());
    for (at, places) in choices.iter().enumerate() {
        let before = at.checked_sub(1).map(|i| (&choices[i], &costs[i])).filter(|(places, _)| !places.is_empty());
        let row = places.iter().map(|place| {
            // A valve or a far position is a little less ready than an open near one.
            let own = f64::from(place.position) * 0.01 + if place.side > 0 { 0.5 } else { 0.0 };
            let Some((earlier, paid)) = before else { return (own, 0) };
            let reach = |from: &Place| (speed(*from, *place, notes[at].1)).powi(2);
            let all = earlier.iter().zip(paid).enumerate().map(|(i, (from, cost))| (cost.0 + reach(from), i));
            all.min_by(|a, b| a.0.total_cmp(&b.0)).map_or((own, 0), |(cost, i)| (cost + own, i))
        });
        costs.push(row.collect());
    }
    let mut found = vec![None; notes.len()];
    let mut next: Option<usize> = None;
    for at in (0..notes.len()).rev() {
        let best = || (0..costs[at].len()).min_by(|a, b| costs[at][*a].0.total_cmp(&costs[at][*b].0));
        let chosen = next.or_else(best);
        found[at] = chosen.map(|i| choices[at][i]);
        next = chosen.map(|i| costs[at][i].1).filter(|_| at > 0 && !choices[at - 1].is_empty());
    }
    found
}

/// Notes of a figure that make one span of the arm's work.
pub const FIGURE: usize = 8;
/// From so many slurred notes a second on a figure whose arm is seldom still blurs, and so many positions a second on the mean of the figure are more than the
/// arm does without a pause (source `slide-speed`, memory: no more than a quarter of what one move may take, for there is no rest between them).
const SLURRED: f64 = 7.0;
const UNRESTING: f64 = 18.0 / 4.0;

/// How many positions a second the arm goes on the mean of [`FIGURE`] notes in a row (key, and seconds since the note before), the worst of them, where these are
/// quicker than a slide follows under a slur; with the place of the first of them. `None` where all can be done.
#[must_use]
pub fn toil(trombone: &Trombone, level: Level, notes: &[(u8, f64)]) -> Option<(usize, f64)> {
    let places = easiest(trombone, notes);
    let able = level.speed();
    let of = |first: usize| {
        let seconds: f64 = notes[first + 1..first + FIGURE].iter().map(|note| note.1).sum();
        let mut moved = 0u32;
        for pair in places[first..first + FIGURE].windows(2) {
            let (from, to) = (pair[0]?, pair[1]?);
            moved += u32::from(from.position.abs_diff(to.position));
        }
        let many = f64::from(u32::try_from(FIGURE - 1).unwrap_or(1));
        let quick = many / seconds.max(0.01) >= SLURRED * able && f64::from(moved) / seconds.max(0.01) >= UNRESTING * able;
        quick.then_some((first, f64::from(moved) / seconds.max(0.01)))
    };
    let all = (0..(notes.len() + 1).saturating_sub(FIGURE)).filter_map(of);
    all.fold(None, |worst: Option<(usize, f64)>, one| worst.filter(|worst| worst.1 >= one.1).or(Some(one)))
}

/// Positions a second from one place to another within a time.
#[must_use]
pub fn speed(from: Place, to: Place, seconds: f64) -> f64 {
    f64::from(from.position.abs_diff(to.position)) / seconds.max(0.01)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(trombone: &Trombone, key: u8) -> Vec<String> {
        let name = |place: &Place| format!("{}{}/p{}", if place.side == 0 { "" } else { "T" }, place.position, place.partial);
        trombone.places(key).iter().map(name).collect()
    }

    /// Positions of en.wikibooks.org/wiki/Trombone/Slide_Positions for partials 2 to 6, and the notes the open tube lacks.
    #[test]
    fn positions_agree_with_the_published_table() {
        for (key, places) in [
            (40, vec!["7/p2", "T2/p2"]),
            (46, vec!["1/p2", "T3/p3"]),
            (47, vec!["7/p3", "T2/p3"]),
            (53, vec!["1/p3", "6/p4", "T1/p4", "T5/p5"]),
            (58, vec!["1/p4", "5/p5", "T3/p6"]),
            (60, vec!["3/p5", "6/p6", "T1/p6", "T6/p8"]),
            (65, vec!["1/p6", "6/p8", "T1/p8", "T3/p9", "T5/p10"]),
            (77, vec!["1/p12"]),
            (36, vec!["T6/p2"]),
            (39, vec!["T3/p2"]),
            (35, vec![]),
        ] {
            assert_eq!(shown(&TENOR, key), places, "key {key}");
        }
        let missing: Vec<u8> = (34..=40).filter(|key| TENOR.places(*key).iter().all(|place| place.side > 0)).collect();
        assert_eq!(missing, [35, 36, 37, 38, 39], "B1, C2, C#2, D2, Eb2: Wikipedia on the F attachment");
    }

    /// The harmonic series: partials in cents from equal temperament, from their definition.
    #[test]
    fn partials_follow_from_the_series() {
        for (number, semitones, cents) in
            [(1, 0, 0.0), (3, 19, 2.0), (5, 28, -13.7), (7, 34, -31.2), (9, 38, 3.9), (11, 42, -48.7), (12, 43, 2.0)]
        {
            let (found, deviation) = partial(number);
            assert_eq!(found, semitones);
            assert!((deviation - cents).abs() < 0.06, "partial {number}: {deviation}");
        }
    }

    /// By the geometry: the top of each partial and six semitones down on the open tube, five with the attachment, and no more.
    #[test]
    fn glissandi_stay_on_one_partial() {
        let tops = [34u8, 46, 53, 58, 62, 65, 68, 70, 72, 74];
        let with_f = [29u8, 41, 48, 53, 57, 60, 63, 65, 67, 69];
        let possible = |a: u8, b: u8| {
            let on = |tops: &[u8], span: u8| tops.iter().any(|top| [a, b].iter().all(|key| key <= top && key + span >= *top));
            on(&tops, 6) || on(&with_f, 5)
        };
        for a in 24u8..=70 {
            for b in 24u8..=70 {
                // Partial 12 goes higher than the handbook's list of ten.
                let beyond = TENOR.every_place(a).iter().any(|place| place.partial == 12);
                if !beyond {
                    assert_eq!(TENOR.glissando(a, b).is_some(), possible(a, b), "{a} to {b}");
                }
            }
        }
    }

    /// Impossible on the tenor: the glissando B1 to F2 known from the repertoire (M. Clayville, michaelclayville.com/category/glissando,
    /// says why), and every interval wider than a tritone.
    #[test]
    fn famous_and_wide_glissandi_are_impossible() {
        assert_eq!(TENOR.glissando(35, 41), None);
        assert_eq!(BASS.glissando(35, 41), None);
        // Bb2 to B2 lies at the two ends of the slide; only the attachment has both on one partial.
        assert_eq!(PLAIN.glissando(46, 47), None);
        assert!(TENOR.glissando(46, 47).is_some() && PLAIN.glissando(53, 54).is_some());
        assert!(TENOR.glissando(40, 46).is_some() && TENOR.glissando(47, 53).is_some() && TENOR.glissando(36, 41).is_some());
        for low in 24u8..70 {
            assert_eq!(TENOR.glissando(low, low + 7), None);
        }
    }

    /// D minor on the open slide, in semiquavers at crotchet 126 up and down as arpeggios are written for pianos, and the same in quavers. A major chord may lie in one
    /// position of the F tube (its fourth, fifth, sixth, eighth and tenth partial), and that is no toil. Positions by the published table above; the limits are from memory (`slide-speed`).
    #[test]
    fn an_unresting_arm_is_told() {
        let arpeggio = |seconds: f64| [50u8, 53, 57, 62, 65, 62, 57, 53, 50].map(|key| (key, seconds)).to_vec();
        assert!(toil(&PLAIN, Level::Professional, &arpeggio(60.0 / 126.0 / 4.0)).is_some());
        assert!(toil(&PLAIN, Level::Professional, &arpeggio(60.0 / 126.0 / 2.0)).is_none());
        // Partials of one position: the lips do it alone.
        for bugle in [[46u8, 53, 58, 53, 58, 65, 58, 53, 46], [51, 55, 58, 63, 67, 63, 58, 55, 51]] {
            assert!(toil(&TENOR, Level::Professional, &bugle.map(|key| (key, 0.12))).is_none());
        }
    }

    #[test]
    fn the_arm_takes_the_nearer_way() {
        // B flat, C, B flat in semiquavers: C4 in third, not sixth.
        let found = easiest(&TENOR, &[(58, 1.0), (60, 0.1), (58, 0.1)]);
        let positions: Vec<u8> = found.iter().flatten().map(|place| place.position).collect();
        assert_eq!(positions.len(), 3);
        assert!(positions.windows(2).all(|pair| pair[0].abs_diff(pair[1]) <= 2), "{positions:?}");
        // B flat 2 in first, B2 in seventh: no way round on the open tube; the attachment has it in second.
        let found = easiest(&ALTO, &[(51, 1.0), (52, 0.1)]);
        assert_eq!(found.iter().flatten().map(|place| place.position).collect::<Vec<_>>(), [1, 7]);
    }
}
