//! Drives the real window: one at a time, on the display that is there.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use shedlight::model::{Animal, Clip, ClipId, Coding, EthogramRef, Pass, Session, Study, Taxon, starter};
use shedlight::storage::{StudyFolder, coding_file, fingerprint};

use crate::common::barcode_clip;

/// A study around a clip of 40 s.
pub(super) fn study(root: &Path) -> std::path::PathBuf {
    let mut study = Study::new("A window test");
    study.animals.push(Animal {
        id: "bramble".into(),
        name: "Bramble".to_owned(),
        taxon: Some(Taxon::Chelonian),
        ..Animal::default()
    });
    let folder = StudyFolder::create(root, study).unwrap();
    let ethogram = starter::ethogram(Taxon::Chelonian);
    folder.save_ethogram(&ethogram).unwrap();
    let path = root.join("clips").join("a.mp4");
    barcode_clip(&path, 1000, &["-c:v", "libx264", "-preset", "ultrafast", "-g", "50"]);
    let mut session = Session::new("s1".into(), "bramble".into());
    let mut clip = Clip::new(ClipId(0), "clips/a.mp4");
    clip.fingerprint = Some(fingerprint::of_file(&path).unwrap());
    session.clips.push(clip);
    folder.save_session(&session).unwrap();
    let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    coding_file::create(&folder.session_folder(&session.id), &coding).unwrap()
}

/// Only one window has the keys of a display.
static DISPLAY: Mutex<()> = Mutex::new(());

pub(super) fn display() -> MutexGuard<'static, ()> {
    DISPLAY.lock().unwrap_or_else(PoisonError::into_inner)
}

pub(super) struct Window {
    pub(super) child: Child,
}

impl Drop for Window {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn start(root: &Path, config: &Path, arguments: &[&str], backend: &str) -> Child {
    Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .arg(root)
        .args(arguments)
        .env("XDG_CONFIG_HOME", config)
        .env("ICED_BACKEND", backend)
        .env_remove("WAYLAND_DISPLAY")
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

impl Window {
    pub(super) fn open(root: &Path, config: &Path) -> Self {
        Self::open_with(root, config, &["--session", "s1"])
    }

    pub(super) fn open_with(root: &Path, config: &Path, arguments: &[&str]) -> Self {
        Self::open_on(root, config, arguments, "tiny-skia")
    }

    /// Drawn by the named renderer.
    pub(super) fn open_on(root: &Path, config: &Path, arguments: &[&str], backend: &str) -> Self {
        std::fs::create_dir_all(config.join("shedlight")).unwrap();
        let settings = r#"{"cautions_read": true, "person": "K-01"}"#;
        std::fs::write(config.join("shedlight/window.json"), settings).unwrap();
        let mut own = Self { child: start(root, config, arguments, backend) };
        // A display server that is just starting over after its last client left refuses: once more then.
        for _ in 0..5 {
            std::thread::sleep(Duration::from_millis(700));
            match own.child.try_wait().unwrap() {
                Some(_) => own.child = start(root, config, arguments, backend),
                None => break,
            }
        }
        let id = own.id();
        // Without a window manager nobody gives it the keys.
        xdotool(&["windowfocus", "--sync", &id]);
        own
    }

    pub(super) fn id(&self) -> String {
        let start = Instant::now();
        loop {
            let pid = self.child.id().to_string();
            let found = Command::new("xdotool")
                .args(["search", "--onlyvisible", "--pid", &pid, "--name", "Shedlight"])
                .output()
                .expect("the window is driven with xdotool: apt-get install xdotool");
            let text = String::from_utf8(found.stdout).unwrap();
            if let Some(id) = text.lines().next() {
                return id.to_owned();
            }
            assert!(start.elapsed() < Duration::from_secs(60), "no window came up; is there a display?");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

pub(super) fn xdotool(arguments: &[&str]) {
    let done = Command::new("xdotool").args(arguments).status().unwrap();
    assert!(done.success(), "xdotool {arguments:?}");
}

pub(super) fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let start = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(start.elapsed() < Duration::from_secs(60), "waited for {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}
