//! Printed text: one line, clean spaces, accidentals as characters.

/// The words of `text` with single spaces between them: line breaks, tabs and doubled spaces go.
pub(super) fn clean(text: &str) -> String {
    let mut result = String::with_capacity(text.len());
    for word in text.split(|c: char| c.is_whitespace() || c == '\u{feff}').filter(|word| !word.is_empty()) {
        if !result.is_empty() {
            result.push(' ');
        }
        result.push_str(word);
    }
    result
}

/// The character for a MusicXML accidental name, for names such as "Clarinet in B" + flat.
pub(super) fn accidental(name: &str) -> &'static str {
    match name.trim() {
        "sharp" => "♯",
        "flat" => "♭",
        "natural" => "♮",
        "double-sharp" | "sharp-sharp" => "𝄪",
        "flat-flat" | "double-flat" => "𝄫",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn cleans_line_breaks() {
        assert_eq!(super::clean("  Corni\n in\tF  "), "Corni in F");
        assert_eq!(super::clean("\n"), "");
    }
}
