//! How long reports and exports take: of the demo, and of 300 sessions, each as the program makes it. `cargo bench --bench report`;
//! with `--features pdf` the printed one too. SESSIONS makes the large study smaller or larger.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout, missing_docs)]
#![allow(clippy::cast_precision_loss, clippy::indexing_slicing, dead_code, unreachable_pub)]

#[path = "../common/mod.rs"]
mod common;

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

fn made(what: &str, study: &Path, out: &Path, bound_s: f64) {
    let begun = Instant::now();
    let status = Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .args(["report", study.to_str().unwrap(), "--date", "2025-04-10", "--out", out.to_str().unwrap()])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap();
    let seconds = begun.elapsed().as_secs_f64();
    assert!(status.code().is_some_and(|code| code < 2), "{what}: {status}");
    let size = std::fs::metadata(out).unwrap().len() as f64 / 1e6;
    let is_within = if seconds <= bound_s { "yes" } else { "NO" };
    println!("{what:<28} {seconds:>6.2} s  {size:>6.1} MB  (wanted: {bound_s} s: {is_within})");
}

fn main() {
    // `cargo test --benches` asks every benchmark for its tests.
    if std::env::args().any(|argument| argument == "--test" || argument == "--list") {
        return;
    }
    let wanted = std::env::var("SESSIONS").ok().and_then(|text| text.parse().ok()).unwrap_or(300);
    let folder = common::folder();
    let large = folder.path().join("study");
    let sessions = common::archive::many(&large, wanted);
    let demo = common::root().join("sample-codings");
    let endings = if cfg!(feature = "pdf") { &["html", "pdf"][..] } else { &["html"] };
    for ending in endings {
        let out = folder.path().join(format!("r.{ending}"));
        made(&format!("the demo as {ending}"), &demo, &out, 3.0);
        made(&format!("{sessions} sessions as {ending}"), &large, &out, 15.0);
    }
}
