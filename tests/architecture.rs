//! Who may use whom: every `crate::` path of the source, and every outside crate that belongs to one room.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Each room, and the rooms it may use directly or through them.
const ALLOWED: &[(&str, &[&str])] = &[
    ("time", &[]),
    ("numeric", &[]),
    ("files", &[]),
    ("model", &["time", "numeric", "files"]),
    ("measures", &["model", "time", "numeric"]),
    ("agreement", &["measures", "model", "time", "numeric"]),
    ("report", &["agreement", "measures", "model", "time", "numeric"]),
    ("export", &["report", "agreement", "measures", "media", "workbench", "model", "time", "numeric"]),
    ("storage", &["model", "time", "numeric", "files"]),
    ("media", &["time", "files"]),
    ("workbench", &["model", "storage", "media", "time", "numeric", "files"]),
    ("demo", &["model", "storage", "media", "time", "numeric", "files"]),
    (
        "cli",
        &[
            "agreement",
            "demo",
            "export",
            "files",
            "measures",
            "media",
            "model",
            "numeric",
            "report",
            "storage",
            "time",
            "workbench",
        ],
    ),
    (
        "gui",
        &[
            "agreement",
            "demo",
            "export",
            "files",
            "measures",
            "media",
            "model",
            "numeric",
            "report",
            "storage",
            "time",
            "workbench",
        ],
    ),
];

/// Crates that belong to one room.
const ONLY_IN: &[(&str, &[&str])] = &[
    ("iced", &["gui"]),
    ("ffmpeg_next", &["media"]),
    ("clap", &["cli"]),
    ("zip", &["storage"]),
    ("indicatif", &["cli"]),
    ("parquet", &["export"]),
    ("plotters", &["report"]),
    ("ttf_parser", &["report", "export"]),
    ("typst", &["report"]),
    ("typst_pdf", &["report"]),
    ("resvg", &["gui"]),
];

/// What pure rooms must not touch: no I/O, no clock, no thread, no global random source.
const PURE_ROOMS: &[&str] = &["time", "numeric", "model", "measures", "agreement"];
const IMPURE: &[&str] = &[
    "std::fs",
    "std::io",
    "std::net",
    "std::process",
    "std::thread",
    "std::env",
    "Instant::now",
    "SystemTime",
    "Utc::now",
    "Local::now",
    "thread_rng",
    "rand::rng(",
];

#[test]
fn every_room_uses_only_the_rooms_below_it() {
    let allowed: BTreeMap<&str, BTreeSet<&str>> =
        ALLOWED.iter().map(|(room, below)| (*room, below.iter().copied().collect())).collect();
    let mut wrong = Vec::new();
    for (room, path, code) in sources() {
        let Some(below) = allowed.get(room.as_str()) else {
            wrong.push(format!("{}: a room '{room}' nobody has placed", path.display()));
            continue;
        };
        for used in rooms_used(&code) {
            if used != room && !below.contains(used.as_str()) {
                wrong.push(format!("{}: {room} may not use {used}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn outside_crates_stay_in_their_room() {
    let mut wrong = Vec::new();
    for (room, path, code) in sources() {
        for (name, rooms) in ONLY_IN {
            let path_start = format!("{name}::");
            let used = code
                .match_indices(&path_start)
                .any(|(at, _)| !code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == ':'));
            if used && !rooms.contains(&room.as_str()) {
                wrong.push(format!("{}: {name} belongs to {rooms:?}", path.display()));
            }
        }
        if code.contains("unsafe {") && !path.ends_with("media/ffi.rs") {
            wrong.push(format!("{}: unsafe code lives in media/ffi.rs alone", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn pure_rooms_touch_nothing_outside() {
    let mut wrong = Vec::new();
    for (room, path, code) in sources() {
        if PURE_ROOMS.contains(&room.as_str()) {
            wrong.extend(
                IMPURE
                    .iter()
                    .filter(|word| code.contains(*word))
                    .map(|word| format!("{}: {word}", path.display())),
            );
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_top_level_holds_only_what_belongs_there() {
    let known: BTreeSet<&str> = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "CHANGELOG.md",
        "src",
        "tests",
        "sample-codings",
        "docs",
        "scripts",
        "target",
    ]
    .into();
    let mut odd = Vec::new();
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        // rustfmt reads its settings only under one of these two names.
        if !name.starts_with('.') && !known.contains(name.as_str()) {
            odd.push(name);
        }
    }
    assert!(odd.is_empty(), "{odd:?}");
}

#[test]
fn the_reader_of_paths_sees_each_way_to_write_one() {
    let code = without_comments_and_texts(
        "use crate::time::Micros; use crate::{model::{A, B}, storage, gui as g}; // crate::demo\n\
         fn f() -> crate::media::Error { \"crate::cli\"; super::x() } /* crate::export */",
    );
    let used: Vec<String> = rooms_used(&code).into_iter().collect();
    assert_eq!(used, ["gui", "media", "model", "storage", "time"]);
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Room, path and code (without comments, texts and unit tests) of every source file.
fn sources() -> Vec<(String, PathBuf, String)> {
    let src = root().join("src");
    let mut files = Vec::new();
    collect(&src, &mut files);
    files.sort();
    assert!(files.len() > 20, "the source was not found");
    files
        .into_iter()
        .filter_map(|path| {
            let inside = path.strip_prefix(&src).unwrap();
            let first = inside.components().next().unwrap().as_os_str().to_str().unwrap();
            let room = first.trim_end_matches(".rs").to_owned();
            if room == "lib" || room == "main" {
                return None;
            }
            let text = fs::read_to_string(&path).unwrap();
            // Unit tests stand last in a file and may look further.
            let code = text.split("#[cfg(test)]\nmod tests").next().unwrap();
            Some((room, path.clone(), without_comments_and_texts(code)))
        })
        .collect()
}

fn collect(dir: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}

/// First names after `crate::`, also inside `use crate::{…}`.
fn rooms_used(code: &str) -> BTreeSet<String> {
    let mut used = BTreeSet::new();
    for (at, start) in code.match_indices("crate::") {
        if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
            continue;
        }
        let rest = &code[at + start.len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 1;
            let mut name = String::new();
            let mut at_name = true;
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' => depth -= 1,
                    ',' if depth == 1 => at_name = true,
                    c if depth == 1 && at_name && (c.is_alphanumeric() || c == '_') => {
                        name.push(c);
                        continue;
                    }
                    c if c.is_whitespace() && name.is_empty() => continue,
                    _ => {}
                }
                if !name.is_empty() {
                    let _ = used.insert(std::mem::take(&mut name));
                    at_name = c == ',' && depth == 1;
                }
                if depth == 0 {
                    break;
                }
            }
        } else {
            let name: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            // A macro or an item of the crate's root has no `::` after it.
            if rest[name.len()..].starts_with("::") || rest[name.len()..].starts_with([';', ',', ' ']) {
                let _ = used.insert(name);
            }
        }
    }
    used
}

fn without_comments_and_texts(code: &str) -> String {
    let mut kept = String::with_capacity(code.len());
    let mut chars = code.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '/' if chars.peek() == Some(&'/') => {
                for c in chars.by_ref() {
                    if c == '\n' {
                        kept.push('\n');
                        break;
                    }
                }
            }
            '/' if chars.peek() == Some(&'*') => {
                let mut before = ' ';
                for c in chars.by_ref() {
                    if before == '*' && c == '/' {
                        break;
                    }
                    before = c;
                }
            }
            '"' => {
                let mut escaped = false;
                for c in chars.by_ref() {
                    if c == '"' && !escaped {
                        break;
                    }
                    escaped = c == '\\' && !escaped;
                }
            }
            // A quote in a character literal is no start of a text.
            '\'' if matches!(chars.clone().nth(1), Some('\'')) => {
                let _ = chars.next();
                let _ = chars.next();
            }
            c => kept.push(c),
        }
    }
    kept
}
