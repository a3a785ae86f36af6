//! Screens without a display: what is shown, what a key does, what is written.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use iced_test::core::keyboard::key::Named;
use iced_test::core::keyboard::{Key, Modifiers};
use iced_test::simulator;
use shedlight::gui::feed::Fed;
use shedlight::gui::screen::agreement::{self, Agreement};
use shedlight::gui::screen::ethogram::{self, EthogramScreen};
use shedlight::gui::screen::report::{self, ReportScreen};
use shedlight::gui::screen::results::{self, Results};
use shedlight::gui::screen::sessions::{self, Ask, Learned, Sessions};
use shedlight::gui::screen::settings::{self, SettingsScreen};
use shedlight::gui::screen::sheet::{self, SheetScreen};
use shedlight::gui::settings::Settings;
use shedlight::gui::theme::Mode;
use shedlight::gui::widget::pictures::Touch;
use shedlight::model::Purpose;
use shedlight::storage::StudyFolder;
use shedlight::workbench::sheet::units::Units;

use crate::common::{barcode_clip, folder, root};

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
        let mut screen =
            Results::new(study.clone(), results::Subject::Session(path.clone()), BTreeSet::new(), mode);
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
    let progress =
        Results::new(study, results::Subject::Animal("bramble".into()), BTreeSet::new(), Mode::Dark);
    assert!(progress.is_progress());
    assert!(simulator(progress.view(Mode::Dark)).find("Bramble · 4 sessions").is_ok());
}

#[test]
fn sessions_are_taken_in_and_out_by_key_and_pooled_animal_by_animal() {
    let folder = folder();
    let study = demo(&folder);
    let path = study.root().join("sessions/s5/K-07.1.coding.json");
    let own = results::Subject::Session(path);
    let mut screen = Results::new(study.clone(), own.clone(), BTreeSet::new(), Mode::Dark);
    for asked in ["+", "a", "-"] {
        let done = screen.update(&results::Message::KeyDown(key(asked)));
        assert!(matches!(done, results::Action::Run(_)), "{asked} draws anew, off the drawing thread");
        // What was there stays until the new one is drawn.
        assert!(simulator(screen.view(Mode::Dark)).find("3 of 6 valid  [0.19, 0.81]").is_ok());
    }
    let two = results::Subject::Several(
        ["s2", "s5"].map(|id| study.root().join(format!("sessions/{id}/K-07.1.coding.json"))).to_vec(),
    );
    let screen = Results::new(study.clone(), two, BTreeSet::new(), Mode::Dark);
    for words in ["Sorrel · 2 sessions chosen", "9 of 16 valid  [0.33, 0.77]", "s2, s5"] {
        assert!(simulator(screen.view(Mode::Dark)).find(words).is_ok(), "{words}");
    }
    let (waiting, _) = Results::start(study, own, BTreeSet::new(), Mode::Light);
    assert!(simulator(waiting.view(Mode::Light)).find("Counting and drawing …").is_ok());
}

#[test]
fn nothing_to_show_says_what_is_missing() {
    let folder = folder();
    let study = demo(&folder);
    let none =
        Results::new(study.clone(), results::Subject::Animal("nobody".into()), BTreeSet::new(), Mode::Dark);
    assert!(simulator(none.view(Mode::Dark)).find("Nothing to show yet").is_ok());
    let alone = Agreement::new(study, &"s2".into(), "K-07", Mode::Dark);
    assert!(simulator(alone.view(Mode::Dark)).find("Only one coding").is_ok());
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
    let mut screen = Agreement::new(study.clone(), &"s5".into(), "K-07", Mode::Dark);
    let find = |screen: &Agreement, words: &str| simulator(screen.view(Mode::Light)).find(words).is_ok();
    let press = |screen: &mut Agreement, letters: &[&str]| {
        for letter in letters {
            let _ = screen.update(agreement::Message::KeyDown(key(letter)));
        }
    };
    assert!(find(&screen, "70 differences, 70 open"));
    // A reason without a decision decides nothing, nor do both states of a set at one time.
    press(&mut screen, &["d", "3", "d"]);
    assert!(find(&screen, "70 differences, 70 open"));
    press(&mut screen, &["1", "d", "2", "m"]);
    assert!(find(&screen, "70 differences, 68 open"));
    for (path, bytes) in &originals {
        assert_eq!(&std::fs::read(path).unwrap(), bytes, "{}", path.display());
    }
    let agreed = || {
        let listing = study.list();
        let entry = listing.sessions.into_iter().find(|entry| entry.session.id.as_str() == "s5").unwrap();
        let mut agreed: Vec<_> =
            entry.codings.into_iter().filter(|(_, head)| head.purpose == Purpose::Agreed).collect();
        assert_eq!(agreed.len(), 1, "one record, written anew with each decision");
        shedlight::storage::coding_file::read(&agreed.remove(0).0).unwrap()
    };
    let before = agreed();
    // Opened again it goes on where it was left.
    let mut again = Agreement::new(study.clone(), &"s5".into(), "K-12", Mode::Light);
    assert!(find(&again, "70 differences, 68 open"));
    // Something else, by its own key; a key of another set is refused.
    for _ in 0..2 {
        let _ = again.update(agreement::Message::KeyDown(Key::Named(Named::ArrowDown)));
    }
    press(&mut again, &["n", "q"]);
    assert!(find(&again, "q is the key of nothing that could stand there."));
    press(&mut again, &["g", "s"]);
    assert!(find(&again, "70 differences, 67 open") && find(&again, "new, slip"));
    let fed = |coding: &shedlight::model::Coding| {
        coding.marks.iter().filter(|mark| mark.behaviour.as_str() == "feed").count()
    };
    assert_eq!(fed(&agreed()), fed(&before) + 1);
    // And taken back.
    let _ = again.update(agreement::Message::KeyDown(Key::Named(Named::ArrowUp)));
    let _ = again.update(agreement::Message::KeyDown(Key::Named(Named::Backspace)));
    assert!(find(&again, "70 differences, 68 open"));
    assert_eq!(fed(&agreed()), fed(&before));
    // Nobody settles without saying who they are.
    let mut nobody = Agreement::new(study.clone(), &"s5".into(), " ", Mode::Light);
    press(&mut nobody, &["1", "d"]);
    assert!(find(&nobody, "70 differences, 68 open"));
    // Decisions on what is no longer there are told, and not shown as made.
    let second = study.root().join("sessions/s5/K-12.1.coding.json");
    let mut coding: serde_json::Value = serde_json::from_slice(&std::fs::read(&second).unwrap()).unwrap();
    let marks = coding["marks"].as_array_mut().unwrap();
    let all = marks.len();
    marks.retain(|mark| !["still-alert", "still-relaxed"].contains(&mark["behaviour"].as_str().unwrap()));
    assert!(marks.len() < all);
    std::fs::write(&second, serde_json::to_vec(&coding).unwrap()).unwrap();
    let changed = Agreement::new(study, &"s5".into(), "K-12", Mode::Light);
    let words = "A coding was changed since: 2 decisions are about differences that are no longer there. The next decision writes the record without them.";
    assert!(find(&changed, words));
}

#[test]
fn what_is_confused_leads_to_its_definition_and_a_cell_of_the_table_to_the_film() {
    let folder = folder();
    let study = demo(&folder);
    let mut screen = Agreement::new(study.clone(), &"s5".into(), "K-07", Mode::Dark);
    let find = |screen: &Agreement, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    let named = |screen: &mut Agreement, key| screen.update(agreement::Message::KeyDown(Key::Named(key)));
    let circumstances = "Both cover 431.0 s, the animal visible to both for 420.0 s · from K-07 nothing was hidden · hidden from K-12: first record, date, step";
    assert!(find(&screen, circumstances), "what was hidden stands with the numbers");
    // A click on what is confused most shows both definitions; from there into the ethogram.
    let cause = "Still, alert or Still, relaxed";
    assert!(find(&screen, cause));
    let clicked = {
        let mut shown = simulator(screen.view(Mode::Dark));
        let _ = shown.click(cause).unwrap();
        shown.into_messages().collect::<Vec<_>>()
    };
    for message in clicked {
        let _ = screen.update(message);
    }
    assert!(find(&screen, "In the ethogram (F10)") && find(&screen, "Begins"));
    let agreement::Action::Ethogram(ethogram, behaviour) = named(&mut screen, Named::F10) else {
        panic!("F10 leads nowhere")
    };
    assert!(["still-alert", "still-relaxed"].contains(&behaviour.as_str()), "{behaviour}");
    let opened = EthogramScreen::at(study.clone(), &ethogram, &behaviour);
    let onset = study.ethograms().0.last().unwrap().behaviour(&behaviour).unwrap().definition.onset.clone();
    assert!(simulator(opened.view(Mode::Dark)).find(onset.as_str()).is_ok(), "at that behaviour");
    let gone = EthogramScreen::at(study, &ethogram, &"no-such".into());
    assert!(simulator(gone.view(Mode::Dark)).find("The newest revision has no no-such any more.").is_ok());
    // Escape closes what was opened last.
    assert!(matches!(named(&mut screen, Named::Escape), agreement::Action::None));
    assert!(!find(&screen, "In the ethogram (F10)"));
    // The study's coders are read beside the window.
    assert!(matches!(named(&mut screen, Named::F3), agreement::Action::Run(_)));
    assert!(find(&screen, "Most confused"));
    // A row of the charts leads to the film there; without its clip that is said.
    'search: for y in (40_u16..400).step_by(8) {
        for x in (40_u16..800).step_by(40) {
            let at = iced_test::core::Point::new(f32::from(x), f32::from(y));
            let _ = screen.update(agreement::Message::Touch(Touch::Moved(0, at)));
            let _ = screen.update(agreement::Message::Touch(Touch::Pressed(0)));
            if !find(&screen, "Most confused") {
                break 'search;
            }
        }
    }
    assert!(find(&screen, "There is no film to play: see beside the tapes."));
    assert!(matches!(named(&mut screen, Named::Escape), agreement::Action::Leave));
}

#[test]
fn the_film_stands_at_the_chosen_difference() {
    use iced_test::futures::futures::{StreamExt as _, executor::block_on};
    use iced_test::runtime::{Action, task::into_stream};
    let folder = folder();
    let study = demo(&folder);
    let clip = study.root().join("clips/s3-phone.mp4");
    std::fs::create_dir_all(clip.parent().unwrap()).unwrap();
    barcode_clip(&clip, 1000, &["-c:v", "libx264", "-preset", "ultrafast", "-g", "50"]);
    let (mut screen, task) = Agreement::start(study, &"s3".into(), "K-07", Mode::Dark, 64 << 20);
    assert!(simulator(screen.view(Mode::Dark)).find("Reading the clip, 0 %.").is_ok());
    let mut film = into_stream(task).unwrap();
    let mut next = |screen: &mut Agreement| {
        let Action::Output(message) = block_on(film.next()).expect("it does not come") else { return false };
        let is_open = matches!(message, agreement::Message::Fed(Fed::Opened(..)));
        let _ = screen.update(message);
        is_open
    };
    while !next(&mut screen) {}
    // The first difference begins at 4 s; the picture after it is one of 25 a second later.
    let _ = screen.update(agreement::Message::KeyDown(Key::Named(Named::ArrowRight)));
    let find = |screen: &Agreement, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    while !find(&screen, "0:04.040") {
        let _ = next(&mut screen);
    }
    // The next difference; the film goes there with its tapes.
    let _ = screen.update(agreement::Message::KeyDown(Key::Named(Named::ArrowDown)));
    while find(&screen, "0:04.040") {
        let _ = next(&mut screen);
    }
    let _ = screen.update(agreement::Message::KeyDown(Key::Named(Named::ArrowLeft)));
    while !find(&screen, "0:11.960") {
        let _ = next(&mut screen);
    }
    let _ = screen.update(agreement::Message::KeyDown(Key::Named(Named::Enter)));
    assert!(!find(&screen, "There is no film to play: see beside the tapes."));
}

#[test]
fn a_sheet_is_kept_or_says_what_it_can_not_read() {
    let folder = folder();
    let study = demo(&folder);
    let subject = sheet::Subject::Session("s1".into());
    let mut screen = SheetScreen::try_new(study.clone(), subject, Units::default()).unwrap();
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
    let mut screen = SheetScreen::try_new(study, subject, Units::default()).unwrap();
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

#[test]
fn settings_change_by_key_and_a_folder_without_a_study_is_refused() {
    let folder = folder();
    let study = demo(&folder);
    let recent = vec![study.root().to_owned(), folder.path().join("gone")];
    let settings = Settings { recent, ..Settings::default() };
    let mut screen = SettingsScreen::new(settings);
    assert!(simulator(screen.view(Mode::Dark)).find("demo").is_ok(), "the study that is there is listed");
    assert!(simulator(screen.view(Mode::Light)).find("gone").is_err(), "what is gone is not");
    let mut press = |named: Named| screen.update(settings::Message::KeyDown(Key::Named(named)));
    assert!(matches!(press(Named::Enter), settings::Action::Open(path) if path == study.root()));
    for _ in 0..3 {
        let _ = press(Named::ArrowDown);
    }
    // The size of everything, one larger; then the memory for pictures, one less; then the keys.
    let settings::Action::Take(taken) = press(Named::ArrowRight) else { panic!("nothing changed") };
    assert_eq!((taken.text_percent, taken.cache_mib, taken.mirrored), (115, 512, false));
    let _ = press(Named::ArrowDown);
    let settings::Action::Take(taken) = press(Named::ArrowLeft) else { panic!("nothing changed") };
    assert_eq!(taken.cache_bytes(), 256 << 20);
    let _ = press(Named::ArrowDown);
    let settings::Action::Take(taken) = press(Named::Enter) else { panic!("nothing changed") };
    assert!(taken.mirrored);
    assert!(matches!(press(Named::Escape), settings::Action::Leave));
    let _ = screen.update(settings::Message::Path(folder.path().display().to_string()));
    assert!(matches!(screen.update(settings::Message::OpenPath), settings::Action::None));
    assert!(
        simulator(screen.view(Mode::Dark))
            .find(
                format!("there is no study in that folder (no study.json): {}", folder.path().display())
                    .as_str()
            )
            .is_ok()
    );
}

#[test]
fn a_second_coder_who_is_due_sees_nothing_of_the_first_record_and_words_narrow_the_list() {
    let folder = folder();
    let study = demo(&folder);
    let listing = study.list();
    // With a share of one every session that was coded once waits for a second coder.
    let mut all = study.clone();
    all.study.double_coding.share = 1.0;
    let due = sessions::due(&all, &listing.sessions);
    let mut screen = Sessions::new(Some(study.clone()), Some("K-12".to_owned()), None);
    // Before it is known who is due, what may have to be hidden is hidden, and nothing is begun.
    let dated = |screen: &Sessions| simulator(screen.view(Mode::Dark)).find("3 Apr 2025, 15:15").is_ok();
    assert!(!dated(&screen));
    let enter = || sessions::Message::KeyDown(Key::Named(Named::Enter), Modifiers::empty());
    assert!(matches!(screen.update(enter()), sessions::Action::None));
    let _ = screen.update(sessions::Message::Learned(Learned::Due(due.clone())));
    let find = |screen: &Sessions, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    assert!(find(&screen, "second coding due: you"));
    assert!(find(&screen, "date hidden") && !find(&screen, "3 Apr 2025, 15:15"), "its date is hidden");
    let _ = screen.update(sessions::Message::Filter("13 mar".to_owned()));
    assert!(
        find(&screen, "13 Mar 2025, 15:05") && find(&screen, "K-12 · second · closed · revision 1"),
        "it is done there"
    );
    assert!(!find(&screen, "date hidden"), "a hidden date is not found by it");
    // Neither sheet nor numbers give away what is hidden.
    let _ = screen.update(sessions::Message::Filter(String::new()));
    let last = listing.sessions.len() - 1;
    let _ = screen.update(sessions::Message::Choose(last));
    for ask in [Ask::Session, Ask::Results, Ask::Progress, Ask::Agreement] {
        assert!(matches!(screen.update(sessions::Message::Sheet(ask)), sessions::Action::None), "{ask:?}");
    }
    // Enter begins the second coding, and what was hidden is written down in it.
    // Nor does it stand among the others: progress leaves it out and says so.
    let _ = screen.update(sessions::Message::Choose(2));
    let shown = screen.update(sessions::Message::Sheet(Ask::Progress));
    let sessions::Action::Results(subject, hidden) = shown else { panic!("no progress") };
    assert!(
        hidden.contains(&"s6".into()) && hidden.contains(&"s4".into()) && !hidden.contains(&"s3".into()),
        "{hidden:?}"
    );
    let progress = Results::new(study.clone(), subject, hidden, Mode::Dark);
    assert!(simulator(progress.view(Mode::Dark)).find("Bramble · 1 sessions").is_ok());
    let _ = screen.update(sessions::Message::Choose(last));
    let sessions::Action::Open(path) = screen.update(enter()) else { panic!("nothing was begun") };
    let begun = shedlight::storage::coding_file::read(&path).unwrap();
    assert_eq!(begun.purpose, Purpose::Second);
    assert!(
        begun.masked.iter().any(|what| what == "first record")
            && begun.masked.iter().any(|what| what == "date")
    );
    // Whoever coded it first sees everything, and that another is due.
    let mut screen = Sessions::new(Some(study), Some("K-07".to_owned()), None);
    let _ = screen.update(sessions::Message::Learned(Learned::Due(due)));
    assert!(find(&screen, "3 Apr 2025, 15:15") && find(&screen, "second coding due: another coder"));
    let _ = screen.update(sessions::Message::Filter("due sorrel".to_owned()));
    assert!(find(&screen, "6 Mar 2025, 15:30") && !find(&screen, "27 Mar 2025, 15:20"));
    let _ = screen.update(sessions::Message::Filter("no such thing".to_owned()));
    assert!(!find(&screen, "6 Mar 2025, 15:30"));
}

#[test]
fn an_ethogram_in_use_stays_and_the_first_change_makes_the_next_revision() {
    let folder = folder();
    let study = demo(&folder);
    let listing = study.ethograms().0;
    let newest = listing.last().unwrap().clone();
    let old_path = study.ethogram_path(&newest.id, newest.revision);
    let old_bytes = std::fs::read(&old_path).unwrap();
    let mut screen = EthogramScreen::new(study.clone());
    let find = |screen: &EthogramScreen, words: &str| simulator(screen.view(Mode::Dark)).find(words).is_ok();
    assert!(find(&screen, "revision 2 · used by 2 codings: the first change makes the next revision"));
    let press = |screen: &mut EthogramScreen, named: Named, modifiers: Modifiers| {
        screen.update(ethogram::Message::KeyDown(Key::Named(named), modifiers))
    };
    // Moving through it changes nothing.
    for _ in 0..3 {
        let _ = press(&mut screen, Named::ArrowDown, Modifiers::empty());
    }
    assert_eq!(study.ethograms().0.len(), listing.len());
    // A line that can't be read changes nothing either, and is not left.
    let write = |screen: &mut EthogramScreen, key: &str, value: &str| {
        let _ = screen.update(ethogram::Message::Written(key.to_owned(), value.to_owned()));
    };
    write(&mut screen, "key", "no key");
    assert!(matches!(press(&mut screen, Named::Escape, Modifiers::empty()), ethogram::Action::None));
    assert!(find(&screen, "one letter or digit") && study.ethograms().0.len() == listing.len());
    write(&mut screen, "key", "s");
    write(&mut screen, "onset", "the first picture without any movement");
    let _ = screen.update(ethogram::Message::Keep);
    let now = study.ethograms().0;
    let made = now.iter().find(|own| own.id == newest.id && own.revision == newest.revision + 1).unwrap();
    assert_eq!(std::fs::read(&old_path).unwrap(), old_bytes, "the revision in use is as it was");
    assert!(made.changed.as_deref().unwrap().contains("begins otherwise"));
    assert!(find(&screen, "What this revision changes"));
    // A new behaviour, a key taken by a click, a set, a removal: all in that revision; undo leads back.
    let _ = press(&mut screen, Named::F2, Modifiers::empty());
    write(&mut screen, "name", "Tail lash");
    let _ = screen.update(ethogram::Message::Cap('7'));
    let _ = press(&mut screen, Named::F3, Modifiers::empty());
    let _ = screen.update(ethogram::Message::SetName("Posture".to_owned()));
    let _ = screen.update(ethogram::Message::SetNamed);
    let last =
        |study: &StudyFolder| study.ethograms().0.into_iter().rfind(|own| own.id == newest.id).unwrap();
    let with = last(&study);
    assert_eq!((with.revision, with.behaviours.len()), (3, made.behaviours.len() + 1));
    assert!(with.behaviours.iter().any(|own| own.name == "Tail lash" && own.key == Some('7')));
    assert!(with.sets.iter().any(|own| own.name == "Posture") && find(&screen, "Tail lash"));
    let _ = press(&mut screen, Named::F8, Modifiers::empty());
    assert_eq!(last(&study).behaviours.len(), made.behaviours.len());
    for _ in 0..5 {
        let _ = screen.update(ethogram::Message::KeyDown(key("z"), Modifiers::CTRL));
    }
    assert_eq!(last(&study).behaviours, made.behaviours);
    // What was typed and not kept is not lost by taking back: it can be done again.
    write(&mut screen, "example", "typed a moment ago");
    let _ = screen.update(ethogram::Message::KeyDown(key("z"), Modifiers::CTRL));
    assert_eq!(last(&study).behaviours, made.behaviours);
    let _ = screen.update(ethogram::Message::KeyDown(key("z"), Modifiers::CTRL | Modifiers::SHIFT));
    let example = |study: &StudyFolder| {
        last(study)
            .behaviours
            .iter()
            .any(|own| own.definition.example.as_deref() == Some("typed a moment ago"))
    };
    assert!(example(&study));
    let _ = screen.update(ethogram::Message::KeyDown(key("z"), Modifiers::CTRL));
    // A coding begun meanwhile in another window freezes the revision; one made elsewhere is not written over.
    let three = last(&study);
    let reference = shedlight::model::EthogramRef::to(&three).unwrap();
    let coding = shedlight::model::Coding::new("s1".into(), "K-99".into(), reference);
    let _ = shedlight::storage::coding_file::create(&study.session_folder(&"s1".into()), &coding).unwrap();
    let elsewhere =
        shedlight::model::Ethogram { revision: 4, title: "made elsewhere".to_owned(), ..three.clone() };
    study.save_ethogram(&elsewhere).unwrap();
    write(&mut screen, "example", "never lost");
    let _ = screen.update(ethogram::Message::Keep);
    assert_eq!(study.ethogram(&newest.id, 3).unwrap(), three, "in use now");
    assert_eq!(study.ethogram(&newest.id, 4).unwrap(), elsewhere);
    assert!(find(&screen, "never lost"), "what was typed stays on its line");
    write(&mut screen, "example", "");
    assert!(matches!(press(&mut screen, Named::Escape, Modifiers::empty()), ethogram::Action::Leave(_)));
    // A study whose ethogram is gone says so, and offers one to begin with.
    std::fs::remove_dir_all(study.root().join("ethograms")).unwrap();
    let words = "This study has no ethogram yet. Enter takes this whole starter as its first revision: a beginning to be \
                 adapted to species and animal, not a standard.";
    assert!(find(&EthogramScreen::new(study), words));
}

#[test]
fn the_report_says_what_it_can_not_read_and_keeps_the_texts_with_the_study() {
    let folder = folder();
    let study = demo(&folder);
    let mut screen = ReportScreen::new(study.clone());
    let find = |screen: &ReportScreen, words: &str| simulator(screen.view(Mode::Light)).find(words).is_ok();
    assert!(find(&screen, "What will stand in it") && find(&screen, "What only you can write"));
    let write = |screen: &mut ReportScreen, key: &str, value: &str| {
        let _ = screen.update(report::Message::Written(key.to_owned(), value.to_owned()));
    };
    write(&mut screen, "animal", "Nobody");
    write(&mut screen, "purpose", "Yearly review");
    assert!(matches!(screen.update(report::Message::Make), report::Action::None));
    assert!(find(&screen, "no animal of this study is called so"));
    assert!(
        StudyFolder::open(study.root())
            .unwrap()
            .study
            .report
            .get("purpose")
            .is_none_or(|own| own != "Yearly review")
    );
    write(&mut screen, "animal", "sorrel");
    let action = screen.update(report::Message::Make);
    assert!(matches!(action, report::Action::Run(_)), "it is being made");
    assert_eq!(StudyFolder::open(study.root()).unwrap().study.report["purpose"], "Yearly review");
    let _ = screen.update(report::Message::Waiting(std::time::Duration::from_secs(4), 0.4));
    assert!(find(&screen, "Making the report: 40 %, about 6 s left; Escape stops it."));
    // Escape stops it, a second one leaves.
    let escape = || report::Message::KeyDown(Key::Named(Named::Escape));
    assert!(matches!(screen.update(escape()), report::Action::None));
    assert!(find(&screen, "The report was stopped; nothing was written."));
    // What comes late from what was stopped changes nothing.
    let _ = screen.update(report::Message::Made(Err("late".to_owned())));
    assert!(!find(&screen, "No report: late"));
    assert!(matches!(screen.update(escape()), report::Action::Leave(_)));
}

#[test]
fn a_coding_somebody_has_or_a_newer_version_wrote_opens_to_look_at_and_says_why() {
    use shedlight::gui::screen::coding::{Coding, Message};
    use shedlight::storage::coding_file;
    let folder = folder();
    let study = demo(&folder);
    let path = study.root().join("sessions/s5/K-07.1.coding.json");
    let look = |words: &str| {
        let before = std::fs::read(&path).unwrap();
        let now = std::time::Instant::now();
        let (mut screen, _) = Coding::try_new(study.clone(), &path, None, &Settings::default(), now).unwrap();
        // Every way that needs no picture: closing, and taking back.
        let _ = screen.update(Message::ToggleClosed);
        let _ = screen.update(Message::TickPass(0));
        for mode in [Mode::Dark, Mode::Light] {
            let mut shown = simulator(screen.view(mode));
            assert!(shown.find("only to look at").is_ok());
            assert!(shown.find(format!("Only to look at; nothing is written: {words}")).is_ok(), "{words}");
        }
        assert!(screen.finish());
        assert_eq!(std::fs::read(&path).unwrap(), before);
    };
    let held = coding_file::open(&path).unwrap();
    look(&coding_file::open(&path).unwrap_err().to_string());
    drop(held);
    let text = std::fs::read_to_string(&path).unwrap().replacen("\"version\": 1", "\"version\": 2", 1);
    std::fs::write(&path, text).unwrap();
    look(&coding_file::open(&path).unwrap_err().to_string());
}
