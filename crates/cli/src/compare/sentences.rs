//! Differences as sentences: who does what how much, in A and in B.

use std::fmt::Write as _;

use ripieno_study::{BY_PITCH, Counted, Difference, Key, Profile};

use super::rows::{bodies, shown};

/// A difference as a sentence without numbers of bars: "The horns lead the melody for 4 % of its time in A, for 21 % in B."
pub fn sentence(row: &Difference) -> String {
    let key = &row.key;
    let (a, b) = (number(key, row.a.pooled.mean), number(key, row.b.pooled.mean));
    let frame = frame(key);
    let text = match frame.as_deref().and_then(|frame| frame.split_once('#')) {
        Some((before, after)) => {
            format!("{before}{a}{after} in A, {b}{} in B.", short(after))
        }
        None => format!("{}, {}: {a} in A, {b} in B.", the(&bodies(key)), super::rows::what(key)),
    };
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Of what follows the number only what the second number cannot do without.
fn short(after: &str) -> &str {
    if after.starts_with(" times") { " times" } else { "" }
}

fn number(key: &Key, value: f64) -> String {
    match key.unit {
        Counted::Semitones if key.measure == "separation" => distance(value),
        Counted::Semitones => interval(value),
        unit => shown(unit, value),
    }
}

#[allow(clippy::cast_possible_truncation)] // within a keyboard
fn interval(value: f64) -> String {
    let semitones = value.round() as i64;
    format!("{semitones} semitone{}", if semitones.abs() == 1 { "" } else { "s" })
}

/// "a gap of 3 semitones", "an overlap of 12 semitones", "a unison".
fn distance(value: f64) -> String {
    if value.abs() < 0.5 {
        "a unison".to_owned()
    } else if value < 0.0 {
        format!("an overlap of {}", interval(-value))
    } else {
        format!("a gap of {}", interval(value))
    }
}

fn the(name: &str) -> String {
    if name == "everybody" { "the orchestra".to_owned() } else { format!("the {name}") }
}

/// The verb in the number of its subject.
fn verb(name: &str, one: &'static str, many: &'static str) -> &'static str {
    let plural = (name.ends_with('s') && name != "brass" && name != "double bass" && name != "contrabass") || name == "timpani";
    if plural { many } else { one }
}

/// The sentence up to the numbers, `#` standing for them; `None` where the measure has no plain sentence.
fn frame(key: &Key) -> Option<String> {
    let name = key.of.spoken();
    let of = the(&name);
    let with = key.with.as_ref().map(|with| the(&with.spoken()));
    let aspect = key.aspect.as_str();
    let bass = if aspect.ends_with("bass left out") { ", the bass line left out" } else { "" };
    let plain = aspect.strip_suffix(", bass left out").unwrap_or(aspect);
    let does = |one, many| verb(&name, one, many);
    let with = if key.with.as_ref() == Some(&key.of) { Some(format!("another {name}")) } else { with };
    let text = match (key.measure.as_str(), plain, with) {
        ("presence", "bars", None) => format!("{of} {} in # of the bars", does("sounds", "sound")),
        ("presence", "time", None) => format!("{of} {} for # of the time", does("sounds", "sound")),
        ("presence", "player-time", None) => format!("of all playing, counted by players, {of} {} #", does("does", "do")),
        ("presence", "attacks", None) => format!("{of} {} # notes in 100 crotchets", does("begins", "begin")),
        ("role_shares", role, None) => format!("{of} {} # of the time in which they play on {role}", does("spends", "spend")),
        ("separation", "apart", Some(with)) => {
            format!("where they are neighbours in register, {of} and {with} keep apart for # of the time{bass}")
        }
        ("separation", "touching", Some(with)) => {
            format!("where they are neighbours in register, {of} and {with} touch for # of the time{bass}")
        }
        ("separation", "overlapping", Some(with)) => {
            format!("where they are neighbours in register, {of} and {with} overlap for # of the time{bass}")
        }
        ("separation", "usual interval", Some(with)) => {
            format!("between {of} and {with} there is, as a rule, #{bass}")
        }
        ("cohesion", "together", None) => {
            format!("where several lines of {of} sound, they share a layer or a role for # of the time")
        }
        ("cohesion", "rhythms part", None) => format!("where several lines of {of} sound, their rhythms part in # of the bars"),
        ("cohesion", roles, None) if roles.contains(" against ") => {
            format!("where several lines of {of} sound, they split, {roles}, for # of the time")
        }
        ("stack", "tutti bars", None) => format!("all sections of {of} sound together in # of 100 bars"),
        ("stack", "one stack", None) => format!("where all of {of} sounds, it is one chord in one rhythm for # of the time"),
        ("stack", "octaves", None) => format!("where all of {of} sounds, it is one line in unison and octaves for # of the time"),
        ("stack", split, None) if split.starts_with("split") => {
            format!("where all of {of} sounds, it is {split}, for # of the time")
        }
        ("reserve", "use", None) => format!("{of} {} in # of the bars of the own family", does("sounds", "sound")),
        ("reserve", "in the loud bars", None) => format!("of the bars of {of} # are among the loudest of the family"),
        ("reserve", "in the full bars", None) => format!("of the bars of {of} # are among the fullest of the family"),
        ("reserve", "median rest before an entry", None) => {
            format!("before an entry out of reserve {of} {} # bars in the median", does("rests", "rest"))
        }
        ("reserve", "entries out of reserve", None) => {
            format!("{of} {} out of reserve # times in 100 bars", does("comes", "come"))
        }
        ("reserve", role, None) if role.starts_with("enters with") => {
            format!(
                "coming out of reserve, {of} {} {} for # of the time",
                does("has", "have"),
                role.trim_start_matches("enters with ")
            )
        }
        ("tessitura", "median", None) => format!("half of the playing of {of} lies below #"),
        ("tessitura", role, None) if role.starts_with("median, ") => {
            format!("half of what {of} {} as {} lies below #", does("plays", "play"), role.trim_start_matches("median, "))
        }
        ("dynamics", "median", None) => format!("half of the playing of {of} is marked # or softer"),
        ("dynamics", role, None) if role.starts_with("median, ") => {
            format!(
                "half of what {of} {} as {} is marked # or softer",
                does("plays", "play"),
                role.trim_start_matches("median, ")
            )
        }
        ("dynamics", mark, None) => format!("{of} {} {mark} for # of the time in which they play", does("plays", "play")),
        ("sharing", what, None) => format!("of all the {what} {of} {} #", does("has", "have")),
        ("hand_offs", "hands on to", Some(with)) => {
            format!("{of} {} the melody on to {with} # times in 100 bars", does("hands", "hand"))
        }
        ("hand_offs", "hand-offs", None) => "the melody passes on # times in 100 bars".to_owned(),
        ("hand_offs", "takes over", None) => format!("{of} {} the melody over # times in 100 bars", does("takes", "take")),
        ("melody_support", "carries", None) => format!("{of} {} the melody for # of its time", does("leads", "lead")),
        ("melody_support", "alone", None) => "the melody is doubled by nobody for # of its time".to_owned(),
        ("melody_support", notes, Some(with)) if notes.starts_with("notes with the leader") => {
            format!("of the notes with which {with} lead the melody, {of} {} # {}", does("begins", "begin"), place(notes))
        }
        ("melody_support", octave, None) => {
            format!("{of} {} the melody {} for # of its time", does("doubles", "double"), at(octave))
        }
        ("melody_support", octave, Some(with)) => {
            format!("where {with} lead the melody, {of} {} it {} for # of the time", does("doubles", "double"), at(octave))
        }
        ("doubled_sections", notes, Some(with)) if notes.starts_with("same notes") => {
            format!("of the notes of the sparser of the two, {of} and {with} begin # {}", place(notes))
        }
        ("doubled_sections", "any interval", Some(with)) => {
            format!("{of} and {with} double each other for # of the time of the sparser")
        }
        ("doubled_sections", octave, Some(with)) if !octave.contains(',') => {
            format!(
                "{with} {} {of} {} for # of the time of the sparser",
                verb(&key.with.as_ref()?.spoken(), "doubles", "double"),
                at(octave)
            )
        }
        ("brass_weight", ratio, _) if ratio.starts_with("horns per") => {
            format!("on loud chords # {ratio} stand in the median")
        }
        ("brass_weight", numbers, Some(_)) => format!("on loud chords that both share, {numbers} stand for # of the time"),
        ("density", "players", None) => format!("# people sound at once on average in {of}"),
        ("density", "attacks", None) => format!("{of} {} # times a second on average", does("attacks", "attack")),
        ("entries", "entries", None) => format!("{of} {} after a rest # times in 100 bars", does("enters", "enter")),
        _ => return None,
    };
    Some(text)
}

/// "together in unison", "together an octave apart, ..." out of "same notes, octave below".
fn place(aspect: &str) -> String {
    let octave = aspect.rsplit_once(", ").map_or(aspect, |(_, octave)| octave);
    format!("together {}", at(octave))
}

fn at(octave: &str) -> String {
    let (octave, part) = octave.split_once(", ").map_or((octave, ""), |(octave, part)| (octave, part));
    let place = match octave {
        "unison" => "in unison".to_owned(),
        octave if octave.starts_with("octave") => format!("an {octave}"),
        octave => octave.to_owned(),
    };
    if part.is_empty() { place } else { format!("{place} ({part})") }
}

/// Whether a difference is one of forces: who is there, and how many, not what is done with them.
pub fn is_of_forces(key: &Key) -> bool {
    match key.measure.as_str() {
        "brass_weight" => true,
        "presence" => key.unit == Counted::ShareOfPlayerTime,
        "density" => key.unit == Counted::Players,
        _ => false,
    }
}

/// Whether a row rests on a part that the reader of the file doubts.
pub fn is_doubtful(row: &Difference, profiles: [&Profile; 2]) -> bool {
    let key = &row.key;
    let doubts = profiles.into_iter().flat_map(|profile| &profile.scores).flat_map(|score| &score.doubts);
    let touches = |whom: &ripieno_study::Whom, doubt: &ripieno_study::Doubt| {
        [&doubt.section, &doubt.instrument].into_iter().any(|name| *name == whom.name)
            || whom.section == doubt.section && whom.name == doubt.instrument
    };
    BY_PITCH.contains(&key.measure.as_str())
        && doubts
            .filter(|doubt| doubt.of_pitch)
            .any(|doubt| touches(&key.of, doubt) || key.with.as_ref().is_some_and(|with| touches(with, doubt)))
}

/// What the readers of the files doubt, a line for each part; empty where they doubt nothing.
pub fn doubts(profiles: [&Profile; 2]) -> Vec<String> {
    let mut lines = Vec::new();
    for (letter, profile) in ['A', 'B'].into_iter().zip(profiles) {
        for score in &profile.scores {
            for doubt in &score.doubts {
                let mut line = format!("{letter}: ");
                if profile.scores.len() > 1 {
                    let file = std::path::Path::new(&score.file);
                    let _ = write!(line, "{}, ", file.file_stem().unwrap_or_default().to_string_lossy());
                }
                line.push_str(&doubt.text);
                lines.push(line);
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use ripieno_study::{Kind, Whom};

    use super::*;

    fn whom(name: &str) -> Whom {
        Whom { kind: Kind::Section, name: name.to_owned(), family: String::new(), section: String::new() }
    }

    fn told(measure: &str, of: &str, with: Option<&str>, aspect: &str) -> Option<String> {
        let unit = Counted::ShareOfTime;
        frame(&Key { measure: measure.to_owned(), of: whom(of), with: with.map(whom), aspect: aspect.to_owned(), unit })
    }

    #[test]
    fn measures_are_told_as_sentences_in_the_right_number() {
        assert_eq!(
            told("melody_support", "horns", None, "carries").as_deref(),
            Some("the horns lead the melody for # of its time")
        );
        assert_eq!(told("presence", "brass", None, "bars").as_deref(), Some("the brass sounds in # of the bars"));
        assert_eq!(
            told("doubled_sections", "flutes", Some("oboes"), "same notes, octave below").as_deref(),
            Some("of the notes of the sparser of the two, the flutes and the oboes begin # together an octave below")
        );
        assert_eq!(
            told("separation", "horns", Some("trombones"), "overlapping, bass left out").as_deref(),
            Some(
                "where they are neighbours in register, the horns and the trombones overlap for # of the time, the bass line left out"
            )
        );
        assert_eq!(told("chord_voicing", "horns", None, "usual gap"), None, "what has no plain sentence keeps its name");
    }

    #[test]
    fn players_are_of_forces_and_roles_are_not() {
        let key =
            |measure: &str, unit| Key { measure: measure.to_owned(), of: whom("horns"), with: None, aspect: String::new(), unit };
        assert!(is_of_forces(&key("density", Counted::Players)) && is_of_forces(&key("brass_weight", Counted::Ratio)));
        assert!(!is_of_forces(&key("role_shares", Counted::ShareOfTime)));
    }
}
