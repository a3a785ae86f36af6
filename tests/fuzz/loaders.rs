//! What each loader does with an input: all that `check`, `summary` and the window do with such a file.

use std::fmt::Write as _;
use std::fs;
use std::io::{Cursor, Write as _};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use shedlight::export::intake::{self, Known};
use shedlight::measures::{Marks, Record, slips};
use shedlight::model::{CODING_FORMAT, Coding, Ethogram, Session, Study, validate};
use shedlight::storage::{StudyFolder, coding_file, conflict, fingerprint, journal, json, parcel, repair};

use super::{Loader, Place};

/// The session and the coding that inputs stand for.
pub(crate) const SESSION: &str = "s5";
pub(crate) const CODING: &str = "K-07.1";
/// Parts two texts of one input: the table of marks and that of codings, a coding and its journal.
pub(crate) const AND: &str = "\n=====\n";

pub(crate) fn named(name: &str) -> Option<Loader> {
    Some(match name {
        "study" => study,
        "ethogram" => ethogram,
        "session" => session,
        "coding" => coding,
        "journal" => journal,
        "repair" => repair_and_merge,
        "parcel" => parcel,
        "csv" => csv,
        "annotations" => annotations,
        #[cfg(feature = "media")]
        "index" => index,
        _ => return None,
    })
}

pub(crate) fn coding_path(root: &Path) -> PathBuf {
    root.join("sessions").join(SESSION).join(format!("{CODING}.coding.json"))
}

fn put(path: &Path, bytes: &[u8]) {
    fs::write(path, bytes).expect("the scratch folder can be written");
}

fn study(place: &Place, input: &[u8]) {
    put(&place.root.join("study.json"), input);
    let Ok(mut folder) = StudyFolder::open(&place.root) else { return };
    let _ = validate::study(&folder.study);
    // What was read can be written, and is then the same.
    folder.study.title.push('x');
    if folder.save_study().is_ok() {
        assert_eq!(StudyFolder::open(&place.root).expect("what was written is read").study, folder.study);
    }
}

fn ethogram(place: &Place, input: &[u8]) {
    let path = place.root.join("ethograms").join("fuzzed.1.json");
    put(&path, input);
    let Ok(own) = json::read::<Ethogram>(&path, shedlight::model::ETHOGRAM_FORMAT) else { return };
    let _ = (validate::ethogram(&own), own.digest());
    written_again(&path, &own, shedlight::model::ETHOGRAM_FORMAT);
}

fn session(place: &Place, input: &[u8]) {
    let path = place.root.join("sessions").join(SESSION).join("session.json");
    put(&path, input);
    let Ok(own) = json::read::<Session>(&path, shedlight::model::SESSION_FORMAT) else { return };
    let study = StudyFolder::open(&place.root).expect("the study is sound");
    let _ = (validate::session(&own, &study.study), own.extent());
    for clip in &own.clips {
        let _ = (fingerprint::find(&place.root, clip), clip.clock());
    }
    measure(&study, &coding_path(&place.root));
    written_again(&path, &own, shedlight::model::SESSION_FORMAT);
}

fn coding(place: &Place, input: &[u8]) {
    let path = coding_path(&place.root);
    put(&path, input);
    let _ = coding_file::read_head(&path);
    let study = StudyFolder::open(&place.root).expect("the study is sound");
    measure(&study, &path);
    if let Ok(own) = json::read::<Coding>(&path, CODING_FORMAT) {
        written_again(&path, &own, CODING_FORMAT);
    }
}

/// The first byte says whether the lines get right checksums: else hardly an input would come past them.
fn journal(place: &Place, input: &[u8]) {
    let Some((first, lines)) = input.split_first() else { return };
    let path = coding_path(&place.root);
    let journal = coding_file::journal_path(&path);
    let text = if first % 2 == 0 { lines.to_vec() } else { sealed(lines) };
    put(&journal, &text);
    for contained in [0, 3, u64::MAX] {
        let _ = journal::read(&journal, contained);
    }
    measure(&StudyFolder::open(&place.root).expect("the study is sound"), &path);
    if let Ok(opened) = coding_file::open(&path) {
        // What was opened once is whole afterwards.
        let again = journal::read(&journal, u64::MAX).expect("it is there");
        assert!(again.remarks.is_empty(), "{:?}", again.remarks);
        drop(opened);
    }
    for entry in fs::read_dir(path.parent().expect("it lies in a folder")).expect("it is there").flatten() {
        if entry.file_name().to_string_lossy().contains(".damaged") {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Lines with the checksums that belong to them.
fn sealed(lines: &[u8]) -> Vec<u8> {
    let mut all = Vec::new();
    for line in lines.split_inclusive(|byte| *byte == b'\n') {
        let (body, end) = line.strip_suffix(b"\n").map_or((line, false), |body| (body, true));
        let sum = blake3::hash(body).to_hex();
        let open = body.strip_suffix(b"}").unwrap_or(body);
        all.extend(open);
        all.extend(format!(",\"check\":\"{}\"}}", &sum[..16]).bytes());
        if end {
            all.push(b'\n');
        }
    }
    all
}

fn repair_and_merge(place: &Place, input: &[u8]) {
    let path = coding_path(&place.root);
    let folder = path.parent().expect("it lies in a folder");
    let sound = fs::read(&path).expect("the sample is there");
    let at = input.windows(AND.len()).position(|part| part == AND.as_bytes());
    let (text, lines) = at.map_or((input, &[][..]), |at| (&input[..at], &input[at + AND.len()..]));
    put(&path, text);
    put(&coding_file::journal_path(&path), &sealed(lines));
    if let Ok(own) = coding_file::read(&path) {
        let other: Coding = serde_json::from_slice(&sound).expect("the sample is sound");
        for choice in [conflict::Choice::This, conflict::Choice::Other, conflict::Choice::Both] {
            let _ = conflict::merge(None, &own, &other, choice);
            let _ = conflict::merge(Some(&own), &other, &own, choice);
        }
    }
    let _ = repair::session_folder(folder);
    for entry in fs::read_dir(folder).expect("it is there").flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() {
            fs::remove_dir_all(entry.path()).expect("the scratch folder can be written");
        } else if name != "session.json" && name.starts_with(CODING) {
            let _ = fs::remove_file(entry.path());
        }
    }
    put(&path, &sound);
}

/// The first byte chooses: the bytes as they are, or parts headed `@@@name` packed as a parcel with a list that fits.
fn parcel(place: &Place, input: &[u8]) {
    let Some((first, rest)) = input.split_first() else { return };
    let path = place.root.with_file_name("fuzzed.shedlight.zip");
    put(&path, &if first % 2 == 0 { rest.to_vec() } else { packed(rest) });
    let mut on = |_| ControlFlow::Continue(());
    let Ok(mut own) = parcel::open(&path) else { return };
    let new = place.root.with_file_name("new");
    let _ = parcel::take_as_new(&mut own, &new, &mut on);
    let _ = fs::remove_dir_all(&new);
    let folder = StudyFolder::open(&place.root).expect("the study is sound");
    let before = listed(&place.root);
    if let Ok(mut comparison) = parcel::compare(&mut own, &folder, &mut on) {
        for item in &mut comparison.items {
            if item.is_conflict() {
                item.choose_next();
            }
        }
        let now = chrono::DateTime::default();
        let _ = parcel::take(&mut own, comparison, &folder, now, &mut on);
        super::seeds::study_again(&place.root);
    } else {
        assert_eq!(listed(&place.root), before, "a parcel that is refused changes nothing");
    }
    let above = place.root.parent().expect("it lies in a folder");
    let others = fs::read_dir(above).expect("it is there").flatten().map(|own| own.file_name());
    let strange: Vec<_> = others
        .filter(|name| !["study", "sound", "fuzzed.shedlight.zip"].iter().any(|own| name == *own))
        .collect();
    assert!(strange.is_empty(), "nothing is written outside: {strange:?}");
}

/// All files of a folder, with their sizes.
fn listed(folder: &Path) -> Vec<(PathBuf, u64)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).expect("it is there").flatten() {
        if entry.path().is_dir() {
            all.extend(listed(&entry.path()));
        } else {
            all.push((entry.path(), entry.metadata().map_or(0, |about| about.len())));
        }
    }
    all.sort();
    all
}

/// Parts of an input as a zip file with the list it ought to have.
fn packed(parts: &[u8]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let how = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let mut files = String::new();
    let text = String::from_utf8_lossy(parts).into_owned();
    for part in text.split("@@@").skip(1) {
        let (name, body) = part.split_once('\n').unwrap_or((part, ""));
        if zip.start_file(name, how).is_err() || zip.write_all(body.as_bytes()).is_err() {
            return Vec::new();
        }
        let comma = if files.is_empty() { "" } else { "," };
        let (size, sum) = (body.len(), blake3::hash(body.as_bytes()).to_hex());
        let name = serde_json::Value::from(name);
        let _ = write!(files, "{comma}{{\"path\":{name},\"size\":{size},\"blake3\":\"{sum}\"}}");
    }
    let list = format!(
        "{{\"format\":\"shedlight/parcel\",\"version\":1,\"title\":\"t\",\"packed\":\"2025-03-03T10:00:00+00:00\",\"program\":\"1\",\"film\":false,\"files\":[{files}]}}"
    );
    if zip.start_file("shedlight-parcel.json", how).is_err() || zip.write_all(list.as_bytes()).is_err() {
        return Vec::new();
    }
    zip.finish().map(Cursor::into_inner).unwrap_or_default()
}

/// What the study knows when something is taken in.
fn known(root: &Path, take: impl Fn(Known<'_>)) {
    let folder = StudyFolder::open(root).expect("the study is sound");
    let sessions: Vec<Session> = folder.list().sessions.into_iter().map(|own| own.session).collect();
    let ethograms = folder.ethograms().0;
    let study: &Study = &folder.study;
    take(Known { study, sessions: &sessions, ethograms: &ethograms });
}

fn csv(place: &Place, input: &[u8]) {
    let Ok(text) = std::str::from_utf8(input) else { return };
    let (marks, codings) =
        text.split_once(AND).map_or((text, None), |(marks, codings)| (marks, Some(codings)));
    known(&place.root, |known| {
        let _ = intake::from_csv(marks, codings, known);
    });
}

fn annotations(place: &Place, input: &[u8]) {
    let Ok(text) = std::str::from_utf8(input) else { return };
    known(&place.root, |known| {
        let _ = intake::from_web_annotation(text, known);
    });
}

/// The kept index, or the kept sound, of the clip `SHEDLIGHT_CLIP`.
#[cfg(feature = "media")]
fn index(_: &Place, input: &[u8]) {
    type Reader = Box<dyn Fn(&[u8])>;
    thread_local! {
        static READER: Reader = {
            let clip = std::env::var("SHEDLIGHT_CLIP").expect("SHEDLIGHT_CLIP names a clip");
            Box::new(shedlight::media::reader_of_kept(clip.as_ref()).expect("the clip opens"))
        };
    }
    READER.with(|read| read(input));
}

/// Reads a coding with all that it takes to measure it.
fn measure(study: &StudyFolder, path: &Path) {
    let Ok(own) = study.load_coding(path) else { return };
    let _ = validate::coding(&own.coding, &own.ethogram, &own.session);
    let record = Record::try_new(&own.coding, &own.ethogram, &own.session, &study.study, Marks::All);
    let _ = record.map(|record| slips::of(&record));
}

/// What was read can be written, and is then read as the same.
fn written_again<T>(path: &Path, own: &T, format: &'static str)
where
    T: serde::Serialize + serde::de::DeserializeOwned + PartialEq + std::fmt::Debug,
{
    if json::write(path, own).is_ok() {
        assert_eq!(&json::read::<T>(path, format).expect("what was written is read"), own);
    }
}
