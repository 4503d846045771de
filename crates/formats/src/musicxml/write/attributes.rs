//! Clefs, keys, metres, transpositions.

use ripieno_score::{Change, ChangeKind, ClefSign, Metre, Part};

use super::xml::Xml;

/// What one `attributes` element has to say.
#[derive(Default)]
pub(super) struct AttributesAt<'a> {
    /// Ticks a crotchet, where they change.
    pub divisions: Option<i64>,
    /// The metre of the bar.
    pub metre: Option<&'a Metre>,
    /// Number of staves, at the beginning of a part with more than one.
    pub staves: Option<u8>,
    /// Changes at this moment.
    pub changes: &'a [Change],
    /// Bars of the long rest that begins here.
    pub multiple_rest: Option<u32>,
    /// The metre is known and not shown again.
    pub is_metre_known: bool,
}

pub(super) fn write(xml: &mut Xml, part: &Part, at: &AttributesAt<'_>) {
    let nothing = at.divisions.is_none() && at.metre.is_none() && at.staves.is_none() && at.multiple_rest.is_none();
    if nothing && at.changes.iter().all(|change| matches!(change.kind, ChangeKind::Instrument(_))) {
        return;
    }
    xml.element("attributes", &[], |xml| {
        if let Some(divisions) = at.divisions {
            xml.text("divisions", divisions);
        }
        each(at.changes, part, |kind, number| {
            if let ChangeKind::Key(key) = kind {
                xml.element("key", number, |xml| {
                    xml.text("fifths", key.fifths);
                    if let Some(major) = key.major {
                        xml.text("mode", if major { "major" } else { "minor" });
                    }
                });
            }
        });
        let own = at.changes.iter().any(|change| matches!(change.kind, ChangeKind::Metre(_)));
        if let Some(metre) = at.metre.filter(|_| !own) {
            time(xml, metre, if at.is_metre_known { &[("print-object", "no")] } else { &[] });
        }
        each(at.changes, part, |kind, number| {
            if let ChangeKind::Metre(metre) = kind {
                time(xml, metre, number);
            }
        });
        if let Some(staves) = at.staves {
            xml.text("staves", staves);
        }
        each(at.changes, part, |kind, number| {
            if let ChangeKind::Clef(clef) = kind {
                xml.element("clef", number, |xml| {
                    let (sign, has_line) = match clef.sign {
                        ClefSign::G => ("G", true),
                        ClefSign::F => ("F", true),
                        ClefSign::C => ("C", true),
                        ClefSign::Percussion => ("percussion", false),
                        ClefSign::Tablature => ("TAB", true),
                        ClefSign::None => ("none", false),
                    };
                    xml.text("sign", sign);
                    if has_line {
                        xml.text("line", clef.line);
                    }
                    if clef.octaves != 0 {
                        xml.text("clef-octave-change", clef.octaves);
                    }
                });
            }
        });
        each(at.changes, part, |kind, number| match kind {
            ChangeKind::StaffLines(lines) => xml.element("staff-details", number, |xml| xml.text("staff-lines", lines)),
            ChangeKind::Alternative(alternative) => xml.element("staff-details", number, |xml| {
                xml.text("staff-type", if *alternative { "ossia" } else { "regular" });
            }),
            _ => {}
        });
        each(at.changes, part, |kind, number| {
            if let ChangeKind::Transposition(by) = kind {
                xml.element("transpose", number, |xml| {
                    xml.text("diatonic", by.diatonic);
                    xml.text("chromatic", by.chromatic);
                    if by.octaves != 0 {
                        xml.text("octave-change", by.octaves);
                    }
                    if by.doubled_below {
                        xml.empty("double", &[]);
                    }
                });
            }
        });
        if let Some(bars) = at.multiple_rest {
            xml.element("measure-style", &[], |xml| xml.text("multiple-rest", bars));
        }
    });
}

/// Calls `say` for each change with its staff as a `number` attribute.
fn each(changes: &[Change], part: &Part, mut say: impl FnMut(&ChangeKind, &[(&str, &str)])) {
    for change in changes {
        let staff = change.staff.filter(|&staff| staff >= 1 && staff <= part.staves).map(|staff| staff.to_string());
        match &staff {
            Some(staff) if part.staves > 1 => say(&change.kind, &[("number", staff)]),
            _ => say(&change.kind, &[]),
        }
    }
}

fn time(xml: &mut Xml, metre: &Metre, attributes: &[(&str, &str)]) {
    xml.element("time", attributes, |xml| match metre {
        Metre::Measured(terms) if !terms.is_empty() => {
            for (beats, unit) in terms {
                let beats: Vec<String> = beats.iter().map(ToString::to_string).collect();
                xml.text("beats", beats.join("+"));
                xml.text("beat-type", unit);
            }
        }
        _ => xml.text("senza-misura", ""),
    });
}
