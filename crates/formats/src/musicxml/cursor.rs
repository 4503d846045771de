//! Walks an XML text element by element, without a tree and without copying.
//!
//! The grammar is followed by nested loops: after [`Cursor::child`] has answered an element, the caller must take all
//! of it by exactly one of a `while let Some(tag) = cursor.child()` loop, [`Cursor::text`] or [`Cursor::skip`]. Depth of
//! nesting is bounded, and only known elements are descended into, so no input can exhaust the stack. The first fault in the XML
//! ends the walk: every element then seems finished, and [`Cursor::fault`] says why.
//!
//! Why not the tokens of quick-xml: the reader has to be faster than tokenising with it (docs/benchmarks.md), and a walk needs less
//! than a token stream. The tests hold the two against each other on damaged texts.
//!
//! Entities declared in a DOCTYPE are never expanded and nothing external is fetched: only the five predefined entities
//! and character numbers are understood.

use std::borrow::Cow;

use memchr::{memchr, memchr2, memmem};

use super::entities;
use super::tag::Tag;

/// Why the walk ended before the end of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    /// Byte offset in the (decoded) text.
    pub offset: usize,
    /// What is wrong, without a full stop.
    pub what: String,
    /// Whether a limit was passed, rather than the XML being damaged.
    pub limit: bool,
}

/// See the module.
pub(super) struct Cursor<'x> {
    input: &'x str,
    /// Offset of the next byte to look at.
    at: usize,
    /// The element answered last has no content (`<chord/>`).
    at_empty: bool,
    /// Names of the elements being read.
    open: Vec<&'x str>,
    deepest: usize,
    fault: Option<Fault>,
    /// The first entity met that only a DOCTYPE could explain.
    pub unknown_entity: Option<String>,
}

/// Bytes after which the name of a start tag is over.
const ENDS_NAME: [bool; 256] = table(b"></ \t\r\n");
/// Bytes that matter between the name of a tag and its end.
const IN_TAG: [bool; 256] = table(b"><\"'");

const fn table(bytes: &[u8]) -> [bool; 256] {
    let mut table = [false; 256];
    let mut index = 0;
    while index < bytes.len() {
        table[bytes[index] as usize] = true;
        index += 1;
    }
    table
}

/// What stands at a `<`.
enum Markup<'x> {
    Start(Tag<'x>),
    End,
    /// The text of a CDATA section.
    Text(&'x str),
    /// A comment, processing instruction or DOCTYPE.
    Other,
    /// Nothing more: the end of the text, or a fault.
    Nothing,
}

impl<'x> Cursor<'x> {
    /// Starts at the beginning of `input`, with at most `deepest` elements open at a time.
    pub fn new(input: &'x str, deepest: usize) -> Self {
        Self { input, at: 0, at_empty: false, open: Vec::new(), deepest, fault: None, unknown_entity: None }
    }

    /// The next element inside the one being read; `None` at its end, and after a fault.
    #[inline]
    pub fn child(&mut self) -> Option<Tag<'x>> {
        if std::mem::take(&mut self.at_empty) {
            return None;
        }
        loop {
            self.go_to_markup();
            match self.markup() {
                Markup::Start(tag) => return Some(tag),
                Markup::End | Markup::Nothing => return None,
                Markup::Text(_) | Markup::Other => {}
            }
        }
    }

    /// All text directly inside the element being read, which ends with this; elements inside are passed over.
    #[inline]
    pub fn text(&mut self) -> Cow<'x, str> {
        if std::mem::take(&mut self.at_empty) {
            return Cow::Borrowed("");
        }
        let piece = self.piece();
        // Nearly always: plain text and the end of the element.
        if self.input.as_bytes().get(self.at..).is_some_and(|rest| rest.starts_with(b"</")) {
            self.close();
            return Cow::Borrowed(piece);
        }
        self.text_in_pieces(piece)
    }

    fn text_in_pieces(&mut self, first: &'x str) -> Cow<'x, str> {
        let mut whole = Cow::Borrowed(first);
        loop {
            match self.input.as_bytes().get(self.at) {
                Some(b'&') => self.reference(&mut whole),
                Some(b'<') => match self.markup() {
                    Markup::Start(_) => self.skip(),
                    Markup::Text(text) => append(&mut whole, text),
                    Markup::Other => {}
                    Markup::End | Markup::Nothing => return whole,
                },
                _ => {
                    self.ended();
                    return whole;
                }
            }
            let piece = self.piece();
            append(&mut whole, piece);
        }
    }

    /// Passes over the rest of the element being read.
    #[inline]
    pub fn skip(&mut self) {
        if std::mem::take(&mut self.at_empty) {
            return;
        }
        let outside = self.open.len().saturating_sub(1);
        while self.open.len() > outside {
            self.go_to_markup();
            if matches!(self.markup(), Markup::Nothing) {
                return;
            }
            self.at_empty = false;
        }
    }

    /// Why the walk ended early, if it did.
    pub const fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }

    /// Ends the walk because `what` goes beyond a limit.
    pub fn stop(&mut self, what: String) {
        self.end_walk(self.at, what, true);
    }

    /// The line of the text, from 1, in which byte `offset` lies.
    pub fn line(&self, offset: usize) -> u64 {
        let before = self.input.as_bytes().get(..offset).unwrap_or(self.input.as_bytes());
        1 + before.iter().filter(|&&byte| byte == b'\n').count() as u64
    }

    /// Moves to the next `<`, or to the end. Between tags stands an indentation, long enough for a search with wide registers.
    #[inline]
    fn go_to_markup(&mut self) {
        let rest = self.input.as_bytes().get(self.at..).unwrap_or_default();
        if rest.first() != Some(&b'<') {
            self.at += memchr(b'<', rest).unwrap_or(rest.len());
        }
    }

    /// Text up to the next `<` or `&`, or to the end. Most texts are a few digits: only long ones are worth a wide search.
    #[inline]
    fn piece(&mut self) -> &'x str {
        const SHORT: usize = 16;
        let rest = self.input.as_bytes().get(self.at..).unwrap_or_default();
        let length = rest.iter().take(SHORT).position(|&byte| byte == b'<' || byte == b'&').unwrap_or_else(|| {
            let far = rest.get(SHORT..).unwrap_or_default();
            rest.len().min(SHORT) + memchr2(b'<', b'&', far).unwrap_or(far.len())
        });
        let start = self.at;
        self.at += length;
        self.input.get(start..self.at).unwrap_or_default()
    }

    /// Takes the markup at which the walk stands.
    #[inline]
    fn markup(&mut self) -> Markup<'x> {
        match self.input.as_bytes().get(self.at + 1) {
            Some(b'/') => {
                if self.close() {
                    Markup::End
                } else {
                    Markup::Nothing
                }
            }
            Some(b'!' | b'?') => self.aside(),
            Some(_) => self.start().map_or(Markup::Nothing, Markup::Start),
            None => {
                self.ended();
                Markup::Nothing
            }
        }
    }

    /// Takes a start tag.
    #[inline]
    fn start(&mut self) -> Option<Tag<'x>> {
        let bytes = self.input.as_bytes();
        let from = self.at + 1;
        let length = bytes.get(from..)?.iter().position(|&byte| ENDS_NAME[usize::from(byte)]);
        let Some(name_length) = length else {
            self.ended();
            return None;
        };
        let mut end = from + name_length;
        if bytes.get(end) != Some(&b'>') {
            end = self.end_of_tag(end)?;
        }
        let begins_well =
            bytes.get(from).is_some_and(|&byte| byte.is_ascii_alphabetic() || matches!(byte, b'_' | b':') || byte >= 0x80);
        if !begins_well {
            self.damaged("a tag has no name");
            return None;
        }
        let empty = end > from && bytes.get(end - 1) == Some(&b'/');
        let text = self.input.get(from..end - usize::from(empty))?;
        let name_length = name_length.min(text.len());
        self.at = end + 1;
        if empty {
            self.at_empty = true;
        } else {
            self.open.push(text.get(..name_length)?);
            if self.open.len() > self.deepest {
                self.stop(format!("elements are nested more than {} deep", self.deepest));
                return None;
            }
        }
        Some(Tag::new(text, name_length))
    }

    /// Offset of the `>` that ends the tag, looking from `from` on; quoted values may hold one.
    #[inline]
    fn end_of_tag(&mut self, from: usize) -> Option<usize> {
        let bytes = self.input.as_bytes();
        let mut at = from;
        loop {
            let Some(length) = bytes.get(at..).unwrap_or_default().iter().position(|&byte| IN_TAG[usize::from(byte)]) else {
                self.ended();
                return None;
            };
            at += length;
            match bytes.get(at) {
                Some(b'>') => return Some(at),
                Some(&quote @ (b'"' | b'\'')) => {
                    let inside = bytes.get(at + 1..).unwrap_or_default();
                    match inside.iter().position(|&byte| byte == quote || byte == b'<') {
                        Some(length) if inside.get(length) == Some(&quote) => at += length + 2,
                        Some(_) => {
                            self.damaged("a tag or a quoted value is not closed");
                            return None;
                        }
                        None => {
                            self.ended();
                            return None;
                        }
                    }
                }
                _ => {
                    self.damaged("a tag is not closed");
                    return None;
                }
            }
        }
    }

    /// Takes an end tag; `false` (and a fault) when it does not fit.
    #[inline]
    fn close(&mut self) -> bool {
        let Some(name) = self.open.pop() else {
            self.damaged("an end tag has no start tag");
            return false;
        };
        let bytes = self.input.as_bytes();
        let from = self.at + 2;
        let after = from + name.len();
        let fits = bytes.get(from..after) == Some(name.as_bytes());
        if fits && bytes.get(after) == Some(&b'>') {
            self.at = after + 1;
            return true;
        }
        let space = bytes.get(after..).unwrap_or_default().iter().take_while(|byte| byte.is_ascii_whitespace()).count();
        if fits && bytes.get(after + space) == Some(&b'>') {
            self.at = after + space + 1;
            return true;
        }
        self.open.push(name);
        let rest = bytes.get(from..).unwrap_or_default();
        if memchr(b'>', rest).is_none() {
            self.ended();
        } else {
            self.damaged(&format!("the end of <{name}> is missing"));
        }
        false
    }

    /// Takes a comment, CDATA section, processing instruction or DOCTYPE.
    #[cold]
    fn aside(&mut self) -> Markup<'x> {
        let rest = self.input.get(self.at..).unwrap_or_default();
        let through = |rest: &str, begin: usize, end: &str| {
            let inside = rest.get(begin..)?;
            memmem::find(inside.as_bytes(), end.as_bytes()).map(|length| begin + length + end.len())
        };
        let length = if rest.starts_with("<!--") {
            through(rest, 4, "-->")
        } else if rest.starts_with("<?") {
            through(rest, 2, "?>")
        } else if rest.starts_with("<![CDATA[") {
            const AROUND: (usize, usize) = ("<![CDATA[".len(), "]]>".len());
            let length = through(rest, AROUND.0, "]]>");
            if let Some(text) = length.and_then(|length| rest.get(AROUND.0..length - AROUND.1)) {
                self.at += length.unwrap_or(0);
                return Markup::Text(text);
            }
            length
        } else if rest.get(..9).is_some_and(|start| start.eq_ignore_ascii_case("<!DOCTYPE")) {
            doctype_length(rest.as_bytes())
        } else {
            self.damaged("a \"<!\" begins nothing that XML knows");
            return Markup::Nothing;
        };
        if let Some(length) = length {
            self.at += length;
            Markup::Other
        } else {
            self.end_walk(self.at, "the file ends in the middle".to_owned(), false);
            Markup::Nothing
        }
    }

    /// Takes a reference such as `&amp;`; one that is unknown or no reference at all stays as it is written.
    fn reference(&mut self, whole: &mut Cow<'x, str>) {
        let rest = self.input.get(self.at..).unwrap_or_default();
        let Some((name, after)) = entities::split(rest) else {
            self.at += 1;
            append(whole, "&");
            return;
        };
        let taken = rest.len() - after.len();
        self.at += taken;
        if let Some(character) = entities::resolve(name) {
            whole.to_mut().push(character);
        } else {
            self.unknown_entity.get_or_insert_with(|| name.to_owned());
            append(whole, rest.get(..taken).unwrap_or_default());
        }
    }

    #[cold]
    fn ended(&mut self) {
        if self.at < self.input.len() || !self.open.is_empty() {
            self.end_walk(self.input.len(), "the file ends in the middle".to_owned(), false);
        }
    }

    #[cold]
    fn damaged(&mut self, what: &str) {
        self.end_walk(self.at, format!("the XML is damaged ({what})"), false);
    }

    #[cold]
    fn end_walk(&mut self, offset: usize, what: String, limit: bool) {
        if self.fault.is_none() {
            self.fault = Some(Fault { offset, what, limit });
        }
        // From here on there is nothing more to read.
        self.at = self.input.len();
        self.open.clear();
        self.at_empty = false;
    }
}

fn append<'x>(whole: &mut Cow<'x, str>, more: &'x str) {
    if whole.is_empty() {
        *whole = Cow::Borrowed(more);
    } else if !more.is_empty() {
        whole.to_mut().push_str(more);
    }
}

/// Length of a DOCTYPE with its internal subset, quoted values and comments; `None` when it does not end.
fn doctype_length(text: &[u8]) -> Option<usize> {
    let (mut at, mut brackets) = (0, 0usize);
    loop {
        let rest = text.get(at..)?;
        match *rest.first()? {
            b'>' if brackets == 0 => return Some(at + 1),
            b'[' => brackets += 1,
            b']' => brackets = brackets.saturating_sub(1),
            quote @ (b'"' | b'\'') => at += 1 + memchr(quote, rest.get(1..)?)?,
            b'<' if rest.starts_with(b"<!--") => at += 4 + memmem::find(rest.get(4..)?, b"-->")?,
            b'<' if rest.starts_with(b"<?") => at += 2 + memmem::find(rest.get(2..)?, b"?>")?,
            _ => {}
        }
        at += 1;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use quick_xml::Reader;
    use quick_xml::events::Event;

    use super::*;

    #[test]
    fn walks_elements_and_text() {
        let mut cursor = Cursor::new("<a x='1>'><b/>t<c>u<!-- no -->v<d>w</d><![CDATA[<x>]]></c\n></a>", 8);
        let a = cursor.child().unwrap();
        assert_eq!((a.name(), a.attribute("x"), a.attribute("y")), ("a", Some("1>"), None));
        assert_eq!(cursor.child().unwrap().name(), "b");
        cursor.skip();
        assert_eq!(cursor.child().unwrap().name(), "c");
        assert_eq!(cursor.text(), "uv<x>");
        assert!(cursor.child().is_none());
        assert!(cursor.child().is_none());
        assert_eq!(cursor.fault(), None);
    }

    #[test]
    fn resolves_only_predefined_entities_and_numbers() {
        let text = "<!DOCTYPE a [<!-- it's --><!ENTITY x 'y>'><!ENTITY z SYSTEM \"file:///etc/hostname\">]><a>&amp;&#65;&#x42;&x;&z;&nothing &</a>";
        let mut cursor = Cursor::new(text, 8);
        cursor.child().unwrap();
        assert_eq!(cursor.text(), "&AB&x;&z;&nothing &");
        assert_eq!(cursor.fault(), None);
        assert_eq!(cursor.unknown_entity.as_deref(), Some("x"));
    }

    #[test]
    fn a_cut_file_ends_every_element() {
        let mut cursor = Cursor::new("<a>\n<b><c>1", 8);
        for _ in 0..3 {
            assert!(cursor.child().is_some());
        }
        assert_eq!(cursor.text(), "1");
        assert!(cursor.child().is_none());
        let fault = cursor.fault().unwrap();
        assert_eq!((fault.what.as_str(), cursor.line(fault.offset)), ("the file ends in the middle", 2));
    }

    #[test]
    fn damage_is_told() {
        for (text, what) in [
            ("<a><b></a>", "the end of <b> is missing"),
            ("<a><b <c></a>", "a tag is not closed"),
            ("<a><b x='<c></a>", "a tag or a quoted value is not closed"),
            ("<a>< b></a>", "a tag has no name"),
            ("<a><!b></a>", "a \"<!\" begins nothing that XML knows"),
        ] {
            let mut cursor = Cursor::new(text, 8);
            cursor.child().unwrap();
            cursor.skip();
            assert!(cursor.fault().is_some_and(|fault| fault.what.contains(what)), "{text}: {:?}", cursor.fault());
        }
    }

    #[test]
    fn depth_is_bounded() {
        let text = "<a>".repeat(100);
        let mut cursor = Cursor::new(&text, 10);
        cursor.child().unwrap();
        cursor.skip();
        assert!(cursor.fault().unwrap().limit);
    }

    /// Names and texts of a document as the walk meets them, `/` at each end; the fault, if any, is not told.
    fn walked(text: &str) -> (Vec<String>, bool) {
        let mut cursor = Cursor::new(text, usize::MAX);
        let (mut seen, mut depth) = (Vec::new(), 0);
        loop {
            match cursor.child() {
                Some(tag) => {
                    depth += 1;
                    seen.push(tag.name().to_owned());
                }
                None if depth == 0 || cursor.fault().is_some() => return (seen, cursor.fault().is_none()),
                None => {
                    depth -= 1;
                    seen.push("/".to_owned());
                }
            }
        }
    }

    /// The same from quick-xml, an independent tokeniser.
    fn tokenised(text: &str) -> (Vec<String>, bool) {
        let mut reader = Reader::from_str(text);
        reader.config_mut().allow_dangling_amp = true;
        let (mut seen, mut depth) = (Vec::new(), 0);
        loop {
            match reader.read_event() {
                Ok(Event::Start(tag)) => {
                    depth += 1;
                    seen.push(tag.name().0.to_owned());
                }
                Ok(Event::Empty(tag)) => seen.extend([tag.name().0.to_owned(), "/".to_owned()]),
                Ok(Event::End(_)) => {
                    depth -= 1;
                    seen.push("/".to_owned());
                }
                Ok(Event::Eof) => return (seen, depth == 0),
                Ok(_) => {}
                Err(_) => return (seen, false),
            }
        }
    }

    proptest! {
        #[test]
        fn agrees_with_an_independent_tokeniser(pieces in prop::collection::vec(prop::sample::select(vec![
            "<a>", "</a>", "<b x='1'>", "</b>", "<c/>", "<c y=\"a>b\" />", "text", " ", "\n", "&amp;", "&", "<!-- x -->", "<![CDATA[ <a> ]]>", "<?pi?>",
        ]), 0..24)) {
            let text = format!("<r>{}</r>", pieces.concat());
            let ((ours, good), (theirs, well)) = (walked(&text), tokenised(&text));
            prop_assert_eq!(good, well, "{}", text);
            if good {
                prop_assert_eq!(ours, theirs, "{}", text);
            }
        }

        #[test]
        fn never_panics(text in "[<>/!?a'\"&;=\\[\\] -]{0,60}") {
            let _ = walked(&text);
            let mut cursor = Cursor::new(&text, 8);
            while cursor.child().is_some() {
                let _ = cursor.text();
            }
        }
    }
}
