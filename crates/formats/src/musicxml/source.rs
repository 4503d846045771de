//! From the bytes of a file to text: UTF-8, UTF-16 in either order, Latin-1.

use std::borrow::Cow;

/// The text of a file, and what had to be guessed or mended to get it.
pub(super) struct Source<'b> {
    /// The text without its byte order mark.
    pub text: Cow<'b, str>,
    /// What is to be reported, if anything.
    pub mended: Option<&'static str>,
}

/// Decodes by byte order mark, else by the XML declaration, else as UTF-8.
pub(super) fn decode(bytes: &[u8]) -> Source<'_> {
    let exact = |text| Source { text, mended: None };
    if let Some(rest) = bytes.strip_prefix(b"\xef\xbb\xbf") {
        return utf8(rest);
    }
    if let Some(big_endian) = utf16_order(bytes) {
        let text = utf16(bytes, big_endian);
        let damaged = text.contains('\u{fffd}');
        return Source { text: Cow::Owned(text), mended: damaged.then_some("the UTF-16 text has broken characters") };
    }
    match declared_encoding(bytes) {
        Some(name) if is_latin1(name) => exact(Cow::Owned(latin1(bytes))),
        _ => utf8(bytes),
    }
}

/// Whether the bytes, once decoded, begin like an XML document.
pub(super) fn begins_like_xml(bytes: &[u8]) -> bool {
    if utf16_order(bytes).is_some() {
        return true;
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
    match bytes {
        [b'<', b'?' | b'!', ..] => true,
        [b'<', letter, ..] => letter.is_ascii_alphabetic(),
        _ => false,
    }
}

/// Whether this is UTF-16, and if so whether the high byte comes first.
fn utf16_order(bytes: &[u8]) -> Option<bool> {
    match bytes {
        [0xff, 0xfe, 0, 0, ..] => None,
        [0xff, 0xfe, ..] | [b'<', 0, b'?' | b'!', 0, ..] => Some(false),
        [0xfe, 0xff, ..] | [0, b'<', 0, b'?' | b'!', ..] => Some(true),
        _ => None,
    }
}

fn utf16(bytes: &[u8], big_endian: bool) -> String {
    let units =
        bytes.as_chunks::<2>().0.iter().map(|&pair| if big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) });
    let characters = char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER));
    let mut text = String::with_capacity(bytes.len() / 2);
    text.extend(characters.skip_while(|&c| c == '\u{feff}'));
    text
}

/// The encoding named in `<?xml ... encoding="..."?>`.
fn declared_encoding(bytes: &[u8]) -> Option<&str> {
    let head = bytes.get(..bytes.len().min(200))?;
    let end = head.windows(2).position(|pair| pair == b"?>")?;
    let declaration = str::from_utf8(head.get(..end)?).ok()?;
    let (_, after) = declaration.split_once("encoding")?;
    let after = after.trim_start().strip_prefix('=')?.trim_start();
    let quote = after.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    after.get(1..)?.split(quote).next()
}

fn is_latin1(name: &str) -> bool {
    ["iso-8859-1", "iso-8859-15", "latin-1", "latin1", "windows-1252", "cp1252"]
        .iter()
        .any(|known| name.trim().eq_ignore_ascii_case(known))
}

fn utf8(bytes: &[u8]) -> Source<'_> {
    match str::from_utf8(bytes) {
        Ok(text) => Source { text: Cow::Borrowed(text), mended: None },
        // A file whose every non-ASCII byte is wrong was saved in another encoding; one with some right is damaged.
        Err(_) if has_no_wide_character(bytes) => {
            Source { text: Cow::Owned(latin1(bytes)), mended: Some("the text is not UTF-8 and was read as Latin-1") }
        }
        Err(_) => Source {
            text: Cow::Owned(String::from_utf8_lossy(bytes).into_owned()),
            mended: Some("the text has broken characters, shown as \u{fffd}"),
        },
    }
}

fn has_no_wide_character(bytes: &[u8]) -> bool {
    bytes.utf8_chunks().all(|chunk| chunk.valid().is_ascii())
}

/// Latin-1, with the printable characters that Windows-1252 puts where Latin-1 has control codes.
fn latin1(bytes: &[u8]) -> String {
    const HIGH: [char; 32] = [
        '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}', '\u{90}', '‘', '’', '“',
        '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
    ];
    bytes
        .iter()
        .map(|&byte| match byte {
            0x80..=0x9f => HIGH.get(usize::from(byte - 0x80)).copied().unwrap_or(char::REPLACEMENT_CHARACTER),
            _ => char::from(byte),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utf16_in_either_order_with_and_without_mark() {
        for mark in [true, false] {
            let text = "<?xml version=\"1.0\" encoding=\"UTF-16\"?><a>Flöte 𝄞</a>";
            let units: Vec<u16> = mark.then_some(0xfeff).into_iter().chain(text.encode_utf16()).collect();
            let little: Vec<u8> = units.iter().flat_map(|unit| unit.to_le_bytes()).collect();
            let big: Vec<u8> = units.iter().flat_map(|unit| unit.to_be_bytes()).collect();
            for bytes in [little, big] {
                assert!(begins_like_xml(&bytes));
                assert_eq!(decode(&bytes).text, text);
            }
        }
    }

    #[test]
    fn latin1_by_declaration_and_by_guess() {
        let declared = b"<?xml version='1.0' encoding='ISO-8859-1'?><a>Fl\xf6te</a>";
        assert!(decode(declared).text.contains("Flöte"));
        assert!(decode(declared).mended.is_none());
        let wrong = decode(b"<a>Fl\xf6te</a>");
        assert!(wrong.text.contains("Flöte") && wrong.mended.is_some());
    }

    #[test]
    fn damaged_utf8_keeps_its_good_characters() {
        let source = decode(b"<a>\xc3\xb6 \xff</a>");
        assert_eq!(source.text, "<a>ö \u{fffd}</a>");
        assert!(source.mended.is_some());
    }
}
