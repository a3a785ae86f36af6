//! Exports read by other people's tools, without us.

use std::path::Path;

use super::{export, files, sample};
use crate::common::python::python;
use crate::common::{folder, root, shedlight};

#[test]
fn python_s_csv_pandas_and_frictionless_read_the_tables() {
    let folder = folder();
    let out = folder.path().join("csv");
    export(&sample(), "csv", &out, &[]);
    let told = python("tests/export/read_csv.py", &[&out]);
    assert!(told.contains("csv: 1581 marks, 97 presentations"), "{told}");
    assert!(told.contains("pandas reads them") && told.contains("frictionless finds them valid"), "{told}");
}

#[test]
fn web_annotations_expand_as_json_ld_and_no_key_is_lost() {
    let folder = folder();
    let out = folder.path().join("annotations");
    export(&sample(), "web-annotation", &out, &[]);
    let mut arguments = vec![root().join("tests/reference/json-ld/anno.json")];
    arguments.extend(files(&out).iter().map(|file| out.join(file)));
    let told = python("tests/export/expand_json_ld.py", &arguments);
    assert!(told.contains("json-ld: 1581 annotations"), "{told}");
}

#[test]
fn captions_are_read_by_a_caption_library_as_many_as_there_are() {
    let folder = folder();
    let out = folder.path().join("captions");
    export(&sample(), "webvtt", &out, &[]);
    let cues: usize = files(&out).iter().map(|file| count_cues(&out.join(file))).sum();
    let told = python("tests/export/read_webvtt.py", &[&out]);
    assert!(cues > 1000 && told.contains(&format!("webvtt: {cues} cues")), "{cues}, {told}");
}

/// Has a study's report read by the validator, opened by a browser, and looked at by axe-core.
fn opened(study: &Path) {
    let folder = folder();
    let out = folder.path().join("report.html");
    let (from, target) = (study.to_str().unwrap(), out.to_str().unwrap());
    let ran = shedlight(&["report", from, "--out", target, "--date", "2025-04-01"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let told = python("tests/export/open_html.py", &[&out]);
    assert!(told.contains("html: no parse error") && told.contains("none is broken"), "{told}");
    let drawn = std::fs::read_to_string(&out).unwrap().matches("<figure").count();
    assert!(drawn > 0 && told.contains(&format!("{drawn} figures drawn")), "{drawn}: {told}");
}

#[test]
fn the_report_is_valid_html_that_a_browser_opens_and_axe_core_finds_accessible() {
    opened(&sample());
}

#[test]
fn so_is_that_of_a_study_with_nothing_coded() {
    let folder = folder();
    let study = folder.path().join("study");
    super::copy(&sample(), &study);
    for file in files(&study).iter().filter(|file| file.to_str().unwrap().ends_with(".coding.json")) {
        std::fs::remove_file(study.join(file)).unwrap();
    }
    opened(&study);
}

fn count_cues(path: &Path) -> usize {
    super::webvtt::strict(&std::fs::read(path).unwrap()).unwrap().len()
}
