//! Every reference case of these families: each value it gives is computed by the crate and compared at the
//! case's own tolerance; each published value at the digits printed.
//!
//! A case says where its numbers come from (`source`) and which general-purpose libraries agree (`verification`).

mod budget;
mod curves;
mod intervals;
mod tables;
mod thinning;
mod trends;

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value;

use crate::common::root;

/// Who computes the cases whose names begin so.
type Family = (&'static str, fn(&str, &Value) -> Value);

const FAMILIES: &[Family] = &[
    ("adjres_", tables::adjusted_residuals),
    ("bca_", intervals::bca),
    ("corr_", trends::correlation),
    ("km_", curves::product_limit),
    ("mk_", trends::mann_kendall),
    ("nap_", trends::phases),
    ("onezero_", thinning::one_zero_bias),
    ("poisson_", intervals::poisson),
    ("proportion_", intervals::proportion),
    ("quasi_", tables::quasi_independence),
    ("rate_ratio", intervals::rate_ratio),
    ("sampling_", thinning::sampling),
    ("scan_", thinning::scan_over_sessions),
    ("tau_bc", trends::phases),
    ("tauu_", trends::phases),
    ("theil_sen", trends::mann_kendall),
    ("time_budget_", budget::out_of_sight),
    ("transitions_", tables::transitions),
    ("yule_q_", tables::yule),
];

#[test]
fn every_reference_case_is_met() {
    let folder = root().join("tests/reference");
    let mut names: Vec<String> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "json"))
        .map(|path| path.file_name().unwrap().to_str().unwrap().to_owned())
        .filter(|name| FAMILIES.iter().any(|(start, _)| name.starts_with(start)))
        .collect();
    names.sort();
    let mut unused: BTreeSet<&str> = FAMILIES.iter().map(|(start, _)| *start).collect();
    let (mut wrong, mut compared) = (Vec::new(), 0);
    for name in &names {
        let (start, compute) = FAMILIES.iter().find(|(start, _)| name.starts_with(start)).unwrap();
        let _ = unused.remove(start);
        let case: Value = serde_json::from_str(&fs::read_to_string(folder.join(name)).unwrap()).unwrap();
        let id = case["id"].as_str().unwrap();
        assert_eq!(format!("{id}.json"), *name);
        let found = compute(id, &case["input"]);
        let slack = Slack {
            rel: case["tolerance"]["rel"].as_f64().unwrap(),
            abs: case["tolerance"]["abs"].as_f64().unwrap(),
        };
        let mut comparison = Comparison { slack, count: 0, wrong: Vec::new() };
        comparison.compare(&case["expected"], &found, "");
        assert!(comparison.count > 0, "{name} gives nothing to compare");
        comparison.published(&case["published"], &found);
        compared += comparison.count;
        wrong.extend(comparison.wrong.into_iter().map(|what| format!("{name}{what}")));
    }
    assert!(wrong.is_empty(), "{} of {compared} values:\n{}", wrong.len(), wrong.join("\n"));
    assert!(unused.is_empty(), "no case of {unused:?}");
    // What the cases held when they were taken over: one that shrinks is no longer the one that was checked.
    assert_eq!((names.len(), compared), (31, 1308));
}

struct Slack {
    rel: f64,
    abs: f64,
}

struct Comparison {
    slack: Slack,
    count: usize,
    wrong: Vec<String>,
}

impl Comparison {
    /// Every value of `wanted` must be in `found`; what `found` has besides is not looked at.
    fn compare(&mut self, wanted: &Value, found: &Value, path: &str) {
        match (wanted, found) {
            (Value::Object(wanted), Value::Object(found)) => {
                for (key, own) in wanted {
                    let path = format!("{path}/{key}");
                    match found.get(key) {
                        Some(found) => self.compare(own, found, &path),
                        None => self.wrong.push(format!("{path}: not computed")),
                    }
                }
            }
            (Value::Array(wanted), Value::Array(found)) if wanted.len() == found.len() => {
                for (i, (wanted, found)) in wanted.iter().zip(found).enumerate() {
                    self.compare(wanted, found, &format!("{path}/{i}"));
                }
            }
            (Value::Number(_), Value::Number(_)) => {
                self.count += 1;
                let (wanted, found) = (wanted.as_f64().unwrap(), found.as_f64().unwrap());
                if (wanted - found).abs() > self.slack.abs + self.slack.rel * wanted.abs() {
                    self.wrong.push(format!("{path}: {found}, not {wanted}"));
                }
            }
            _ => {
                self.count += 1;
                if wanted != found {
                    self.wrong.push(format!("{path}: {found}, not {wanted}"));
                }
            }
        }
    }

    /// Values as printed in a publication: equal to half a unit of their last digit.
    fn published(&mut self, published: &Value, found: &Value) {
        for (path, printed) in published.as_object().unwrap() {
            let own = found.pointer(&format!("/{path}")).and_then(Value::as_f64);
            let value = printed["published"].as_f64().unwrap();
            let digits = i32::try_from(printed["decimals"].as_i64().unwrap()).unwrap();
            let half = 0.5 * 10_f64.powi(-digits) * (1.0 + 1e-9);
            self.count += 1;
            if own.is_none_or(|own| (own - value).abs() > half) {
                self.wrong.push(format!("/{path}: {own:?}, published as {value}"));
            }
        }
    }
}

fn floats(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|own| own.as_f64().unwrap()).collect()
}

fn rows(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(floats).collect()
}
