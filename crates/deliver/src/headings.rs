//! Headings with their tempo, as they are printed: "Allegro con spirito ♩ = 126" in one line, upright and bold.
//!
//! A score keeps words, metronome mark and playback tempo as signs of their own, and so does its MusicXML. Engravers set what stands in one
//! `<direction>` as one heading; words by themselves are set like "dolce". Editors put a tempo of their own in brackets, which files keep as words
//! before and after the mark, "[" and "]": scattered over parts and lines they are left out.

use ripieno_score::{DirectionKind, Part};

/// Leaves out the brackets around metronome marks of a part.
pub(crate) fn leave_brackets_out(part: &mut Part) {
    let marked: Vec<_> = part
        .directions
        .iter()
        .filter(|one| matches!(one.kind, DirectionKind::Metronome { .. }))
        .map(|one| (one.bar, one.at))
        .collect();
    if marked.is_empty() {
        return;
    }
    part.directions.retain_mut(|one| {
        let is_beside = marked.binary_search(&(one.bar, one.at)).is_ok();
        let DirectionKind::Words(text) = &mut one.kind else { return true };
        if !is_beside {
            return true;
        }
        let bare = without_bracket(text);
        if bare.len() < text.len() {
            *text = bare.into();
        }
        !text.is_empty()
    });
}

/// Words without the bracket at their end or beginning whose other half stands behind or before a metronome mark.
fn without_bracket(text: &str) -> &str {
    let count = |sign: char| text.matches(sign).count();
    let text = text.trim();
    for (open, close) in [('[', ']'), ('(', ')')] {
        if count(open) > count(close) && text.ends_with(open) {
            return text[..text.len() - 1].trim_end();
        }
        if count(close) > count(open) && text.starts_with(close) {
            return text[1..].trim_start();
        }
    }
    text
}

/// MusicXML as [`ripieno_formats::musicxml::write_printed`] writes it, the words of each heading in one direction with the tempo that
/// follows them.
pub(crate) fn joined(musicxml: &str) -> String {
    const BEGIN: &str = "<direction-type>";
    let mut out = String::with_capacity(musicxml.len());
    let mut rest = musicxml;
    while let Some(at) = rest.find("<words>") {
        let Some(found) = heading(rest, at) else {
            out.push_str(&rest[..at + "<words>".len()]);
            rest = &rest[at + "<words>".len()..];
            continue;
        };
        out.push_str(&rest[..at]);
        out.push_str("<words font-weight=\"bold\">");
        out.push_str(found.words);
        // A space before the note of the metronome mark, which engravers do not take for the end of a line.
        out.push_str(if found.tempo.contains("<metronome") { "\u{a0}\u{a0}</words>" } else { "</words>" });
        out.push_str("</direction-type>");
        match found.tempo.split_once(BEGIN) {
            Some((_, metronome)) => {
                out.push_str(BEGIN);
                out.push_str(metronome);
            }
            None => {
                out.push_str(found.place);
                out.push_str(found.tempo);
                out.push_str("</direction>");
            }
        }
        rest = found.after;
    }
    out.push_str(rest);
    out
}

struct Heading<'a> {
    words: &'a str,
    /// What stands behind them in their direction, unless the mark has it.
    place: &'a str,
    /// The direction of a metronome mark, or the sound of a playback tempo.
    tempo: &'a str,
    after: &'a str,
}

/// The heading whose words begin at `at`, when a tempo follows and nothing stands between.
fn heading(text: &str, at: usize) -> Option<Heading<'_>> {
    let (words, after) = text[at + "<words>".len()..].split_once("</words>")?;
    if !words.trim_start().starts_with(char::is_uppercase) {
        return None;
    }
    // Offset and staff of the words, which are those of the mark as well.
    let (place, next) = after.trim_start().strip_prefix("</direction-type>")?.split_once("</direction>")?;
    let next = next.trim_start();
    if place.contains("<direction-type>") {
        return None;
    }
    if next.starts_with("<direction") {
        let end = next.find("</direction>")? + "</direction>".len();
        let tempo = &next[..end];
        return tempo.contains("<metronome").then_some(Heading { words, place: "", tempo, after: &next[end..] });
    }
    let end = next.starts_with("<sound tempo").then(|| next.find('>'))?? + 1;
    next[..end].ends_with("/>").then_some(Heading { words, place, tempo: &next[..end], after: &next[end..] })
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORDS: &str = "<direction placement=\"above\"><direction-type><words>Andante</words></direction-type></direction>";

    #[test]
    fn brackets_around_a_tempo_are_left_out() {
        use ripieno_score::{BarIndex, Crotchets, Direction, NoteValue};
        let at = |bar: u32, kind: DirectionKind| Direction {
            bar: BarIndex(bar),
            at: Crotchets::ZERO,
            staff: 1,
            voice: None,
            above: None,
            kind,
        };
        let words = |bar: u32, text: &str| at(bar, DirectionKind::Words(text.into()));
        let mark = |bar: u32| at(bar, DirectionKind::Metronome { beat: NoteValue::CROTCHET, per_minute: 96.0, text: None });
        let directions =
            vec![words(0, "Un poco allegretto ["), mark(0), words(0, "]"), words(3, "["), words(4, "Adagio [sic]"), mark(4)];
        let mut part = Part { directions, ..Part::default() };
        leave_brackets_out(&mut part);
        assert_eq!(part.directions, [words(0, "Un poco allegretto"), mark(0), words(3, "["), words(4, "Adagio [sic]"), mark(4)]);
    }

    #[test]
    fn words_and_their_tempo_are_one_direction() {
        let mark = "<direction><direction-type><metronome>66</metronome></direction-type></direction>";
        assert_eq!(
            joined(&format!("{WORDS}\n {mark}<note/>")),
            "<direction placement=\"above\"><direction-type><words font-weight=\"bold\">Andante\u{a0}\u{a0}</words></direction-type>\
<direction-type><metronome>66</metronome></direction-type></direction><note/>"
        );
        assert_eq!(
            joined(&format!("{WORDS}<sound tempo=\"66\"/><note/>")),
            "<direction placement=\"above\"><direction-type><words font-weight=\"bold\">Andante</words></direction-type>\
<sound tempo=\"66\"/></direction><note/>"
        );
        let offset = "<offset>-12</offset></direction>";
        let moved = |text: &str| text.replace("</direction>", offset);
        assert_eq!(
            joined(&moved(&format!("{WORDS}{mark}"))),
            moved(&joined(&format!("{WORDS}{mark}"))),
            "the offset of one of the two"
        );
        for left in [format!("{WORDS}<note/>{mark}"), format!("{}{mark}", WORDS.replace("Andante", "dolce"))] {
            assert_eq!(joined(&left), left);
        }
    }
}
