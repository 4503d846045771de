//! Findings in words: plain sentences from measures, each with its numbers and bars, the most telling first.

mod bodies;
mod brass;
mod extremes;
mod reserve;
mod tune;

use super::course::Course;
use super::varied;
use super::words::percent;
use crate::material::Material;
use crate::measure::{Subject, Taken, Value};

/// One sentence, and the bars that prove it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sentence {
    /// The sentence, without bar numbers: those are [`Sentence::bars`].
    pub text: String,
    /// Name of the measure it rests on.
    pub measure: &'static str,
    /// Which value of the measure it rests on, by names that mean the same in every score: measure, whom it is about, with whom, which side, divided by `|`.
    pub key: String,
    /// The value, in the measure's unit.
    pub number: f64,
    /// Played bars, ascending; never empty. Where the sentence counts bars, these are they.
    pub bars: Vec<u32>,
    /// How telling, 0 to 1, less for each of the same measure before it: the list's order.
    pub weight: f64,
}

/// Sentences about a score from its measures, the most telling first. Each speaks of this score only.
pub(super) fn findings(course: &Course<'_>, taken: &[Taken]) -> Vec<Sentence> {
    let mut found = Found { material: course.material, sentences: Vec::new() };
    reserve::held_back(course, taken, &mut found);
    reserve::singers(course, taken, &mut found);
    reserve::kept_for_loud_bars(course, taken, &mut found);
    reserve::never_beside(course, &mut found);
    tune::shares(course, &mut found);
    tune::support(taken, &mut found);
    tune::humble(course, &mut found);
    brass::full_brass(course, taken, &mut found);
    bodies::crossings(course, &mut found);
    bodies::unisons(course, &mut found);
    bodies::strings(course, &mut found);
    brass::horns(course, &mut found);
    bodies::density(course, &mut found);
    bodies::doublings(course, taken, &mut found);
    bodies::families_alone(course, &mut found);
    bodies::company(course, &mut found);
    brass::horns_against_others(taken, &mut found);
    brass::stack(course, taken, &mut found);
    brass::rhythms(course, taken, &mut found);
    brass::separation(course, taken, &mut found);
    extremes::highest(course, taken, &mut found);
    extremes::loudest(course, &mut found);
    extremes::marked_softer(course, &mut found);
    let mut sentences = found.sentences;
    sentences.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.text.cmp(&b.text)));
    varied(sentences, |sentence| sentence.measure, |sentence| &mut sentence.weight)
}

/// Share of works that a value has to lie beyond before a sentence says so.
const BEYOND: f64 = 0.85;

/// Orders sentences by how unusual their numbers are among other works, as much as by how telling they are by themselves. `standing` answers for a key and a
/// value ([`Sentence::key`], [`Sentence::number`]) which share of the works has a lower value and how many works there are; `None` where there are too few to say, which
/// leaves a sentence behind those that stand out. What lies beyond nearly all works says so.
#[must_use]
pub fn among_works(sentences: Vec<Sentence>, standing: impl Fn(&str, f64) -> Option<(f64, usize)>) -> Vec<Sentence> {
    let mut sentences: Vec<Sentence> = sentences;
    for sentence in &mut sentences {
        let stands = standing(&sentence.key, sentence.number);
        let unusual = stands.map_or(0.0, |(below, _)| (2.0 * below - 1.0).abs());
        sentence.weight = sentence.weight.midpoint(unusual);
        match stands {
            Some((below, works)) if below >= BEYOND => {
                sentence.text.push_str(&format!(" More than in {} of {works} other works.", percent(below)));
            }
            Some((below, works)) if 1.0 - below >= BEYOND => {
                sentence.text.push_str(&format!(" Less than in {} of {works} other works.", percent(1.0 - below)));
            }
            _ => {}
        }
    }
    sentences.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.text.cmp(&b.text)));
    varied(sentences, |sentence| sentence.measure, |sentence| &mut sentence.weight)
}

/// Sentences gathered.
struct Found<'a> {
    material: &'a Material<'a>,
    sentences: Vec<Sentence>,
}

impl Found<'_> {
    fn name(&self, subject: Subject) -> String {
        self.material.name(subject)
    }

    /// Adds a sentence that rests on a value of a measure; nothing when no bars prove it.
    fn say(&mut self, measure: &'static str, value: &Value, text: String, weight: f64) {
        self.say_of(measure, (value.of, value.with, &value.aspect, value.value), text, &value.bars, weight);
    }

    /// The same with other bars than the value's.
    fn say_of(
        &mut self,
        measure: &'static str,
        (of, with, aspect, number): (Subject, Option<Subject>, &str, f64),
        text: String,
        bars: &[u32],
        weight: f64,
    ) {
        if bars.is_empty() {
            return;
        }
        let with = with.map_or_else(String::new, |with| self.name(with));
        let key = format!("{measure}|{}|{with}|{aspect}", self.name(of));
        let weight = weight.clamp(0.0, 1.0);
        self.sentences.push(Sentence { text, measure, key, number, bars: bars.to_vec(), weight });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_unusual_comes_first_and_says_so() {
        let sentence = |text: &str, key: &str, weight: f64| Sentence {
            text: text.to_owned(),
            measure: "presence",
            key: key.to_owned(),
            number: 0.5,
            bars: vec![1],
            weight,
        };
        let told = vec![sentence("Usual.", "a", 0.8), sentence("Rare.", "b", 0.4), sentence("Unknown.", "c", 0.7)];
        let standing = |key: &str, _: f64| match key {
            "a" => Some((0.5, 10)),
            "b" => Some((0.95, 10)),
            _ => None,
        };
        let ordered: Vec<String> = among_works(told.clone(), standing).into_iter().map(|sentence| sentence.text).collect();
        assert_eq!(ordered, ["Rare. More than in 95 % of 10 other works.", "Usual.", "Unknown."]);
        let alone: Vec<String> = among_works(told, |_, _| None).into_iter().map(|sentence| sentence.text).collect();
        assert_eq!(alone, ["Usual.", "Unknown.", "Rare."], "with nothing to stand among the order stays");
    }
}
