//! Long work ended by Ctrl+C.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::common::{archive, folder, shedlight};

/// What lies in a folder, hidden things too.
fn inside(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn an_export_that_is_stopped_leaves_nothing() {
    let folder = folder();
    let study = folder.path().join("study");
    archive::write(&study, 600, 300);
    let forms: &[&str] = if cfg!(feature = "parquet") { &["csv", "parquet"] } else { &["csv"] };
    for form in forms {
        let out = folder.path().join("out");
        let mut child = Command::new(env!("CARGO_BIN_EXE_shedlight"))
            .args(["export", study.to_str().unwrap(), "--as", form, "--out", out.to_str().unwrap()])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // It has begun to write when something lies beside the study.
        while inside(folder.path()).len() == 1 && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(2));
        }
        assert!(child.try_wait().unwrap().is_none(), "{form}: it ended before it could be stopped");
        let asked = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        assert!(asked.success());
        let ended = child.wait_with_output().unwrap();
        let told = String::from_utf8(ended.stderr).unwrap();
        assert_eq!(ended.status.code(), Some(2), "{form}: {told}");
        assert!(told.contains("stopped; nothing of it is left"), "{form}: {told}");
        assert_eq!(inside(folder.path()), ["study"], "{form}");
    }
    // The study is as it was, and can be exported.
    let checked = shedlight(&["summary", study.to_str().unwrap(), "--animal", "a0000", "--json"]);
    assert_eq!(checked.code, 0, "{}", checked.err);
}
