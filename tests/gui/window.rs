//! The real window under a display (scripts/test gives it a virtual one), driven by keys, killed,
//! and opened again.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::model::{End, Extra, FaceCover, Person, Role, Session, Taxon, starter};
use shedlight::storage::{StudyFolder, coding_file};
use shedlight::time::Micros;

use super::driver::{Window, display, study, wait_for, xdotool};
use crate::common::python::python;
use crate::common::{barcode_clip, folder};

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

/// Killed while keys come in, at any moment; SHEDLIGHT_WINDOW_KILLS says how often.
#[test]
fn rule_34_the_window_killed_while_keys_are_pressed_keeps_every_mark_it_had_written() {
    let _alone = display();
    let folder = folder();
    let config = folder.path().join("config");
    let kills = std::env::var("SHEDLIGHT_WINDOW_KILLS").ok().and_then(|own| own.parse().ok()).unwrap_or(2);
    let mut random = ChaCha8Rng::seed_from_u64(34);
    let mut root = folder.path().join("study");
    let mut coding = study(&root);
    let mut kept = 0;
    for kill in 1..=kills {
        if kill % 6 == 0 {
            // Before the clip ends: a fresh record.
            root = folder.path().join(format!("study-{kill}"));
            coding = study(&root);
            kept = 0;
        }
        let window = Window::open(&root, &config);
        let _ = wait_for("the picture", || coding_file::place(&coding));
        std::thread::sleep(Duration::from_millis(1_500));
        xdotool(&["key", "F4"]);
        let keys = ["r", "Right", "m", "Right"].iter().cycle().take(200);
        let mut typing = Command::new("xdotool").args(["key", "--delay", "30"]).args(keys).spawn().unwrap();
        let until = Instant::now() + Duration::from_millis(700 + random.next_u64() % 2_000);
        let mut written = marks(&coding);
        while Instant::now() < until {
            written = marks(&coding);
        }
        drop(window);
        let _ = typing.kill();
        let _ = typing.wait();
        // Whoever typed may have died with a finger on a key.
        xdotool(&["keyup", "r", "keyup", "m", "keyup", "Right"]);
        assert!(written.len() > kept, "kill {kill}: no key was heard");
        let left = marks(&coding);
        for (behaviour, from, _) in &written {
            let is_kept = left.iter().any(|own| own.0 == *behaviour && own.1 == *from);
            assert!(is_kept, "kill {kill}: {behaviour} at {from} was on the disk and is gone");
        }
        kept = left.len();
        assert_eq!(coding_file::open(&coding).unwrap().coding.marks.len(), kept, "kill {kill}: opened");
    }
}

/// Sample, behaviour, time.
type Answer = (u32, String, Micros);

/// What is answered, and the numbers of the samples answered.
fn answers(coding: &Path) -> (Vec<Answer>, Vec<[u32; 2]>) {
    let coding = coding_file::read(coding).unwrap();
    let own = |mark: &shedlight::model::Mark| (mark.sample.unwrap(), mark.behaviour.to_string(), mark.from);
    let mut marks: Vec<_> = coding.marks.iter().map(own).collect();
    marks.sort();
    (marks, coding.passes[0].answered.sorted())
}

/// Waits until the film stands at a time.
fn wait_at(coding: &Path, seconds: i64) {
    let at = Some(Micros::from_whole_seconds(seconds));
    wait_for(&format!("the picture at {seconds} s"), || (coding_file::place(coding) == at).then_some(()));
}

#[test]
fn points_are_coded_by_keys_alone_corrected_killed_and_gone_on_with() {
    let _alone = display();
    let folder = folder();
    let (root, config) = (folder.path().join("study"), folder.path().join("config"));
    let continuous = study(&root);
    let window = Window::open_with(&root, &config, &[]);
    std::thread::sleep(Duration::from_millis(700));
    // Shift+F2; every 10 s, the first after 2 s.
    xdotool(&["key", "--delay", "80", "shift+F2", "Down", "1", "0", "Down", "2", "Return"]);
    let coding = continuous.with_file_name("K-01.2.coding.json");
    wait_for("the coding", || coding.exists().then_some(()));
    wait_at(&coding, 2);
    // Each key answers its point, and the film goes to the next one.
    xdotool(&["key", "r"]);
    wait_at(&coding, 12);
    xdotool(&["key", "m"]);
    wait_at(&coding, 22);
    let at = Micros::from_whole_seconds;
    let one = (1, "still-relaxed".to_owned(), at(2));
    assert_eq!(answers(&coding), (vec![one.clone(), (2, "move".to_owned(), at(12))], vec![[1, 2]]));
    // Back, and another answer in its place.
    xdotool(&["key", "Prior"]);
    wait_at(&coding, 12);
    xdotool(&["key", "e"]);
    wait_at(&coding, 22);
    let wanted = (vec![one.clone(), (2, "explore".to_owned(), at(12))], vec![[1, 2]]);
    assert_eq!(answers(&coding), wanted);
    // SIGKILL: every answer is there.
    drop(window);
    assert_eq!(answers(&coding), wanted);
    let window = Window::open_with(&root, &config, &[]);
    std::thread::sleep(Duration::from_millis(700));
    xdotool(&["key", "--delay", "80", "shift+F2", "Return"]);
    // It goes on at the first point nobody has answered: undo goes back over the restart.
    std::thread::sleep(Duration::from_millis(1_500));
    xdotool(&["key", "ctrl+z"]);
    wait_at(&coding, 12);
    assert_eq!(answers(&coding), (vec![one.clone(), (2, "move".to_owned(), at(12))], vec![[1, 2]]));
    xdotool(&["key", "Tab"]);
    wait_at(&coding, 22);
    // Out of sight, then the last one.
    let ethogram = starter::ethogram(Taxon::Chelonian);
    let hidden = ethogram.with_role(Role::Excluded).next().unwrap();
    xdotool(&["key", &hidden.key.unwrap().to_string()]);
    wait_at(&coding, 32);
    xdotool(&["key", "m"]);
    wait_for("all answered", || (answers(&coding).1 == [[1, 4]]).then_some(()));
    assert!(coding_file::read(&coding).unwrap().passes[0].done);
    xdotool(&["key", "Escape"]);
    drop(window);
}

#[test]
fn intervals_are_played_before_they_are_answered() {
    let _alone = display();
    let folder = folder();
    let (root, config) = (folder.path().join("study"), folder.path().join("config"));
    let continuous = study(&root);
    let window = Window::open_with(&root, &config, &[]);
    std::thread::sleep(Duration::from_millis(700));
    // Shift+F2; intervals of 20 s.
    xdotool(&["key", "--delay", "80", "shift+F2", "Right", "Down", "2", "0", "Return"]);
    let coding = continuous.with_file_name("K-01.2.coding.json");
    wait_for("the coding", || coding.exists().then_some(()));
    wait_at(&coding, 0);
    // Enter plays what nobody has seen; what is ticked meanwhile is on the disk at once.
    xdotool(&["key", "Return"]);
    let _ = wait_for("the film to run", || coding_file::place(&coding).filter(|at| *at > Micros::ZERO));
    assert_eq!(answers(&coding).1, [[0; 2]; 0]);
    xdotool(&["key", "m"]);
    wait_for("a tick", || (answers(&coding).0.len() == 1).then_some(()));
    // Enter answers it, and the second one plays.
    xdotool(&["key", "Return"]);
    wait_for("an answer", || (answers(&coding).1 == [[1, 1]]).then_some(()));
    let second = Micros::from_whole_seconds(20);
    let _ = wait_for("the second one to run", || coding_file::place(&coding).filter(|at| *at > second));
    xdotool(&["key", "Return"]);
    wait_for("both answers", || (answers(&coding).1 == [[1, 2]]).then_some(()));
    let whole = coding_file::read(&coding).unwrap();
    assert!(whole.passes[0].done && whole.offset_seed.is_none());
    assert_eq!(whole.marks.len(), 1, "absence makes no mark");
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

#[test]
fn a_newcomer_comes_from_an_empty_start_to_a_first_coded_minute_by_keys_alone() {
    let _alone = display();
    let folder = folder();
    let clip = folder.path().join("walk.mp4");
    barcode_clip(&clip, 1_700, &["-c:v", "libx264", "-preset", "ultrafast", "-g", "50"]);
    let child = Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .env("HOME", folder.path())
        .env("XDG_CONFIG_HOME", folder.path().join("config"))
        .env("ICED_BACKEND", "tiny-skia")
        .env_remove("WAYLAND_DISPLAY")
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let window = Window { child };
    xdotool(&["windowfocus", "--sync", &window.id()]);
    let pause = || std::thread::sleep(Duration::from_millis(800));
    pause();
    // The cautions; then no study is open, and the window says what to do.
    xdotool(&["key", "Return"]);
    pause();
    xdotool(&["key", "Tab"]);
    xdotool(&["type", "--delay", "20", clip.to_str().unwrap()]);
    xdotool(&["key", "Return"]);
    pause();
    // The animal's name has the keys; the ethogram is the one for tortoises; Enter makes the study.
    xdotool(&["type", "--delay", "20", "Bramble"]);
    xdotool(&["key", "Tab"]);
    xdotool(&["type", "--delay", "20", "k-1"]);
    xdotool(&["key", "--delay", "60", "F2", "Return"]);
    let study = folder.path().join("walk-study");
    let coding = wait_for("the coding", || {
        let session = std::fs::read_dir(study.join("sessions")).ok()?.next()?.ok()?;
        Some(session.path().join("K-1.1.coding.json")).filter(|path| path.is_file())
    });
    let _ = wait_for("the first picture", || coding_file::place(&coding));
    // The second pass, activity; a state holds until the next one of its set begins, a minute on.
    xdotool(&["key", "--delay", "60", "F4", "r"]);
    wait_for("a bout", || (marks(&coding).len() == 1).then_some(()));
    for _ in 0..12 {
        xdotool(&["key", "--delay", "60", "ctrl+Right"]);
    }
    wait_for("a minute on", || (coding_file::place(&coding) == Some(Micros(60_000_000))).then_some(()));
    xdotool(&["key", "m"]);
    wait_for("the next bout", || (marks(&coding).len() == 2).then_some(()));
    let minute = [
        ("still-relaxed".to_owned(), Micros(0), End::At(Micros(60_000_000))),
        ("move".to_owned(), Micros(60_000_000), End::Open),
    ];
    assert_eq!(marks(&coding), minute);
    drop(window);
}

/// Seconds of a stroke by who types seldom, and of thinking before a line: Card, Moran and Newell, "The
/// keystroke-level model for user performance time with interactive systems", CACM 23(7), 1980.
const STROKE: f64 = 0.28;
const THOUGHT: f64 = 1.35;

#[test]
fn the_facts_of_a_session_are_written_by_keys_in_less_than_a_minute_of_strokes_and_thoughts() {
    let _alone = display();
    let folder = folder();
    let (root, config) = (folder.path().join("study"), folder.path().join("config"));
    let _ = study(&root);
    let mut open = StudyFolder::open(&root).unwrap();
    open.study.people.push(Person { code: "K-01".into(), ..Person::default() });
    open.save_study().unwrap();
    // The session before it, from which most is as it was.
    let mut last = Session::new("s0".into(), "bramble".into());
    last.recorded_at = Some("2026-03-01T15:00:00Z".parse().unwrap());
    last.handler = Some("K-01".into());
    last.facts.air_c = Some(27.5);
    last.facts.basking_c = Some(33.0);
    last.facts.exit_open = Some(true);
    last.facts.other_food = Some(false);
    last.facts.enclosure_as_usual = Some(true);
    last.facts.apart_from_group = Some(false);
    last.food =
        vec![shedlight::model::Food { item: "melon".to_owned(), grams: Some(6.0), extra: Extra::new() }];
    open.save_session(&last).unwrap();
    let mut own = open.session(&"s1".into()).unwrap();
    own.recorded_at = Some("2026-03-03T15:00:00Z".parse().unwrap());
    open.save_session(&own).unwrap();
    let window = Window::open_with(&root, &config, &[]);
    std::thread::sleep(Duration::from_secs(4));
    let (mut strokes, mut thoughts) = (0, 0.0);
    let mut keys = |keys: &[&str]| {
        strokes += keys.len();
        thoughts += THOUGHT;
        xdotool(&[&["key", "--delay", "40"], keys].concat());
    };
    // The newest session is chosen. Its facts; as last time; then what changed.
    keys(&["F2"]);
    std::thread::sleep(Duration::from_secs(2));
    keys(&["F4"]);
    // Air was cooler: past began, anchor, handler, plan and step.
    keys(&["Tab", "Tab", "Tab", "Tab", "Tab"]);
    keys(&["ctrl+a", "2", "6"]);
    keys(&["Tab", "Tab", "4"]);
    keys(&["Tab", "b", "e", "t"]);
    keys(&["Tab", "n", "o"]);
    keys(&["Tab", "Tab", "Tab", "Tab", "Tab"]);
    keys(&["ctrl+a", "m", "e", "l", "o", "n", "space", "8"]);
    keys(&["Tab", "s", "t", "a", "y"]);
    keys(&["Tab", "Tab"]);
    keys(&["c", "a", "l", "m", "space", "b", "u", "t", "space", "s", "l", "o", "w"]);
    keys(&["Tab", "k", "minus", "0", "1"]);
    keys(&["Return"]);
    let kept = wait_for("the facts", || {
        let own = open.session(&"s1".into()).unwrap();
        own.decision.is_some().then_some(own)
    });
    assert_eq!((kept.facts.air_c, kept.facts.basking_c), (Some(26.0), Some(33.0)));
    assert_eq!((kept.facts.days_since_fed, kept.facts.disturbance_expected), (Some(4.0), Some(false)));
    assert_eq!((kept.facts.exit_open, kept.facts.apart_from_group), (Some(true), Some(false)));
    assert_eq!(kept.food[0].grams, Some(8.0));
    assert_eq!(kept.decision.as_ref().unwrap().reason, "calm but slow");
    let by = kept.decision.as_ref().unwrap().by.clone();
    assert_eq!((kept.handler, by), (Some("K-01".into()), Some("K-01".into())));
    #[allow(clippy::cast_precision_loss)]
    let seconds = strokes as f64 * STROKE + thoughts;
    assert!(seconds < 60.0, "{strokes} strokes, {seconds:.0} s");
    drop(window);
}

/// A window whose study lies on a disk of its own, four MiB small: the disk goes with the window, and is reached
/// from outside through it.
#[cfg(target_os = "linux")]
fn on_a_small_disk(root: &Path, place: &Path, config: &Path) -> Window {
    std::fs::create_dir_all(place).unwrap();
    std::fs::create_dir_all(config.join("shedlight")).unwrap();
    let settings = r#"{"cautions_read": true, "person": "K-01"}"#;
    std::fs::write(config.join("shedlight/window.json"), settings).unwrap();
    let script = "mount -t tmpfs -o size=4m shedlight \"$1\"; cp -r \"$2\" \"$1\"; exec \"$3\" \"$1/study\" --session s1";
    let child = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-ec", script, "sh"])
        .args([place, root, Path::new(env!("CARGO_BIN_EXE_shedlight"))])
        .env("XDG_CONFIG_HOME", config)
        .env("ICED_BACKEND", "tiny-skia")
        .env_remove("WAYLAND_DISPLAY")
        .stderr(Stdio::null())
        .spawn()
        .expect("small disks are made with unshare (util-linux) and user namespaces");
    let own = Window { child };
    xdotool(&["windowfocus", "--sync", &own.id()]);
    own
}

#[cfg(target_os = "linux")]
#[test]
fn leaving_with_steps_a_full_disk_did_not_take_asks_first_and_loses_nothing() {
    let _alone = display();
    let folder = folder();
    let (root, place, config) =
        (folder.path().join("study"), folder.path().join("disk"), folder.path().join("config"));
    let coding = study(&root);
    let window = on_a_small_disk(&root, &place, &config);
    let inside = |path: &Path| {
        let path = path.strip_prefix("/").unwrap();
        Path::new("/proc").join(window.child.id().to_string()).join("root").join(path)
    };
    let disk = inside(&place);
    let coding = disk.join("study").join(coding.strip_prefix(&root).unwrap());
    let _ = wait_for("the first picture", || coding_file::place(&coding));
    let title = |window: &Window| {
        let name = Command::new("xdotool").args(["getwindowname", &window.id()]).output().unwrap();
        String::from_utf8(name.stdout).unwrap()
    };
    // What fills the disk to its last byte.
    let ballast = disk.join("ballast");
    let mut file = std::fs::File::create(&ballast).unwrap();
    while std::io::Write::write_all(&mut file, &[0; 4096]).is_ok() {}
    while std::io::Write::write_all(&mut file, &[0; 1]).is_ok() {}
    drop(file);
    // More steps than the last block of the journal has room for.
    for _ in 0..40 {
        xdotool(&["key", "--delay", "20", "Right", "1"]);
    }
    std::thread::sleep(Duration::from_millis(800));
    let there = marks(&coding).len();
    xdotool(&["key", "Escape"]);
    std::thread::sleep(Duration::from_millis(800));
    assert!(title(&window).contains("Bramble"), "asked first: the coding is still there: {}", title(&window));
    // Asked again when something was coded since: only asked twice in a row it leaves and loses.
    xdotool(&["key", "--delay", "60", "Right", "1", "Escape"]);
    std::thread::sleep(Duration::from_millis(800));
    assert!(title(&window).contains("Bramble"), "the coding is still there: {}", title(&window));
    // Closed by its frame it asks as well.
    xdotool(&["key", "--delay", "60", "Right", "1"]);
    let _ = python("tests/gui/close_window.py", &[window.id()]);
    std::thread::sleep(Duration::from_millis(800));
    assert!(title(&window).contains("Bramble"), "the window is still there");
    // Room again: what is done next is taken with all that waited, and leaving leaves.
    std::fs::remove_file(&ballast).unwrap();
    xdotool(&["key", "--delay", "60", "Right"]);
    wait_for("what waited to be written", || (marks(&coding).len() > there).then_some(()));
    xdotool(&["key", "Escape"]);
    wait_for("the sessions", || (!title(&window).contains("Bramble")).then_some(()));
    // With nothing left to write, the frame closes it.
    let mut window = window;
    let _ = python("tests/gui/close_window.py", &[window.id()]);
    let _ = wait_for("the end of the program", || window.child.try_wait().unwrap());
}

/// Memory of a process, MiB.
fn resident(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    line.trim().trim_end_matches(" kB").parse::<u64>().unwrap() / 1024
}

/// The software Vulkan driver once kept a megabyte of each picture drawn: for a branch in the shader.
#[test]
fn a_film_that_runs_through_the_graphics_driver_takes_no_more_memory_the_longer_it_runs() {
    let _alone = display();
    let folder = folder();
    let (root, config) = (folder.path().join("study"), folder.path().join("config"));
    let coding = study(&root);
    let window = Window::open_on(&root, &config, &["--session", "s1"], "wgpu");
    let _ = wait_for("the first picture", || coding_file::place(&coding));
    std::thread::sleep(Duration::from_millis(1_500));
    xdotool(&["key", "space"]);
    let has_run = |seconds| {
        let is_there = |at: Micros| (at >= Micros::from_whole_seconds(seconds)).then_some(());
        wait_for("the film to run", || coding_file::place(&coding).and_then(is_there));
    };
    has_run(5);
    let early = resident(window.child.id());
    has_run(25);
    let late = resident(window.child.id());
    // All pictures of this clip together are 40 MiB.
    assert!(late < early + 100, "{early} MiB after 5 s of film, {late} MiB after 25 s");
}
