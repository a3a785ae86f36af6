//! New sessions from files, film that is kept, and handing over, without a display: the work itself is
//! done by the threads that do it in the window.

use std::path::{Path, PathBuf};

use chrono::{Datelike as _, Local, NaiveDate};
use iced::Task;
use iced_test::core::keyboard::Key;
use iced_test::core::keyboard::key::Named;
use iced_test::runtime::{Action as Done, task};
use iced_test::simulator;
use shedlight::gui::screen::changed_film::{self, ChangedFilm};
use shedlight::gui::screen::earlier::{self, Earlier};
use shedlight::gui::screen::films::{self, Films};
use shedlight::gui::screen::hand_over::{self, HandOver};
use shedlight::gui::screen::intake::{self, Intake};
use shedlight::gui::theme::Mode;
use shedlight::model::{Animal, ClockSource, Retention, Study, Taxon, starter};
use shedlight::storage::{StudyFolder, coding_file, fingerprint, versions};

use super::screens::{copy, demo};
use crate::common::{barcode_clip, folder};

/// Everything a task tells, when it has ended.
pub fn told<M: 'static>(task: Task<M>) -> Vec<M> {
    let Some(stream) = task::into_stream(task) else { return Vec::new() };
    iced_test::futures::futures::executor::block_on_stream(stream)
        .filter_map(|action| match action {
            Done::Output(message) => Some(message),
            _ => None,
        })
        .collect()
}

fn named(key: Named) -> Key {
    Key::Named(key)
}

fn study(root: &Path) -> StudyFolder {
    let mut study = Study::new("Taken in");
    for (id, name) in [("bramble", "Bramble"), ("sorrel", "Sorrel")] {
        study.animals.push(Animal {
            id: id.into(),
            name: name.to_owned(),
            taxon: Some(Taxon::Chelonian),
            ..Animal::default()
        });
    }
    let folder = StudyFolder::create(root, study).unwrap();
    folder.save_ethogram(&starter::ethogram(Taxon::Chelonian)).unwrap();
    folder
}

/// Two clips of one second that differ, and so are told apart.
fn clip(path: &Path, more: &[&str]) {
    let mut encoding = vec!["-c:v", "libx264", "-preset", "ultrafast"];
    encoding.extend(more);
    barcode_clip(path, 25, &encoding);
}

fn dropped(screen: &mut Intake, paths: &[PathBuf]) {
    for path in paths {
        let task = screen.look(path);
        for message in told(task) {
            let _ = screen.update(message);
        }
    }
}

#[test]
fn dropped_files_become_sessions_and_pieces_stay_together() {
    let place = folder();
    let study = study(&place.path().join("study"));
    let at = |name: &str| place.path().join(name);
    clip(&at("VID_20250313_150500.mp4"), &[]);
    clip(&at("cam-1.mp4"), &["-metadata", "title=a"]);
    clip(&at("cam-2.mp4"), &["-metadata", "title=b"]);
    std::fs::write(at("notes.txt"), "no film").unwrap();
    let paths = ["cam-2.mp4", "VID_20250313_150500.mp4", "notes.txt", "cam-1.mp4"].map(&at).to_vec();
    let mut screen = Intake::new(study.clone(), Some(&"sorrel".into()));
    let shows = |screen: &Intake, words: &str| simulator(screen.view(Mode::Light)).find(words).is_ok();
    assert!(shows(&screen, "Nothing to take. Drop video files on this window."));
    dropped(&mut screen, &paths);
    assert!(shows(&screen, "cam-1.mp4, cam-2.mp4") && shows(&screen, "2 pieces of one recording, 0:02.000"));
    assert!(
        shows(&screen, "from its name")
            && shows(&screen, "only the file's own date is known: please write when it began")
    );
    // The pieces taken apart and put together again; the first is Bramble's.
    let press = |screen: &mut Intake, key: Named| screen.update(intake::Message::KeyDown(named(key)));
    let places = |screen: &Intake| ["cam-1.mp4", "cam-2.mp4"].map(|name| shows(screen, name));
    let _ = screen.update(intake::Message::Choose(0));
    let _ = press(&mut screen, Named::F4);
    assert_eq!(places(&screen), [true, true]);
    let _ = press(&mut screen, Named::ArrowDown);
    let _ = press(&mut screen, Named::F3);
    assert_eq!(places(&screen), [false, false], "together again");
    let _ = press(&mut screen, Named::F2);
    // A date that can't be read makes nothing; a missing one is asked for once.
    let _ = screen.update(intake::Message::When(0, "last week".to_owned()));
    assert!(matches!(press(&mut screen, Named::Enter), intake::Action::None));
    assert!(shows(&screen, "write day and time as 2025-03-13 15:05") && study.list().sessions.is_empty());
    let _ = screen.update(intake::Message::When(0, String::new()));
    assert!(matches!(press(&mut screen, Named::Enter), intake::Action::None));
    assert!(study.list().sessions.is_empty());
    let _ = screen.update(intake::Message::When(0, "2025-03-14 09:30".to_owned()));
    let intake::Action::Done(words, Some(last)) = press(&mut screen, Named::Enter) else {
        panic!("not made")
    };
    assert!(words.starts_with("2 sessions were made"), "{words}");
    let sessions: Vec<_> = study.list().sessions.into_iter().map(|entry| entry.session).collect();
    let named: Vec<(&str, &str, usize, ClockSource)> = sessions
        .iter()
        .map(|own| (own.id.as_str(), own.animal.as_str(), own.clips.len(), own.clock_source.unwrap()))
        .collect();
    assert_eq!(
        named,
        [
            ("2025-03-13-sorrel", "sorrel", 1, ClockSource::Camera),
            ("2025-03-14-bramble", "bramble", 2, ClockSource::Person),
        ]
    );
    assert_eq!(last.as_str(), "2025-03-13-sorrel", "the last of the list");
    let began = sessions[0].recorded_at.unwrap().naive_local().to_string();
    assert_eq!(began, "2025-03-13 15:05:00");
    for clip in sessions.iter().flat_map(|own| &own.clips) {
        assert!(matches!(fingerprint::find(study.root(), clip), fingerprint::ClipState::There(_)));
    }
    // The next piece is added where it belongs; what is there already is refused.
    clip(&at("cam-3.mp4"), &["-metadata", "title=c"]);
    let mut screen = Intake::new(study.clone(), None);
    dropped(&mut screen, &["cam-3.mp4", "cam-1.mp4"].map(at));
    assert!(shows(&screen, "goes on from session 2025-03-14-bramble: it is added there"));
    assert!(matches!(press(&mut screen, Named::Enter), intake::Action::Done(_, Some(_))));
    let grown = study.session(&"2025-03-14-bramble".into()).unwrap();
    assert_eq!(grown.clips.len(), 3);
    assert_eq!(study.list().sessions.len(), 2);
}

#[test]
fn film_goes_only_by_the_word_typed_by_who_may() {
    let place = folder();
    let mut study = demo(&place);
    // The demo's film, as far as this needs it.
    std::fs::create_dir_all(study.root().join("clips")).unwrap();
    for entry in study.list().sessions {
        for clip in &entry.session.clips {
            std::fs::write(study.root().join(&clip.path), clip.path.as_bytes()).unwrap();
        }
    }
    let closed = NaiveDate::from_ymd_opt(2025, 3, 1).unwrap();
    study.study.retention =
        Some(Retention { months: Some(12), deciders: vec!["K-12".into()], ..Retention::default() });
    study.study.double_coding.share = 0.0;
    study.save_study().unwrap();
    let today = Local::now().date_naive().with_year(2030).unwrap_or(closed);
    let (mut screen, task) = Films::new(study.clone(), "K-07", today);
    let shows = |screen: &Films, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    assert!(shows(&screen, "Looking through the film …"));
    let drive = |screen: &mut Films, task| {
        let mut tasks = vec![task];
        while let Some(task) = tasks.pop() {
            for message in told(task) {
                if let films::Action::Run(next) = screen.update(message) {
                    tasks.push(next);
                }
            }
        }
    };
    drive(&mut screen, task);
    assert!(shows(&screen, "who may: K-12"));
    let listed = films::Listed::of(&study);
    let (first, over) =
        (listed.films()[0].clone(), listed.films().iter().filter(|own| own.is_over(today)).count());
    assert!(over > 0 && over < listed.films().len(), "{over} of {}", listed.films().len());
    let delete = |screen: &mut Films, by: &str, word: &str| {
        let _ = screen.update(films::Message::By(by.to_owned()));
        let _ = screen.update(films::Message::Reason("the period is over".to_owned()));
        let _ = screen.update(films::Message::Word(word.to_owned()));
        if let films::Action::Run(task) = screen.update(films::Message::Delete) {
            drive(screen, task);
        }
    };
    delete(&mut screen, "K-07", "delete film");
    assert!(
        first.path.exists() && shows(&screen, "nothing was deleted: K-07 may not decide it; who may: K-12")
    );
    delete(&mut screen, "K-12", "yes");
    assert!(
        first.path.exists()
            && shows(&screen, "nothing was deleted: type the words 'delete film' to have it deleted")
    );
    delete(&mut screen, "K-12", "delete film");
    assert!(!first.path.exists());
    let (session, clip) = &first.clips[0];
    let deleted = study.session(session).unwrap().clip(*clip).unwrap().deleted.clone().unwrap();
    assert_eq!((deleted.by.as_str(), deleted.on), ("K-12", today));
    // A house that has set nothing deletes nothing.
    study.study.retention = None;
    study.save_study().unwrap();
    let (mut screen, task) = Films::new(study, "K-12", today);
    drive(&mut screen, task);
    assert!(shows(&screen, "nobody is named who may: name them in the study's sheet"));
    assert!(!shows(&screen, "over since 2026-03-14"));
}

#[test]
fn a_study_is_packed_looked_at_and_taken_in_by_keys() {
    let place = folder();
    let study = demo(&place);
    let theirs = place.path().join("theirs/demo");
    copy(study.root(), &theirs);
    let other = StudyFolder::open(&theirs).unwrap();
    let mut session = other.session(&"s2".into()).unwrap();
    session.notes = Some("seen again".to_owned());
    other.save_session(&session).unwrap();
    let parcel = place.path().join("theirs.shedlight.zip");
    let mut screen = HandOver::new(Some(other), "K-12");
    let shows = |screen: &HandOver, words: &str| simulator(screen.view(Mode::Light)).find(words).is_ok();
    let drive = |screen: &mut HandOver, action: hand_over::Action| -> Option<PathBuf> {
        let hand_over::Action::Run(task) = action else { return None };
        let mut open = None;
        for message in told(task) {
            if let hand_over::Action::Open(root) = screen.update(message) {
                open = Some(root);
            }
        }
        open
    };
    let press = |screen: &mut HandOver, key: Named| screen.update(hand_over::Message::KeyDown(named(key)));
    let _ = screen.update(hand_over::Message::Out(parcel.display().to_string()));
    assert!(shows(&screen, "Without the film (F2)"));
    let action = press(&mut screen, Named::F5);
    let _ = drive(&mut screen, action);
    assert!(parcel.is_file());
    // Once more: nothing is written over, and that is said.
    let action = press(&mut screen, Named::F5);
    let _ = drive(&mut screen, action);
    let refusal = format!(
        "there is a file of this name already: name another one, nothing is written over: {}",
        parcel.display()
    );
    assert!(shows(&screen, &refusal));
    // Dropped on the window here: held against this study.
    let mut screen = HandOver::new(Some(study.clone()), "K-07");
    assert!(matches!(press(&mut screen, Named::F7), hand_over::Action::None));
    assert!(shows(&screen, "Look at the parcel first (F6)."));
    let action = screen.update(hand_over::Message::Dropped(parcel.clone()));
    let _ = drive(&mut screen, action);
    for words in ["session s2: its sheet", "keep yours"] {
        assert!(shows(&screen, words), "{words}");
    }
    let before = std::fs::read(study.root().join("sessions/s2/session.json")).unwrap();
    let _ = press(&mut screen, Named::F8);
    assert!(shows(&screen, "take theirs"));
    let action = press(&mut screen, Named::F7);
    let _ = drive(&mut screen, action);
    assert_eq!(study.session(&"s2".into()).unwrap().notes.as_deref(), Some("seen again"));
    let kept: Vec<PathBuf> = std::fs::read_dir(study.root().join("replaced"))
        .unwrap()
        .map(|entry| entry.unwrap().path().join("sessions/s2/session.json"))
        .collect();
    assert_eq!(std::fs::read(&kept[0]).unwrap(), before);
    // Into a new folder: a study of its own, which is opened.
    let _ = screen.update(hand_over::Message::Into(place.path().join("fresh").display().to_string()));
    let action = press(&mut screen, Named::F6);
    let _ = drive(&mut screen, action);
    assert!(shows(&screen, "It becomes a new study in that folder. F7 takes it in."));
    let action = press(&mut screen, Named::F7);
    assert_eq!(drive(&mut screen, action), Some(place.path().join("fresh")));
    // Without a study there is nothing to pack; what is no parcel is refused in words.
    let mut screen = HandOver::new(None, "");
    assert!(shows(&screen, "No study is open."));
    let _ = screen.update(hand_over::Message::Into(place.path().join("fresh2").display().to_string()));
    let action = screen.update(hand_over::Message::Dropped(study.root().join("study.json")));
    let _ = drive(&mut screen, action);
    assert!(!place.path().join("fresh2").exists());
    assert!(matches!(press(&mut screen, Named::Escape), hand_over::Action::Leave));
}

#[test]
fn an_earlier_version_is_put_back_by_keys() {
    let place = folder();
    let study = demo(&place);
    let path = study.root().join("sessions/s3/K-07.1.coding.json");
    let before = coding_file::read(&path).unwrap();
    let mut fewer = before.clone();
    fewer.marks.truncate(before.marks.len() - 3);
    let _ = versions::replace(&path, fewer).unwrap();
    let shows = |screen: &Earlier, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    let drive = |screen: &mut Earlier, action: earlier::Action| {
        let mut tasks: Vec<_> = match action {
            earlier::Action::Run(task) => vec![task],
            _ => Vec::new(),
        };
        while let Some(task) = tasks.pop() {
            for message in told(task) {
                if let earlier::Action::Run(next) = screen.update(message) {
                    tasks.push(next);
                }
            }
        }
    };
    let (mut screen, task) = Earlier::new("s3".to_owned(), vec![path.clone()]);
    assert!(shows(&screen, "Reading the codings …"));
    drive(&mut screen, earlier::Action::Run(task));
    assert!(shows(&screen, &format!("K-07.1: primary, by K-07, now {} marks", before.marks.len() - 3)));
    assert!(shows(&screen, "put back: 3 marks come back"));
    // The first Enter says what it would do; another key takes that back.
    let enter = |screen: &mut Earlier| screen.update(earlier::Message::KeyDown(named(Named::Enter)));
    assert!(matches!(enter(&mut screen), earlier::Action::None));
    let asked = "Version 1: 3 marks come back. Enter once more puts it back; what is there now is kept.";
    assert!(shows(&screen, asked));
    let _ = screen.update(earlier::Message::KeyDown(named(Named::ArrowUp)));
    assert!(matches!(enter(&mut screen), earlier::Action::None));
    let action = enter(&mut screen);
    drive(&mut screen, action);
    assert_eq!(coding_file::read(&path).unwrap().marks, before.marks);
    assert!(shows(&screen, "Version 1 is back; what was there is kept as version 2."));
    assert!(shows(&screen, "put back: 3 marks go"));
    // Somebody has it open: refused in words, nothing changed.
    let held = coding_file::open(&path).unwrap();
    let _ = enter(&mut screen);
    let action = enter(&mut screen);
    drive(&mut screen, action);
    assert_eq!(coding_file::read(&path).unwrap().marks, before.marks);
    drop(held);
    assert!(!shows(&screen, "Version 2 is back; what was there is kept as version 3."));
    // Nothing yet, and no coding at all.
    let other = study.root().join("sessions/s1/K-07.1.coding.json");
    for (codings, words) in [
        (
            vec![other],
            "No earlier versions yet: what stands there is kept before the first writing of every sitting.",
        ),
        (Vec::new(), "This session is not coded yet."),
    ] {
        let (mut screen, task) = Earlier::new("s1".to_owned(), codings);
        drive(&mut screen, earlier::Action::Run(task));
        assert!(shows(&screen, words), "{words}");
        assert!(matches!(enter(&mut screen), earlier::Action::None));
    }
}

#[test]
fn changed_film_is_taken_by_a_persons_word() {
    let place = folder();
    let study = demo(&place);
    let id = "s3".into();
    let film = study.root().join("clips/s3.mp4");
    std::fs::create_dir_all(film.parent().unwrap()).unwrap();
    std::fs::write(&film, b"as it was").unwrap();
    let mut session = study.session(&id).unwrap();
    session.clips[0].path = "clips/s3.mp4".to_owned();
    session.clips[0].fingerprint = Some(fingerprint::of_file(&film).unwrap());
    study.save_session(&session).unwrap();
    let shows = |screen: &ChangedFilm, words: &str| simulator(screen.view(Mode::Light)).find(words).is_ok();
    let open = || ChangedFilm::try_new(study.clone(), id.clone(), "K-07").unwrap();
    assert!(shows(&open(), "No clip of this session was changed since it was added."));
    std::fs::write(&film, b"as it is").unwrap();
    let mut screen = open();
    assert!(shows(&screen, "clips/s3.mp4"));
    let _ = screen.update(changed_film::Message::Accept);
    assert!(shows(
        &screen,
        "Nothing was changed: say why the file may be taken, such as: the same film, re-encoded smaller."
    ));
    let _ = screen.update(changed_film::Message::Reason("re-encoded".to_owned()));
    let held = coding_file::open(&study.root().join("sessions/s3/K-07.1.coding.json")).unwrap();
    let _ = screen.update(changed_film::Message::Accept);
    assert!(study.session(&id).unwrap().clips[0].accepted.is_empty(), "not while a coding of it is open");
    drop(held);
    let _ = screen.update(changed_film::Message::Accept);
    let accepted = &study.session(&id).unwrap().clips[0].accepted;
    assert_eq!((accepted[0].by.as_str(), accepted[0].reason.as_str()), ("K-07", "re-encoded"));
    assert!(shows(&screen, "No clip of this session was changed since it was added."));
    assert!(matches!(
        screen.update(changed_film::Message::KeyDown(named(Named::Escape))),
        changed_film::Action::Leave
    ));
}
