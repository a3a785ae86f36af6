//! Charts as files: SVG as they are, PNG at twice their size.

use std::fmt::Write as _;
use std::path::Path;

use iced::widget::svg;
use resvg::{tiny_skia, usvg};

use crate::report::chart::Chart;

/// Pixels of a PNG for each of a chart's: sharp in a document.
const SCALE: f32 = 2.0;

/// Writes charts into a folder, each as SVG and PNG; what came of it, in words.
pub(super) fn charts(folder: &Path, name: &str, charts: &[(Chart, svg::Handle)]) -> String {
    if let Err(error) = std::fs::create_dir_all(folder) {
        return format!(
            "The charts can't be saved, the folder can't be made ({error}): {}",
            folder.display()
        );
    }
    for (number, (chart, _)) in (1..).zip(charts) {
        let stem = format!("{}-{number:02}-{}", file_name(name), file_name(title(chart)));
        let png = match png(chart) {
            Ok(png) => png,
            Err(why) => return format!("Chart {number} can't be drawn as PNG: {why}"),
        };
        for (ending, bytes) in [("svg", chart.svg.as_bytes()), ("png", png.as_slice())] {
            let path = folder.join(format!("{stem}.{ending}"));
            if let Err(error) = crate::files::write_atomically(&path, bytes) {
                return format!("The charts can't be saved ({error}): {}", path.display());
            }
        }
    }
    format!("{} charts saved as SVG and PNG in {}", charts.len(), folder.display())
}

/// A chart's own title.
fn title(chart: &Chart) -> &str {
    let after = chart.svg.split_once("<title>").map_or("", |(_, after)| after);
    after.split_once("</title>").map_or("", |(title, _)| title)
}

/// Letters and digits of any script, everything else as single dashes.
fn file_name(words: &str) -> String {
    let mut name = String::new();
    for word in words.split(|own: char| !own.is_alphanumeric()).filter(|word| !word.is_empty()) {
        let dash = if name.is_empty() { "" } else { "-" };
        // Names of files end at 255 bytes; a word is left whole.
        if name.len() + word.len() > 90 {
            break;
        }
        let _ = write!(name, "{dash}{word}");
    }
    name
}

/// A chart as PNG.
///
/// # Errors
/// In words, when it can't be drawn.
fn png(chart: &Chart) -> Result<Vec<u8>, String> {
    let tree =
        usvg::Tree::from_str(&chart.svg, &usvg::Options::default()).map_err(|error| error.to_string())?;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Twice the size of a chart.
    let size = |pixels: u32| pixels * SCALE as u32;
    let mut picture = tiny_skia::Pixmap::new(size(chart.width), size(chart.height))
        .ok_or_else(|| "it has no size".to_owned())?;
    resvg::render(&tree, tiny_skia::Transform::from_scale(SCALE, SCALE), &mut picture.as_mut());
    picture.encode_png().map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_after_study_session_and_chart_and_hold_the_picture() {
        let folder = tempfile::tempdir().unwrap();
        let none = crate::report::chart::budget(&[], None, &crate::report::chart::Look::light());
        let size = (none.width * 2, none.height * 2);
        let handle = svg::Handle::from_memory(Vec::new());
        let said = charts(folder.path(), "My study / Bramble · 3 Mar", &[(none, handle)]);
        assert!(said.starts_with("1 charts saved") && said.contains(&folder.path().display().to_string()));
        let mut names: Vec<String> = std::fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        assert_eq!(names.len(), 2, "{names:?}");
        assert!(names.iter().all(|name| name.starts_with("My-study-Bramble-3-Mar-01-")), "{names:?}");
        let png = std::fs::read(folder.path().join(&names[0])).unwrap();
        let picture = tiny_skia::Pixmap::decode_png(&png).unwrap();
        assert_eq!((picture.width(), picture.height()), size);
        let first = picture.pixels()[0];
        assert!(picture.pixels().iter().any(|pixel| *pixel != first), "something is drawn");
    }

    #[test]
    fn a_folder_that_can_not_be_made_is_named() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let said = charts(&file.path().join("figures"), "x", &[]);
        assert!(said.contains("can't be made") && said.contains("figures"), "{said}");
    }
}
