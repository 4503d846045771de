//! What a file may ask of the machine.

/// Bounds on what one file may unfold to. The defaults leave a tenfold margin over the largest orchestral scores known to
/// us (60 staves, 1,500 bars, 18 MB of MusicXML per movement).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of the file itself.
    pub file_bytes: u64,
    /// Bytes after inflating an archive member.
    pub inflated_bytes: u64,
    /// Members in an archive.
    pub archive_members: usize,
    /// Parts in a score.
    pub parts: usize,
    /// Bars in a score.
    pub bars: usize,
    /// Notes, rests, directions, changes of clef, key or metre, and signs on notes in a score, together.
    pub events: usize,
    /// Nesting of XML elements.
    pub depth: usize,
    /// Crotchets in one bar.
    pub bar_crotchets: i64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            file_bytes: 256 << 20,
            inflated_bytes: 512 << 20,
            archive_members: 4096,
            parts: 1024,
            bars: 100_000,
            events: 10_000_000,
            depth: 64,
            bar_crotchets: 4096,
        }
    }
}
