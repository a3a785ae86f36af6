//! The command line: arguments, one file a command, output and exit codes.
//!
//! Exit codes: [`FINE`], [`FINDINGS`] (the command worked and found something to look at),
//! [`COULD_NOT`]. Results go to the given writer, progress and remarks to standard error, and
//! errors are returned: `main` prints them.

mod accept;
mod agree;
pub mod arguments;
mod check;
mod cut;
mod demo;
mod export;
mod film;
mod frames;
mod import;
mod load;
mod pack;
mod progress;
mod register;
mod report;
mod still;
mod stream;
mod summary;
mod take_in;
mod verify;
mod versions;

use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;

use clap::Parser as _;

use crate::time::Micros;
use arguments::{Arguments, Command};

/// All went well and nothing was found wrong.
pub const FINE: u8 = 0;
/// It worked, and there is something to look at.
pub const FINDINGS: u8 = 1;
/// It could not be done.
pub const COULD_NOT: u8 = 2;

/// What `main` is to do next.
#[derive(Debug)]
pub enum Outcome {
    /// Leave with this exit code.
    Done(u8),
    /// Open the window.
    OpenWindow(WindowRequest),
}

/// What the window is to show first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WindowRequest {
    /// A study folder or a clip; none: the last study.
    pub target: Option<PathBuf>,
    /// A session of that study.
    pub session: Option<String>,
    /// Session time to go to.
    pub at: Option<Micros>,
}

/// Why a command could not be carried out.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The program was built without what the command needs.
    #[error(
        "{command} needs the feature '{feature}', which this build leaves out: build with --features {feature}"
    )]
    NeedsFeature {
        /// What was asked for.
        command: &'static str,
        /// The feature that has it.
        feature: &'static str,
    },
    /// Film could not be opened or read.
    #[cfg(feature = "media")]
    #[error(transparent)]
    Media(#[from] crate::media::Error),
    /// The study could not be read or written.
    #[error(transparent)]
    Storage(#[from] crate::storage::Error),
    /// A study could not be packed or taken in.
    #[error(transparent)]
    Parcel(#[from] crate::storage::parcel::Error),
    /// Film was not deleted.
    #[error(transparent)]
    Retention(#[from] crate::storage::retention::Error),
    /// Nothing that was asked for could be read.
    #[error("nothing could be read; see above")]
    NothingRead,
    /// A file could not be written or locked.
    #[error(transparent)]
    Files(#[from] crate::files::Error),
    /// What was asked for makes no sense together.
    #[error("{0}")]
    Usage(String),
    /// The person who asked for it stopped it.
    #[error("stopped; nothing of it is left")]
    Stopped,
    /// The result could not be written.
    #[error("could not write the result")]
    Output(#[from] std::io::Error),
    /// The result could not be put into JSON.
    #[error("could not write the result as JSON")]
    Json(#[from] serde_json::Error),
}

/// A command's result: its exit code.
pub(crate) type CommandResult = Result<u8, Error>;

/// Reads the arguments (the first is the program's name) and carries out the command.
///
/// # Errors
/// What the command could not do.
pub fn run<I, T>(arguments: I) -> Result<Outcome, Error>
where
    I: IntoIterator<Item = T>,
    T: Into<OsString> + Clone,
{
    let parsed = match Arguments::try_parse_from(arguments) {
        Ok(parsed) => parsed,
        Err(error) => {
            let code = if error.use_stderr() { COULD_NOT } else { FINE };
            error.print()?;
            return Ok(Outcome::Done(code));
        }
    };
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let outcome = carry_out(parsed, &mut out)?;
    out.flush()?;
    Ok(outcome)
}

fn carry_out(parsed: Arguments, out: &mut dyn Write) -> Result<Outcome, Error> {
    let Some(command) = parsed.command else {
        // A link from a report names study, session and moment in one.
        let link = parsed.target.as_ref().and_then(|target| crate::report::link::read(target.to_str()?));
        if let Some((study, session, at)) = link {
            let request = WindowRequest { target: Some(study.into()), session: Some(session), at: Some(at) };
            return Ok(Outcome::OpenWindow(request));
        }
        return Ok(Outcome::OpenWindow(WindowRequest {
            target: parsed.target,
            session: parsed.session,
            at: parsed.at,
        }));
    };
    let code = match command {
        Command::Demo(asked) => return demo::run(&asked, out),
        Command::Frames(asked) => frames::run(&asked, out),
        Command::Still(asked) => still::run(&asked, out),
        Command::Verify(asked) => verify::run(&asked, out),
        Command::Summary(asked) => summary::run(&asked, out),
        Command::Agree(asked) => agree::run(&asked, out),
        Command::Report(asked) => report::run(&asked, out),
        Command::Cut(asked) => cut::run(&asked, out),
        Command::Export(asked) => export::run(&asked, out),
        Command::Import(asked) => import::run(&asked, out),
        Command::Film(asked) => film::run(&asked, out),
        Command::Pack(asked) => pack::run(&asked, out),
        Command::TakeIn(asked) => take_in::run(&asked, out),
        Command::Check(asked) => check::run(&asked, out),
        Command::Restore(asked) => versions::restore(&asked, out),
        Command::Accept(asked) => accept::run(&asked, out),
        Command::Merge(asked) => versions::merge(&asked, out),
        Command::Register(asked) => register::run(&asked, out),
        Command::LookAtClip { clip } => look_at_clip(&clip),
        Command::Completions { shell } => arguments::completions(shell, out),
        Command::Man => arguments::man_page(out),
        Command::Schema { dir } => arguments::schemas(&dir, out),
    }?;
    Ok(Outcome::Done(code))
}

/// Tells a person something that is no result: on the error stream.
fn remark(remarks: &[String]) {
    for remark in remarks {
        // Nothing is lost when nobody listens.
        let _ = writeln!(std::io::stderr(), "note: {remark}");
    }
}

#[cfg(feature = "media")]
#[allow(clippy::unnecessary_wraps)] // As every command.
fn look_at_clip(clip: &std::path::Path) -> CommandResult {
    Ok(u8::try_from(crate::media::guard::take_look(clip)).unwrap_or(COULD_NOT))
}

#[cfg(not(feature = "media"))]
fn look_at_clip(_clip: &std::path::Path) -> CommandResult {
    Err(Error::NeedsFeature { command: "look-at-clip", feature: "media" })
}
