//! `shedlight register`: links of the scheme `shedlight:` open this program, for one user.
//!
//! On systems that follow freedesktop.org this is a desktop entry (Desktop Entry Specification) in
//! the user's `applications`, named as the scheme's default in `mimeapps.list` (Association between MIME
//! types and applications, 1.0.1). Elsewhere it says what to do.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::arguments::Register;
use super::{CommandResult, Error, FINE};

const ENTRY: &str = "shedlight.desktop";
const SCHEME: &str = "x-scheme-handler/shedlight";
/// By which an entry is known to be ours.
const OURS: &str = "X-Shedlight-Registered=true";
const DEFAULTS: &str = "[Default Applications]";

pub(super) fn run(asked: &Register, out: &mut dyn Write) -> CommandResult {
    if cfg!(any(windows, target_os = "macos")) {
        return Err(Error::Usage(elsewhere(&program()?)));
    }
    let places = Places::of_user()?;
    let done = if asked.remove { remove(&places)? } else { add(&places, &program()?)? };
    if !asked.remove && !cfg!(feature = "gui") {
        super::remark(&["this build has no window to open (feature 'gui')".to_owned()]);
    }
    refresh(&places.applications);
    if asked.json {
        let own = serde_json::json!({ "entry": places.entry(), "handlers": places.handlers, "registered": !asked.remove });
        serde_json::to_writer_pretty(&mut *out, &own)?;
        writeln!(out)?;
    } else {
        writeln!(out, "{done}")?;
    }
    Ok(FINE)
}

/// Where things lie.
struct Places {
    applications: PathBuf,
    handlers: PathBuf,
}

impl Places {
    fn of_user() -> Result<Self, Error> {
        let folders = directories::BaseDirs::new().ok_or_else(|| {
            Error::Usage("there is no home folder here to register in: set HOME".to_owned())
        })?;
        Ok(Self {
            applications: folders.data_dir().join("applications"),
            handlers: folders.config_dir().join("mimeapps.list"),
        })
    }

    fn entry(&self) -> PathBuf {
        self.applications.join(ENTRY)
    }
}

/// Where this program lies.
fn program() -> Result<String, Error> {
    let path = std::env::current_exe()?;
    path.to_str().filter(|path| !path.contains(['\n', '\r'])).map(str::to_owned).ok_or_else(|| {
        Error::Usage(format!(
            "the program's own path can't stand in a desktop entry: move it to a folder with a plain name: {}",
            path.display()
        ))
    })
}

fn add(places: &Places, program: &str) -> Result<String, Error> {
    let entry = places.entry();
    if is_of_others(&entry) {
        return Err(Error::Usage(format!(
            "there is an entry of this name that this program did not make; it is left alone. Move it away first: {}",
            entry.display()
        )));
    }
    let fail = |path: &Path| {
        let path = path.to_owned();
        move |source| crate::files::Error::Write { path, source }
    };
    std::fs::create_dir_all(&places.applications).map_err(fail(&places.applications))?;
    crate::files::write_atomically(&entry, desktop_entry(program).as_bytes())?;
    let before = text_of(&places.handlers)?;
    let after = with_handler(&before);
    if after != before {
        if let Some(above) = places.handlers.parent() {
            std::fs::create_dir_all(above).map_err(fail(above))?;
        }
        write_through(&places.handlers, &after)?;
    }
    Ok(format!(
        "links of reports now open {program}\n(run this again when the program has moved; 'shedlight register --remove' takes it back)"
    ))
}

fn remove(places: &Places) -> Result<String, Error> {
    let entry = places.entry();
    if is_of_others(&entry) {
        return Err(Error::Usage(format!(
            "this program did not make this entry; it is left alone: {}",
            entry.display()
        )));
    }
    let was_there = entry.exists();
    if was_there {
        std::fs::remove_file(&entry)
            .map_err(|source| crate::files::Error::Write { path: entry.clone(), source })?;
    }
    let before = text_of(&places.handlers)?;
    let after = without_handler(&before);
    if after != before {
        write_through(&places.handlers, &after)?;
    }
    Ok(if was_there || after != before {
        "links of reports open this program no longer".to_owned()
    } else {
        "nothing was registered".to_owned()
    })
}

fn is_of_others(entry: &Path) -> bool {
    std::fs::read_to_string(entry).map_or_else(
        |error| error.kind() != std::io::ErrorKind::NotFound,
        |text| !text.lines().any(|line| line == OURS),
    )
}

/// The text of a file, or nothing where there is none; one that can't be read is not written over.
fn text_of(path: &Path) -> Result<String, Error> {
    match std::fs::read_to_string(path) {
        Ok(text) => Ok(text),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(String::new()),
        Err(source) => Err(crate::storage::Error::Read { path: path.to_owned(), source }.into()),
    }
}

/// Writes the file that a link leads to, not over the link.
fn write_through(path: &Path, text: &str) -> Result<(), Error> {
    let real = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    Ok(crate::files::write_atomically(&real, text.as_bytes())?)
}

/// Some desktops look only into the cache that this tool makes; where it is missing they look themselves.
fn refresh(applications: &Path) {
    let _ = std::process::Command::new("update-desktop-database")
        .arg("-q")
        .arg(applications)
        .stdin(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .status();
}

/// The desktop entry of a program at this path.
fn desktop_entry(program: &str) -> String {
    format!(
        "[Desktop Entry]\nType=Application\nVersion=1.0\nName=Shedlight\nComment=Step through a filmed training session and code it\nExec={} %u\nTryExec={}\nTerminal=false\nCategories=Science;Biology;\nMimeType={SCHEME};\n{OURS}\n",
        escaped(&quoted(program)),
        escaped(program)
    )
}

/// An argument of `Exec`: in quotes, what a shell would take for its own behind a backslash, a per cent sign
/// twice.
fn quoted(argument: &str) -> String {
    let mut text = String::from("\"");
    for c in argument.chars() {
        if "\"`$\\".contains(c) {
            text.push('\\');
        }
        text.push(c);
        if c == '%' {
            text.push('%');
        }
    }
    text.push('"');
    text
}

/// A value of a key file.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('\t', "\\t")
}

/// The handlers with ours first for the scheme; everything else stays as it is.
fn with_handler(text: &str) -> String {
    let mut lines: Vec<String> = without_handler(text).lines().map(str::to_owned).collect();
    let key = format!("{SCHEME}=");
    let group = lines.iter().position(|line| line.trim_end() == DEFAULTS);
    let end = group.map_or(lines.len(), |at| {
        let rest = lines.iter().skip(at + 1).position(|line| line.starts_with('['));
        rest.map_or(lines.len(), |rest| at + 1 + rest)
    });
    let from = group.map_or(end, |at| at + 1);
    let known = lines.iter_mut().skip(from).take(end - from).find(|line| line.starts_with(&key));
    if let Some(line) = known {
        *line = line.replacen(&key, &format!("{key}{ENTRY};"), 1);
    } else if let Some(at) = group {
        lines.insert(at + 1, format!("{key}{ENTRY}"));
    } else {
        lines.push(DEFAULTS.to_owned());
        lines.push(format!("{key}{ENTRY}"));
    }
    lines.join("\n") + "\n"
}

/// The handlers without ours.
fn without_handler(text: &str) -> String {
    let key = format!("{SCHEME}=");
    let mut kept = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let Some(value) = line.strip_prefix(&key).filter(|value| value.contains(ENTRY)) else {
            kept.push_str(line);
            continue;
        };
        let others: Vec<&str> =
            value.trim().split(';').filter(|own| !own.is_empty() && *own != ENTRY).collect();
        if !others.is_empty() {
            kept.push_str(&key);
            kept.push_str(&others.join(";"));
            kept.push_str(";\n");
        }
    }
    kept
}

/// What to do where there are no desktop entries.
fn elsewhere(program: &str) -> String {
    if cfg!(windows) {
        format!(
            "on Windows a link is registered in the registry; for you alone, in a command prompt:\n  \
             reg add HKCU\\Software\\Classes\\shedlight /ve /d \"URL:Shedlight\" /f\n  \
             reg add HKCU\\Software\\Classes\\shedlight /v \"URL Protocol\" /d \"\" /f\n  \
             reg add HKCU\\Software\\Classes\\shedlight\\shell\\open\\command /ve /d \"\\\"{program}\\\" \\\"%1\\\"\" /f\n\
             and taken back by: reg delete HKCU\\Software\\Classes\\shedlight /f"
        )
    } else {
        format!(
            "on macOS only an application bundle can open links: make one around {program} whose Info.plist names 'shedlight' under CFBundleURLTypes. \
             Until then use the command that stands beside each link of a report"
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_with_odd_characters_stays_one_argument() {
        assert_eq!(quoted("/opt/shed light/x"), "\"/opt/shed light/x\"");
        // As the specification's section on Exec says: quoted first, then escaped as any value.
        assert_eq!(escaped(&quoted("/a$b`c\"d\\e%f")), "\"/a\\\\$b\\\\`c\\\\\"d\\\\\\\\e%%f\"");
    }

    #[test]
    fn handlers_of_others_stay_and_ours_goes_as_it_came() {
        let others = "# mine\n[Default Applications]\ntext/html=browser.desktop\n\n[Added Associations]\ntext/plain=a.desktop;\n";
        let with = with_handler(others);
        assert!(
            with.contains("[Default Applications]\nx-scheme-handler/shedlight=shedlight.desktop\ntext/html")
        );
        assert_eq!(with_handler(&with), with, "twice is once");
        assert_eq!(without_handler(&with), others);
        assert_eq!(
            with_handler(""),
            "[Default Applications]\nx-scheme-handler/shedlight=shedlight.desktop\n"
        );
        let rival = "[Default Applications]\nx-scheme-handler/shedlight=other.desktop;\n";
        let with = with_handler(rival);
        assert!(with.contains("=shedlight.desktop;other.desktop;"), "{with}");
        assert_eq!(without_handler(&with), rival);
    }
}
