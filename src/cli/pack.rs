//! `shedlight pack`: a study as one file.

use std::io::Write;
use std::ops::ControlFlow;

use indicatif::{ProgressBar, ProgressStyle};

use super::arguments::Pack;
use super::{CommandResult, FINDINGS, FINE};
use crate::storage::StudyFolder;
use crate::storage::parcel::{self, Contents};

pub(super) fn run(asked: &Pack, out: &mut dyn Write) -> CommandResult {
    let folder = StudyFolder::open(&asked.study)?;
    let now = chrono::Local::now().fixed_offset();
    let contents = Contents { film: asked.with_film, by: asked.by.clone(), now };
    let bar = bar("packing");
    let packed = parcel::pack(&folder, &contents, &asked.out, &mut |share| tell(&bar, share))?;
    bar.finish_and_clear();
    super::remark(&packed.remarks);
    if asked.json {
        let text = serde_json::json!({
            "out": asked.out, "files": packed.files, "clips": packed.clips, "bytes": packed.size,
            "remarks": packed.remarks,
        });
        serde_json::to_writer_pretty(&mut *out, &text)?;
        writeln!(out)?;
    } else {
        #[allow(clippy::cast_precision_loss)] // For people.
        let size = packed.size as f64 / 1e6;
        writeln!(
            out,
            "{} files of '{}', {} of them film, in {} ({size:.1} MB)",
            packed.files,
            folder.study.title,
            packed.clips,
            asked.out.display()
        )?;
        if !asked.with_film {
            writeln!(out, "The film is not in it: --with-film packs it too.")?;
        }
    }
    Ok(if packed.remarks.is_empty() { FINE } else { FINDINGS })
}

/// A bar on a terminal.
pub(super) fn bar(does: &str) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg:18} {bar:40} {percent:>3} %")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(1000).with_style(style).with_message(does.to_owned())
}

/// Tells the bar; the work always goes on.
pub(super) fn tell(bar: &ProgressBar, share: f32) -> ControlFlow<()> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A place on the bar.
    bar.set_position((share.clamp(0.0, 1.0) * 1000.0) as u64);
    ControlFlow::Continue(())
}
