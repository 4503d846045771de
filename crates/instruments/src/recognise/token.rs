//! Cutting a part name into words and numbers.
//!
//! Letters are folded (accents off, lower case, `ß` as `ss`), because scores are inconsistent in exactly that. What the
//! fold loses and a reader uses is kept beside it: capitals, the full stop of an abbreviation, accidentals, and the
//! punctuation between words.

use unicode_normalization::UnicodeNormalization;

/// What stands between a token and the one before it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Gap {
    pub space: bool,
    pub comma: bool,
    pub slash: bool,
    pub ampersand: bool,
    pub dash: bool,
    pub open: bool,
    pub close: bool,
}

impl Gap {
    /// Whether a name of several words may run across this gap.
    pub fn joins(self) -> bool {
        !(self.comma || self.slash || self.ampersand || self.open || self.close)
    }

    /// Whether the two sides are listed rather than run on.
    pub fn lists(self) -> bool {
        self.comma || self.slash || self.ampersand || self.open || self.close
    }
}

/// A sign beside a letter: ♭ or ♯.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sign {
    Flat,
    Sharp,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Word,
    /// Arabic digits.
    Number {
        value: u16,
        /// "1st", "1°", "2e".
        ordinal: bool,
        /// The letter of "1a".
        suffix: Option<char>,
    },
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Token {
    /// Folded letters, or digits.
    pub text: String,
    pub kind: Kind,
    /// Every letter is a capital.
    pub capitals: bool,
    /// A full stop follows at once.
    pub dotted: bool,
    pub sign: Option<Sign>,
    pub gap: Gap,
    /// Bytes of the original text.
    pub start: usize,
    pub end: usize,
}

impl Token {
    pub fn is_word(&self) -> bool {
        self.kind == Kind::Word
    }

    pub fn is_letter(&self) -> bool {
        self.is_word() && self.text.len() == 1
    }

    /// The value of a Roman numeral up to XVI.
    pub fn roman(&self) -> Option<u16> {
        const NUMERALS: [&str; 16] =
            ["i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii", "xiii", "xiv", "xv", "xvi"];
        if !self.is_word() || self.sign.is_some() || (!self.capitals && self.text.len() == 1) {
            return None;
        }
        NUMERALS.iter().position(|n| *n == self.text).and_then(|at| u16::try_from(at + 1).ok())
    }

    /// The value of the token as a part number.
    pub fn number(&self) -> Option<u16> {
        match self.kind {
            Kind::Number { value, .. } => Some(value),
            Kind::Word => self.roman(),
        }
    }

    /// Whether a number can only be the number of a part, not a count of players.
    pub fn is_ordinal(&self) -> bool {
        self.dotted || matches!(self.kind, Kind::Word | Kind::Number { ordinal: true, .. })
    }
}

/// Flat and sharp signs as Unicode and as the Standard Music Font Layout encode them.
fn sign_of(c: char) -> Option<Sign> {
    match c {
        '♭' | '\u{E260}' => Some(Sign::Flat),
        '♯' | '#' | '\u{E262}' => Some(Sign::Sharp),
        _ => None,
    }
}

/// Accents off, lower case, ligatures apart.
pub(crate) fn fold(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    if text.is_ascii() {
        folded.push_str(text);
        folded.make_ascii_lowercase();
        return folded;
    }
    for c in text.nfkd() {
        match c {
            'ß' => folded.push_str("ss"),
            'œ' | 'Œ' => folded.push_str("oe"),
            'æ' | 'Æ' => folded.push_str("ae"),
            'ø' | 'Ø' => folded.push('o'),
            'ı' => folded.push('i'),
            '\u{300}'..='\u{36F}' => {}
            _ => folded.extend(c.to_lowercase()),
        }
    }
    folded
}

const ORDINAL_ENDINGS: [&str; 20] = [
    "st", "nd", "rd", "th", "er", "re", "ere", "ers", "eres", "e", "eme", "emes", "de", "ds", "des", "d", "te", "ter", "ten",
    "ste",
];

/// Cuts a text into tokens; never fails.
pub(crate) fn tokenise(text: &str) -> Vec<Token> {
    let chars: Vec<(usize, char)> = text.char_indices().collect();
    let char_at = |at: usize| chars.get(at).map(|(_, c)| *c);
    let byte_at = |at: usize| chars.get(at).map_or(text.len(), |(byte, _)| *byte);
    let mut tokens: Vec<Token> = Vec::new();
    let mut gap = Gap::default();
    let mut at = 0;
    while let Some(c) = char_at(at) {
        let start = at;
        if c.is_ascii_digit() {
            while char_at(at).is_some_and(|c| c.is_ascii_digit()) {
                at += 1;
            }
            let digits = &text[byte_at(start)..byte_at(at)];
            let value = digits.parse().unwrap_or(u16::MAX);
            let mut letters = at;
            while char_at(letters).is_some_and(char::is_alphabetic) {
                letters += 1;
            }
            let ending = fold(&text[byte_at(at)..byte_at(letters)]);
            let (mut ordinal, mut suffix) = (false, None);
            if matches!(char_at(at), Some('°' | 'º' | 'ª')) {
                ordinal = true;
                at += 1;
            } else if ORDINAL_ENDINGS.contains(&ending.as_str()) {
                ordinal = true;
                at = letters;
            } else if letters == at + 1 && matches!(ending.as_str(), "a" | "b" | "c") {
                suffix = ending.chars().next();
                at = letters;
            }
            tokens.push(Token {
                text: digits.to_owned(),
                kind: Kind::Number { value, ordinal, suffix },
                capitals: false,
                dotted: char_at(at) == Some('.'),
                sign: None,
                gap: std::mem::take(&mut gap),
                start: byte_at(start),
                end: byte_at(at),
            });
        } else if c.is_alphabetic() {
            // An apostrophe inside a word belongs to it: d'amore, l'altra.
            // A capital after a small letter starts a word: "ViolinI", "FlautoTraverso".
            let humped = |at: usize| {
                at > start && char_at(at).is_some_and(char::is_uppercase) && char_at(at - 1).is_some_and(char::is_lowercase)
            };
            while !humped(at)
                && char_at(at).is_some_and(|c| {
                    c.is_alphabetic()
                        || matches!(c, '\u{300}'..='\u{36F}')
                        || (matches!(c, '\'' | '’' | 'ʼ' | '`' | '´') && char_at(at + 1).is_some_and(char::is_alphabetic))
                })
            {
                at += 1;
            }
            let original = &text[byte_at(start)..byte_at(at)];
            let folded: String = fold(original).chars().filter(|c| c.is_alphabetic()).collect();
            let sign = char_at(at).and_then(sign_of);
            if sign.is_some() {
                at += 1;
            }
            tokens.push(Token {
                text: folded,
                kind: Kind::Word,
                capitals: original.chars().all(|c| !c.is_lowercase()),
                dotted: char_at(at) == Some('.'),
                sign,
                gap: std::mem::take(&mut gap),
                start: byte_at(start),
                end: byte_at(at),
            });
        } else {
            match c {
                ',' | ';' | ':' => gap.comma = true,
                '/' | '\\' | '|' => gap.slash = true,
                '&' | '+' => gap.ampersand = true,
                '-' | '–' | '—' | '‐' | '‑' => gap.dash = true,
                '(' | '[' | '{' => gap.open = true,
                ')' | ']' | '}' => gap.close = true,
                _ if sign_of(c).is_some() => {
                    // "B ♭": the sign belongs to the letter before the space.
                    if let (Some(last), false) = (tokens.last_mut(), gap.lists()) {
                        last.sign = last.sign.or(sign_of(c));
                    }
                }
                _ => gap.space = true,
            }
            at += 1;
        }
    }
    tokens
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<String> {
        tokenise(text).into_iter().map(|t| t.text).collect()
    }

    #[test]
    fn folds_what_scores_spell_differently() {
        assert_eq!(fold("Große Flöte"), "grosse flote");
        assert_eq!(fold("Chœur"), "choeur");
        assert_eq!(words("Oboe d’amore 1"), ["oboe", "damore", "1"]);
        assert_eq!(words("Vl1"), ["vl", "1"]);
    }

    #[test]
    fn keeps_signs_with_their_letters() {
        let tokens = tokenise("Clarinet in B♭ 1");
        assert_eq!(tokens[2].sign, Some(Sign::Flat));
        assert_eq!(tokenise("B ♭")[0].sign, Some(Sign::Flat));
    }

    #[test]
    fn sees_ordinals_in_four_languages() {
        for text in ["1st", "1re", "1er", "2e", "1°", "2ds", "1te", "2ème"] {
            let tokens = tokenise(text);
            assert!(matches!(tokens[0].kind, Kind::Number { ordinal: true, .. }), "{text}");
            assert_eq!(tokens.len(), 1, "{text}");
        }
    }

    #[test]
    fn roman_numerals_need_capitals() {
        assert_eq!(tokenise("IV")[0].roman(), Some(4));
        assert_eq!(tokenise("ii")[0].roman(), Some(2));
        assert_eq!(tokenise("i")[0].roman(), None);
    }

    #[test]
    fn odd_text_is_survived() {
        for text in ["", "♭", "((((", "99999999999999", "\u{0}\u{FFFF}", "e\u{301}", "1ª-2ª", "’’", "♭♭♭B"] {
            for token in tokenise(text) {
                assert!(text.is_char_boundary(token.start) && text.is_char_boundary(token.end), "{text:?}");
            }
        }
    }
}
