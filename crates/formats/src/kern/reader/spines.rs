//! Lines of interpretations: which spines there are, how they split and join, and where a section begins.

use ripieno_score::NoteFlags;

use super::{MOST_COLUMNS, Reader, Waiting, fields};
use crate::kern::columns::{self, Column, Fault, Path};
use crate::kern::spine::{Holds, Spine};
use crate::kern::tandem::{self, Tandem};
use crate::kern::text::text;
use crate::{ReadError, Severity};

impl<'a> Reader<'a> {
    pub(super) fn comments(&mut self, line: &'a [u8]) {
        let tokens: Vec<&[u8]> = fields(line).take(MOST_COLUMNS).collect();
        // Some collections name their voices in a row of local comments, one for each spine.
        let names = !self.music
            && tokens.len() == self.columns.len()
            && tokens
                .iter()
                .all(|token| (2..=40).contains(&token.len()) && !token.starts_with(b"!LO:") && !token.starts_with(b"!!"));
        for (column, token) in self.columns.iter().zip(tokens) {
            let Some(spine) = column.spine else { continue };
            if let Some(layout) = token.strip_prefix(b"!LO:") {
                self.waiting.push((self.line, Waiting::Words { spine: Some(spine), layout }));
            } else if let Some(spine) = self.spines.get_mut(spine).filter(|spine| names && spine.names.comment.is_empty()) {
                spine.names.comment = text(token.get(1..).unwrap_or_default());
            }
        }
    }

    /// A line that begins with an exclusive interpretation: a section begins, or spines change what they hold.
    pub(super) fn exclusive(&mut self, line: &'a [u8]) -> Result<(), ReadError> {
        let tokens: Vec<&[u8]> = fields(line).take(MOST_COLUMNS + 1).collect();
        let all_new = tokens.iter().all(|token| token.starts_with(b"**"));
        if self.columns.is_empty() || (all_new && self.music) {
            if !self.columns.is_empty() {
                self.end_section()?;
            }
            return self.begin_section(&tokens);
        }
        self.change_spines(&tokens);
        Ok(())
    }

    pub(super) fn begin_section(&mut self, tokens: &[&'a [u8]]) -> Result<(), ReadError> {
        if tokens.iter().any(|token| token.windows(3).any(|three| three == b" **")) {
            let hint = "Save the file with tab characters between its columns";
            return Err(ReadError::whole_file(self.file, "no-tabs", "the spines are separated by spaces, not tabs", hint));
        }
        if tokens.len() > MOST_COLUMNS {
            let what = format!("there are more than {MOST_COLUMNS} spines; those beyond were left out");
            self.find(Severity::Error, "too-many-spines", None, what, "");
        }
        self.music = false;
        self.now = self.latest;
        self.soonest = self.latest;
        self.bars.section(self.latest);
        for (place, token) in tokens.iter().take(MOST_COLUMNS).enumerate() {
            let holds = Holds::of(token);
            self.columns.push(Column::new(Some(place), self.latest));
            self.spines.push(Spine::new(holds, place));
            self.report_unused(place, holds, token);
        }
        Ok(())
    }

    /// New exclusive interpretations for some of the columns.
    pub(super) fn change_spines(&mut self, tokens: &[&'a [u8]]) {
        for (index, token) in tokens.iter().enumerate() {
            if !token.starts_with(b"**") || self.spines.len() >= 4 * MOST_COLUMNS {
                continue;
            }
            let holds = Holds::of(token);
            let Some(column) = self.columns.get(index) else { continue };
            let old = column.spine.and_then(|spine| self.spines.get(spine));
            if old.is_some_and(|old| old.holds == holds) {
                continue;
            }
            let mut spine = Spine::new(holds, self.spines.len());
            if let Some(old) = old {
                spine.place = old.place;
                (spine.staves, spine.part, spine.names) = (old.staves.clone(), old.part, old.names.clone());
            }
            let number = self.spines.len();
            self.spines.push(spine);
            if let Some(column) = self.columns.get_mut(index) {
                column.spine = Some(number);
                column.layer = 0;
            }
            self.report_unused(number, holds, token);
        }
    }

    pub(super) fn interpretations(&mut self, line: &'a [u8], rest: &'a [u8]) -> Result<(), ReadError> {
        if self.columns.is_empty() {
            self.broken_lines += 1;
            self.find(
                Severity::Warning,
                "outside-spines",
                None,
                "an interpretation stands outside any spine and was left out",
                "",
            );
            return Ok(());
        }
        let mut paths: Vec<Path> = Vec::new();
        let (mut moves, mut renames, mut count) = (false, false, 0);
        for token in fields(line) {
            let path = Path::of(token);
            moves |= path != Path::Keep;
            renames |= token.starts_with(b"**");
            paths.push(path);
            count += 1;
            if count > MOST_COLUMNS {
                break;
            }
        }
        self.check_width(count);
        if renames {
            let tokens: Vec<&[u8]> = fields(line).take(MOST_COLUMNS).collect();
            self.change_spines(&tokens);
            return Ok(());
        }
        if !moves {
            for (index, token) in fields(line).take(self.columns.len()).enumerate() {
                if token != b"*" {
                    self.tandem_token(index, token);
                }
            }
            return Ok(());
        }
        if paths.iter().all(|&path| path == Path::End) && paths.len() >= self.columns.len() {
            return self.end_section();
        }
        let before = self.columns.len();
        let wanted = before + paths.iter().filter(|path| matches!(path, Path::Split | Path::Add)).count();
        if wanted > MOST_COLUMNS {
            let what = format!("the spines split into more than {MOST_COLUMNS}; those beyond were left out");
            self.find(Severity::Error, "too-many-spines", None, what, "");
        }
        let columns = std::mem::take(&mut self.columns);
        let (columns, faults) = columns::carry_out(columns, &paths, width_ahead(rest), MOST_COLUMNS);
        self.columns = columns;
        for column in &self.columns {
            if let Some(spine) = column.spine.and_then(|spine| self.spines.get_mut(spine)) {
                spine.layers = spine.layers.max(column.layer.saturating_add(1));
            }
        }
        for fault in faults {
            let what = match fault {
                Fault::LoneJoin => "a spine is to be joined (*v) but its neighbour is not",
                Fault::LoneExchange => "a spine is to be exchanged (*x) but its neighbour is not",
            };
            self.broken_lines += 1;
            self.find(Severity::Warning, "spine-path", None, what, "The spine was left as it is");
        }
        if self.columns.is_empty() { self.end_section() } else { Ok(()) }
    }

    /// A tandem interpretation: what concerns the columns at once is done, the rest waits for its time.
    pub(super) fn tandem_token(&mut self, index: usize, token: &'a [u8]) {
        let Some(column) = self.columns.get_mut(index) else { return };
        let (Some(spine), layer) = (column.spine, column.layer) else { return };
        match tandem::parse(token) {
            Tandem::Cue(on) => column.silent.set(NoteFlags::CUE, on),
            Tandem::Ossia(on) => column.silent.set(NoteFlags::OSSIA, on),
            // Of several strophes the first is played; verses of text are not affected.
            Tandem::Strophe => column.silent.set(NoteFlags::OSSIA, layer > 0),
            Tandem::StropheEnd => column.silent.set(NoteFlags::OSSIA, false),
            Tandem::Ignored => {}
            _ => self.wait(Waiting::Tandem { spine, layer, token }),
        }
    }
}

/// The number of tokens on the next line that has one for each spine.
pub(super) fn width_ahead(rest: &[u8]) -> Option<usize> {
    const MOST_LINES: usize = 64;
    let lines = rest.split(|&byte| byte == b'\n' || byte == b'\r').take(MOST_LINES);
    lines.filter(|line| !line.is_empty() && !line.starts_with(b"!!")).map(|line| fields(line).count()).next()
}
