//! Sequencer sessions: several tracks that are one instrument, told by their names, become one line.
//!
//! Composers keep a track for each way of playing ("Horns 1 long", "Horns 1 short", "Hn stac"). The words for ways of
//! playing are common practice among users of sampled orchestras; the list is entered from memory.

use std::collections::BTreeMap;

use ripieno_instruments::family::{Family, Section};

use super::events::{Strike, StrikeKind, Tracks};
use super::lines::{self, Identity, Line};
use super::report::{At, Report, count};

/// Words for ways of playing, lower case without dots. Those that could also be the beginning of an instrument's name
/// ("ten." the tenor, "harm." the harmonium) are left out.
const WAYS: [&str; 78] = [
    "accent",
    "accents",
    "arco",
    "articulation",
    "articulations",
    "arts",
    "bartok",
    "bouche",
    "con",
    "consord",
    "cuivre",
    "cuivré",
    "detache",
    "detaché",
    "détaché",
    "effects",
    "espr",
    "espressivo",
    "exp",
    "expr",
    "falls",
    "flautando",
    "flutter",
    "frull",
    "fx",
    "gliss",
    "glissando",
    "harmonics",
    "ks",
    "leg",
    "legato",
    "legno",
    "long",
    "longs",
    "marc",
    "marcato",
    "marcatos",
    "mute",
    "muted",
    "mutes",
    "non",
    "nonvib",
    "novib",
    "perf",
    "performance",
    "pizz",
    "pizzicato",
    "pont",
    "ponticello",
    "portato",
    "repetition",
    "repetitions",
    "rips",
    "runs",
    "senza",
    "sfz",
    "short",
    "shorts",
    "sord",
    "sordino",
    "spic",
    "spicc",
    "spiccato",
    "stac",
    "stacc",
    "staccatissimo",
    "staccato",
    "stopped",
    "sul",
    "sus",
    "sust",
    "sustain",
    "sustained",
    "sustains",
    "tasto",
    "trem",
    "tremolo",
    "vib",
];

/// Ways that stand before the name as well.
const LEADING: [&str; 12] =
    ["legato", "long", "marcato", "muted", "pizz", "pizzicato", "short", "spiccato", "staccato", "sustained", "trem", "tremolo"];

/// Words that only mean a way of playing beside another such word ("con sord.", "col legno", "sul tasto").
const BESIDE: [&str; 6] = ["con", "col", "non", "senza", "sul", "no"];

/// A track's name taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TrackName {
    /// Who plays.
    pub(super) who: String,
    /// How, as written in the name; empty for no way in particular.
    pub(super) how: String,
}

impl TrackName {
    /// Takes a name apart: leading track numbers go, words for ways of playing at the end (or the plain ones at the
    /// beginning) become `how`.
    pub(super) fn of(name: &str) -> Self {
        let mut words: Vec<&str> =
            name.split([' ', '_', '-', '–', ',', '(', ')', '[', ']', '/']).filter(|w| !w.is_empty()).collect();
        let numbering = |word: &str| word.trim_end_matches('.').chars().all(|c| c.is_ascii_digit());
        while words.len() > 1 && words.first().is_some_and(|word| numbering(word)) && words.iter().any(|word| !numbering(word)) {
            words.remove(0);
        }
        let plain = |word: &str| word.trim_end_matches('.').to_lowercase();
        let is_way = |word: &str| WAYS.contains(&plain(word).as_str());
        let is_beside = |word: &str| BESIDE.contains(&plain(word).as_str());
        let mut how: Vec<&str> = Vec::new();
        while words.len() > 1 {
            let Some(&last) = words.last() else { break };
            let takes = is_way(last) && !is_beside(last) || is_beside(last) && !how.is_empty();
            if !takes {
                break;
            }
            how.insert(0, last);
            words.pop();
        }
        let mut first = 0;
        while how.is_empty() && first + 1 < words.len() && words.get(first).is_some_and(|w| LEADING.contains(&plain(w).as_str()))
        {
            first += 1;
        }
        let leading = words.drain(..first).collect::<Vec<_>>();
        how.extend(leading);
        Self { who: words.join(" "), how: how.join(" ").to_lowercase() }
    }
}

/// Merges lines that are one instrument.
pub(super) fn merge(all: &mut Tracks<'_>, lines: Vec<Line>, per_crotchet: u32, report: &mut Report<'_>) -> Vec<Line> {
    let names: Vec<TrackName> = lines.iter().map(|line| TrackName::of(&line.name)).collect();
    let keys = keys(&lines, &names);
    let mut members: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (index, key) in keys.iter().enumerate() {
        members.entry(key).or_default().push(index);
    }
    let mut joined: Vec<Vec<usize>> = lines.iter().enumerate().map(|(index, _)| vec![index]).collect();
    for group in members.values().filter(|group| group.len() > 1) {
        let ways = group.iter().any(|&index| names.get(index).is_some_and(|name| !name.how.is_empty()));
        let same = group.iter().all(|&index| name_of(&lines, index) == name_of(&lines, group.first().copied().unwrap_or(0)));
        let staves = group.len() == 2 && is_two_handed(&lines, group);
        if staves || ways || (same && overlap(all, &lines, group) <= MOST_OVERLAP) {
            for &index in group {
                if let Some(list) = joined.get_mut(index) {
                    list.clear();
                }
            }
            if let Some(first) = group.first().and_then(|&first| joined.get_mut(first)) {
                first.clone_from(group);
            }
        } else if same {
            let what = format!("{} tracks of this name sound at the same time", group.len());
            let name = name_of(&lines, group.first().copied().unwrap_or(0));
            report.note(At::part(name), "same-name", what, "Each became a part of its own; number them to tell them apart");
        }
    }
    let mut merged = Vec::with_capacity(lines.len());
    for group in joined.iter().filter(|group| !group.is_empty()) {
        let own: Vec<&Line> = group.iter().filter_map(|&index| lines.get(index)).collect();
        let own_names: Vec<&TrackName> = group.iter().filter_map(|&index| names.get(index)).collect();
        match (own.as_slice(), own_names.as_slice()) {
            ([], _) | (_, []) => {}
            ([line], [name]) => merged.push(alone(line, name, all)),
            (many, names) if is_two_handed(&lines, group) && names.iter().all(|name| name.how.is_empty()) => {
                merged.push(two_staves(all, many, names, report));
            }
            (many, names) => merged.push(one_line(all, many, names, per_crotchet, report)),
        }
    }
    merged
}

/// Share of the time in which two tracks of one name may both sound and still be one instrument.
const MOST_OVERLAP: f64 = 0.1;

fn name_of(lines: &[Line], index: usize) -> &str {
    lines.get(index).map_or("", |line| &line.name)
}

/// What makes two tracks one instrument, as text: the recognised instrument with its numbers, else the name.
fn keys(lines: &[Line], names: &[TrackName]) -> Vec<String> {
    let base = |line: &Line, name: &TrackName| {
        let percussion = if line.percussion { "percussion " } else { "" };
        match &line.identity {
            Some(identity) => format!("{percussion}{}", identity.key(true)),
            None => format!("{percussion}{}", name.who.to_lowercase()),
        }
    };
    let mut keys: Vec<String> = lines.iter().zip(names).map(|(line, name)| base(line, name)).collect();
    // A track without a number joins the only numbered tracks of its instrument, where ways of playing are told apart.
    for (index, (line, name)) in lines.iter().zip(names).enumerate() {
        let Some(identity) = line.identity.as_ref().filter(|identity| identity.numbers.is_empty()) else { continue };
        if name.how.is_empty() {
            continue;
        }
        let others = lines.iter().zip(&keys).filter(|(other, _)| {
            other.percussion == line.percussion
                && other.identity.as_ref().is_some_and(|o| !o.numbers.is_empty() && o.key(false) == identity.key(false))
        });
        let mut numbered: Vec<String> = others.map(|(_, key)| key.clone()).collect();
        numbered.dedup();
        if let [only] = numbered.as_slice() {
            let only = only.clone();
            if let Some(key) = keys.get_mut(index) {
                *key = only;
            }
        }
    }
    keys
}

/// Whether lines are the two hands of one player.
fn is_two_handed(lines: &[Line], group: &[usize]) -> bool {
    group.len() == 2
        && group.iter().filter_map(|&index| lines.get(index)).all(|line| {
            let catalogued = line.identity.as_ref().map(Identity::instrument);
            catalogued.is_some_and(|i| i.family == Family::Keyboard || i.section == Section::Harps)
        })
}

/// Share of the shorter track's sounding time in which another of the group sounds as well.
fn overlap(all: &Tracks<'_>, lines: &[Line], group: &[usize]) -> f64 {
    let spans = |index: usize| {
        let mut spans: Vec<(u32, u32)> = Vec::new();
        for strike in lines.get(index).into_iter().flat_map(|line| lines::strikes(all, line)) {
            match spans.last_mut() {
                Some(last) if strike.on <= last.1 => last.1 = last.1.max(strike.off),
                _ => spans.push((strike.on, strike.off)),
            }
        }
        spans
    };
    let length = |spans: &[(u32, u32)]| spans.iter().map(|(on, off)| f64::from(off - on)).sum::<f64>();
    let spans: Vec<Vec<(u32, u32)>> = group.iter().map(|&index| spans(index)).collect();
    let mut most: f64 = 0.0;
    for (index, a) in spans.iter().enumerate() {
        for b in spans.iter().skip(index + 1) {
            let (mut i, mut j, mut both) = (0, 0, 0.0);
            while let (Some(x), Some(y)) = (a.get(i), b.get(j)) {
                both += f64::from(x.1.min(y.1).saturating_sub(x.0.max(y.0)));
                if x.1 <= y.1 {
                    i += 1;
                } else {
                    j += 1;
                }
            }
            let shorter = length(a).min(length(b));
            if shorter > 0.0 {
                most = most.max(both / shorter);
            }
        }
    }
    most
}

/// A line that stays by itself; a way of playing in its name becomes a word over its first note.
fn alone(line: &Line, name: &TrackName, all: &Tracks<'_>) -> Line {
    let mut line = line.clone();
    if !name.how.is_empty() && line.identity.is_some() {
        let first = lines::strikes(all, &line).map(|strike| strike.on).min();
        line.words.extend(first.map(|first| (first, name.how.clone())));
    }
    line
}

fn two_staves(all: &Tracks<'_>, hands: &[&Line], names: &[&TrackName], report: &mut Report<'_>) -> Line {
    let mean = |line: &Line| {
        let (sum, count) = lines::strikes(all, line).fold((0u64, 0u64), |(sum, n), s| (sum + u64::from(s.key), n + 1));
        sum * 100 / count.max(1)
    };
    let mut order: Vec<&&Line> = hands.iter().collect();
    order.sort_by_key(|line| std::cmp::Reverse(mean(line)));
    let mut whole = hands.first().map_or_else(Line::default, |line| (*line).clone());
    whole.name = common_name(names);
    whole.staves = order.iter().flat_map(|line| line.staves.iter().cloned()).collect();
    gather_sources(&mut whole, hands);
    let what = "two tracks are the two staves of one player";
    report.note(At::part(&whole.name), "tracks-merged", what, "They became one part of two staves");
    whole
}

/// The tracks' names where they agree, else who plays by the first one.
fn common_name(names: &[&TrackName]) -> String {
    let hand = |word: &&str| !["rh", "lh", "r.h.", "l.h.", "right", "left", "hand"].contains(&word.to_lowercase().as_str());
    let strip = |name: &TrackName| name.who.split(' ').filter(hand).collect::<Vec<_>>().join(" ");
    names.first().map_or_else(String::new, |name| strip(name))
}

fn gather_sources(whole: &mut Line, parts: &[&Line]) {
    whole.tracks = parts.iter().flat_map(|line| line.tracks.iter().copied()).collect();
    whole.channels = parts.iter().fold(0, |channels, line| channels | line.channels);
    whole.mixed = parts.iter().any(|line| line.mixed);
}

fn one_line(all: &mut Tracks<'_>, parts: &[&Line], names: &[&TrackName], per_crotchet: u32, report: &mut Report<'_>) -> Line {
    let mut strikes: Vec<(Strike, usize)> = Vec::new();
    for (source, line) in parts.iter().enumerate() {
        strikes.extend(lines::strikes(all, line).map(|strike| (*strike, source)));
    }
    strikes.sort_by_key(|(strike, source)| (strike.on, strike.off, strike.key, *source));
    let layered = hide_layers(&mut strikes, per_crotchet / 8);
    let mut whole = parts.first().map_or_else(Line::default, |line| (*line).clone());
    whole.name = shortest(names);
    gather_sources(&mut whole, parts);
    let mut playing: Option<&str> = None;
    for (strike, source) in strikes.iter().filter(|(strike, _)| strike.kind != StrikeKind::Hidden) {
        let how = names.get(*source).map_or("", |name| name.how.as_str());
        if playing != Some(how) {
            let word = if how.is_empty() { "ord." } else { how };
            if playing.is_some() || !how.is_empty() {
                whole.words.push((strike.on, word.to_owned()));
            }
            playing = Some(how);
        }
    }
    let first = all.notes.len();
    all.notes.extend(strikes.iter().map(|(strike, _)| *strike));
    whole.staves = std::iter::once(first..all.notes.len()).collect();
    let listed = parts.iter().map(|line| line.name.as_str()).collect::<Vec<_>>().join(", ");
    let what = format!("the tracks {listed} are one instrument");
    report.note(At::part(&whole.name), "tracks-merged", what, "They became one part; their ways of playing stand as words");
    if layered > 0 {
        let what = format!("{} doubled by another track of the same instrument", count(layered, "note"));
        report.note(At::part(&whole.name), "layers", what, "The shorter one of each pair is kept hidden");
    }
    whole
}

/// The shortest of the names of who plays, but not an abbreviation before a full name.
fn shortest(names: &[&TrackName]) -> String {
    names.first().map_or_else(String::new, |name| name.who.clone())
}

/// Hides the shorter of two notes of one key from different tracks that begin within `near` ticks; answers how many.
fn hide_layers(strikes: &mut [(Strike, usize)], near: u32) -> u32 {
    let mut hidden = 0;
    let mut last: [Option<usize>; 128] = [None; 128];
    for index in 0..strikes.len() {
        let Some(&(strike, source)) = strikes.get(index) else { break };
        let Some(slot) = last.get_mut(usize::from(strike.key)) else { continue };
        let before = slot.and_then(|before| Some((before, *strikes.get(before)?)));
        *slot = Some(index);
        let Some((before, (earlier, other))) = before else { continue };
        if other == source || strike.on - earlier.on > near || earlier.kind == StrikeKind::Hidden {
            continue;
        }
        let shorter = if earlier.off - earlier.on < strike.off - strike.on { before } else { index };
        if let Some((strike, _)) = strikes.get_mut(shorter) {
            strike.kind = StrikeKind::Hidden;
            hidden += 1;
        }
        if shorter == index {
            *slot = Some(before);
        }
    }
    hidden
}

#[cfg(test)]
mod tests {
    use super::TrackName;

    #[test]
    fn names_come_apart() {
        let cases = [
            ("Horns 1 long", "Horns 1", "long"),
            ("Hn stac", "Hn", "stac"),
            ("03 Vlns I - Pizz.", "Vlns I", "pizz."),
            ("VC_Legato", "VC", "legato"),
            ("Violas col legno", "Violas", "col legno"),
            ("Violas con sord.", "Violas", "con sord."),
            ("Trumpets (muted)", "Trumpets", "muted"),
            ("Staccato Brass", "Brass", "staccato"),
            ("Tenor Trombone", "Tenor Trombone", ""),
            ("Long", "Long", ""),
            ("Contrabassoon", "Contrabassoon", ""),
            ("bassoon1", "bassoon1", ""),
            ("1", "1", ""),
        ];
        for (name, who, how) in cases {
            assert_eq!(TrackName::of(name), TrackName { who: who.to_owned(), how: how.to_owned() }, "{name}");
        }
    }
}
