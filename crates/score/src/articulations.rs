//! The frequent signs on notes, one bit each.
#![allow(missing_docs)] // each constant is the name of its sign

use bitflags::bitflags;

bitflags! {
    /// How a note is attacked, held or coloured; the frequent signs, one bit each.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
    pub struct Articulations: u32 {
        const STACCATO = 1;
        const STACCATISSIMO = 1 << 1;
        const TENUTO = 1 << 2;
        const ACCENT = 1 << 3;
        const STRONG_ACCENT = 1 << 4;
        const DETACHED_LEGATO = 1 << 5;
        const SPICCATO = 1 << 6;
        const SCOOP = 1 << 7;
        const PLOP = 1 << 8;
        const DOIT = 1 << 9;
        const FALLOFF = 1 << 10;
        const BREATH_MARK = 1 << 11;
        const CAESURA = 1 << 12;
        const STRESS = 1 << 13;
        const UNSTRESS = 1 << 14;
        const SOFT_ACCENT = 1 << 15;
        const FERMATA = 1 << 16;
        const UP_BOW = 1 << 17;
        const DOWN_BOW = 1 << 18;
        const STOPPED = 1 << 19;
        const OPEN = 1 << 20;
        const SNAP_PIZZICATO = 1 << 21;
        const TRILL = 1 << 22;
        const TURN = 1 << 23;
        const INVERTED_TURN = 1 << 24;
        const MORDENT = 1 << 25;
        const INVERTED_MORDENT = 1 << 26;
        const ARPEGGIO = 1 << 27;
        const NON_ARPEGGIO = 1 << 28;
        const OPEN_STRING = 1 << 29;
        const DOUBLE_TONGUE = 1 << 30;
        const TRIPLE_TONGUE = 1 << 31;
    }
}
