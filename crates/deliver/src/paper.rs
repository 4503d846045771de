//! Paper and sizes as a client asks for them.

/// Millimetres to pixels of a page: 96 to the inch.
pub(crate) const PIXELS: f64 = 96.0 / 25.4;

/// How pages are set. Lengths in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paper {
    /// Width of a page.
    pub width: f64,
    /// Height of a page.
    pub height: f64,
    /// Margin on all sides.
    pub margin: f64,
    /// Height of a five-line staff.
    pub staff: f64,
    /// Least height to which the staves of a score are made smaller so that its pages are full.
    pub least_staff: f64,
    /// Most systems on a page of a part of one staff; staves of parts with several count each.
    pub most_staves: usize,
    /// Whether a score leaves out staves that only rest in a system; the first system has them all.
    pub hides_empty: bool,
}

/// A staff lower than this is not legible in a part (Major Orchestra Librarians' Association, Guidelines for Music Preparation, 2017).
pub const LEAST_STAFF_OF_PART: f64 = 7.0;
/// A staff lower than this is not legible in a score (the same).
pub const LEAST_STAFF_OF_SCORE: f64 = 4.0;

impl Paper {
    /// Parts as orchestra librarians recommend them: 10 by 13 inches, staves of 7.5 mm (Major Orchestra Librarians' Association, Guidelines for
    /// Music Preparation, 2017), margins of 19 mm, ten staves (the same association, from memory).
    pub const ORCHESTRA: Self =
        Self { width: 254.0, height: 330.2, margin: 19.0, staff: 7.5, least_staff: 7.5, most_staves: 10, hides_empty: false };
    /// Parts on A4, where nothing larger can be printed: staves of 7 mm, the least these guidelines allow.
    pub const A4: Self =
        Self { width: 210.0, height: 297.0, margin: 15.0, staff: 7.0, least_staff: 7.0, most_staves: 10, hides_empty: false };
    /// Parts on B4 of the Japanese standard with staves of 8 mm, as one jazz orchestra asks (257 by 364 mm, its library's page on parts).
    pub const B4: Self =
        Self { width: 257.0, height: 364.0, margin: 15.0, staff: 8.0, least_staff: 8.0, most_staves: 11, hides_empty: false };
    /// Full scores on A3, staves as large as fit up to 6 mm, down to 4.5 where that fills pages, those that only rest left out of a system.
    pub const SCORE_A3: Self = Self {
        width: 297.0,
        height: 420.0,
        margin: 15.0,
        staff: 6.0,
        least_staff: 4.5,
        most_staves: usize::MAX,
        hides_empty: true,
    };
    /// Full scores on A2, for very many staves.
    pub const SCORE_A2: Self = Self {
        width: 420.0,
        height: 594.0,
        margin: 18.0,
        staff: 6.0,
        least_staff: 4.5,
        most_staves: usize::MAX,
        hides_empty: true,
    };

    /// What speaks against these measures, for a part.
    #[must_use]
    pub fn objections(&self) -> Vec<String> {
        let mut objections = Vec::new();
        if self.staff < LEAST_STAFF_OF_PART {
            objections.push(format!(
                "staves of {} mm are hard to read in a part; orchestra librarians ask for {LEAST_STAFF_OF_PART} mm or more",
                self.staff
            ));
        }
        if self.staff > 8.5 {
            objections.push(format!("staves of {} mm are larger than orchestra librarians like (8.5 mm)", self.staff));
        }
        objections
    }
}
