//! `shedlight still`: one frame as a picture.

use std::io::Write;

use super::arguments::Still;
use super::{CommandResult, Error};

#[cfg(not(feature = "media"))]
pub(super) fn run(_asked: &Still, _out: &mut dyn Write) -> CommandResult {
    Err(Error::NeedsFeature { command: "still", feature: "media" })
}

#[cfg(feature = "media")]
pub(super) fn run(asked: &Still, out: &mut dyn Write) -> CommandResult {
    use crate::media::{Film, FilmOptions, Heading};

    if is_something_else(&asked.out) {
        return Err(Error::Usage(format!(
            "there is a file of this name already that is no picture; it stays as it is: name another one: {}",
            asked.out.display()
        )));
    }
    crate::media::guard::look(&asked.clip)?;
    let film = Film::open(&asked.clip, FilmOptions::default())?;
    let frame = match (asked.frame, asked.at) {
        (Some(frame), _) => frame,
        (None, Some(at)) if at >= crate::time::Micros::ZERO && at < film.index().end() => {
            film.index().frame_at(at)
        }
        (None, Some(at)) => {
            return Err(Error::Usage(format!(
                "{at} s lies outside the clip, which lasts {} s: {}",
                film.index().end(),
                asked.clip.display()
            )));
        }
        (None, None) => return Err(Error::Usage("say which frame: --frame N or --at S".to_owned())),
    };
    let picture = film.fetch(frame, Heading::Still)?;
    let image = picture.to_rgba();
    let mut bytes = std::io::Cursor::new(Vec::new());
    image::DynamicImage::ImageRgba8(image.clone())
        .to_rgb8()
        .write_to(&mut bytes, image::ImageFormat::Png)
        .map_err(|error| Error::Usage(format!("could not make the picture: {error}")))?;
    crate::files::write_atomically(&asked.out, bytes.get_ref())?;
    let time = film.index().time(frame).unwrap_or_default();
    let (width, height) = image.dimensions();
    if asked.json {
        writeln!(
            out,
            "{{\"clip\":{},\"n\":{frame},\"time_s\":{time},\"width\":{width},\"height\":{height},\"out\":{}}}",
            serde_json::to_string(&asked.clip.to_string_lossy())?,
            serde_json::to_string(&asked.out.to_string_lossy())?
        )?;
    } else {
        writeln!(out, "frame {frame} at {time} s, {width} × {height}: {}", asked.out.display())?;
    }
    super::remark(&film.index().remarks());
    Ok(super::FINE)
}

/// Whether a file lies there that is no picture, such as the film itself.
#[cfg(feature = "media")]
fn is_something_else(path: &std::path::Path) -> bool {
    use std::io::Read as _;
    let Ok(file) = std::fs::File::open(path) else { return false };
    let mut begin = Vec::new();
    let read = file.take(64).read_to_end(&mut begin);
    read.is_err() || !begin.is_empty() && image::guess_format(&begin).is_err()
}
