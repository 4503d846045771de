//! How many people sound.
//!
//! A part is played by one person, by a few who share a staff ("Horns 1.2"), or by a body such as the first violins. What
//! the page says along the way ("a 2", "1.", "zu 2", "div.", "unis.", "solo") changes the number. Where it does not say -
//! one line on a staff for two - the answer is a range with its reason, never a guess.

use std::collections::BTreeMap;
use std::fmt;

use crate::directions::DirectionKind;
use crate::score::{Bar, Part};
use crate::time::Crotchets;

/// A number of players, exact when both ends agree, otherwise the range the page leaves open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PlayerCount {
    /// At least this many.
    pub least: u16,
    /// At most this many.
    pub most: u16,
}

impl PlayerCount {
    /// Exactly `count`.
    #[must_use]
    pub const fn exactly(count: u16) -> Self {
        Self { least: count, most: count }
    }

    /// Between the two, whichever way round they are given.
    #[must_use]
    pub const fn between(a: u16, b: u16) -> Self {
        if a <= b { Self { least: a, most: b } } else { Self { least: b, most: a } }
    }

    /// Shared out among `lines` lines of music: each line gets its part, at least one player.
    #[must_use]
    pub const fn shared(self, lines: u16) -> Self {
        let lines = if lines == 0 { 1 } else { lines };
        let least = self.least / lines;
        let most = self.most.div_ceil(lines);
        Self { least: if least == 0 { 1 } else { least }, most: if most == 0 { 1 } else { most } }
    }

    /// Whether both ends agree.
    #[must_use]
    pub const fn is_exact(self) -> bool {
        self.least == self.most
    }
}

impl Default for PlayerCount {
    fn default() -> Self {
        Self::exactly(1)
    }
}

impl fmt::Display for PlayerCount {
    /// `2`, or `8-16`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_exact() { write!(f, "{}", self.least) } else { write!(f, "{}-{}", self.least, self.most) }
    }
}

/// Why a note is given the number of players it is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CountReason {
    /// The part is for exactly this many, and all play.
    Part,
    /// A mark such as "a 2", "1.", "solo", "unis." settles it.
    Mark,
    /// As many lines sound as there are players.
    Lines,
    /// The other voice of the staff visibly rests.
    OthersRest,
    /// Several share the staff and the page does not say who plays this line.
    Unsettled,
    /// A body of players whose size the page does not print.
    Body,
    /// A divided body: each line has its share.
    Divided,
}

impl CountReason {
    /// The reason as a clause: "the page does not say who of those sharing the staff plays".
    #[must_use]
    pub const fn clause(self) -> &'static str {
        match self {
            Self::Part => "the part is for this many",
            Self::Mark => "a mark in the part says so",
            Self::Lines => "as many lines sound as players share the staff",
            Self::OthersRest => "the other voice on the staff rests",
            Self::Unsettled => "several share the staff and the page does not say who plays",
            Self::Body => "the size of the section is not printed",
            Self::Divided => "the section is divided and its size is not printed",
        }
    }
}

/// What a player indication asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlayerMark {
    /// Everybody on one line: "unis.", "tutti", "non div.", "alle".
    All,
    /// This many on each line: "a 2", "zu 3", "à 2".
    Together(u16),
    /// These players only, as many as are named: "1.", "II.", "1.2.", "solo", "2 soli", "1. Pult" (two players).
    Only(u16),
    /// The body divides: "div.", "geteilt"; into this many where said.
    Divided(Option<u16>),
    /// Half of the body: "la metà", "die Hälfte".
    Half,
}

impl PlayerMark {
    /// Reads a direction's words; `None` when they are about something else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let lower = text.trim().to_lowercase().replace(['\u{a0}', '\n', '\t', '(', ')', '[', ']'], " ");
        let words: Vec<&str> = lower.split(' ').filter(|word| !word.is_empty()).collect();
        let first = *words.first()?;
        if words.len() > 4 {
            return None;
        }
        let rest = words.get(1).copied().unwrap_or("");
        match (first.trim_end_matches(['.', ',', ':']), rest.trim_end_matches(['.', ',', ':'])) {
            ("non" | "nicht" | "pas", "div" | "divisi" | "geteilt" | "divisés" | "divises") => return Some(Self::All),
            ("unis" | "unisono" | "unisoni" | "tutti" | "alle" | "tous" | "all" | "zusammen" | "ripieni" | "unison", _) => {
                return Some(Self::All);
            }
            ("metà" | "hälfte" | "half" | "moitié", _) | ("la" | "die", "metà" | "hälfte" | "moitié") => {
                return Some(Self::Half);
            }
            ("solo", _) => return Some(Self::Only(1)),
            ("soli", _) => return None,
            ("div" | "divisi" | "divise" | "geteilt" | "divisés" | "divided", _) => {
                let parts = words.iter().skip(1).find_map(|word| number(word));
                return Some(Self::Divided(parts));
            }
            ("a" | "à" | "á" | "zu", count) if !words.get(2).is_some_and(|word| counts_other_things(word)) => {
                return number(count).filter(|count| (2..=16).contains(count)).map(Self::Together);
            }
            _ => {}
        }
        if let Some(count) = first.strip_prefix('a').or_else(|| first.strip_prefix("à")).and_then(number)
            && words.len() == 1
            && (2..=16).contains(&count)
        {
            return Some(Self::Together(count));
        }
        match rest.trim_end_matches(['.', ',', ':']) {
            // "2. Solo" is the second player, "2 Soli" are two.
            "solo" => {
                return count(&numbers(&[first])).or_else(|| number(first).filter(|_| !first.ends_with('.'))).map(Self::Only);
            }
            "soli" | "players" | "spieler" => return number(first).map(Self::Only),
            _ => {}
        }
        if matches!(
            rest.trim_end_matches('.'),
            "pult" | "pulte" | "desk" | "desks" | "leggio" | "leggii" | "pupitre" | "pupitres"
        ) {
            let desks =
                if rest.starts_with("pulte") || rest.starts_with("desks") { number(first.trim_end_matches('.'))? } else { 1 };
            return Some(Self::Only(desks.saturating_mul(2)));
        }
        (words.len() <= 3).then(|| count(&numbers(&words))).flatten().map(Self::Only)
    }

    /// The numbers of the players that the words name: 2 for "2. Solo", 1 and 2 for "I & II"; none for "solo" or "a 2", which name nobody.
    #[must_use]
    pub fn named(text: &str) -> Vec<u16> {
        let lower = text.trim().to_lowercase();
        let words: Vec<&str> =
            lower.split(|c: char| c.is_whitespace() || "()[]".contains(c)).filter(|word| !word.is_empty()).collect();
        match Self::parse(text) {
            // "III. Solo espr.": what follows says how.
            Some(Self::Only(_)) if words.get(1).is_some_and(|word| word.trim_end_matches(['.', ',', ':']) == "solo") => {
                numbers(&words[..1])
            }
            Some(Self::Only(_)) => numbers(&words),
            _ => Vec::new(),
        }
    }
}

fn count(named: &[u16]) -> Option<u16> {
    u16::try_from(named.len()).ok().filter(|&count| count > 0)
}

/// Whether a word after "a 2" says what else is counted: strings, voices, hands, bars ("a due corde", "a 4 voci", "a 3 battute").
fn counts_other_things(word: &str) -> bool {
    ["cord", "voc", "voix", "stimm", "man", "main", "händ", "batt", "takt", "mesur", "part", "temp"]
        .iter()
        .any(|stem| word.starts_with(stem))
}

fn number(word: &str) -> Option<u16> {
    let word = word.trim_matches(['.', ',', ':', 'º', '°']);
    Some(match word {
        "due" | "deux" | "zwei" | "two" | "both" | "beide" => 2,
        "tre" | "trois" | "drei" | "three" => 3,
        "quattro" | "quatre" | "vier" | "four" => 4,
        _ => word.parse().ok()?,
    })
}

/// "1.", "1.2.", "I", "II.", "1°", "1st", "1mo", "2da", "I & II": the numbers of the players named; none where other words stand among them.
fn numbers(words: &[&str]) -> Vec<u16> {
    let joined = words.join(" ");
    // A bare "1" or "3" is a fingering or a bar count; players carry a point, a sign or a roman numeral.
    let marked = joined.contains(['.', '°', 'º', '&', '/', '+'])
        || joined.starts_with(['i', 'v'])
        || joined.ends_with(|c: char| c.is_alphabetic());
    if !marked {
        return Vec::new();
    }
    let mut named = Vec::new();
    for token in joined.split(['.', ' ', ',', '&', '/', '+']).filter(|token| !token.is_empty()) {
        if matches!(token, "e" | "et" | "und" | "u" | "and" | "solo") {
            continue;
        }
        let digits = token.trim_end_matches(['°', 'º']);
        let stem = ["mo", "do", "da", "zo", "to", "st", "nd", "rd", "th", "o", "er", "re", "me"]
            .iter()
            .find_map(|suffix| digits.strip_suffix(suffix).filter(|stem| stem.ends_with(|c: char| c.is_ascii_digit())))
            .unwrap_or(digits);
        let player = match stem {
            "i" => 1,
            "ii" => 2,
            "iii" => 3,
            "iv" => 4,
            "v" => 5,
            "vi" => 6,
            "primo" => 1,
            "secondo" => 2,
            _ => match stem.parse::<u16>() {
                Ok(number @ 1..=12) => number,
                _ => return Vec::new(),
            },
        };
        if !named.contains(&player) {
            named.push(player);
        }
    }
    named
}

/// The player indications of a part, staff by staff in score order.
pub(crate) struct PlayerMarks {
    of_staff: BTreeMap<u8, Vec<(Crotchets, PlayerMark)>>,
}

impl PlayerMarks {
    pub(crate) fn new(part: &Part, bars: &[Bar]) -> Self {
        let mut of_staff: BTreeMap<u8, Vec<(Crotchets, PlayerMark)>> = BTreeMap::new();
        for direction in &part.directions {
            let DirectionKind::Words(text) = &direction.kind else { continue };
            let Some(mark) = PlayerMark::parse(text) else { continue };
            let start = bars.get(direction.bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
            of_staff.entry(direction.staff).or_default().push((start + direction.at, mark));
        }
        for marks in of_staff.values_mut() {
            marks.sort_by_key(|mark| mark.0);
        }
        Self { of_staff }
    }

    /// The indication in force at `time` on `staff`.
    fn at(&self, time: Crotchets, staff: u8) -> Option<PlayerMark> {
        let marks = self.of_staff.get(&staff)?;
        marks.get(marks.partition_point(|mark| mark.0 <= time).checked_sub(1)?).map(|mark| mark.1)
    }

    /// Players on one line of a part at `time`, when `lines` different lines sound there on `staff`, of which `others_rest`
    /// tells whether another voice of the staff visibly rests.
    pub(crate) fn count(
        &self,
        part: &Part,
        time: Crotchets,
        staff: u8,
        lines: u16,
        others_rest: bool,
    ) -> (PlayerCount, CountReason) {
        let all = part.players;
        let lines = lines.max(1);
        match (self.at(time, staff), part.is_body) {
            (Some(PlayerMark::Together(n)), false) if lines == 1 || lines.saturating_mul(n) <= all.most => {
                (PlayerCount::exactly(n), CountReason::Mark)
            }
            (Some(PlayerMark::Only(n)), _) if lines <= n => (PlayerCount::exactly(n).shared(lines), CountReason::Mark),
            (Some(PlayerMark::Together(_)), true) if lines > 1 => (all.shared(lines), CountReason::Divided),
            (Some(PlayerMark::Half), true) => (all.shared(2), CountReason::Divided),
            (Some(PlayerMark::Divided(parts)), true) => (all.shared(parts.unwrap_or(2).max(lines)), CountReason::Divided),
            (_, true) => (all, if all.is_exact() { CountReason::Part } else { CountReason::Body }),
            (Some(PlayerMark::All), false) if lines == 1 => (all, CountReason::Mark),
            (_, false) => few(all, lines, others_rest),
        }
    }
}

/// One or a few players on a staff, without a mark that settles the number.
fn few(all: PlayerCount, lines: u16, others_rest: bool) -> (PlayerCount, CountReason) {
    if all.most <= 1 {
        return (PlayerCount::exactly(1), CountReason::Part);
    }
    if lines >= all.most {
        return (PlayerCount::exactly(1), CountReason::Lines);
    }
    if others_rest && lines == 1 && all.most == 2 {
        return (PlayerCount::exactly(1), CountReason::OthersRest);
    }
    (PlayerCount::between(1, all.most - lines + 1), CountReason::Unsettled)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::directions::Direction;
    use crate::score::BarIndex;

    /// Words as orchestral scores print them; common practice, no single source.
    #[test]
    fn reads_player_indications() {
        use PlayerMark::{All, Divided, Half, Only, Together};
        let cases: [(&str, Option<PlayerMark>); 44] = [
            ("a 2", Some(Together(2))),
            ("a2", Some(Together(2))),
            ("à 2", Some(Together(2))),
            ("a 2.", Some(Together(2))),
            ("zu 3", Some(Together(3))),
            ("a due", Some(Together(2))),
            ("1.", Some(Only(1))),
            ("2.", Some(Only(1))),
            ("I.", Some(Only(1))),
            ("II", Some(Only(1))),
            ("1.2.", Some(Only(2))),
            ("1. 2.", Some(Only(2))),
            ("1º", Some(Only(1))),
            ("1mo", Some(Only(1))),
            ("I & II", Some(Only(2))),
            ("1. Solo", Some(Only(1))),
            ("2. Solo", Some(Only(1))),
            ("III. Solo espr.", Some(Only(1))),
            ("1.2. Solo", Some(Only(2))),
            ("3 Solo", Some(Only(3))),
            ("a 2 marcato", Some(Together(2))),
            ("a 2, molto espr.", Some(Together(2))),
            ("a due corde", None),
            ("a 4 voci", None),
            ("a 1", None),
            ("for 2", None),
            ("Solo", Some(Only(1))),
            ("2 soli", Some(Only(2))),
            ("2 players", Some(Only(2))),
            ("due soli", Some(Only(2))),
            ("1. Pult", Some(Only(2))),
            ("2 desks", Some(Only(4))),
            ("div.", Some(Divided(None))),
            ("div. a 3", Some(Divided(Some(3)))),
            ("geteilt", Some(Divided(None))),
            ("non div.", Some(All)),
            ("unis.", Some(All)),
            ("tutti", Some(All)),
            ("la metà", Some(Half)),
            ("a tempo", None),
            ("3", None),
            ("a piacere", None),
            ("dolce", None),
            ("in B", None),
        ];
        for (text, expected) in cases {
            assert_eq!(PlayerMark::parse(text), expected, "{text}");
        }
    }

    #[test]
    fn one_line_for_two_players_is_left_open() {
        assert_eq!(few(PlayerCount::exactly(2), 1, false), (PlayerCount::between(1, 2), CountReason::Unsettled));
        assert_eq!(few(PlayerCount::exactly(2), 2, false), (PlayerCount::exactly(1), CountReason::Lines));
        assert_eq!(few(PlayerCount::exactly(2), 1, true), (PlayerCount::exactly(1), CountReason::OthersRest));
    }

    /// What "a 2" settles follows from how many lines it is written over (common practice).
    #[test]
    fn a_2_counts_each_line_of_a_few_and_no_body() {
        let count = |text: &str, players: PlayerCount, is_body, lines| {
            let kind = DirectionKind::Words(text.into());
            let direction = Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind };
            let part = Part { players, is_body, directions: vec![direction], ..Part::default() };
            PlayerMarks::new(&part, &[]).count(&part, Crotchets::ZERO, 1, lines, false)
        };
        let (two, four, body) = (PlayerCount::exactly(2), PlayerCount::exactly(4), PlayerCount::between(8, 16));
        assert_eq!(count("a 2", two, false, 1), (two, CountReason::Mark));
        assert_eq!(count("a 2", four, false, 2), (two, CountReason::Mark));
        assert_eq!(count("a 2", four, false, 3), (PlayerCount::between(1, 2), CountReason::Unsettled));
        assert_eq!(count("a 2", body, true, 1), (body, CountReason::Body));
        assert_eq!(count("a 2", body, true, 2), (PlayerCount::between(4, 8), CountReason::Divided));
        assert_eq!(count("2. Solo", two, false, 1), (PlayerCount::exactly(1), CountReason::Mark));
    }

    #[test]
    fn marks_name_players_by_their_numbers() {
        let cases: [(&str, &[u16]); 10] = [
            ("2.", &[2]),
            ("III. Solo espr.", &[3]),
            ("1.2.", &[1, 2]),
            ("I & II", &[1, 2]),
            ("(3. Solo)", &[3]),
            ("2do", &[2]),
            ("solo", &[]),
            ("a 2", &[]),
            ("1. Pult", &[]),
            ("poco 2.", &[]),
        ];
        for (text, expected) in cases {
            assert_eq!(PlayerMark::named(text), expected, "{text}");
        }
    }
}
