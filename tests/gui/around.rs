//! Around the film, without a display: long film, the ethogram's starters and revisions, room for the picture.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use iced_test::core::keyboard::key::Named;
use iced_test::core::keyboard::{Key, Modifiers};
use iced_test::core::{Settings as Drawing, Size};
use iced_test::futures::futures::{StreamExt as _, executor::block_on};
use iced_test::runtime::{Action as Done, task::into_stream};
use iced_test::{Simulator, simulator};
use shedlight::gui::feed::Fed;
use shedlight::gui::screen::coding::{self, Coding as CodingScreen};
use shedlight::gui::screen::ethogram::{self, EthogramScreen};
use shedlight::gui::settings::Settings;
use shedlight::gui::theme::Mode;
use shedlight::model::{
    Animal, BehaviourId, Clip, ClipId, Coding, EthogramRef, Mark, MarkId, Pass, Session, Study, Taxon,
    starter,
};
use shedlight::storage::{StudyFolder, coding_file, fingerprint};
use shedlight::time::Micros;
use shedlight::workbench::ethogram::Editor;

use super::care::told;
use crate::common::{barcode_clip, folder};
use crate::media::motion::still_and_moving;

/// A study with one session without film, and a coding of it under the first revision.
fn study(root: &Path) -> (StudyFolder, PathBuf) {
    let mut study = Study::new("Around");
    study.animals.push(Animal {
        id: "bramble".into(),
        name: "Bramble".to_owned(),
        taxon: Some(Taxon::Chelonian),
        ..Animal::default()
    });
    let folder = StudyFolder::create(root, study).unwrap();
    let ethogram = starter::ethogram(Taxon::Chelonian);
    folder.save_ethogram(&ethogram).unwrap();
    folder.save_session(&Session::new("s1".into(), "bramble".into())).unwrap();
    let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    let at = Micros::from_whole_seconds;
    coding.marks = vec![
        Mark::bout(MarkId(1), "move".into(), at(0), Some(at(10))),
        Mark::bout(MarkId(2), "explore".into(), at(10), Some(at(20))),
    ];
    let path = coding_file::create(&folder.session_folder(&"s1".into()), &coding).unwrap();
    (folder, path)
}

fn open(folder: &StudyFolder, path: &Path) -> (CodingScreen, iced::Task<coding::Message>) {
    CodingScreen::try_new(folder.clone(), path, None, &Settings::default(), Instant::now()).unwrap()
}

fn key(named: Named, modifiers: Modifiers) -> coding::Message {
    coding::Message::KeyDown(Key::Named(named), modifiers, false)
}

fn sees(screen: &CodingScreen, words: &str) -> bool {
    [Mode::Dark, Mode::Light].iter().all(|mode| simulator(screen.view(*mode)).find(words.to_owned()).is_ok())
}

#[test]
fn long_film_is_looked_through_for_motion_and_gone_through_by_key_and_no_study_knows_of_it() {
    let folder = folder();
    let (study, path) = study(&folder.path().join("study"));
    let clip = study.root().join("clips/night.mp4");
    std::fs::create_dir_all(clip.parent().unwrap()).unwrap();
    still_and_moving(&clip, 620, 8);
    let mut session = study.session(&"s1".into()).unwrap();
    let mut own = Clip::new(ClipId(0), "clips/night.mp4");
    own.fingerprint = Some(fingerprint::of_file(&clip).unwrap());
    session.clips.push(own);
    study.save_session(&session).unwrap();
    let (mut screen, task) = open(&study, &path);
    let mut film = into_stream(task).unwrap();
    let search = loop {
        let Done::Output(message) = block_on(film.next()).expect("all clips are tried") else { continue };
        let is_all = matches!(message, coding::Message::Fed(Fed::AllTried));
        match screen.update(message) {
            coding::Action::Run(task) if is_all => break task,
            _ => assert!(!is_all, "long film is looked through"),
        }
    };
    let before = coding_file::read(&path).unwrap();
    let mut was_guessed = false;
    for message in told(search) {
        let _ = screen.update(message);
        was_guessed |= sees(&screen, "Where the picture changes");
    }
    assert!(was_guessed);
    for words in
        ["Where the picture changes", "to find your way; not data", "from key pictures", "2 stretches"]
    {
        assert!(sees(&screen, words), "{words}");
    }
    let said = |screen: &CodingScreen, from: i64| {
        (from - 4..=from + 4).any(|second| {
            let at = Micros::from_whole_seconds(second).clock();
            sees(screen, &format!("the picture changes from {at}: a place to look at, not a mark"))
        })
    };
    let _ = screen.update(key(Named::PageDown, Modifiers::SHIFT));
    assert!(said(&screen, 100));
    let _ = screen.update(key(Named::PageDown, Modifiers::SHIFT));
    assert!(said(&screen, 240));
    let _ = screen.update(key(Named::PageDown, Modifiers::SHIFT));
    assert!(sees(&screen, "no stretch of motion stands out behind this moment"));
    let _ = screen.update(key(Named::PageUp, Modifiers::SHIFT));
    assert!(said(&screen, 100));
    assert!(screen.finish());
    let after = coding_file::read(&path).unwrap();
    assert_eq!((after.marks, after.passes.len()), (before.marks, before.passes.len()));
    let mut names = Vec::new();
    let mut folders = vec![study.root().to_owned()];
    while let Some(own) = folders.pop() {
        for entry in std::fs::read_dir(own).unwrap().map(Result::unwrap) {
            if entry.path().is_dir() {
                folders.push(entry.path());
            } else {
                names.push(entry.file_name().to_string_lossy().into_owned());
            }
        }
    }
    assert!(names.iter().all(|name| !name.contains("motion")), "{names:?}");
}

#[test]
fn a_coding_that_was_only_looked_at_is_not_written_again() {
    let folder = folder();
    let (study, path) = study(&folder.path().join("study"));
    let before = std::fs::read(&path).unwrap();
    for _ in 0..3 {
        let (mut screen, _) = open(&study, &path);
        let _ = screen.update(key(Named::F4, Modifiers::empty()));
        assert!(screen.finish());
    }
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert!(shedlight::storage::versions::list(&path).is_empty(), "no earlier state is pushed out");
    let (mut screen, _) = open(&study, &path);
    let _ = screen.update(coding::Message::TickPass(0));
    assert!(screen.finish());
    assert_ne!(std::fs::read(&path).unwrap(), before);
    assert_eq!(shedlight::storage::versions::list(&path).len(), 1);
}

#[test]
fn how_much_of_a_clip_has_been_read_stands_with_the_time_until_it_can_be_stepped() {
    let folder = folder();
    let (study, path) = study(&folder.path().join("study"));
    let clip = folder.path().join("a.mp4");
    barcode_clip(&clip, 50, &["-c:v", "libx264", "-preset", "ultrafast", "-g", "25"]);
    let (mut screen, _) = open(&study, &path);
    let fed = |screen: &mut CodingScreen, fed| {
        let _ = screen.update(coding::Message::Fed(fed));
    };
    fed(&mut screen, Fed::Opening(ClipId(0), 0.25));
    fed(&mut screen, Fed::FirstPicture(Arc::new(shedlight::media::first_picture(&clip).unwrap())));
    assert!(sees(&screen, "reading the clip, 25 %"));
    fed(&mut screen, Fed::Opening(ClipId(1), 0.75));
    assert!(sees(&screen, "reading the clip, 25 %"), "the one that is read last");
    fed(&mut screen, Fed::AllTried);
    assert!(!sees(&screen, "reading the clip, 25 %"));
    assert!(sees(&screen, "—"));
}

#[test]
fn short_film_is_not_looked_through() {
    let folder = folder();
    let (study, path) = study(&folder.path().join("study"));
    let (mut screen, _) = open(&study, &path);
    let done = screen.update(coding::Message::Fed(Fed::AllTried));
    assert!(matches!(done, coding::Action::None));
    let _ = screen.update(key(Named::PageDown, Modifiers::SHIFT));
    assert!(sees(&screen, "motion is looked for in film of ten minutes or more"));
}

#[test]
fn an_unfinished_coding_moves_to_the_newest_revision_after_its_changes_were_seen_and_back() {
    let folder = folder();
    let (study, path) = study(&folder.path().join("study"));
    let shift_f2 = || key(Named::F2, Modifiers::SHIFT);
    let (mut screen, _) = open(&study, &path);
    let _ = screen.update(shift_f2());
    assert!(sees(&screen, "revision 1 is the ethogram's newest"));
    assert!(screen.finish());
    drop(screen);
    let mut editor = Editor::new(starter::ethogram(Taxon::Chelonian), true, None);
    editor.remove_behaviour(&"explore".into());
    study.save_ethogram(editor.ethogram()).unwrap();
    let (mut screen, _) = open(&study, &path);
    assert!(sees(&screen, "a newer revision: Shift+F2"));
    let before = std::fs::read(&path).unwrap();
    let _ = screen.update(shift_f2());
    let name = starter::ethogram(Taxon::Chelonian).behaviour(&"explore".into()).unwrap().name.clone();
    for words in ["A newer revision", &format!("{name}: 1 mark"), "Move (Enter)", "Stay (Escape)"] {
        assert!(sees(&screen, words), "{words}");
    }
    // Escape stays, and leaves neither the screen nor a trace.
    assert!(matches!(screen.update(key(Named::Escape, Modifiers::default())), coding::Action::None));
    assert!(!sees(&screen, "A newer revision"));
    assert_eq!(std::fs::read(&path).unwrap(), before);
    let _ = screen.update(shift_f2());
    let _ = screen.update(key(Named::Enter, Modifiers::default()));
    assert!(sees(&screen, "under revision 2 of the ethogram now, before 1; 1 mark set aside"));
    // The journal has it before the file has.
    let now = coding_file::read(&path).unwrap();
    assert_eq!((now.ethogram.revision, now.marks.len(), now.set_aside.len()), (2, 1, 1));
    drop(screen);
    let (mut screen, _) = open(&study, &path);
    let control_z = coding::Message::KeyDown(Key::Character("z".into()), Modifiers::CTRL, false);
    let _ = screen.update(control_z);
    assert!(screen.finish());
    let now = coding_file::read(&path).unwrap();
    assert_eq!((now.ethogram.revision, now.marks.len(), now.set_aside.len()), (1, 2, 0));
    assert!(study.load_coding(&path).is_ok());
}

#[test]
fn new_codings_use_the_revision_that_was_chosen() {
    let folder = folder();
    let (study, _) = study(&folder.path().join("study"));
    let mut editor = Editor::new(starter::ethogram(Taxon::Chelonian), true, None);
    editor.set_title("Second");
    study.save_ethogram(editor.ethogram()).unwrap();
    let revision = |study: &StudyFolder| study.ethogram_for_new().unwrap().revision;
    assert_eq!(revision(&study), 2, "the newest, while nothing is chosen");
    let mut screen = EthogramScreen::new(study.clone());
    let press = |screen: &mut EthogramScreen, named| {
        screen.update(ethogram::Message::KeyDown(Key::Named(named), Modifiers::default()))
    };
    let sees = |screen: &EthogramScreen, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    assert!(sees(&screen, "New codings use the newest revision (F5)"));
    let _ = press(&mut screen, Named::F5);
    assert!(sees(&screen, "New codings use revision 2 (F5)"));
    let _ = press(&mut screen, Named::F5);
    assert!(sees(&screen, "New codings use revision 1 (F5)"));
    let ethogram::Action::Leave(left) = press(&mut screen, Named::Escape) else { panic!("it is left") };
    assert_eq!(revision(&left), 1);
    let study = StudyFolder::open(study.root()).unwrap();
    assert_eq!(revision(&study), 1, "kept with the study");
    let mut screen = EthogramScreen::new(study.clone());
    let _ = press(&mut screen, Named::F5);
    assert!(sees(&screen, "New codings use this one, always its newest revision (F5)"));
    // One that is not there is told, and not quietly replaced by another.
    let mut study = StudyFolder::open(study.root()).unwrap();
    study.study.new_codings.as_mut().unwrap().revision = Some(9);
    let error = study.ethogram_for_new().unwrap_err().to_string();
    assert!(error.contains("revision 9 is missing"), "{error}");
}

#[test]
fn a_study_without_an_ethogram_takes_a_whole_starter_and_single_ones_make_the_next_revision() {
    let folder = folder();
    let (_, path) = study(&folder.path().join("study"));
    let root = folder.path().join("study");
    let press = |screen: &mut EthogramScreen, named| {
        screen.update(ethogram::Message::KeyDown(Key::Named(named), Modifiers::default()))
    };
    let sees = |screen: &EthogramScreen, words: &str| {
        [Mode::Dark, Mode::Light]
            .iter()
            .all(|mode| simulator(screen.view(*mode)).find(words.to_owned()).is_ok())
    };
    // None yet: the starter of the study's animals lies open.
    let bare = folder.path().join("bare");
    let study = StudyFolder::create(&bare, Study::new("Bare")).unwrap();
    let mut screen = EthogramScreen::new(study.clone());
    assert!(sees(&screen, "‹ Starter for tortoises and turtles ›"));
    let _ = press(&mut screen, Named::ArrowRight);
    assert!(sees(&screen, "‹ Starter for snakes ›"));
    // A single behaviour makes no ethogram.
    let _ = press(&mut screen, Named::ArrowDown);
    let _ = press(&mut screen, Named::Enter);
    assert!(study.ethograms().0.is_empty());
    let _ = press(&mut screen, Named::PageUp);
    let _ = press(&mut screen, Named::Enter);
    let made = study.ethograms().0;
    assert_eq!((made.len(), made[0].revision), (1, 1));
    assert_eq!(made[0].behaviours, starter::ethogram(Taxon::Snake).behaviours);
    // One in use: what is taken goes into the next revision, and its changes are told.
    let study = StudyFolder::open(&root).unwrap();
    let used = std::fs::read(study.ethogram_path(&"chelonian-starter".into(), 1)).unwrap();
    let mut screen = EthogramScreen::new(study.clone());
    let _ = press(&mut screen, Named::F7);
    let _ = press(&mut screen, Named::ArrowRight);
    let snake = starter::ethogram(Taxon::Snake);
    let chelonian = starter::ethogram(Taxon::Chelonian);
    let new = snake.behaviours.iter().find(|own| chelonian.behaviour(&own.id).is_none()).unwrap();
    // Down to its line.
    let mut steps = 0;
    while !sees(&screen, &new.definition.onset) {
        let _ = press(&mut screen, Named::ArrowDown);
        steps += 1;
        assert!(steps < 100, "'{}' is in the list", new.name);
    }
    let _ = press(&mut screen, Named::Enter);
    assert!(sees(&screen, &format!("'{}' is new (meaning)", new.name)));
    let taken = study.ethogram(&"chelonian-starter".into(), 2).unwrap();
    assert!(taken.behaviour(&new.id).is_some());
    assert_eq!(std::fs::read(study.ethogram_path(&"chelonian-starter".into(), 1)).unwrap(), used);
    let undo = ethogram::Message::KeyDown(Key::Character("z".into()), Modifiers::CTRL);
    let _ = screen.update(undo);
    let back = study.ethogram(&"chelonian-starter".into(), 2).unwrap();
    let ids = |own: &[shedlight::model::Behaviour]| {
        own.iter().map(|own| own.id.clone()).collect::<Vec<BehaviourId>>()
    };
    assert_eq!(ids(&back.behaviours), ids(&chelonian.behaviours));
    // Escape closes the list first, then the screen.
    assert!(matches!(press(&mut screen, Named::Escape), ethogram::Action::None));
    assert!(matches!(press(&mut screen, Named::Escape), ethogram::Action::Leave(_)));
    assert!(study.load_coding(&path).is_ok());
}

/// Whether the screen, in a window of a size, says something.
fn says_at(screen: &CodingScreen, size: (f32, f32), words: &str) -> bool {
    let mut seen =
        Simulator::with_size(Drawing::default(), Size::new(size.0, size.1), screen.view(Mode::Dark));
    seen.find(words.to_owned()).is_ok()
}

#[test]
fn in_a_low_window_keys_make_room_for_the_picture_and_nothing_a_coder_needs_is_lost() {
    let folder = folder();
    let (study, path) = study(&folder.path().join("study"));
    let (mut screen, _) = open(&study, &path);
    let (low, high) = ((1280.0, 720.0), (1920.0, 1080.0));
    let first = &starter::ethogram(Taxon::Chelonian).passes[0];
    let line = format!("1 of 4: {}", first.name);
    assert!(says_at(&screen, low, &line) && !says_at(&screen, high, &line));
    assert!(says_at(&screen, high, "All behaviours") && says_at(&screen, low, "Close the coding"));
    let other = starter::ethogram(Taxon::Chelonian).behaviour(&"explore".into()).unwrap().name.clone();
    assert!(says_at(&screen, high, &other), "the whole keyboard shows what is not coded now, dimmed");
    // Away, whole, low: by key, whatever the window.
    let fold = || key(Named::F1, Modifiers::CTRL);
    let _ = screen.update(fold());
    let own = &starter::ethogram(Taxon::Chelonian);
    let cue = own.behaviour(&first.behaviours[0]).unwrap().name.clone();
    assert!(!says_at(&screen, high, &cue) && says_at(&screen, high, &line));
    let _ = screen.update(fold());
    assert!(says_at(&screen, low, &cue) && says_at(&screen, low, "All behaviours"));
    let _ = screen.update(fold());
    assert!(says_at(&screen, high, &cue) && says_at(&screen, high, &line));
}
