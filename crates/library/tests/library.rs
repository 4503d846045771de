//! A library from its first score to its backup.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

mod scores;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use ripieno_formats::Limits;
use ripieno_library::{
    Bounds, Counts, ExportFormat, FEWEST_WORKS, Labels, Library, LibraryError, Outcome, Place, Reader, Value, export, query,
    query_within, restore, score_files, text_of,
};
use ripieno_questions::{MomentRow, parse};
use ripieno_study::{Cancel, Study};
use rusqlite::Connection;

fn moments(_: &Study) -> Vec<MomentRow> {
    vec![MomentRow { name: "climax".to_owned(), first_bar: 3, last_bar: 5, reason: "loudest and fullest".to_owned(), rank: 1 }]
}

fn import(library: &mut Library, files: &[PathBuf], labels: &Labels) -> Result<Counts, LibraryError> {
    library.import(files, labels, &Limits::default(), &Cancel::default(), moments, |_| ())
}

/// A library of so many scores in a folder of its own.
fn kept(name: &str, count: usize) -> (PathBuf, PathBuf, Vec<PathBuf>) {
    let folder = scores::folder(name);
    let files = scores::write(&folder, count);
    let path = folder.join("library.db");
    let counts = import(&mut Library::open_or_create(&path).unwrap(), &files, &Labels::default()).unwrap();
    assert_eq!(counts, Counts { added: count, ..Counts::default() });
    (folder, path, files)
}

fn one(path: &Path, sql: &str) -> String {
    let rows = query(path, sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
    text_of(&rows.rows[0][0])
}

#[test]
fn scores_are_kept_found_and_taken_out() {
    let (folder, path, files) = kept("life", 5);
    let mut library = Library::open(&path).unwrap();
    let listed = library.list().unwrap();
    assert_eq!(listed.iter().map(|kept| kept.title.as_str()).collect::<Vec<_>>(), {
        // In the order they were finished, which two cores settle.
        let mut titles: Vec<&str> = listed.iter().map(|kept| kept.title.as_str()).collect();
        titles.sort_unstable();
        assert_eq!(titles, ["Cue 0", "Cue 1", "Cue 2", "Cue 3", "Cue 4"]);
        listed.iter().map(|kept| kept.title.as_str()).collect::<Vec<_>>()
    });
    assert_eq!((listed[0].bars, listed[0].parts, listed[0].line_up.as_str()), (16, 3, "horns 2, trombones 1"));

    let second = library.named("score02.musicxml").unwrap();
    library.tag(second, &["sea shanty".to_owned(), "loud".to_owned()], false).unwrap();
    library.tag(second, &["loud".to_owned()], true).unwrap();
    let remark = library.remark(second, "3-5", "the lifeboat is lowered").unwrap();
    for words in ["botsman cue 2", "BŌTSMAN shanty", "trombone lower", "lifeb"] {
        assert!(library.find(words).unwrap().iter().any(|kept| kept.score == second), "{words}");
    }
    assert_eq!(library.find("botsman").unwrap().len(), 5);
    assert_eq!(library.find("shanty").unwrap().len(), 1);
    assert!(library.find("submarine").unwrap().is_empty() && library.find("loud").unwrap().is_empty());
    assert!(library.find("\"; --").is_err(), "no word to look for");
    assert!(library.find("title: OR NOT* near(").unwrap().is_empty(), "nothing of it is an operator");
    assert_eq!(library.list().unwrap().iter().find(|kept| kept.score == second).unwrap().tags, ["sea shanty"]);

    // Unchanged files are skipped; a changed one keeps its number, tags and remarks.
    assert_eq!(import(&mut library, &files, &Labels::default()).unwrap().unchanged, 5);
    std::fs::write(&files[2], scores::score("Cue 2, revised", 9)).unwrap();
    let labels = Labels { work: Some("The Harbour".to_owned()), version: Some("2".to_owned()), ..Labels::default() };
    assert_eq!(import(&mut library, &files[2..3], &labels).unwrap(), Counts { renewed: 1, ..Counts::default() });
    let revised = library.list().unwrap().into_iter().find(|kept| kept.score == second).unwrap();
    assert_eq!((revised.title.as_str(), revised.version.as_str(), revised.work.as_str()), ("Cue 2, revised", "2", "The Harbour"));
    assert_eq!((revised.tags.len(), revised.remarks), (1, 1));
    assert_eq!(library.remarks(Some(second)).unwrap()[0].text, "the lifeboat is lowered");

    // The same content under another name is the same score.
    let copy = folder.join("copy.musicxml");
    std::fs::copy(&files[0], &copy).unwrap();
    assert_eq!(import(&mut library, &[copy], &Labels::default()).unwrap(), Counts { unchanged: 1, ..Counts::default() });

    // A remark on a span, and a bookmark; both are read by those who may only read.
    let place = Place { first_bar: 2, last_bar: 4, part: "Horn 1.2".to_owned() };
    let on_span = library.remark_at(second, "3-5", &place, "the painter is cast off").unwrap();
    library.reword_remark(on_span, "the painter is let go").unwrap();
    let bookmark = library.bookmark(second, " the launch ", "seen=0-4").unwrap();
    let reader = Reader::open(&path).unwrap();
    assert_eq!(reader.kept(second).unwrap(), library.list().unwrap().into_iter().find(|kept| kept.score == second));
    assert_eq!(reader.kept(99).unwrap(), None);
    let remarks = reader.remarks(second).unwrap();
    assert_eq!((remarks[0].place.as_ref(), remarks[1].place.as_ref()), (None, Some(&place)));
    assert_eq!(reader.bookmarks(second).unwrap()[0].name, "the launch");
    assert_eq!(reader.find("painter").unwrap().len(), 1);
    drop(reader);
    assert!(library.remark_at(second, "", &place, " ").is_err() && library.bookmark(second, "", "").is_err());
    assert!(library.reword_remark(99, "x").is_err() && library.remove_bookmark(second, 99).is_err());
    library.remove_bookmark(second, bookmark).unwrap();
    library.remove_remark(on_span).unwrap();
    library.remove_remark(remark).unwrap();
    assert!(library.find("lifeboat").unwrap().is_empty());
    library.remove(second).unwrap();
    assert_eq!(library.list().unwrap().len(), 4);
    assert!(library.find("shanty").unwrap().is_empty());
    drop(library);
    assert_eq!(one(&path, &format!("SELECT count(*) FROM notes WHERE score = {second}")), "0");
    let mut library = Library::open(&path).unwrap();
    assert!(library.remove(second).unwrap_err().0.contains("has no score"));
    assert!(library.named("nothing").unwrap_err().0.contains("library list"));
}

#[test]
fn what_cannot_be_read_is_told_and_the_rest_is_kept() {
    let folder = scores::folder("unread");
    let mut files = scores::write(&folder, 2);
    std::fs::write(folder.join("broken.musicxml"), "<score-partwise>").unwrap();
    files.extend([folder.join("broken.musicxml"), folder.join("absent.musicxml")]);
    let mut told = Vec::new();
    let mut library = Library::open_or_create(&folder.join("library.db")).unwrap();
    let counts = library.import(
        &files,
        &Labels::default(),
        &Limits::default(),
        &Cancel::default(),
        |_| Vec::new(),
        |progress| {
            if let Outcome::Unread(why) = progress.outcome {
                told.push(why.clone());
            }
            assert_eq!(progress.total, 4);
        },
    );
    assert_eq!(counts.unwrap(), Counts { added: 2, unread: 2, ..Counts::default() });
    assert!(
        told.iter().any(|why| why.contains("broken.musicxml")) && told.iter().any(|why| why.contains("absent.musicxml")),
        "{told:?}"
    );
}

#[test]
fn a_cancelled_import_goes_on_later() {
    let folder = scores::folder("cancelled");
    let files = scores::write(&folder, 12);
    let path = folder.join("library.db");
    let cancel = Cancel::default();
    let mut library = Library::open_or_create(&path).unwrap();
    let counts =
        library.import(&files, &Labels::default(), &Limits::default(), &cancel, |_| Vec::new(), |_| cancel.cancel()).unwrap();
    assert!(counts.added >= 1 && counts.added < 12, "{counts:?}");
    let rest = import(&mut library, &files, &Labels::default()).unwrap();
    assert_eq!((rest.added, rest.unchanged), (12 - counts.added, counts.added));
}

#[test]
fn corrections_are_kept_and_count_as_a_change() {
    let (_, path, files) = kept("corrections", 1);
    let sidecar = ripieno_study::corrections::sidecar_path(&files[0]);
    std::fs::write(&sidecar, "{}").unwrap();
    let mut library = Library::open(&path).unwrap();
    assert_eq!(import(&mut library, &files, &Labels::default()).unwrap().renewed, 1);
    assert_eq!(library.corrections(1).unwrap().as_deref(), Some(b"{}".as_slice()));
    assert_eq!(import(&mut library, &files, &Labels::default()).unwrap().unchanged, 1);
    // Should the file be lost, the library still has it.
    std::fs::remove_file(&sidecar).unwrap();
    assert_eq!(import(&mut library, &files, &Labels::default()).unwrap().renewed, 1);
    assert!(library.corrections(1).unwrap().is_some());
}

#[test]
fn folders_are_searched_for_scores() {
    let folder = scores::folder("folders");
    std::fs::create_dir_all(folder.join("b/.hidden")).unwrap();
    for name in ["a.musicxml", "b/z.mxl", "b/notes.txt", "b/.hidden/x.mid", "b/K.KRN"] {
        std::fs::write(folder.join(name), "").unwrap();
    }
    let found = score_files(std::slice::from_ref(&folder)).unwrap();
    let names: Vec<_> = found.iter().map(|path| path.strip_prefix(&folder).unwrap().to_str().unwrap()).collect();
    assert_eq!(names, ["a.musicxml", "b/K.KRN", "b/z.mxl"]);
}

#[test]
fn sql_reads_every_table_and_changes_nothing() {
    let (_, path, _) = kept("sql", 3);
    // 16 bars of 4 notes in two parts, 8 in the third.
    assert_eq!(one(&path, "SELECT count(*) FROM notes"), "480");
    assert_eq!(one(&path, "SELECT sum(notes) FROM scores"), "480");
    assert_eq!(one(&path, "SELECT count(*) FROM notes WHERE score = 2 AND section = 'trombones'"), "32");
    assert_eq!(one(&path, "SELECT group_concat(DISTINCT part) FROM notes WHERE part_index < 2"), "Horn 1 in C,Horn 2 in C");
    assert_eq!(one(&path, "SELECT max(onset + duration) FROM notes"), "64");
    assert_eq!(one(&path, "SELECT length_exact FROM bars LIMIT 1"), "4");
    assert_eq!(one(&path, "SELECT printed_bar FROM notes WHERE bar = 15 LIMIT 1"), "16");
    assert_eq!(
        one(&path, "SELECT reason FROM moments m JOIN scores s USING (score) WHERE s.title = 'Cue 1'"),
        "loudest and fullest"
    );
    assert_eq!(one(&path, "SELECT first_printed_bar || '-' || last_printed_bar FROM moments LIMIT 1"), "4-6");
    assert_eq!(
        one(&path, "SELECT count(*) FROM doublings WHERE interval = 0 AND section = 'horns' AND other_section = 'horns'"),
        "3"
    );
    for view in [
        "parts",
        "bars",
        "notes",
        "spans",
        "roles",
        "layers",
        "melody",
        "doublings",
        "chords",
        "keys",
        "statements",
        "measures",
        "moments",
        "findings",
        "corrections",
        "tags",
        "remarks",
        "questions",
    ] {
        query(&path, &format!("SELECT * FROM {view}")).unwrap_or_else(|error| panic!("{view}: {error}"));
    }
    assert_eq!(
        one(&path, "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < 5) SELECT sum(x) FROM n"),
        "15"
    );
    assert_eq!(one(&path, "SELECT rowid FROM search WHERE search MATCH 'cue' ORDER BY rowid LIMIT 1"), "1");
    let before = std::fs::read(&path).unwrap();
    for (sql, says) in [
        ("DELETE FROM scores", "not"),
        ("INSERT INTO tags VALUES (1, 'x')", "not"),
        ("CREATE TEMP TABLE t (x)", "not"),
        ("ATTACH 'other.db' AS other", "not"),
        ("PRAGMA user_version = 9", "not"),
        ("SELECT 1; SELECT 2", "one at a time"),
        ("", "SELECT"),
        ("SELECT wrong FROM notes", "wrong"),
        ("SELEKT 1", "SELEKT"),
    ] {
        let error = query(&path, sql).expect_err(sql);
        assert!(error.0.contains(says) && !error.0.contains('\n'), "{sql}: {error}");
    }
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

/// The desk bounds what a slip of the pen may cost.
/// A join that goes to and fro between scores against one of rows taken out before.
#[test]
fn joins_between_scores_agree_with_rows_taken_out() {
    let (_, path, _) = kept("joins", 3);
    let joined = one(&path, "SELECT count(*) FROM bars a JOIN bars b ON a.metre = b.metre WHERE a.score < b.score");
    let taken_out = "WITH a AS MATERIALIZED (SELECT score, metre FROM bars)
        SELECT count(*) FROM a JOIN a b USING (metre) WHERE a.score < b.score";
    assert_ne!(joined, "0");
    assert_eq!(joined, one(&path, taken_out));
    // Bar by bar, so that the score in hand changes with every row; parts looked up in the right one.
    let own = "SELECT count(*) FROM parts a JOIN parts b USING (part_index) WHERE a.score < b.score AND a.part = b.part AND a.section = b.section";
    let pairs = one(&path, "SELECT 3 * count(*) FROM parts WHERE score = (SELECT min(score) FROM scores)");
    assert_eq!(one(&path, own), pairs);
}

#[test]
fn bounded_sql_ends_in_time_and_in_bounds() {
    let (_, path, _) = kept("bounds", 1);
    let ask =
        |sql: &str, rows, seconds| query_within(&path, sql, Bounds { rows, bytes: 1 << 20, time: Duration::from_secs(seconds) });
    let endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT";
    let (some, is_all) = ask(&format!("{endless} i FROM n"), 10, 20).unwrap();
    assert_eq!((some.rows.len(), is_all), (10, false));
    let begun = Instant::now();
    assert!(ask(&format!("{endless} max(i) FROM n"), 10, 1).unwrap_err().0.contains("longer than 1 seconds"));
    assert!(begun.elapsed() < Duration::from_secs(10));
    for large in ["SELECT zeroblob(900000000)", "SELECT hex(zeroblob(900000)) AS a, hex(zeroblob(900000)) AS b"] {
        assert!(ask(large, 10, 20).unwrap_err().0.contains("too large"), "{large}");
    }
    let (all, is_all) = ask("SELECT score FROM scores", 10, 20).unwrap();
    assert!(is_all && all.rows.len() == 1);
}

#[test]
fn a_question_is_answered_as_from_the_file() {
    let (_, path, files) = kept("ask", 4);
    let reader = Reader::open(&path).unwrap();
    for text in
        ["trombones rest", "horns double horns in unison", "horns overlap trombones", "all brass play, at most 1 bars long"]
    {
        let question = parse(text).unwrap();
        let answers = reader.ask(&question).unwrap();
        for file in &files {
            let study = ripieno_study::analyse_file(file, &Limits::default()).unwrap();
            let record = ripieno_questions::Record::of(&study, &[]);
            let found = ripieno_questions::answer(&question, &record).unwrap();
            let kept = answers.iter().find(|answer| file.ends_with(&answer.entry.file));
            assert_eq!(kept.map(|answer| answer.found.clone()).unwrap_or_default(), found, "{text}");
        }
    }
    let resting = reader.ask(&parse("trombones rest").unwrap()).unwrap();
    assert_eq!(resting.len(), 4);
    assert_eq!(
        resting[0].found.iter().map(|found| found.cited()).collect::<Vec<_>>(),
        ["2", "4", "6", "8", "10", "12", "14", "16"]
    );
    assert!(reader.saved_question("soft").unwrap_err().0.contains("none yet"));
    Library::open(&path).unwrap().save_question("soft", "piano or softer", false).unwrap();
    let reader = Reader::open(&path).unwrap();
    assert_eq!(reader.saved_question("soft").unwrap().question, "piano or softer");
    assert!(reader.saved_question("loud").unwrap_err().0.contains("there are: soft"));
}

#[test]
fn backup_and_restore() {
    let (folder, path, files) = kept("backup", 3);
    let backup = folder.join("backup.db");
    let mut library = Library::open(&path).unwrap();
    library.tag(1, &["kept".to_owned()], false).unwrap();
    library.backup(&backup).unwrap();
    assert!(library.backup(&backup).unwrap_err().0.contains("name a new one"));
    library.remove(1).unwrap();
    library.remove(2).unwrap();
    drop(library);
    assert!(restore(&backup, &path, false).unwrap_err().0.contains("--replace"));
    restore(&backup, &path, true).unwrap();
    let mut library = Library::open(&path).unwrap();
    assert_eq!(library.list().unwrap().len(), 3);
    assert_eq!(library.list().unwrap()[0].tags, ["kept"]);
    assert_eq!(import(&mut library, &files, &Labels::default()).unwrap().unchanged, 3);
    drop(library);
    // Into a place where there was none, and in place of a damaged one, which is set aside.
    let fresh = folder.join("fresh/library.db");
    restore(&backup, &fresh, false).unwrap();
    assert_eq!(one(&fresh, "SELECT count(*) FROM notes"), one(&path, "SELECT count(*) FROM notes"));
    std::fs::write(&path, "this was a library once".repeat(100)).unwrap();
    let _ = std::fs::remove_file(folder.join("library.db-wal"));
    assert!(Library::open(&path).is_err());
    restore(&backup, &path, true).unwrap();
    assert_eq!(Library::open(&path).unwrap().list().unwrap().len(), 3);
    assert!(folder.join("library.db.damaged").exists());
    // What is no backup, or damaged, is not taken.
    std::fs::write(folder.join("text.db"), "no database").unwrap();
    assert!(restore(&folder.join("text.db"), &path, true).is_err());
    let mut bytes = std::fs::read(&backup).unwrap();
    let length = bytes.len();
    bytes[4096..length.min(20_000)].fill(0x5a);
    std::fs::write(folder.join("bad.db"), bytes).unwrap();
    assert!(restore(&folder.join("bad.db"), &path, true).is_err());
    assert_eq!(Library::open(&path).unwrap().list().unwrap().len(), 3);
}

#[test]
fn exports_hold_every_row() {
    let (folder, path, _) = kept("export", 2);
    for (format, file) in [(ExportFormat::Csv, "part.csv"), (ExportFormat::Parquet, "part.parquet")] {
        let to = folder.join(file);
        let files = export(&path, &to, format, |_, _| ()).unwrap();
        assert!(files > 20);
        assert!(export(&path, &to, format, |_, _| ()).unwrap_err().0.contains("in use"));
        assert!(to.join("scores").join(file).exists() && to.join("notes/score=2").join(file).exists());
    }
    // CSV read back is what SQL says.
    let mut csv = csv::Reader::from_path(folder.join("part.csv/notes/score=1/part.csv")).unwrap();
    let columns: Vec<String> = csv.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<Vec<String>> = csv.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    let names = columns.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ");
    let asked = query(&path, &format!("SELECT {names} FROM notes WHERE score = 1")).unwrap();
    assert_eq!(rows, asked.rows.iter().map(|row| row.iter().map(text_of).collect::<Vec<_>>()).collect::<Vec<_>>());
    assert_eq!(rows.len(), 160);
    // And so is Parquet, read by the reader of the same library.
    use parquet::file::reader::{FileReader, SerializedFileReader};
    let file = std::fs::File::open(folder.join("part.parquet/notes/score=1/part.parquet")).unwrap();
    let reader = SerializedFileReader::new(file).unwrap();
    assert_eq!(reader.metadata().file_metadata().num_rows(), 160);
    let fields = reader.metadata().file_metadata().schema().get_fields().iter().map(|field| field.name().to_owned());
    assert_eq!(fields.collect::<Vec<_>>(), columns);
    for (row, expected) in reader.get_row_iter(None).unwrap().zip(&asked.rows) {
        for ((name, field), expected) in row.unwrap().get_column_iter().zip(expected) {
            use parquet::record::Field;
            let same = match (field, expected) {
                (Field::Null, Value::Null) => true,
                (Field::Long(a), Value::Integer(b)) => a == b,
                (Field::Double(a), Value::Real(b)) => a == b,
                (Field::Str(a), Value::Text(b)) => a == b,
                _ => false,
            };
            assert!(same, "{name}: {field} against {expected:?}");
        }
    }
}

#[test]
fn every_layout_there_was_is_led_to_the_newest() {
    let folder = scores::folder("layouts");
    let fresh = folder.join("fresh.db");
    drop(Library::open_or_create(&fresh).unwrap());
    let schema = |path: &Path| {
        let connection = Connection::open(path).unwrap();
        let mut statement = connection.prepare("SELECT type, name, sql FROM sqlite_schema ORDER BY type, name").unwrap();
        let spaces = |sql: Option<String>| sql.map(|sql| sql.split_whitespace().collect::<String>());
        let rows = statement.query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, spaces(row.get(2)?))));
        rows.unwrap().map(Result::unwrap).collect::<Vec<_>>()
    };
    let newest: i32 = Connection::open(&fresh).unwrap().pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
    for version in 1..=newest {
        let layout = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/layouts/{version}.sql"));
        let layout = std::fs::read_to_string(layout).expect("each version of the layout has its file");
        let path = folder.join(format!("{version}.db"));
        let old = Connection::open(&path).unwrap();
        old.execute_batch(&layout).unwrap();
        old.pragma_update(None, "application_id", 0x5269_7069).unwrap();
        old.pragma_update(None, "user_version", version).unwrap();
        drop(old);
        let library = Library::open(&path).unwrap();
        let kept = library.list().unwrap();
        assert_eq!(
            (kept[0].score, kept[0].title.as_str(), kept[0].tags.as_slice()),
            (7, "Harbour", ["sea".to_owned()].as_slice())
        );
        assert_eq!(library.remarks(Some(7)).unwrap()[0].text, "the boat is launched");
        assert_eq!(library.find("boatman launched").unwrap().len(), 1);
        drop(library);
        let reader = Reader::open(&path).unwrap();
        let (place, bookmarks) = (reader.remarks(7).unwrap()[0].place.clone(), reader.bookmarks(7).unwrap());
        match version {
            1 => assert!(place.is_none() && bookmarks.is_empty()),
            _ => assert!(place.is_some_and(|place| place.first_bar == 4) && bookmarks[0].view == "seen=0-4"),
        }
        drop(reader);
        assert_eq!(Reader::open(&path).unwrap().saved_question("soft").unwrap().question, "piano or softer");
        assert_eq!(schema(&path), schema(&fresh), "version {version}");
    }
}

#[test]
fn other_files_are_not_taken_for_a_library() {
    let folder = scores::folder("foreign");
    let (text, foreign, newer) = (folder.join("text.db"), folder.join("foreign.db"), folder.join("newer.db"));
    std::fs::write(&text, "just a text, and long enough to be looked at as a database would be".repeat(20)).unwrap();
    Connection::open(&foreign).unwrap().execute_batch("CREATE TABLE mine (x); INSERT INTO mine VALUES (1)").unwrap();
    drop(Library::open_or_create(&newer).unwrap());
    Connection::open(&newer).unwrap().pragma_update(None, "user_version", 999).unwrap();
    let before = std::fs::read(&foreign).unwrap();
    for (path, says) in [(&text, "no library"), (&foreign, "no library"), (&newer, "newer version")] {
        assert!(Library::open_or_create(path).unwrap_err().0.contains(says), "{}", path.display());
        assert!(Reader::open(path).unwrap_err().0.contains(says));
    }
    assert_eq!(std::fs::read(&foreign).unwrap(), before, "what is not ours is left alone");
    assert!(Library::open(&folder.join("absent.db")).unwrap_err().0.contains("library add"));
    assert!(!folder.join("absent.db").exists());
}

#[test]
fn a_full_disk_is_told_and_loses_nothing_kept() {
    let (folder, path, _) = kept("full", 2);
    let connection = Connection::open(&path).unwrap();
    let pages: u32 = connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
    drop(connection);
    let mut library = Library::open(&path).unwrap();
    library.limit_pages(pages + 3).unwrap();
    let more = folder.join("more");
    std::fs::create_dir_all(&more).unwrap();
    let files: Vec<PathBuf> = (20..30)
        .map(|seed| {
            let file = more.join(format!("{seed}.musicxml"));
            std::fs::write(&file, scores::score("More", seed)).unwrap();
            file
        })
        .collect();
    let error = import(&mut library, &files, &Labels::default()).unwrap_err();
    assert!(error.0.contains("no room left") && !error.0.contains('\n'), "{error}");
    drop(library);
    let whole: String = Connection::open(&path).unwrap().query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(whole, "ok");
    // With room again, the import goes on.
    let mut library = Library::open(&path).unwrap();
    assert!(library.list().unwrap().len() >= 2);
    import(&mut library, &files, &Labels::default()).unwrap();
    assert_eq!(library.list().unwrap().len(), 12);
}

#[test]
fn a_damaged_record_is_told() {
    let (_, path, _) = kept("damaged", 1);
    let connection = Connection::open(&path).unwrap();
    connection.execute("UPDATE record SET data = zeroblob(40) WHERE name = 'roles'", []).unwrap();
    drop(connection);
    let error = Reader::open(&path).unwrap().ask(&parse("horns play").unwrap()).unwrap_err();
    assert!(error.0.contains("score 1 is damaged"), "{error}");
    assert!(query(&path, "SELECT role FROM roles").unwrap_err().0.contains("damaged"));
}

#[test]
fn the_documentation_names_every_column() {
    let folder = scores::folder("documented");
    let path = folder.join("library.db");
    drop(Library::open_or_create(&path).unwrap());
    let manual = include_str!("../../../docs/library.md");
    let views = ripieno_questions::record::SHAPES.iter().map(|shape| shape.name);
    for table in views.chain(["scores", "tags", "remarks", "bookmarks", "questions"]) {
        let line = manual.lines().find(|line| line.starts_with(&format!("| `{table}` |"))).unwrap_or_else(|| panic!("{table}"));
        for column in query(&path, &format!("SELECT * FROM {table}")).unwrap().columns {
            assert!(
                line.contains(&format!("`{column}`")) || (column == "score" && !line.starts_with("| `scores`")),
                "{table}.{column}"
            );
        }
    }
}

/// The trombone of the written scores rests in every other bar: half of the bars in all of them.
#[test]
fn a_value_stands_among_the_works() {
    let (_, path, files) = kept("unusual", FEWEST_WORKS + 1);
    let key = "presence|trombones||bars";
    let usual = Reader::open(&path).unwrap().usual(None).unwrap();
    assert_eq!(usual.works(), FEWEST_WORKS + 1);
    for (value, below) in [(0.0, 0.0), (0.5, 0.5), (1.0, 1.0)] {
        let standing = usual.unusual(key, value).unwrap();
        assert_eq!((standing.below, standing.works, standing.is_enough()), (below, FEWEST_WORKS + 1, true));
    }
    assert_eq!(usual.unusual("presence|no such section||bars", 0.5), None);
    // A score does not stand among itself; scores of one work are one.
    assert_eq!(Reader::open(&path).unwrap().usual(Some(&files[0])).unwrap().works(), FEWEST_WORKS);
    let mut library = Library::open(&path).unwrap();
    let work = Labels { work: Some("The Boat".to_owned()), ..Labels::default() };
    import(&mut library, &files[..3], &work).unwrap();
    let reader = Reader::open(&path).unwrap();
    let usual = reader.usual(None).unwrap();
    assert_eq!(usual.works(), FEWEST_WORKS - 1);
    let standing = usual.unusual(key, 1.0).unwrap();
    assert!(!standing.is_enough() && standing.unusualness() == 0.0);
    assert_eq!(
        reader.usual(Some(&files[1])).unwrap().works(),
        FEWEST_WORKS - 2,
        "the other cues of its own work are left out too"
    );
}
