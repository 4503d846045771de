//! Chart to text: the same chart, the same bytes; reading it again gives the same chart.

use std::fmt::Write as _;

use ripieno_score::PlayerCount;
use ripieno_texture::Role;

use crate::model::{Chart, ChartPart, Row, Run};
use crate::read::{FORMAT, VERSION};
use crate::words::{dynamic_text, interval_text, manner_names};

impl Chart {
    /// The chart as a file.
    #[must_use]
    pub fn write(&self) -> String {
        let mut out = Out(String::new());
        out.comments(&self.opening);
        out.text("format", FORMAT);
        out.raw("version", VERSION);
        for (key, text) in [
            ("title", &self.title),
            ("movement", &self.movement),
            ("composer", &self.composer),
            ("edition", &self.edition),
            ("made", &self.made),
            ("remark", &self.remark),
        ] {
            out.some(key, text);
        }
        self.parts.iter().for_each(|part| out.part(part));
        self.bars.iter().for_each(|run| out.run(run));
        self.rows.iter().for_each(|row| out.row(row));
        if !self.closing.is_empty() {
            out.0.push('\n');
            out.comments(&self.closing);
        }
        out.0
    }
}

struct Out(String);

impl Out {
    fn comments(&mut self, comments: &[String]) {
        for comment in comments {
            let _ = if comment.is_empty() { writeln!(self.0, "#") } else { writeln!(self.0, "# {comment}") };
        }
    }

    fn table(&mut self, name: &str, comments: &[String]) {
        self.0.push('\n');
        self.comments(comments);
        let _ = writeln!(self.0, "[[{name}]]");
    }

    fn raw(&mut self, key: &str, value: impl std::fmt::Display) {
        let _ = writeln!(self.0, "{key} = {value}");
    }

    fn text(&mut self, key: &str, text: &str) {
        self.raw(key, quoted(text));
    }

    /// Nothing for an empty text.
    fn some(&mut self, key: &str, text: &str) {
        if !text.is_empty() {
            self.text(key, text);
        }
    }

    /// A word by itself, several as a list.
    fn words<'a>(&mut self, key: &str, words: impl IntoIterator<Item = &'a str>) {
        let quoted: Vec<String> = words.into_iter().map(quoted).collect();
        match quoted.as_slice() {
            [] => {}
            [one] => self.raw(key, one),
            several => self.raw(key, format!("[{}]", several.join(", "))),
        }
    }

    fn players(&mut self, players: Option<PlayerCount>) {
        match players {
            Some(players) if players.is_exact() => self.raw("players", players),
            Some(players) => self.text("players", &players.to_string()),
            None => {}
        }
    }

    fn part(&mut self, part: &ChartPart) {
        self.table("part", &part.comments);
        self.text("name", &part.name);
        self.some("instrument", &part.instrument);
        self.players(part.players);
        part.body.into_iter().for_each(|body| self.raw("body", body));
    }

    fn run(&mut self, run: &Run) {
        self.table("bars", &run.comments);
        self.raw("count", run.count);
        run.number.iter().for_each(|number| self.text("number", number));
        if run.uncounted {
            self.raw("uncounted", true);
        }
        run.metre.iter().for_each(|metre| self.text("metre", metre));
        run.length.iter().for_each(|length| self.text("length", &length.to_string()));
        // A float keeps its point, so that it is read as one.
        run.tempo.iter().for_each(|tempo| self.raw("tempo", format!("{tempo:?}")));
        run.mark.iter().for_each(|mark| self.text("mark", mark));
        if run.repeat_start {
            self.raw("repeat_start", true);
        }
        run.repeat_end.into_iter().for_each(|times| self.raw("repeat_end", times));
        if !run.ending.is_empty() {
            self.raw("ending", format!("{:?}", run.ending));
        }
    }

    fn row(&mut self, row: &Row) {
        self.table("row", &row.comments);
        self.words("who", row.who.iter().map(String::as_str));
        row.line.into_iter().for_each(|line| self.raw("line", line));
        self.text("bars", &row.bars.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "));
        self.words("role", row.roles.iter().copied().map(Role::name));
        row.confidence.into_iter().for_each(|confidence| self.raw("confidence", format!("{confidence:?}")));
        if row.lead {
            self.raw("lead", true);
        }
        self.words("manner", manner_names(row.manner));
        self.some("layer", &row.layer);
        row.dynamic.into_iter().for_each(|level| self.text("dynamic", &dynamic_text(level)));
        self.players(row.players);
        if let Some(doubles) = &row.doubles {
            self.text("doubles", &doubles.who);
            doubles.line.into_iter().for_each(|line| self.raw("doubles_line", line));
            self.text("interval", &interval_text(doubles.octaves));
            if doubles.in_part {
                self.raw("in_part", true);
            }
        }
        self.some("register", &row.register);
        self.some("remark", &row.remark);
    }
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            other if other.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(other));
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}
