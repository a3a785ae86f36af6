//! `shedlight agree`.

use std::io::Write;

use super::arguments::Agree;
use super::{COULD_NOT, CommandResult};

pub(super) fn run(_asked: &Agree, out: &mut dyn Write) -> CommandResult {
    writeln!(out, "not built yet")?;
    Ok(COULD_NOT)
}
