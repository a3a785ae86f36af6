//! A table in columns: rows come in, row groups go out.

use std::fmt::Write as _;
use std::io;
use std::sync::Arc;

use chrono::{DateTime, Datelike as _, NaiveDate};
use parquet::basic::Compression;
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::parser::parse_message_type;
use serde_json::{Value, json};

use crate::export::csv::Cell;
use crate::export::csv::columns::{Field, Type};

/// Rows held before they are written as one row group.
const ROWS: usize = 32_768;
/// Bytes of a file after which the next one is begun.
const BYTES: usize = 8 << 20;

/// What a column is called in the dataset: `animal` is the partition's name, so the column that holds
/// the exact id has another.
fn name_of<R>(field: &Field<R>) -> &'static str {
    if field.name == "animal" { "animal_id" } else { field.name }
}

/// What stands in the dictionary for a table.
pub(super) fn dictionary<R>(name: &str, title: &str, partitions: &[&str], fields: &[Field<R>]) -> Value {
    let columns: Vec<Value> = fields
        .iter()
        .map(|field| {
            let mut own = json!({
                "name": name_of(field),
                "type": match field.kind {
                    Type::Text => "string",
                    Type::Integer => "integer (64 bit)",
                    Type::Number => "number (64 bit)",
                    Type::Truth => "boolean",
                    Type::Date => "date",
                    Type::Moment => "timestamp (microseconds, UTC)",
                },
                "description": field.meaning,
            });
            if let Some(own) = own.as_object_mut().filter(|_| !field.unit.is_empty()) {
                let _ = own.insert("unit".to_owned(), json!(field.unit));
            }
            own
        })
        .collect();
    json!({ "name": name, "title": title, "partitions": partitions, "columns": columns })
}

enum Values {
    Text(Vec<ByteArray>),
    Integer(Vec<i64>),
    Number(Vec<f64>),
    Truth(Vec<bool>),
    Date(Vec<i32>),
}

struct Column {
    name: &'static str,
    kind: Type,
    /// 1 where there is a value, 0 where there is none.
    levels: Vec<i16>,
    values: Values,
}

/// A table on its way into files.
pub(super) struct Table {
    pub(super) name: &'static str,
    schema: String,
    about: String,
    columns: Vec<Column>,
    rows: usize,
    file: Option<SerializedFileWriter<Vec<u8>>>,
}

impl Table {
    /// A table with these columns; `about` is its entry in the dictionary and goes into each file.
    pub(super) fn new<R>(name: &'static str, fields: &[Field<R>], about: &Value) -> Self {
        let mut schema = format!("message {name} {{\n");
        for field in fields {
            let (physical, logical) = match field.kind {
                Type::Text => ("BYTE_ARRAY", " (STRING)"),
                Type::Integer => ("INT64", ""),
                Type::Number => ("DOUBLE", ""),
                Type::Truth => ("BOOLEAN", ""),
                Type::Date => ("INT32", " (DATE)"),
                Type::Moment => ("INT64", " (TIMESTAMP(MICROS,true))"),
            };
            // Writing into a String can't fail.
            let _ = writeln!(schema, "  OPTIONAL {physical} {}{logical};", name_of(field));
        }
        schema.push('}');
        let columns = fields
            .iter()
            .map(|field| Column {
                name: name_of(field),
                kind: field.kind,
                levels: Vec::new(),
                values: match field.kind {
                    Type::Text => Values::Text(Vec::new()),
                    Type::Integer | Type::Moment => Values::Integer(Vec::new()),
                    Type::Number => Values::Number(Vec::new()),
                    Type::Truth => Values::Truth(Vec::new()),
                    Type::Date => Values::Date(Vec::new()),
                },
            })
            .collect();
        Self { name, schema, about: about.to_string(), columns, rows: 0, file: None }
    }

    /// Takes a row; gives a whole file when one is full.
    ///
    /// # Errors
    /// When a value is not of its column's type, or can't be put into columns.
    pub(super) fn push<R>(&mut self, fields: &[Field<R>], row: &R) -> io::Result<Option<Vec<u8>>> {
        for (column, field) in self.columns.iter_mut().zip(fields) {
            column.push((field.value)(row))?;
        }
        self.rows += 1;
        if self.rows < ROWS {
            return Ok(None);
        }
        self.write_rows().map_err(io::Error::other)?;
        if self.file.as_ref().is_some_and(|file| file.bytes_written() >= BYTES) {
            self.end()
        } else {
            Ok(None)
        }
    }

    /// What is left, as a whole file; none when there is nothing.
    ///
    /// # Errors
    /// When it can't be put into columns.
    pub(super) fn end(&mut self) -> io::Result<Option<Vec<u8>>> {
        if self.rows > 0 {
            self.write_rows().map_err(io::Error::other)?;
        }
        self.file.take().map(SerializedFileWriter::into_inner).transpose().map_err(io::Error::other)
    }

    fn write_rows(&mut self) -> Result<(), ParquetError> {
        let file = if let Some(file) = &mut self.file {
            file
        } else {
            let about = KeyValue::new("shedlight.dictionary".to_owned(), self.about.clone());
            let properties = WriterProperties::builder()
                .set_compression(Compression::SNAPPY)
                .set_created_by(format!("shedlight {}", env!("CARGO_PKG_VERSION")))
                .set_key_value_metadata(Some(vec![about]))
                .build();
            let schema = Arc::new(parse_message_type(&self.schema)?);
            self.file.insert(SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties))?)
        };
        let mut group = file.next_row_group()?;
        for column in &mut self.columns {
            let Some(mut writer) = group.next_column()? else { break };
            let levels = &column.levels;
            match &mut column.values {
                Values::Text(values) => write::<ByteArrayType>(&mut writer, values, levels)?,
                Values::Integer(values) => write::<Int64Type>(&mut writer, values, levels)?,
                Values::Number(values) => write::<DoubleType>(&mut writer, values, levels)?,
                Values::Truth(values) => write::<BoolType>(&mut writer, values, levels)?,
                Values::Date(values) => write::<Int32Type>(&mut writer, values, levels)?,
            }
            column.levels.clear();
            writer.close()?;
        }
        let _ = group.close()?;
        self.rows = 0;
        Ok(())
    }
}

fn write<T: DataType>(
    writer: &mut SerializedColumnWriter<'_>,
    values: &mut Vec<T::T>,
    levels: &[i16],
) -> Result<(), ParquetError> {
    let _ = writer.typed::<T>().write_batch(values, Some(levels), None)?;
    values.clear();
    Ok(())
}

impl Column {
    fn push(&mut self, cell: Cell) -> io::Result<()> {
        let text = match cell {
            Cell::Missing => {
                self.levels.push(0);
                return Ok(());
            }
            Cell::Text(text) | Cell::Plain(text) => text,
        };
        let name = self.name;
        let odd = || io::Error::other(format!("'{text}' is no value of the column {name}"));
        match &mut self.values {
            Values::Text(values) => {
                // Most columns repeat: the bytes are shared, not copied.
                let value = match values.last() {
                    Some(last) if last.data() == text.as_bytes() => last.clone(),
                    _ => ByteArray::from(text.into_bytes()),
                };
                values.push(value);
            }
            Values::Integer(values) if self.kind == Type::Moment => {
                let moment = DateTime::parse_from_rfc3339(&text).map_err(|_| odd())?;
                values.push(moment.timestamp_micros());
            }
            Values::Integer(values) => values.push(text.parse().map_err(|_| odd())?),
            Values::Number(values) => values.push(text.parse().map_err(|_| odd())?),
            Values::Truth(values) => values.push(text.parse().map_err(|_| odd())?),
            Values::Date(values) => {
                let day: NaiveDate = text.parse().map_err(|_| odd())?;
                values.push(day.num_days_from_ce() - EPOCH_DAYS);
            }
        }
        self.levels.push(1);
        Ok(())
    }
}

/// Days from 0001-01-01 (day 1) to 1970-01-01.
const EPOCH_DAYS: i32 = 719_163;
