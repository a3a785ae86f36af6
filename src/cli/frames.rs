//! `shedlight frames`: one line a frame.

use std::io::Write;

use super::CommandResult;
#[cfg(not(feature = "media"))]
use super::Error;
use super::arguments::Frames;

#[cfg(not(feature = "media"))]
pub(super) fn run(_asked: &Frames, _out: &mut dyn Write) -> CommandResult {
    Err(Error::NeedsFeature { command: "frames", feature: "media" })
}

#[cfg(feature = "media")]
pub(super) fn run(asked: &Frames, out: &mut dyn Write) -> CommandResult {
    use crate::media::{Film, FilmOptions};
    use crate::time::FrameNumber;

    crate::media::guard::look(&asked.clip)?;
    let film = Film::open(&asked.clip, FilmOptions::default())?;
    let index = film.index();
    let base = index.time_base();
    let base = format!("{}/{}", base.num(), base.den());
    let rows = (0_u32..)
        .map(FrameNumber)
        .zip(index.times())
        .map(|(frame, time)| (frame, *time, index.is_key(frame), index.pts(frame).unwrap_or_default()));
    if asked.json {
        write!(out, "{{\"clip\":{},\"frames\":[", serde_json::to_string(&asked.clip.to_string_lossy())?)?;
        for (frame, time, key, pts) in rows {
            let comma = if frame.0 == 0 { "" } else { "," };
            // Printed from the integer: six decimals, whatever a float would make of them.
            write!(out, "{comma}\n{{\"n\":{frame},\"time_s\":{time},\"key\":{key}")?;
            if asked.raw {
                write!(out, ",\"pts\":{pts},\"time_base\":\"{base}\"")?;
            }
            write!(out, "}}")?;
        }
        writeln!(
            out,
            "\n],\"end_s\":{},\"remarks\":{}}}",
            index.end(),
            serde_json::to_string(&index.remarks())?
        )?;
    } else {
        let separator = if asked.csv { "," } else { "\t" };
        let mut head = vec!["n", "time_s", "key"];
        if asked.raw {
            head.extend(["pts", "time_base"]);
        }
        writeln!(out, "{}", head.join(separator))?;
        for (frame, time, key, pts) in rows {
            write!(out, "{frame}{separator}{time}{separator}{}", if key { "key" } else { "" })?;
            if asked.raw {
                write!(out, "{separator}{pts}{separator}{base}")?;
            }
            writeln!(out)?;
        }
        super::remark(&index.remarks());
    }
    Ok(super::FINE)
}
