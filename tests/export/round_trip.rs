//! Out, and back into a copy without codings: the same marks.

use std::path::Path;

use super::{copy, export, files, sample};
use crate::common::{folder, shedlight};

/// The study without its codings.
fn emptied(from: &Path, to: &Path) {
    copy(from, to);
    for file in files(to) {
        if file.to_str().unwrap().ends_with(".coding.json") {
            std::fs::remove_file(to.join(file)).unwrap();
        }
    }
}

fn import(file: &Path, into: &Path) -> crate::common::Ran {
    shedlight(&["import", file.to_str().unwrap(), "--into", into.to_str().unwrap()])
}

/// Byte for byte: the demo's codings are as this program writes them.
fn assert_same_codings(a: &Path, b: &Path) {
    let coded = |root: &Path| -> Vec<_> {
        files(root).into_iter().filter(|file| file.to_str().unwrap().ends_with(".coding.json")).collect()
    };
    assert_eq!(coded(a), coded(b));
    for file in coded(a) {
        let text = |root: &Path| std::fs::read_to_string(root.join(&file)).unwrap();
        assert_eq!(text(a), text(b), "{}", file.display());
    }
}

#[test]
fn csv_comes_back_as_it_was() {
    let folder = folder();
    let (out, copied) = (folder.path().join("csv"), folder.path().join("study"));
    export(&sample(), "csv", &out, &[]);
    emptied(&sample(), &copied);
    let ran = import(&out.join("marks.csv"), &copied);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert_same_codings(&sample(), &copied);
}

#[test]
fn web_annotations_come_back_as_they_were() {
    let folder = folder();
    let (out, copied) = (folder.path().join("annotations"), folder.path().join("study"));
    export(&sample(), "web-annotation", &out, &[]);
    emptied(&sample(), &copied);
    for file in files(&out) {
        let ran = import(&out.join(file), &copied);
        assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    }
    assert_same_codings(&sample(), &copied);
}

#[test]
fn json_is_a_study_that_opens() {
    let folder = folder();
    let out = folder.path().join("json");
    export(&sample(), "json", &out, &[]);
    let summary = |study: &Path| shedlight(&["summary", study.to_str().unwrap(), "--json"]).out;
    assert_eq!(summary(&out), summary(&sample()));
    let beside = std::fs::read_to_string(out.join("summary.json")).unwrap();
    assert_eq!(beside, summary(&sample()));
}

#[test]
fn what_makes_no_sense_is_listed_and_the_rest_taken_in() {
    let folder = folder();
    let copied = folder.path().join("study");
    emptied(&sample(), &copied);
    let table = folder.path().join("mine.csv");
    std::fs::write(
        &table,
        "session,by,behaviour,from_s,to_s\n\
         s1,K-07,Explore,1.5,4\n\
         s1,K-07,explore,3,6\n\
         s1,K-07,flying,3,6\n\
         s9,K-07,explore,3,6\n\
         s1,,explore,3,6\n\
         s1,K-07,orient,7,\n\
         s1,K-07,orient,eight,\n\
         s1,K-07,orient,9,10\n\
         s1,../../x,orient,9,\n\
         s1,K-07,still-alert,0:10.5,0:11\n",
    )
    .unwrap();
    let ran = import(&table, &copied);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("3 marks in"), "{}", ran.out);
    for (line, why) in [
        ("line 3", "begins while mark"),
        ("line 4", "no behaviour 'flying'"),
        ("line 5", "no session 's9'"),
        ("line 6", "by whom"),
        ("line 8", "'eight'"),
        ("line 9", "is an event"),
    ] {
        let told =
            ran.out.lines().find(|told| told.contains(line)).unwrap_or_else(|| panic!("{line}: {}", ran.out));
        assert!(told.contains(why), "{told}");
    }
    assert!(ran.out.contains("can't be a person's code"), "{}", ran.out);
    // Nothing says which passes are done, so nothing counts as zero.
    assert!(ran.err.contains("passes are done"), "{}", ran.err);
    let check = shedlight(&["check", copied.to_str().unwrap()]);
    assert_ne!(check.code, 2, "{}{}", check.out, check.err);
}

#[test]
fn a_second_primary_coding_is_taken_in_as_a_trial() {
    let folder = folder();
    let (out, copied) = (folder.path().join("csv"), folder.path().join("study"));
    export(&sample(), "csv", &out, &[]);
    copy(&sample(), &copied);
    let before = files(&copied).len();
    let ran = import(&out.join("marks.csv"), &copied);
    assert_eq!(ran.code, 0, "{}", ran.out);
    assert!(ran.err.contains("taken in as a trial"), "{}", ran.err);
    assert_eq!(files(&copied).len(), before + 11, "nothing was written over");
    let text = std::fs::read_to_string(copied.join("sessions/s6/K-07.2.coding.json")).unwrap();
    assert!(text.contains("\"purpose\": \"trial\""));
}

#[test]
fn annotations_made_elsewhere_are_read_by_tag_clip_and_creator() {
    let folder = folder();
    let copied = folder.path().join("study");
    emptied(&sample(), &copied);
    // The other ethogram revision is the newest: it is the one that is followed.
    let file = folder.path().join("page.json");
    std::fs::write(
        &file,
        r#"{"@context":"http://www.w3.org/ns/anno.jsonld","id":"urn:x:1","type":"AnnotationPage","items":[
        {"id":"urn:x:a","type":"Annotation","creator":{"type":"Person","nickname":"K-12"},
         "body":{"type":"TextualBody","purpose":"tagging","value":"Cue shown"},
         "target":"https://example.org/films/s5-cctv.mp4#t=10,12.5"},
        {"id":"urn:x:b","type":"Annotation","creator":"K-12","bodyValue":"orient",
         "target":{"source":"clips/s5-cctv.mp4","selector":{"type":"FragmentSelector","value":"t=11"}}},
        {"id":"urn:x:c","type":"Annotation","creator":"K-12","bodyValue":"orient","target":"clips/none.mp4#t=1"},
        {"id":"urn:x:d","type":"Annotation","bodyValue":"orient","target":"clips/s5-cctv.mp4#t=1"}]}"#,
    )
    .unwrap();
    let ran = import(&file, &copied);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let text = std::fs::read_to_string(copied.join("sessions/s5/K-12.1.coding.json")).unwrap();
    // The second camera began 1.84 s after the session.
    assert!(text.contains(r#""from": 11840000, "to": 14340000, "clip": 1"#), "{text}");
    assert!(text.contains(r#""behaviour": "orient", "from": 12840000, "clip": 1"#), "{text}");
    assert!(ran.out.contains("(urn:x:c)") && ran.out.contains("no session has the clip"), "{}", ran.out);
    assert!(ran.out.contains("(urn:x:d)") && ran.out.contains("who made it"), "{}", ran.out);
}

#[test]
fn csv_with_decimal_commas_says_the_same_and_comes_back_too() {
    let folder = folder();
    let (point, comma) = (folder.path().join("point"), folder.path().join("comma"));
    export(&sample(), "csv", &point, &[]);
    export(&sample(), "csv", &comma, &["--decimal", "comma"]);
    let package: serde_json::Value =
        serde_json::from_slice(&std::fs::read(comma.join("datapackage.json")).unwrap()).unwrap();
    let mut numbers = 0;
    for resource in package["resources"].as_array().unwrap() {
        assert_eq!(resource["dialect"]["delimiter"], ";");
        let path = resource["path"].as_str().unwrap();
        let rows = |root: &Path| {
            let text = std::fs::read_to_string(root.join(path)).unwrap();
            shedlight::export::csv::parse(&text).unwrap()
        };
        let fields = resource["schema"]["fields"].as_array().unwrap();
        for ((_, a), (_, b)) in rows(&point).into_iter().zip(rows(&comma)).skip(1) {
            assert_eq!(a.len(), b.len());
            for ((a, b), field) in a.iter().zip(&b).zip(fields) {
                if field["type"] == "number" && a.contains('.') {
                    assert_eq!(field["decimalChar"], ",");
                    assert_eq!(&a.replace('.', ","), b);
                    numbers += 1;
                } else {
                    assert_eq!(a, b, "{path}: {}", field["name"]);
                }
            }
        }
    }
    assert!(numbers > 1000, "{numbers}");
    let copied = folder.path().join("study");
    emptied(&sample(), &copied);
    let ran = import(&comma.join("marks.csv"), &copied);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert_same_codings(&sample(), &copied);
    let out = folder.path().join("json");
    let ran = shedlight(&[
        "export",
        sample().to_str().unwrap(),
        "--as",
        "json",
        "--decimal",
        "comma",
        "--out",
        out.to_str().unwrap(),
    ]);
    assert_eq!((ran.code, out.exists()), (2, false));
}
