//! `docs/schema/` is what the types say.

use shedlight::model::Coding;
use shedlight::storage::json;

use crate::common::{folder, root, shedlight};

#[test]
fn the_schemas_in_the_docs_are_those_of_the_types() {
    let fresh = folder();
    let ran = shedlight(&["schema".as_ref(), fresh.path().as_os_str()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let names = |folder: &std::path::Path| {
        let mut names: Vec<_> =
            std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        names.sort();
        names
    };
    let kept = root().join("docs").join("schema");
    assert_eq!(names(fresh.path()), names(&kept));
    for name in names(&kept) {
        let (new, old) = (fresh.path().join(&name), kept.join(&name));
        let is_same = std::fs::read(new).unwrap() == std::fs::read(old).unwrap();
        assert!(is_same, "{} is out of date: run `shedlight schema docs/schema`", name.display());
    }
}

#[test]
fn the_coding_shown_in_the_docs_is_one_the_program_writes() {
    let text = std::fs::read_to_string(root().join("docs").join("FORMAT.md")).unwrap();
    let example = text.split("```json\n").nth(1).unwrap().split("```").next().unwrap();
    let coding: Coding = json::parse("FORMAT.md".as_ref(), example, "shedlight/coding").unwrap();
    assert_eq!(json::to_text(&coding).unwrap(), example);
}
