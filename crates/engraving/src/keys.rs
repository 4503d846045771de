//! Keys that change on the way, staff by staff.
//!
//! The engine reads a change of key in MusicXML as one for all staves, so that a clarinet in B flat would get the violins' key. Its own
//! format, MEI, has a key for each staff: the document is put through it where it matters.

use std::collections::BTreeSet;

use ripieno_score::{BarIndex, ChangeKind, Part, Score};

/// A change of key at the beginning of a bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyChange {
    /// The bar, from 0.
    pub bar: usize,
    /// Fifths above C of every staff from the top of the system, sharps counted up and flats down; `None` where a staff shows no key.
    pub fifths: Vec<Option<i8>>,
}

/// The changes of key after the beginning of a score, if its staves ever differ in them; a change inside a bar counts from the next.
#[must_use]
pub fn changes(score: &Score) -> Vec<KeyChange> {
    let moments: BTreeSet<u32> = score
        .parts
        .iter()
        .flat_map(|part| &part.changes)
        .filter(|change| matches!(change.kind, ChangeKind::Key(_)) && (change.bar.0 > 0 || !change.at.is_zero()))
        .map(|change| change.bar.0 + u32::from(!change.at.is_zero()))
        .filter(|&bar| (bar as usize) < score.bars.len())
        .collect();
    let staves =
        |bar: u32| score.parts.iter().flat_map(move |part| (1..=part.staves.max(1)).map(move |staff| key(part, staff, bar)));
    let all: Vec<KeyChange> =
        moments.into_iter().map(|bar| KeyChange { bar: bar as usize, fifths: staves(bar).collect() }).collect();
    let differ = |change: &KeyChange| change.fifths.windows(2).any(|pair| pair[0] != pair[1]);
    if all.iter().any(differ) { all } else { Vec::new() }
}

/// The key in force on a staff when a bar begins.
fn key(part: &Part, staff: u8, bar: u32) -> Option<i8> {
    let begun =
        part.changes.iter().filter(|change| change.bar < BarIndex(bar) || (change.bar == BarIndex(bar) && change.at.is_zero()));
    let here = begun.filter(|change| change.staff.is_none_or(|of| of == staff));
    here.filter_map(|change| if let ChangeKind::Key(key) = &change.kind { Some(key.fifths) } else { None }).next_back()
}

/// An MEI document with the keys of these changes instead of those that stand between its bars.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn with_keys(mei: &str, changes: &[KeyChange]) -> String {
    let mut out = String::with_capacity(mei.len() + 4096);
    let mut rest = mei;
    let mut bars = 0usize;
    let mut changes = changes.iter().peekable();
    while let Some(at) = rest.find('<') {
        out.push_str(&rest[..at]);
        let tag = &rest[at..];
        let end = tag.find('>').map_or(tag.len(), |end| end + 1);
        if is_tag(tag, "measure") {
            while let Some(change) = changes.next_if(|change| change.bar <= bars) {
                out.push_str(&score_def(change));
            }
            bars += 1;
        }
        // Keys before the first bar are those of the beginning, each on its staff already.
        if bars > 0 && is_tag(tag, "keySig") {
            let is_whole = tag[..end].ends_with("/>");
            let after = if is_whole { end } else { tag.find("</keySig>").map_or(end, |close| close + "</keySig>".len()) };
            rest = &tag[after..];
            continue;
        }
        out.push_str(&tag[..end]);
        rest = &tag[end..];
    }
    out.push_str(rest);
    out
}

fn is_tag(text: &str, name: &str) -> bool {
    text[1..].strip_prefix(name).is_some_and(|after| after.starts_with([' ', '/', '>', '\n', '\t']))
}

fn score_def(change: &KeyChange) -> String {
    use std::fmt::Write;
    let mut out = String::from("<scoreDef><staffGrp>");
    for (staff, fifths) in change.fifths.iter().enumerate() {
        let Some(fifths) = fifths else { continue };
        let sign = match fifths {
            0 => "",
            1.. => "s",
            _ => "f",
        };
        let _ = write!(out, "<staffDef n=\"{}\"><keySig sig=\"{}{sign}\"/></staffDef>", staff + 1, fifths.unsigned_abs());
    }
    out.push_str("</staffGrp></scoreDef>");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_staff_gets_its_own_key_before_its_bar() {
        let mei = "<score><scoreDef><staffGrp><staffDef n=\"1\"><keySig sig=\"2s\"/></staffDef></staffGrp></scoreDef><section><measure n=\"1\"/>\
<scoreDef xml:id=\"a\"><keySig sig=\"1f\"/><meterSig count=\"3\"/></scoreDef><measure n=\"2\"><staff n=\"1\"/></measure></section></score>";
        let change = KeyChange { bar: 1, fifths: vec![Some(-1), Some(-3), None, Some(0)] };
        assert_eq!(
            with_keys(mei, &[change]),
            "<score><scoreDef><staffGrp><staffDef n=\"1\"><keySig sig=\"2s\"/></staffDef></staffGrp></scoreDef><section><measure n=\"1\"/>\
<scoreDef xml:id=\"a\"><meterSig count=\"3\"/></scoreDef><scoreDef><staffGrp><staffDef n=\"1\"><keySig sig=\"1f\"/></staffDef>\
<staffDef n=\"2\"><keySig sig=\"3f\"/></staffDef><staffDef n=\"4\"><keySig sig=\"0\"/></staffDef></staffGrp></scoreDef>\
<measure n=\"2\"><staff n=\"1\"/></measure></section></score>"
        );
    }
}
