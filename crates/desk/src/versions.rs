//! What has changed from one version of a piece to the other, a row for each kind of change.

use ripieno_study::{Study, Versions};
use serde::Serialize;
use utoipa::ToSchema;

use crate::view::Cited;

/// A change, with its bars in either version.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Changed {
    /// "Tuba, is silent now".
    text: String,
    /// Bars of the older version; none where the change has no place there.
    a: Option<Cited>,
    /// Bars of the newer version.
    b: Option<Cited>,
}

/// All changes: parts first, then bars, then what parts play.
pub(crate) fn changes(old: &Study, new: &Study, versions: &Versions) -> Vec<Changed> {
    let cited = |study: &Study, bars: &[u32]| (!bars.is_empty()).then(|| Cited::of(&study.cite(bars)));
    let of =
        |change: ripieno_study::Listed| Changed { a: cited(old, &change.old), b: cited(new, &change.new), text: change.text };
    versions.listed(old, new).into_iter().map(of).collect()
}
