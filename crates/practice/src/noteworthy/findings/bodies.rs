//! How the groups stand together: crossed registers, unisons, strings among themselves, who plays whose line, families alone.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};
use ripieno_score::Crotchets;

use super::Found;
use crate::attacks::begun_at;
use crate::measure::{Subject, Taken, Value};
use crate::measures::octaves;
use crate::noteworthy::course::Course;
use crate::noteworthy::of as of_measure;
use crate::noteworthy::words::{counted, list, percent};

/// Share of the common bars from which crossings are worth a sentence, and common bars there have to be.
const CROSSED: (f64, usize) = (0.2, 16);
/// Sections of one family from above, as they lie by custom.
const FROM_ABOVE: [&[Section]; 3] = [
    &[Section::Flutes, Section::Oboes, Section::Clarinets, Section::Bassoons],
    &[Section::Trumpets, Section::Horns, Section::Trombones, Section::Tubas],
    &[Section::Violins, Section::Violas, Section::Cellos, Section::DoubleBasses],
];

/// Sections whose highest note lies above that of the section which by custom lies above them, for half of a bar or more.
pub(super) fn crossings(course: &Course<'_>, found: &mut Found<'_>) {
    let material = course.material;
    let bars = material.sounding.bars.len();
    let mut tops: Vec<Option<i32>> = vec![None; course.bars_of.len()];
    let pairs: Vec<(usize, usize)> = FROM_ABOVE
        .iter()
        .flat_map(|order| order.windows(2))
        .filter_map(|pair| {
            let section = |of: Section| (0..course.bars_of.len()).find(|&section| course.section_name(section) == of.name());
            Some((section(pair[0])?, section(pair[1])?))
        })
        .collect();
    // By pair, then bar: time together, and time crossed.
    let mut times = vec![vec![(Crotchets::ZERO, Crotchets::ZERO); bars]; pairs.len()];
    for (slice, rows) in material.slices.iter() {
        tops.fill(None);
        for &row in rows {
            let top = &mut tops[course.section_of[material.part_of(row)]];
            *top = (*top).into_iter().chain(material.key_of(row)).max();
        }
        for (&(upper, lower), times) in pairs.iter().zip(&mut times) {
            let (Some(above), Some(below)) = (tops[upper], tops[lower]) else { continue };
            let time = &mut times[slice.bar as usize];
            time.0 += slice.length();
            if below > above {
                time.1 += slice.length();
            }
        }
    }
    for (&(upper, lower), times) in pairs.iter().zip(&times) {
        let common = times.iter().filter(|time| time.0.is_positive()).count();
        let is_crossed = |time: &(Crotchets, Crotchets)| time.1.is_positive() && time.1 + time.1 >= time.0;
        let crossed: Vec<u32> = (0u32..).zip(times).filter(|(_, time)| is_crossed(time)).map(|(bar, _)| bar).collect();
        let share = ratio(crossed.len(), common);
        if common < CROSSED.1 || share < CROSSED.0 {
            continue;
        }
        let (above, below) = (course.section_name(upper), course.section_name(lower));
        let text = format!(
            "In {} of the {common} bars in which both sound, the highest note of the {below} lies above that of the {above} for half of their time or more ({}).",
            crossed.len(),
            percent(share)
        );
        let about = (Subject::Section(lower), Some(Subject::Section(upper)), "above", share);
        found.say_of("separation", about, text, &crossed, 0.5 + 0.2 * share);
    }
}

/// Parts of which all have to sound for a bar of bare unison, and such bars.
const UNISON: (usize, usize) = (5, 6);

/// Bars in which all who play have the same notes, percussion aside.
pub(super) fn unisons(course: &Course<'_>, found: &mut Found<'_>) {
    let material = course.material;
    let bars = material.sounding.bars.len();
    let mut bare: Vec<Option<BTreeSet<usize>>> = vec![Some(BTreeSet::new()); bars];
    for (slice, rows) in material.slices.iter() {
        let pitched =
            rows.iter().filter(|&&row| course.family_of(course.section_of[material.part_of(row)]) != Family::Percussion);
        let pitched: Vec<(i32, usize)> =
            pitched.filter_map(|&row| Some((material.key_of(row)? % 12, material.part_of(row)))).collect();
        let bar = &mut bare[slice.bar as usize];
        if pitched.windows(2).any(|pair| pair[0].0 != pair[1].0) {
            *bar = None;
        } else if let Some(parts) = bar {
            parts.extend(pitched.iter().map(|pitched| pitched.1));
        }
    }
    let are: Vec<u32> = (0u32..)
        .zip(&bare)
        .filter(|(_, parts)| parts.as_ref().is_some_and(|parts| parts.len() >= UNISON.0))
        .map(|(bar, _)| bar)
        .collect();
    if are.len() >= UNISON.1 {
        let share = ratio(are.len(), bars);
        let text = format!(
            "In {} of {bars} bars all who play, at least {} and percussion aside, have the same notes, in unison and octaves.",
            are.len(),
            counted(UNISON.0, "part")
        );
        found.say_of(
            "doubled_sections",
            (Subject::Everybody, None, "unison", share),
            text,
            &are,
            0.5 + 0.1 * (share * 5.0).min(1.0),
        );
    }
}

/// Share of notes in common that makes the violins one, or two; and of the double basses' notes that are theirs alone.
const VIOLINS: (f64, f64) = (0.6, 0.1);
const OWN_BASS: f64 = 0.25;

/// How far second violins go with the first, and double basses with the cellos.
pub(super) fn strings(course: &Course<'_>, found: &mut Found<'_>) {
    let section = |of: Section| (0..course.bars_of.len()).find(|&section| course.section_name(section) == of.name());
    let parts = |section: usize| -> Vec<usize> {
        let solo = |part: usize| course.is_soloist(part);
        course.material.groups.sections[section].parts.iter().copied().filter(|&part| course.plays(part) && !solo(part)).collect()
    };
    if let Some(violins) = section(Section::Violins)
        && let [first, second] = parts(violins)[..]
    {
        let (shared, notes) = in_common(course, second, &[first]);
        let share = ratio(shared.len(), notes);
        if notes >= COMMON.1 && (share >= VIOLINS.0 || share <= VIOLINS.1) {
            let text = format!(
                "{} of the {notes} notes of {} begin with {} in unison or octaves ({}).",
                shared.len(),
                course.part_name(second),
                course.part_name(first),
                percent(share)
            );
            let bars = bars_of(&shared);
            found.say_of(
                "doubled_sections",
                (Subject::Part(second), Some(Subject::Part(first)), "in common", share),
                text,
                &bars,
                0.52,
            );
        }
    }
    let (Some(cellos), Some(basses)) = (section(Section::Cellos), section(Section::DoubleBasses)) else { return };
    let with = parts(cellos);
    let (mut shared, mut notes) = (Vec::new(), 0);
    for bass in parts(basses) {
        let of = in_common(course, bass, &with);
        shared.extend(of.0);
        notes += of.1;
    }
    let own = notes - shared.len();
    let share = ratio(own, notes);
    let bars = bars_of(&shared);
    let apart: Vec<u32> = course.bars_of[basses].iter().copied().filter(|bar| bars.binary_search(bar).is_err()).collect();
    if notes >= COMMON.1 && share >= OWN_BASS {
        let text = format!(
            "With {own} of their {notes} notes the double basses leave the cellos: no cello begins the same note, octaves aside ({}).",
            percent(share)
        );
        found.say_of(
            "doubled_sections",
            (Subject::Section(basses), Some(Subject::Section(cellos)), "alone", share),
            text,
            &apart,
            0.5,
        );
    }
    let rest: Vec<u32> =
        course.bars_of[cellos].iter().copied().filter(|bar| course.bars_of[basses].binary_search(bar).is_err()).collect();
    let share = ratio(rest.len(), course.bars_of[cellos].len());
    if (0.15..0.7).contains(&share) {
        let text = format!(
            "In {} of the {} bars of the cellos the double basses rest ({}).",
            rest.len(),
            course.bars_of[cellos].len(),
            percent(share)
        );
        found.say_of("presence", (Subject::Section(cellos), Some(Subject::Section(basses)), "without", share), text, &rest, 0.5);
    }
}

/// Bars, each once.
fn bars_of(attacks: &[u32]) -> Vec<u32> {
    let mut bars = attacks.to_vec();
    bars.sort_unstable();
    bars.dedup();
    bars
}

/// The bars of those attacks of a part with which one of others begins the same note, octaves aside, one for each, and how many attacks it has.
fn in_common(course: &Course<'_>, part: usize, others: &[usize]) -> (Vec<u32>, usize) {
    let lines = &course.material.lines.lines;
    let mut shared = Vec::new();
    let mut notes = 0;
    for line in lines.iter().filter(|line| line.part == part) {
        for attack in &line.attacks {
            notes += 1;
            let same = lines.iter().filter(|other| others.contains(&other.part)).any(|other| {
                let with = begun_at(&other.attacks, attack.onset);
                with.is_some_and(|with| {
                    let class = |key: Option<u8>| key.map(|key| key % 12);
                    let theirs = [class(with.top), class(with.bottom)];
                    theirs.contains(&class(attack.top)) || theirs.contains(&class(attack.bottom))
                })
            });
            if same {
                shared.push(attack.bar);
            }
        }
    }
    (shared, notes)
}

/// How often everybody plays, and how many play for half of the piece.
pub(super) fn density(course: &Course<'_>, found: &mut Found<'_>) {
    let playing = (0..course.section_of.len()).filter(|&part| course.plays(part)).count();
    let mut counts: Vec<usize> = course.parts.iter().map(|parts| parts.iter().filter(|sounds| **sounds).count()).collect();
    let full: Vec<u32> = (0u32..).zip(&counts).filter(|(_, count)| **count == playing).map(|(bar, _)| bar).collect();
    let all = counts.len();
    counts.sort_unstable();
    let share = ratio(full.len(), all);
    if full.is_empty() || share > 0.2 || playing < 8 {
        return;
    }
    let text = format!(
        "All {playing} parts sound in {} of {all} bars ({}); in half of the bars no more than {} do.",
        full.len(),
        percent(share),
        counts[(all - 1) / 2]
    );
    found.say_of("density", (Subject::Everybody, None, "all parts", share), text, &full, 0.56);
}

/// Share of its notes that a part or section has to have in common with another to be told, and notes it has to have.
const COMMON: (f64, usize) = (0.6, 60);
/// Doublings told.
const DOUBLINGS: usize = 5;

/// Notes of one part, and how many of them each section begins with it, by interval from it.
struct PartNotes {
    part: usize,
    notes: usize,
    with: BTreeMap<(usize, i16), (usize, Vec<u32>)>,
}

/// Wind that begins most of its notes with a section of another family in unison or at one octave: the whole section where each of its parts does, else the
/// parts that do.
pub(super) fn doublings(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let mut told: Vec<(f64, Sharing)> = Vec::new();
    for section in 0..course.bars_of.len() {
        let group = &course.material.groups.sections[section];
        let parts: Vec<PartNotes> = group.parts.iter().map(|&part| part_notes(course, part)).filter(|of| of.notes > 0).collect();
        let partners: BTreeSet<(usize, i16)> = parts.iter().flat_map(|of| of.with.keys().copied()).collect();
        let share = |of: &PartNotes, key: &(usize, i16)| ratio(of.with.get(key).map_or(0, |with| with.0), of.notes);
        let mut best: Option<(f64, Sharing)> = None;
        for key in partners.into_iter().filter(|&(other, _)| worth_telling(course, section, other)) {
            let those: Vec<&PartNotes> = parts.iter().filter(|of| share(of, &key) >= COMMON.0).collect();
            let notes: usize = those.iter().map(|of| of.notes).sum();
            let shared: usize = those.iter().filter_map(|of| of.with.get(&key)).map(|with| with.0).sum();
            if notes < COMMON.1 {
                continue;
            }
            let mut bars: Vec<u32> =
                those.iter().filter_map(|of| of.with.get(&key)).flat_map(|with| with.1.iter().copied()).collect();
            bars.sort_unstable();
            bars.dedup();
            let all = those.len() == parts.len();
            let sharing = Sharing { section, key, parts: those.iter().map(|of| of.part).collect(), all, notes, shared, bars };
            let of = ratio(shared, notes);
            if best.as_ref().is_none_or(|(known, _)| of > *known) {
                best = Some((of, sharing));
            }
        }
        told.extend(best);
    }
    told.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.section.cmp(&b.1.section)));
    for (of, sharing) in told.into_iter().take(DOUBLINGS) {
        sharing.tell(course, taken, found, of);
    }
}

/// Parts of a section that share their notes with another section.
struct Sharing {
    section: usize,
    key: (usize, i16),
    parts: Vec<usize>,
    all: bool,
    notes: usize,
    shared: usize,
    bars: Vec<u32>,
}

impl Sharing {
    fn tell(&self, course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>, of: f64) {
        let (other, interval) = self.key;
        let aspect = octaves(interval);
        let place = match interval {
            0 => "in unison".to_owned(),
            -12 | 12 => format!("an {aspect}"),
            _ => aspect,
        };
        let names: Vec<String> = self.parts.iter().map(|&part| course.part_name(part)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let who = if self.all { format!("the {}", course.section_name(self.section)) } else { list(&names) };
        let begin = if self.all || names.len() > 1 { "begin" } else { "begins" };
        let (notes, shared, percent) = (self.notes, self.shared, percent(of));
        let with_whom = course.section_name(other);
        let text = format!(
            "With {shared} of the {notes} notes that {who} {begin}, the {with_whom} begin the same note {place} ({percent})."
        );
        let text = text.replace("the same note in unison", "the same note");
        let (own, with) = (Subject::Section(self.section), Subject::Section(other));
        let pair = |value: &&Value| {
            value.aspect == "any interval"
                && ((value.of, value.with) == (own, Some(with)) || (value.of, value.with) == (with, Some(own)))
        };
        let number = of_measure(taken, "doubled_sections").iter().find(pair).map_or(of, |value| value.value);
        found.say_of("doubled_sections", (own, Some(with), "any interval", number), text, &self.bars, 0.3 + 0.25 * of);
    }
}

/// Wind beside another family: within a family doubling is the custom of the orchestra, and so is whoever plays the bass with the low strings.
fn worth_telling(course: &Course<'_>, section: usize, other: usize) -> bool {
    let families = [course.family_of(section), course.family_of(other)];
    let low =
        |section: usize| [Section::Cellos, Section::DoubleBasses].iter().any(|low| low.name() == course.section_name(section));
    let bassoons = families[0] == Family::Brass && course.section_name(other) == Section::Bassoons.name();
    let usual =
        bassoons || low(other) && (families[0] == Family::Brass || course.section_name(section) == Section::Bassoons.name());
    !usual
        && !families.contains(&Family::Percussion)
        && matches!(families[0], Family::Woodwind | Family::Brass)
        && families[0] != families[1]
}

#[allow(clippy::cast_precision_loss)] // notes of a score
pub(super) fn ratio(part: usize, whole: usize) -> f64 {
    part as f64 / whole.max(1) as f64
}

/// Counts the notes of a part, those that begin together in one line as one, and those that other sections begin at the same moment in unison or octaves with the highest of them.
fn part_notes(course: &Course<'_>, part: usize) -> PartNotes {
    let lines = &course.material.lines.lines;
    let mut of = PartNotes { part, notes: 0, with: BTreeMap::new() };
    let own = course.section_of[part];
    let mut here: Vec<(usize, i16)> = Vec::new();
    for line in lines.iter().filter(|line| line.part == part) {
        for attack in &line.attacks {
            let Some(key) = attack.top else { continue };
            of.notes += 1;
            here.clear();
            for other in lines.iter().filter(|other| course.section_of[other.part] != own) {
                let Some(begun) = begun_at(&other.attacks, attack.onset) else { continue };
                let theirs = [begun.top, begun.bottom].into_iter().flatten();
                here.extend(theirs.map(|theirs| (course.section_of[other.part], i16::from(theirs) - i16::from(key))));
            }
            here.retain(|(_, interval)| interval % 12 == 0);
            here.sort_unstable();
            here.dedup();
            for key in &here {
                let with = of.with.entry(*key).or_default();
                with.0 += 1;
                with.1.push(attack.bar);
            }
        }
    }
    of
}

/// Bars in which a family has to sound alone to be told.
const ALONE: usize = 4;

/// Families that sound without any other in some bars, not in most.
pub(super) fn families_alone(course: &Course<'_>, found: &mut Found<'_>) {
    let families = &course.material.groups.families;
    let of_part = course.material.groups.family_of_parts();
    let mut alone: Vec<Vec<u32>> = vec![Vec::new(); families.len()];
    for (bar, parts) in (0u32..).zip(&course.parts) {
        let here: BTreeSet<usize> = (0..parts.len()).filter(|&part| parts[part]).map(|part| of_part[part]).collect();
        if let [family] = here.into_iter().collect::<Vec<_>>()[..] {
            alone[family].push(bar);
        }
    }
    let all = course.parts.len();
    for (index, bars) in alone.iter().enumerate().filter(|(_, bars)| bars.len() >= ALONE && bars.len() * 2 < all) {
        if families.len() < 2 {
            continue;
        }
        let name = families[index].name;
        let share = ratio(bars.len(), all);
        let text = format!(
            "In {} of {all} bars the {name} sound{} and nobody else does.",
            bars.len(),
            if crate::noteworthy::words::many(&[name]) { "" } else { "s" }
        );
        found.say_of("presence", (Subject::Family(index), None, "alone", share), text, bars, 0.5 - 0.2 * share);
    }
}

/// Sections of brass, and timpani, that hardly sound without another of them.
pub(super) fn company(course: &Course<'_>, found: &mut Found<'_>) {
    let name = |section: usize| course.section_name(section);
    let told: Vec<usize> = (0..course.bars_of.len())
        .filter(|&section| course.family_of(section) == Family::Brass || name(section) == Section::Timpani.name())
        .filter(|&section| course.bars_of[section].len() >= 12)
        .collect();
    for &section in &told {
        let own = &course.bars_of[section];
        let with = |other: usize| own.iter().filter(|bar| course.bars_of[other].binary_search(bar).is_ok()).count();
        // The rarest of those who are always there says most.
        let others = told.iter().copied().filter(|&other| other != section && course.bars_of[other].len() >= own.len());
        let best =
            others.filter(|&other| with(other) * 20 >= own.len() * 19).min_by_key(|&other| (course.bars_of[other].len(), other));
        let low = |section: usize| name(section) == Section::Tubas.name();
        let Some(other) = best
            .filter(|&other| !low(section) && !low(other))
            .filter(|&other| course.bars_of[other].len() * 20 < course.parts.len() * 7)
        else {
            continue;
        };
        let count = with(other);
        let text = if count == own.len() {
            format!("In all {count} bars of the {} the {} sound too.", name(section), name(other))
        } else {
            format!("In {count} of the {} bars of the {} the {} sound too.", own.len(), name(section), name(other))
        };
        let bars: Vec<u32> = own.iter().copied().filter(|bar| course.bars_of[other].binary_search(bar).is_ok()).collect();
        let about = (Subject::Section(section), Some(Subject::Section(other)), "in company", ratio(count, own.len()));
        found.say_of("presence", about, text, &bars, 0.42);
    }
}
