//! `shedlight summary`.

use std::io::Write;

use super::arguments::Summary;
use super::{COULD_NOT, CommandResult};

pub(super) fn run(_asked: &Summary, out: &mut dyn Write) -> CommandResult {
    writeln!(out, "not built yet")?;
    Ok(COULD_NOT)
}
