//! What is wrong with a line-up or a plan, and where.

use std::fmt;

/// One sentence about a text that cannot be used: file, line, what is wrong and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Located {
    /// Name of the file.
    pub file: String,
    /// Line, from 1; 0 where the whole text is meant.
    pub line: usize,
    /// The sentence.
    pub what: String,
}

impl Located {
    pub(crate) fn new(file: &str, line: usize, what: impl Into<String>) -> Self {
        Self { file: file.to_owned(), line, what: what.into() }
    }

    /// A fault at a place of the text, counted in bytes.
    pub(crate) fn at(file: &str, text: &str, byte: usize, what: impl Into<String>) -> Self {
        let line = text.as_bytes().iter().take(byte).filter(|&&byte| byte == b'\n').count() + 1;
        Self::new(file, line, what)
    }

    /// What the TOML reader says, with its place.
    pub(crate) fn toml(file: &str, text: &str, error: &toml::de::Error) -> Self {
        let message = error.message().lines().collect::<Vec<_>>().join(" ");
        match error.span() {
            Some(span) => Self::at(file, text, span.start, message),
            None => Self::new(file, 0, message),
        }
    }
}

impl fmt::Display for Located {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => write!(f, "{}: {}", self.file, self.what),
            line => write!(f, "{}, line {line}: {}", self.file, self.what),
        }
    }
}

impl std::error::Error for Located {}
