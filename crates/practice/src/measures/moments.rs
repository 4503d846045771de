//! Doublings moment by moment.

use crate::material::Material;
use crate::slices::Slice;

/// Common notes below which a doubling is held to be chance, even where each of them is long.
pub(super) const NO_CHANCE: u32 = 3;

/// What each line does in a slice.
pub(super) struct Moment<'a> {
    pub slice: &'a Slice,
    /// Highest key of each line, by line; `None` where it is silent or without pitch.
    pub top: &'a [Option<i32>],
    /// Whether each line sounds and has pitch, which on a chart its instrument tells.
    pub pitched: &'a [bool],
    /// People on each line.
    pub people: &'a [u32],
    /// Doublings that sound here: both lines do, at the interval of the doubling. Indices into [`ripieno_texture::Doublings::all`].
    pub doublings: &'a [u32],
}

/// Visits every slice in which something sounds.
pub(super) fn each_moment(material: &Material<'_>, mut visit: impl FnMut(&Moment<'_>)) {
    let all = &material.doublings.all;
    let count = material.lines.lines.len();
    let (mut top, mut people): (Vec<Option<i32>>, Vec<u32>) = (vec![None; count], vec![0; count]);
    let mut pitched = vec![false; count];
    let (mut lines, mut open, mut here): (Vec<usize>, Vec<u32>, Vec<u32>) = (Vec::new(), Vec::new(), Vec::new());
    let mut next = 0u32;
    for (slice, rows) in material.slices.iter().filter(|(_, rows)| !rows.is_empty()) {
        open.retain(|&doubling| all[doubling as usize].to > slice.from);
        while let Some(doubling) = all.get(next as usize).filter(|doubling| doubling.from <= slice.from) {
            if (doubling.shared >= NO_CHANCE || material.charted) && doubling.to > slice.from {
                open.push(next);
            }
            next += 1;
        }
        for line in lines.drain(..) {
            (top[line], pitched[line], people[line]) = (None, false, 0);
        }
        for &row in rows {
            let line = material.line_of(row);
            lines.push(line);
            top[line] = top[line].max(material.key_of(row));
            pitched[line] |= material.has_pitch(row);
            let most = u32::from(material.score.parts[material.part_of(row)].players.most).max(1);
            people[line] = (people[line] + u32::from(material.sounding.notes.players[row as usize].least)).min(most);
        }
        here.clear();
        here.extend(open.iter().filter(|&&index| {
            let doubling = &all[index as usize];
            if material.charted {
                return pitched[doubling.a] && pitched[doubling.b];
            }
            top[doubling.a].zip(top[doubling.b]).is_some_and(|(a, b)| b - a == i32::from(doubling.interval))
        }));
        visit(&Moment { slice, top: &top, pitched: &pitched, people: &people, doublings: &here });
    }
}

/// Visits every slice in which something sounds, with the doublings that hold in it as in who doubles whom; indices into [`ripieno_texture::Doublings::all`].
pub fn each_doubled(material: &Material<'_>, mut visit: impl FnMut(&Slice, &[u32])) {
    each_moment(material, |moment| visit(moment.slice, moment.doublings));
}

/// "unison", "octave below", "two octaves above" for a distance in semitones, a multiple of 12.
pub(crate) fn octaves(interval: i16) -> String {
    const WORDS: [&str; 6] = ["", "", "two ", "three ", "four ", "five "];
    let number = interval.unsigned_abs() / 12;
    let direction = if interval < 0 { "below" } else { "above" };
    match number {
        0 => "unison".to_owned(),
        1 => format!("octave {direction}"),
        _ => WORDS
            .get(usize::from(number))
            .map_or_else(|| format!("{number} octaves {direction}"), |word| format!("{word}octaves {direction}")),
    }
}
