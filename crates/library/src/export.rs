//! All tables as files that other programs query.
//!
//! FOLDER/TABLE/score=NUMBER/part.csv or part.parquet: partitioned by score as engines expect it ("hive partitioning"). What is
//! about scores themselves (scores, tags, remarks) is one file each.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use parquet::basic::{Compression, ConvertedType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use ripieno_questions::record::Kind;
use rusqlite::types::Value;

use crate::error::{LibraryError, Result, fail, of_damage, of_io};
use crate::load::Reader;
use crate::sql::text_of;
use crate::views::{exported, view_columns};

/// Formats of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportFormat {
    /// Comma-separated values with a header (RFC 4180), absent values empty.
    Csv,
    /// Apache Parquet, Snappy compression.
    Parquet,
}

impl ExportFormat {
    const fn file(self) -> &'static str {
        match self {
            Self::Csv => "part.csv",
            Self::Parquet => "part.parquet",
        }
    }
}

/// What a column of an export holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Holds {
    Whole,
    Real,
    Text,
}

struct ExportColumn {
    name: String,
    holds: Holds,
    cells: Vec<Value>,
}

/// Tables about scores, each one file.
const OF_LIBRARY: &[(&str, &str)] = &[
    (
        "scores",
        "SELECT score, path, file, content, corrections, analysis, format, bytes, title, composers, work, work_number, movement,
            movement_number, version, line_up, bars, parts, notes, seconds FROM scores ORDER BY score",
    ),
    ("tags", "SELECT score, tag FROM tags ORDER BY score, tag"),
    ("remarks", "SELECT remark, score, printed_bars, remark_text, first_bar, last_bar, part FROM remarks ORDER BY remark"),
];

/// Writes all tables of the library into a new folder, score by score; answers how many files. The folder gets its name when
/// all is written.
///
/// # Errors
/// When the folder is there and not empty, cannot be written, or a record is damaged.
pub fn export(library: &Path, folder: &Path, format: ExportFormat, mut told: impl FnMut(usize, usize)) -> Result<usize> {
    let used = std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some()) || folder.is_file();
    if used {
        return fail(format!("{}: the folder is in use; name a new one", folder.display()));
    }
    let reader = Reader::open(library)?;
    let mut name = folder.as_os_str().to_owned();
    name.push(".partial");
    let partial = PathBuf::from(name);
    let failed = |error: std::io::Error| of_io(folder, "the export cannot be written", &error);
    let _ = std::fs::remove_dir_all(&partial);
    std::fs::create_dir_all(&partial).map_err(failed)?;
    let mut files = 0;
    for (name, sql) in OF_LIBRARY {
        write(&partial.join(name), format, &of_query(&reader, sql)?)?;
        files += 1;
    }
    let scores = reader.scores()?;
    for (done, entry) in scores.iter().enumerate() {
        let record = reader.record(entry.score, &[])?;
        for table in record.tables().iter().filter(|table| table.rows > 0) {
            let mut columns = Vec::new();
            for view in view_columns(table.shape) {
                let holds = match view.kind {
                    Kind::Whole => Holds::Whole,
                    Kind::Time if view.exact => Holds::Text,
                    Kind::Decimal(_) | Kind::Time => Holds::Real,
                    Kind::Text | Kind::Of { .. } => Holds::Text,
                };
                let cells: std::result::Result<_, _> = (0..table.rows).map(|row| exported(&record, table, &view, row)).collect();
                let cells = cells.map_err(|damaged| of_damage(&reader.path, entry.score, damaged))?;
                columns.push(ExportColumn { name: view.name, holds, cells });
            }
            write(&partial.join(table.shape.name).join(format!("score={}", entry.score)), format, &columns)?;
            files += 1;
        }
        told(done + 1, scores.len());
    }
    let _ = std::fs::remove_dir(folder);
    std::fs::rename(&partial, folder).map_err(failed)?;
    Ok(files)
}

fn of_query(reader: &Reader, sql: &str) -> Result<Vec<ExportColumn>> {
    let say = |error: rusqlite::Error| reader.say(&error);
    let mut statement = reader.connection.prepare(sql).map_err(say)?;
    let column = |name: &str| ExportColumn { name: name.to_owned(), holds: Holds::Text, cells: Vec::new() };
    let mut columns: Vec<ExportColumn> = statement.column_names().map(column).collect();
    for column in &mut columns {
        column.holds = match column.name.as_str() {
            "score" | "bytes" | "bars" | "parts" | "notes" | "remark" | "first_bar" | "last_bar" => Holds::Whole,
            "seconds" => Holds::Real,
            _ => Holds::Text,
        };
    }
    let mut rows = statement.query([]).map_err(say)?;
    while let Some(row) = rows.next().map_err(say)? {
        for (index, column) in columns.iter_mut().enumerate() {
            column.cells.push(row.get(index).map_err(say)?);
        }
    }
    Ok(columns)
}

fn write(folder: &Path, format: ExportFormat, columns: &[ExportColumn]) -> Result<()> {
    let path = folder.join(format.file());
    let failed =
        |error: &dyn std::fmt::Display| LibraryError(format!("{}: the export cannot be written ({error})", path.display()));
    std::fs::create_dir_all(folder).map_err(|error| failed(&error))?;
    let file = File::create(&path).map_err(|error| failed(&error))?;
    match format {
        ExportFormat::Csv => csv(file, columns).map_err(|error| failed(&error)),
        ExportFormat::Parquet => parquet(file, columns).map_err(|error| failed(&error)),
    }
}

fn csv(file: File, columns: &[ExportColumn]) -> std::io::Result<()> {
    let mut csv = csv::Writer::from_writer(BufWriter::new(file));
    csv.write_record(columns.iter().map(|column| &column.name))?;
    for row in 0..columns.first().map_or(0, |column| column.cells.len()) {
        csv.write_record(columns.iter().map(|column| text_of(&column.cells[row])))?;
    }
    csv.into_inner().map_err(|error| std::io::Error::other(error.to_string()))?.flush()
}

fn parquet(file: File, columns: &[ExportColumn]) -> std::result::Result<(), ParquetError> {
    let field = |column: &ExportColumn| {
        let builder = match column.holds {
            Holds::Whole => Type::primitive_type_builder(&column.name, Physical::INT64),
            Holds::Real => Type::primitive_type_builder(&column.name, Physical::DOUBLE),
            Holds::Text => {
                Type::primitive_type_builder(&column.name, Physical::BYTE_ARRAY).with_converted_type(ConvertedType::UTF8)
            }
        };
        builder.with_repetition(Repetition::OPTIONAL).build().map(Arc::new)
    };
    let fields = columns.iter().map(field).collect::<std::result::Result<Vec<_>, _>>()?;
    let schema = Arc::new(Type::group_type_builder("table").with_fields(fields).build()?);
    let properties =
        WriterProperties::builder().set_compression(Compression::SNAPPY).set_created_by("ripieno".to_owned()).build();
    let mut writer = SerializedFileWriter::new(file, schema, Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    for column in columns {
        parquet_column(&mut group, column)?;
    }
    group.close()?;
    writer.close().map(|_| ())
}

fn parquet_column(
    group: &mut SerializedRowGroupWriter<'_, File>,
    column: &ExportColumn,
) -> std::result::Result<(), ParquetError> {
    let levels: Vec<i16> = column.cells.iter().map(|cell| i16::from(*cell != Value::Null)).collect();
    let Some(mut writer) = group.next_column()? else { return Ok(()) };
    match column.holds {
        Holds::Whole => {
            let numbers =
                column.cells.iter().filter_map(|cell| if let Value::Integer(number) = cell { Some(*number) } else { None });
            writer.typed::<Int64Type>().write_batch(&numbers.collect::<Vec<_>>(), Some(&levels), None)?;
        }
        Holds::Real => {
            let numbers =
                column.cells.iter().filter_map(|cell| if let Value::Real(number) = cell { Some(*number) } else { None });
            writer.typed::<DoubleType>().write_batch(&numbers.collect::<Vec<_>>(), Some(&levels), None)?;
        }
        Holds::Text => {
            let texts =
                column.cells.iter().filter(|cell| **cell != Value::Null).map(|cell| ByteArray::from(text_of(cell).into_bytes()));
            writer.typed::<ByteArrayType>().write_batch(&texts.collect::<Vec<_>>(), Some(&levels), None)?;
        }
    }
    writer.close()
}
