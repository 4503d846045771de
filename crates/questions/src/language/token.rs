//! Words of a question with their places.

/// A word, a quoted name, or a sign.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Token {
    /// A word, as written.
    Word(String),
    /// What stood between quotation marks.
    Quoted(String),
    /// "(", ")" or ",".
    Sign(char),
}

impl Token {
    /// As it stands in the question, without quotation marks.
    pub(super) fn text(&self) -> String {
        match self {
            Self::Word(text) | Self::Quoted(text) => text.clone(),
            Self::Sign(sign) => sign.to_string(),
        }
    }
}

/// Cuts a question up; answers the tokens with the column of each, from 1. An open quotation ends with the text.
pub(super) fn tokens(text: &str) -> Vec<(Token, usize)> {
    let letters: Vec<char> = text.chars().collect();
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(&letter) = letters.get(at) {
        let column = at + 1;
        at += 1;
        match letter {
            '(' | ')' | ',' => found.push((Token::Sign(letter), column)),
            '"' | '\u{201c}' | '\u{201e}' | '\'' | '\u{2018}' => {
                let closes = |letter: char| match letter {
                    '"' => '"',
                    '\'' => '\'',
                    '\u{2018}' => '\u{2019}',
                    _ => '\u{201d}',
                };
                let end = (at..letters.len()).find(|&end| letters[end] == closes(letter) || letters[end] == letter);
                let end = end.unwrap_or(letters.len());
                found.push((Token::Quoted(letters[at..end].iter().collect()), column));
                at = end + 1;
            }
            _ if letter.is_whitespace() => {}
            _ => {
                let ends = |letter: &char| letter.is_whitespace() || "(),\"\u{201c}\u{201d}\u{201e}".contains(*letter);
                let end = (at..letters.len()).find(|&end| ends(&letters[end])).unwrap_or(letters.len());
                let word: String = letters[at - 1..end].iter().collect();
                let word = word.trim_end_matches(['.', '?', '!', ';', ':']);
                if !word.is_empty() {
                    found.push((Token::Word(word.to_owned()), column));
                }
                at = end;
            }
        }
    }
    found
}
