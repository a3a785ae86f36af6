//! `shedlight frames`.

use std::io::Write;

use super::arguments::Frames;
use super::{COULD_NOT, CommandResult};

pub(super) fn run(_asked: &Frames, out: &mut dyn Write) -> CommandResult {
    writeln!(out, "not built yet")?;
    Ok(COULD_NOT)
}
