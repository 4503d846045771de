//! How a document is laid out for a reader.

use std::collections::BTreeMap;

use ripieno_score::BarIndex;

/// What a page shows beyond the music itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Printing {
    /// For each part its long rests, in order and apart; parts beyond the list have none.
    pub multiple_rests: Vec<Vec<MultipleRest>>,
    /// Bars that begin a line.
    pub breaks: BTreeMap<BarIndex, LineBreak>,
    /// The metre the first bar begins with is known from the page before and not shown again.
    pub goes_on: bool,
}

/// Bars of rest that are shown as one bar with their number over it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MultipleRest {
    /// The first of them.
    pub first: BarIndex,
    /// How many, at least 2.
    pub bars: u32,
}

/// How a bar begins a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineBreak {
    /// On the same page.
    System,
    /// On a new page.
    Page,
}

impl Printing {
    /// Bars of the long rest that begins here in this part.
    pub(super) fn multiple_rest(&self, part: usize, bar: BarIndex) -> Option<u32> {
        let rests = self.multiple_rests.get(part)?;
        let at = rests.binary_search_by_key(&bar, |rest| rest.first).ok()?;
        Some(rests[at].bars)
    }
}
