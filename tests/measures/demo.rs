//! The demo's record is what its script says, file by file.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use shedlight::demo;
use shedlight::model::schema;

use crate::common::{folder, root};

fn files(root: &Path) -> BTreeMap<PathBuf, String> {
    let mut found = BTreeMap::new();
    let mut folders = vec![root.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let text = std::fs::read_to_string(&path).unwrap();
                let _ = found.insert(path.strip_prefix(root).unwrap().to_owned(), text);
            }
        }
    }
    found
}

#[test]
fn the_sample_codings_are_the_demo_byte_for_byte() {
    let folder = folder();
    let written = folder.path().join("demo");
    let _ = demo::write(&written).unwrap();
    let (wanted, found) = (files(&root().join("sample-codings")), files(&written));
    assert_eq!(found.len(), 20);
    assert_eq!(wanted.keys().collect::<Vec<_>>(), found.keys().collect::<Vec<_>>());
    for (path, text) in &found {
        assert_eq!(wanted.get(path), Some(text), "{}", path.display());
    }
}

#[test]
fn the_schemas_are_those_of_the_types() {
    for (name, text) in schema::all().unwrap() {
        let path = root().join("docs/schema").join(name);
        assert_eq!(
            std::fs::read_to_string(&path).unwrap(),
            text,
            "write docs/schema anew: shedlight schema docs/schema"
        );
    }
}

#[test]
fn every_file_survives_a_load_and_save_byte_for_byte() {
    use shedlight::model::{Coding, Ethogram, Session, Study};
    use shedlight::storage::json;
    let mut seen = 0;
    for (path, text) in files(&root().join("sample-codings")) {
        let name = path.file_name().unwrap().to_str().unwrap();
        let again = if name == "study.json" {
            json::to_text(&serde_json::from_str::<Study>(&text).unwrap())
        } else if name == "session.json" {
            json::to_text(&serde_json::from_str::<Session>(&text).unwrap())
        } else if name.ends_with(".coding.json") {
            json::to_text(&serde_json::from_str::<Coding>(&text).unwrap())
        } else {
            json::to_text(&serde_json::from_str::<Ethogram>(&text).unwrap())
        };
        assert_eq!(again.unwrap(), text, "{}", path.display());
        seen += 1;
    }
    assert_eq!(seen, 20);
}

#[test]
fn keys_nobody_knows_survive() {
    use shedlight::model::Coding;
    let path = root().join("sample-codings/sessions/s1/K-07.1.coding.json");
    let mut value: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    value["colour_of_the_bucket"] = "blue".into();
    value["marks"][3]["seen_by"] = serde_json::json!(["a", 2]);
    value["passes"][0]["mood"] = 1.into();
    let coding: Coding = serde_json::from_value(value.clone()).unwrap();
    assert_eq!(serde_json::to_value(&coding).unwrap(), value);
}
