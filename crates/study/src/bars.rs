//! Bars as musicians cite them.

use std::fmt;

use ripieno_practice::bar_label;
use ripieno_score::{Score, Sounding};

/// Consecutive played bars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BarSpan {
    /// First played bar, index into [`Sounding::bars`].
    pub first: u32,
    /// Last played bar.
    pub last: u32,
}

/// Bars gathered into spans, with the numbers printed on the page: "12–15, 20".
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BarSpans {
    /// Each span with the printed numbers of its first and last bar.
    pub spans: Vec<(BarSpan, String, String)>,
}

impl BarSpans {
    /// Gathers ascending played bars.
    #[must_use]
    pub fn new(bars: &[u32], score: &Score, sounding: &Sounding) -> Self {
        let mut spans: Vec<BarSpan> = Vec::new();
        for &bar in bars {
            match spans.last_mut() {
                Some(span) if span.last + 1 == bar => span.last = bar,
                _ => spans.push(BarSpan { first: bar, last: bar }),
            }
        }
        let label = |bar: u32| bar_label(score, sounding, bar);
        Self { spans: spans.into_iter().map(|span| (span, label(span.first), label(span.last))).collect() }
    }

    /// Number of bars.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.spans.iter().map(|(span, ..)| span.last - span.first + 1).sum()
    }
}

impl fmt::Display for BarSpans {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, (span, first, last)) in self.spans.iter().enumerate() {
            if index > 0 {
                f.write_str(", ")?;
            }
            if span.first == span.last { f.write_str(first)? } else { write!(f, "{first}–{last}")? }
        }
        Ok(())
    }
}
