//! Support of the melody: who doubles its carrier, and at which octave.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;
use ripieno_texture::{Role, RoleSpan};

use super::moments::{each_moment, octaves};
use super::shared_notes::{Shared, begun};
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "melody_support",
    title: "Who supports the melody",
    says: "Which sections and families double the carrier of the melody, at the unison or at which octave, and how much of the melody stands alone.",
    definition: "The carrier is the line that leads in docs/roles.md; melody time is the time in which it sounds. A line supports it while it doubles it in the sense of \
                 who doubles whom (at least three notes together at one interval), moment by moment, and has melody, countermelody or the carrier's \
                 own role: chord tones that follow the tune for a while are no support. Above and below are seen from the carrier. Shares are of all melody time; with a \
                 second section named, of the melody time of that carrier. A section that supports with several lines counts once. Carries: the share that the section's own lines \
                 lead. Alone: no line doubles the carrier. Notes with the leader: of the notes that a section begins while a line of it leads, those that the other section begins at the same moment, in \
                 unison or one or two octaves from it, in whatever role; at least three.",
    source: "common practice",
    example: "In the demo's bars 17 to 24 the violins carry the melody; flutes support it in unison, the second violins an octave below.",
    on_chart: OnChart::Without("as charted, without notes with the leader"),
    take,
};

/// The interval of a support of which nothing is said but that there is one.
const UNSAID: i16 = i16::MAX;

/// Who supports (whom) at which interval from the carrier.
type Key = (Subject, Option<Subject>, i16);

fn take(material: &Material<'_>) -> Vec<Value> {
    let section_of = material.groups.section_of_parts();
    let family_of = material.groups.family_of_parts();
    let melody = &material.roles.melody;
    let mut at = 0;
    let (mut whole, mut alone) = (Tally::default(), Tally::default());
    let mut carried: BTreeMap<Subject, Tally> = BTreeMap::new();
    let mut support: BTreeMap<Key, Tally> = BTreeMap::new();
    let mut here: Vec<Key> = Vec::new();
    each_moment(material, |moment| {
        let slice = moment.slice;
        while melody.get(at).is_some_and(|carried| carried.to <= slice.from) {
            at += 1;
        }
        let Some(now) = melody.get(at).filter(|now| now.from <= slice.from && moment.pitched[now.line]) else { return };
        let carrier = Subject::Section(section_of[now.part]);
        whole.add(slice);
        carried.entry(carrier).or_default().add(slice);
        let role_of = |line: usize| material.span_at(line, slice.from).map_or(Role::Tacet, RoleSpan::role);
        here.clear();
        for &index in moment.doublings {
            let doubling = &material.doublings.all[index as usize];
            let (line, interval) = match now.line {
                line if line == doubling.a => (doubling.b, doubling.interval),
                line if line == doubling.b => (doubling.a, -doubling.interval),
                _ => continue,
            };
            // A chord tone that happens to follow the tune keeps the role of the chord.
            let role = role_of(line);
            if !role.is_tune() && role != role_of(now.line) {
                continue;
            }
            let part = material.lines.lines[line].part;
            let section = Subject::Section(section_of[part]);
            here.extend([
                (section, None, interval),
                (section, Some(carrier), interval),
                (Subject::Family(family_of[part]), None, interval),
            ]);
        }
        // A chart that states no doubling at all still says who else has the melody.
        if material.charted && material.doublings.all.is_empty() {
            let others = (0..moment.pitched.len()).filter(|&line| moment.pitched[line] && line != now.line);
            for line in others.filter(|&line| role_of(line) == Role::Melody) {
                let part = material.lines.lines[line].part;
                let section = Subject::Section(section_of[part]);
                here.extend([
                    (section, None, UNSAID),
                    (section, Some(carrier), UNSAID),
                    (Subject::Family(family_of[part]), None, UNSAID),
                ]);
            }
        }
        here.sort_unstable();
        here.dedup();
        here.iter().for_each(|key| support.entry(*key).or_default().add(slice));
        if here.is_empty() {
            alone.add(slice);
        }
    });
    if whole.time.is_zero() {
        return Vec::new();
    }
    let of_carrier: BTreeMap<Subject, Crotchets> = carried.iter().map(|(&carrier, tally)| (carrier, tally.time)).collect();
    let mut values = vec![alone.value(Subject::Everybody, None, "alone", whole.time)];
    values.extend(carried.into_iter().map(|(carrier, tally)| tally.value(carrier, None, "carries", whole.time)));
    let mut support: Vec<(Key, Tally)> = support.into_iter().collect();
    support.sort_by_key(|((of, with, interval), _)| (*of, *with, interval.unsigned_abs(), *interval));
    values.extend(support.into_iter().map(|((of, with, interval), tally)| {
        let time = with.and_then(|carrier| of_carrier.get(&carrier).copied()).unwrap_or(whole.time);
        tally.value(of, with, if interval == UNSAID { "interval not charted".to_owned() } else { octaves(interval) }, time)
    }));
    if !material.charted {
        values.extend(notes_with_leader(material, &section_of));
    }
    values
}

/// Of the notes that each section begins while it leads, those that another section begins with it.
fn notes_with_leader(material: &Material<'_>, section_of: &[usize]) -> Vec<Value> {
    let sections: Vec<_> = material.groups.sections.iter().map(|section| begun(material, &section.parts)).collect();
    let mut led: BTreeMap<usize, usize> = BTreeMap::new();
    let mut shared: BTreeMap<(usize, usize), Shared> = BTreeMap::new();
    for carried in &material.roles.melody {
        let line = &material.lines.lines[carried.line];
        let leader = section_of[line.part];
        for attack in &line.attacks[line.attacks_in(carried.from, carried.to)] {
            let Some(top) = attack.top else { continue };
            *led.entry(leader).or_default() += 1;
            let own = BTreeSet::from([i16::from(top)]);
            for (section, begun) in sections.iter().enumerate().filter(|(section, _)| *section != leader) {
                if let Some(theirs) = begun.get(&attack.onset) {
                    shared.entry((section, leader)).or_default().add(attack.bar, &own, &theirs.keys);
                }
            }
        }
    }
    let values = |((section, leader), shared): ((usize, usize), Shared)| {
        let whole = led.get(&leader).copied().unwrap_or(0);
        shared.values(Subject::Section(section), Subject::Section(leader), NOTES, whole)
    };
    shared.into_iter().flat_map(values).collect()
}

/// How the aspects of [`notes_with_leader`] begin.
pub(crate) const NOTES: &str = "notes with the leader";
