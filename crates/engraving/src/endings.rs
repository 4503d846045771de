//! Numbers of endings in parts with long rests.
//!
//! The engine leaves out the bars a long rest stands for, and with them the place where an ending stops: the next one gets the number of the one
//! before. Its own format, MEI, can be told the number.

/// The numbers of a document's endings as its first part has them, in order; none where no long rest can have hidden one.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn hidden(musicxml: &str) -> Vec<&str> {
    let part = musicxml.split("</part>").next().unwrap_or("");
    if !part.contains("<multiple-rest") {
        return Vec::new();
    }
    let tags = part.split("<ending").skip(1).filter_map(|rest| rest.split('>').next());
    tags.filter(|tag| attribute(tag, "type") == Some("start")).filter_map(|tag| attribute(tag, "number")).collect()
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let (_, after) = tag.split_once(&format!(" {name}=\""))?;
    after.split('"').next()
}

/// An MEI document whose endings have these numbers, one after the other; as it is where it has not as many endings.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
pub(crate) fn with_numbers(mei: &str, numbers: &[&str]) -> String {
    let mut pieces = mei.split("<ending");
    let mut out = pieces.next().unwrap_or("").to_owned();
    if mei.matches("<ending").count() != numbers.len() {
        return mei.to_owned();
    }
    for (piece, number) in pieces.zip(numbers) {
        let (tag, rest) = piece.split_once('>').unwrap_or((piece, ""));
        let said = attribute(tag, "n").map_or_else(|| tag.to_owned(), |own| tag.replacen(&format!(" n=\"{own}\""), "", 1));
        out.push_str("<ending n=\"");
        out.push_str(number);
        out.push('"');
        out.push_str(&said);
        out.push('>');
        out.push_str(rest);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_taken_where_a_long_rest_may_hide_an_ending() {
        let endings =
            "<ending number=\"1\" type=\"start\"/><ending number=\"1\" type=\"stop\"/><ending type=\"start\" number=\"2, 3\"/>";
        let rest = "<multiple-rest>2</multiple-rest>";
        assert_eq!(hidden(&format!("<part>{rest}{endings}</part><part>{endings}</part>")), ["1", "2, 3"]);
        assert!(hidden(&format!("<part>{endings}</part>")).is_empty());
    }

    #[test]
    fn endings_get_their_own_numbers() {
        let mei = "<section><ending xml:id=\"a\" n=\"1\"><measure/></ending><ending lendsym=\"angledown\" n=\"1\"/></section>";
        assert_eq!(
            with_numbers(mei, &["1", "2"]),
            "<section><ending n=\"1\" xml:id=\"a\"><measure/></ending><ending n=\"2\" lendsym=\"angledown\"/></section>"
        );
        assert_eq!(with_numbers(mei, &["1"]), mei);
    }
}
