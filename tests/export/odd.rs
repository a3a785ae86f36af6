//! Studies as people make them: nothing coded, every script, long notes, formulas, many sessions.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};
use shedlight::export::names::take_out;
use shedlight::export::{Data, Entry};
use shedlight::model::{FilmDeleted, Food, Retention, Session, SyncPoint};

use super::webvtt::{ffprobe_cues, strict};
use super::{copy, export, files, sample};
use crate::common::python::python;
use crate::common::{folder, root, shedlight};

fn edit(path: &Path, change: impl FnOnce(&mut Value)) {
    let mut value: Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    change(&mut value);
    std::fs::write(path, serde_json::to_vec_pretty(&value).unwrap()).unwrap();
}

pub const NAMES: &str = "Žofie 王小明 محمد שרה Ἀθηνᾶ नमस्ते ไทย 한국어 🐢🏳️‍🌈 <b>&amp; \"q\" 'a'";

/// The demo with texts in every script, right to left, with markup, formulas and line ends.
pub fn odd(study: &Path) {
    copy(&sample(), study);
    let long = format!("{}\n\n--> {}", "sehr lange Notiz mit Ünïcödé ".repeat(800), "x".repeat(3_000));
    edit(&study.join("study.json"), |own| {
        own["title"] = "=HYPERLINK(\"http://x\") ברוכים הבאים".into();
        own["animals"][0]["name"] = NAMES.into();
        own["animals"][0]["notes"] = long.clone().into();
        own["animals"][1]["name"] = "\u{202e}إبراهيم\u{202c} \u{0007}".into();
        own["people"][0]["name"] = "Anna Q. Müller".into();
        own["report"] = json!({ "purpose": NAMES, "actions": long });
    });
    edit(&study.join("sessions/s5/session.json"), |own| {
        own["notes"] = "@SUM(A1)\r\nsecond line".into();
        own["decision"]["reason"] = "-1+1; asked Anna, she says yes".into();
    });
    edit(&study.join("sessions/s5/K-07.1.coding.json"), |own| {
        own["marks"][0]["note"] = "=cmd|'/c calc'!A0".into();
        own["marks"][1]["note"] = long.into();
        own["marks"][2]["note"] = NAMES.into();
        own["marks"][3]["note"] = "\n\nWEBVTT\n\n00:00.000 --> 00:01.000".into();
        own["marks"][4]["note"] = "'=not a formula any more".into();
        own["marks"][5]["note"] = "müller was in the way".into();
        own["marks"][6]["note"] = "\u{0}\u{1}".into();
    });
}

#[test]
fn odd_texts_survive_every_form() {
    let folder = folder();
    let study = folder.path().join("study");
    odd(&study);
    let out = |form: &str| {
        let out = folder.path().join(form);
        export(&study, form, &out, &[]);
        out
    };
    let tables = out("csv");
    let told = python("tests/export/read_csv.py", &[&tables]);
    assert!(told.contains("frictionless finds them valid"), "{told}");
    #[cfg(feature = "parquet")]
    let _ = out("parquet");
    let marks = std::fs::read_to_string(tables.join("marks.csv")).unwrap();
    assert!(marks.contains(",'=cmd|'/c calc'!A0,"), "a formula is guarded");
    for file in files(&out("webvtt")) {
        let path = folder.path().join("webvtt").join(&file);
        let cues =
            strict(&std::fs::read(&path).unwrap()).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
        assert_eq!(ffprobe_cues(&path), cues.len(), "{}", file.display());
    }
    let _ = (out("web-annotation"), out("json"));
    // And back: all of it but the NUL, which no table can hold.
    let copied = folder.path().join("copied");
    copy(&study, &copied);
    let coding = |root: &Path| root.join("sessions/s5/K-07.1.coding.json");
    std::fs::remove_file(coding(&copied)).unwrap();
    let file = folder.path().join("web-annotation/s5/K-07.1.jsonld");
    let ran = shedlight(&["import", file.to_str().unwrap(), "--into", copied.to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let marks = |root: &Path| -> Value {
        serde_json::from_slice::<Value>(&std::fs::read(coding(root)).unwrap()).unwrap()["marks"].clone()
    };
    assert_eq!(marks(&copied), marks(&study));
    std::fs::remove_file(coding(&copied)).unwrap();
    let ran = shedlight(&[
        "import",
        tables.join("marks.csv").to_str().unwrap(),
        "--into",
        copied.to_str().unwrap(),
    ]);
    assert_ne!(ran.code, 2, "{}{}", ran.out, ran.err);
    let (a, b) = (marks(&copied), marks(&study));
    for (i, (own, wanted)) in a.as_array().unwrap().iter().zip(b.as_array().unwrap()).enumerate() {
        if i != 6 {
            assert_eq!(own, wanted);
        }
    }
}

/// The same with people named wherever a person can write; it lies in a folder that is named after one of them.
pub fn peopled(folder: &Path) -> PathBuf {
    let study = folder.join("home of Anna/study");
    odd(&study);
    let opened = shedlight::storage::StudyFolder::open(&study).unwrap();
    let mut session = opened.session(&"s3".into()).unwrap();
    let (film, clip) = (study.join("study.json"), session.clips[0].id);
    let because = "Anna says so".to_owned();
    let length = session.clips[0].length;
    shedlight::storage::fingerprint::accept(&mut session.clips[0], &film, "K-07".into(), because).unwrap();
    session.clips[0].length = length;
    let at = shedlight::time::Micros::ZERO;
    let what = Some("Anna claps".to_owned());
    let extra = shedlight::model::Extra::new();
    session.sync_points.push(SyncPoint { what, clip, at, other: clip, other_at: at, extra });
    opened.save_session(&session).unwrap();
    edit(&study.join("sessions/s5/session.json"), |own| {
        own["clips"][0]["path"] = format!("{}/of anna.b/film", folder.display()).into();
    });
    edit(&study.join("sessions/s5/K-12.1.coding.json"), |own| {
        own["masked"] = json!(["what K-07 coded", "date"]);
    });
    study
}

/// People of it, and where it lies.
pub const NAMED: [&str; 6] = ["K-07", "K-12", "Anna", "anna", "Müller", "müller"];

#[test]
fn without_names_nobody_is_named_anywhere() {
    let folder = folder();
    let study = peopled(folder.path());
    let place = folder.path().to_str().unwrap();
    for form in ["csv", "json", "webvtt", "web-annotation"] {
        let out = folder.path().join(form);
        export(&study, form, &out, &["--without-names"]);
        for file in files(&out) {
            let name = file.to_string_lossy().into_owned();
            let text = std::fs::read_to_string(out.join(&file)).unwrap();
            for word in NAMED.iter().chain([&place]) {
                assert!(!text.contains(word) && !name.contains(word), "{word} in {form} {name}");
            }
        }
        assert!(out.exists());
    }
    // Stable: K-07 is the first of the study's people, whatever is exported.
    let vtt: Vec<PathBuf> = files(&folder.path().join("webvtt"));
    assert!(vtt.contains(&PathBuf::from("s6/s6-phone.P01.1.vtt")), "{vtt:?}");
    assert!(vtt.contains(&PathBuf::from("s3/s3-phone.P02.1.vtt")), "{vtt:?}");
    // The measures are the same.
    let summary = |root: &Path| shedlight(&["summary", root.to_str().unwrap(), "--json"]).out;
    let plain = summary(&study).replace("K-07", "P01").replace("K-12", "P02");
    assert_eq!(summary(&folder.path().join("json")), plain);
}

#[test]
fn a_report_without_names_names_nobody_and_no_place_on_this_computer() {
    let folder = folder();
    let study = peopled(folder.path());
    let out = folder.path().join("r.html");
    let (study, target) = (study.to_str().unwrap(), out.to_str().unwrap());
    let ran =
        shedlight(&["report", study, "--out", target, "--date", "2025-04-10", "--without-names", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let told: Value = serde_json::from_str(&ran.out).unwrap();
    assert!(told["people_replaced"] == 2 && told["texts_dropped"].as_u64() > Some(4), "{told}");
    let html = std::fs::read_to_string(&out).unwrap();
    for word in NAMED.iter().chain([&folder.path().to_str().unwrap()]) {
        assert!(!html.contains(word), "{word}: …{}…", around(&html, word));
    }
    assert!(html.contains("P01") && html.contains("P02") && html.contains("This report names nobody"));
    assert!(html.contains("href=\"shedlight:open?study=study&amp;session=s5&amp;at=271\""));
    // The numbers are the same ones: agreement too is that of the same codings.
    assert!(html.contains("2 of 6 counted sessions were coded by a second person"));
    assert!(
        html.contains("0.734") && html.contains("hidden from <bdi>P02</bdi>")
            || html.contains("from <bdi>P02</bdi>")
    );
    // With names all of them are there, or the test above shows nothing.
    let ran = shedlight(&["report", study, "--out", target, "--date", "2025-04-10"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let html = std::fs::read_to_string(&out).unwrap();
    assert!(
        ["K-07", "K-12", "Anna"].iter().all(|word| html.contains(word)),
        "people are in the plain report"
    );
}

fn around<'a>(text: &'a str, word: &str) -> &'a str {
    let at = text.find(word).unwrap_or_default();
    let (mut from, mut to) = (at.saturating_sub(80), (at + 80).min(text.len()));
    while !text.is_char_boundary(from) {
        from -= 1;
    }
    while !text.is_char_boundary(to) {
        to += 1;
    }
    &text[from..to]
}

#[test]
fn ids_that_hold_a_name_stay_and_are_told() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    edit(&study.join("study.json"), |own| own["people"][0]["name"] = "Anna".into());
    std::fs::rename(study.join("sessions/s1"), study.join("sessions/anna-1")).unwrap();
    for file in files(&study.join("sessions/anna-1")) {
        let key = if file.to_str().unwrap() == "session.json" { "id" } else { "session" };
        edit(&study.join("sessions/anna-1").join(&file), |own| own[key] = "anna-1".into());
    }
    for form in ["csv", "parquet"] {
        if form == "parquet" && cfg!(not(feature = "parquet")) {
            continue;
        }
        let (from, out) = (study.to_str().unwrap(), folder.path().join(form));
        let ran =
            shedlight(&["export", from, "--as", form, "--without-names", "--out", out.to_str().unwrap()]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.contains("These ids hold a name") && ran.out.contains("anna-1"), "{}", ran.out);
    }
}

#[test]
fn names_go_from_every_text_and_unknown_key_and_the_definitions_stay_those_of_the_codings() {
    let opened = shedlight::storage::StudyFolder::open(&sample()).unwrap();
    let secret = || -> shedlight::model::Extra { [("by".to_owned(), "Anna".into())].into_iter().collect() };
    let anna = || Some("Anna's".to_owned());
    let mut study = opened.study.clone();
    study.people[0].name = Some("Anna Müller".to_owned());
    let plan = &mut study.plans[0];
    (plan.cue, plan.marker, plan.reinforcer) = (anna(), anna(), anna());
    plan.steps[0].extra = secret();
    let deciders = vec!["H-99".into()];
    study.retention = Some(Retention { deciders, extra: secret(), ..Retention::default() });
    let (mut ethograms, _) = opened.ethograms();
    let listing = opened.list();
    let mut sessions: Vec<Session> = listing.sessions.iter().map(|entry| entry.session.clone()).collect();
    let food = Food { item: "Anna's crickets".to_owned(), grams: None, extra: secret() };
    sessions[0].food.push(food);
    sessions[0].notes = Some("H-99 looked on".to_owned());
    sessions[0].clips[0].deleted = Some(FilmDeleted {
        on: "2025-04-01".parse().unwrap(),
        by: "H-99".into(),
        reason: "over".to_owned(),
        extra: secret(),
    });
    for ethogram in &mut ethograms {
        ethogram.title = "Anna's ethogram".to_owned();
        for set in &mut ethogram.sets {
            set.name = "as Anna has it".to_owned();
        }
        for outline in &mut ethogram.passes {
            outline.name = "as Anna does it".to_owned();
        }
        let first = &mut ethogram.behaviours[0];
        first.definition.onset = "Anna sees it".to_owned();
        first.definition.near_miss = anna();
        first.definition.stills = vec!["ethograms/stills/Anna 1.png".to_owned()];
        first.definition.extra = secret();
        first.details = vec!["held by Anna".to_owned()];
    }
    let mut codings: Vec<Entry> = Vec::new();
    for (path, _) in listing.sessions.iter().flat_map(|entry| &entry.codings) {
        let mut coding = shedlight::storage::coding_file::read(path).unwrap();
        let own = ethograms
            .iter()
            .find(|own| own.id == coding.ethogram.id && own.revision == coding.ethogram.revision);
        coding.ethogram = shedlight::model::EthogramRef::to(own.unwrap()).unwrap();
        coding.passes.iter_mut().for_each(|pass| pass.name = "as Anna does it".to_owned());
        coding.marks[0].detail = Some("held by Anna".to_owned());
        let name = path.file_name().unwrap().to_str().unwrap();
        codings.push(Entry { file: format!("sessions/{}/{name}", coding.session), coding });
    }
    // One person's coding in files that are called otherwise.
    for name in ["Anna.1.coding.json", "mine.coding.json"] {
        let own = codings[0].clone();
        codings.push(Entry { file: format!("sessions/{}/{name}", own.coding.session), ..own });
    }
    let count = codings.len();
    let mut data = Data { study, ethograms, sessions, codings, marks: shedlight::measures::Marks::All };
    let _ = take_out(&mut data);
    let told = serde_json::to_string(&(&data.study, &data.ethograms, &data.sessions)).unwrap();
    for word in ["Anna", "Müller", "H-99"] {
        assert!(!told.contains(word), "{word}");
    }
    let files: std::collections::BTreeSet<&String> = data.codings.iter().map(|entry| &entry.file).collect();
    assert_eq!(files.len(), count, "no file takes another one's name: {files:?}");
    for entry in &data.codings {
        let told = serde_json::to_string(&entry.coding).unwrap();
        assert!(!told.contains("Anna") && !entry.file.contains("Anna") && !entry.file.contains("K-"));
        let digest = data.ethogram(&entry.coding).unwrap().digest().unwrap();
        assert_eq!(entry.coding.ethogram.digest, digest, "made under these definitions still");
    }
}

#[test]
fn a_study_with_nothing_coded_gives_tables_and_a_report_that_say_so() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    for file in files(&study) {
        if file.to_str().unwrap().ends_with(".coding.json") {
            std::fs::remove_file(study.join(file)).unwrap();
        }
    }
    for form in ["csv", "json", "webvtt", "web-annotation"] {
        export(&study, form, &folder.path().join(form), &[]);
    }
    let html = report(&study, &folder.path().join("r.html"));
    assert!(html.contains("not coded, which is not zero"));
    assert!(html.contains("<td>not coded</td>"));
    assert!(html.contains("contact a licensed veterinarian"));
    // And one without any session.
    std::fs::remove_dir_all(study.join("sessions")).unwrap();
    let html = report(&study, &folder.path().join("r2.html"));
    assert!(html.contains("No coding counts in this period"));
}

#[test]
fn odd_texts_make_a_report_that_parses() {
    let folder = folder();
    let study = folder.path().join("study");
    odd(&study);
    let html = report(&study, &folder.path().join("r.html"));
    assert!(!html.contains("<b>&amp;"), "markup is escaped");
    // What has no space may break, or a cell would be wider than the page.
    assert!(!html.contains(&"x".repeat(31)) && html.contains("x<wbr/>x"));
    assert!(html.contains("王小明") && html.contains("שרה"));
}

/// Writes a report, has it read by a parser, and gives its text.
fn report(study: &Path, out: &Path) -> String {
    let (study, target) = (study.to_str().unwrap(), out.to_str().unwrap());
    let ran = shedlight(&["report", study, "--out", target, "--date", "2025-04-10"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let read =
        Command::new("python3").arg(root().join("tests/export/read_html.py")).arg(out).output().unwrap();
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    std::fs::read_to_string(out).unwrap()
}

#[test]
fn ten_thousand_incidents_are_counted_and_the_first_ones_printed() {
    let folder = folder();
    let study = folder.path().join("study");
    copy(&sample(), &study);
    edit(&study.join("sessions/s5/session.json"), |own| {
        own["clips"].as_array_mut().unwrap().truncate(1);
        own["clips"][0]["length"] = 40_000_000_000_i64.into();
    });
    edit(&study.join("sessions/s5/K-07.1.coding.json"), |own| {
        own["window"] = json!({ "from": 0, "to": 40_000_000_000_i64 });
        let marks = own["marks"].as_array_mut().unwrap();
        marks.retain(|mark| !["hiss", "defensive"].contains(&mark["behaviour"].as_str().unwrap()));
        // Each its own: parts less than 2 s apart would be one.
        let hiss = |n: i64| json!({ "id": 100_000 + n, "behaviour": "hiss", "from": n * 3_900_000, "placed": "stepped" });
        marks.extend((0..10_000).map(hiss));
        marks.sort_by_key(|mark| (mark["from"].as_i64(), mark["id"].as_i64()));
    });
    let html = report(&study, &folder.path().join("r.html"));
    // All but the few that nobody could see.
    let told =
        html.split("Stop-level incidents: ").filter_map(|rest| rest.split(' ').next()?.parse::<usize>().ok());
    let counted = told.max().unwrap();
    assert!((9_900..=10_000).contains(&counted), "{counted}");
    let more = format!("{} more rows are not printed: shedlight export STUDY --as csv", counted - 2_000);
    assert!(html.contains(&more), "{more}");
    assert!(html.len() < 20_000_000, "{} bytes", html.len());
}

#[test]
fn three_hundred_sessions_are_exported_and_reported() {
    let folder = folder();
    let study = folder.path().join("study");
    assert_eq!(crate::common::archive::many(&study, 300), 300);
    export(&study, "csv", &folder.path().join("csv"), &[]);
    let html = report(&study, &folder.path().join("r.html"));
    assert!(html.contains("300 sessions in the period, of which 300 are coded and counted"));
}
