//! The study as its own files, with the summary beside: any JSON reader opens it, and so does
//! Shedlight.

use std::io::{self, Write};

use serde::Serialize;

use super::{Data, Sink};

/// Writes study, ethograms, sessions, codings and `summary.json`.
///
/// # Errors
/// When the sink can't take them.
pub fn write(data: &Data, sink: &mut dyn Sink) -> io::Result<()> {
    one(sink, "study.json", &data.study)?;
    for ethogram in &data.ethograms {
        one(sink, &format!("ethograms/{}.{}.json", ethogram.id, ethogram.revision), ethogram)?;
    }
    for session in &data.sessions {
        one(sink, &format!("sessions/{}/session.json", session.id), session)?;
    }
    for entry in &data.codings {
        one(sink, &entry.file, &entry.coding)?;
    }
    one(sink, "summary.json", &data.summary())
}

fn one<T: Serialize>(sink: &mut dyn Sink, path: &str, value: &T) -> io::Result<()> {
    sink.file(path, &mut |out: &mut dyn Write| {
        serde_json::to_writer_pretty(&mut *out, value)?;
        writeln!(out)
    })
}
