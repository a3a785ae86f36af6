//! Our JSON: made to be read, compared and repaired by people.
//!
//! Two spaces of indent, keys in the order of the types, short lists on one line, and each
//! element of `marks` on a line of its own, so that a difference of two files is a list of marks.

use std::fmt::Write as _;
use std::io::{self, Read as _};
use std::path::Path;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::Error;
use crate::files;
use crate::model::VERSION;

/// The list whose elements stand on one line each.
const ONE_A_LINE: &str = "marks";
/// Lists and objects without anything nested in them stand on one line up to this width.
const SHORT: usize = 96;

/// A value as our JSON text.
///
/// # Errors
/// When it can't be put into JSON: a number that is not finite, a key that is no text.
pub fn to_text<T: Serialize>(value: &T) -> Result<String, serde_json::Error> {
    let mut text = String::new();
    write_value(&mut text, &serde_json::to_value(value)?, 0, None)?;
    text.push('\n');
    Ok(text)
}

fn write_value(
    text: &mut String,
    value: &Value,
    depth: usize,
    key: Option<&str>,
) -> Result<(), serde_json::Error> {
    let line = |text: &mut String, depth: usize| {
        text.push('\n');
        text.extend(std::iter::repeat_n("  ", depth));
    };
    match value {
        Value::Array(items) if key == Some(ONE_A_LINE) && !items.is_empty() => {
            text.push('[');
            for (i, item) in items.iter().enumerate() {
                text.push_str(if i == 0 { "" } else { "," });
                line(text, depth + 1);
                write_spaced(text, item)?;
            }
            line(text, depth);
            text.push(']');
        }
        Value::Array(items) if !items.is_empty() => {
            if let Some(short) = on_one_line(value, depth)? {
                text.push_str(&short);
                return Ok(());
            }
            text.push('[');
            for (i, item) in items.iter().enumerate() {
                text.push_str(if i == 0 { "" } else { "," });
                line(text, depth + 1);
                write_value(text, item, depth + 1, None)?;
            }
            line(text, depth);
            text.push(']');
        }
        Value::Object(members) if !members.is_empty() => {
            // The file itself is never one line.
            if depth > 0
                && let Some(short) = on_one_line(value, depth)?
            {
                text.push_str(&short);
                return Ok(());
            }
            text.push('{');
            for (i, (key, member)) in members.iter().enumerate() {
                text.push_str(if i == 0 { "" } else { "," });
                line(text, depth + 1);
                text.push_str(&serde_json::to_string(key)?);
                text.push_str(": ");
                write_value(text, member, depth + 1, Some(key))?;
            }
            line(text, depth);
            text.push('}');
        }
        _ => text.push_str(&serde_json::to_string(value)?),
    }
    Ok(())
}

/// A list or object of plain values, if it is short enough.
fn on_one_line(value: &Value, depth: usize) -> Result<Option<String>, serde_json::Error> {
    let is_plain = |value: &Value| !matches!(value, Value::Array(_) | Value::Object(_));
    let all_plain = match value {
        Value::Array(items) => items.iter().all(is_plain),
        Value::Object(members) => members.values().all(is_plain),
        _ => true,
    };
    if !all_plain {
        return Ok(None);
    }
    let mut text = String::new();
    write_spaced(&mut text, value)?;
    Ok((text.chars().count() + 2 * depth <= SHORT).then_some(text))
}

/// On one line, with a space after each comma and colon.
fn write_spaced(text: &mut String, value: &Value) -> Result<(), serde_json::Error> {
    match value {
        Value::Array(items) => {
            text.push('[');
            for (i, item) in items.iter().enumerate() {
                text.push_str(if i == 0 { "" } else { ", " });
                write_spaced(text, item)?;
            }
            text.push(']');
        }
        Value::Object(members) => {
            text.push('{');
            for (i, (key, member)) in members.iter().enumerate() {
                text.push_str(if i == 0 { "" } else { ", " });
                // Writing into a String can't fail.
                let _ = write!(text, "{}: ", serde_json::to_string(key)?);
                write_spaced(text, member)?;
            }
            text.push('}');
        }
        _ => text.push_str(&serde_json::to_string(value)?),
    }
    Ok(())
}

/// Writes a value as our JSON, in one step. What a newer version wrote is never written again: its
/// unknown keys would survive, but not what they promise together.
///
/// # Errors
/// When it can't be written, or is of a newer version; the old file is then untouched.
pub fn write<T: Serialize>(path: &Path, value: &T) -> Result<(), Error> {
    let fail = |source| Error::Json { path: path.to_owned(), source };
    let value = serde_json::to_value(value).map_err(fail)?;
    let version = value.get("version").and_then(Value::as_u64).and_then(|found| u32::try_from(found).ok());
    if let Some(found) = version.filter(|found| *found > VERSION) {
        return Err(Error::Newer { path: path.to_owned(), found, known: VERSION });
    }
    let text = to_text(&value).map_err(fail)?;
    Ok(files::write_atomically(path, text.as_bytes())?)
}

/// Reads a file of one of our formats; of a newer version as far as it is understood, to look at
/// it: [`newer`] tells, and [`write()`] refuses it.
///
/// # Errors
/// When it can't be read, is of another format, of a newer version that is not understood, or not
/// what it should be; with line and column.
pub fn read<T: DeserializeOwned>(path: &Path, format: &'static str) -> Result<T, Error> {
    let text = read_text(path)?;
    parse(path, &text, format)
}

/// The largest file that is read: a coding of a million marks. Every picture of ten hours of film could bear one.
pub const LARGEST: u64 = 128 << 20;

/// What stands in a file, when it is one and no larger than [`LARGEST`]: memory stays bounded whatever lies there, and
/// nobody waits for a pipe.
///
/// # Errors
/// When it can't be read or is too large.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, Error> {
    read_bytes_up_to(path, LARGEST)
}

fn read_bytes_up_to(path: &Path, largest: u64) -> Result<Vec<u8>, Error> {
    let fail = |source| Error::Read { path: path.to_owned(), source };
    // Before it is opened: opening a pipe waits for somebody at its other end.
    if !std::fs::metadata(path).map_err(fail)?.is_file() {
        return Err(fail(io::Error::other("this is no file")));
    }
    let file = std::fs::File::open(path).map_err(fail)?;
    let bytes = file.metadata().map_err(fail)?.len();
    let mut read = Vec::new();
    if bytes <= largest {
        read.reserve_exact(usize::try_from(bytes).unwrap_or_default());
        // It may grow meanwhile.
        let _ = file.take(largest + 1).read_to_end(&mut read).map_err(fail)?;
    }
    if bytes.max(read.len() as u64) > largest {
        return Err(Error::TooLarge {
            path: path.to_owned(),
            megabytes: bytes >> 20,
            largest: largest >> 20,
        });
    }
    Ok(read)
}

/// The text of a file.
///
/// # Errors
/// When it can't be read, is too large or is no UTF-8.
pub fn read_text(path: &Path) -> Result<String, Error> {
    read_text_up_to(path, LARGEST)
}

/// The text of a file that may be larger than any of a study: a table of all its marks.
///
/// # Errors
/// As [`read_text`].
pub fn read_text_up_to(path: &Path, largest: u64) -> Result<String, Error> {
    let bytes = read_bytes_up_to(path, largest)?;
    String::from_utf8(bytes).map_err(|error| {
        let before = error.as_bytes().get(..error.utf8_error().valid_up_to()).unwrap_or_default();
        let (line, column) = line_and_column(before, before.len());
        Error::Content { path: path.to_owned(), line, column, what: "the text is not UTF-8".to_owned() }
    })
}

/// As [`read`], from text.
///
/// # Errors
/// As [`read`].
pub fn parse<T: DeserializeOwned>(path: &Path, text: &str, format: &'static str) -> Result<T, Error> {
    let content = |error: serde_json::Error| {
        let what = error.to_string();
        // serde_json appends the place; ours is told in one way for all errors.
        let what = what.split(" at line ").next().unwrap_or(&what).to_owned();
        Error::Content { path: path.to_owned(), line: error.line(), column: error.column(), what }
    };
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let head = Head::of(text).map_err(content)?;
    let found = head.format.unwrap_or_else(|| "nameless".to_owned());
    if found != format {
        return Err(Error::WrongFormat { path: path.to_owned(), found, wanted: format });
    }
    match (serde_json::from_str(text), head.version) {
        (Err(_), Some(found)) if found > VERSION => {
            Err(Error::Newer { path: path.to_owned(), found, known: VERSION })
        }
        (read, _) => read.map_err(content),
    }
}

/// What every file of ours begins with.
#[derive(Default)]
struct Head {
    format: Option<String>,
    version: Option<u32>,
}

impl Head {
    /// Reads no further than both are known: files of ours begin with them, and a coding is long.
    fn of(text: &str) -> Result<Self, serde_json::Error> {
        let mut head = Self::default();
        let read = serde::de::DeserializeSeed::deserialize(
            HeadSeed(&mut head),
            &mut serde_json::Deserializer::from_str(text),
        );
        // Stopping early leaves the object open, which the parser calls an error.
        if head.format.is_some() && head.version.is_some() { Ok(head) } else { read.map(|()| head) }
    }
}

struct HeadSeed<'a>(&'a mut Head);

impl<'de> serde::de::DeserializeSeed<'de> for HeadSeed<'_> {
    type Value = ();
    fn deserialize<D: serde::Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        from.deserialize_map(self)
    }
}

impl<'de> serde::de::Visitor<'de> for HeadSeed<'_> {
    type Value = ();
    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("an object")
    }
    fn visit_map<A: serde::de::MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        while self.0.format.is_none() || self.0.version.is_none() {
            let Some(key) = map.next_key::<std::borrow::Cow<'_, str>>()? else { return Ok(()) };
            match key.as_ref() {
                "format" => self.0.format = map.next_value()?,
                "version" => self.0.version = map.next_value()?,
                _ => {
                    let _ = map.next_value::<serde::de::IgnoredAny>()?;
                }
            }
        }
        Ok(())
    }
}

/// That a file is of a newer version, as the error of whoever would write it; none when it is not,
/// or can't be read.
#[must_use]
pub fn newer(path: &Path) -> Option<Error> {
    let text = read_text(path).ok()?;
    let head = Head::of(text.strip_prefix('\u{feff}').unwrap_or(&text)).ok()?;
    let found = head.version.filter(|found| *found > VERSION)?;
    Some(Error::Newer { path: path.to_owned(), found, known: VERSION })
}

/// Line and column, from 1, of a byte.
fn line_and_column(bytes: &[u8], at: usize) -> (usize, usize) {
    let before = bytes.get(..at).unwrap_or(bytes);
    let line = before.split(|byte| *byte == b'\n').count();
    let start = before.iter().rposition(|byte| *byte == b'\n').map_or(0, |place| place + 1);
    let column = String::from_utf8_lossy(before.get(start..).unwrap_or_default()).chars().count() + 1;
    (line, column)
}

/// Line and column, from 1, of the value a JSON pointer (RFC 6901) names; of the innermost value
/// on the way there that exists; (1, 1) when the text is no JSON.
#[must_use]
pub fn locate(text: &str, pointer: &str) -> (usize, usize) {
    let steps: Vec<String> =
        pointer.split('/').skip(1).map(|step| step.replace("~1", "/").replace("~0", "~")).collect();
    let mut scanner = Scanner { bytes: text.as_bytes(), at: 0 };
    scanner.skip_space();
    let place = scanner.find(&steps);
    line_and_column(text.as_bytes(), place)
}

/// Walks over JSON that has been parsed before, so it may trust its form.
struct Scanner<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Scanner<'_> {
    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn skip_space(&mut self) {
        while self.peek().is_some_and(|byte| byte.is_ascii_whitespace()) {
            self.at += 1;
        }
    }

    /// Byte at which the named value starts.
    fn find(&mut self, steps: &[String]) -> usize {
        let own = self.at;
        let Some((step, rest)) = steps.split_first() else { return own };
        match self.peek() {
            Some(b'{') => {
                self.at += 1;
                loop {
                    self.skip_space();
                    if self.peek() != Some(b'"') {
                        return own;
                    }
                    let key = self.text();
                    self.skip_space();
                    self.at += 1; // the colon
                    self.skip_space();
                    if key == *step {
                        return self.find(rest);
                    }
                    self.skip_value();
                    self.skip_space();
                    if self.peek() != Some(b',') {
                        return own;
                    }
                    self.at += 1;
                }
            }
            Some(b'[') => {
                let Ok(wanted) = step.parse::<usize>() else { return own };
                self.at += 1;
                for _ in 0..wanted {
                    self.skip_space();
                    self.skip_value();
                    self.skip_space();
                    if self.peek() != Some(b',') {
                        return own;
                    }
                    self.at += 1;
                }
                self.skip_space();
                if self.peek() == Some(b']') { own } else { self.find(rest) }
            }
            _ => own,
        }
    }

    /// A text, unescaped as far as keys need it.
    fn text(&mut self) -> String {
        let start = self.at;
        self.at += 1;
        while let Some(byte) = self.peek() {
            self.at += if byte == b'\\' { 2 } else { 1 };
            if byte == b'"' {
                break;
            }
        }
        let raw = self.bytes.get(start..self.at).unwrap_or_default();
        serde_json::from_slice(raw).unwrap_or_default()
    }

    fn skip_value(&mut self) {
        let mut depth = 0_usize;
        while let Some(byte) = self.peek() {
            match byte {
                b'"' => {
                    let _ = self.text();
                    if depth == 0 {
                        return;
                    }
                    continue;
                }
                b'{' | b'[' => depth += 1,
                b'}' | b']' => {
                    if depth <= 1 {
                        self.at += depth;
                        return;
                    }
                    depth -= 1;
                }
                b',' if depth == 0 => return,
                _ => {}
            }
            self.at += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pointer_leads_to_its_line_and_column() {
        let text = "{\n  \"a\": [1, {\"b\": \"}\"}],\n  \"c/d\": {\"e\": [\n    true,\n    null\n  ]}\n}\n";
        assert_eq!(locate(text, ""), (1, 1));
        assert_eq!(locate(text, "/a/0"), (2, 9));
        assert_eq!(locate(text, "/a/1/b"), (2, 18));
        assert_eq!(locate(text, "/c~1d/e/1"), (5, 5));
        assert_eq!(locate(text, "/a/7"), (2, 8), "the list it is missing from");
        assert_eq!(locate(text, "/x"), (1, 1));
    }

    #[test]
    fn each_mark_has_its_line() {
        let value = serde_json::json!({"a": [1, 2], "b": {}, "marks": [{"id": 1, "t": [1]}, {"id": 2}], "c": {"d": {"e": 1}}});
        let text = to_text(&value).unwrap();
        assert_eq!(
            text,
            "{\n  \"a\": [1, 2],\n  \"b\": {},\n  \"marks\": [\n    {\"id\": 1, \"t\": [1]},\n    {\"id\": 2}\n  ],\n  \"c\": {\n    \"d\": {\"e\": 1}\n  }\n}\n"
        );
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), value);
    }
}
