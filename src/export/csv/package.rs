//! The dictionary: a Frictionless Data Package with types, units and meanings of every column.

use serde_json::{Value, json};

use super::Decimal;
use super::columns::{Field, Type, codings, marks, sessions};
use super::measures::{measures, presentations_columns};
use crate::export::Data;
use crate::model::Ethogram;

/// `datapackage.json`.
pub(super) fn of(data: &Data, decimal: Decimal) -> Value {
    let mut resources = vec![
        table(decimal, "marks", "All marks of all codings", &marks(), &["coding", "mark"]),
        table(decimal, "codings", "One row a coding", &codings(), &["coding"]),
        table(
            decimal,
            "sessions",
            "One row a session, also those nobody has coded",
            &sessions(),
            &["session"],
        ),
        table(
            decimal,
            "presentations",
            "One row a presentation, from a cue's onset to its outcome",
            &presentations_columns(),
            &[],
        ),
        table(decimal, "measures", "One row a measure", &measures(), &[]),
    ];
    for (table, field, other) in [
        (0, "coding", "codings"),
        (0, "session", "sessions"),
        (1, "session", "sessions"),
        (3, "session", "sessions"),
    ] {
        let key = json!({ "fields": field, "reference": { "resource": other, "fields": field } });
        let schema = resources.get_mut(table).and_then(|own| own.get_mut("schema"));
        if let Some(keys) = schema.and_then(Value::as_object_mut) {
            let list = keys.entry("foreignKeys").or_insert_with(|| json!([]));
            if let Some(list) = list.as_array_mut() {
                list.push(key);
            }
        }
    }
    let behaviours = behaviours(&data.ethograms);
    json!({
        "profile": "tabular-data-package",
        "name": "shedlight-export",
        "title": data.study.title,
        "description": "Codings of filmed training sessions. Times are seconds of session time with six decimals. An empty value is not defined or not coded and is never zero. A text that a spreadsheet would take for a formula (its first character, after any apostrophes, is = + - @, one of their full-width forms, a tab or a line end) has one apostrophe before it; take it away to have the text.",
        "shedlight_version": env!("CARGO_PKG_VERSION"),
        "resources": resources,
        "behaviours": behaviours,
    })
}

/// The definitions of all behaviours.
pub(in crate::export) fn behaviours(ethograms: &[Ethogram]) -> Vec<Value> {
    ethograms
        .iter()
        .flat_map(|ethogram| {
            ethogram.behaviours.iter().map(move |behaviour| {
                json!({
                    "ethogram": ethogram.id,
                    "revision": ethogram.revision,
                    "behaviour": behaviour.id,
                    "name": behaviour.name,
                    "kind": behaviour.kind,
                    "definition": behaviour.definition,
                    "roles": behaviour.roles,
                    "concern": behaviour.concern,
                })
            })
        })
        .collect()
}

fn table<R>(decimal: Decimal, name: &str, title: &str, fields: &[Field<R>], key: &[&str]) -> Value {
    let columns: Vec<Value> = fields.iter().map(|field| column(field, decimal)).collect();
    let mut schema = json!({ "fields": columns, "missingValues": [""] });
    if let Some(schema) = schema.as_object_mut().filter(|_| !key.is_empty()) {
        let _ = schema.insert("primaryKey".to_owned(), json!(key));
    }
    json!({
        "name": name,
        "title": title,
        "path": format!("{name}.csv"),
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": { "delimiter": decimal.separator(), "quoteChar": "\"", "doubleQuote": true, "lineTerminator": "\r\n", "header": true },
        "schema": schema,
    })
}

fn column<R>(field: &Field<R>, decimal: Decimal) -> Value {
    let kind = match field.kind {
        Type::Text => "string",
        Type::Integer => "integer",
        Type::Number => "number",
        Type::Truth => "boolean",
        Type::Date => "date",
        Type::Moment => "datetime",
    };
    let mut column = json!({ "name": field.name, "type": kind, "description": field.meaning });
    if let Some(own) = column.as_object_mut() {
        if field.kind == Type::Moment {
            let _ = own.insert("format".to_owned(), json!("any"));
        }
        if field.kind == Type::Truth {
            let _ = own.insert("trueValues".to_owned(), json!(["true"]));
            let _ = own.insert("falseValues".to_owned(), json!(["false"]));
        }
        if field.kind == Type::Number && decimal == Decimal::Comma {
            let _ = own.insert("decimalChar".to_owned(), json!(","));
        }
        if !field.unit.is_empty() {
            let _ = own.insert("unit".to_owned(), json!(field.unit));
        }
    }
    column
}
