//! `shedlight demo`.

use std::io::Write;

use super::arguments::Demo;
use super::{COULD_NOT, Error, Outcome};

pub(super) fn run(_asked: &Demo, out: &mut dyn Write) -> Result<Outcome, Error> {
    writeln!(out, "not built yet")?;
    Ok(Outcome::Done(COULD_NOT))
}
