//! `shedlight demo`: writes the demo study, draws its film, and opens it.

use std::io::Write;
use std::path::PathBuf;

use super::arguments::{Agree, Choice, Demo, Summary, Unit};
use super::{Error, FINE, Outcome, WindowRequest, agree, summary};
use crate::demo;
use crate::storage::StudyFolder;

pub(super) fn run(asked: &Demo, out: &mut dyn Write) -> Result<Outcome, Error> {
    let root = match &asked.dir {
        Some(dir) => dir.clone(),
        None => default_folder()?,
    };
    let study = if root.join("study.json").is_file() {
        let study = StudyFolder::open(&root)?;
        if !demo::is_demo(&study) {
            return Err(Error::Usage(format!(
                "there is another study in this folder; name a new folder for the demo: {}",
                root.display()
            )));
        }
        super::remark(&[format!("the demo is already there: {}", root.display())]);
        study
    } else {
        let study = demo::write(&root)?;
        super::remark(&[format!("the demo study was written: {}", root.display())]);
        study
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
        &Summary { paths: paths.clone(), choice: Choice::default(), json: false, csv: false },
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

fn default_folder() -> Result<PathBuf, Error> {
    let folders = directories::UserDirs::new()
        .ok_or_else(|| Error::Usage("there is no home folder here: name a folder for the demo".to_owned()))?;
    Ok(folders.document_dir().unwrap_or_else(|| folders.home_dir()).join("shedlight-demo"))
}

#[cfg(not(feature = "media"))]
#[allow(clippy::unnecessary_wraps)] // The other one can fail.
fn draw(_study: &StudyFolder, _only: Option<u8>) -> Result<(), Error> {
    super::remark(&["this build draws no film (feature 'media')".to_owned()]);
    Ok(())
}

#[cfg(feature = "media")]
fn draw(study: &StudyFolder, only: Option<u8>) -> Result<(), Error> {
    use indicatif::{MultiProgress, ProgressBar, ProgressStyle};

    let bars = MultiProgress::new();
    let style = ProgressStyle::with_template("drawing {msg:18} {bar:40} {percent:>3} %")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    let make =
        |name: &str| bars.add(ProgressBar::new(1000)).with_style(style.clone()).with_message(name.to_owned());
    demo::drawing::draw_all(study, only, &|name| {
        let bar = make(name);
        Box::new(move |share| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A share of a bar.
            bar.set_position((share.clamp(0.0, 1.0) * 1000.0) as u64);
            if share >= 1.0 {
                bar.finish();
            }
        })
    })?;
    Ok(())
}
