//! What is told beside the notes: who is needed, and what is unresolved.

use std::collections::BTreeSet;
use std::fmt::Write;

use ripieno_instruments::{Family, catalogue};
use ripieno_players::{Group, Kind, Objection, Severity, grouped, who};
use ripieno_score::{BarIndex, ChangeKind, DirectionKind, Mark, Part, Score, Sounding};

use crate::books::Book;
use crate::instrumentation::instrumentation;
use crate::setting::Setting;
use crate::stands::{StandInstrument, stands};

/// Something a copyist, a conductor or the composer has to settle before the parts go out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unresolved {
    /// Whose part; empty where it concerns the score.
    pub part: String,
    /// Printed bars: "12", "12–15, 20".
    pub bars: String,
    /// The first of them, by which its letter is found; printed numbers may begin again within a score.
    pub first: Option<BarIndex>,
    /// How much it weighs.
    pub weight: Severity,
    /// What is the matter, without a full stop.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl Unresolved {
    /// A point about the score rather than one part, of middle weight.
    #[must_use]
    pub fn of_all(bars: impl Into<String>, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        let weight = Severity::Caution;
        Self { part: String::new(), bars: bars.into(), first: None, weight, what: what.into(), remedy: remedy.into() }
    }

    /// The same point, about bars that begin with this one, counted from 0.
    #[must_use]
    pub fn at(self, first: usize) -> Self {
        Self { first: Some(u32::try_from(first).map_or(BarIndex(u32::MAX), BarIndex)), ..self }
    }
}

/// The rehearsal marks of a score by their bars, by which a point is found on the page.
pub(crate) struct Letters<'a>(Vec<(BarIndex, &'a str)>);

impl<'a> Letters<'a> {
    pub(crate) fn of(score: &'a Score) -> Self {
        let marks = score.parts.iter().flat_map(|part| &part.directions).filter_map(|one| match &one.kind {
            DirectionKind::Rehearsal(text) => Some((one.bar, &**text)),
            _ => None,
        });
        let mut marks: Vec<(BarIndex, &str)> = marks.collect();
        marks.sort_by_key(|(bar, _)| *bar);
        Self(marks)
    }

    /// The mark at or before the first bar of a point; empty where there is none.
    pub(crate) fn for_point(&self, point: &Unresolved) -> &'a str {
        let before = point.first.map_or(0, |first| self.0.partition_point(|(bar, _)| *bar <= first));
        before.checked_sub(1).map_or("", |last| self.0[last].1)
    }
}

/// What taking the score apart and setting it has left open, and is not among what players `objected` to.
#[must_use]
pub fn unresolved(score: &Score, books: &[Book], settings: &[Option<Setting>], objections: &[Objection]) -> Vec<Unresolved> {
    let mut list = Vec::new();
    let mut told: BTreeSet<usize> = BTreeSet::new();
    for (place, book) in books.iter().enumerate() {
        if !book.unsettled.is_empty() && told.insert(book.part) {
            list.push(Unresolved {
                part: score.parts[book.part].name.clone(),
                bars: cited(score, &book.unsettled),
                first: book.unsettled.first().copied(),
                weight: Severity::Fault,
                what: "several players share the staff and the page does not say who plays".to_owned(),
                remedy: "write \"1.\", \"2.\" or \"a 2\"; until then every one of them has the notes".to_owned(),
            });
        }
        if let Some(Some(setting)) = settings.get(place) {
            // In a body two read from a stand, and one of them turns.
            let is_body = score.parts.get(book.part).is_some_and(|part| part.is_body);
            let (weight, remedy) = if is_body {
                (Severity::Note, "the desk partner turns; a player alone at a desk needs a photocopy of the next page")
            } else {
                (Severity::Caution, "leave a page empty, or fold a page out")
            };
            for turn in setting.turns.iter().filter(|turn| turn.is_hurried()) {
                list.push(Unresolved {
                    part: book.name.clone(),
                    bars: score.bars.get(turn.after.at()).map_or_else(String::new, |bar| bar.number.to_string()),
                    first: Some(turn.after),
                    weight,
                    what: match turn.rest {
                        rest if rest < 0.05 => format!("page {} is turned without a rest", turn.page),
                        rest => format!("page {} is turned with {rest:.1} seconds of rest", turn.page),
                    },
                    remedy: remedy.to_owned(),
                });
            }
        }
        let is_said =
            |bar: &BarIndex| objections.iter().any(|one| one.kind == Kind::NoDynamic && (one.part, one.bar) == (book.part, *bar));
        let silent = book.score.parts.first().and_then(bar_without_dynamic).filter(|bar| !is_said(bar));
        if let Some((first, bar)) = silent.and_then(|first| Some((first, score.bars.get(first.at())?))) {
            list.push(Unresolved {
                part: book.name.clone(),
                bars: bar.number.to_string(),
                first: Some(first),
                weight: Severity::Fault,
                what: "the first entry has no dynamic".to_owned(),
                remedy: "give it one".to_owned(),
            });
        }
    }
    if let Some(last) = score.bars.last().filter(|bar| bar.barline.is_none() && bar.repeat_end.is_none()) {
        let remedy = "write the closing barline, or tell the players that more follows";
        list.push(Unresolved {
            weight: Severity::Note,
            first: u32::try_from(score.bars.len() - 1).ok().map(BarIndex),
            ..Unresolved::of_all(last.number.to_string(), "the score ends without a closing barline", remedy)
        });
    }
    list.extend(labels_by_staves(score));
    list
}

/// All points to settle on one list: what is `left` open, then what players object to. What is said of several parts in the same words stands once, with
/// their names.
#[must_use]
pub fn one_list(score: &Score, left: Vec<Unresolved>, objections: Vec<Objection>) -> Vec<Unresolved> {
    let mut list: Vec<Unresolved> = Vec::new();
    for one in left.into_iter().chain(objected(score, objections)) {
        let same = |known: &&mut Unresolved| {
            !known.part.is_empty()
                && (&known.bars, known.first, known.weight, &known.what, &known.remedy)
                    == (&one.bars, one.first, one.weight, &one.what, &one.remedy)
        };
        match list.iter_mut().find(same) {
            Some(known) if known.part == one.part => {}
            Some(known) => known.part = format!("{}; {}", known.part, one.part),
            None => list.push(one),
        }
    }
    list
}

/// Single small letters by the staves of instruments, above or below: labels of whoever made the file, as a rule, which no player understands.
fn labels_by_staves(score: &Score) -> Vec<Unresolved> {
    let is_label = |text: &str| {
        let mut letters = text.trim().trim_matches(['(', ')', '[', ']']).chars();
        matches!((letters.next(), letters.next()), (Some(letter), None) if letter.is_lowercase() && !"pfmsz".contains(letter))
    };
    let mut found = Vec::new();
    for part in &score.parts {
        let labels = part.directions.iter().filter_map(|one| match &one.kind {
            DirectionKind::Words(text) if is_label(text) => Some((one.bar, text.trim().to_owned())),
            _ => None,
        });
        let labels: Vec<(BarIndex, String)> = labels.collect();
        if labels.is_empty() {
            continue;
        }
        let mut bars: Vec<BarIndex> = labels.iter().map(|label| label.0).collect();
        bars.dedup();
        let texts: BTreeSet<&str> = labels.iter().map(|label| label.1.as_str()).collect();
        let texts = texts.into_iter().map(|text| format!("\u{201c}{text}\u{201d}")).collect::<Vec<_>>().join(", ");
        found.push(Unresolved {
            part: part.name.clone(),
            bars: cited(score, &bars),
            first: bars.first().copied(),
            weight: Severity::Note,
            what: format!("{texts} by the staff"),
            remedy: "leave out what is no sign for a player".to_owned(),
        });
    }
    found
}

/// What players object to, but for mere remarks, as points to settle.
fn objected(score: &Score, mut found: Vec<Objection>) -> Vec<Unresolved> {
    found.retain(|one| one.severity <= Severity::Caution);
    let told = |group: &Group| Unresolved {
        part: who(score, &group.first),
        bars: group.bars_text(score),
        first: group.bars.first().map(|&(first, _)| first),
        weight: group.first.severity,
        what: group.first.reason.clone(),
        remedy: group.first.remedy.clone(),
    };
    grouped(&found).iter().map(told).collect()
}

/// The bar of the first entry of a part, where nothing says how loud it is.
fn bar_without_dynamic(part: &Part) -> Option<BarIndex> {
    let first = part.notes.iter().find(|note| note.plays())?;
    let by_sign = part.directions.iter().any(|sign| matches!(sign.kind, DirectionKind::Dynamic(_)) && sign.bar <= first.bar);
    let by_mark = part.marks.iter().any(|(note, mark)| {
        matches!(mark, Mark::Dynamic(_)) && part.notes.get(*note as usize).is_some_and(|note| note.bar <= first.bar)
    });
    (!by_sign && !by_mark).then_some(first.bar)
}

/// Bars as musicians cite them: "12–15, 20".
#[must_use]
pub fn cited(score: &Score, bars: &[BarIndex]) -> String {
    let label = |bar: u32| match score.bars.get(bar as usize).map(|bar| &*bar.number) {
        None | Some("") => (bar + 1).to_string(),
        Some(number) => number.to_owned(),
    };
    let mut spans: Vec<(u32, u32)> = Vec::new();
    for bar in bars {
        match spans.last_mut() {
            Some((_, last)) if *last + 1 == bar.0 => *last = bar.0,
            _ => spans.push((bar.0, bar.0)),
        }
    }
    let texts: Vec<String> = spans
        .into_iter()
        .map(|(from, to)| if from == to { label(from) } else { format!("{}\u{2013}{}", label(from), label(to)) })
        .collect();
    texts.join(", ")
}

/// Bars with their word: "bar 12", "bars 12–15, 20".
fn bars_cited(score: &Score, bars: &[BarIndex]) -> String {
    format!("bar{} {}", if bars.len() == 1 { "" } else { "s" }, cited(score, bars))
}

/// How long the score lasts, in minutes and seconds: "4:35".
pub(crate) fn duration(sounding: &Sounding) -> String {
    let end = sounding.bars.last().map_or(0.0, |bar| sounding.tempo.seconds(bar.start + bar.length)).round();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some hours at most
    let seconds = end.clamp(0.0, 1e6) as u64;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// Whether the page says how fast it goes: what a file plays at may be anybody's.
pub(crate) fn prints_tempo(score: &Score) -> bool {
    let mut all = score.parts.iter().flat_map(|part| &part.directions);
    all.any(|direction| matches!(direction.kind, DirectionKind::Metronome { .. }))
}

/// The list that lies on top of the parts: title, duration, who is needed with what; `sounding` is the score with its repeats. Plain text.
#[must_use]
pub fn cover(score: &Score, sounding: &Sounding, books: &[Book]) -> String {
    let mut text = String::new();
    let title = score.about.title();
    let _ = writeln!(text, "{}", if title.is_empty() { "Untitled" } else { &title });
    for (role, name) in &score.about.creators {
        let _ = writeln!(text, "{role}: {name}");
    }
    let by = match (prints_tempo(score), sounding.tempo.assumed) {
        (true, _) => "by the tempo marks",
        (false, false) => "by the tempo the file plays at, for no metronome mark is printed",
        (false, true) => "at a tempo assumed because the score gives none",
    };
    let _ = writeln!(text, "Duration: {} with repeats, {by}", duration(sounding));
    let _ = writeln!(text, "Bars: {}", score.bars.len());
    let formula = instrumentation(score, sounding);
    if !formula.is_empty() {
        let _ = writeln!(text, "Instrumentation: {formula}");
    }
    let _ = writeln!(text, "\nInstruments, in score order:");
    for part in &score.parts {
        let _ = write!(text, "  {} ({})", part.name, heads(part));
        let others = changes(part);
        if !others.is_empty() {
            let _ = write!(text, ", also {}", others.join(", "));
        }
        let mutes = mutes(part);
        if !mutes.is_empty() {
            let _ = write!(text, "; asks for {}", mutes.join(", "));
        }
        text.push('\n');
    }
    let drums: BTreeSet<&str> = score
        .parts
        .iter()
        .filter(|part| catalogue().by_id(&part.instrument_id).is_some_and(|one| one.family == Family::Percussion))
        .flat_map(|part| {
            // A stand is called after its instruments: they are listed once, by their own names.
            let own: Vec<&str> =
                part.instruments.iter().map(|instrument| instrument.name.as_str()).filter(|name| !name.is_empty()).collect();
            if own.is_empty() { vec![part.name.as_str()] } else { own }
        })
        .filter(|name| !name.is_empty())
        .collect();
    if !drums.is_empty() {
        let _ = writeln!(text, "\nPercussion: {}", drums.into_iter().collect::<Vec<_>>().join(", "));
    }
    let shared = stands(score, sounding);
    if !shared.is_empty() {
        let _ = writeln!(text, "\nPercussionists, as few as are needed with time to walk from one instrument to another:");
        for (number, stand) in (1..).zip(&shared) {
            let own = |one: &StandInstrument| format!("{} ({})", one.name, bars_cited(score, &one.bars));
            let _ = write!(text, "  {number}: {}", stand.instruments.iter().map(own).collect::<Vec<_>>().join("; "));
            let mut needs: Vec<&str> = stand.instruments.iter().map(|one| score.parts[one.part].name.as_str()).collect();
            needs.dedup();
            let _ = writeln!(text, "{}", if needs.len() > 1 { format!(". Parts: {}", needs.join(", ")) } else { String::new() });
        }
    }
    let _ = writeln!(text, "\nParts:");
    for book in books {
        let _ = writeln!(text, "  {}{}", book.name, if book.is_tacet() { ": tacet" } else { "" });
    }
    text
}

/// How many people play a part: of a body as many as the score says, if it does.
fn heads(part: &Part) -> String {
    let said = part.instruments.first().and_then(|instrument| instrument.ensemble).filter(|&count| count > 1);
    match said {
        Some(count) if part.is_body => format!("section of {count}"),
        None if part.is_body => "section".to_owned(),
        _ => part.players.to_string(),
    }
}

/// Instruments the players of a part change to.
fn changes(part: &Part) -> Vec<String> {
    let used: BTreeSet<u8> = part
        .changes
        .iter()
        .filter_map(|change| if let ChangeKind::Instrument(index) = change.kind { Some(index) } else { None })
        .collect();
    let mut names: Vec<String> = Vec::new();
    for index in used {
        if let Some(instrument) = part.instruments.get(usize::from(index)).filter(|one| index > 0 && !one.name.is_empty())
            && !names.contains(&instrument.name)
        {
            names.push(instrument.name.clone());
        }
    }
    names
}

/// Whether words ask for a mute, or (`false`) say that one is taken off; `None` where they are about something else.
pub(crate) fn mute_in(words: &str) -> Option<bool> {
    // "Harmonics" are no mute, and none are beside one.
    let lower: Vec<String> =
        words.to_lowercase().split_whitespace().filter(|one| !one.contains("harmoni")).map(str::to_owned).collect();
    let lower = lower.join(" ");
    let is_about = ["con sord", "senza sord", "via sord", "mute", "dämpfer", "sourdine", "harmon", "plunger", "cup "];
    let takes_off = ["senza", "via", "ohne", "sans", "ab", "weg", "open", "off", "unmuted", "unmute"];
    is_about
        .iter()
        .any(|word| lower.contains(word))
        .then(|| !lower.split_whitespace().any(|one| takes_off.contains(&one.trim_matches(['.', ',', '(', ')']))))
}

/// Mutes the words of a part ask for, as they ask.
fn mutes(part: &Part) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for direction in &part.directions {
        let DirectionKind::Words(words) = &direction.kind else { continue };
        let lower = words.to_lowercase();
        if mute_in(words) == Some(true) && !found.iter().any(|known| known.to_lowercase() == lower) {
            found.push(words.trim().to_owned());
        }
    }
    found.truncate(4);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ours: two files that play equally fast, one of which says so to players.
    #[test]
    fn a_duration_says_by_what_it_is_reckoned() {
        let of = |direction: &str| {
            let text = format!(
                "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Oboe</part-name></score-part></part-list>\
                 <part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>{direction}\
                 <note><rest measure=\"yes\"/><duration>4</duration></note></measure></part></score-partwise>"
            );
            let score =
                ripieno_formats::read("one.musicxml", text.as_bytes(), &ripieno_formats::Limits::default()).unwrap().score;
            let sounding = Sounding::new(&score, ripieno_score::Unroll::AsPlayed);
            let told = cover(&score, &sounding, &[]).lines().find(|line| line.starts_with("Duration")).unwrap().to_owned();
            (told, crate::sheet::Title::of_score(&score).duration)
        };
        let sound = "<sound tempo=\"60\"/>";
        let mark = "<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>";
        let printed = of(&format!("<direction><direction-type>{mark}</direction-type>{sound}</direction>"));
        assert_eq!(printed, ("Duration: 0:04 with repeats, by the tempo marks".to_owned(), "0:04".to_owned()));
        let (told, title) = of(&format!("<direction><direction-type><words>Adagio</words></direction-type>{sound}</direction>"));
        assert!(told.contains("0:04") && told.contains("no metronome mark is printed") && title.is_empty(), "{told}");
        assert!(of("").0.contains("assumed"));
    }

    /// Words as parts print them; common practice.
    #[test]
    fn a_mute_is_told_from_harmonics() {
        for (words, wanted) in [
            ("con sord.", Some(true)),
            ("con sord., harmonics", Some(true)),
            ("harmon mute", Some(true)),
            ("senza sord. (harmonics)", Some(false)),
            ("Harmonics", None),
            ("harmonics, sul D", None),
            ("cup mute", Some(true)),
        ] {
            assert_eq!(mute_in(words), wanted, "{words}");
        }
    }
}
