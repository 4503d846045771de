//! What players are for, whatever a practice says of how often: who leads a loud tune of a band, who stays at the bass, who is not asked for a tender tune, and how high an answer lies.
//!
//! All of it is common practice on which the handbooks agree (from memory); the weights are ours.

use ripieno_instruments::Family;
use ripieno_players::Limits;
use ripieno_texture::Role;

use super::programme::{Led, Problem};
use super::{Choice, EXHAUSTED, Question, mean, tired};
use crate::habits::Habits;
use crate::lineup::{Chair, Lineup, LineupSection};
use crate::loudness::SOFTEST;
use crate::numbers::number;
use crate::plan::PhrasePlan;
use crate::sketch::{Sketch, SketchNote};

/// From here on it is loud; below [`SOFT`] it is soft; at [`GENTLE`] and below the check of `ripieno_players` asks for a register in which an instrument is soft.
const LOUD: f32 = 5.5;
const SOFT: f32 = 4.5;
const GENTLE: f32 = 3.0;

/// What it costs that a loud tune of a band is led by others than its trumpets or cornets: more than a figure or an effect nobody has, and than an answer an octave lower.
const LEADS: f64 = 120.0;
/// What it costs that strings have no part in an orchestra's tune for more than a phrase.
const STRINGS_LEAD: f64 = 4.0;
/// How far above the lowest it can be asked for a trumpet has to lie with the tune on the whole to lead with it, in semitones: about middle C.
const CLEAR: f64 = 6.0;
/// What it costs that a tune lies two octaves below where the sketch has it, and that a bass instrument takes it down at all.
const FAR_BELOW: f64 = 4.0;
const BASS_LEADS: f64 = 8.0;
/// What it costs that double basses leave the bass.
const LEAVES_THE_BASS: f64 = 8.0;
/// What it costs that heavy brass has a soft tune where there are woodwind or strings.
const TOO_HEAVY: f64 = 4.0;
/// What a line costs of which all held notes lie where the instrument cannot be as soft as is asked.
const NOT_SOFT: f64 = 10.0;
/// What each octave costs by which an answer is taken up, and that it then lies above a soft tune.
const ANSWER_RAISED: f64 = 1.5;
const ABOVE_THE_TUNE: f64 = 6.0;
/// Held so long, in seconds, a note has to be soft (`ripieno_players`).
const HELD: f64 = 0.5;
/// Sections with an answer or a figure at most where it is soft, and where it is louder.
const COMPANY: [usize; 2] = [2, 3];
/// What each further one costs.
const CROWDS: f64 = 3.0;
/// How many times as much of its time as usual a section has the tune in a practice in which it leads.
const MUCH_MORE: f64 = 1.5;
/// How much less a section plays that the practice asked for has not at all, as odds, and what the tune costs it.
const UNKNOWN_RESTS: f64 = 3.0;
const UNKNOWN_LEADS: f64 = 4.0;

/// Whether a line-up has bodies of strings.
pub(crate) fn has_strings(lineup: &Lineup) -> bool {
    lineup.sections.iter().any(|section| section.is_body)
}

/// Whether a section is of the heavy brass that a soft tune is not given to while others are there.
pub(crate) fn is_heavy(section: &LineupSection) -> bool {
    ["trumpets", "trombones", "tubas"].contains(&section.kind)
}

/// Whether a line-up has woodwind or strings.
pub(crate) fn has_gentle(lineup: &Lineup) -> bool {
    let gentle = |chair: &Chair| matches!(chair.instrument.family, Family::Woodwind | Family::Strings);
    lineup.sections.iter().any(|section| section.chairs.iter().any(gentle))
}

/// Whether a phrase is the last of a sketch.
pub(crate) fn is_last(sketch: &Sketch, phrase: &PhrasePlan) -> bool {
    phrase.bars.end >= sketch.score.bars.len()
}

/// Of a line's held notes at an octave, the share that lies where a player's instrument cannot be soft, by the registers of `ripieno_players`; 0 where it is not asked to be.
pub(crate) fn not_soft(
    sketch: &Sketch,
    section: &LineupSection,
    chair: &Chair,
    notes: &[SketchNote],
    octave: i32,
    level: Option<f32>,
) -> f64 {
    let Some(level) = level.filter(|level| *level <= GENTLE) else { return 0.0 };
    let limits = Limits::of(chair.instrument, Some(i32::from(chair.transposition.semitones)), section.level);
    let Some(limits) = limits.filter(|limits| !limits.dynamics_source.is_empty()) else { return 0.0 };
    // At p the register reaches a minor third farther than at pp, as the check has it.
    let margin = if level <= 2.0 { 0 } else { 3 };
    let (low, high) = (i32::from(limits.soft.low()) - margin, i32::from(limits.soft.high()) + margin);
    let seconds = |note: &SketchNote| sketch.sounding.tempo.seconds(note.end()) - sketch.sounding.tempo.seconds(note.onset);
    let held = || notes.iter().filter(|note| seconds(note) >= HELD).map(|note| note.key() + 12 * octave);
    number(held().filter(|key| !(low..=high).contains(key)).count()) / number(held().count().max(1))
}

impl Question<'_> {
    /// What the strand of a role has in this phrase.
    fn notes_of(&self, role: Role) -> &[SketchNote] {
        let strand = self.told.iter().find(|&&strand| self.sketch.strands[strand].role == role);
        strand.map_or(&[], |&strand| self.sketch.strands[strand].between(self.span.0, self.span.1))
    }

    /// The level of a strand where it begins in this phrase.
    fn level_of(&self, strand: usize) -> Option<f32> {
        crate::loudness::level_in(self.sketch, strand, self.span)
    }

    /// What speaks against choices by what the instrument is for.
    pub(super) fn by_instrument(&self, at: usize, chair: &Chair, choices: &mut [Choice]) {
        let section = &self.lineup.sections[self.units[at].section];
        let deepest = ["tubas", "double basses"].contains(&section.kind);
        let top_of_tune = self.notes_of(Role::Melody).iter().map(SketchNote::key).max();
        let gentle = has_gentle(self.lineup);
        // A tune over soft chords and basses is sung, whatever its own mark.
        let others = self.told.iter().filter(|&&strand| self.sketch.strands[strand].role != Role::Melody);
        let loudest = others.filter_map(|&strand| self.level_of(strand)).fold(SOFTEST, f32::max);
        let soft_company = loudest > SOFTEST && loudest < SOFT;
        for choice in choices {
            let Some(strand) = choice.strand else { continue };
            let found = &self.sketch.strands[strand];
            if self.leaves_the_bass(section, choice) {
                choice.worth -= LEAVES_THE_BASS * self.known.max(1.0);
            }
            if found.is_chordal() {
                continue;
            }
            let notes = found.between(self.span.0, self.span.1);
            let level = self.level_of(strand);
            let soft = level.is_some_and(|level| level < SOFT);
            let in_hand = chair.holding(choice.held, section.level);
            choice.worth -=
                NOT_SOFT * not_soft(self.sketch, section, in_hand.as_ref().unwrap_or(chair), notes, choice.octave, level);
            let written = found.octaves_in(self.span).iter().any(|(octave, _)| *octave == choice.octave);
            match found.role {
                Role::Melody => {
                    if !written && choice.octave <= -2 {
                        choice.worth -= FAR_BELOW;
                    }
                    if !written && choice.octave < 0 && deepest {
                        choice.worth -= BASS_LEADS * self.known.max(1.0);
                    }
                    if (soft || soft_company) && gentle && is_heavy(section) && !self.is_led_by(section) {
                        choice.worth -= TOO_HEAVY * self.known.max(1.0);
                    }
                    if self.is_unknown(section) {
                        choice.worth -= UNKNOWN_LEADS * self.known.max(1.0);
                    }
                }
                Role::Countermelody if choice.octave > 0 && !written => {
                    choice.worth -= ANSWER_RAISED * f64::from(choice.octave);
                    let top = notes.iter().map(SketchNote::key).max();
                    if soft && top.zip(top_of_tune).is_some_and(|(own, tune)| own + 12 * choice.octave > tune) {
                        choice.worth -= ABOVE_THE_TUNE;
                    }
                }
                _ => {}
            }
        }
    }

    /// Whether a practice lets a section have the tune much more than usual practice does.
    fn is_led_by(&self, section: &LineupSection) -> bool {
        let share = |habits: &Habits| habits.section(section.kind).and_then(|habit| habit.shares.get(&Role::Melody)).copied();
        share(self.habits).zip(share(self.taste.learned.habits())).is_some_and(|(own, usual)| own > MUCH_MORE * usual)
    }

    /// Whether a practice that is asked for has not got a section that usual practice has.
    fn is_unknown(&self, section: &LineupSection) -> bool {
        let usual = self.taste.learned.habits().section(section.kind);
        !self.habits.together.figures.is_empty() && self.habits.section(section.kind).is_none() && usual.is_some()
    }

    /// By how much, as odds, a section is kept from a phrase because the practice asked for has it not.
    pub(super) fn kept_out(&self, section: &LineupSection) -> f64 {
        if self.is_unknown(section) { UNKNOWN_RESTS } else { 0.0 }
    }

    /// Whether double basses would leave a bass that is there.
    pub(super) fn leaves_the_bass(&self, section: &LineupSection, choice: &Choice) -> bool {
        let role = choice.strand.map(|strand| self.sketch.strands[strand].role);
        section.kind == "double basses"
            && role.is_some_and(|role| !matches!(role, Role::Bass | Role::Pedal))
            && !self.notes_of(Role::Bass).is_empty()
    }

    /// Whether a section is not for this phrase: a tuba for a soft bass that double basses have.
    pub(super) fn sits_by(&self, section: &LineupSection) -> bool {
        let bass = self.told.iter().find(|&&strand| self.sketch.strands[strand].role == Role::Bass);
        let soft = bass.and_then(|&bass| self.level_of(bass)).is_some_and(|level| level < SOFT);
        section.kind == "tubas" && soft && self.lineup.find("double basses").is_some()
    }

    /// That the strings of an orchestra have or share the tune where they did not in the phrase before.
    fn strings_lead(&self, strand: usize, problem: &mut Problem) {
        let sings = |at: &usize| {
            let section = &self.lineup.sections[self.units[*at].section];
            section.is_body && ["violins", "violas", "cellos"].contains(&section.kind)
        };
        let had = |at: usize| self.memory.last.get(at).copied().flatten().map(|last| last.0);
        let by: Vec<usize> = (0..self.units.len()).filter(sings).collect();
        let goes_on = (0..self.units.len()).any(|at| had(at) == Some(strand));
        if goes_on && by.iter().all(|&at| had(at) != Some(strand)) {
            problem.led.push(Led { strand, lowest: -1, by, price: STRINGS_LEAD * self.known.max(1.0) });
        }
    }

    /// That the trumpets or cornets of a band lead its loud tune, unless it lies too low for them or they are exhausted; and that where it is soft, and sections may rest, not many of
    /// them have the answer or the figure.
    pub(super) fn customs(&self, playing: Option<&[bool]>, problem: &mut Problem) {
        for &strand in self.strands {
            let found = &self.sketch.strands[strand];
            let level = self.level_of(strand);
            let crowds = matches!(found.role, Role::Countermelody | Role::Figuration);
            if crowds && !self.single && playing.is_none() {
                let most = COMPANY[usize::from(level.is_none_or(|level| level >= SOFT))];
                problem.limits.push((strand, most, CROWDS * self.known.max(1.0)));
            }
            if found.role == Role::Melody && has_strings(self.lineup) && playing.is_none() {
                self.strings_lead(strand, problem);
            }
            if found.role != Role::Melody || has_strings(self.lineup) || level.is_none_or(|level| level < LOUD) {
                continue;
            }
            let middle = mean(found.between(self.span.0, self.span.1));
            let last = is_last(self.sketch, self.phrase);
            let leads = |at: usize| {
                let unit = &self.units[at];
                let section = &self.lineup.sections[unit.section];
                let chair = &section.chairs[unit.chairs[0]];
                let clear = f64::from(chair.reach.possible.low()) + CLEAR;
                let can = |choice: &Choice| {
                    choice.strand == Some(strand) && choice.octave >= -1 && middle + 12.0 * f64::from(choice.octave) >= clear
                };
                ["trumpets", "cornets"].contains(&section.kind)
                    && problem.choices[at].iter().any(can)
                    && (last || tired(chair, self.memory, at) < EXHAUSTED)
            };
            let by: Vec<usize> = (0..self.units.len()).filter(|&at| leads(at)).collect();
            if !by.is_empty() {
                problem.led.push(Led { strand, lowest: -1, by, price: LEADS });
            }
        }
    }
}
