//! The report as PDF and its pictures: read back by other tools, page by page where it matters.

use std::path::{Path, PathBuf};
use std::process::Command;

use shedlight::model::{Clip, ClipId, FaceCover};
use shedlight::storage::StudyFolder;
use shedlight::time::Micros;

use super::{copy, sample};
use crate::common::{ffmpeg, folder, shedlight};

fn report(study: &Path, out: &Path, more: &[&str]) -> crate::common::Ran {
    let mut arguments =
        vec!["report", study.to_str().unwrap(), "--date", "2025-04-10", "--out", out.to_str().unwrap()];
    arguments.extend(more);
    shedlight(&arguments)
}

/// What a tool prints; these come with poppler-utils and qpdf (scripts/test installs them).
fn tool(name: &str, arguments: &[&str]) -> String {
    let output = Command::new(name)
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{name} is needed (apt-get install poppler-utils qpdf): {error}"));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{name} {arguments:?}: {text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    text
}

#[test]
fn the_demo_as_pdf_is_sound_tagged_and_reads_in_order() {
    let folder = folder();
    let (one, two) = (folder.path().join("one.pdf"), folder.path().join("two.pdf"));
    for out in [&one, &two] {
        let ran = report(&sample(), out, &[]);
        assert_eq!(ran.code, 0, "{}", ran.err);
    }
    assert!(std::fs::read(&one).unwrap() == std::fs::read(&two).unwrap(), "same input, same bytes");
    let one = one.to_str().unwrap();
    let _ = tool("qpdf", &["--check", one]);
    let about = tool("pdfinfo", &[one]);
    for words in ["Tagged:          yes", "595.276 x 841.89 pts (A4)", "Title:           Welfare summary"] {
        assert!(about.contains(words), "{words}: {about}");
    }
    // Every font is in the file: it looks alike everywhere, and its letters can be read out.
    let fonts = tool("pdffonts", &[one]);
    let lines: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!lines.is_empty() && lines.iter().all(|line| line.contains(" yes yes yes ")), "{fonts}");
    let text = tool("pdftotext", &[one, "-"]);
    // Behind the contents.
    let mut from = text.find("Every time in this report is a link").unwrap();
    for section in [
        "2 Read this first",
        "3 Animals and conditions",
        "4 Plan steps and decisions",
        "5 Methods",
        "6 Effort",
        "7 Time budget",
        "8 Approach and retreat",
        "9 Success, refusals, opt-outs",
        "10 Latencies",
        "11 Concern",
        "12 Food used and budget",
        "13 Agreement between coders",
        "14 Deviations and limits",
        "15 Actions",
        "16 Sign-off",
        "Appendix A: Definitions",
        "Appendix D: Reporting lists",
    ] {
        let at = text[from..].find(section);
        from += at.unwrap_or_else(|| panic!("'{section}' does not come after what is before it"));
    }
    for words in ["4:31.0", "26.8 %", "Every reptile may carry Salmonella", "Page 2 of"] {
        assert!(text.contains(words), "{words}");
    }
    // The head of a table that goes on stands on each of its pages.
    let pages: Vec<&str> = text.split('\u{c}').collect();
    let with_head = pages.iter().filter(|page| page.contains("Vacillating") && page.contains("Outcome"));
    assert!(with_head.count() >= 2, "the table of presentations is longer than a page");
}

#[test]
fn what_people_write_is_never_read_as_markup() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    let mut opened = StudyFolder::open(&study).unwrap();
    opened.study.place = Some(format!("bell \u{7}\u{1680}\u{2028}end {}", "Ж".repeat(400)));
    let odd = r#"#eval("1+1") *bold* _it_ $x^2$ = Head <label> @ref \ [a] {b} // c /* d */ ~ -- `raw`"#;
    opened.study.title = odd.to_owned();
    opened.study.animals[0].name = "שלום مرحبا 你好 🐢 Ωμέγα Жаба".to_owned();
    opened.study.animals[0].origin = Some(format!("{} {}", "x".repeat(600), "very long ".repeat(1500)));
    opened.save_study().unwrap();
    let out = folder.path().join("odd.pdf");
    let ran = report(&study, &out, &["--paper", "letter"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.err.contains("have no glyph") && ran.err.contains("F.html shows them"), "{}", ran.err);
    let out = out.to_str().unwrap();
    let _ = tool("qpdf", &["--check", out]);
    assert!(tool("pdfinfo", &[out]).contains("612 x 792 pts (letter)"));
    let text: String = tool("pdftotext", &[out, "-"]).split_whitespace().collect();
    let wanted: String = odd.split_whitespace().collect();
    assert!(text.contains(&wanted), "the title stands there letter by letter");
    assert!(text.contains("Ωμέγα") && text.contains("Жаба"), "what the fonts have is written");
}

#[test]
fn without_names_it_names_nobody_in_text_links_and_what_the_file_says_of_itself() {
    let folder = folder();
    let study = super::odd::peopled(folder.path());
    let out = folder.path().join("r.pdf");
    let ran = report(&study, &out, &["--without-names"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let (out, plain) = (out.to_str().unwrap(), folder.path().join("plain.pdf"));
    let text = tool("pdftotext", &[out, "-"]);
    let _ = tool("qpdf", &["--qdf", "--object-streams=disable", out, plain.to_str().unwrap()]);
    let raw = String::from_utf8_lossy(&std::fs::read(&plain).unwrap()).into_owned();
    assert!(text.contains("P01") && raw.contains("shedlight:open?study=study&session=s5&at=271"));
    for word in super::odd::NAMED.iter().chain([&folder.path().to_str().unwrap()]) {
        assert!(!text.contains(word) && !raw.contains(word), "{word}");
    }
}

#[test]
fn a_study_with_nothing_coded_and_a_wrong_ending() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    for entry in StudyFolder::open(&study).unwrap().list().sessions {
        for (path, _) in entry.codings {
            std::fs::remove_file(path).unwrap();
        }
    }
    let out = folder.path().join("none.pdf");
    let ran = report(&study, &out, &[]);
    assert!(ran.code < 2, "{}", ran.err);
    let text = tool("pdftotext", &[out.to_str().unwrap(), "-"]);
    assert!(text.contains("not coded"), "{text}");
    let ran = report(&study, &folder.path().join("r.doc"), &[]);
    assert!(ran.code == 2 && ran.err.contains(".pdf or .html"), "{}", ran.err);
}

/// The demo with a film in session s5 that is grey, one picture a second, all of it a face in its last minutes.
fn filmed(folder: &Path) -> PathBuf {
    let study = folder.join("study");
    copy(&sample(), &study);
    std::fs::create_dir_all(study.join("clips")).unwrap();
    let path = study.join("clips/grey.mkv");
    let source = "color=c=0xB0B0B0:s=640x360:r=1:d=431";
    ffmpeg(
        &["-f", "lavfi", "-i", source, "-c:v", "libx264", "-pix_fmt", "yuv420p", path.to_str().unwrap()],
        &[],
    );
    let opened = StudyFolder::open(&study).unwrap();
    let mut session = opened.session(&"s5".into()).unwrap();
    let mut clip =
        Clip { length: Some(Micros::from_whole_seconds(431)), ..Clip::new(ClipId(1), "clips/grey.mkv") };
    clip.face_covers.push(FaceCover {
        from: Micros::from_whole_seconds(320),
        to: Micros::from_whole_seconds(431),
        x: 0.0,
        y: 0.0,
        width: 1.0,
        height: 1.0,
        face: 1,
        extra: serde_json::Map::new(),
    });
    session.clips = vec![clip];
    opened.save_session(&session).unwrap();
    study
}

#[test]
fn each_stop_incident_has_its_pictures_and_faces_are_covered() {
    use base64::Engine as _;
    let folder = folder();
    let study = filmed(folder.path());
    let (html, pdf) = (folder.path().join("r.html"), folder.path().join("r.pdf"));
    let ran = report(&study, &html, &["--animal", "sorrel"]);
    assert!(ran.code < 2, "{}", ran.err);
    let text = std::fs::read_to_string(&html).unwrap();
    let mut greys = Vec::new();
    for part in text.split("data:image/jpeg;base64,").skip(1) {
        let bytes =
            base64::engine::general_purpose::STANDARD.decode(part.split('"').next().unwrap()).unwrap();
        let image = image::load_from_memory(&bytes).unwrap().to_rgb8();
        assert_eq!(image.dimensions(), (480, 270));
        greys.push(image.get_pixel(240, 135).0[0]);
    }
    // Two incidents (4:31 and 6:22) of three pictures each; the face is in those of the second.
    assert_eq!(greys.len(), 6);
    assert!(
        greys[..3].iter().all(|grey| *grey > 150) && greys[3..].iter().all(|grey| *grey < 60),
        "{greys:?}"
    );
    for words in ["1 s before", "its first picture", "the handler backs off"] {
        assert!(text.contains(words), "{words}");
    }
    let ran = report(&study, &pdf, &["--animal", "sorrel"]);
    assert!(ran.code < 2, "{}", ran.err);
    let images = tool("pdfimages", &["-list", pdf.to_str().unwrap()]);
    // Those alike are kept once in the file.
    assert!((2..=6).contains(&images.matches(" jpeg ").count()), "{images}");
    // Without the film the report says so, and where it was looked for.
    std::fs::remove_file(study.join("clips/grey.mkv")).unwrap();
    let ran = report(&study, &html, &["--animal", "sorrel"]);
    assert!(ran.code < 2 && ran.err.contains("is not here"), "{}", ran.err);
    assert!(std::fs::read_to_string(&html).unwrap().contains("No picture: "));
}
