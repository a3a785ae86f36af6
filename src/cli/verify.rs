//! `shedlight verify`.

use std::io::Write;

use super::arguments::Verify;
use super::{COULD_NOT, CommandResult};

pub(super) fn run(_asked: &Verify, out: &mut dyn Write) -> CommandResult {
    writeln!(out, "not built yet")?;
    Ok(COULD_NOT)
}
