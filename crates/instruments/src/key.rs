//! Keys in which instruments stand ("horn in F", "clarinet in B flat") and to which drums are tuned.

use std::fmt;
use std::str::FromStr;

pub use ripieno_score::Step;

/// The name of a key or of a drum's note, in English: `Bb` is B flat, `B` is B natural, `F#` is F sharp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KeyName {
    /// The letter.
    pub step: Step,
    /// Semitones of alteration, -1 for a flat, +1 for a sharp.
    pub alter: i8,
}

impl KeyName {
    /// A natural, flat or sharp key.
    #[must_use]
    pub const fn new(step: Step, alter: i8) -> Self {
        Self { step, alter }
    }
}

impl fmt::Display for KeyName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.step.letter())?;
        let mark = if self.alter < 0 { "b" } else { "#" };
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(mark)?;
        }
        Ok(())
    }
}

impl FromStr for KeyName {
    type Err = String;

    /// Reads what [`KeyName`] displays: a capital letter, then `b` or `#` as often as needed.
    fn from_str(text: &str) -> Result<Self, String> {
        let fault = || format!("“{text}” is not a key name such as F, Bb or F#");
        let mut chars = text.chars();
        let letter = chars.next().filter(char::is_ascii_uppercase).and_then(|letter| u8::try_from(letter).ok());
        let step = letter.and_then(Step::from_letter).ok_or_else(fault)?;
        let mut alter = 0_i8;
        for mark in chars {
            alter += match mark {
                'b' if alter <= 0 && alter > -3 => -1,
                '#' if (0..3).contains(&alter) => 1,
                _ => return Err(fault()),
            };
        }
        Ok(Self { step, alter })
    }
}

/// Which of two octaves a crook is in: "B flat basso", "C alto".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum KeyOctave {
    /// The higher of the two ("alto", "hoch", "aigu").
    Alto,
    /// The lower of the two ("basso", "tief", "grave").
    Basso,
}

impl fmt::Display for KeyOctave {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Alto => "alto",
            Self::Basso => "basso",
        })
    }
}

/// A key as a part name prints it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// The key itself.
    pub name: KeyName,
    /// "alto" or "basso" when the name says so.
    pub octave: Option<KeyOctave>,
}

impl Key {
    /// A key with no word about its octave.
    #[must_use]
    pub const fn new(name: KeyName) -> Self {
        Self { name, octave: None }
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.name)?;
        match self.octave {
            Some(octave) => write!(f, " {octave}"),
            None => Ok(()),
        }
    }
}

impl FromStr for Key {
    type Err = String;

    /// Reads what [`Key`] displays, for example `Bb basso`.
    fn from_str(text: &str) -> Result<Self, String> {
        let (name, octave) = match text.split_once(' ') {
            None => (text, None),
            Some((name, "alto")) => (name, Some(KeyOctave::Alto)),
            Some((name, "basso")) => (name, Some(KeyOctave::Basso)),
            Some(_) => return Err(format!("“{text}” is not a key such as F, Bb basso or C alto")),
        };
        Ok(Self { name: name.parse()?, octave })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_survive_a_round_trip() {
        for step in Step::ALL {
            for alter in -2..=2 {
                for octave in [None, Some(KeyOctave::Alto), Some(KeyOctave::Basso)] {
                    let key = Key { name: KeyName { step, alter }, octave };
                    assert_eq!(key.to_string().parse::<Key>(), Ok(key));
                }
            }
        }
    }

    #[test]
    fn nonsense_is_refused_in_a_sentence() {
        for text in ["", "H", "b", "Bx", "B#b", "Bbbbbb", "F tenor"] {
            assert!(text.parse::<Key>().is_err(), "{text}");
        }
    }
}
