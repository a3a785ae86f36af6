//! How fast a large study's list and a large coding open. From a warm disk cache, the best of five.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    missing_docs,
    dead_code,
    unreachable_pub,
    unused_crate_dependencies
)]
#![allow(clippy::cast_precision_loss, clippy::indexing_slicing)]

#[path = "../common/mod.rs"]
mod common;

use std::time::Instant;

use shedlight::measures::{Marks, Record, summary};
use shedlight::model::{
    Animal, Clip, ClipId, Coding, EthogramRef, Mark, MarkId, Pass, Session, SessionId, Study, Taxon, starter,
};
use shedlight::storage::{StudyFolder, coding_file};
use shedlight::time::Micros;

const SESSIONS: usize = 10_000;
const MARKS: u64 = 100_000;
const LONG: u32 = 20_000;

fn best(what: &str, bound_ms: f64, run: impl Fn() -> usize) {
    let mut least = f64::MAX;
    let mut count = 0;
    for _ in 0..5 {
        let start = Instant::now();
        count = run();
        least = least.min(start.elapsed().as_secs_f64() * 1e3);
    }
    println!("{what}: {count} in {least:.0} ms (wanted: {bound_ms:.0} ms)");
}

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("study");
    let mut study = Study::new("Large");
    study.animals.push(Animal { id: "bramble".into(), ..Animal::default() });
    let study = StudyFolder::create(&root, study).unwrap();
    let ethogram = starter::ethogram(Taxon::Lizard);
    study.save_ethogram(&ethogram).unwrap();
    let mut coding = Coding::new("s".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    let mark = |id: u64| {
        let at = Micros::from_millis(40 * i64::try_from(id).unwrap());
        let mut mark = Mark::event(MarkId(id), "approach".into(), at);
        mark.clip = Some(ClipId(0));
        mark
    };
    coding.marks = (1..=60).map(mark).collect();
    for n in 0..SESSIONS {
        let id: SessionId = format!("s{n:05}").as_str().into();
        let mut session = Session::new(id.clone(), "bramble".into());
        session.clips.push(Clip::new(ClipId(0), &format!("clips/{n}.mp4")));
        // Without the flush to the disk that a person's session gets.
        let folder = study.session_folder(&id);
        std::fs::create_dir_all(&folder).unwrap();
        let write = |name: &str, text: String| std::fs::write(folder.join(name), text).unwrap();
        write("session.json", shedlight::storage::json::to_text(&session).unwrap());
        coding.session = id;
        write("K-01.1.coding.json", shedlight::storage::json::to_text(&coding).unwrap());
    }
    best("list of sessions", 1_000.0, || StudyFolder::open(&root).unwrap().list().sessions.len());
    coding.marks = (1..=MARKS).map(mark).collect();
    let large = coding_file::create(&folder.path().join("study/sessions/s00000"), &coding).unwrap();
    best("marks of a coding", 200.0, || coding_file::open(&large).unwrap().coding.marks.len());
    summarised(&folder.path().join("long"));
}

/// The summary of one long coding that lies in memory: eight hours with 20,000 marks.
fn summarised(root: &std::path::Path) {
    common::archive::write(root, 1, LONG);
    let folder = StudyFolder::open(root).unwrap();
    let path = folder.session_folder(&"s00000".into()).join("K-07.1.coding.json");
    let loaded = folder.load_coding(&path).unwrap();
    let hours =
        loaded.coding.observed_window(&loaded.ethogram, &loaded.session).unwrap().length().seconds() / 3600.0;
    println!("a coding of {hours:.1} h");
    best("marks summarised", 30.0, || {
        let record =
            Record::try_new(&loaded.coding, &loaded.ethogram, &loaded.session, &folder.study, Marks::All);
        let found = summary::coding(&record.unwrap());
        assert!(found.figures.observed_s > 0.0);
        loaded.coding.marks.len()
    });
}
