//! Marks from a table: one row a mark, as `marks.csv` or as anybody's spreadsheet with the columns
//! session, by, behaviour and from_s.

use std::collections::BTreeMap;

use super::{Error, Found, Group, Intake, Known, Refused, behaviour, settle};
use crate::export::csv::{Decimal, parse, unguarded};
use crate::model::{
    BehaviourId, ClipId, Coding, End, EthogramRef, Kind, Mark, MarkId, PersonCode, Placed, Purpose,
    SessionId, Status,
};
use crate::time::{FrameNumber, Micros, Span};

/// A table read by the names of its columns.
struct Table {
    columns: BTreeMap<String, usize>,
    decimal: Decimal,
    rows: Vec<(usize, Vec<String>)>,
}

/// A row of it.
#[derive(Clone, Copy)]
struct Row<'a> {
    table: &'a Table,
    cells: &'a [String],
}

impl Table {
    fn read(text: &str) -> Result<Self, Error> {
        let mut rows = parse(text).map_err(|line| Error::Quote { line })?;
        let head = if rows.is_empty() { Vec::new() } else { rows.remove(0).1 };
        let columns = head.iter().enumerate().map(|(i, name)| (name.trim().to_lowercase(), i)).collect();
        Ok(Self { columns, decimal: Decimal::of(text), rows })
    }

    fn rows(&self) -> impl Iterator<Item = (usize, Row<'_>)> {
        self.rows.iter().map(|(line, cells)| (*line, Row { table: self, cells }))
    }
}

impl<'a> Row<'a> {
    /// A cell that is not empty.
    fn get(self, column: &str) -> Option<&'a str> {
        let cell = self.cells.get(*self.table.columns.get(column)?)?;
        (!cell.is_empty()).then_some(cell.as_str())
    }

    fn text(self, column: &str) -> Option<String> {
        self.get(column).map(|cell| unguarded(cell).to_owned())
    }

    fn parsed<T: std::str::FromStr>(self, column: &str) -> Result<Option<T>, String> {
        let Some(cell) = self.get(column) else { return Ok(None) };
        let point = match self.table.decimal {
            Decimal::Comma => cell.replace(',', "."),
            Decimal::Point => cell.to_owned(),
        };
        point
            .trim()
            .parse()
            .map(Some)
            .map_err(|_| format!("'{cell}' in {column} is not a value of that column"))
    }

    fn truth(self, column: &str) -> bool {
        self.get(column)
            .is_some_and(|cell| matches!(cell.trim().to_lowercase().as_str(), "true" | "1" | "yes"))
    }
}

/// Reads a table of marks; `codings` is the text of the `codings.csv` that lies beside it, if there
/// is one: it tells which passes are done.
///
/// # Errors
/// When it is no table, or one without the columns that are needed.
pub fn from_csv(marks: &str, codings: Option<&str>, known: Known<'_>) -> Result<Intake, Error> {
    let table = Table::read(marks)?;
    for column in ["session", "by", "behaviour", "from_s"] {
        if !table.columns.contains_key(column) {
            return Err(Error::Column { column });
        }
    }
    let mut intake = Intake::default();
    let mut groups: BTreeMap<String, Group> = BTreeMap::new();
    if let Some(text) = codings {
        heads(&Table::read(text)?, &mut groups, &mut intake);
    }
    for (line, row) in table.rows() {
        match mark(row, known) {
            Ok((key, found)) => {
                let group = groups.entry(key).or_default();
                if group.session.is_empty() {
                    *group = group_of(row);
                }
                group.marks.push(Found { place: format!("line {line}"), ..found });
            }
            Err(why) => intake.refused.push(Refused { place: format!("line {line}"), why }),
        }
    }
    settle(groups, known, &mut intake);
    Ok(intake)
}

fn group_of(row: Row<'_>) -> Group {
    let revision = row.get("revision").and_then(|cell| cell.trim().parse().ok());
    Group {
        head: None,
        session: row.text("session").unwrap_or_default(),
        by: row.text("by").unwrap_or_default(),
        purpose: row.get("purpose").and_then(purpose),
        ethogram: row.text("ethogram").zip(revision),
        marks: Vec::new(),
    }
}

fn key_of(row: Row<'_>) -> String {
    row.text("coding").unwrap_or_else(|| {
        let part = |column| row.text(column).unwrap_or_default();
        format!("session {} by {} {}", part("session"), part("by"), part("purpose")).trim_end().to_owned()
    })
}

fn purpose(cell: &str) -> Option<Purpose> {
    use Purpose::{Agreed, Primary, Repeat, Second, Training, Trial};
    [Primary, Second, Repeat, Agreed, Training, Trial].into_iter().find(|own| own.word() == cell.trim())
}

/// What `codings.csv` says of each coding.
fn heads(table: &Table, groups: &mut BTreeMap<String, Group>, intake: &mut Intake) {
    for (line, row) in table.rows() {
        let group = group_of(row);
        let read = |column: &'static str| row.text(column).unwrap_or_else(|| "null".to_owned());
        let passes = serde_json::from_str(&read("passes"));
        let rule = serde_json::from_str(&read("rule"));
        let (Ok(passes), Ok(rule), Some((id, revision))) = (passes, rule, &group.ethogram) else {
            let why =
                "rule, passes or ethogram of this coding can't be read; its marks may still be taken in"
                    .to_owned();
            intake.refused.push(Refused { place: format!("codings.csv, line {line}"), why });
            continue;
        };
        let reference = EthogramRef { id: id.as_str().into(), revision: *revision, digest: String::new() };
        let mut head = Coding::new(
            SessionId::from(group.session.as_str()),
            PersonCode::from(group.by.as_str()),
            reference,
        );
        (head.passes, head.rule) = (passes, rule);
        head.purpose = group.purpose.unwrap_or(Purpose::Primary);
        head.masked =
            row.text("masked").map(|all| all.split("; ").map(str::to_owned).collect()).unwrap_or_default();
        let edges = row.parsed("window_from_s").ok().flatten().zip(row.parsed("window_to_s").ok().flatten());
        head.window =
            edges.filter(|_| row.truth("window_set")).and_then(|(from, to)| Span::try_new(from, to));
        head.status = if row.get("status") == Some("closed") { Status::Closed } else { Status::Open };
        let moment =
            |column| row.get(column).and_then(|cell| chrono::DateTime::parse_from_rfc3339(cell).ok());
        (head.begun, head.closed) = (moment("begun"), moment("closed"));
        let _ = groups.insert(key_of(row), Group { head: Some(head), ..group });
    }
}

fn mark(row: Row<'_>, known: Known<'_>) -> Result<(String, Found), String> {
    let group = group_of(row);
    if group.session.is_empty() {
        return Err("it names no session".to_owned());
    }
    if group.by.is_empty() {
        return Err("it does not say by whom".to_owned());
    }
    let session = known
        .session(&group.session)
        .ok_or_else(|| format!("the study has no session '{}'", group.session))?;
    let ethogram = known.ethogram(group.ethogram.as_ref())?;
    let named = row.text("behaviour").ok_or("it names no behaviour")?;
    let behaviour = behaviour(ethogram, &named).ok_or_else(|| {
        format!("{} revision {} has no behaviour '{named}'", ethogram.id, ethogram.revision)
    })?;
    let from: Micros = row.parsed("from_s")?.ok_or("it has no from_s")?;
    let to: Option<Micros> = row.parsed("to_s")?;
    let to = match (behaviour.kind, to) {
        (Kind::Event, None) => End::Event,
        (Kind::Event, Some(_)) => return Err(format!("'{}' is an event and has no to_s", behaviour.name)),
        (Kind::State, Some(to)) => End::At(to),
        (Kind::State, None) => End::Open,
    };
    let id: Option<u64> = row.parsed("mark")?;
    let clip = |column| -> Result<Option<ClipId>, String> { Ok(row.parsed(column)?.map(ClipId)) };
    let by_path = || {
        let path = row.text("clip_path")?;
        session.clips.iter().find(|clip| clip.path == path).map(|clip| clip.id)
    };
    let frame = |column| -> Result<Option<FrameNumber>, String> { Ok(row.parsed(column)?.map(FrameNumber)) };
    let live = row.parsed("live_speed")?.zip(row.parsed("live_raw_s")?).zip(row.parsed("live_lag_s")?);
    let extra = match row.text("other_keys") {
        Some(text) => serde_json::from_str(&text).map_err(|_| "other_keys is no JSON object".to_owned())?,
        None => crate::model::Extra::new(),
    };
    let mark = Mark {
        to,
        clip: clip("clip")?.or_else(by_path),
        frame: frame("frame")?,
        to_clip: clip("to_clip")?,
        to_frame: frame("to_frame")?,
        detail: row.text("detail"),
        unsure: row.truth("unsure"),
        note: row.text("note"),
        placed: live.map_or(Placed::Stepped, |((speed, raw), lag)| Placed::Live { speed, raw, lag }),
        reason: row.text("reason"),
        extra,
        ..Mark::event(MarkId(id.unwrap_or(0)), BehaviourId::clone(&behaviour.id), from)
    };
    Ok((key_of(row), Found { place: String::new(), mark, is_nameless: id.is_none() }))
}
