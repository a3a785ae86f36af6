//! A reference case. It is covered when every value it expects was compared, or was set aside by name with
//! a reason.

use std::collections::BTreeSet;
use std::fmt::Debug;
use std::fs;

use serde_json::Value;

use crate::common::root;

/// A case, and which of its expected values were not looked at yet.
pub struct Case {
    pub name: String,
    pub input: Value,
    expected: Value,
    relative: f64,
    absolute: f64,
    unseen: BTreeSet<String>,
    pub compared: usize,
}

impl Case {
    pub fn read(name: &str) -> Self {
        let path = root().join("tests/reference").join(name);
        let mut whole: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
        let mut unseen = BTreeSet::new();
        leaves(&whole["expected"], String::new(), &mut unseen);
        Self {
            name: name.to_owned(),
            input: whole["input"].take(),
            expected: whole["expected"].take(),
            relative: whole["tolerance"]["rel"].as_f64().unwrap(),
            absolute: whole["tolerance"]["abs"].as_f64().unwrap(),
            unseen,
            compared: 0,
        }
    }

    pub fn has(&self, pointer: &str) -> bool {
        self.expected.pointer(pointer).is_some()
    }

    fn wanted(&mut self, pointer: &str) -> Option<f64> {
        let value = self.expected.pointer(pointer).unwrap_or_else(|| panic!("{}: no {pointer}", self.name));
        assert!(value.is_number() || value.is_null(), "{}: {pointer} is {value}", self.name);
        let value = value.as_f64();
        if self.unseen.remove(pointer) {
            self.compared += 1;
        }
        value
    }

    /// A value that has to be there.
    pub fn near(&mut self, pointer: &str, found: f64) {
        let wanted = self.wanted(pointer).unwrap_or_else(|| panic!("{}: {pointer} is null", self.name));
        let slack = (self.relative * wanted.abs()).max(self.absolute);
        assert!((found - wanted).abs() <= slack, "{}: {pointer}: {found:?}, not {wanted:?}", self.name);
    }

    /// A value, or a reason where `null` is expected.
    pub fn either<E: Debug>(&mut self, pointer: &str, found: Result<f64, E>) {
        match found {
            Ok(found) => self.near(pointer, found),
            Err(why) => {
                let wanted = self.wanted(pointer);
                assert!(wanted.is_none(), "{}: {pointer}: {why:?}, not {wanted:?}", self.name);
            }
        }
    }

    pub fn list<'a>(&mut self, pointer: &str, found: impl IntoIterator<Item = &'a f64>) {
        let length = self.expected.pointer(pointer).unwrap().as_array().unwrap().len();
        let found: Vec<f64> = found.into_iter().copied().collect();
        assert_eq!(found.len(), length, "{}: {pointer}", self.name);
        for (i, value) in found.into_iter().enumerate() {
            self.near(&format!("{pointer}/{i}"), value);
        }
    }

    pub fn matrix(&mut self, pointer: &str, found: &[Vec<f64>]) {
        assert_eq!(self.expected.pointer(pointer).unwrap().as_array().unwrap().len(), found.len());
        for (i, row) in found.iter().enumerate() {
            self.list(&format!("{pointer}/{i}"), row);
        }
    }

    pub fn pair(&mut self, pointer: &str, (low, high): (f64, f64)) {
        self.list(pointer, &[low, high]);
    }

    /// A value that is expected but not ours, and why.
    pub fn set_aside(&mut self, pointer: &str, why: &str) {
        assert!(!why.is_empty());
        assert!(self.unseen.remove(pointer), "{}: {pointer} is not there to be set aside", self.name);
    }

    pub fn covered(&self) {
        assert!(self.unseen.is_empty(), "{}: expected but not compared: {:?}", self.name, self.unseen);
        assert!(self.compared > 0, "{}: nothing was compared", self.name);
    }
}

fn leaves(value: &Value, pointer: String, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, own) in map {
                leaves(own, format!("{pointer}/{key}"), found);
            }
        }
        Value::Array(list) => {
            for (i, own) in list.iter().enumerate() {
                leaves(own, format!("{pointer}/{i}"), found);
            }
        }
        _ => assert!(found.insert(pointer)),
    }
}
