//! Bad input through the built program: one clear message with its place, the right exit code,
//! no panic, and every file left as it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use shedlight::model::{
    Animal, Change, Clip, ClipId, Coding, Edit, EthogramRef, Mark, MarkId, Pass, Person, Session, Study,
    Taxon, starter,
};
use shedlight::storage::journal::{Journal, StepKind};
use shedlight::storage::{Error, StudyFolder, coding_file, fingerprint, json};
use shedlight::time::Micros;

use crate::common::{Ran, folder, shedlight};

/// A sound study with one session, one clip and one coding of three marks.
struct Sound {
    _folder: tempfile::TempDir,
    root: PathBuf,
    coding: PathBuf,
}

impl Sound {
    fn new() -> Self {
        let folder = folder();
        let root = folder.path().join("study");
        let mut study = Study::new("A study");
        study.animals.push(Animal { id: "bramble".into(), name: "Bramble".to_owned(), ..Animal::default() });
        study.people.push(Person { code: "K-01".into(), ..Person::default() });
        let study = StudyFolder::create(&root, study).unwrap();
        let ethogram = starter::ethogram(Taxon::Chelonian);
        study.save_ethogram(&ethogram).unwrap();
        // `check` looks at the file alone, so its content need not be film.
        let film = root.join("clips").join("a.mp4");
        fs::write(&film, vec![3_u8; 5_000]).unwrap();
        let mut session = Session::new("s1".into(), "bramble".into());
        session.clips.push(Clip {
            fingerprint: Some(fingerprint::of_file(&film).unwrap()),
            length: Some(Micros::from_millis(60_000)),
            ..Clip::new(ClipId(0), "clips/a.mp4")
        });
        study.save_session(&session).unwrap();
        let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
        coding.passes = ethogram.passes.iter().map(Pass::from).collect();
        let ms = Micros::from_millis;
        coding.marks = vec![
            Mark::bout(MarkId(1), "move".into(), ms(1_000), Some(ms(2_000))),
            Mark::bout(MarkId(2), "explore".into(), ms(2_000), Some(ms(4_000))),
            Mark::event(MarkId(3), "approach".into(), ms(5_000)),
        ];
        let coding = coding_file::create(&study.session_folder(&"s1".into()), &coding).unwrap();
        Self { _folder: folder, root, coding }
    }

    /// Changes one text that stands once in a file.
    fn change(&self, file: &str, old: &str, new: &str) {
        let path = self.root.join(file);
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(text.matches(old).count(), 1, "{old} in {text}");
        fs::write(&path, text.replace(old, new)).unwrap();
    }

    fn change_coding(&self, old: &str, new: &str) {
        let file = self.coding.strip_prefix(&self.root).unwrap().to_str().unwrap().to_owned();
        self.change(&file, old, new);
    }

    /// Runs `check`, and holds every file against what it was before.
    fn check(&self) -> Ran {
        let before = contents(&self.root);
        let ran = shedlight(&["check".as_ref(), self.root.as_os_str()]);
        assert_eq!(contents(&self.root), before, "check changes nothing");
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
        ran
    }

    /// Expects one error that says all of `words`.
    #[track_caller]
    fn expect_error(&self, words: &[&str]) {
        let ran = self.check();
        assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
        let errors: Vec<&str> = ran.out.lines().filter(|line| line.starts_with("error:")).collect();
        assert_eq!(errors.len(), 1, "{}", ran.out);
        for word in words {
            assert!(errors[0].contains(word), "'{word}' in: {}", errors[0]);
        }
    }

    /// `file:line:column` of a text in the coding, as a message names it.
    fn place_of(&self, text: &str) -> String {
        let path = &self.coding;
        let content = fs::read_to_string(path).unwrap();
        let at = content.find(text).unwrap();
        let line = content[..at].matches('\n').count() + 1;
        let column = at - content[..at].rfind('\n').map_or(0, |end| end + 1) + 1;
        format!("{}:{line}:{column}", path.file_name().unwrap().to_str().unwrap())
    }
}

fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(contents(&path));
        } else {
            let _ = all.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    all
}

#[test]
fn a_sound_study_has_nothing_to_complain_of() {
    let ran = Sound::new().check();
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(ran.out.contains("nothing to complain of"), "{}", ran.out);
}

#[test]
fn a_broken_coding_is_told_with_its_place_and_the_rest_opens() {
    let sound = Sound::new();
    sound.change_coding("\"explore\", ", "\"explore\" ");
    sound.expect_error(&["K-01.1.coding.json:", "left as it is"]);
    let study = StudyFolder::open(&sound.root).unwrap();
    assert_eq!(study.list().sessions.len(), 1, "the session itself is there");
}

#[test]
fn a_broken_study_can_not_be_opened_and_says_where() {
    let sound = Sound::new();
    sound.change("study.json", "\"title\": \"A study\"", "\"title\": 5");
    let ran = sound.check();
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("study.json:4:"), "{}", ran.err);
}

#[test]
fn a_file_of_a_newer_version_is_read_told_and_never_written() {
    let coding_file = "sessions/s1/K-01.1.coding.json";
    let ethogram_file = format!("ethograms/{}.1.json", starter::ethogram(Taxon::Chelonian).id);
    for file in ["study.json", "sessions/s1/session.json", coding_file, &ethogram_file] {
        let sound = Sound::new();
        sound.change(file, "\"version\": 1", "\"version\": 2");
        sound.expect_error(&["newer Shedlight", "update Shedlight", file.rsplit('/').next().unwrap()]);
        let before = contents(&sound.root);
        // It is looked at, and that is said.
        let ran = shedlight(&["summary".as_ref(), sound.root.as_os_str()]);
        assert_eq!(ran.code, 1, "{file}: {}", ran.err);
        assert!(ran.err.contains("newer Shedlight") && ran.out.contains("s1"), "{file}: {}", ran.err);
        // Nothing is written, on no way.
        let error = coding_file::open(&sound.coding).unwrap_err();
        assert!(matches!(error, Error::Newer { .. }) && coding_file::only_to_look(&error), "{file}: {error}");
        let coding = coding_file::read(&sound.coding).unwrap();
        assert_eq!(coding.marks.len(), 3, "{file}");
        let mut study = StudyFolder::open(&sound.root).unwrap();
        assert!(coding_file::create(&study.session_folder(&"s1".into()), &coding).is_err(), "{file}");
        let session = study.session(&"s1".into()).unwrap();
        if file != coding_file && file != ethogram_file {
            assert!(study.save_session(&session).is_err(), "{file}");
        }
        if file == "study.json" {
            assert!(study.save_study().is_err());
        }
        let mut after = contents(&sound.root);
        // Made and given back before the ethogram was known: it says nothing.
        after.retain(|path, text| !(text.is_empty() && path.extension().is_some_and(|end| end == "lock")));
        assert_eq!(after, before, "{file}");
    }
}

#[test]
fn a_newer_file_that_is_not_understood_is_told_with_the_reason() {
    let sound = Sound::new();
    sound.change_coding("\"version\": 1", "\"version\": 2");
    sound.change_coding("\"rule\": \"continuous\"", "\"rule\": \"a rule of tomorrow\"");
    sound.expect_error(&["newer Shedlight", "update Shedlight"]);
}

#[test]
fn a_held_coding_is_looked_at_and_changes_nothing() {
    use shedlight::workbench::coder::{Coder, Pace, Refusal};
    let sound = Sound::new();
    let held = coding_file::open(&sound.coding).unwrap();
    let error = coding_file::open(&sound.coding).unwrap_err();
    assert!(matches!(error, Error::Held { .. }) && coding_file::only_to_look(&error));
    let mut coder = Coder::new(
        coding_file::read(&sound.coding).unwrap(),
        starter::ethogram(Taxon::Chelonian).into(),
        super::kill::reel(),
        Micros::ZERO,
        shedlight::workbench::history::History::from_records(&held.records),
    );
    coder.only_look(error.to_string());
    let before = coder.coding().clone();
    let shot = super::kill::reel_shot(200);
    for key in coder.ethogram().behaviours.iter().filter_map(|own| own.key).collect::<Vec<_>>() {
        coder.set_pass(None);
        let refused = coder.press(key, shot, Pace::Stepped).unwrap_err();
        assert!(matches!(refused, Refusal::OnlyToLook(_)), "{key}: {refused}");
    }
    for refused in [
        coder.remove(MarkId(1)),
        coder.reopen(),
        coder.close(Micros(9_000_000), chrono::DateTime::default()),
        coder.set_pass_done(0, true),
    ] {
        assert!(refused.is_err());
    }
    coder.add_minutes(0, 1.0);
    assert_eq!(*coder.coding(), before);
}

#[test]
fn a_file_of_another_kind_is_told() {
    let sound = Sound::new();
    sound.change_coding("shedlight/coding", "shedlight/session");
    sound.expect_error(&["'shedlight/session' file, not a 'shedlight/coding' file"]);
}

#[test]
fn an_unknown_behaviour_is_told_with_line_and_column() {
    let sound = Sound::new();
    sound.change_coding("\"behaviour\": \"explore\"", "\"behaviour\": \"sing\"");
    sound.expect_error(&["'sing'", &sound.place_of("\"sing\"")]);
}

#[test]
fn rule_2_a_bout_that_ends_before_it_starts_is_told_with_line_and_column() {
    let sound = Sound::new();
    sound.change_coding("\"to\": 4000000", "\"to\": 1500000");
    sound.expect_error(&["mark 2 ends at 1.5", &sound.place_of("1500000")]);
}

#[test]
fn marks_out_of_order_are_told_with_line_and_column() {
    let sound = Sound::new();
    sound.change_coding("\"from\": 5000000", "\"from\": 500000");
    sound.expect_error(&["mark 3", "sort the marks", &sound.place_of("500000")]);
}

#[test]
fn rule_7_an_overlap_in_a_set_is_told_with_its_line() {
    let sound = Sound::new();
    sound.change_coding("\"to\": 2000000", "\"to\": 3000000");
    sound.expect_error(&["mark 2", "while mark 1 still holds", &sound.place_of("{\"id\": 2")]);
}

#[test]
fn rule_32_a_missing_clip_and_a_changed_one_are_told_apart() {
    let sound = Sound::new();
    let clip = sound.root.join("clips").join("a.mp4");
    fs::write(&clip, vec![4_u8; 5_000]).unwrap();
    sound.expect_error(&["changed or replaced", "a.mp4"]);
    fs::remove_file(&clip).unwrap();
    sound.expect_error(&["missing", "a.mp4"]);
    // Under another name it is found again.
    fs::write(sound.root.join("clips").join("b.mp4"), vec![3_u8; 5_000]).unwrap();
    let ran = sound.check();
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("remark: clip 'clips/a.mp4' was moved"), "{}", ran.out);
}

#[test]
fn rule_32_a_changed_clip_is_taken_when_a_person_says_so_with_name_and_reason() {
    let sound = Sound::new();
    let session = sound.root.join("sessions/s1");
    let clip = sound.root.join("clips/a.mp4");
    let accept = |more: &[&str]| {
        let mut arguments = vec!["accept", session.to_str().unwrap()];
        arguments.extend(more);
        shedlight(&arguments)
    };
    let why = ["--clip", "clips/a.mp4", "--by", "K-01", "--because", "the same film, re-encoded"];
    assert!(accept(&[]).out.contains("no clip was changed"));
    let ran = accept(&why);
    assert!(ran.code == 2 && ran.err.contains("unchanged"), "{}", ran.err);
    let before = fs::read(session.join("session.json")).unwrap();
    fs::write(&clip, vec![4_u8; 6_000]).unwrap();
    let listed = accept(&[]);
    assert!(
        listed.code == 1 && listed.out.contains("changed since it was added: clips/a.mp4"),
        "{}",
        listed.out
    );
    // Not without who and why, and not by nobody.
    for few in [&why[..2], &why[..4], &["--clip", "clips/a.mp4", "--by", "X", "--because", "y"]] {
        assert_eq!(accept(few).code, 2, "{few:?}");
    }
    assert_eq!(fs::read(session.join("session.json")).unwrap(), before);
    let held = coding_file::open(&sound.coding).unwrap();
    assert!(accept(&why).err.contains("another window"), "not while somebody codes it");
    drop(held);
    let film = fs::read(&clip).unwrap();
    // What a killed window left in the journal is left for the person who opens it next.
    let mut opened = coding_file::open(&sound.coding).unwrap();
    let edit = shedlight::model::Edit::new("nothing", vec![]);
    let kind = shedlight::storage::journal::StepKind::Do;
    let _ = opened.journal.append(chrono::DateTime::default(), kind, &edit, &edit).unwrap();
    drop(opened);
    let journal = coding_file::journal_path(&sound.coding);
    let mut torn = fs::read(&journal).unwrap();
    torn.extend_from_slice(b"{\"seq\":");
    fs::write(&journal, &torn).unwrap();
    let ran = accept(&why);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert_eq!(fs::read(&journal).unwrap(), torn);
    fs::remove_file(&journal).unwrap();
    assert_eq!(fs::read(&clip).unwrap(), film, "film is never written");
    let study = StudyFolder::open(&sound.root).unwrap();
    let own = study.session(&"s1".into()).unwrap().clips.remove(0);
    assert_eq!(sound.check().code, 0, "{:?}", sound.check());
    let accepted = &own.accepted[0];
    assert_eq!((accepted.by.as_str(), accepted.reason.as_str()), ("K-01", "the same film, re-encoded"));
    assert_eq!(accepted.before.as_ref().map(|before| before.size), Some(5_000));
    assert_eq!(own.fingerprint.map(|now| now.size), Some(6_000));
    assert_eq!(own.length, None, "that of another file");
}

#[test]
fn a_coding_in_the_folder_of_another_session_is_refused_everywhere() {
    let sound = Sound::new();
    let study = StudyFolder::open(&sound.root).unwrap();
    study.save_session(&Session::new("s2".into(), "bramble".into())).unwrap();
    let wrong = study.session_folder(&"s2".into()).join("K-01.1.coding.json");
    let _ = fs::copy(&sound.coding, &wrong).unwrap();
    let words = "it names the session 's1' and lies in the folder of 's2'";
    let error = study.load_coding(&wrong).unwrap_err().to_string();
    assert!(error.contains(words), "{error}");
    let ran = shedlight(&["summary", wrong.to_str().unwrap()]);
    assert!(ran.err.contains(words), "{ran:?}");
    assert!(study.load_coding(&sound.coding).is_ok());
}

#[test]
fn sessions_of_one_id_in_two_studies_both_count() {
    let (one, other) = (Sound::new(), Sound::new());
    let told = |paths: &[&Path]| -> serde_json::Value {
        let mut arguments = vec!["summary", "--all", "--json"];
        arguments.extend(paths.iter().map(|path| path.to_str().unwrap()));
        serde_json::from_str(&shedlight(&arguments).out).unwrap()
    };
    let studies = |told: &serde_json::Value, list: &str| -> Vec<String> {
        let name = |own: &serde_json::Value| own["study"].as_str().unwrap_or("not named").to_owned();
        told[list].as_array().unwrap().iter().map(name).collect()
    };
    for path in [&one.coding, &other.coding] {
        let mut coding = coding_file::read(path).unwrap();
        coding.passes.iter_mut().for_each(|pass| pass.done = true);
        coding.status = shedlight::model::Status::Closed;
        json::write(path, &coding).unwrap();
    }
    let alone = told(&[&one.root, &one.root]);
    assert_eq!(studies(&alone, "animals"), ["not named"], "named twice it is one study, and counts once");
    assert_eq!(alone["animals"][0]["sessions"], serde_json::json!(["s1"]));
    // One id need not be one animal: each study has its own, and says which it is.
    let mut both = StudyFolder::open(&other.root).unwrap();
    "Another house".clone_into(&mut both.study.title);
    let first = both.study.title.clone();
    both.save_study().unwrap();
    let title = StudyFolder::open(&one.root).unwrap().study.title;
    let apart = told(&[&one.root, &other.root]);
    for list in ["animals", "codings", "over_sessions"] {
        let mut names = studies(&apart, list);
        names.sort();
        let mut wanted = [first.as_str(), &title];
        wanted.sort_unstable();
        assert_eq!(names, wanted, "{list}");
    }
    for animal in apart["animals"].as_array().unwrap() {
        assert_eq!(animal["sessions"], serde_json::json!(["s1"]));
        assert_eq!(animal["observed_s"], alone["animals"][0]["observed_s"]);
    }
    let words = shedlight(&["summary", one.root.to_str().unwrap(), other.root.to_str().unwrap()]).out;
    assert!(words.contains("bramble of Another house, all 1 session together"), "{words}");
    // Two studies of one title are told apart by where they lie.
    title.clone_into(&mut both.study.title);
    both.save_study().unwrap();
    let names = studies(&told(&[&one.root, &other.root]), "animals");
    assert!(
        names.iter().all(|name| name.starts_with(&format!("{title} ("))) && names[0] != names[1],
        "{names:?}"
    );
}

#[test]
fn rule_33_what_only_the_journal_holds_is_told_and_counts() {
    let sound = Sound::new();
    let journal_path = coding_file::journal_path(&sound.coding);
    let (mut journal, _) = Journal::open(&journal_path, 0).unwrap();
    let mark = Mark::event(MarkId(4), "approach".into(), Micros::from_millis(6_000));
    let edit = Edit::new("approach at 0:06.000", vec![Change::Put(Box::new(mark))]);
    let back = Edit::new("approach at 0:06.000", vec![Change::Remove(MarkId(4))]);
    let _ = journal.append(chrono::DateTime::default(), StepKind::Do, &edit, &back).unwrap();
    let ran = sound.check();
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("1 edits are in the journal"), "{}", ran.out);
    assert_eq!(coding_file::read(&sound.coding).unwrap().marks.len(), 4);
}

#[test]
fn a_folder_that_is_no_study_is_told() {
    let empty = folder();
    for path in [empty.path().to_owned(), empty.path().join("nowhere")] {
        let ran = shedlight(&["check".as_ref(), path.as_os_str()]);
        assert_eq!(ran.code, 2);
        assert!(ran.err.contains("there is no study.json in this folder"), "{}", ran.err);
    }
}

#[test]
fn unknown_keys_survive_and_an_unchanged_file_is_written_as_it_was() {
    let sound = Sound::new();
    sound.change_coding("\"marks\": [", "\"weather\": {\"cloud\": [1, 2.5, null]},\n  \"marks\": [");
    let text = fs::read_to_string(&sound.coding).unwrap();
    let with_own = text.replacen("\"placed\": \"stepped\"}", "\"placed\": \"stepped\", \"own\": \"é\"}", 1);
    assert_ne!(with_own, text);
    // In our own form once; from then on nothing may move.
    fs::write(&sound.coding, with_own).unwrap();
    let coding: Coding = json::read(&sound.coding, "shedlight/coding").unwrap();
    json::write(&sound.coding, &coding).unwrap();
    let first = fs::read(&sound.coding).unwrap();
    let text = String::from_utf8(first.clone()).unwrap();
    assert!(text.contains("\"weather\"") && text.contains("\"own\": \"é\""), "{text}");
    let again: Coding = json::read(&sound.coding, "shedlight/coding").unwrap();
    assert_eq!(again, coding);
    json::write(&sound.coding, &again).unwrap();
    assert_eq!(fs::read(&sound.coding).unwrap(), first);
}

/// The whole way a window goes: opened, journal cut anywhere, coded on, killed, opened again.
#[test]
fn rule_33_a_journal_cut_at_any_byte_opens_with_what_was_whole() {
    let sound = Sound::new();
    let journal_path = coding_file::journal_path(&sound.coding);
    let mark = |id: u64| {
        let event = Mark::event(
            MarkId(id),
            "approach".into(),
            Micros::from_millis(6_000 + 40 * i64::try_from(id).unwrap()),
        );
        (Edit::new("x", vec![Change::Put(Box::new(event))]), Edit::new("x", vec![Change::Remove(MarkId(id))]))
    };
    let (mut journal, _) = Journal::open(&journal_path, 0).unwrap();
    for id in 4..8 {
        let (edit, back) = mark(id);
        let _ = journal.append(chrono::DateTime::default(), StepKind::Do, &edit, &back).unwrap();
    }
    drop(journal);
    let bytes = fs::read(&journal_path).unwrap();
    for length in 0..=bytes.len() {
        fs::write(&journal_path, &bytes[..length]).unwrap();
        let whole = bytes[..length].split(|byte| *byte == b'\n').count() - 1;
        let mut opened = coding_file::open(&sound.coding).unwrap();
        assert_eq!(opened.coding.marks.len(), 3 + whole, "cut at byte {length}");
        let (edit, back) = mark(100);
        let _ = opened.journal.append(chrono::DateTime::default(), StepKind::Do, &edit, &back).unwrap();
        drop(opened);
        let again = coding_file::open(&sound.coding).unwrap();
        assert_eq!(again.coding.marks.len(), 4 + whole, "cut at byte {length}");
    }
}

#[test]
fn two_windows_that_add_people_lose_none() {
    let folder = folder();
    let root = folder.path().join("study");
    let _ = StudyFolder::create(&root, Study::new("Two")).unwrap();
    let (mut one, mut other) = (StudyFolder::open(&root).unwrap(), StudyFolder::open(&root).unwrap());
    for (window, code) in [(&mut one, "K-01"), (&mut other, "K-02")] {
        window.study.people.push(Person { code: code.into(), ..Person::default() });
        window.save_study().unwrap();
    }
    one.study.title = "Renamed".to_owned();
    one.save_study().unwrap();
    let now = StudyFolder::open(&root).unwrap().study;
    let codes: Vec<&str> = now.people.iter().map(|own| own.code.as_str()).collect();
    assert_eq!((codes, now.title.as_str()), (vec!["K-01", "K-02"], "Renamed"));
}

#[test]
fn two_windows_that_change_one_animal_lose_nothing_of_each_other() {
    let folder = folder();
    let root = folder.path().join("study");
    let mut study = Study::new("Two");
    let bramble =
        shedlight::model::Animal { id: "bramble".into(), name: "Bramble".to_owned(), ..Default::default() };
    study.animals.push(bramble);
    let _ = StudyFolder::create(&root, study).unwrap();
    let (mut one, mut other) = (StudyFolder::open(&root).unwrap(), StudyFolder::open(&root).unwrap());
    // Different fields of one animal stand together, and nobody hears of it.
    one.study.animals[0].species = Some("Testudo hermanni".to_owned());
    other.study.animals[0].notes = Some("eats slowly".to_owned());
    one.save_study().unwrap();
    other.save_study().unwrap();
    assert_eq!(other.take_notice(), None);
    let now = StudyFolder::open(&root).unwrap().study.animals.remove(0);
    assert_eq!(
        (now.species.as_deref(), now.notes.as_deref()),
        (Some("Testudo hermanni"), Some("eats slowly"))
    );
    // The same field: the later one counts, the other's study is kept, and that is told, once.
    let mut one = StudyFolder::open(&root).unwrap();
    one.study.animals[0].notes = Some("eats fast".to_owned());
    one.save_study().unwrap();
    let theirs = fs::read(root.join("study.json")).unwrap();
    other.study.animals[0].notes = Some("eats nothing".to_owned());
    other.save_study().unwrap();
    let notice = other.take_notice().unwrap();
    assert!(
        notice.contains("animals bramble, notes") && notice.contains("study.conflict-1.json"),
        "{notice}"
    );
    assert_eq!(other.take_notice(), None);
    assert_eq!(fs::read(root.join("study.conflict-1.json")).unwrap(), theirs);
    assert_eq!(other.study.animals[0].notes.as_deref(), Some("eats nothing"));
    assert_eq!(StudyFolder::open(&root).unwrap().study, other.study);
    let told = crate::common::shedlight(&["check", root.to_str().unwrap()]);
    assert!(told.code == 1 && told.out.contains("another window wrote"), "{}{}", told.out, told.err);
}

#[test]
fn two_windows_that_fill_in_one_session_lose_nothing_of_each_other() {
    let folder = folder();
    let root = folder.path().join("study");
    let mut study = StudyFolder::create(&root, Study::new("Two")).unwrap();
    let read = Session::new("s1".into(), "bramble".into());
    study.save_session(&read).unwrap();
    let (mut one, mut other) = (read.clone(), read.clone());
    one.notes = Some("warm".to_owned());
    other.step = Some(2);
    study.save_session_changes(&read, &one).unwrap();
    study.save_session_changes(&read, &other).unwrap();
    assert_eq!(study.take_notice(), None);
    let now = study.session(&"s1".into()).unwrap();
    assert_eq!((now.notes.as_deref(), now.step), (Some("warm"), Some(2)));
    other.notes = Some("cold".to_owned());
    study.save_session_changes(&read, &other).unwrap();
    let notice = study.take_notice().unwrap();
    assert!(notice.contains("(notes)") && notice.contains("session.conflict-1.json"), "{notice}");
    let kept: Session =
        json::read(&root.join("sessions/s1/session.conflict-1.json"), "shedlight/session").unwrap();
    assert_eq!(kept.notes.as_deref(), Some("warm"));
}

/// A sparse file stands for a coding of ten million marks (1.1 GB), and for one that is not even that.
#[cfg(unix)]
#[test]
fn a_coding_of_ten_million_marks_is_refused_in_bounded_memory_and_the_rest_is_read() {
    let folder = folder();
    let study = folder.path().join("study");
    crate::export::copy(&crate::common::root().join("sample-codings"), &study);
    let path = study.join("sessions/s3/K-12.1.coding.json");
    for size in [1_100_u64 << 20, 900 << 30] {
        fs::File::options().write(true).open(&path).unwrap().set_len(size).unwrap();
        let error = coding_file::open(&path).unwrap_err().to_string();
        let megabytes = format!("the file has {} MB", size >> 20);
        assert!(error.contains(&megabytes) && error.contains("left as it is"), "{error}");
        for command in [&["summary"][..], &["check"], &["check", "--repair"]] {
            let run = std::process::Command::new("sh")
                .args(["-c", "ulimit -v 700000; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_shedlight")])
                .args(command)
                .arg(&study)
                .output()
                .unwrap();
            let said =
                format!("{}{}", String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
            assert!(run.status.code().is_some() && said.contains(&megabytes), "{command:?}: {said}");
        }
    }
    assert!(
        StudyFolder::open(&study).unwrap().load_coding(&path.with_file_name("K-07.1.coding.json")).is_ok()
    );
    // A pipe nobody writes to is no file to wait for.
    fs::remove_file(&path).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(&path).status().unwrap().success());
    assert!(coding_file::read(&path).unwrap_err().to_string().contains("no file"));
    assert!(coding_file::open(&path).is_err());
}
