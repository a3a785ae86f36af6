//! The Python tools that read our exports independently: pandas, DuckDB, PyArrow, frictionless, PyLD, webvtt-py.

use std::ffi::OsStr;
use std::path::PathBuf;
use std::process::Command;

use super::root;

/// Runs a script of the tests with the pinned tools and gives what it printed.
pub fn python<S: AsRef<OsStr>>(script: &str, arguments: &[S]) -> String {
    let path = interpreter();
    let ran = Command::new(&path)
        .arg("-X")
        .arg("utf8")
        .arg(root().join(script))
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    assert!(ran.status.success(), "{script}: {}", String::from_utf8_lossy(&ran.stderr));
    String::from_utf8(ran.stdout).unwrap()
}

/// `SHEDLIGHT_PYTHON`, or the environment that `need_python` of `scripts/needs` makes.
pub fn interpreter() -> PathBuf {
    if let Some(own) = std::env::var_os("SHEDLIGHT_PYTHON") {
        return own.into();
    }
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from);
    let place = if cfg!(windows) { "python/Scripts/python.exe" } else { "python/bin/python" };
    let path = target.join(place);
    assert!(
        path.exists(),
        "exports are held against other tools, which are not there: {}\n\
         make them with scripts/test, or with: bash -c '. scripts/needs && need_python'\n\
         or name a Python that has what scripts/python-tools.txt lists in SHEDLIGHT_PYTHON",
        path.display()
    );
    path
}
