//! How fast a large study's list and a large coding open. From a warm disk cache, the best of five.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    missing_docs,
    unused_crate_dependencies
)]

use std::time::Instant;

use shedlight::model::{
    Animal, Clip, ClipId, Coding, EthogramRef, Mark, MarkId, Pass, Session, SessionId, Study, Taxon, starter,
};
use shedlight::storage::{StudyFolder, coding_file};
use shedlight::time::Micros;

const SESSIONS: usize = 10_000;
const MARKS: u64 = 100_000;

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
}
