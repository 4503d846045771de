//! Walks an XML text element by element, without a tree and without copying.
//!
//! The grammar is followed by nested loops: after [`Cursor::child`] has answered an element, the caller must take all
//! of it by exactly one of a `while let Some(tag) = cursor.child()` loop, [`Cursor::text`] or [`Cursor::skip`]. Depth of
//! nesting is bounded, and only known elements are descended into, so no input can exhaust the stack. The first fault in the XML
//! ends the walk: every element then seems finished, and [`Cursor::fault`] says why.
//!
//! Entities declared in a DOCTYPE are never expanded and nothing external is fetched: only the five predefined entities
//! and character numbers are understood.

use std::borrow::Cow;

use quick_xml::Reader;
use quick_xml::events::attributes::Attributes;
use quick_xml::events::{BytesStart, Event};

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

/// The start of an element.
#[derive(Clone, Copy)]
pub(super) struct Tag<'x> {
    text: &'x str,
    name_length: usize,
}

impl<'x> Tag<'x> {
    /// The element's name.
    #[inline]
    pub fn name(self) -> &'x str {
        self.text.get(..self.name_length).unwrap_or_default()
    }

    /// All attributes, values as written in the file. Damaged ones are passed over.
    #[inline]
    pub fn attributes(self) -> impl Iterator<Item = (&'x str, &'x str)> {
        let mut attributes = Attributes::new(self.text, self.name_length);
        attributes.with_checks(false);
        attributes.flatten().filter_map(|attribute| match attribute.value {
            Cow::Borrowed(value) => Some((attribute.key.0, value)),
            Cow::Owned(_) => None,
        })
    }

    /// The value of one attribute as written in the file (entities not resolved).
    #[inline]
    pub fn attribute(self, name: &str) -> Option<&'x str> {
        if self.text.len() == self.name_length {
            return None;
        }
        self.attributes().find(|&(key, _)| key == name).map(|(_, value)| value)
    }

    /// Whether attribute `name` is `value`.
    #[inline]
    pub fn says(self, name: &str, value: &str) -> bool {
        self.attribute(name).is_some_and(|found| found.trim() == value)
    }
}

/// The text of an attribute with entities resolved; unknown ones stay as they are.
pub(super) fn plain(value: &str) -> Cow<'_, str> {
    if value.contains('&') { quick_xml::escape::unescape(value).unwrap_or(Cow::Borrowed(value)) } else { Cow::Borrowed(value) }
}

/// See the module.
pub(super) struct Cursor<'x> {
    reader: Reader<&'x [u8]>,
    input: &'x str,
    /// The element answered last has no content (`<chord/>`).
    at_empty: bool,
    depth: usize,
    deepest: usize,
    fault: Option<Fault>,
    /// The first entity met that only a DOCTYPE could explain.
    pub unknown_entity: Option<String>,
}

impl<'x> Cursor<'x> {
    /// Starts at the beginning of `input`, with at most `deepest` elements open at a time.
    pub fn new(input: &'x str, deepest: usize) -> Self {
        let mut reader = Reader::from_str(input);
        let config = reader.config_mut();
        config.allow_dangling_amp = true;
        Self { reader, input, at_empty: false, depth: 0, deepest, fault: None, unknown_entity: None }
    }

    /// The next element inside the one being read; `None` at its end, and after a fault.
    #[inline]
    pub fn child(&mut self) -> Option<Tag<'x>> {
        if std::mem::take(&mut self.at_empty) {
            return None;
        }
        loop {
            match self.reader.read_event() {
                Ok(Event::Start(start)) => {
                    let tag = self.tag(&start, 1)?;
                    return self.enter().then_some(tag);
                }
                Ok(Event::Empty(start)) => {
                    self.at_empty = true;
                    return self.tag(&start, 2);
                }
                Ok(Event::End(_)) => {
                    self.depth = self.depth.saturating_sub(1);
                    return None;
                }
                Ok(Event::Eof) => {
                    self.ended();
                    return None;
                }
                Ok(_) => {}
                Err(error) => {
                    self.damaged(&error);
                    return None;
                }
            }
        }
    }

    /// All text directly inside the element being read, which ends with this; elements inside are passed over.
    #[inline]
    pub fn text(&mut self) -> Cow<'x, str> {
        let mut whole = Cow::Borrowed("");
        if std::mem::take(&mut self.at_empty) {
            return whole;
        }
        loop {
            match self.reader.read_event() {
                Ok(Event::Text(text)) => append(&mut whole, text.into_inner()),
                Ok(Event::End(_)) => {
                    self.depth = self.depth.saturating_sub(1);
                    return whole;
                }
                Ok(Event::CData(text)) => append(&mut whole, text.into_inner()),
                Ok(Event::GeneralRef(reference)) => {
                    let resolved = self.resolve(&reference.into_inner());
                    append(&mut whole, resolved);
                }
                Ok(Event::Start(_)) => {
                    if !self.enter() {
                        return whole;
                    }
                    self.skip();
                }
                Ok(Event::Eof) => {
                    self.ended();
                    return whole;
                }
                Ok(_) => {}
                Err(error) => {
                    self.damaged(&error);
                    return whole;
                }
            }
        }
    }

    /// Passes over the rest of the element being read.
    #[inline]
    pub fn skip(&mut self) {
        if std::mem::take(&mut self.at_empty) {
            return;
        }
        let outside = self.depth.saturating_sub(1);
        while self.depth > outside {
            match self.reader.read_event() {
                Ok(Event::Start(_)) => {
                    if !self.enter() {
                        return;
                    }
                }
                Ok(Event::End(_)) => self.depth = self.depth.saturating_sub(1),
                Ok(Event::Eof) => return self.ended(),
                Ok(_) => {}
                Err(error) => return self.damaged(&error),
            }
        }
    }

    /// Why the walk ended early, if it did.
    pub const fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }

    /// Ends the walk because `what` goes beyond a limit.
    pub fn stop(&mut self, what: String) {
        self.end_walk(what, true);
    }

    /// The line of the text, from 1, in which byte `offset` lies.
    pub fn line(&self, offset: usize) -> u64 {
        let before = self.input.as_bytes().get(..offset).unwrap_or(self.input.as_bytes());
        1 + before.iter().filter(|&&byte| byte == b'\n').count() as u64
    }

    /// The tag just read; `closing` is the number of bytes that follow its content (`>` or `/>`).
    #[inline]
    fn tag(&self, start: &BytesStart<'x>, closing: usize) -> Option<Tag<'x>> {
        let after = usize::try_from(self.reader.buffer_position()).ok()?;
        let end = after.checked_sub(closing)?;
        let text = self.input.get(end.checked_sub(start.len())?..end)?;
        Some(Tag { text, name_length: start.name().0.len() })
    }

    /// Counts one more open element; `false` (and a fault) when that is too many.
    #[inline]
    fn enter(&mut self) -> bool {
        self.depth += 1;
        if self.depth > self.deepest {
            self.stop(format!("elements are nested more than {} deep", self.deepest));
            return false;
        }
        true
    }

    fn resolve(&mut self, name: &str) -> Cow<'static, str> {
        let known = match name {
            "lt" => Some('<'),
            "gt" => Some('>'),
            "amp" => Some('&'),
            "apos" => Some('\''),
            "quot" => Some('"'),
            _ => None,
        };
        let number = || {
            let digits = name.strip_prefix('#')?;
            let code = match digits.strip_prefix(['x', 'X']) {
                Some(hex) => u32::from_str_radix(hex, 16).ok()?,
                None => digits.parse().ok()?,
            };
            char::from_u32(code).filter(|&c| c != '\0')
        };
        if let Some(c) = known.or_else(number) {
            return Cow::Owned(c.to_string());
        }
        self.unknown_entity.get_or_insert_with(|| name.chars().take(40).collect());
        Cow::Owned(format!("&{name};"))
    }

    #[cold]
    fn ended(&mut self) {
        if self.depth > 0 {
            self.end_walk("the file ends in the middle".to_owned(), false);
        }
    }

    #[cold]
    fn damaged(&mut self, error: &quick_xml::Error) {
        let offset = usize::try_from(self.reader.error_position()).unwrap_or(usize::MAX);
        self.end_walk(format!("the XML is damaged ({error})"), false);
        if let Some(fault) = &mut self.fault {
            fault.offset = fault.offset.min(offset);
        }
    }

    #[cold]
    fn end_walk(&mut self, what: String, limit: bool) {
        if self.fault.is_none() {
            let offset = usize::try_from(self.reader.buffer_position()).unwrap_or(usize::MAX);
            self.fault = Some(Fault { offset, what, limit });
        }
        // From here on there is nothing more to read.
        self.reader = Reader::from_str("");
        self.depth = 0;
        self.at_empty = false;
    }
}

fn append<'x>(whole: &mut Cow<'x, str>, more: Cow<'x, str>) {
    if whole.is_empty() {
        *whole = more;
    } else {
        whole.to_mut().push_str(&more);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn walks_elements_and_text() {
        let mut cursor = Cursor::new("<a x='1'><b/>t<c>u<!-- no -->v<d>w</d></c></a>", 8);
        let a = cursor.child().unwrap();
        assert_eq!((a.name(), a.attribute("x"), a.attribute("y")), ("a", Some("1"), None));
        assert_eq!(cursor.child().unwrap().name(), "b");
        cursor.skip();
        assert_eq!(cursor.child().unwrap().name(), "c");
        assert_eq!(cursor.text(), "uv");
        assert!(cursor.child().is_none());
        assert!(cursor.child().is_none());
        assert_eq!(cursor.fault(), None);
    }

    #[test]
    fn resolves_only_predefined_entities_and_numbers() {
        let text =
            "<!DOCTYPE a [<!ENTITY x 'y'><!ENTITY z SYSTEM 'file:///etc/hostname'>]><a>&amp;&#65;&#x42;&x;&z;&nothing &</a>";
        let mut cursor = Cursor::new(text, 8);
        cursor.child().unwrap();
        assert_eq!(cursor.text(), "&AB&x;&z;&nothing &");
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
    fn depth_is_bounded() {
        let text = "<a>".repeat(100);
        let mut cursor = Cursor::new(&text, 10);
        cursor.child().unwrap();
        cursor.skip();
        assert!(cursor.fault().unwrap().limit);
    }
}
