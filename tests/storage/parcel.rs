//! A study handed over as one file: whole or not at all, nothing outside, nothing overwritten unasked.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::ops::ControlFlow;
use std::path::Path;

use chrono::{DateTime, FixedOffset};
use shedlight::files::Lock;
use shedlight::model::{
    Change, Clip, ClipId, Coding, Edit, EthogramRef, Extra, FilmDeleted, Mark, MarkId, Pass, Person, Session,
    Study, Taxon, starter,
};
use shedlight::storage::fingerprint::ClipState;
use shedlight::storage::journal::{Journal, StepKind};
use shedlight::storage::parcel::{self, Advice, Choice, Comparison, Contents, Error, What};
use shedlight::storage::{StudyFolder, coding_file, fingerprint};
use shedlight::time::Micros;

use crate::common::{folder, shedlight};

fn now() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2025-04-05T10:00:00+02:00").unwrap()
}

fn go_on(_: f32) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Every file of a folder with its bytes; locks say nothing.
fn files(root: &Path) -> BTreeMap<String, Vec<u8>> {
    fn walk(root: &Path, at: &Path, found: &mut BTreeMap<String, Vec<u8>>) {
        for entry in std::fs::read_dir(at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(root, &path, found);
            } else if path.extension().is_none_or(|own| own != "lock") {
                let name = path.strip_prefix(root).unwrap().to_str().unwrap().replace('\\', "/");
                let _ = found.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    let mut found = BTreeMap::new();
    if root.exists() {
        walk(root, root, &mut found);
    }
    found
}

/// A study with two sessions: a clip inside, a clip beside the study; one coding with a journal.
fn study(at: &Path) -> StudyFolder {
    let mut study = Study::new("Handed over");
    study.animals.push(shedlight::model::Animal {
        id: "bramble".into(),
        name: "Bramble".to_owned(),
        taxon: Some(Taxon::Chelonian),
        ..Default::default()
    });
    study.people.push(Person { code: "K-07".into(), ..Person::default() });
    let folder = StudyFolder::create(&at.join("study"), study).unwrap();
    let ethogram = starter::ethogram(Taxon::Chelonian);
    folder.save_ethogram(&ethogram).unwrap();
    std::fs::write(at.join("study/clips/a.mp4"), vec![7_u8; 70_000]).unwrap();
    std::fs::create_dir_all(at.join("film")).unwrap();
    std::fs::write(at.join("film/a.mp4"), vec![9_u8; 80_000]).unwrap();
    std::fs::create_dir_all(at.join("study/stills")).unwrap();
    std::fs::write(at.join("study/stills/s1 0-01.png"), b"a picture").unwrap();
    std::fs::write(at.join("study/sessions/.hidden"), b"of the moment").unwrap();
    for (id, path) in [("s1", "clips/a.mp4"), ("s2", "../film/a.mp4")] {
        let mut session = Session::new(id.into(), "bramble".into());
        let mut clip = Clip::new(ClipId(0), path);
        clip.fingerprint = Some(fingerprint::of_file(&folder.root().join(path)).unwrap());
        session.clips.push(clip);
        folder.save_session(&session).unwrap();
    }
    let mut coding = Coding::new("s1".into(), "K-07".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    coding.begun = Some(now());
    let path = coding_file::create(&folder.session_folder(&"s1".into()), &coding).unwrap();
    code(&path, 3);
    folder
}

/// Codes a few approaches, into the journal only, as a killed window leaves it.
fn code(path: &Path, count: u64) {
    let mut opened = coding_file::open(path).unwrap();
    for _ in 0..count {
        let id = opened.coding.next_id();
        let at = Micros(i64::try_from(id.0).unwrap() * 1_000_000);
        let mark = Mark::event(id, "approach".into(), at);
        let edit = Edit::new("a mark", vec![Change::Put(Box::new(mark))]);
        let inverse = opened.coding.apply(&edit).unwrap();
        let _ = opened.journal.append(now(), StepKind::Do, &edit, &inverse).unwrap();
    }
}

fn pack(folder: &StudyFolder, target: &Path, film: bool) -> parcel::Packed {
    let contents = Contents { film, by: Some("K-07".to_owned()), now: now() };
    parcel::pack(folder, &contents, target, &mut go_on).unwrap()
}

fn compared(parcel: &Path, folder: &StudyFolder) -> (parcel::Parcel, Comparison) {
    let mut parcel = parcel::open(parcel).unwrap();
    let found = parcel::compare(&mut parcel, folder, &mut go_on).unwrap();
    (parcel, found)
}

fn copy(from: &Path, to: &Path) {
    for (name, bytes) in files(from) {
        let target = to.join(name);
        std::fs::create_dir_all(target.parent().unwrap()).unwrap();
        std::fs::write(target, bytes).unwrap();
    }
}

#[test]
fn a_study_comes_out_of_its_parcel_as_it_was_with_or_without_film() {
    let place = folder();
    let own = study(place.path());
    let before = files(own.root());
    for film in [true, false] {
        let target = place.path().join(format!("out-{film}.shedlight.zip"));
        let packed = pack(&own, &target, film);
        assert_eq!(
            (packed.clips, packed.remarks.len()),
            (if film { 2 } else { 0 }, 0),
            "{:?}",
            packed.remarks
        );
        assert_eq!(files(own.root()), before, "packing changes nothing");
        let mut parcel = parcel::open(&target).unwrap();
        assert_eq!((parcel.list().title.as_str(), parcel.list().film), ("Handed over", film));
        let elsewhere = place.path().join(format!("pc-{film}/study"));
        std::fs::create_dir_all(elsewhere.parent().unwrap()).unwrap();
        let there = parcel::take_as_new(&mut parcel, &elsewhere, &mut go_on).unwrap();
        let mut wanted = before.clone();
        let _ = wanted.remove("sessions/.hidden");
        if film {
            let _ = wanted.insert("clips/a-2.mp4".to_owned(), vec![9_u8; 80_000]);
        } else {
            let _ = wanted.remove("clips/a.mp4");
        }
        assert_eq!(files(&elsewhere), wanted);
        // Film that lay beside the study is found by what it is.
        for entry in there.list().sessions {
            let state = fingerprint::find(there.root(), &entry.session.clips[0]);
            let is_found =
                matches!(state, fingerprint::ClipState::There(_) | fingerprint::ClipState::Moved(_));
            assert_eq!(is_found, film, "{state:?}");
        }
        // Nothing is written over: neither a parcel nor a folder with something in it.
        let contents = Contents { film, by: None, now: now() };
        assert!(matches!(
            parcel::pack(&own, &contents, &target, &mut go_on).unwrap_err(),
            Error::Exists { .. }
        ));
        assert!(parcel::take_as_new(&mut parcel, &elsewhere, &mut go_on).is_err());
        assert_eq!(files(&elsewhere), wanted);
    }
    let left: Vec<String> = files(place.path()).into_keys().filter(|name| name.contains(".part")).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn a_parcel_cut_or_damaged_anywhere_leaves_nothing_behind() {
    let place = folder();
    let own = study(place.path());
    let target = place.path().join("out.shedlight.zip");
    let _ = pack(&own, &target, true);
    let bytes = std::fs::read(&target).unwrap();
    let bad = place.path().join("bad.shedlight.zip");
    let elsewhere = place.path().join("elsewhere");
    let before = files(own.root());
    let mut damaged = 0;
    let every = (bytes.len() / 60).max(1);
    for at in (0..bytes.len()).step_by(every) {
        std::fs::write(&bad, &bytes[..at]).unwrap();
        let error = parcel::open(&bad).unwrap_err();
        assert!(matches!(error, Error::NoParcel { .. }), "cut at {at}: {error}");
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x10;
        std::fs::write(&bad, &flipped).unwrap();
        let Ok(mut parcel) = parcel::open(&bad) else { continue };
        match parcel::take_as_new(&mut parcel, &elsewhere, &mut go_on) {
            // A byte that nothing depends on, such as a date of the zip file.
            Ok(_) => std::fs::remove_dir_all(&elsewhere).unwrap(),
            Err(error) => {
                damaged += 1;
                assert!(matches!(error, Error::Damaged { .. }), "flipped at {at}: {error}");
                assert!(error.to_string().contains("nothing was taken in"));
            }
        }
        assert!(!elsewhere.exists());
    }
    assert!(damaged > 20, "{damaged}");
    assert_eq!(files(own.root()), before);
    let names: Vec<String> = std::fs::read_dir(place.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with('.'))
        .collect();
    assert!(names.is_empty(), "{names:?}");
}

/// A zip file with a list made by hand.
fn forged(path: &Path, list: &serde_json::Value, inside: &[(&str, &[u8])]) {
    let mut zip = zip::ZipWriter::new(std::fs::File::create(path).unwrap());
    let options = zip::write::SimpleFileOptions::default();
    for (name, bytes) in inside {
        zip.start_file(*name, options).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.start_file("shedlight-parcel.json", options).unwrap();
    zip.write_all(list.to_string().as_bytes()).unwrap();
    let _ = zip.finish().unwrap();
}

fn list_of(inside: &[(&str, &[u8])]) -> serde_json::Value {
    let files: Vec<_> = inside
        .iter()
        .map(|(name, bytes)| {
            let sum = blake3::hash(bytes).to_hex().to_string();
            serde_json::json!({"path": name, "size": bytes.len(), "blake3": sum})
        })
        .collect();
    serde_json::json!({
        "format": "shedlight/parcel", "version": 1, "title": "x", "packed": "2025-04-05T10:00:00+02:00",
        "program": "0.1.0", "film": false, "files": files,
    })
}

#[test]
fn film_of_any_name_is_packed_so_that_it_can_be_opened_and_found_again() {
    let place = folder();
    let own = study(place.path());
    let clips = own.root().join("clips");
    let mut session = own.session(&"s2".into()).unwrap();
    // Two that differ by capitals alone, one no other system has, one like a device, one that only begins so.
    let names = ["A.mp4", "2025-03-03 10:15:00.mp4", "nul.mp4", "come.mp4"];
    for (id, name) in (1_u8..).zip(names) {
        std::fs::write(clips.join(name), vec![id; 9_000]).unwrap();
        let mut clip = Clip::new(ClipId(id.into()), &format!("clips/{name}"));
        clip.fingerprint = Some(fingerprint::of_file(&clips.join(name)).unwrap());
        session.clips.push(clip);
    }
    own.save_session(&session).unwrap();
    std::fs::write(own.root().join("stills/S1 0-01.png"), b"another picture").unwrap();
    let target = place.path().join("out.shedlight.zip");
    let packed = pack(&own, &target, true);
    assert_eq!(packed.clips, 6, "{packed:?}");
    assert!(packed.remarks.len() == 1 && packed.remarks[0].contains("by capitals alone"), "{packed:?}");
    let mut parcel = parcel::open(&target).unwrap();
    assert!(parcel.list().files.iter().any(|entry| entry.path == "clips/come.mp4"));
    let there = parcel::take_as_new(&mut parcel, &place.path().join("pc"), &mut go_on).unwrap();
    for clip in there.session(&"s2".into()).unwrap().clips {
        let state = fingerprint::find(there.root(), &clip);
        assert!(matches!(state, ClipState::There(_) | ClipState::Moved(_)), "{state:?}");
    }
}

#[test]
fn what_is_not_packed_is_told_and_deleted_film_is_not_asked_for() {
    let place = folder();
    let own = study(place.path());
    std::fs::write(own.root().join("clips/unnamed.mp4"), vec![3_u8; 5_000]).unwrap();
    let target = |name: &str| place.path().join(name);
    let packed = pack(&own, &target("a.shedlight.zip"), false);
    assert!(packed.remarks.len() == 1 && packed.remarks[0].contains("clips/unnamed.mp4"), "{packed:?}");
    let packed = pack(&own, &target("b.shedlight.zip"), true);
    assert_eq!((packed.clips, packed.remarks.len()), (3, 0), "{packed:?}");
    // Film that counts as deleted is not handed on, whether it is gone or turned up again, and not missed.
    let mut session = own.session(&"s1".into()).unwrap();
    session.clips[0].deleted = Some(FilmDeleted {
        on: "2025-04-01".parse().unwrap(),
        by: "K-07".into(),
        reason: "over".to_owned(),
        extra: Extra::new(),
    });
    own.save_session(&session).unwrap();
    let packed = pack(&own, &target("c.shedlight.zip"), true);
    assert_eq!((packed.clips, packed.remarks.len()), (2, 0), "{packed:?}");
    std::fs::remove_file(own.root().join("clips/a.mp4")).unwrap();
    let packed = pack(&own, &target("d.shedlight.zip"), true);
    assert_eq!((packed.clips, packed.remarks.len()), (2, 0), "{packed:?}");
    let new = target("new");
    let ran =
        shedlight(&["take-in", target("d.shedlight.zip").to_str().unwrap(), "--into", new.to_str().unwrap()]);
    assert!(ran.code == 0 && !ran.out.contains("clips are not here"), "{ran:?}");
    // A parcel of before brings it back to nobody.
    let (_, found) = compared(&target("b.shedlight.zip"), &own);
    let is_it = |item: &&parcel::Item| item.what == What::Film("clips/a.mp4".to_owned());
    let film: Vec<_> = found.items.iter().filter(is_it).collect();
    assert_eq!(film.len(), 1, "{:?}", found.items);
    assert_eq!((film[0].choice, film[0].options.as_slice()), (Choice::Keep, [Choice::Keep].as_slice()));
    assert!(film[0].differences[0].contains("deleted here on 2025-04-01 by K-07"), "{film:?}");
    drop(found);
    // Which film an unreadable session shows is not known.
    std::fs::write(own.root().join("sessions/s2/session.json"), "{").unwrap();
    let packed = pack(&own, &target("e.shedlight.zip"), true);
    assert!(packed.remarks.iter().any(|words| words.contains("session s2")), "{packed:?}");
}

#[test]
fn a_parcel_that_names_places_outside_or_lies_about_itself_is_refused() {
    let place = folder();
    let path = place.path().join("forged.shedlight.zip");
    let study: &[u8] = br#"{"format": "shedlight/study", "version": 1, "title": "x"}"#;
    let good: &[(&str, &[u8])] = &[("study.json", study)];
    forged(&path, &list_of(good), good);
    assert!(parcel::open(&path).is_ok(), "made by hand it is a parcel");
    for bad in ["../evil", "/tmp/evil", "a/../../evil", "C:/evil", "..\\evil", ".bashrc", "sessions/.lock"] {
        let inside: &[(&str, &[u8])] = &[("study.json", study), (bad, b"evil")];
        forged(&path, &list_of(inside), inside);
        let error = parcel::open(&path).unwrap_err();
        assert!(matches!(&error, Error::Outside { inside, .. } if inside == bad), "{bad}: {error}");
    }
    // Files the list does not name; names twice; a newer list; another kind of file; no study.
    forged(&path, &list_of(good), &[("study.json", study), ("more", b"x")]);
    assert!(parcel::open(&path).unwrap_err().to_string().contains("does not name"));
    let twice: &[(&str, &[u8])] = &[("study.json", study), ("Study.JSON", study)];
    forged(&path, &list_of(twice), twice);
    assert!(parcel::open(&path).unwrap_err().to_string().contains("twice"));
    let mut newer = list_of(good);
    newer["version"] = 2.into();
    forged(&path, &newer, good);
    assert!(matches!(parcel::open(&path).unwrap_err(), Error::Newer { found: 2, .. }));
    let other: &[(&str, &[u8])] = &[("a.txt", b"x")];
    forged(&path, &list_of(other), other);
    assert!(parcel::open(&path).unwrap_err().to_string().contains("no study.json"));
    // More comes out than it says: no more than that is written.
    let bomb = vec![0_u8; 5 << 20];
    let inside: &[(&str, &[u8])] = &[("study.json", study), ("stills/a.png", &bomb)];
    let mut small = list_of(inside);
    small["files"][1]["size"] = 10.into();
    forged(&path, &small, inside);
    let mut opened = parcel::open(&path).unwrap();
    let error = parcel::take_as_new(&mut opened, &place.path().join("new"), &mut go_on).unwrap_err();
    assert!(matches!(error, Error::Damaged { .. }), "{error}");
    assert!(!place.path().join("new").exists());
    std::fs::write(&path, "no zip").unwrap();
    assert!(matches!(parcel::open(&path).unwrap_err(), Error::NoParcel { .. }));
}

#[test]
fn stopped_at_any_moment_nothing_is_changed_and_nothing_is_left() {
    let place = folder();
    let own = study(place.path());
    let parcel_path = place.path().join("out.shedlight.zip");
    let _ = pack(&own, &parcel_path, true);
    let other = place.path().join("pc/study");
    copy(own.root(), &other);
    std::fs::remove_file(other.join("clips/a.mp4")).unwrap();
    std::fs::remove_dir_all(other.join("sessions/s2")).unwrap();
    let (there, before) = (StudyFolder::open(&other).unwrap(), files(place.path()));
    let stopping = |after: usize| {
        let mut calls = 0;
        move |_: f32| {
            calls += 1;
            if calls > after { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        }
    };
    for after in 0..200 {
        let contents = Contents { film: true, by: None, now: now() };
        let again = place.path().join("again.shedlight.zip");
        let packing = parcel::pack(&own, &contents, &again, &mut stopping(after));
        let mut opened = parcel::open(&parcel_path).unwrap();
        let new = place.path().join("new");
        let taking = parcel::take_as_new(&mut opened, &new, &mut stopping(after));
        let merging = parcel::compare(&mut opened, &there, &mut go_on)
            .and_then(|found| parcel::take(&mut opened, found, &there, now(), &mut stopping(after)));
        let results = [packing.is_err(), taking.is_err(), merging.is_err()];
        if results == [false; 3] {
            assert!(after > 3, "it was never stopped");
            return;
        }
        if results[0] {
            assert!(!again.exists());
        } else {
            std::fs::remove_file(&again).unwrap();
        }
        if !results[1] {
            std::fs::remove_dir_all(&new).unwrap();
        }
        if !results[2] {
            // Taken in whole; taken back for the next round.
            std::fs::remove_dir_all(&other).unwrap();
            for (name, bytes) in before.iter().filter(|(name, _)| name.starts_with("pc/study/")) {
                let target = place.path().join(name);
                std::fs::create_dir_all(target.parent().unwrap()).unwrap();
                std::fs::write(target, bytes).unwrap();
            }
        }
        assert_eq!(files(place.path()), before, "stopped after {after}");
    }
    panic!("it never came to its end");
}

#[test]
fn what_is_new_is_added_and_what_differs_stays_unless_it_is_chosen() {
    let place = folder();
    let mine = study(place.path());
    let theirs_at = place.path().join("pc/study");
    copy(mine.root(), &theirs_at);
    let mut theirs = StudyFolder::open(&theirs_at).unwrap();
    let coding = theirs_at.join("sessions/s1/K-07.1.coding.json");
    // Nothing was done yet: nothing differs.
    let parcel_path = place.path().join("same.shedlight.zip");
    let _ = pack(&theirs, &parcel_path, true);
    let (_, found) = compared(&parcel_path, &mine);
    assert!(found.items.is_empty(), "{:?}", found.items);
    drop(found);
    // There they go on with the coding, add a person and a session, correct the animal and a session.
    code(&coding, 4);
    theirs.study.people.push(Person { code: "K-12".into(), ..Person::default() });
    theirs.study.animals[0].species = Some("Testudo hermanni".to_owned());
    theirs.save_study().unwrap();
    theirs.save_session(&Session::new("s3".into(), "bramble".into())).unwrap();
    let mut session = theirs.session(&"s2".into()).unwrap();
    session.facts.air_c = Some(25.5);
    theirs.save_session(&session).unwrap();
    let parcel_path = place.path().join("more.shedlight.zip");
    let _ = pack(&theirs, &parcel_path, true);
    let before = files(mine.root());
    let (mut opened, mut found) = compared(&parcel_path, &mine);
    let state: Vec<(String, Advice)> =
        found.items.iter().map(|item| (item.what.key(), item.advice)).collect();
    assert_eq!(
        state,
        [
            ("animal:bramble".to_owned(), Advice::Undecided),
            ("session:s2".to_owned(), Advice::Undecided),
            ("coding:s1/K-07.1".to_owned(), Advice::TheirsIsLater),
            ("person:K-12".to_owned(), Advice::New),
            ("session:s3".to_owned(), Advice::New),
        ]
    );
    assert_eq!(found.items[1].differences, ["facts.air_c: here nothing, there 25.5"]);
    // The film is known by what it is, whatever it is called there.
    assert!(found.items.iter().all(|item| !matches!(item.what, What::Film(_))));
    for item in &mut found.items {
        if matches!(item.what, What::Coding(..)) {
            item.choice = Choice::Take;
        }
    }
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert_eq!(taken.failed, Vec::<String>::new());
    assert_eq!(taken.kept, ["animal:bramble", "session:s2"]);
    let own = mine.root().join("sessions/s1/K-07.1.coding.json");
    assert_eq!(coding_file::read(&own).unwrap(), coding_file::read(&coding).unwrap());
    assert_eq!(coding_file::open(&own).unwrap().records.len(), 7, "undo came along");
    let after = files(mine.root());
    assert_eq!(after["sessions/s2/session.json"], before["sessions/s2/session.json"]);
    assert!(after.contains_key("sessions/s3/session.json"));
    let now_study = StudyFolder::open(mine.root()).unwrap().study;
    assert!(now_study.person(&"K-12".into()).is_some() && now_study.animals[0].species.is_none());
    // What was replaced is kept as it was, with its journal.
    let kept = taken.replaced.unwrap();
    for name in ["study.json", "sessions/s1/K-07.1.coding.json", "sessions/s1/K-07.1.journal"] {
        assert_eq!(std::fs::read(kept.join(name)).unwrap(), before[name], "{name}");
    }
    assert!(after.keys().all(|name| !name.starts_with(".taking-in")));
}

#[test]
fn codings_changed_on_both_sides_are_told_apart_and_never_mixed() {
    let place = folder();
    let mine = study(place.path());
    let theirs_at = place.path().join("pc/study");
    copy(mine.root(), &theirs_at);
    let theirs = StudyFolder::open(&theirs_at).unwrap();
    let name = "sessions/s1/K-07.1.coding.json";
    code(&theirs_at.join(name), 2);
    let parcel_path = place.path().join("both.shedlight.zip");
    let _ = pack(&theirs, &parcel_path, false);
    // Meanwhile it is gone on with here too, otherwise: undecided. Longer here from the same: yours.
    let own = mine.root().join(name);
    let advice = |mine: &StudyFolder| {
        let (_, found) = compared(&parcel_path, mine);
        found.items.iter().find(|item| matches!(item.what, What::Coding(..))).map(|item| item.advice)
    };
    assert_eq!(advice(&mine), Some(Advice::TheirsIsLater));
    let mut opened = coding_file::open(&own).unwrap();
    let edit = Edit::new("away", vec![Change::Remove(MarkId(1))]);
    let inverse = opened.coding.apply(&edit).unwrap();
    let _ = opened.journal.append(now(), StepKind::Do, &edit, &inverse).unwrap();
    drop(opened);
    assert_eq!(advice(&mine), Some(Advice::Undecided));
    let ours = coding_file::read(&own).unwrap();
    let theirs_now = coding_file::read(&theirs_at.join(name)).unwrap();
    let before = files(mine.root());
    // Both: theirs lies beside, ours is untouched to the byte.
    let (mut opened, mut found) = compared(&parcel_path, &mine);
    found.items[0].choose_next();
    found.items[0].choose_next();
    assert_eq!(found.items[0].choice, Choice::Both);
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert!(taken.failed.is_empty() && taken.replaced.is_none(), "{taken:?}");
    let beside = mine.root().join("sessions/s1/K-07.1.conflict-1.coding.json");
    assert_eq!(coding_file::read(&beside).unwrap(), theirs_now);
    let mut after = files(mine.root());
    after.retain(|name, _| !name.contains("conflict"));
    assert_eq!(after, before);
    // Theirs while a window has ours open: told, and the rest goes on.
    let lock = Lock::try_new(&own.with_file_name(".K-07.1.lock")).unwrap();
    let (mut opened, mut found) = compared(&parcel_path, &mine);
    found.items[0].choice = Choice::Take;
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert!(taken.failed[0].contains("open in another window"), "{taken:?}");
    assert_eq!(coding_file::read(&own).unwrap(), ours);
    drop(lock);
    // And once it is closed: theirs, with its own journal alone.
    let (mut opened, mut found) = compared(&parcel_path, &mine);
    found.items[0].choice = Choice::Take;
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert!(taken.failed.is_empty(), "{taken:?}");
    assert_eq!(coding_file::read(&own).unwrap(), theirs_now);
    let kept = taken.replaced.unwrap().join(name);
    assert_eq!(coding_file::read(&kept).unwrap(), ours, "ours is kept, with what only its journal held");
    let mut journal = Journal::open(&coding_file::journal_path(&own), theirs_now.last_seq).unwrap().0;
    let edit = Edit::new("x", vec![]);
    let next = journal.append(now(), StepKind::Do, &edit, &edit).unwrap();
    assert_eq!(next.seq, theirs_now.last_seq + 1);
}

#[test]
fn a_journal_whose_coding_file_was_lost_is_not_lost_too() {
    let place = folder();
    let mine = study(place.path());
    let parcel_path = place.path().join("a.shedlight.zip");
    let _ = pack(&mine, &parcel_path, false);
    let own = mine.root().join("sessions/s1/K-07.1.coding.json");
    code(&own, 2);
    let journal = coding_file::journal_path(&own);
    let edits = std::fs::read(&journal).unwrap();
    std::fs::remove_file(&own).unwrap();
    // It stays unless somebody says otherwise, and is kept even then.
    let (mut opened, mut found) = compared(&parcel_path, &mine);
    assert!(found.items.len() == 1 && found.items[0].is_conflict(), "{:?}", found.items);
    assert_eq!(found.items[0].choice, Choice::Keep);
    assert!(found.items[0].differences[0].contains("its journal is still here"), "{:?}", found.items);
    found.items[0].choice = Choice::Take;
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert!(taken.failed.is_empty(), "{taken:?}");
    let kept = taken.replaced.unwrap().join("sessions/s1/K-07.1.journal");
    assert_eq!(std::fs::read(kept).unwrap(), edits);
    assert_eq!(coding_file::read(&own).unwrap().marks.len(), 3);
}

#[test]
fn a_coding_held_on_another_computer_and_a_newer_study_are_left_alone() {
    let place = folder();
    let mine = study(place.path());
    let theirs_at = place.path().join("pc/study");
    copy(mine.root(), &theirs_at);
    code(&theirs_at.join("sessions/s1/K-07.1.coding.json"), 2);
    let theirs = StudyFolder::open(&theirs_at).unwrap();
    let parcel_path = place.path().join("a.shedlight.zip");
    let _ = pack(&theirs, &parcel_path, false);
    let take = |choice| {
        let (mut opened, mut found) = compared(&parcel_path, &mine);
        found.items[0].choice = choice;
        parcel::take(&mut opened, found, &mine, now(), &mut go_on)
    };
    // A share does not pass on the lock of the other office; its word counts for a while.
    let mut holder = shedlight::files::Holder::here("K-12");
    holder.computer = "the other office".to_owned();
    let lock = mine.root().join("sessions/s1/.K-07.1.lock");
    std::fs::write(&lock, serde_json::to_vec(&holder).unwrap()).unwrap();
    let before = files(mine.root());
    let taken = take(Choice::Take).unwrap();
    assert!(taken.failed[0].contains("the other office"), "{taken:?}");
    assert_eq!(files(mine.root()), before);
    std::fs::remove_file(&lock).unwrap();
    // Nothing is put into the study of a newer version.
    let sheet = mine.root().join("study.json");
    let newer = std::fs::read_to_string(&sheet).unwrap().replacen("\"version\": 1", "\"version\": 99", 1);
    std::fs::write(&sheet, newer).unwrap();
    let before = files(mine.root());
    let error = take(Choice::Take).unwrap_err().to_string();
    assert!(error.contains("newer"), "{error}");
    assert_eq!(files(mine.root()), before);
}

#[test]
fn an_ethogram_in_use_is_not_replaced_and_codings_under_another_one_are_not_taken_unasked() {
    let place = folder();
    let mine = study(place.path());
    let theirs_at = place.path().join("pc/study");
    copy(mine.root(), &theirs_at);
    let theirs = StudyFolder::open(&theirs_at).unwrap();
    let (mut all, _) = theirs.ethograms();
    let mut ethogram = all.remove(0);
    ethogram.behaviours[0].definition.onset = "otherwise".to_owned();
    theirs.save_ethogram(&ethogram).unwrap();
    let coding = Coding::new("s2".into(), "K-07".into(), EthogramRef::to(&ethogram).unwrap());
    let _ = coding_file::create(&theirs.session_folder(&"s2".into()), &coding).unwrap();
    let parcel_path = place.path().join("other.shedlight.zip");
    let _ = pack(&theirs, &parcel_path, false);
    let before = files(mine.root());
    let (mut opened, found) = compared(&parcel_path, &mine);
    let words: Vec<String> = found.items.iter().map(|item| item.differences.join("; ")).collect();
    assert_eq!(found.items.len(), 2, "{words:?}");
    assert!(matches!(&found.items[0].what, What::Ethogram(_)) && found.items[0].options == [Choice::Keep]);
    assert!(words[0].contains("can't be replaced"), "{words:?}");
    assert!(words[1].contains("made under another ethogram"), "{words:?}");
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert_eq!((taken.taken.len(), taken.kept.len()), (0, 2));
    assert_eq!(files(mine.root()), before);
}

#[test]
fn a_conflicting_coding_comes_with_its_new_session_and_what_changed_meanwhile_stays() {
    let place = folder();
    let mine = study(place.path());
    let theirs_at = place.path().join("pc/study");
    copy(mine.root(), &theirs_at);
    let theirs = StudyFolder::open(&theirs_at).unwrap();
    theirs.save_session(&Session::new("s3".into(), "bramble".into())).unwrap();
    let (mut all, _) = theirs.ethograms();
    let mut ethogram = all.remove(0);
    ethogram.behaviours[0].definition.onset = "otherwise".to_owned();
    theirs.save_ethogram(&ethogram).unwrap();
    let coding = Coding::new("s3".into(), "K-07".into(), EthogramRef::to(&ethogram).unwrap());
    let _ = coding_file::create(&theirs.session_folder(&"s3".into()), &coding).unwrap();
    code(&theirs_at.join("sessions/s1/K-07.1.coding.json"), 2);
    let mut session = theirs.session(&"s2".into()).unwrap();
    session.step = Some(4);
    theirs.save_session(&session).unwrap();
    let parcel_path = place.path().join("a.shedlight.zip");
    let _ = pack(&theirs, &parcel_path, false);
    let (mut opened, mut found) = compared(&parcel_path, &mine);
    for item in &mut found.items {
        if item.options.contains(&Choice::Take) {
            item.choice = Choice::Take;
        }
    }
    // Between the look and the word somebody goes on here.
    let own = mine.root().join("sessions/s1/K-07.1.coding.json");
    code(&own, 1);
    let mut session = mine.session(&"s2".into()).unwrap();
    session.step = Some(7);
    mine.save_session(&session).unwrap();
    let before = files(mine.root());
    let taken = parcel::take(&mut opened, found, &mine, now(), &mut go_on).unwrap();
    assert!(taken.taken.contains(&"coding:s3/K-07.1".to_owned()), "{taken:?}");
    assert_eq!(taken.failed.len(), 2, "{taken:?}");
    assert!(taken.failed.iter().all(|words| words.contains("changed since it was compared")), "{taken:?}");
    let after = files(mine.root());
    for (name, bytes) in before.iter().filter(|(name, _)| !name.starts_with(".taking-in")) {
        assert_eq!(after.get(name), Some(bytes), "{name}");
    }
}

#[test]
fn packed_and_taken_in_by_command() {
    let place = folder();
    let mine = study(place.path());
    let at = |name: &str| place.path().join(name).to_str().unwrap().to_owned();
    let parcel_path = at("a.shedlight.zip");
    let ran = shedlight(&["pack", &at("study"), "--out", &parcel_path, "--with-film", "--by", "K-07"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("2 of them film"), "{ran:?}");
    let ran = shedlight(&["take-in", &parcel_path, "--into", &at("new")]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("'Handed over' is now in"), "{ran:?}");
    code(&place.path().join("new/sessions/s1/K-07.1.coding.json"), 1);
    let mut session = mine.session(&"s2".into()).unwrap();
    session.step = Some(4);
    mine.save_session(&session).unwrap();
    let back = at("back.shedlight.zip");
    assert_eq!(shedlight(&["pack", &at("new"), "--out", &back]).code, 0);
    let before = files(mine.root());
    let ran = shedlight(&["take-in", &back, "--into", &at("study"), "--list"]);
    assert_eq!(ran.code, 1, "{ran:?}");
    assert!(ran.out.contains("differs: session:s2: keep yours\n    step: here 4, there nothing"), "{ran:?}");
    assert!(ran.out.contains("theirs goes on from yours"), "{ran:?}");
    assert_eq!(files(mine.root()), before, "a list changes nothing");
    let ran = shedlight(&["take-in", &back, "--into", &at("study"), "--take", "session:nothing"]);
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(ran.err.contains("nothing here is called 'session:nothing'"), "{ran:?}");
    // Undecided: that is a finding, and nothing that differs was changed.
    let ran = shedlight(&["take-in", &back, "--into", &at("study"), "--json"]);
    assert_eq!(ran.code, 1, "{ran:?}");
    assert!(ran.out.contains("\"undecided\": ["), "{ran:?}");
    assert_eq!(files(mine.root()), before);
    let ran =
        shedlight(&["take-in", &back, "--into", &at("study"), "--take", "later", "--keep", "session:s2"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let own = coding_file::read(&mine.root().join("sessions/s1/K-07.1.coding.json")).unwrap();
    assert_eq!(own.marks.len(), 4);
    let ran = shedlight(&["check", &at("study"), "--json"]);
    assert!(ran.out.contains("\"errors\": 0"), "{ran:?}");
}
