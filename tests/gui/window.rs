//! The real window under a display (scripts/test gives it a virtual one), driven by keys, killed,
//! and opened again.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use shedlight::model::{
    Animal, Clip, ClipId, Coding, End, EthogramRef, Extra, FaceCover, Pass, Session, Study, Taxon, starter,
};
use shedlight::storage::{StudyFolder, coding_file, fingerprint};
use shedlight::time::Micros;

use crate::common::{barcode_clip, folder};

/// A study around a clip of 40 s.
fn study(root: &Path) -> std::path::PathBuf {
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

fn display() -> MutexGuard<'static, ()> {
    DISPLAY.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Window {
    child: Child,
}

impl Drop for Window {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn start(root: &Path, config: &Path) -> Child {
    Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .arg(root)
        .args(["--session", "s1"])
        .env("XDG_CONFIG_HOME", config)
        .env("ICED_BACKEND", "tiny-skia")
        .env_remove("WAYLAND_DISPLAY")
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

impl Window {
    fn open(root: &Path, config: &Path) -> Self {
        std::fs::create_dir_all(config.join("shedlight")).unwrap();
        std::fs::write(config.join("shedlight/window.json"), r#"{"cautions_read": true}"#).unwrap();
        let mut own = Self { child: start(root, config) };
        // A display server that is just starting over after its last client left refuses: once more then.
        for _ in 0..5 {
            std::thread::sleep(Duration::from_millis(700));
            match own.child.try_wait().unwrap() {
                Some(_) => own.child = start(root, config),
                None => break,
            }
        }
        let id = own.id();
        // Without a window manager nobody gives it the keys.
        xdotool(&["windowfocus", "--sync", &id]);
        own
    }

    fn id(&self) -> String {
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

fn xdotool(arguments: &[&str]) {
    let done = Command::new("xdotool").args(arguments).status().unwrap();
    assert!(done.success(), "xdotool {arguments:?}");
}

fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let start = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(start.elapsed() < Duration::from_secs(60), "waited for {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn marks(coding: &Path) -> Vec<(String, Micros, End)> {
    let coding = coding_file::read(coding).unwrap();
    coding.marks.iter().map(|mark| (mark.behaviour.to_string(), mark.from, mark.to)).collect()
}

#[test]
fn rule_34_coded_by_keys_alone_killed_and_opened_again_at_the_same_place() {
    let _alone = display();
    let folder = folder();
    let (root, config) = (folder.path().join("study"), folder.path().join("config"));
    let coding = study(&root);
    let window = Window::open(&root, &config);
    // The first picture is there when its place is remembered.
    let _ = wait_for("the first picture", || coding_file::place(&coding));
    xdotool(&["key", "--delay", "60", "F4"]);
    xdotool(&["key", "--delay", "60", "Right", "Right", "Right"]);
    wait_for("three steps", || (coding_file::place(&coding) == Some(Micros(120_000))).then_some(()));
    xdotool(&["key", "r"]);
    wait_for("a bout", || (marks(&coding).len() == 1).then_some(()));
    xdotool(&["key", "shift+Right"]);
    wait_for("a second on", || (coding_file::place(&coding) == Some(Micros(1_120_000))).then_some(()));
    xdotool(&["key", "m"]);
    wait_for("another", || (marks(&coding).len() == 2).then_some(()));
    xdotool(&["key", "ctrl+Right"]);
    wait_for("five seconds on", || (coding_file::place(&coding) == Some(Micros(6_120_000))).then_some(()));
    let wanted = vec![
        ("still-relaxed".to_owned(), Micros(120_000), End::At(Micros(1_120_000))),
        ("move".to_owned(), Micros(1_120_000), End::Open),
    ];
    assert_eq!(marks(&coding), wanted);
    // SIGKILL: nothing is tidied up.
    drop(window);
    assert_eq!(marks(&coding), wanted);
    let window = Window::open(&root, &config);
    // Enter ends the open bout at the picture shown: where it was left.
    std::thread::sleep(Duration::from_millis(1_500));
    xdotool(&["key", "F4"]);
    xdotool(&["key", "Return"]);
    wait_for("the bout to end", || (marks(&coding)[1].2 == End::At(Micros(6_120_000))).then_some(()));
    xdotool(&["key", "ctrl+z", "ctrl+z"]);
    wait_for("undo over the restart", || (marks(&coding).len() == 1).then_some(()));
    assert_eq!(marks(&coding), [("still-relaxed".to_owned(), Micros(120_000), End::Open)]);
    drop(window);
}

fn covers(root: &Path) -> Vec<FaceCover> {
    StudyFolder::open(root).unwrap().session(&"s1".into()).unwrap().clips[0].face_covers.clone()
}

#[test]
fn faces_are_covered_by_key_and_mouse_and_nothing_is_coded_meanwhile() {
    let _alone = display();
    let folder = folder();
    let (root, config) = (folder.path().join("study"), folder.path().join("config"));
    let coding = study(&root);
    let window = Window::open(&root, &config);
    let _ = wait_for("the first picture", || coding_file::place(&coding));
    xdotool(&["key", "--delay", "60", "shift+F8", "equal"]);
    wait_for("a rectangle", || (covers(&root).len() == 1).then_some(()));
    xdotool(&["key", "--delay", "60", "Right", "Right", "Right"]);
    wait_for("three steps", || (coding_file::place(&coding) == Some(Micros(120_000))).then_some(()));
    xdotool(&["key", "--delay", "60", "r", "alt+Right"]);
    wait_for("it to move along", || (covers(&root).len() == 2).then_some(()));
    assert!(marks(&coding).is_empty(), "letters code nothing while faces are covered");
    let end = covers(&root)[1].to;
    let at = |from, to, x| FaceCover {
        from: Micros(from),
        to,
        x,
        y: 0.35,
        width: 0.2,
        height: 0.3,
        face: 1,
        extra: Extra::new(),
    };
    assert_eq!(covers(&root), [at(0, Micros(120_000), 0.4), at(120_000, end, 0.41)]);
    assert_eq!(end, Micros::from_whole_seconds(40));
    // Another one with the mouse, left above the first.
    xdotool(&["mousemove", "--window", &window.id(), "300", "80", "mousedown", "1"]);
    for place in ["310", "330", "350"] {
        xdotool(&["mousemove", "--window", &window.id(), place, "110"]);
        std::thread::sleep(Duration::from_millis(60));
    }
    xdotool(&["mouseup", "1"]);
    wait_for("a second face", || (covers(&root).len() == 3).then_some(()));
    let drawn = &covers(&root)[2];
    assert!(drawn.face == 2 && drawn.from == Micros(120_000) && drawn.width < 0.2, "{drawn:?}");
    // Gone here, taken back, and back to coding.
    xdotool(&["key", "--delay", "60", "Right", "Return"]);
    wait_for("it to end", || (covers(&root)[2].to == Micros(160_000)).then_some(()));
    xdotool(&["key", "--delay", "60", "ctrl+z"]);
    wait_for("it to be back", || (covers(&root)[2].to == end).then_some(()));
    xdotool(&["key", "--delay", "60", "Escape", "F4", "r"]);
    wait_for("a bout", || (marks(&coding).len() == 1).then_some(()));
    drop(window);
}
