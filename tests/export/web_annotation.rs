//! Web Annotations hold what the W3C's model asks for.

use serde_json::Value;

use super::{export, files, sample};
use crate::common::folder;

#[test]
fn each_mark_is_an_annotation_of_the_model_with_a_media_fragment() {
    let folder = folder();
    let out = folder.path().join("annotations");
    export(&sample(), "web-annotation", &out, &[]);
    let (mut count, mut over_a_seam) = (0, 0);
    let mut ids = std::collections::BTreeSet::new();
    for file in files(&out) {
        let root: Value = serde_json::from_slice(&std::fs::read(out.join(file)).unwrap()).unwrap();
        assert_eq!(root["@context"][0], "http://www.w3.org/ns/anno.jsonld");
        assert_eq!(root["type"], "AnnotationCollection");
        let items = root["first"]["items"].as_array().unwrap();
        assert_eq!(root["first"]["type"], "AnnotationPage");
        assert_eq!(root["total"], items.len());
        for item in items {
            assert_eq!(item["type"], "Annotation");
            assert!(ids.insert(item["id"].as_str().unwrap().to_owned()), "an id twice");
            assert_eq!(item["body"][0]["purpose"], "tagging");
            let targets = match &item["target"] {
                Value::Array(all) => all.clone(),
                one => vec![one.clone()],
            };
            over_a_seam += usize::from(targets.len() > 1);
            for target in targets {
                assert_eq!(target["type"], "SpecificResource");
                assert!(target["source"].as_str().unwrap().starts_with("clips/"));
                assert_eq!(target["selector"]["conformsTo"], "http://www.w3.org/TR/media-frags/");
                let fragment = target["selector"]["value"].as_str().unwrap();
                let times = fragment.strip_prefix("t=").unwrap();
                let mut parts = times.split(',').map(|part| part.parse::<f64>().unwrap());
                let (from, to) = (parts.next().unwrap(), parts.next());
                // A fragment that ends where it begins is none.
                assert!(from >= 0.0 && to.is_none_or(|to| to > from), "{fragment}");
            }
            count += 1;
        }
    }
    assert_eq!(count, 1581);
    assert_eq!(over_a_seam, 0, "in the demo the animal is out of sight at the seam");
}

#[test]
fn a_bout_over_a_seam_has_a_target_on_each_piece_and_comes_back_whole() {
    let folder = folder();
    let study = folder.path().join("study");
    super::copy(&sample(), &study);
    let read =
        |path: &std::path::Path| -> Value { serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap() };
    let session = read(&study.join("sessions/s2/session.json"));
    let (end, start) =
        (session["clips"][0]["length"].as_i64().unwrap(), session["clips"][1]["offset"].as_i64().unwrap());
    assert_eq!(start - end, 400_000);
    let path = study.join("sessions/s2/K-07.1.coding.json");
    let mut coding = read(&path);
    let marks = coding["marks"].as_array_mut().unwrap();
    let from = end - 10_000_000;
    let at = marks.iter().position(|mark| mark["from"].as_i64().unwrap() > from).unwrap();
    let long = serde_json::json!({ "id": 9_000, "behaviour": "disturbance", "from": from, "to": start + 3_000_000, "placed": "stepped" });
    marks.insert(at, long);
    std::fs::write(&path, serde_json::to_vec(&coding).unwrap()).unwrap();
    let out = folder.path().join("annotations");
    export(&study, "web-annotation", &out, &[]);
    let root = read(&out.join("s2/K-07.1.jsonld"));
    let own =
        root["first"]["items"].as_array().unwrap().iter().find(|item| item["mark"]["id"] == 9_000).unwrap();
    let seconds = |micros: i64| shedlight::report::link::short_seconds(shedlight::time::Micros(micros));
    let targets = own["target"].as_array().unwrap();
    let value = |i: usize| targets[i]["selector"]["value"].as_str().unwrap();
    assert_eq!(targets.len(), 2);
    assert_eq!(value(0), format!("t={},{}", seconds(from), seconds(end)));
    assert_eq!(value(1), "t=0,3");
}
