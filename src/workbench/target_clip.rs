//! The clip a reaction lag is measured on: a target that changes at the moments it is given.

use std::ops::ControlFlow;
use std::path::Path;

use super::reaction::{LENGTH, PICTURES_PER_SECOND};
use crate::media::Error;
use crate::media::encode::{Content, Planes, Settings, Writer};
use crate::media::picture::Turn;
use crate::time::Micros;

const WIDTH: u32 = 640;
const HEIGHT: u32 = 360;
/// Ground, dark target, bright target, in limited range.
const SHADES: (u8, u8, u8) = (70, 30, 225);
/// Half the size of the target, in pixels.
const RADIUS: i64 = 80;

/// Draws and writes the clip; `progress` hears how far it is, 0–1, and may stop it.
///
/// # Errors
/// When it can't be written, or was stopped.
pub fn write(
    path: &Path,
    changes: &[Micros],
    progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
) -> Result<(), Error> {
    let settings = Settings {
        width: WIDTH,
        height: HEIGHT,
        ticks_per_second: i32::try_from(PICTURES_PER_SECOND).unwrap_or(50),
        turn: Turn::None,
        key_every: 250,
        created: None,
        content: Content::Drawing,
        sound_rate: None,
    };
    let mut writer = Writer::create(path, &settings)?;
    let looks = [picture(Look::DarkDisc), picture(Look::BrightSquare)];
    let grey = vec![128; WIDTH as usize * HEIGHT as usize / 4];
    let picture = 1_000_000 / PICTURES_PER_SECOND;
    for at in (0..LENGTH.0).step_by(usize::try_from(picture).unwrap_or(20_000)).map(Micros) {
        let turns = changes.partition_point(|change| *change <= at);
        if let Some(luma) = looks.get(turns % 2) {
            writer.write(Planes { luma, blue: &grey, red: &grey }, at)?;
        }
        #[allow(clippy::cast_possible_truncation)] // A share.
        let share = (at.seconds() / LENGTH.seconds()) as f32;
        if at.0 % 1_000_000 == 0 && progress(share).is_break() {
            return Err(Error::Stopped);
        }
    }
    writer.finish()
}

/// The target changes its shape as well as its shade: nobody needs to see colours.
#[derive(Clone, Copy, PartialEq)]
enum Look {
    DarkDisc,
    BrightSquare,
}

fn picture(look: Look) -> Vec<u8> {
    let (ground, dark, bright) = SHADES;
    let sample = |place: usize| {
        let place = i64::try_from(place).unwrap_or(0);
        let (x, y) = (
            place % i64::from(WIDTH) - i64::from(WIDTH) / 2,
            place / i64::from(WIDTH) - i64::from(HEIGHT) / 2,
        );
        match look {
            Look::DarkDisc if x * x + y * y <= RADIUS * RADIUS => dark,
            Look::BrightSquare if x.abs() <= RADIUS && y.abs() <= RADIUS => bright,
            _ => ground,
        }
    };
    (0..WIDTH as usize * HEIGHT as usize).map(sample).collect()
}

#[cfg(test)]
mod tests {
    use super::super::reaction;
    use super::*;
    use crate::media::straight::Straight;

    #[test]
    fn the_target_changes_on_the_very_pictures_it_should() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("target.mp4");
        let changes = reaction::moments(11);
        let mut told = 0.0;
        write(&path, &changes, &mut |share| {
            assert!(share >= told);
            told = share;
            ControlFlow::Continue(())
        })
        .unwrap();
        let mut film = Straight::open(&path).unwrap();
        let (mut before, mut seen, mut number) = (None, Vec::new(), 0);
        while let Some(next) = film.next_picture() {
            // Nearest samples: the one in the middle is that of the whole picture.
            let middle = next.picture.to_rgba_within(1, 1).get_pixel(0, 0).0[1] > 128;
            if before.replace(middle).is_some_and(|before| before != middle) {
                seen.push(Micros(number * 1_000_000 / PICTURES_PER_SECOND));
            }
            number += 1;
        }
        assert_eq!(seen, changes);
        assert_eq!(number, LENGTH.0 / 1_000_000 * PICTURES_PER_SECOND);
        let stopped = write(&path, &changes, &mut |_| ControlFlow::Break(()));
        assert!(matches!(stopped, Err(Error::Stopped)));
    }
}
