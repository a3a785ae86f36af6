//! `shedlight demo`: writes the demo study, draws its film, and opens it.

use std::io::Write;

use super::arguments::{Agree, Choice, Demo, Summary, Unit};
#[cfg(feature = "media")]
use super::progress;
use super::{Error, FINE, Outcome, WindowRequest, agree, summary};
use crate::demo::{self, Begun};
use crate::storage::StudyFolder;

pub(super) fn run(asked: &Demo, out: &mut dyn Write) -> Result<Outcome, Error> {
    let root = match &asked.dir {
        Some(dir) => dir.clone(),
        None => demo::default_folder().ok_or_else(|| {
            Error::Usage("there is no home folder here: name a folder for the demo".to_owned())
        })?,
    };
    let study = match demo::begin(&root)? {
        Begun::Written(study) => {
            super::remark(&[format!("the demo study was written: {}", root.display())]);
            study
        }
        Begun::There(study) => {
            super::remark(&[format!("the demo is already there: {}", root.display())]);
            study
        }
        Begun::Another => {
            return Err(Error::Usage(format!(
                "there is another study in this folder; name a new folder for the demo: {}",
                root.display()
            )));
        }
    };
    if !asked.no_clips {
        draw(&study, asked.only)?;
    }
    if asked.no_window {
        return Ok(Outcome::Done(FINE));
    }
    let has_display = cfg!(any(windows, target_os = "macos"))
        || ["DISPLAY", "WAYLAND_DISPLAY"]
            .iter()
            .any(|name| std::env::var_os(name).is_some_and(|value| !value.is_empty()));
    if has_display && cfg!(feature = "gui") {
        return Ok(Outcome::OpenWindow(WindowRequest { target: Some(root), session: None, at: None }));
    }
    let why =
        if has_display { "this build has no window" } else { "there is no display to open a window on" };
    super::remark(&[format!("{why}; here are the demo's summary and agreement instead")]);
    let paths = vec![root];
    let _ = summary::run(
        &Summary { paths: paths.clone(), choice: Choice::default(), json: false, csv: false, all: false },
        out,
    )?;
    let agreement = Agree {
        paths,
        tolerance: None,
        unit: Unit::Exact,
        all: false,
        scheme: None,
        grras: false,
        training: false,
        choice: Choice::default(),
        json: false,
        csv: false,
    };
    let _ = agree::run(&agreement, out)?;
    Ok(Outcome::Done(FINE))
}

#[cfg(not(feature = "media"))]
#[allow(clippy::unnecessary_wraps)] // The other one can fail.
fn draw(_study: &StudyFolder, _only: Option<u8>) -> Result<(), Error> {
    super::remark(&["this build draws no film (feature 'media')".to_owned()]);
    Ok(())
}

#[cfg(feature = "media")]
fn draw(study: &StudyFolder, only: Option<u8>) -> Result<(), Error> {
    let bars = indicatif::MultiProgress::new();
    demo::drawing::draw_all(study, only, &|name| {
        let bar = bars.add(progress::bar(&format!("drawing {name}")));
        Box::new(move |share| {
            bar.set_position(progress::place(share));
            if share >= 1.0 {
                bar.finish();
            }
        })
    })?;
    Ok(())
}
