//! The dataset in columns: read by PyArrow, pandas and DuckDB, with the queries of docs/QUERIES.md.

use serde_json::{Value, json};

use super::{copy, export, files, sample};
use crate::common::python::python;
use crate::common::{folder, root, shedlight};

#[test]
fn other_engines_read_the_dataset_and_sql_gives_our_totals() {
    let folder = folder();
    let work = folder.path();
    export(&sample(), "csv", &work.join("csv"), &[]);
    export(&sample(), "parquet", &work.join("dataset"), &[]);
    for collection in ["north", "south"] {
        export(&sample(), "parquet", &work.join("collections").join(collection), &[]);
    }
    let summary = shedlight(&["summary", sample().to_str().unwrap(), "--json"]);
    std::fs::write(work.join("summary.json"), &summary.out).unwrap();
    let told = python("tests/export/read_parquet.py", &[work, &root().join("docs/QUERIES.md")]);
    assert!(told.contains("arrow: 1581 marks, 97 presentations"), "{told}");
    assert!(told.contains("2 medians") && told.contains("incidents as ours"), "{told}");
}

#[test]
fn partitions_of_odd_ids_come_back_and_none_is_written_over() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    // Slashes, what Windows forbids, letters of others, a number, what differs by case alone, dots.
    let ids = ["a/b=c d%41", "x\\y:z*?\"<>|", "Šárka–7", "007", "Bramble", "bramble"];
    let change = |path: &std::path::Path, work: &dyn Fn(&mut Value)| {
        let mut value: Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
        work(&mut value);
        std::fs::write(path, serde_json::to_vec(&value).unwrap()).unwrap();
    };
    for (n, id) in ids.iter().enumerate() {
        change(&study.join(format!("sessions/s{}/session.json", n + 1)), &|session| {
            session["animal"] = json!(id);
            if n == 0 {
                let own = session.as_object_mut().unwrap();
                let _ = (own.remove("recorded_at"), own.remove("clock_anchors"));
            }
        });
    }
    change(&study.join("study.json"), &|study| {
        let animals = study["animals"].as_array_mut().unwrap();
        animals.extend(ids.iter().take(5).map(|id| json!({ "id": id, "name": "odd" })));
    });
    let out = folder.path().join("dataset");
    export(&study, "parquet", &out, &[]);
    let list = folder.path().join("ids.json");
    std::fs::write(&list, serde_json::to_vec(&ids).unwrap()).unwrap();
    let told = python("tests/export/read_odd_parquet.py", &[&out, &list]);
    assert!(told.contains("6 odd ids"), "{told}");
    let names: Vec<String> =
        files(&out).iter().filter_map(|file| Some(file.file_name()?.to_str()?.to_owned())).collect();
    let unique: std::collections::BTreeSet<&String> = names.iter().collect();
    assert_eq!(unique.len(), names.len(), "a file's name alone tells it, whatever its folder is taken for");
}

#[test]
fn people_are_taken_out_of_columns_as_of_tables() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    let path = study.join("study.json");
    let text = std::fs::read_to_string(&path).unwrap();
    let mut value: Value = serde_json::from_str(&text).unwrap();
    value["people"][0]["name"] = json!("Marguerite Oldfield");
    std::fs::write(&path, serde_json::to_vec(&value).unwrap()).unwrap();
    let session = study.join("sessions/s1/session.json");
    let mut value: Value = serde_json::from_slice(&std::fs::read(&session).unwrap()).unwrap();
    value["notes"] = json!("Marguerite stood at the door.");
    std::fs::write(&session, serde_json::to_vec(&value).unwrap()).unwrap();
    let (csv, parquet) = (folder.path().join("csv"), folder.path().join("parquet"));
    let told = |form: &str, out: &std::path::Path| {
        let ran = shedlight(&[
            "export",
            study.to_str().unwrap(),
            "--as",
            form,
            "--without-names",
            "--json",
            "--out",
            out.to_str().unwrap(),
        ]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        let value: Value = serde_json::from_str(&ran.out).unwrap();
        (value["people_replaced"].clone(), value["texts_dropped"].clone())
    };
    assert_eq!(told("csv", &csv), told("parquet", &parquet), "the same people and texts");
    // Columns are compressed: what stands in them is read out.
    let all = |study: &std::path::Path| python("tests/export/all_text.py", &[study]);
    let (named, plain) = (folder.path().join("named"), all(&parquet));
    export(&study, "parquet", &named, &[]);
    let named = all(&named);
    for word in ["Marguerite", "K-07", "K-12"] {
        assert!(named.contains(word) && !plain.contains(word), "{word}");
    }
    assert!(plain.contains("P01") && !plain.contains("Oldfield"));
}

#[test]
fn a_broken_coding_is_told_and_the_rest_is_there() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    std::fs::write(study.join("sessions/s2/K-07.1.coding.json"), "{").unwrap();
    let out = folder.path().join("dataset");
    let ran = shedlight(&[
        "export",
        study.to_str().unwrap(),
        "--as",
        "parquet",
        "--json",
        "--out",
        out.to_str().unwrap(),
    ]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.err.contains("K-07.1.coding.json:1:"), "{}", ran.err);
    let value: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((&value["sessions"], &value["codings"]), (&json!(6), &json!(10)));
}
