//! Parses the arguments and acts; the only place that prints an error chain and sets the exit code.

use std::io::Write as _;
use std::process::ExitCode;

use shedlight::cli::{self, Outcome};

fn main() -> ExitCode {
    match cli::run(std::env::args_os()) {
        Ok(Outcome::Done(code)) => ExitCode::from(code),
        Ok(Outcome::OpenWindow(request)) => open_window(&request),
        // Who reads has read enough, as with `| head`.
        Err(cli::Error::Output(error)) if error.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => complain(&error),
    }
}

#[cfg(feature = "gui")]
fn open_window(request: &cli::WindowRequest) -> ExitCode {
    match shedlight::gui::run(request.target.as_deref(), request.session.as_deref(), request.at) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => complain(&error),
    }
}

#[cfg(not(feature = "gui"))]
fn open_window(_request: &cli::WindowRequest) -> ExitCode {
    complain(&cli::Error::NeedsFeature { command: "the window", feature: "gui" })
}

/// Prints the error and what lies under it, each once.
fn complain(error: &dyn std::error::Error) -> ExitCode {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        let cause_text = cause.to_string();
        if !text.contains(&cause_text) {
            text.push_str(": ");
            text.push_str(&cause_text);
        }
        source = cause.source();
    }
    // Nothing sensible is left to do when even the error stream is closed.
    let _ = writeln!(std::io::stderr(), "shedlight: {text}");
    ExitCode::from(cli::COULD_NOT)
}
