//! Film past the house's period: listed, and deleted by a person's word alone; the record stays.

use std::collections::BTreeSet;
use std::path::Path;

use chrono::{DateTime, NaiveDate};
use shedlight::model::{
    Change, Clip, ClipId, Coding, Edit, EthogramRef, Mark, MarkId, Pass, Person, Purpose, Retention, Session,
    SessionId, Status, Study, Taxon, starter,
};
use shedlight::storage::journal::StepKind;
use shedlight::storage::retention::{self, Error, Needs, WORD, Word};
use shedlight::storage::{StudyFolder, coding_file, fingerprint};
use shedlight::time::Micros;

use crate::common::{folder, shedlight};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// Sessions a, b (one film for both), c, d, e with film closed on these days; f not closed.
fn study(root: &Path) -> StudyFolder {
    let mut study = Study::new("Kept");
    study.animals.push(shedlight::model::Animal {
        id: "bramble".into(),
        name: "Bramble".to_owned(),
        taxon: Some(Taxon::Chelonian),
        ..Default::default()
    });
    study.people.push(Person { code: "K-07".into(), ..Person::default() });
    study.people.push(Person { code: "W-01".into(), ..Person::default() });
    study.retention = Some(Retention {
        months: Some(12),
        incident_months: Some(60),
        deciders: vec!["W-01".into()],
        ..Retention::default()
    });
    let folder = StudyFolder::create(root, study).unwrap();
    let ethogram = starter::ethogram(Taxon::Chelonian);
    folder.save_ethogram(&ethogram).unwrap();
    let sessions = [
        ("a", "one.mp4", Some("2020-01-10")),
        ("b", "one.mp4", Some("2020-03-10")),
        ("c", "c.mp4", Some("2020-01-31")),
        ("d", "d.mp4", Some("2021-02-28")),
        ("f", "f.mp4", None),
    ];
    for (number, (id, film, closed)) in (0_u8..).zip(sessions) {
        let path = root.join("clips").join(film);
        if !path.exists() {
            std::fs::write(&path, vec![number; 5_000]).unwrap();
        }
        let mut session = Session::new(id.into(), "bramble".into());
        let mut clip = Clip::new(ClipId(0), &format!("clips/{film}"));
        clip.fingerprint = Some(fingerprint::of_file(&path).unwrap());
        clip.length = Some(Micros::from_whole_seconds(60));
        session.clips.push(clip);
        folder.save_session(&session).unwrap();
        let mut coding = Coding::new(id.into(), "K-07".into(), EthogramRef::to(&ethogram).unwrap());
        coding.passes =
            ethogram.passes.iter().map(|outline| Pass { done: true, ..Pass::from(outline) }).collect();
        let second = Micros::from_whole_seconds;
        coding.marks = vec![Mark::bout(MarkId(1), "move".into(), second(1), Some(second(20)))];
        if let Some(closed) = closed {
            coding.status = Status::Closed;
            let time = DateTime::parse_from_rfc3339(&format!("{closed}T10:00:00+00:00")).unwrap();
            coding.closed = Some(time);
        }
        let _ = coding_file::create(&folder.session_folder(&id.into()), &coding).unwrap();
    }
    folder
}

fn none() -> Needs {
    Needs { incidents: BTreeSet::new(), waiting: BTreeSet::new(), unknown: BTreeSet::new() }
}

fn of_nobody(_: &StudyFolder) -> Needs {
    none()
}

fn word(by: &str) -> Word {
    let (reason, typed) = ("the period is over".to_owned(), WORD.to_owned());
    Word { by: by.into(), reason, typed, today: day("2021-03-11") }
}

#[test]
fn film_is_kept_for_the_house_period_after_closing_and_longer_where_it_is_needed() {
    let folder = folder();
    let study = study(folder.path());
    let today = day("2021-03-11");
    let incidents: BTreeSet<SessionId> = ["c".into()].into();
    let waiting: BTreeSet<SessionId> = ["d".into()].into();
    let until = |needs: &Needs| -> Vec<(String, Result<String, String>, bool)> {
        retention::list(&study, needs)
            .into_iter()
            .map(|own| (own.sessions(), own.until.clone().map(|day| day.to_string()), own.is_over(today)))
            .collect()
    };
    let row = |sessions: &str, until: Result<&str, &str>, over| {
        (sessions.to_owned(), until.map(str::to_owned).map_err(str::to_owned), over)
    };
    assert_eq!(
        until(&none()),
        [
            row("c", Ok("2021-01-31"), true),
            // One film of two sessions: the later closing counts.
            row("a, b", Ok("2021-03-10"), true),
            row("d", Ok("2022-02-28"), false),
            row("f", Err("its coding is not closed yet"), false),
        ]
    );
    let found = until(&Needs { incidents, waiting, ..none() });
    assert_eq!(
        found,
        [
            row("a, b", Ok("2021-03-10"), true),
            row("c", Ok("2025-01-31"), false),
            row("d", Err("a second coder still needs it"), false),
            row("f", Err("its coding is not closed yet"), false),
        ]
    );
    // The last day itself still belongs to the period.
    assert!(!retention::list(&study, &none())[1].is_over(day("2021-03-10")));
}

#[test]
fn film_goes_by_the_word_of_who_may_decide_and_the_record_stays() {
    let folder = folder();
    let study = study(folder.path());
    let film = folder.path().join("clips/one.mp4");
    let refused = |path: &Path, word: &Word| retention::delete(&study, path, &of_nobody, word).unwrap_err();
    assert!(matches!(
        refused(&film, &Word { typed: "delete".to_owned(), ..word("W-01") }),
        Error::NotTheWord
    ));
    assert!(matches!(refused(&film, &Word { reason: " ".to_owned(), ..word("W-01") }), Error::NoReason));
    let error = refused(&film, &word("K-07"));
    assert!(error.to_string().contains("K-07 may not decide it; who may: W-01"), "{error}");
    let error = refused(&folder.path().join("clips/d.mp4"), &word("W-01"));
    assert!(error.to_string().contains("the house keeps it until 2022-02-28"), "{error}");
    let error = refused(&folder.path().join("study.json"), &word("W-01"));
    assert!(error.to_string().contains("it is no film of this study"), "{error}");
    let early = Word { today: day("2021-03-10"), ..word("W-01") };
    assert!(matches!(refused(&film, &early), Error::NotDue { .. }));
    assert!(film.exists() && study.session(&"a".into()).unwrap().clips[0].deleted.is_none());
    let measured =
        |id: &str| shedlight(&["summary", folder.path().join("sessions").join(id).to_str().unwrap()]);
    let before = measured("a").out;
    let gone = retention::delete(&study, &film, &of_nobody, &word("W-01")).unwrap();
    assert_eq!((gone.sessions().as_str(), film.exists()), ("a, b", false));
    for id in ["a", "b"] {
        let deleted = study.session(&id.into()).unwrap().clips[0].deleted.clone().unwrap();
        assert_eq!((deleted.by.as_str(), deleted.on), ("W-01", day("2021-03-11")));
        assert_eq!(deleted.reason, "the period is over");
    }
    assert_eq!(measured("a").out, before, "the numbers are what they were");
    let ran = shedlight(&["check", folder.path().to_str().unwrap()]);
    assert!(!ran.out.contains("missing"), "deleted film is not missed: {}", ran.out);
    // A copy that turns up again is told.
    std::fs::write(&film, vec![0_u8; 5_000]).unwrap();
    let ran = shedlight(&["check", folder.path().to_str().unwrap()]);
    assert!(ran.out.contains("counts as deleted since 2021-03-11 and is still here"), "{}", ran.out);
}

#[test]
fn what_can_not_be_written_down_is_not_deleted_and_nothing_says_it_was() {
    let folder = folder();
    let study = study(folder.path());
    let film = folder.path().join("clips/one.mp4");
    // In the second of its two sessions a write can't begin.
    let part = format!("sessions/b/.session.json.{}.part", std::process::id());
    std::fs::create_dir(folder.path().join(part)).unwrap();
    let before: Vec<Session> = ["a", "b"].map(|id| study.session(&id.into()).unwrap()).into();
    let error = retention::delete(&study, &film, &of_nobody, &word("W-01")).unwrap_err();
    assert!(matches!(error, Error::Storage(_)), "{error}");
    assert!(film.exists());
    assert_eq!(["a", "b"].map(|id| study.session(&id.into()).unwrap()).to_vec(), before);
}

#[test]
fn film_is_listed_and_deleted_by_command() {
    let folder = folder();
    let study = study(folder.path());
    let root = folder.path().to_str().unwrap();
    let ran = shedlight(&["film", root]);
    assert_eq!(ran.code, 1, "{ran:?}");
    // By now all periods are over but for film a second coder needs: the first of animal, coder and step.
    assert!(ran.out.contains("kept: a second coder still needs it"), "{ran:?}");
    assert!(ran.out.contains("who may: W-01"), "{ran:?}");
    let film = folder.path().join("clips/d.mp4");
    let asked = ["film", root, "--delete", film.to_str().unwrap(), "--by", "W-01", "--reason", "over"];
    assert_eq!(shedlight(&asked).code, 2, "without the word nothing is deleted");
    let mut with_word = asked.to_vec();
    with_word.extend(["--word", WORD]);
    let ran = shedlight(&with_word);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(!film.exists() && study.session(&"d".into()).unwrap().clips[0].deleted.is_some());
    // A coding that can't be read keeps its film: nobody knows what it shows.
    let coding = folder.path().join("sessions/c/K-07.1.coding.json");
    std::fs::write(&coding, std::fs::read_to_string(&coding).unwrap().replace("\"move\"", "\"no such\""))
        .unwrap();
    let film = folder.path().join("clips/c.mp4");
    let ran = shedlight(&["film", root]);
    assert!(ran.out.contains("what it shows is not known"), "{ran:?}");
    let mut asked = with_word.clone();
    asked[3] = film.to_str().unwrap();
    let ran = shedlight(&asked);
    assert!(ran.code == 2 && film.exists(), "{ran:?}");
}

/// One film's coding, closed long ago, and what keeps the film on.
fn refused(study: &StudyFolder, film: &str) -> String {
    let film = study.root().join("clips").join(film);
    let error = retention::delete(study, &film, &of_nobody, &word("W-01")).unwrap_err().to_string();
    assert!(film.exists(), "{error}");
    error
}

#[test]
fn film_stays_while_any_coding_of_it_is_open_or_a_reference_as_the_study_stands_now() {
    let folder = folder();
    let mut study = study(folder.path());
    let session = study.session_folder(&"c".into());
    let path = session.join("K-07.1.coding.json");
    // Opened again: that stands in the journal alone until the file is written next.
    let mut opened = coding_file::open(&path).unwrap();
    let edit = Edit::new("opened again", vec![Change::Status(Status::Open)]);
    let inverse = opened.coding.apply(&edit).unwrap();
    let _ = opened.journal.append(DateTime::default(), StepKind::Do, &edit, &inverse).unwrap();
    assert!(refused(&study, "c.mp4").contains("it is open"), "held by who looks at it");
    drop(opened);
    assert_eq!(coding_file::read_head(&path).unwrap().status, Status::Closed);
    assert!(refused(&study, "c.mp4").contains("its coding is not closed yet"));
    std::fs::remove_file(coding_file::journal_path(&path)).unwrap();
    // A second person's, also one who learns; what is only tried out holds nothing.
    let closed = coding_file::read(&path).unwrap();
    let other = Coding { by: "W-01".into(), status: Status::Open, closed: None, ..closed };
    for purpose in [Purpose::Primary, Purpose::Second, Purpose::Training] {
        let open = coding_file::create(&session, &Coding { purpose, ..other.clone() }).unwrap();
        assert!(refused(&study, "c.mp4").contains("a coding of it is still open"), "{purpose:?}");
        std::fs::remove_file(open).unwrap();
    }
    let _ = coding_file::create(&session, &Coding { purpose: Purpose::Trial, ..other }).unwrap();
    // What a screen read long ago says nothing.
    let long_ago = study.clone();
    study.study.reference_codings = vec!["sessions/c/K-07.1.coding.json".to_owned()];
    study.save_study().unwrap();
    assert!(refused(&long_ago, "c.mp4").contains("people learn with a coding of it"));
    study.study.reference_codings.clear();
    study.save_study().unwrap();
    let film = folder.path().join("clips/c.mp4");
    let gone = retention::delete(&study, &film, &of_nobody, &word("W-01")).unwrap();
    assert!(gone.sessions() == "c" && !film.exists());
}

#[test]
fn a_session_or_a_copy_that_nobody_could_read_keeps_the_film_it_may_need() {
    let folder = folder();
    let study = study(folder.path());
    // One tape of two sessions, of which one needs it longer and can't be read.
    let sheet = study.session_folder(&"b".into()).join("session.json");
    let whole = std::fs::read(&sheet).unwrap();
    std::fs::write(&sheet, &whole[..whole.len() / 2]).unwrap();
    for film in ["one.mp4", "c.mp4"] {
        assert!(refused(&study, film).contains("a session can't be read: which film it needs"));
    }
    std::fs::write(&sheet, &whole).unwrap();
    // What a sync program left beside a coding may show an incident that the coding does not.
    let coding = study.session_folder(&"c".into()).join("K-07.1.coding.json");
    let copy = coding.with_file_name("K-07.1.coding (copy of the other PC).json");
    let _ = std::fs::copy(&coding, &copy).unwrap();
    assert!(refused(&study, "c.mp4").contains("a copy of a coding of it is not merged"));
    std::fs::remove_file(copy).unwrap();
    assert!(retention::delete(&study, &folder.path().join("clips/c.mp4"), &of_nobody, &word("W-01")).is_ok());
}
