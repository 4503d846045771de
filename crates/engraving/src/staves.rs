//! Directions of parts on one staff.
//!
//! MusicXML lets a direction of such a part go without its staff. The engine then counts the staff of a rehearsal mark, of an octave sign and of
//! dashes wrong: it takes one of the part above, or the first of the page. With the staff said it has nothing to count.

const BEGIN: &str = "<direction";
const END: &str = "</direction>";

/// A MusicXML document whose directions all say their staff.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn said(musicxml: &str) -> String {
    let mut out = String::with_capacity(musicxml.len() + musicxml.len() / 16);
    let mut rest = musicxml;
    while let Some(at) = rest.find(BEGIN) {
        let (before, from) = rest.split_at(at);
        out.push_str(before);
        // No <direction-type>, which this begins like.
        let is_one = from[BEGIN.len()..].starts_with([' ', '>']);
        let Some(end) = from.find(END).filter(|_| is_one) else {
            out.push_str(BEGIN);
            rest = &from[BEGIN.len()..];
            continue;
        };
        let direction = &from[..end];
        if direction.contains("<staff>") {
            out.push_str(direction);
        } else {
            // The order of MusicXML: type, offset, voice, staff, sound, listening.
            let place = ["<sound", "<listening"].iter().filter_map(|after| direction.find(after)).min().unwrap_or(end);
            out.push_str(&direction[..place]);
            out.push_str("<staff>1</staff>");
            out.push_str(&direction[place..]);
        }
        out.push_str(END);
        rest = &from[end + END.len()..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_direction_says_its_staff() {
        let mark = "<direction-type><rehearsal>B</rehearsal></direction-type>";
        let own = format!("<direction placement=\"above\">{mark}<staff>2</staff></direction>");
        assert_eq!(
            said(&format!("<measure><direction>{mark}<sound tempo=\"60\"/></direction>{own}<note/></measure>")),
            format!("<measure><direction>{mark}<staff>1</staff><sound tempo=\"60\"/></direction>{own}<note/></measure>")
        );
        for left in ["", "<direction>", "<direction-type/>", "<note/>"] {
            assert_eq!(said(left), left);
        }
    }
}
