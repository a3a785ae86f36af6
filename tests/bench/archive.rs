//! An archive of 10,000 sessions and 5 million marks: exported as Parquet and summarised, with peak memory, and the summary against
//! a pandas script that does only its time budgets and mean bouts. `cargo bench --bench archive`; SESSIONS and MARKS (a session) make it
//! smaller. The memory is read from /proc while the program runs, so it is known on Linux only.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout, missing_docs)]
#![allow(clippy::cast_precision_loss, clippy::indexing_slicing, dead_code, unreachable_pub)]

#[path = "../common/mod.rs"]
mod common;

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Runs a command; its time, and its highest resident memory in MiB.
fn measured(name: &str, command: &mut Command) -> (f64, f64) {
    let start = Instant::now();
    let mut child = command.stdout(Stdio::null()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak_kib = 0.0_f64;
    let code = loop {
        if let Ok(text) = std::fs::read_to_string(&status) {
            let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
            let kib = line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok());
            peak_kib = peak_kib.max(kib.unwrap_or(0.0));
        }
        if let Some(code) = child.try_wait().unwrap() {
            break code;
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    let seconds = start.elapsed().as_secs_f64();
    assert!(code.success(), "{name}: {code}");
    println!("{name:<28} {seconds:>8.1} s   peak {:>6.0} MiB", peak_kib / 1024.0);
    (seconds, peak_kib / 1024.0)
}

fn size(name: &str, usual: u32) -> u32 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

fn main() {
    // `cargo test --benches` asks every benchmark for its tests.
    if std::env::args().any(|argument| argument == "--test" || argument == "--list") {
        return;
    }
    let (sessions, marks) = (size("SESSIONS", 10_000), size("MARKS", 500));
    let folder = common::folder();
    let study = folder.path().join("study");
    common::archive::write(&study, sessions, marks);
    println!("{sessions} sessions of about {marks} marks");
    let shedlight = || Command::new(env!("CARGO_BIN_EXE_shedlight"));
    let dataset = folder.path().join("dataset");
    let export = ["export", study.to_str().unwrap(), "--as", "parquet", "--out", dataset.to_str().unwrap()];
    let (_, exported) = measured("export --as parquet", shedlight().args(export));
    let (ours, summarised) = measured("summary --json", shedlight().args(["summary", "--json"]).arg(&study));
    let budgets = common::root().join("tests/bench/budgets.py");
    let (theirs, _) = measured(
        "pandas, budgets and means",
        Command::new(common::python::interpreter()).arg(budgets).arg(&study),
    );
    println!("summary to pandas: {:.3}", ours / theirs);
    let is_within = exported.max(summarised) <= 400.0;
    println!("within 400 MiB: {}", if is_within { "yes" } else { "NO" });
}
