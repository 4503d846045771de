//! What tables a record has, and what their columns mean.
//!
//! One list feeds the store, SQL views, exports and `docs/library.md`. Columns are added at the end of a table only, and a table
//! at the end of the list: a record is read by position.

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Whole numbers.
    Whole,
    /// Numbers kept to so many decimal places.
    Decimal(u8),
    /// Exact time in crotchets. In SQL and exports it stands twice: as a decimal number, and as NAME`_exact`, a fraction.
    Time,
    /// Texts.
    Text,
    /// Not kept: found in `table.column`, in the row whose number stands in this table's column `row`.
    Of {
        /// Table looked into.
        table: &'static str,
        /// Its column.
        column: &'static str,
        /// Column of this table with the row's number.
        row: &'static str,
    },
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ColumnShape {
    /// Name in SQL and exports.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
}

/// A table.
#[derive(Debug, PartialEq, Eq)]
pub struct Shape {
    /// Name in SQL and exports.
    pub name: &'static str,
    /// What a row is.
    pub says: &'static str,
    /// The columns; those that are kept come first.
    pub columns: &'static [ColumnShape],
}

impl Shape {
    /// Columns that are kept; the others are found through them.
    #[must_use]
    pub fn kept(&self) -> &'static [ColumnShape] {
        let end = self.columns.iter().position(|column| matches!(column.kind, Kind::Of { .. })).unwrap_or(self.columns.len());
        &self.columns[..end]
    }

    /// Place of a column by name.
    #[must_use]
    pub fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.name == name)
    }
}

const fn whole(name: &'static str) -> ColumnShape {
    ColumnShape { name, kind: Kind::Whole }
}

const fn decimal(name: &'static str, places: u8) -> ColumnShape {
    ColumnShape { name, kind: Kind::Decimal(places) }
}

const fn time(name: &'static str) -> ColumnShape {
    ColumnShape { name, kind: Kind::Time }
}

const fn text(name: &'static str) -> ColumnShape {
    ColumnShape { name, kind: Kind::Text }
}

const fn printed(name: &'static str, row: &'static str) -> ColumnShape {
    ColumnShape { name, kind: Kind::Of { table: "bars", column: "printed_bar", row } }
}

const fn of_part(name: &'static str, column: &'static str) -> ColumnShape {
    ColumnShape { name, kind: Kind::Of { table: "parts", column, row: "part_index" } }
}

const PART: ColumnShape = of_part("part", "part");
const SECTION: ColumnShape = of_part("section", "section");
const FAMILY: ColumnShape = of_part("family", "family");
const FIRST: ColumnShape = printed("first_printed_bar", "first_bar");
const LAST: ColumnShape = printed("last_printed_bar", "last_bar");

/// All tables of a record.
pub const SHAPES: &[Shape] = &[
    Shape {
        name: "parts",
        says: "a part of the score",
        columns: &[
            whole("part_index"),
            text("part"),
            text("instrument"),
            text("section"),
            text("family"),
            whole("players_least"),
            whole("players_most"),
            whole("staves"),
        ],
    },
    Shape {
        name: "bars",
        says: "a bar, each once in page order",
        columns: &[
            whole("bar"),
            text("printed_bar"),
            time("onset"),
            time("length"),
            text("metre"),
            decimal("tempo", 2),
            whole("parts_sounding"),
            whole("sections_sounding"),
            whole("players_least"),
            whole("players_most"),
            whole("attacks"),
            whole("lowest"),
            whole("highest"),
            decimal("level", 2),
        ],
    },
    Shape {
        name: "notes",
        says: "a sounding note, ties joined",
        columns: &[
            whole("part_index"),
            whole("bar"),
            time("onset"),
            time("duration"),
            whole("key"),
            text("spelling"),
            whole("staff"),
            whole("voice"),
            whole("line"),
            whole("players_least"),
            whole("players_most"),
            decimal("level", 2),
            text("role"),
            PART,
            SECTION,
            FAMILY,
            printed("printed_bar", "bar"),
        ],
    },
    Shape {
        name: "spans",
        says: "a line of a part in one role over a stretch of bars",
        columns: &[
            whole("part_index"),
            whole("staff"),
            whole("line"),
            whole("first_bar"),
            whole("last_bar"),
            time("onset"),
            time("offset"),
            text("role"),
            decimal("confidence", 4),
            text("other_roles"),
            text("name"),
            PART,
            SECTION,
            FAMILY,
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "roles",
        says: "a part in a bar in which it sounds",
        columns: &[
            whole("part_index"),
            whole("bar"),
            text("role"),
            text("other_roles"),
            whole("attacks"),
            whole("lowest"),
            whole("highest"),
            decimal("softest", 2),
            decimal("loudest", 2),
            whole("players_least"),
            whole("players_most"),
            PART,
            SECTION,
            FAMILY,
            printed("printed_bar", "bar"),
        ],
    },
    Shape {
        name: "layers",
        says: "a line and the bars for which it belongs to a layer",
        columns: &[
            whole("layer"),
            whole("first_bar"),
            whole("last_bar"),
            whole("part_index"),
            whole("line"),
            text("relation"),
            text("name"),
            PART,
            SECTION,
            FAMILY,
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "melody",
        says: "the main line from carrier to carrier",
        columns: &[
            whole("first_bar"),
            whole("last_bar"),
            time("onset"),
            time("offset"),
            whole("part_index"),
            text("with_parts"),
            PART,
            SECTION,
            FAMILY,
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "doublings",
        says: "two lines of two parts that play the same notes in unison or octaves",
        columns: &[
            whole("first_bar"),
            whole("last_bar"),
            time("onset"),
            time("offset"),
            whole("part_index"),
            whole("line"),
            whole("other_index"),
            whole("other_line"),
            whole("interval"),
            whole("shared_notes"),
            decimal("share_of_part", 4),
            decimal("share_of_other", 4),
            PART,
            SECTION,
            FAMILY,
            ColumnShape { name: "other", kind: Kind::Of { table: "parts", column: "part", row: "other_index" } },
            ColumnShape { name: "other_section", kind: Kind::Of { table: "parts", column: "section", row: "other_index" } },
            ColumnShape { name: "other_family", kind: Kind::Of { table: "parts", column: "family", row: "other_index" } },
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "chords",
        says: "a chord for as long as it holds",
        columns: &[
            whole("first_bar"),
            whole("last_bar"),
            time("onset"),
            time("offset"),
            text("root"),
            text("quality"),
            whole("inversion"),
            text("bass"),
            decimal("confidence", 4),
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "keys",
        says: "a local key for as long as it holds",
        columns: &[
            whole("first_bar"),
            whole("last_bar"),
            time("onset"),
            time("offset"),
            text("tonic"),
            text("mode"),
            decimal("confidence", 4),
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "statements",
        says: "a statement of a recurring idea",
        columns: &[
            whole("theme"),
            whole("first_bar"),
            whole("last_bar"),
            time("onset"),
            time("offset"),
            whole("part_index"),
            text("with_parts"),
            whole("transposition"),
            time("time_scale"),
            whole("notes"),
            decimal("similarity", 4),
            PART,
            SECTION,
            FAMILY,
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "measures",
        says: "a value of a measure of practice",
        columns: &[
            text("measure"),
            text("subject_kind"),
            text("subject"),
            text("other_kind"),
            text("other"),
            text("aspect"),
            decimal("value", 4),
            text("unit"),
            text("printed_bars"),
        ],
    },
    Shape {
        name: "moments",
        says: "a span worth looking at, with its reason",
        columns: &[text("name"), whole("first_bar"), whole("last_bar"), text("reason"), whole("rank"), FIRST, LAST],
    },
    Shape {
        name: "findings",
        says: "something the reader noticed",
        columns: &[text("severity"), text("code"), text("part"), text("printed_bar"), text("what"), text("hint")],
    },
    Shape {
        name: "corrections",
        says: "a person's correction that has a place in the score",
        columns: &[text("correction"), text("change"), text("parts"), whole("first_bar"), whole("last_bar"), FIRST, LAST],
    },
    Shape {
        name: "balance",
        says: "a bar in which the melody or a full chord sounds, as heard from a seat in a hall (an estimate, docs/acoustics.md)",
        columns: &[
            whole("bar"),
            whole("part_index"),
            decimal("margin", 1),
            decimal("margin_spread", 1),
            text("grade"),
            whole("chord_tones"),
            decimal("chord_spread", 1),
            text("chord_grade"),
            PART,
            SECTION,
            FAMILY,
            printed("printed_bar", "bar"),
        ],
    },
    Shape {
        name: "maskers",
        says: "a part that masks the melody in a bar, and its even share of what the melody would gain if its section were silent",
        columns: &[whole("bar"), whole("part_index"), decimal("gain", 1), PART, SECTION, FAMILY, printed("printed_bar", "bar")],
    },
    Shape {
        name: "techniques",
        says: "a way of playing of a part over consecutive bars",
        columns: &[
            whole("part_index"),
            whole("first_bar"),
            whole("last_bar"),
            text("technique"),
            PART,
            SECTION,
            FAMILY,
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "groups",
        says: "a part of a group that a person has named",
        columns: &[text("name"), whole("part_index"), PART, SECTION, FAMILY],
    },
    Shape {
        name: "instruments",
        says: "an instrument that a part plays, from its first bar with it to its last before a change",
        columns: &[
            whole("part_index"),
            whole("first_bar"),
            whole("last_bar"),
            text("instrument"),
            PART,
            SECTION,
            FAMILY,
            FIRST,
            LAST,
        ],
    },
    Shape {
        name: "tuttis",
        says: "a stretch in which the orchestra plays as a whole",
        columns: &[whole("first_bar"), whole("last_bar"), text("without"), FIRST, LAST],
    },
    Shape {
        name: "swells",
        says: "bars of a part under a crescendo or diminuendo",
        columns: &[whole("part_index"), whole("first_bar"), whole("last_bar"), text("swell"), PART, SECTION, FAMILY, FIRST, LAST],
    },
    Shape {
        name: "proofs",
        says: "consecutive bars behind a value of thickened_lines, chord_voicing, stack, cohesion or brass_weight",
        columns: &[
            text("measure"),
            text("subject_kind"),
            text("subject"),
            text("other"),
            text("aspect"),
            whole("first_bar"),
            whole("last_bar"),
            FIRST,
            LAST,
        ],
    },
];

/// The table of a name.
#[must_use]
pub fn shape(name: &str) -> Option<&'static Shape> {
    SHAPES.iter().find(|shape| shape.name == name)
}
