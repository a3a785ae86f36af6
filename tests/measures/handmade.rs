//! Small hand-made studies against a second reckoning: `tests/reference/oracle.py`, written from the
//! rules alone (10 to 26) in plain Python. `make_handmade.py` writes both the studies and what the
//! oracle makes of them.

use serde_json::Value;

use crate::common::{root, shedlight};

/// Everything expected is there and the same; reasons in words may differ.
fn compare(found: &Value, wanted: &Value, place: &str, wrong: &mut Vec<String>) {
    match (found, wanted) {
        (Value::Object(found), Value::Object(wanted)) => {
            for (key, wanted) in wanted.iter().filter(|(key, _)| *key != "why") {
                match found.get(key) {
                    Some(found) => compare(found, wanted, &format!("{place}.{key}"), wrong),
                    None => wrong.push(format!("{place}.{key} is missing")),
                }
            }
        }
        (Value::Array(found), Value::Array(wanted)) if found.len() == wanted.len() => {
            for (i, (found, wanted)) in found.iter().zip(wanted).enumerate() {
                compare(found, wanted, &format!("{place}[{i}]"), wrong);
            }
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            if (a - b).abs() > 1e-9 * b.abs().max(1.0) {
                wrong.push(format!("{place}: {a}, not {b}"));
            }
        }
        _ if found == wanted => {}
        _ => wrong.push(format!("{place}: {found}, not {wanted}")),
    }
}

#[test]
fn rules_10_to_26_as_a_second_reckoning_has_them() {
    let mut names: Vec<_> = std::fs::read_dir(root().join("tests/reference/handmade"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    names.sort();
    assert!(names.len() >= 26, "the studies are there: {}", names.len());
    let mut wrong = Vec::new();
    for study in names {
        let name = study.file_name().unwrap().to_string_lossy().into_owned();
        let checked = shedlight(&["check".as_ref(), study.as_os_str()]);
        assert_eq!(checked.code, 0, "{name}: {}{}", checked.out, checked.err);
        let ran = shedlight(&["summary".as_ref(), study.as_os_str(), "--json".as_ref()]);
        assert_eq!(ran.code, 0, "{name}: {}", ran.err);
        let found: Value = serde_json::from_str(&ran.out).unwrap();
        let expected = std::fs::read_to_string(study.join("expected.json")).unwrap();
        let wanted: Value = serde_json::from_str(&expected).unwrap();
        assert!(!wanted["codings"].as_array().unwrap().is_empty());
        compare(&found, &wanted, &name, &mut wrong);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
