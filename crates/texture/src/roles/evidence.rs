//! Why a line was given its role: the few facts that decided, each with its numbers.

use crate::role::Role;
use crate::techniques::Techniques;

/// One fact. Shares lie in 0 to 1; parts index [`ripieno_score::Score::parts`].
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Evidence {
    /// The learned reading puts the melody here: the strand's mean share of the lead among all that sounds.
    Leads {
        /// The share.
        share: f32,
    },
    /// Runs parallel to the leading line, in its rhythm.
    Parallel {
        /// Share of its steps that go the same way.
        share: f32,
    },
    /// Goes with another part note for note.
    Doubles {
        /// The other part.
        part: usize,
        /// Semitones from that part's notes up to these; `None` when the octave changes.
        interval: Option<i32>,
    },
    /// Nothing sounds lower in its register.
    Lowest {
        /// How surely.
        share: f32,
    },
    /// Nothing sounds higher.
    Highest {
        /// Share of its time.
        share: f32,
    },
    /// Attacks at moments at which no other strand has one.
    OwnRhythm {
        /// Share of its attacks that the nearest other strand does not have.
        share: f32,
    },
    /// Moves in one rhythm with other strands, as chords do.
    SharedRhythm {
        /// Share of the lines sounding that move so.
        share: f32,
    },
    /// Keeps one pitch class while the harmony around it changes.
    OneTone {
        /// Name of the tone.
        tone: Box<str>,
        /// Bars.
        bars: usize,
    },
    /// Repeats a note or chord.
    Repeats {
        /// Share of its steps that repeat.
        share: f32,
        /// Attacks a bar.
        attacks: f32,
    },
    /// Held notes.
    Held {
        /// Attacks a bar.
        attacks: f32,
    },
    /// Broken chords.
    BrokenChords {
        /// Attacks a bar.
        attacks: f32,
    },
    /// Scales.
    Scales {
        /// Attacks a bar.
        attacks: f32,
    },
    /// To and fro between few keys.
    ToAndFro {
        /// Attacks a bar.
        attacks: f32,
    },
    /// Short notes with silence around.
    Strikes {
        /// Attacks in all.
        attacks: usize,
    },
    /// Moves by several steps and values.
    Moves {
        /// Different keys.
        keys: usize,
    },
    /// A way of playing that colours it.
    Colour(Techniques),
    /// Several people play one line.
    Massed {
        /// Lines in unison or octaves.
        lines: usize,
    },
    /// Nothing on the page stands out; the learned model puts the line in the role's group.
    Learned {
        /// With this probability.
        share: f32,
    },
    /// What the learned model takes its bars for, where the notes alone name no figure.
    Called {
        /// The figure.
        figure: Figured,
        /// Share of annotated bars like these that are called so; calibrated on works left out.
        share: f32,
    },
    /// Annotators would more likely put it in another role's group: what the notes do, told before, decided against that.
    Rather {
        /// The role of that group that fits best.
        role: Role,
        /// How likely they would.
        share: f32,
    },
    /// A person has set it.
    SetByHand,
    /// What the program had found before a person set it, and why.
    FoundBefore {
        /// The role shown then.
        role: Role,
        /// How sure that was.
        share: f32,
        /// What had decided.
        because: Vec<Evidence>,
    },
}

/// Kinds of figure that annotators name and the model has learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figured {
    /// Broken chords.
    Arpeggio,
    /// Scale runs.
    Scale,
    /// One note repeated.
    RepeatedNote,
    /// A few short attacks between rests.
    Sparse,
}

impl Figured {
    const fn words(self) -> &'static str {
        match self {
            Self::Arpeggio => "broken chords",
            Self::Scale => "scales",
            Self::RepeatedNote => "repeated notes",
            Self::Sparse => "a few short notes between rests",
        }
    }
}

impl Evidence {
    /// The fact in words; `name` gives the name of a part.
    #[must_use]
    pub fn words(&self, name: impl Fn(usize) -> String) -> String {
        self.told(&name)
    }

    fn told(&self, name: &dyn Fn(usize) -> String) -> String {
        match self {
            Self::Leads { share } => format!("has {} of the lead among all that sounds", percent(*share)),
            Self::Parallel { share } => format!("parallel to the leading line in {} of its steps", percent(*share)),
            Self::Doubles { part, interval } => match interval {
                Some(0) => format!("in unison with {}", name(*part)),
                Some(interval) => format!("{} {}", octaves(*interval), name(*part)),
                None => format!("in changing octaves with {}", name(*part)),
            },
            Self::Lowest { share } if *share > 0.995 => "nothing sounds lower".to_owned(),
            Self::Lowest { share } => format!("the lowest in its register for {} of its time", percent(*share)),
            Self::Highest { share } if *share > 0.995 => "nothing sounds higher".to_owned(),
            Self::Highest { share } => format!("the highest for {} of its time", percent(*share)),
            Self::OwnRhythm { share } => format!("{} of its attacks its own", percent(*share)),
            Self::SharedRhythm { share } => format!("in one rhythm with {} of the lines sounding", percent(*share)),
            Self::OneTone { tone, bars } => format!("keeps {tone} for {} while the harmony changes", count(*bars, "bar")),
            Self::Repeats { share, attacks } => {
                format!("{} of its steps repeat the note, {} a bar", percent(*share), rate(*attacks))
            }
            Self::Held { attacks } => format!("held, {} a bar", rate(*attacks)),
            Self::BrokenChords { attacks } => format!("broken chords, {} a bar", rate(*attacks)),
            Self::Scales { attacks } => format!("runs by step, {} a bar", rate(*attacks)),
            Self::ToAndFro { attacks } => format!("to and fro between few notes, {} a bar", rate(*attacks)),
            Self::Strikes { attacks } => format!("{} with silence around", count(*attacks, "short attack")),
            Self::Moves { keys } => format!("moves over {keys} different notes"),
            Self::Colour(ways) => ways_in_words(*ways),
            Self::Massed { lines } => format!("{lines} lines together on the same notes"),
            Self::Learned { share } => format!("such lines are in this group in {} of annotated cases", percent(*share)),
            Self::Called { figure, share } => {
                format!("such bars are called {} in {} of annotated cases", figure.words(), percent(*share))
            }
            Self::Rather { role, share } => {
                format!("annotators would more likely call it {role} ({}); what the notes do decides here", percent(*share))
            }
            Self::SetByHand => "set by hand".to_owned(),
            Self::FoundBefore { role, share, because } => {
                let because: Vec<String> = because.iter().map(|fact| fact.told(name)).collect();
                let because = if because.is_empty() { String::new() } else { format!(": {}", because.join(", ")) };
                format!("found before, {} sure, as {role}{because}", percent(*share))
            }
        }
    }
}

fn percent(share: f32) -> String {
    format!("{:.0} %", (share * 100.0).round())
}

fn count(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}

fn rate(attacks: f32) -> String {
    let text = format!("{attacks:.1}");
    let text = text.trim_end_matches(".0");
    if text == "1" { "1 attack".to_owned() } else { format!("{text} attacks") }
}

/// "an octave above" for 12, "two octaves below" for -24.
fn octaves(interval: i32) -> String {
    let way = if interval > 0 { "above" } else { "below" };
    match interval.abs() / 12 {
        1 => format!("an octave {way}"),
        2 => format!("two octaves {way}"),
        number => format!("{number} octaves {way}"),
    }
}

fn ways_in_words(ways: Techniques) -> String {
    const WORDS: [(Techniques, &str); 10] = [
        (Techniques::SLIDE, "glissando"),
        (Techniques::FLUTTER, "flutter-tongue"),
        (Techniques::STOPPED, "stopped"),
        (Techniques::TRILL, "trill"),
        (Techniques::TREMOLO, "tremolo or roll"),
        (Techniques::AT_BRIDGE, "at the bridge"),
        (Techniques::WITH_WOOD, "with the wood of the bow"),
        (Techniques::HARMONIC, "harmonics"),
        (Techniques::MUTED, "muted"),
        (Techniques::PLUCKED, "plucked"),
    ];
    let words: Vec<&str> = WORDS.iter().filter(|(way, _)| ways.contains(*way)).map(|(_, word)| *word).collect();
    words.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn facts_read_as_words() {
        let name = |part: usize| ["Oboe 1", "Tuba"][part].to_owned();
        let say = |evidence: Evidence| evidence.words(name);
        assert_eq!(say(Evidence::Doubles { part: 0, interval: Some(-12) }), "an octave below Oboe 1");
        assert_eq!(say(Evidence::Doubles { part: 1, interval: Some(0) }), "in unison with Tuba");
        assert_eq!(say(Evidence::Repeats { share: 1.0, attacks: 8.0 }), "100 % of its steps repeat the note, 8 attacks a bar");
        assert_eq!(say(Evidence::Strikes { attacks: 1 }), "1 short attack with silence around");
        let called = Evidence::Called { figure: Figured::Scale, share: 0.62 };
        assert_eq!(say(called), "such bars are called scales in 62 % of annotated cases");
        assert_eq!(say(Evidence::Colour(Techniques::FLUTTER | Techniques::MUTED)), "flutter-tongue, muted");
    }
}
