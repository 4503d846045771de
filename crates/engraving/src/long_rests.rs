//! Long rests of parts on several staves.
//!
//! The engine draws a long rest of MusicXML on the first staff alone and leaves the others empty. In its own format, MEI, all can have it; the
//! number stands over the first.

/// Whether a document has long rests on several staves.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn are_on_several_staves(musicxml: &str) -> bool {
    musicxml.contains("<multiple-rest") && musicxml.contains("<staves>")
}

/// An MEI document whose long rests are on all staves of their bars.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn on_all_staves(mei: &str) -> String {
    const SPACE: &str = "<mSpace";
    let mut bars = mei.split("</measure>").peekable();
    let mut out = String::with_capacity(mei.len());
    while let Some(bar) = bars.next() {
        match number(bar) {
            None => out.push_str(bar),
            Some(number) => {
                let mut pieces = bar.split(SPACE);
                out.push_str(pieces.next().unwrap_or(""));
                for piece in pieces {
                    out.push_str("<multiRest num=\"");
                    out.push_str(number);
                    out.push_str("\" num.visible=\"false\"");
                    out.push_str(piece);
                }
            }
        }
        if bars.peek().is_some() {
            out.push_str("</measure>");
        }
    }
    out
}

/// The bars of the long rest in a bar.
fn number(bar: &str) -> Option<&str> {
    let (_, rest) = bar.split_once("<multiRest")?;
    let (tag, _) = rest.split_once('>')?;
    let (_, number) = tag.split_once(" num=\"")?;
    number.split('"').next()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_staves_of_a_long_rest_have_it_too() {
        let bar = |upper: &str, lower: &str| format!("<measure n=\"4\"><staff>{upper}</staff><staff>{lower}</staff></measure>");
        let rest = "<multiRest xml:id=\"a\" num=\"12\" />";
        let mei = format!("<section>{}{}</section>", bar(rest, "<mSpace xml:id=\"b\" />"), bar("<note/>", "<mSpace/>"));
        let lower = "<multiRest num=\"12\" num.visible=\"false\" xml:id=\"b\" />";
        assert_eq!(on_all_staves(&mei), format!("<section>{}{}</section>", bar(rest, lower), bar("<note/>", "<mSpace/>")));
        assert!(!are_on_several_staves("<multiple-rest>2</multiple-rest>"));
    }
}
