//! CSV, its dictionary, and what other tools make of them.

use serde_json::Value;

use super::{export, files, sample};
use crate::common::{folder, shedlight};

#[test]
fn every_column_of_every_table_is_in_the_dictionary_with_type_and_meaning() {
    let folder = folder();
    let out = folder.path().join("csv");
    export(&sample(), "csv", &out, &[]);
    let package: Value =
        serde_json::from_slice(&std::fs::read(out.join("datapackage.json")).unwrap()).unwrap();
    let mut tables = 0;
    for resource in package["resources"].as_array().unwrap() {
        let text = std::fs::read_to_string(out.join(resource["path"].as_str().unwrap())).unwrap();
        assert!(text.ends_with("\r\n") && !text.starts_with('\u{feff}'));
        let head = text.split("\r\n").next().unwrap();
        let fields = resource["schema"]["fields"].as_array().unwrap();
        let names: Vec<&str> = fields.iter().map(|field| field["name"].as_str().unwrap()).collect();
        assert_eq!(head.split(',').collect::<Vec<_>>(), names);
        for field in fields {
            assert!(field["type"].is_string() && !field["description"].as_str().unwrap().is_empty());
            let name = field["name"].as_str().unwrap();
            if name.ends_with("_s") {
                assert_eq!(field["unit"], "s", "{name}");
            }
        }
        tables += 1;
    }
    assert_eq!(tables, 5);
    assert_eq!(files(&out).len(), 6, "nothing else is left");
}

#[test]
fn a_folder_that_holds_something_is_refused_and_left_alone() {
    let folder = folder();
    std::fs::write(folder.path().join("mine.txt"), "mine").unwrap();
    let target = folder.path().to_str().unwrap();
    let ran = shedlight(&["export", sample().to_str().unwrap(), "--as", "csv", "--out", target]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("not empty"), "{}", ran.err);
    assert_eq!(files(folder.path()).len(), 1);
    // An empty one is taken.
    let empty = folder.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    export(&sample(), "csv", &empty, &[]);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "no part is left beside it");
}

#[cfg(not(feature = "parquet"))]
#[test]
fn what_was_left_out_of_the_build_is_named() {
    let folder = folder();
    let out = folder.path().join("out");
    let study = sample();
    let ran =
        shedlight(&["export", study.to_str().unwrap(), "--as", "parquet", "--out", out.to_str().unwrap()]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("feature 'parquet'"), "{}", ran.err);
    assert!(!out.exists() && std::fs::read_dir(folder.path()).unwrap().next().is_none());
}
