//! Notes, and what spans of them do.

use ripieno_score::Crotchets;
use ripieno_study::{BarSpans, Study};
use ripieno_texture::{Mode, Relation, RoleSpan};

use super::Table;
use super::column::Cell;
use super::made::table;

/// First and last bar, beginning and end of a stretch of time.
fn place(study: &Study, from: Crotchets, to: Crotchets) -> [Cell<'static>; 4] {
    let bars = study.bars_between(from, to);
    [whole(bars.start), whole(bars.end.saturating_sub(1)), Cell::Time(from), Cell::Time(to)]
}

fn whole(number: impl Into<i64>) -> Cell<'static> {
    Cell::Whole(number.into())
}

fn share(share: f32) -> Cell<'static> {
    Cell::Decimal(f64::from(share))
}

fn part_names(study: &Study, parts: impl Iterator<Item = usize>) -> String {
    let names = parts.filter_map(|part| study.score.parts.get(part)).map(|part| part.name.trim());
    names.collect::<Vec<_>>().join("; ")
}

pub(super) fn notes(study: &Study) -> Table {
    let mut of_line: Vec<Vec<&RoleSpan>> = vec![Vec::new(); study.lines.lines.len()];
    for span in &study.roles.roles.spans {
        if let Some(spans) = of_line.get_mut(span.line) {
            spans.push(span);
        }
    }
    let role = |line: usize, at: Crotchets| {
        let spans = of_line.get(line)?;
        let begun = spans.partition_point(|span| span.from <= at);
        // Before the first span there is at most a grace note: it goes with what follows.
        spans.get(begun.saturating_sub(1)).map(|span| span.role().name())
    };
    table("notes", |rows| {
        for (index, note) in study.sounding.notes.rows().enumerate() {
            let line = study.lines.of_row.get(index).map_or(usize::MAX, |&line| line as usize);
            let spelling = note.key.map(|_| note.pitch.to_string());
            rows.push([
                whole(note.part),
                whole(note.bar),
                Cell::Time(note.onset),
                Cell::Time(note.duration),
                Cell::of(note.key.map(|key| key.number())),
                Cell::text(spelling.as_deref()),
                whole(note.staff),
                whole(note.voice),
                Cell::of(study.lines.lines.get(line).map(|line| line.place)),
                whole(note.players.least),
                whole(note.players.most),
                note.level.map_or(Cell::Nothing, |level| share(level.0)),
                Cell::text(role(line, note.onset)),
            ]);
        }
    })
}

pub(super) fn spans(study: &Study) -> Table {
    table("spans", |rows| {
        for (span, said) in study.roles.roles.spans.iter().zip(&study.roles.said) {
            let line = &study.lines.lines[span.line];
            let others: Vec<&str> = span.roles.iter().skip(1).map(|held| held.role.name()).collect();
            let others = (!others.is_empty()).then(|| others.join("; "));
            rows.push([
                Cell::count(span.part),
                whole(line.staff),
                whole(line.place),
                whole(span.bars.start),
                whole(span.bars.end.saturating_sub(1)),
                Cell::Time(span.from),
                Cell::Time(span.to),
                Cell::Text(span.role().name()),
                span.roles.first().map_or(Cell::Nothing, |held| share(held.confidence)),
                Cell::text(others.as_deref()),
                Cell::text(said.name.as_deref()),
            ]);
        }
    })
}

pub(super) fn layers(study: &Study) -> Table {
    table("layers", |rows| {
        for ((layer, said), number) in study.roles.roles.layers.layers.iter().zip(&study.roles.said_of_layers).zip(1u32..) {
            for member in &layer.members {
                let line = &study.lines.lines[member.line];
                rows.push([
                    whole(number),
                    whole(member.bars.start),
                    whole(member.bars.end.saturating_sub(1)),
                    Cell::count(line.part),
                    whole(line.place),
                    Cell::text(member.relation.map(Relation::name)),
                    Cell::text(said.name.as_deref()),
                ]);
            }
        }
    })
}

pub(super) fn melody(study: &Study) -> Table {
    table("melody", |rows| {
        for stretch in &study.roles.roles.melody {
            let [first, last, onset, offset] = place(study, stretch.from, stretch.to);
            let name = |(part, bars): (usize, Option<BarSpans>)| {
                let name = study.score.parts.get(part)?.name.trim();
                Some(bars.map_or_else(|| name.to_owned(), |bars| format!("{name} ({bars})")))
            };
            let with = study.along(stretch).into_iter().filter_map(name).collect::<Vec<_>>().join("; ");
            let with = (!with.is_empty()).then_some(with);
            rows.push([first, last, onset, offset, Cell::count(stretch.part), Cell::text(with.as_deref())]);
        }
    })
}

pub(super) fn doublings(study: &Study) -> Table {
    let lines = &study.lines.lines;
    table("doublings", |rows| {
        for doubling in &study.doublings.all {
            let (a, b) = (&lines[doubling.a], &lines[doubling.b]);
            // The lines of one part share a staff; that they meet says nothing of who doubles whom.
            if a.part == b.part {
                continue;
            }
            let [first, last, onset, offset] = place(study, doubling.from, doubling.to);
            rows.push([
                first,
                last,
                onset,
                offset,
                Cell::count(a.part),
                whole(a.place),
                Cell::count(b.part),
                whole(b.place),
                whole(doubling.interval),
                whole(doubling.shared),
                share(doubling.share_of_a()),
                share(doubling.share_of_b()),
            ]);
        }
    })
}

pub(super) fn chords(study: &Study) -> Table {
    table("chords", |rows| {
        for chord in &study.harmony.chords {
            let [first, last, onset, offset] = place(study, chord.onset, chord.end);
            let bass = chord.bass.map(|bass| bass.to_string());
            rows.push([
                first,
                last,
                onset,
                offset,
                Cell::Text(&chord.root.to_string()),
                Cell::Text(&chord.quality.to_string()),
                Cell::of(chord.inversion),
                Cell::text(bass.as_deref()),
                share(chord.confidence),
            ]);
        }
    })
}

pub(super) fn keys(study: &Study) -> Table {
    table("keys", |rows| {
        for key in &study.harmony.keys {
            let [first, last, onset, offset] = place(study, key.onset, key.end);
            let mode = match key.mode {
                Mode::Major => "major",
                Mode::Minor => "minor",
            };
            rows.push([first, last, onset, offset, Cell::Text(&key.tonic.to_string()), Cell::Text(mode), share(key.confidence)]);
        }
    })
}

pub(super) fn statements(study: &Study) -> Table {
    table("statements", |rows| {
        for theme in &study.themes {
            for statement in &theme.statements {
                let [first, last, onset, offset] = place(study, statement.onset, statement.end);
                let with = part_names(study, statement.supporters.iter().map(|supporter| supporter.part));
                let with = (!with.is_empty()).then_some(with);
                rows.push([
                    Cell::count(theme.id),
                    first,
                    last,
                    onset,
                    offset,
                    Cell::count(statement.part),
                    Cell::text(with.as_deref()),
                    whole(statement.transposition),
                    Cell::Time(statement.time_scale),
                    Cell::count(statement.notes.len()),
                    share(statement.similarity),
                ]);
            }
        }
    })
}
