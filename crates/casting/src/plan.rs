//! The plan: phrase by phrase, what each group does.

use std::fmt::Write as _;
use std::ops::Range;

use ripieno_score::{Crotchets, DynamicLevel};
use ripieno_texture::Role;
use serde::Deserialize;
use toml::Spanned;

use crate::lineup::{Lineup, LineupSection, same_name};
use crate::located::Located;
use crate::phrases::phrases;
use crate::sketch::{Sketch, role_named};

/// Why a task is there that a plan names without a reason.
pub(crate) const BY_THE_PLAN: &str = "by the plan";

/// How the players of a group share a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Doubling {
    /// All at one pitch.
    #[default]
    Unison,
    /// The lower half of the group an octave below the others.
    Octaves,
}

/// How a line is thickened by the players below the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Thickening {
    /// Not at all.
    #[default]
    None,
    /// In thirds of the scale below.
    Diatonic,
    /// By the next tones of the chord below, each player one tone further.
    ChordTones,
    /// By the two next tones of the chord below, shared out among all.
    Triads,
}

/// How the sections that have chords lie to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Arrangement {
    /// Each in its own register.
    #[default]
    Free,
    /// One wholly above the other.
    Layered,
    /// Voices of two sections by turns.
    Interlocked,
    /// One inside the other.
    Enclosed,
}

/// What a group does in a phrase.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// Section, index into [`Lineup::sections`].
    pub section: usize,
    /// Chairs of it, indices; never empty.
    pub chairs: Vec<usize>,
    /// Which of their instruments they have in hand: 0 the usual one, then the line-up's `doubles` in order.
    pub held: usize,
    /// What it does.
    pub role: Role,
    /// Which strand, index into [`Sketch::strands`]; `None` for tacet.
    pub strand: Option<usize>,
    /// Octaves by which a line is moved; `None` lets casting choose.
    pub octave: Option<i32>,
    /// At which octave most notes of the line sound, where that is another: told by casting, never asked for.
    pub sounds: Option<i32>,
    /// Register asked for, as keys: chords lie around its middle.
    pub register: Option<(i32, i32)>,
    /// How players share a line.
    pub doubling: Doubling,
    /// How a line is thickened.
    pub thickening: Thickening,
    /// How many different notes a group has in chords; the other players double these. `None`: each player one.
    pub density: Option<usize>,
    /// Close position (positive), open (negative), or free (0).
    pub close: f64,
    /// Dynamic, where it is not the sketch's.
    pub dynamic: Option<DynamicLevel>,
    /// With mutes.
    pub muted: bool,
    /// Casting has filled it in, and may share out its quick figure and fill its rests; what a person has set is played as it stands.
    pub by_casting: bool,
    /// Why, in words.
    pub why: String,
}

impl Task {
    /// A group on a strand with nothing further asked.
    #[must_use]
    pub fn new(section: usize, chairs: Vec<usize>, role: Role, strand: Option<usize>) -> Self {
        Self {
            section,
            chairs,
            held: 0,
            role,
            strand,
            octave: None,
            sounds: None,
            register: None,
            doubling: Doubling::default(),
            thickening: Thickening::default(),
            density: None,
            close: 0.0,
            dynamic: None,
            muted: false,
            by_casting: false,
            why: String::new(),
        }
    }

    /// The instrument its players take up, where it is not their usual one, as line-up and plan call it.
    #[must_use]
    pub fn instrument(&self, lineup: &Lineup) -> Option<&'static str> {
        let first = &lineup.sections[self.section].chairs[*self.chairs.first()?];
        first.instruments().nth(self.held).filter(|_| self.held > 0).map(|(instrument, _)| instrument.name())
    }

    /// Octaves by which most notes of a line are moved: as asked for, or as it had to be.
    #[must_use]
    pub fn octave_heard(&self) -> i32 {
        self.sounds.or(self.octave).unwrap_or(0)
    }
}

/// The plan of one phrase.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PhrasePlan {
    /// Bars, indices, end exclusive.
    pub bars: Range<usize>,
    /// How the sections that have chords lie to each other.
    pub arrangement: Arrangement,
    /// Chairs that casting may not use: kept in reserve.
    pub reserve: Vec<(usize, usize)>,
    /// Whether casting fills in chairs that no task names; a plan by hand that names nobody else leaves them silent.
    pub fill: bool,
    /// What the groups do.
    pub tasks: Vec<Task>,
}

impl PhrasePlan {
    /// The chairs (section, place in it) that the plan speaks of: those with a task, then those in reserve.
    pub(crate) fn named(&self) -> Vec<(usize, usize)> {
        let busy = self.tasks.iter().flat_map(|task| task.chairs.iter().map(move |&chair| (task.section, chair)));
        busy.chain(self.reserve.iter().copied()).collect()
    }
}

/// A plan of the whole sketch.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    /// Phrases by time; they do not overlap.
    pub phrases: Vec<PhrasePlan>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlanText {
    phrase: Vec<Spanned<PhraseText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PhraseText {
    bars: Spanned<String>,
    #[serde(default)]
    arrangement: Arrangement,
    #[serde(default)]
    reserve: Vec<Spanned<String>>,
    #[serde(default)]
    fill: bool,
    #[serde(default)]
    task: Vec<TaskText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TaskText {
    section: Spanned<String>,
    #[serde(default)]
    players: Vec<Spanned<u8>>,
    role: Spanned<String>,
    /// One of the players' further instruments.
    instrument: Option<Spanned<String>>,
    octave: Option<Spanned<i32>>,
    register: Option<Spanned<[u8; 2]>>,
    #[serde(default)]
    doubling: Doubling,
    #[serde(default)]
    thickening: Thickening,
    density: Option<usize>,
    position: Option<Spanned<String>>,
    dynamic: Option<Spanned<String>>,
    #[serde(default)]
    muted: Option<Spanned<bool>>,
    /// Written by casting, read back unchanged: these three.
    sounds: Option<Spanned<i32>>,
    #[serde(default)]
    by_casting: bool,
    #[serde(default)]
    why: String,
}

impl Plan {
    /// Reads a plan from TOML (`docs/casting.md`).
    ///
    /// # Errors
    /// With the line: no such TOML, bars or sections or players that are not there, a role the sketch has no strand for.
    pub fn from_toml(file: &str, text: &str, sketch: &Sketch, lineup: &Lineup) -> Result<Self, Located> {
        let read: PlanText = toml::from_str(text).map_err(|error| Located::toml(file, text, &error))?;
        let fault = |span: Range<usize>, what: String| Located::at(file, text, span.start, what);
        let mut phrases: Vec<PhrasePlan> = Vec::new();
        for phrase in read.phrase {
            let span = phrase.span();
            let phrase = phrase.into_inner();
            let bars = bars_named(sketch, phrase.bars.get_ref()).map_err(|what| fault(phrase.bars.span(), what))?;
            if phrases.iter().any(|other| other.bars.start < bars.end && bars.start < other.bars.end) {
                return Err(fault(phrase.bars.span(), format!("bars {} are planned twice", phrase.bars.get_ref())));
            }
            let section = |name: &Spanned<String>| {
                lineup.find(name.get_ref()).ok_or_else(|| {
                    let there: Vec<String> = (0..lineup.sections.len()).map(|at| lineup.label(at)).collect();
                    fault(
                        name.span(),
                        format!("the line-up has no section “{}”, or more than one; it has {}", name.get_ref(), there.join(", ")),
                    )
                })
            };
            let mut plan = PhrasePlan { bars, arrangement: phrase.arrangement, fill: phrase.fill, ..PhrasePlan::default() };
            for name in &phrase.reserve {
                let at = section(name)?;
                plan.reserve.extend((0..lineup.sections[at].chairs.len()).map(|chair| (at, chair)));
            }
            for task in phrase.task {
                let at = section(&task.section)?;
                let seats = lineup.sections[at].chairs.len();
                let mut chairs = Vec::new();
                for player in &task.players {
                    let chair = usize::from(*player.get_ref()).checked_sub(1).filter(|&chair| chair < seats);
                    let missing = || {
                        fault(
                            player.span(),
                            format!(
                                "“{}” has no player {}: its players are 1 to {seats}",
                                task.section.get_ref(),
                                player.get_ref()
                            ),
                        )
                    };
                    chairs.push(chair.ok_or_else(missing)?);
                }
                if chairs.is_empty() {
                    let free =
                        |chair: &usize| !plan.tasks.iter().any(|other| other.section == at && other.chairs.contains(chair));
                    chairs = (0..seats).filter(free).collect();
                }
                chairs.sort_unstable();
                chairs.dedup();
                if let Some(chair) =
                    chairs.iter().find(|chair| plan.tasks.iter().any(|other| other.section == at && other.chairs.contains(chair)))
                {
                    let what = format!(
                        "player {} of “{}” has two tasks in one phrase; split the phrase or the players",
                        chair + 1,
                        task.section.get_ref()
                    );
                    return Err(fault(task.section.span(), what));
                }
                if chairs.is_empty() {
                    return Err(fault(
                        task.section.span(),
                        format!("no player of “{}” is left for this task", task.section.get_ref()),
                    ));
                }
                let held = match &task.instrument {
                    None => 0,
                    Some(name) => lineup.sections[at].held(&chairs, name.get_ref()).map_err(|what| fault(name.span(), what))?,
                };
                let word = task.role.get_ref();
                let role = if matches!(word.as_str(), "silence" | "tacet") { Some(Role::Tacet) } else { role_named(word) };
                let unknown = || {
                    fault(
                        task.role.span(),
                        format!(
                            "“{word}” is no role; roles are melody, chords, bass, answer, figure, rhythm, pedal, hits, effect and silence"
                        ),
                    )
                };
                let role = role.ok_or_else(unknown)?;
                let strand =
                    sketch.strands.iter().position(|strand| same_name(&strand.name, word)).or_else(|| sketch.strand(role));
                if role != Role::Tacet && strand.is_none() {
                    let there: Vec<&str> = sketch.strands.iter().map(|strand| strand.name.as_str()).collect();
                    return Err(fault(
                        task.role.span(),
                        format!("the sketch has no strand for “{word}”; it has {}", there.join(", ")),
                    ));
                }
                let level = |mark: &Spanned<String>| {
                    DynamicLevel::from_mark(mark.get_ref())
                        .ok_or_else(|| fault(mark.span(), format!("“{}” is no dynamic such as pp, mf or ff", mark.get_ref())))
                };
                let close = match &task.position {
                    None => 0.0,
                    Some(word) if word.get_ref() == "close" => 1.0,
                    Some(word) if word.get_ref() == "open" => -1.0,
                    Some(word) => return Err(fault(word.span(), format!("position is close or open, not “{}”", word.get_ref()))),
                };
                let octaves = || [&task.octave, &task.sounds].into_iter().flatten();
                if let Some(octave) = octaves().find(|octave| !(-MOST_OCTAVES..=MOST_OCTAVES).contains(octave.get_ref())) {
                    let what =
                        format!("a line is moved by -{MOST_OCTAVES} to {MOST_OCTAVES} octaves, not by {}", octave.get_ref());
                    return Err(fault(octave.span(), what));
                }
                if let Some(register) = task.register.as_ref().filter(|register| register.get_ref()[0] > register.get_ref()[1]) {
                    let [low, high] = register.get_ref();
                    let what = format!("a register goes from low to high, such as [{high}, {low}], not [{low}, {high}]");
                    return Err(fault(register.span(), what));
                }
                let muted = task.muted.as_ref().is_some_and(|muted| *muted.get_ref());
                let found = &lineup.sections[at];
                // Strings have mutes with them; whether brass and woodwind do, the line-up says.
                let strings = found.chairs[0].instrument.family == ripieno_instruments::Family::Strings;
                if let Some(span) = task.muted.as_ref().map(Spanned::span).filter(|_| muted && !strings && found.mutes.is_empty())
                {
                    let name = lineup.label(at);
                    return Err(fault(
                        span,
                        format!("“{name}” has no mutes; say in the line-up which are at hand: mutes = [\"straight\"]"),
                    ));
                }
                plan.tasks.push(Task {
                    held,
                    muted,
                    by_casting: task.by_casting,
                    octave: task.octave.map(Spanned::into_inner),
                    sounds: task.sounds.map(Spanned::into_inner),
                    register: task.register.map(|register| register.into_inner().map(i32::from)).map(|[low, high]| (low, high)),
                    doubling: task.doubling,
                    thickening: task.thickening,
                    density: task.density,
                    close,
                    dynamic: task.dynamic.as_ref().map(level).transpose()?,
                    why: if task.why.is_empty() { BY_THE_PLAN.to_owned() } else { task.why },
                    ..Task::new(at, chairs, role, if role == Role::Tacet { None } else { strand })
                });
            }
            if plan.bars.is_empty() {
                return Err(fault(span, "a phrase needs bars".to_owned()));
            }
            phrases.push(plan);
        }
        phrases.sort_by_key(|phrase| phrase.bars.start);
        Ok(Self { phrases })
    }

    /// The plan as TOML, to be read again or changed by hand.
    #[must_use]
    pub fn to_toml(&self, sketch: &Sketch, lineup: &Lineup) -> String {
        let mut text = String::new();
        for phrase in &self.phrases {
            let _ = writeln!(text, "[[phrase]]\nbars = \"{}\"", bars_text(sketch, &phrase.bars));
            match phrase.arrangement {
                Arrangement::Free => {}
                other => {
                    let _ = writeln!(text, "arrangement = \"{}\"", format!("{other:?}").to_lowercase());
                }
            }
            // Whole sections, as plans by hand name them; of a section kept in part the plan's tasks say the rest.
            let kept = |at: &usize| (0..lineup.sections[*at].chairs.len()).all(|chair| phrase.reserve.contains(&(*at, chair)));
            let reserve: Vec<String> = (0..lineup.sections.len()).filter(kept).map(|at| quoted(&lineup.label(at))).collect();
            if !reserve.is_empty() {
                let _ = writeln!(text, "reserve = [{}]", reserve.join(", "));
            }
            for task in &phrase.tasks {
                let section = &lineup.sections[task.section];
                let _ = writeln!(text, "\n[[phrase.task]]\nsection = {}", quoted(&lineup.label(task.section)));
                if task.chairs.len() < section.chairs.len() {
                    let players: Vec<String> = task.chairs.iter().map(|chair| (chair + 1).to_string()).collect();
                    let _ = writeln!(text, "players = [{}]", players.join(", "));
                }
                let role = task.strand.map_or("silence", |strand| sketch.strands[strand].name.as_str());
                let _ = writeln!(text, "role = {}", quoted(role));
                if let Some(instrument) = task.instrument(lineup) {
                    let _ = writeln!(text, "instrument = {}", quoted(instrument));
                }
                if let Some(octave) = task.octave {
                    let _ = writeln!(text, "octave = {octave}");
                }
                if let Some(octave) = task.sounds {
                    let _ = writeln!(text, "sounds = {octave}");
                }
                if let Some((low, high)) = task.register {
                    let _ = writeln!(text, "register = [{low}, {high}]");
                }
                if task.doubling == Doubling::Octaves {
                    text.push_str("doubling = \"octaves\"\n");
                }
                let thick = match task.thickening {
                    Thickening::None => "",
                    Thickening::Diatonic => "diatonic",
                    Thickening::ChordTones => "chord-tones",
                    Thickening::Triads => "triads",
                };
                if !thick.is_empty() {
                    let _ = writeln!(text, "thickening = \"{thick}\"");
                }
                if let Some(density) = task.density {
                    let _ = writeln!(text, "density = {density}");
                }
                if task.close != 0.0 {
                    let _ = writeln!(text, "position = \"{}\"", if task.close > 0.0 { "close" } else { "open" });
                }
                if let Some(level) = task.dynamic {
                    let _ = writeln!(text, "dynamic = \"{}\"", level.mark());
                }
                if task.muted {
                    text.push_str("muted = true\n");
                }
                if task.by_casting {
                    text.push_str("by_casting = true\n");
                }
                if !task.why.is_empty() {
                    let _ = writeln!(text, "why = {}", quoted(&task.why));
                }
            }
            text.push('\n');
        }
        text
    }

    /// Phrases of a sketch with nobody in them yet, cut along the tune: where it rests, comes to a long note or a cadence or begins again as it began, where strands come or
    /// go for good; always at rehearsal marks, double barlines and changes of metre. About four bars where nothing speaks for other lengths.
    #[must_use]
    pub fn phrases_of(sketch: &Sketch) -> Self {
        let open = |bars| PhrasePlan { bars, fill: true, ..PhrasePlan::default() };
        Self { phrases: phrases(sketch).into_iter().map(open).collect() }
    }

    /// Moments a phrase spans: its bars, with the upbeat to the first and without the upbeat to what follows.
    #[must_use]
    pub fn span(sketch: &Sketch, bars: &Range<usize>) -> (Crotchets, Crotchets) {
        (sketch.seam(bars.start), sketch.seam(bars.end))
    }
}

impl LineupSection {
    /// Which of their instruments players take up ([`Task::held`]): the place of a name among them, the same for all.
    ///
    /// # Errors
    /// One sentence where not every one of them has it.
    pub fn held(&self, chairs: &[usize], name: &str) -> Result<usize, String> {
        let wanted = ripieno_instruments::recognise(&ripieno_instruments::Clues { name, ..Default::default() }).instrument;
        let place = |chair: &usize| self.chairs[*chair].instruments().position(|(instrument, _)| instrument.id == wanted.id);
        let mut places = chairs.iter().map(place);
        let first = places.next().flatten();
        first.filter(|_| places.all(|place| place == first)).ok_or_else(|| {
            format!("not every player of this task has “{name}”; the line-up says who has what: instruments = [{{ player = 2, doubles = [\"Piccolo\"] }}]")
        })
    }
}

/// Octaves by which a line may be moved.
const MOST_OCTAVES: i32 = 4;

/// Text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// Bars as a plan names them: by printed numbers where these stand for one bar each, else counted from the first: "#4-#8".
fn bars_text(sketch: &Sketch, bars: &Range<usize>) -> String {
    let last = bars.end.saturating_sub(1);
    let (from, to) = (sketch.bar_name(bars.start), sketch.bar_name(last));
    let text = format!("{from}-{to}");
    if bars_named(sketch, &text).is_ok_and(|read| read == *bars) { text } else { format!("#{}-#{}", bars.start + 1, last + 1) }
}

/// Bars by their printed numbers, "4" or "4-8", of several bars of one number the first; or counted from the first bar of the sketch: "#4-#8".
fn bars_named(sketch: &Sketch, text: &str) -> Result<Range<usize>, String> {
    let count = sketch.score.bars.len();
    let find = |name: &str| {
        let name = name.trim();
        if let Some(counted) = name.strip_prefix('#') {
            let at = counted.parse::<usize>().ok().and_then(|at| at.checked_sub(1)).filter(|&at| at < count);
            return at.ok_or_else(|| format!("the sketch has no bar “{name}”; counted, its bars are #1 to #{count}"));
        }
        let found = (0..count).find(|&bar| sketch.bar_name(bar) == name);
        found.ok_or_else(|| {
            let last = count.saturating_sub(1);
            format!("the sketch has no bar “{name}”; its bars are {} to {}", sketch.bar_name(0), sketch.bar_name(last))
        })
    };
    let (first, last) = text.split_once(['-', '–']).unwrap_or((text, text));
    let (first, last) = (find(first)?, find(last)?);
    if last < first {
        return Err(format!("bars {text} go backwards"));
    }
    Ok(first..last + 1)
}
