//! Words in a Humdrum file: decoding, entities, clean spaces.
//!
//! Humdrum asks for ASCII; real files are UTF-8 or, from earlier years, ISO 8859-1, and their reference records often
//! spell accents as HTML entities.

/// The bytes as text: UTF-8 where they are that, otherwise ISO 8859-1. Entities are resolved, spaces made single.
pub(super) fn text(bytes: &[u8]) -> String {
    let decoded = match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
    };
    clean(&if decoded.contains('&') { entities(&decoded) } else { decoded })
}

/// Single spaces between words, none around.
fn clean(text: &str) -> String {
    let mut result = String::with_capacity(text.len());
    for word in text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|word| !word.is_empty()) {
        if !result.is_empty() {
            result.push(' ');
        }
        result.push_str(word);
    }
    result
}

/// Longest name between `&` and `;` looked up.
const LONGEST_ENTITY: usize = 10;

fn entities(text: &str) -> String {
    let mut result = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find('&') {
        let (before, tail) = rest.split_at(start);
        result.push_str(before);
        let end = tail.char_indices().take(LONGEST_ENTITY + 2).find(|(_, c)| *c == ';').map(|(i, _)| i);
        let character = end.and_then(|end| tail.get(1..end)).and_then(entity);
        match (character, end) {
            (Some(character), Some(end)) => {
                result.push(character);
                rest = tail.get(end + 1..).unwrap_or("");
            }
            _ => {
                result.push('&');
                rest = tail.get(1..).unwrap_or("");
            }
        }
    }
    result.push_str(rest);
    result
}

/// HTML 4 names of the letters that occur in European names, and the signs every list begins with.
fn entity(name: &str) -> Option<char> {
    if let Some(number) = name.strip_prefix('#') {
        let code = match number.strip_prefix(['x', 'X']) {
            Some(hex) => u32::from_str_radix(hex, 16).ok()?,
            None => number.parse().ok()?,
        };
        return char::from_u32(code).filter(|c| !c.is_control());
    }
    Some(match name {
        "amp" => '&',
        "lt" => '<',
        "gt" => '>',
        "quot" => '"',
        "apos" => '\'',
        "colon" => ':',
        "nbsp" => ' ',
        "copy" => '©',
        "sharp" => '♯',
        "flat" => '♭',
        "natural" => '♮',
        "szlig" => 'ß',
        "aelig" => 'æ',
        "AElig" => 'Æ',
        "oelig" => 'œ',
        "oslash" => 'ø',
        "Oslash" => 'Ø',
        "aring" => 'å',
        "Aring" => 'Å',
        "ccedil" => 'ç',
        "Ccedil" => 'Ç',
        "ntilde" => 'ñ',
        "Ntilde" => 'Ñ',
        "scaron" => 'š',
        "Scaron" => 'Š',
        _ => return accented(name),
    })
}

/// A letter followed by the name of its accent: `uuml`, `Eacute`.
fn accented(name: &str) -> Option<char> {
    const LETTERS: &str = "aeiouyAEIOUY";
    let letter = name.chars().next()?;
    let row = match name.get(1..)? {
        "uml" => "äëïöüÿÄËÏÖÜŸ",
        "acute" => "áéíóúýÁÉÍÓÚÝ",
        "grave" => "àèìòùỳÀÈÌÒÙỲ",
        "circ" => "âêîôûŷÂÊÎÔÛŶ",
        "tilde" => "ãẽĩõũỹÃẼĨÕŨỸ",
        _ => return None,
    };
    row.chars().nth(LETTERS.chars().position(|c| c == letter)?)
}

#[cfg(test)]
mod tests {
    use super::text;

    #[test]
    fn reads_the_encodings_of_three_decades() {
        assert_eq!(text("Für".as_bytes()), "Für");
        assert_eq!(text(b"F\xfcr"), "Für");
        assert_eq!(text(b"F&uuml;r &Eacute;lise &amp; co"), "Für Élise & co");
    }

    #[test]
    fn leaves_what_is_no_entity() {
        assert_eq!(text(b"A & B; C &nosuch; &"), "A & B; C &nosuch; &");
        assert_eq!(text("&ümlaut;".as_bytes()), "&ümlaut;");
    }

    #[test]
    fn makes_spaces_single() {
        assert_eq!(text(b"  Violin \t I\r"), "Violin I");
    }
}
