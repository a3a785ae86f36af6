//! Parquet: a dataset in columns, a folder an animal and year, that engines read as it is.
//!
//! Sessions are taken one after another, in any order but best by animal and year; what is held is
//! one row group a table and at most one unfinished file of some megabytes. The columns are those of
//! the CSV tables, from the same definitions; texts are written as they are, without the apostrophe
//! that guards a spreadsheet. Every file carries its part of the dictionary.

mod place;
mod table;

use std::io::{self, Write};
use std::sync::Arc;

use serde_json::{Value, json};

use self::place::Year;
use self::table::{Table, dictionary};
use super::csv::columns::{CodingRow, Field, MarkRow, SessionRow, Type, codings, field, marks, sessions};
use super::csv::measures::{self, measures, presentations_columns};
use super::csv::{Cell, package};
use super::{Entry, Sink};
use crate::measures::summary::{AnimalSummary, CodingSummary, IncidentFigures};
use crate::model::{AnimalId, Ethogram, Session, Study};

/// A session with what was coded and counted of it.
#[derive(Debug, Clone, Copy)]
pub struct Occasion<'a> {
    /// The study.
    pub study: &'a Study,
    /// The session.
    pub session: &'a Session,
    /// The year of its start, if it is known.
    pub year: Option<i32>,
    /// Its codings.
    pub codings: &'a [(Entry, Arc<Ethogram>)],
    /// The summaries of those that could be measured.
    pub summaries: &'a [CodingSummary],
}

/// An incident and the coding it was found in.
struct IncidentRow<'a> {
    coding: &'a CodingSummary,
    own: &'a IncidentFigures,
}

#[rustfmt::skip]
fn incidents<'a>() -> Vec<Field<IncidentRow<'a>>> {
    vec![
        field("session", Type::Text, "", "The session.", |r| Cell::text(&r.coding.session)),
        field("animal", Type::Text, "", "The focal animal's id.", |r| Cell::text(&r.coding.animal)),
        field("by", Type::Text, "", "Code of the person who coded it.", |r| Cell::text(&r.coding.by)),
        field("purpose", Type::Text, "", "What the coding counts as.", |r| Cell::text(r.coding.purpose)),
        field("counts", Type::Truth, "", "The coding is among those pooled.", |r| Cell::plain(r.coding.counts)),
        field("at_s", Type::Number, "s", "Session time of its start.", |r| Cell::plain(measures::seconds(r.own.at_s))),
        field("behaviour", Type::Text, "", "The stop-level behaviour it began with.", |r| Cell::text(&r.own.behaviour)),
        field("presentation", Type::Integer, "", "The presentation it began in; empty: between presentations.", |r| Cell::known(r.own.presentation)),
        field("back_off_s", Type::Number, "s", "From its start until the handler backed off; empty: see why.", |r| Cell::known(r.own.back_off_s.map(measures::seconds))),
        field("warning_s", Type::Number, "s", "From the first watch-level onset in the minute before; empty: no warning.", |r| Cell::known(r.own.warning_s.map(measures::seconds))),
        field("why", Type::Text, "", "Why what is missing is missing.", |r| Cell::maybe(r.own.why.as_ref())),
    ]
}

/// How many rows were written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Written {
    /// Sessions.
    pub sessions: u64,
    /// Codings.
    pub codings: u64,
    /// Marks.
    pub marks: u64,
}

/// A dataset being written; [`Dataset::finish`] makes it whole.
pub struct Dataset {
    sessions: Table,
    codings: Table,
    marks: Table,
    presentations: Table,
    incidents: Table,
    measures: Table,
    animals: Table,
    about: Vec<Value>,
    /// The animal and year whose rows are held.
    open: Option<(AnimalId, Option<i32>)>,
    files: u32,
    written: Written,
}

impl Default for Dataset {
    fn default() -> Self {
        Self::new()
    }
}

impl Dataset {
    /// An empty one.
    #[must_use]
    pub fn new() -> Self {
        const BOTH: &[&str] = &["animal", "year"];
        let mut about = Vec::new();
        Self {
            sessions: table(
                &mut about,
                "sessions",
                "One row a session, also those nobody has coded",
                BOTH,
                &sessions(),
            ),
            codings: table(&mut about, "codings", "One row a coding", BOTH, &codings()),
            marks: table(&mut about, "marks", "All marks of all codings", BOTH, &marks()),
            presentations: table(
                &mut about,
                "presentations",
                "One row a presentation, from a cue's onset to its outcome",
                BOTH,
                &presentations_columns(),
            ),
            incidents: table(&mut about, "incidents", "One row a stop-level incident", BOTH, &incidents()),
            measures: table(&mut about, "measures", "One row a measure of a coding", BOTH, &measures()),
            animals: table(
                &mut about,
                "animal_measures",
                "One row a measure of an animal's primary codings together, over all years",
                &["animal"],
                &measures(),
            ),
            about,
            open: None,
            files: 0,
            written: Written::default(),
        }
    }

    /// Takes a session.
    ///
    /// # Errors
    /// When the sink can't take it.
    pub fn session(&mut self, own: &Occasion<'_>, sink: &mut dyn Sink) -> io::Result<()> {
        let place = (own.session.animal.clone(), own.year);
        if self.open.as_ref() != Some(&place) {
            self.end_partition(sink)?;
            self.open = Some(place);
        }
        let Some((animal, year)) = self.open.clone() else { return Ok(()) };
        let mut to = To { sink, files: &mut self.files, animal: animal.as_str(), year: Year::Of(year) };
        let row = SessionRow { study: own.study, session: own.session };
        to.push(&mut self.sessions, &sessions(), &row)?;
        self.written.sessions += 1;
        let (of_codings, of_marks) = (codings(), marks());
        for (entry, ethogram) in own.codings {
            let coding = CodingRow::new(entry, own.session, ethogram);
            to.push(&mut self.codings, &of_codings, &coding)?;
            for mark in &entry.coding.marks {
                to.push(&mut self.marks, &of_marks, &MarkRow::of(coding, mark))?;
            }
            self.written.codings += 1;
            self.written.marks += u64::try_from(entry.coding.marks.len()).unwrap_or(u64::MAX);
        }
        let (of_presentations, of_incidents, of_measures) =
            (presentations_columns(), incidents(), measures());
        let mut rows = Vec::new();
        for coding in own.summaries {
            for one in measures::presentations_of(coding) {
                to.push(&mut self.presentations, &of_presentations, &one)?;
            }
            for own in coding.figures.concern.stop_incidents.iter().flatten() {
                to.push(&mut self.incidents, &of_incidents, &IncidentRow { coding, own })?;
            }
            rows.clear();
            measures::of_coding(coding, &mut rows);
            for one in &rows {
                to.push(&mut self.measures, &of_measures, one)?;
            }
        }
        Ok(())
    }

    /// Takes the pooled measures of an animal.
    ///
    /// # Errors
    /// When the sink can't take them.
    pub fn animal(&mut self, own: &AnimalSummary, sink: &mut dyn Sink) -> io::Result<()> {
        let mut rows = Vec::new();
        measures::of_animal(own, &mut rows);
        let mut to = To { sink, files: &mut self.files, animal: &own.animal, year: Year::All };
        let fields = measures();
        for one in &rows {
            to.push(&mut self.animals, &fields, one)?;
        }
        to.end(&mut self.animals)
    }

    /// Ends the dataset with its dictionary.
    ///
    /// # Errors
    /// When the sink can't take them.
    pub fn finish(mut self, title: &str, ethograms: &[Ethogram], sink: &mut dyn Sink) -> io::Result<Written> {
        self.end_partition(sink)?;
        let dictionary = json!({
            "title": title,
            "description": "Codings of filmed training sessions, partitioned by animal and year as Hive does. Times are seconds of session time, exact to the microsecond. What is missing is not defined or not coded and is never zero. In the folders' names everything but letters, digits, - _ and . is percent-encoded; animal_id has the exact id. A year is that of the session's true start in its own zone; __HIVE_DEFAULT_PARTITION__ stands for none.",
            "shedlight_version": env!("CARGO_PKG_VERSION"),
            "partition_columns": [
                { "name": "animal", "type": "string", "description": "The focal animal's id. Some readers guess a number from a name of digits: animal_id stays as it is." },
                { "name": "year", "type": "integer", "unit": "a", "description": "Calendar year of the session's true start." },
            ],
            "tables": self.about,
            "behaviours": package::behaviours(ethograms),
        });
        sink.file("dictionary.json", &mut |out: &mut dyn Write| {
            serde_json::to_writer_pretty(&mut *out, &dictionary)?;
            writeln!(out)
        })?;
        Ok(self.written)
    }

    fn end_partition(&mut self, sink: &mut dyn Sink) -> io::Result<()> {
        let Some((animal, year)) = self.open.take() else { return Ok(()) };
        let mut to = To { sink, files: &mut self.files, animal: animal.as_str(), year: Year::Of(year) };
        for table in [
            &mut self.sessions,
            &mut self.codings,
            &mut self.marks,
            &mut self.presentations,
            &mut self.incidents,
            &mut self.measures,
        ] {
            to.end(table)?;
        }
        Ok(())
    }
}

fn table<R>(
    about: &mut Vec<Value>,
    name: &'static str,
    title: &str,
    partitions: &[&str],
    fields: &[Field<R>],
) -> Table {
    let own = dictionary(name, title, partitions, fields);
    let table = Table::new(name, fields, &own);
    about.push(own);
    table
}

/// Where the rows of a partition go.
struct To<'a> {
    sink: &'a mut dyn Sink,
    files: &'a mut u32,
    animal: &'a str,
    year: Year,
}

impl To<'_> {
    fn push<R>(&mut self, table: &mut Table, fields: &[Field<R>], row: &R) -> io::Result<()> {
        match table.push(fields, row)? {
            Some(file) => self.write(table.name, &file),
            None => Ok(()),
        }
    }

    fn end(&mut self, table: &mut Table) -> io::Result<()> {
        match table.end()? {
            Some(file) => self.write(table.name, &file),
            None => Ok(()),
        }
    }

    /// Files are numbered through: two ids that one file system takes for the same name share a folder, and
    /// nothing is written over.
    fn write(&mut self, table: &str, file: &[u8]) -> io::Result<()> {
        *self.files += 1;
        let folder = place::folder(table, self.animal, self.year);
        self.sink.file(&format!("{folder}/part-{:06}.parquet", self.files), &mut |out| out.write_all(file))
    }
}
