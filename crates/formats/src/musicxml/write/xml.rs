//! Indented XML text, element by element.

use std::borrow::Cow;
use std::fmt::Display;

/// Builds a document; elements are closed in the order they were opened, which the borrow of the closure ensures.
#[derive(Debug, Default)]
pub(super) struct Xml {
    text: String,
    depth: usize,
}

/// Attributes of an element.
pub(super) type Attributes<'a> = &'a [(&'a str, &'a str)];

impl Xml {
    /// Starts a document with the given lines before the root element.
    pub(super) fn new(prolog: &str) -> Self {
        Self { text: prolog.to_owned(), depth: 0 }
    }

    /// The finished document.
    pub(super) fn finish(self) -> String {
        self.text
    }

    fn indent(&mut self) {
        for _ in 0..self.depth {
            self.text.push(' ');
        }
    }

    fn open_tag(&mut self, name: &str, attributes: Attributes<'_>) {
        self.indent();
        self.text.push('<');
        self.text.push_str(name);
        for (key, value) in attributes {
            self.text.push(' ');
            self.text.push_str(key);
            self.text.push_str("=\"");
            push_escaped(&mut self.text, value);
            self.text.push('"');
        }
    }

    /// An element with children; one that stays empty is written as an empty element.
    pub(super) fn element(&mut self, name: &str, attributes: Attributes<'_>, children: impl FnOnce(&mut Self)) {
        self.open_tag(name, attributes);
        let before = self.text.len();
        self.text.push_str(">\n");
        let inside = self.text.len();
        self.depth += 1;
        children(self);
        self.depth -= 1;
        if self.text.len() == inside {
            self.text.truncate(before);
            self.text.push_str("/>\n");
            return;
        }
        self.indent();
        self.text.push_str("</");
        self.text.push_str(name);
        self.text.push_str(">\n");
    }

    /// An empty element.
    pub(super) fn empty(&mut self, name: &str, attributes: Attributes<'_>) {
        self.open_tag(name, attributes);
        self.text.push_str("/>\n");
    }

    /// An element that holds text.
    pub(super) fn text(&mut self, name: &str, value: impl Display) {
        self.text_with(name, &[], value);
    }

    /// An element with attributes that holds text.
    pub(super) fn text_with(&mut self, name: &str, attributes: Attributes<'_>, value: impl Display) {
        self.open_tag(name, attributes);
        self.text.push('>');
        push_escaped(&mut self.text, &value.to_string());
        self.text.push_str("</");
        self.text.push_str(name);
        self.text.push_str(">\n");
    }

    /// A text element, left out when the text is empty.
    pub(super) fn text_if(&mut self, name: &str, value: &str) {
        if !value.is_empty() {
            self.text(name, value);
        }
    }
}

/// Appends text with markup escaped and characters XML 1.0 cannot hold left out.
fn push_escaped(out: &mut String, value: &str) {
    let legal = |c: char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..);
    let value: Cow<'_, str> = if value.chars().all(legal) { value.into() } else { value.chars().filter(|&c| legal(c)).collect() };
    out.push_str(&quick_xml::escape::escape(value.as_ref()));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_and_nests() {
        let mut xml = Xml::new("");
        xml.element("a", &[("b", "x\"<")], |xml| {
            xml.text("c", "Flutes & \u{1}oboes");
            xml.element("d", &[], |_| {});
        });
        assert_eq!(xml.finish(), "<a b=\"x&quot;&lt;\">\n <c>Flutes &amp; oboes</c>\n <d/>\n</a>\n");
    }
}
