//! Links of reports open the program: what xdg's own tools say.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Command, Output};

use crate::common::folder;

fn with_home(home: &Path, program: &str) -> Command {
    let mut command = Command::new(program);
    let _ = command
        .env("HOME", home)
        .env("XDG_DATA_HOME", home.join("data"))
        .env("XDG_CONFIG_HOME", home.join("config"))
        .env_remove("XDG_CURRENT_DESKTOP")
        .env_remove("DESKTOP_SESSION");
    command
}

fn run(command: &mut Command, remedy: &str) -> Output {
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error}: {remedy}"))
}

fn register(home: &Path, program: &str, more: &[&str]) -> (i32, String) {
    let ran = run(with_home(home, program).arg("register").args(more), "");
    (
        ran.status.code().unwrap(),
        String::from_utf8(ran.stdout).unwrap() + &String::from_utf8(ran.stderr).unwrap(),
    )
}

#[test]
fn the_desktop_entry_is_valid_and_the_scheme_s_handler_until_it_is_removed() {
    let folder = folder();
    let home = folder.path().join("home");
    std::fs::create_dir_all(home.join("config")).unwrap();
    let handlers = home.join("config/mimeapps.list");
    let others = "[Default Applications]\ntext/html=browser.desktop\n";
    std::fs::write(&handlers, others).unwrap();
    // A program whose path has everything that means something in an entry.
    let odd = folder.path().join("o d$d `q` 100% \"x\" \\b");
    std::fs::create_dir_all(&odd).unwrap();
    let program = odd.join("shedlight");
    let _ = std::fs::copy(env!("CARGO_BIN_EXE_shedlight"), &program).unwrap();
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
    let program = program.to_str().unwrap();

    let (code, told) = register(&home, program, &[]);
    assert_eq!(code, 0, "{told}");
    let entry = home.join("data/applications/shedlight.desktop");
    let valid = run(Command::new("desktop-file-validate").arg(&entry), "apt-get install desktop-file-utils");
    let said = String::from_utf8_lossy(&valid.stdout).into_owned();
    assert!(valid.status.success() && said.trim().is_empty(), "{said}");
    let query = || {
        let mut command = with_home(&home, "xdg-mime");
        let ran = run(
            command.args(["query", "default", "x-scheme-handler/shedlight"]),
            "apt-get install xdg-utils",
        );
        String::from_utf8(ran.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(query(), "shedlight.desktop");
    assert_eq!(register(&home, program, &[]).0, 0, "once more changes nothing");
    assert!(std::fs::read_to_string(&handlers).unwrap().contains("text/html=browser.desktop"));

    let (code, told) = register(&home, program, &["--remove"]);
    assert_eq!(code, 0, "{told}");
    assert!(!entry.exists());
    assert_eq!(std::fs::read_to_string(&handlers).unwrap(), others);
    assert_eq!(query(), "");
    let (_, told) = register(&home, program, &["--remove"]);
    assert!(told.contains("nothing was registered"), "{told}");
}

#[test]
fn an_entry_of_others_is_left_alone() {
    let folder = folder();
    let applications = folder.path().join("data/applications");
    std::fs::create_dir_all(&applications).unwrap();
    let entry = applications.join("shedlight.desktop");
    std::fs::write(&entry, "[Desktop Entry]\nName=Mine\n").unwrap();
    for more in [&[][..], &["--remove"]] {
        let (code, told) = register(folder.path(), env!("CARGO_BIN_EXE_shedlight"), more);
        assert!(code == 2 && told.contains("left alone"), "{told}");
        assert_eq!(std::fs::read_to_string(&entry).unwrap(), "[Desktop Entry]\nName=Mine\n");
    }
}
