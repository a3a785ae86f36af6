//! A calibration gone through from its first word to a mark that bears the lag: the clip is really drawn, read and
//! played; only the clock is moved by hand, so that two minutes are not waited for.

use std::path::Path;
use std::time::{Duration, Instant};

use iced_test::futures::futures::executor::{BlockingStream, block_on_stream};
use iced_test::futures::futures::stream::Stream;
use iced_test::runtime::{Action as Done, task::into_stream};
use iced_test::simulator;

use super::*;
use crate::gui::screen::coding::{self, Coding as CodingScreen};
use crate::gui::settings::Settings;
use crate::model::{
    Animal, Clip as FilmClip, Coding, EthogramRef, Mark, Placed, Session, Study, Taxon, starter,
};
use crate::storage::{coding_file, fingerprint};

fn ms(millis: i64) -> Micros {
    Micros::from_millis(millis)
}

/// What a task tells, one after another.
fn stream<M: 'static>(task: Task<M>) -> BlockingStream<impl Stream<Item = Done<M>> + Unpin> {
    block_on_stream(into_stream(task).unwrap())
}

fn key(key: Key) -> Message {
    Message::KeyDown(key, keyboard::Modifiers::default(), false)
}

/// A study with one session that was filmed in this clip, and K-07's coding of it.
fn study(root: &Path, film: &Path) -> (StudyFolder, std::path::PathBuf) {
    let mut study = Study::new("A lag");
    study.animals.push(Animal { id: "b".into(), name: "B".to_owned(), ..Animal::default() });
    let folder = StudyFolder::create(root, study).unwrap();
    let ethogram = starter::ethogram(Taxon::Chelonian);
    folder.save_ethogram(&ethogram).unwrap();
    let clip = root.join("clips/a.mp4");
    std::fs::create_dir_all(clip.parent().unwrap()).unwrap();
    let _ = std::fs::copy(film, &clip).unwrap();
    let mut session = Session::new("s1".into(), "b".into());
    let mut own = FilmClip::new(ClipId(0), "clips/a.mp4");
    own.fingerprint = Some(fingerprint::of_file(&clip).unwrap());
    session.clips.push(own);
    folder.save_session(&session).unwrap();
    // Without passes every key is live.
    let coding = Coding::new("s1".into(), "K-07".into(), EthogramRef::to(&ethogram).unwrap());
    let path = coding_file::create(&folder.session_folder(&session.id), &coding).unwrap();
    (folder, path)
}

/// Plays the clip and presses each time a lag after each change; every fifth change is missed.
fn go_through(screen: &mut Reaction) -> Vec<Micros> {
    let lags = [230, 240, 250, 260, 270];
    let mut lags_pressed = Vec::new();
    let mut next = 0;
    let patience = Instant::now();
    while matches!(screen.stage, Stage::Running(_)) {
        assert!(patience.elapsed() < Duration::from_secs(300), "the clip plays to its end");
        // The clock goes on by a picture, and no farther before that picture is there.
        screen.start -= Duration::from_millis(20);
        let _ = screen.update(Message::Tick);
        while let Stage::Running(run) = &screen.stage
            && run.player.wanted() != run.player.shown()
        {
            std::thread::sleep(Duration::from_millis(1));
            let _ = screen.update(Message::Tick);
            assert!(patience.elapsed() < Duration::from_secs(300), "the clip plays to its end");
        }
        let Stage::Running(run) = &screen.stage else { break };
        let Some(shown) = run.player.shown() else { continue };
        let Some(change) = screen.changes.get(next).copied() else { continue };
        if next % 5 == 4 {
            next += 1;
            continue;
        }
        let lag = ms(lags[next % lags.len()]);
        if shown.at >= change + lag {
            lags_pressed.push(shown.at - change);
            next += 1;
            let _ = screen.update(key(Key::Character("k".into())));
        }
    }
    lags_pressed
}

#[test]
fn rule_08_a_calibration_by_timed_presses_is_kept_taken_off_live_marks_shown_and_taken_back() {
    let folder = tempfile::tempdir().unwrap();
    let bare = StudyFolder::create(&folder.path().join("bare"), Study::new("bare")).unwrap();
    let mut screen = Reaction::new(bare, "k-07", 11, Instant::now());
    assert!(simulator(screen.view(Mode::Dark)).find("Begin (Enter)").is_ok());
    let Action::Run(task) = screen.update(key(Key::Named(Named::Enter))) else { panic!("it is drawn") };
    let film = folder.path().join("film.mp4");
    let mut opening = None;
    for told in stream(task) {
        let Done::Output(message) = told else { continue };
        if let Message::Drawn(Drawn::Done(Ok(path))) = &message {
            let _ = std::fs::copy(path, &film).unwrap();
        }
        if let Action::Run(task) = screen.update(message) {
            opening = Some(task);
            break;
        }
    }
    // The same clip is the film of the study the lag is kept in.
    let (study, path) = study(&folder.path().join("study"), &film);
    screen.folder = study.clone();
    for told in stream(opening.expect("the clip is opened")) {
        let Done::Output(message) = told else { continue };
        let _ = screen.update(message);
        if matches!(screen.stage, Stage::Running(_)) {
            break;
        }
    }
    let mut lags = go_through(&mut screen);
    lags.sort_unstable();
    let Stage::Told(told) = &screen.stage else { panic!("the clip has ended") };
    assert_eq!(told.lags.len(), lags.len());
    assert!(told.misses > 0, "those that were let pass are missed");
    let lag = told.lag().unwrap();
    let middle = (lags[(lags.len() - 1) / 2] + lags[lags.len() / 2]).0 / 2;
    assert_eq!(lag.median, Micros(middle), "{lag:?} {lags:?}");
    assert!((ms(230)..=ms(290)).contains(&lag.median), "{lag:?} {lags:?}");
    for mode in [Mode::Dark, Mode::Light] {
        let words = format!("Your lag is {:.2} s (median).", lag.median.seconds());
        assert!(simulator(screen.view(mode)).find(words).is_ok());
    }
    assert!(matches!(screen.update(key(Key::Named(Named::Enter))), Action::Leave(_)));
    let study = StudyFolder::open(study.root()).unwrap();
    let person = study.study.person(&"K-07".into()).unwrap();
    assert_eq!(person.reaction_lag_s, Some(Seconds(lag.median)));
    marks_bear_it(&study, &path, lag.median);
}

fn marks_bear_it(study: &StudyFolder, path: &Path, lag: Micros) {
    let open = CodingScreen::try_new(study.clone(), path, None, &Settings::default(), Instant::now());
    let (mut screen, task) = open.unwrap();
    let press = |screen: &mut CodingScreen, key: Key, modifiers| {
        let _ = screen.update(coding::Message::KeyDown(key, modifiers, false));
    };
    let plain = keyboard::Modifiers::default();
    for told in stream(task) {
        let Done::Output(message) = told else { continue };
        let is_there = matches!(message, coding::Message::Fed(Fed::Arrived(..)));
        let _ = screen.update(message);
        if is_there {
            break;
        }
    }
    press(&mut screen, Key::Named(Named::Space), plain);
    // Some seconds of film, as it runs; then a key.
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(3) {
        let _ = screen.update(coding::Message::Tick);
        std::thread::sleep(Duration::from_millis(4));
    }
    press(&mut screen, Key::Character("e".into()), plain);
    press(&mut screen, Key::Named(Named::Space), plain);
    let only = || -> Mark {
        let coding = coding_file::read(path).unwrap();
        assert_eq!(coding.marks.len(), 1);
        coding.marks[0].clone()
    };
    let mark = only();
    let Placed::Live { speed, raw, lag: own } = mark.placed else { panic!("placed live: {mark:?}") };
    assert!((speed - 1.0).abs() < 1e-9);
    assert_eq!(own, lag);
    // The picture shown at raw − lag × speed: one of fifty a second.
    let wanted = Micros((raw - lag).0.div_euclid(20_000) * 20_000);
    assert_eq!((mark.from, raw.0 % 20_000), (wanted, 0), "{mark:?}");
    let shown = |screen: &CodingScreen, words: &str| {
        [Mode::Dark, Mode::Light]
            .iter()
            .all(|mode| simulator(screen.view(*mode)).find(words.to_owned()).is_ok())
    };
    let words = format!("lag {:.2} s × 1 taken off)", lag.seconds());
    let name = starter::ethogram(Taxon::Chelonian);
    let name = &name.behaviours.iter().find(|own| own.key == Some('e')).unwrap().name;
    let from = if mark.is_event() { "at" } else { "from" };
    let line = format!("{name} {from} {} (pressed at {}, {words}", mark.from.clock(), raw.clock());
    assert!(shown(&screen, &line), "{line}");
    // Taken back: the mark lies where the key went down; and off again.
    press(&mut screen, Key::Character("l".into()), keyboard::Modifiers::CTRL);
    let back = only();
    assert_eq!((back.from, back.placed), (raw, Placed::Live { speed, raw, lag: Micros::ZERO }));
    press(&mut screen, Key::Character("l".into()), keyboard::Modifiers::CTRL);
    assert_eq!((only().from, only().placed), (mark.from, mark.placed));
    // Undo as well, step by step.
    press(&mut screen, Key::Character("z".into()), keyboard::Modifiers::CTRL);
    press(&mut screen, Key::Character("z".into()), keyboard::Modifiers::CTRL);
    assert_eq!(only().from, mark.from);
    assert!(screen.finish());
}
