//! `shedlight check`.

use std::io::Write;

use super::arguments::Check;
use super::{COULD_NOT, CommandResult};

pub(super) fn run(_asked: &Check, out: &mut dyn Write) -> CommandResult {
    writeln!(out, "not built yet")?;
    Ok(COULD_NOT)
}
