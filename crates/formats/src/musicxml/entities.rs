//! The entities every XML file has, and characters by number. No other entity is ever expanded.

use std::borrow::Cow;

/// The character an entity stands for; `None` for those only a DOCTYPE could explain, and for numbers that are no character.
pub(super) fn resolve(name: &str) -> Option<char> {
    match name {
        "lt" => Some('<'),
        "gt" => Some('>'),
        "amp" => Some('&'),
        "apos" => Some('\''),
        "quot" => Some('"'),
        _ => {
            let digits = name.strip_prefix('#')?;
            let code = match digits.strip_prefix(['x', 'X']) {
                Some(hex) => u32::from_str_radix(hex, 16).ok()?,
                None => digits.parse().ok()?,
            };
            char::from_u32(code).filter(|&c| c != '\0')
        }
    }
}

/// The entity at the start of `text`, which begins with `&`: its name and what follows; `None` for a lone ampersand.
pub(super) fn split(text: &str) -> Option<(&str, &str)> {
    const LONGEST: usize = 64;
    let inside = text.get(1..)?;
    let end = inside
        .bytes()
        .take(LONGEST)
        .position(|byte| !(byte.is_ascii_alphanumeric() || matches!(byte, b'#' | b'_' | b'-' | b'.')))?;
    let (name, after) = inside.split_at_checked(end)?;
    Some((name, after.strip_prefix(';').filter(|_| !name.is_empty())?))
}

/// The text of an attribute with entities resolved; unknown ones stay as they are.
pub(super) fn plain(value: &str) -> Cow<'_, str> {
    if !value.contains('&') {
        return Cow::Borrowed(value);
    }
    let mut result = String::with_capacity(value.len());
    let mut rest = value;
    while let Some(place) = rest.find('&') {
        let (before, from) = rest.split_at(place);
        result.push_str(before);
        match split(from).and_then(|(name, after)| Some((resolve(name)?, after))) {
            Some((character, after)) => {
                result.push(character);
                rest = after;
            }
            None => {
                result.push('&');
                rest = from.get(1..).unwrap_or_default();
            }
        }
    }
    result.push_str(rest);
    Cow::Owned(result)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn resolves_predefined_entities_and_numbers_only() {
        assert_eq!(plain("a &amp; b &#65;&#x42; &lt;&gt;&quot;&apos;"), "a & b AB <>\"'");
        assert_eq!(plain("&unknown; & &; &#0; &#xd800; &amp"), "&unknown; & &; &#0; &#xd800; &amp");
    }
}
