//! `shedlight verify`: random access against a straight read, and how long each takes here.

use std::io::Write;

use super::CommandResult;
#[cfg(not(feature = "media"))]
use super::Error;
use super::arguments::Verify;
#[cfg(feature = "media")]
use super::progress;
#[cfg(feature = "media")]
use crate::workbench::verify::{Found, Spread, verify};

#[cfg(not(feature = "media"))]
pub(super) fn run(_asked: &Verify, _out: &mut dyn Write) -> CommandResult {
    Err(Error::NeedsFeature { command: "verify", feature: "media" })
}

#[cfg(feature = "media")]
pub(super) fn run(asked: &Verify, out: &mut dyn Write) -> CommandResult {
    let bar = progress::bar("checking the clip");
    let stop = progress::listen();
    let found = verify(&asked.clip, asked.seeks, &mut |share| {
        bar.set_position(progress::place(share));
        stop.flow()
    });
    bar.finish_and_clear();
    let found = found?;
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
    } else {
        print(&found, out)?;
    }
    Ok(if found.wrong == 0 { super::FINE } else { super::FINDINGS })
}

#[cfg(feature = "media")]
fn print(found: &Found, out: &mut dyn Write) -> Result<(), std::io::Error> {
    let spread = |spread: &Spread| match (spread.median, spread.p95) {
        (Some(median), Some(p95)) => format!("{median:.1} ms (95 % within {p95:.1} ms)"),
        _ => "—".to_owned(),
    };
    let verdict = if found.wrong == 0 { "every one the right picture" } else { "WRONG PICTURES" };
    writeln!(out, "{}", found.clip)?;
    writeln!(out, "  frames          {}, reached {}", found.frames, found.access)?;
    writeln!(out, "  checked         {} fetches, {} wrong: {verdict}", found.checked, found.wrong)?;
    if found.unreadable > 0 {
        writeln!(out, "  damaged         {} fetches refused: the file is damaged there", found.unreadable)?;
    }
    writeln!(out, "  first picture   {:.0} ms after opening", found.first_picture_ms)?;
    writeln!(out, "  exact seek      {}", spread(&found.seek_ms))?;
    writeln!(out, "  step back       {}", spread(&found.step_back_ms))?;
    writeln!(out, "  step forward    {}", spread(&found.step_forward_ms))?;
    writeln!(out, "  decoding        {:.0} pictures a second", found.decode_fps)?;
    writeln!(out, "  playing         {:.0} pictures a second at most", found.playback_fps)?;
    for remark in &found.remarks {
        writeln!(out, "  note            {remark}")?;
    }
    Ok(())
}
