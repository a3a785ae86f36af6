//! `shedlight still`.

use std::io::Write;

use super::arguments::Still;
use super::{COULD_NOT, CommandResult};

pub(super) fn run(_asked: &Still, out: &mut dyn Write) -> CommandResult {
    writeln!(out, "not built yet")?;
    Ok(COULD_NOT)
}
