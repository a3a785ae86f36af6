//! Screens without a display: what is shown, what a key does, what is written.

use std::path::{Path, PathBuf};

use iced_test::simulator;
use shedlight::gui::screen::agreement::{self, Agreement};
use shedlight::gui::screen::results::{self, Results};
use shedlight::gui::screen::sheet::{self, SheetScreen};
use shedlight::gui::theme::Mode;
use shedlight::model::Purpose;
use shedlight::storage::StudyFolder;

use crate::common::{folder, root};

pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            let _ = std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

pub fn demo(folder: &tempfile::TempDir) -> StudyFolder {
    let path = folder.path().join("demo");
    copy(&root().join("sample-codings"), &path);
    StudyFolder::open(&path).unwrap()
}

fn key(letter: &str) -> iced_test::core::keyboard::Key {
    iced_test::core::keyboard::Key::Character(letter.into())
}

#[test]
fn results_show_the_numbers_and_a_click_leads_to_the_film() {
    let folder = folder();
    let study = demo(&folder);
    let path = study.root().join("sessions/s5/K-07.1.coding.json");
    for mode in [Mode::Dark, Mode::Light] {
        let mut screen = Results::new(study.clone(), results::Subject::Session(path.clone()), mode);
        for words in ["3 of 6 valid  [0.19, 0.81]", "step back", "420.0 s"] {
            assert!(simulator(screen.view(mode)).find(words).is_ok(), "{words}");
        }
        // Somewhere in the first chart lies a mark; the pointer finds it, a click goes there.
        let mut went = None;
        'search: for y in (60..240).step_by(6) {
            for x in (80..800).step_by(6) {
                #[allow(clippy::cast_precision_loss)]
                let at = iced_test::core::Point::new(x as f32, y as f32);
                let _ = screen.update(&results::Message::Moved(0, at));
                if let results::Action::Go(session, at) = screen.update(&results::Message::Pressed(0)) {
                    went = Some((session, at));
                    break 'search;
                }
            }
        }
        let (session, _) = went.expect("a mark leads to the film");
        assert_eq!(session.as_str(), "s5");
    }
    let progress = Results::new(study, results::Subject::Animal("bramble".into()), Mode::Dark);
    assert!(progress.is_progress());
    assert!(simulator(progress.view(Mode::Dark)).find("Bramble · 4 sessions").is_ok());
}

#[test]
fn nothing_to_show_says_what_is_missing() {
    let folder = folder();
    let study = demo(&folder);
    let none = Results::new(study.clone(), results::Subject::Animal("nobody".into()), Mode::Dark);
    assert!(simulator(none.view(Mode::Dark)).find("Nothing to show yet").is_ok());
    let alone = Agreement::new(study, &"s2".into(), "K-07");
    assert!(simulator(alone.view(Mode::Dark)).find("Nothing to compare yet").is_ok());
}

#[test]
fn a_settled_difference_is_kept_at_once_and_the_originals_stay() {
    let folder = folder();
    let study = demo(&folder);
    let session = study.root().join("sessions/s5");
    let originals: Vec<(PathBuf, Vec<u8>)> = std::fs::read_dir(&session)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.to_string_lossy().ends_with(".coding.json"))
        .map(|path| (path.clone(), std::fs::read(&path).unwrap()))
        .collect();
    let mut screen = Agreement::new(study.clone(), &"s5".into(), "K-07");
    assert!(simulator(screen.view(Mode::Dark)).find("70 differences, 70 open").is_ok());
    // A reason without a decision decides nothing.
    let _ = screen.update(&agreement::Message::KeyDown(key("d")));
    for letter in ["1", "d", "2", "m"] {
        let _ = screen.update(&agreement::Message::KeyDown(key(letter)));
    }
    assert!(simulator(screen.view(Mode::Light)).find("70 differences, 68 open").is_ok());
    for (path, bytes) in &originals {
        assert_eq!(&std::fs::read(path).unwrap(), bytes, "{}", path.display());
    }
    let listing = study.list();
    let entry = listing.sessions.iter().find(|entry| entry.session.id.as_str() == "s5").unwrap();
    let agreed: Vec<_> = entry.codings.iter().filter(|(_, head)| head.purpose == Purpose::Agreed).collect();
    assert_eq!(agreed.len(), 1, "one record, written anew with each decision");
    // Opened again it goes on where it was left.
    let again = Agreement::new(study, &"s5".into(), "K-07");
    assert!(simulator(again.view(Mode::Dark)).find("70 differences, 68 open").is_ok());
}

#[test]
fn a_sheet_is_kept_or_says_what_it_can_not_read() {
    let folder = folder();
    let study = demo(&folder);
    let subject = sheet::Subject::Session("s1".into());
    let mut screen = SheetScreen::try_new(study.clone(), subject).unwrap();
    let write = |screen: &mut SheetScreen, key: &str, value: &str| {
        let _ = screen.update(sheet::Message::Written(key.to_owned(), value.to_owned()));
    };
    write(&mut screen, "basking", "very warm");
    assert!(matches!(screen.update(sheet::Message::Save), sheet::Action::None));
    assert!(simulator(screen.view(Mode::Dark)).find("write a number, such as 29.5").is_ok());
    let before = study.session(&"s1".into()).unwrap();
    assert_eq!(before.facts.basking_c, Some(33.0), "nothing was changed");
    write(&mut screen, "basking", "34,5");
    assert!(matches!(screen.update(sheet::Message::Save), sheet::Action::Leave(_)));
    assert_eq!(study.session(&"s1".into()).unwrap().facts.basking_c, Some(34.5));
    // Left without keeping it, only after being asked.
    let subject = sheet::Subject::Animal(Some("bramble".into()));
    let mut screen = SheetScreen::try_new(study, subject).unwrap();
    write(&mut screen, "notes", "likes melon");
    assert!(matches!(screen.update(sheet::Message::Leave), sheet::Action::None));
    assert!(matches!(screen.update(sheet::Message::Leave), sheet::Action::Leave(_)));
}

#[test]
fn a_state_keeps_its_colour_on_tape_and_chart() {
    use shedlight::gui::theme;
    use shedlight::report::chart::{Colour, Look};
    for look in [Look::dark(), Look::light()] {
        for place in 0..12 {
            let (own, _) = theme::state(place);
            let [red, green, blue, _] = own.into_rgba8();
            assert_eq!(look.state(place).colour, Colour(red, green, blue), "state {place}");
        }
        let [red, green, blue, _] = theme::UNSEEN.into_rgba8();
        assert_eq!(look.unseen().colour, Colour(red, green, blue));
    }
}
