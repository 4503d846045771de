//! The start of an element: its name and attributes, borrowed from the text.

/// See the module.
#[derive(Clone, Copy)]
pub(super) struct Tag<'x> {
    /// What stands between `<` and `>` or `/>`.
    text: &'x str,
    name_length: usize,
}

impl<'x> Tag<'x> {
    /// `text` is what stands between the angle brackets, beginning with a name of `name_length` bytes.
    pub const fn new(text: &'x str, name_length: usize) -> Self {
        Self { text, name_length }
    }

    /// The element's name.
    #[inline]
    pub fn name(self) -> &'x str {
        self.text.get(..self.name_length).unwrap_or_default()
    }

    /// All attributes, values as written in the file (entities not resolved). What cannot be read is passed over.
    #[inline]
    pub fn attributes(self) -> Attributes<'x> {
        Attributes { rest: self.text.get(self.name_length..).unwrap_or_default() }
    }

    /// The value of one attribute as written in the file (entities not resolved).
    #[inline]
    pub fn attribute(self, name: &str) -> Option<&'x str> {
        self.attributes().find(|&(key, _)| key == name).map(|(_, value)| value)
    }

    /// Whether attribute `name` is `value`.
    #[inline]
    pub fn says(self, name: &str, value: &str) -> bool {
        self.attribute(name).is_some_and(|found| found.trim() == value)
    }
}

/// The attributes of a tag in order.
pub(super) struct Attributes<'x> {
    rest: &'x str,
}

impl<'x> Iterator for Attributes<'x> {
    type Item = (&'x str, &'x str);

    #[inline]
    fn next(&mut self) -> Option<Self::Item> {
        let rest = self.rest.trim_ascii_start();
        let equals = rest.bytes().position(|byte| byte == b'=')?;
        let key = rest.get(..equals)?.trim_ascii_end();
        let after = rest.get(equals + 1..)?.trim_ascii_start();
        let quote = *after.as_bytes().first().filter(|byte| matches!(byte, b'"' | b'\''))?;
        let inside = after.get(1..)?;
        let end = inside.bytes().position(|byte| byte == quote)?;
        self.rest = inside.get(end + 1..)?;
        Some((key, inside.get(..end)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_attributes_in_either_quotes() {
        let tag = Tag::new("note default-x = \"1>2\"\n print-object='no' empty=\"\"", 4);
        assert_eq!(tag.name(), "note");
        let all: Vec<_> = tag.attributes().collect();
        assert_eq!(all, [("default-x", "1>2"), ("print-object", "no"), ("empty", "")]);
        assert!(tag.says("print-object", "no") && tag.attribute("other").is_none());
    }

    #[test]
    fn stops_at_damage() {
        for text in ["a b", "a b=", "a b=c", "a b='c", "a =", "a"] {
            let count = Tag::new(text, 1).attributes().count();
            assert_eq!(count, 0, "{text}");
        }
    }
}
