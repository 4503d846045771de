//! Text in MIDI files: the standard says ASCII, files hold UTF-8, Western European code pages or Shift-JIS.

use std::borrow::Cow;

use encoding_rs::{SHIFT_JIS, WINDOWS_1252};

/// Decodes and cleans a text: no control characters, no doubled or outer spaces.
pub(super) fn clean(bytes: &[u8]) -> String {
    let text = decode(bytes);
    let mut clean = String::with_capacity(text.len());
    for word in text.split(|c: char| c.is_whitespace() || c.is_control() || c == '\u{feff}').filter(|w| !w.is_empty()) {
        if !clean.is_empty() {
            clean.push(' ');
        }
        clean.push_str(word);
    }
    clean
}

/// Decodes without cleaning: UTF-8 where it is valid, Shift-JIS where it reads as Japanese, otherwise Western European.
pub(super) fn decode(bytes: &[u8]) -> Cow<'_, str> {
    if let Ok(text) = str::from_utf8(bytes) {
        return Cow::Borrowed(text);
    }
    if let Some(text) = SHIFT_JIS.decode_without_bom_handling_and_without_replacement(bytes)
        && reads_as_japanese(&text)
    {
        return text;
    }
    WINDOWS_1252.decode_without_bom_handling(bytes).0
}

/// "Flöte" in a Western code page is also valid Shift-JIS, with one stray ideograph; Japanese has few Latin letters around.
fn reads_as_japanese(text: &str) -> bool {
    let (mut japanese, mut kana, mut latin) = (0usize, 0usize, 0usize);
    for c in text.chars() {
        match c {
            'a'..='z' | 'A'..='Z' => latin += 1,
            '\u{3040}'..='\u{30ff}' => {
                kana += 1;
                japanese += 1;
            }
            '\u{ff66}'..='\u{ff9f}' | '\u{4e00}'..='\u{9fff}' | '\u{3000}'..='\u{303f}' => japanese += 1,
            '\u{e000}'..='\u{f8ff}' => return false,
            _ => {}
        }
    }
    japanese >= 2 && (kana >= 2 || japanese * 2 > latin)
}

#[cfg(test)]
mod tests {
    use super::clean;

    #[test]
    fn decodes_what_files_hold() {
        let cases: [(&[u8], &str); 9] = [
            (b"Violin I", "Violin I"),
            ("Fl\u{f6}te 1.2".as_bytes(), "Flöte 1.2"),
            (b"Fl\xf6te", "Flöte"),
            (b"Tromp\xe8te en ut", "Trompète en ut"),
            (b"Oboe d\x92amore", "Oboe d’amore"),
            (b"Violin I \x96 solo", "Violin I – solo"),
            (b"\x83t\x83\x8b\x81[\x83g", "フルート"),
            (b"\x91\xe6\x82P\x83o\x83C\x83I\x83\x8a\x83\x93", "第１バイオリン"),
            (b"  Horn\x00 1\r\n ", "Horn 1"),
        ];
        for (bytes, text) in cases {
            assert_eq!(clean(bytes), text);
        }
    }
}
