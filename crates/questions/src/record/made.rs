//! A record from a study.

use ripieno_study::Study;

use super::column::{Cell, Filling};
use super::shape::SHAPES;
use super::{Record, Table, bars, behind, heard, spans};

/// A moment as the record keeps it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MomentRow {
    /// What it is: "first full brass".
    pub name: String,
    /// First played bar.
    pub first_bar: u32,
    /// Last played bar.
    pub last_bar: u32,
    /// Why it is worth looking at.
    pub reason: String,
    /// Place among the moments of its score, from 1.
    pub rank: u32,
}

impl MomentRow {
    /// The moments of a study, in their order.
    #[must_use]
    pub fn of(study: &Study) -> Vec<Self> {
        let row = |(moment, rank): (&ripieno_study::Moment, u32)| Self {
            name: moment.kind.to_owned(),
            first_bar: moment.bars.start,
            last_bar: moment.bars.end.saturating_sub(1),
            reason: moment.reason.clone(),
            rank,
        };
        study.moments.iter().zip(1u32..).map(row).collect()
    }
}

/// Fills the table of a name.
pub(super) fn table(name: &str, fill: impl FnOnce(&mut Filling)) -> Table {
    // Every caller names a table of the list; the first stands in were one misspelt, and the test of all names finds it.
    let shape = SHAPES.iter().find(|shape| shape.name == name).unwrap_or(&SHAPES[0]);
    let mut filling = Filling::new(shape.kept());
    fill(&mut filling);
    Table::new(shape, filling.finish())
}

impl Record {
    /// The record of a study, with its moments.
    #[must_use]
    pub fn of(study: &Study, moments: &[MomentRow]) -> Self {
        let [bars, roles] = bars::tables(study);
        let [balance, maskers] = heard::balance(study);
        Self::from_tables(vec![
            parts(study),
            bars,
            spans::notes(study),
            spans::spans(study),
            roles,
            spans::layers(study),
            spans::melody(study),
            spans::doublings(study),
            spans::chords(study),
            spans::keys(study),
            spans::statements(study),
            measures(study),
            table("moments", |rows| moments.iter().for_each(|moment| rows.push(moment_row(moment)))),
            findings(study),
            corrections(study),
            balance,
            maskers,
            heard::techniques(study),
            groups(study),
            behind::instruments(study),
            behind::tuttis(study),
            behind::swells(study),
            behind::proofs(study),
        ])
    }
}

fn moment_row(moment: &MomentRow) -> [Cell<'_>; 5] {
    [
        Cell::Text(&moment.name),
        Cell::Whole(i64::from(moment.first_bar)),
        Cell::Whole(i64::from(moment.last_bar)),
        Cell::Text(&moment.reason),
        Cell::Whole(i64::from(moment.rank)),
    ]
}

fn parts(study: &Study) -> Table {
    table("parts", |rows| {
        for (index, (part, identity)) in study.score.parts.iter().zip(&study.groups.parts).enumerate() {
            rows.push([
                Cell::count(index),
                Cell::Text(part.name.trim()),
                Cell::text(identity.instrument.map(|instrument| instrument.id.as_str())),
                Cell::Text(identity.section.name()),
                Cell::Text(identity.family.name()),
                Cell::Whole(i64::from(part.players.least)),
                Cell::Whole(i64::from(part.players.most)),
                Cell::Whole(i64::from(part.staves)),
            ]);
        }
    })
}

fn measures(study: &Study) -> Table {
    table("measures", |rows| {
        for taken in &study.practice {
            for value in &taken.values {
                let name = |subject: ripieno_study::Subject| subject.name(&study.score, &study.groups);
                let other = value.with.map(name);
                rows.push([
                    Cell::Text(taken.measure.name),
                    Cell::Text(value.of.kind()),
                    Cell::Text(&name(value.of)),
                    Cell::text(value.with.map(ripieno_study::Subject::kind)),
                    Cell::text(other.as_deref()),
                    Cell::Text(&value.aspect),
                    Cell::Decimal(value.value),
                    Cell::Text(value.unit.name()),
                    Cell::Text(&study.cite(&value.bars).to_string()),
                ]);
            }
        }
    })
}

fn findings(study: &Study) -> Table {
    table("findings", |rows| {
        for finding in &study.findings {
            rows.push([
                Cell::Text(&finding.severity.to_string()),
                Cell::Text(finding.code),
                Cell::text(finding.place.part.as_deref()),
                Cell::text(finding.place.bar.as_deref()),
                Cell::Text(&finding.what),
                Cell::Text(&finding.hint),
            ]);
        }
    })
}

fn corrections(study: &Study) -> Table {
    table("corrections", |rows| {
        for made in &study.corrections {
            let mut parts: Vec<&str> = Vec::new();
            for who in &made.who {
                if let Some(part) = study.score.parts.get(who.part).filter(|part| !parts.contains(&part.name.as_str())) {
                    parts.push(&part.name);
                }
            }
            let bars = study.bars_between(made.from, made.to);
            rows.push([
                Cell::Text(&made.correction),
                Cell::Text(&made.change.to_string()),
                Cell::Text(&parts.join("; ")),
                Cell::Whole(i64::from(bars.start)),
                Cell::Whole(i64::from(bars.end.saturating_sub(1))),
            ]);
        }
    })
}

fn groups(study: &Study) -> Table {
    table("groups", |rows| {
        for group in &study.groups.named {
            group.parts.iter().for_each(|&part| rows.push([Cell::Text(&group.name), Cell::count(part)]));
        }
    })
}

/// Who plays, section by section in page order, with the people the page prints: "flutes 2, horns 4, timpani 1, violins".
#[must_use]
pub fn line_up(study: &Study) -> String {
    let of_section = |group: &ripieno_study::Group| {
        let people = |part: &usize| study.score.parts.get(*part).map(|part| part.players).filter(|players| players.is_exact());
        let counts: Option<Vec<u32>> =
            group.parts.iter().map(|part| people(part).map(|players| u32::from(players.most))).collect();
        match counts.map(|counts| counts.iter().sum::<u32>()) {
            Some(count) => format!("{} {count}", group.name),
            None => group.name.to_owned(),
        }
    };
    study.groups.sections.iter().map(of_section).collect::<Vec<_>>().join(", ")
}
