//! Damaging files by random edits.

use proptest::collection::vec;
use proptest::prelude::*;

/// Inputs grow to this size at most.
const LARGEST: usize = 8192;

/// How files of a format are damaged.
#[derive(Clone, Copy)]
pub struct Damage {
    /// What damaged and hostile files hold, put in as it stands.
    pub pieces: &'static [&'static [u8]],
    /// Pieces go before the next of these bytes, where they do most; anywhere if there is none.
    pub before: Option<u8>,
}

#[derive(Debug, Clone)]
pub enum Edit {
    Set(usize, u8),
    Insert(usize, usize),
    Cut(usize, usize),
    Copy(usize, usize, usize),
    Number(usize, i64),
}

impl Damage {
    /// Up to `most` edits.
    pub fn edits(self, most: usize) -> impl Strategy<Value = Vec<Edit>> {
        let edit = prop_oneof![
            (any::<usize>(), any::<u8>()).prop_map(|(at, byte)| Edit::Set(at, byte)),
            (any::<usize>(), 0..self.pieces.len()).prop_map(|(at, piece)| Edit::Insert(at, piece)),
            (any::<usize>(), 1..200usize).prop_map(|(at, length)| Edit::Cut(at, length)),
            (any::<usize>(), 1..600usize, any::<usize>()).prop_map(|(from, length, to)| Edit::Copy(from, length, to)),
            (any::<usize>(), any::<i64>()).prop_map(|(at, number)| Edit::Number(at, number)),
        ];
        vec(edit, 1..most)
    }

    /// The bytes after the edits.
    pub fn apply(self, mut bytes: Vec<u8>, edits: &[Edit]) -> Vec<u8> {
        for edit in edits {
            self.apply_one(&mut bytes, edit);
            bytes.truncate(LARGEST);
        }
        bytes
    }

    fn apply_one(self, bytes: &mut Vec<u8>, edit: &Edit) {
        let length = bytes.len();
        if length == 0 {
            return;
        }
        match *edit {
            Edit::Set(at, byte) => bytes[at % length] = byte,
            Edit::Insert(at, piece) => {
                let at = at % length;
                let next = |wanted| bytes[at..].iter().position(|&byte| byte == wanted).map_or(length, |offset| at + offset);
                let at = self.before.map_or(at, next);
                drop(bytes.splice(at..at, self.pieces[piece].iter().copied()));
            }
            Edit::Cut(at, count) => drop(bytes.drain(at % length..(at % length + count).min(length))),
            Edit::Copy(from, count, to) => {
                let piece = bytes[from % length..(from % length + count).min(length)].to_vec();
                drop(bytes.splice(to % length..to % length, piece));
            }
            Edit::Number(at, number) => {
                let at = at % length;
                let Some(start) = bytes[at..].iter().position(u8::is_ascii_digit).map(|offset| at + offset) else { return };
                let count = bytes[start..].iter().take_while(|byte| byte.is_ascii_digit()).count();
                drop(bytes.splice(start..start + count, number.to_string().into_bytes()));
            }
        }
    }
}
