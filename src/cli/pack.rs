//! `shedlight pack`: a study as one file.

use std::io::Write;

use super::arguments::Pack;
use super::{CommandResult, FINDINGS, FINE, progress};
use crate::storage::StudyFolder;
use crate::storage::parcel::{self, Contents};

pub(super) fn run(asked: &Pack, out: &mut dyn Write) -> CommandResult {
    let folder = StudyFolder::open(&asked.study)?;
    let now = chrono::Local::now().fixed_offset();
    let contents = Contents { film: asked.with_film, by: asked.by.clone(), now };
    let bar = progress::bar("packing");
    let stop = progress::listen();
    let packed = parcel::pack(&folder, &contents, &asked.out, &mut |share| {
        bar.set_position(progress::place(share));
        stop.flow()
    });
    bar.finish_and_clear();
    let packed = packed?;
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
