//! Files that were just filmed: which are pieces of one recording, and when it began.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike as _, FixedOffset, NaiveDate, NaiveDateTime, TimeDelta};

use crate::model::Fingerprint;
use crate::time::Micros;

/// A file as it was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Where.
    pub path: PathBuf,
    /// By which it is known.
    pub fingerprint: Fingerprint,
    /// When it was written last, as the disk says.
    pub modified: Option<DateTime<FixedOffset>>,
    /// When it was made, as the file says itself.
    pub created: Option<String>,
    /// How long it is, as the file says itself.
    pub length: Option<Micros>,
}

/// How a beginning is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// The file is named after it.
    Name,
    /// The camera wrote it into the file.
    Camera,
    /// The disk says when the file was written last: a copy may have changed that.
    Disk,
}

/// When a recording began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Began {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// How that is known.
    pub source: Source,
    /// Two things say so, or the one that does is not mistaken as a rule. Otherwise a person is asked.
    pub is_sure: bool,
}

impl Began {
    /// How it is known, as people read it.
    #[must_use]
    pub const fn words(&self) -> &'static str {
        match (self.source, self.is_sure) {
            (Source::Name, _) => "from its name",
            (Source::Camera, true) => "from the camera",
            (Source::Camera, false) => "from the camera, whose time zone is not known: please check",
            (Source::Disk, _) => "only the file's own date is known: please write when it began",
        }
    }
}

/// A recording: one file, or several pieces of it in their order.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// Its pieces; never none.
    pub pieces: Vec<Found>,
    /// When the first began.
    pub began: Option<Began>,
}

/// What a wall clock in the house shows is this moment.
pub type Zone<'a> = &'a dyn Fn(NaiveDateTime) -> Option<DateTime<FixedOffset>>;

/// Times that differ less are the same: clocks of cameras and disks write whole or even seconds, late.
const NEAR: TimeDelta = TimeDelta::seconds(90);
/// Pieces of one recording follow each other; what begins later after the end is another one.
const PAUSE: TimeDelta = TimeDelta::seconds(60);

/// When a file began: as its name says, else as its camera wrote, else as the disk lets guess. A camera's
/// time is said to be UTC and often is local time: which, the date on the disk decides, for that was
/// written when the recording ended.
#[must_use]
pub fn began(found: &Found, zone: Zone<'_>) -> Option<Began> {
    let stem = found.path.file_stem().unwrap_or_default().to_string_lossy();
    if let Some(at) = moment_in(&stem).and_then(zone) {
        return Some(Began { at, source: Source::Name, is_sure: true });
    }
    let length = TimeDelta::microseconds(found.length.map_or(0, |length| length.0));
    let from_disk = found.modified.map(|at| at - length);
    let disk = || Some(Began { at: from_disk?, source: Source::Disk, is_sure: false });
    let Some(written) = found.created.as_deref().and_then(written) else { return disk() };
    let (naive, is_utc) = written;
    // 1904 and 1970 are clocks that were never set.
    if naive.year() < 2000 {
        return disk();
    }
    let local = zone(naive);
    let universal = zone(naive).map(|like| naive.and_utc().with_timezone(like.offset()));
    if !is_utc {
        let at = DateTime::parse_from_rfc3339(&with_colon(found.created.as_deref()?)).ok()?;
        return Some(Began { at, source: Source::Camera, is_sure: true });
    }
    let fits = |at: Option<DateTime<FixedOffset>>| {
        at.zip(from_disk)
            .is_some_and(|(at, disk)| (disk - at).abs() <= NEAR || (disk + length - at).abs() <= NEAR)
    };
    let (at, is_sure) = match (fits(universal), fits(local)) {
        (true, _) => (universal?, true),
        (false, true) => (local?, true),
        (false, false) => (universal?, false),
    };
    Some(Began { at, source: Source::Camera, is_sure })
}

/// A time as containers write it, and whether it is said to be UTC.
fn written(text: &str) -> Option<(NaiveDateTime, bool)> {
    let text = text.trim();
    let time = DateTime::parse_from_rfc3339(&with_colon(text)).ok();
    if let Some(time) = time {
        return Some((time.naive_local(), time.offset().local_minus_utc() == 0));
    }
    let forms = ["%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S"];
    forms.iter().find_map(|form| NaiveDateTime::parse_from_str(text, form).ok()).map(|time| (time, true))
}

/// `+0100` as `+01:00`.
fn with_colon(text: &str) -> String {
    let text = text.trim();
    match text.len().checked_sub(5).and_then(|at| text.split_at_checked(at)) {
        Some((time, zone))
            if zone.starts_with(['+', '-']) && zone.bytes().skip(1).all(|own| own.is_ascii_digit()) =>
        {
            let (hours, minutes) = zone.split_at(3);
            format!("{time}{hours}:{minutes}")
        }
        _ => text.to_owned(),
    }
}

/// The day and time a name holds, written from the year to the second.
fn moment_in(name: &str) -> Option<NaiveDateTime> {
    let runs: Vec<&str> = name.split(|c: char| !c.is_ascii_digit()).filter(|run| !run.is_empty()).collect();
    let moment = |digits: &str| {
        let part = |from: usize, to: usize| digits.get(from..to)?.parse::<u32>().ok();
        let year = i32::try_from(part(0, 4)?).ok().filter(|year| (2000..2100).contains(year))?;
        NaiveDate::from_ymd_opt(year, part(4, 6)?, part(6, 8)?)?.and_hms_opt(
            part(8, 10)?,
            part(10, 12)?,
            part(12, 14)?,
        )
    };
    (0..runs.len()).find_map(|from| {
        let rest = runs.get(from..)?;
        let joined = match rest {
            [whole, ..] if whole.len() == 14 => (*whole).to_owned(),
            // Some write thousandths after the second.
            [day, time, ..] if day.len() == 8 && time.len() >= 6 => format!("{day}{}", time.get(..6)?),
            [year, parts @ ..] if year.len() == 4 && parts.len() >= 5 => {
                let parts = parts.get(..5)?;
                if parts.iter().any(|part| part.len() != 2) {
                    return None;
                }
                format!("{year}{}", parts.concat())
            }
            _ => return None,
        };
        moment(&joined)
    })
}

/// Puts files together that are pieces of one recording: in one folder, numbered on, and none of them
/// begun long after the one before ended. In the order of their folders and names.
#[must_use]
pub fn recordings(mut files: Vec<Found>, zone: Zone<'_>) -> Vec<Recording> {
    files.sort_by_cached_key(|found| {
        (found.path.parent().map(Path::to_owned), natural(&name_of(&found.path)))
    });
    let mut all: Vec<Recording> = Vec::new();
    for found in files {
        let goes_on =
            all.iter_mut().find(|own| own.pieces.last().is_some_and(|last| follows(last, &found, zone)));
        match goes_on {
            Some(recording) => recording.pieces.push(found),
            None => all.push(Recording { began: began(&found, zone), pieces: vec![found] }),
        }
    }
    all
}

/// Whether a file goes on where another ended.
#[must_use]
pub fn follows(last: &Found, next: &Found, zone: Zone<'_>) -> bool {
    let is_beside = last.path.parent() == next.path.parent()
        && last.path.extension().map(std::ffi::OsStr::to_ascii_lowercase)
            == next.path.extension().map(std::ffi::OsStr::to_ascii_lowercase);
    if !is_beside || !is_next_name(&name_of(&last.path), &name_of(&next.path)) {
        return false;
    }
    let (Some(a), Some(b), Some(length)) = (began(last, zone), began(next, zone), last.length) else {
        return true;
    };
    // Some cameras write the beginning of the whole recording into each piece.
    let since = b.at - a.at;
    let length = TimeDelta::microseconds(length.0);
    since >= TimeDelta::seconds(-2) && since - length <= PAUSE
}

fn name_of(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

/// Digits and the rest, so that 9 comes before 10.
fn natural(name: &str) -> Vec<(u64, String)> {
    parts(name)
        .into_iter()
        .map(
            |(part, is_number)| {
                if is_number { (part.parse().unwrap_or(u64::MAX), part) } else { (0, part.to_lowercase()) }
            },
        )
        .collect()
}

fn parts(name: &str) -> Vec<(String, bool)> {
    let mut parts: Vec<(String, bool)> = Vec::new();
    for letter in name.chars() {
        match parts.last_mut() {
            Some((part, is_number)) if *is_number == letter.is_ascii_digit() => part.push(letter),
            _ => parts.push((letter.to_string(), letter.is_ascii_digit())),
        }
    }
    parts
}

/// Whether two names differ in one number only, by one.
#[must_use]
pub fn is_next_name(before: &str, after: &str) -> bool {
    let (a, b) = (parts(before), parts(after));
    if a.len() != b.len() {
        return false;
    }
    let differing: Vec<(&str, &str)> =
        a.iter().zip(&b).filter(|(a, b)| a != b).map(|(a, b)| (a.0.as_str(), b.0.as_str())).collect();
    match differing.as_slice() {
        [(a, b)] => {
            let follows = |a: &str, b: &str| match (a.parse::<u64>(), b.parse::<u64>()) {
                (Ok(a), Ok(b)) => b == a + 1,
                _ => false,
            };
            // Action cameras write the piece before the number of the recording; what is longer and
            // has no piece in front is a date or a clock.
            match (a.split_at_checked(2), b.split_at_checked(2)) {
                (Some((piece, recording)), Some((next, same))) if a.len() == b.len() && a.len() > 5 => {
                    recording == same && follows(piece, next)
                }
                _ => a.len() <= 5 && follows(a, b),
            }
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Extra;

    fn zone(naive: NaiveDateTime) -> Option<DateTime<FixedOffset>> {
        naive.and_local_timezone(FixedOffset::east_opt(3600)?).single()
    }

    fn at(text: &str) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339(text).unwrap()
    }

    fn found(path: &str, created: Option<&str>, modified: Option<&str>, seconds: i64) -> Found {
        let fingerprint =
            Fingerprint { size: 1, ends: String::new(), frames: None, whole: None, extra: Extra::new() };
        Found {
            path: path.into(),
            fingerprint,
            modified: modified.map(at),
            created: created.map(str::to_owned),
            length: Some(Micros::from_whole_seconds(seconds)),
        }
    }

    #[test]
    fn pieces_of_one_recording_are_known_by_their_names() {
        assert!(is_next_name("GX010042", "GX020042"));
        assert!(is_next_name("feed-0001", "feed-0002"));
        assert!(is_next_name("feed-9", "feed-10"));
        assert!(!is_next_name("feed-0001", "feed-0003"));
        assert!(!is_next_name("feed-0002", "feed-0001"));
        assert!(!is_next_name("GX010042", "GX010043"), "another recording");
        assert!(!is_next_name("20250313", "20250314"), "another day is another session");
        assert!(!is_next_name("feed-1-a", "feed-2-b"));
    }

    #[test]
    fn a_name_tells_when_it_was_filmed() {
        let wanted = NaiveDate::from_ymd_opt(2025, 3, 13).unwrap().and_hms_opt(15, 5, 9);
        for name in [
            "20250313_150509",
            "VID_20250313_150509123",
            "PXL-20250313-150509",
            "20250313150509",
            "2025-03-13 15-05-09",
            "cam2_2025-03-13T15.05.09",
        ] {
            assert_eq!(moment_in(name), wanted, "{name}");
        }
        for name in ["GX010042", "20250313", "2025-03-13", "19991231_235959", "20251301_000000", "feed 12"] {
            assert_eq!(moment_in(name), None, "{name}");
        }
    }

    #[test]
    fn what_a_camera_wrote_is_held_against_the_disk() {
        // Ended at 15:06:09 by the clock of the house, an hour east.
        let disk = Some("2025-03-13T15:06:09+01:00");
        let known = |created: &str, modified| {
            let began = began(&found("a.mp4", Some(created), modified, 60), &zone).unwrap();
            (began.at.to_rfc3339(), began.source, began.is_sure)
        };
        let wanted = "2025-03-13T15:05:09+01:00".to_owned();
        let sure = (wanted.clone(), Source::Camera, true);
        assert_eq!(known("2025-03-13T14:05:09.000000Z", disk), sure, "UTC, as it says");
        assert_eq!(known("2025-03-13T15:05:09.000000Z", disk), sure, "local time, though it says UTC");
        assert_eq!(known("2025-03-13T15:05:09+0100", None), sure, "with its zone");
        // Copied later: nothing tells the zone.
        let later = Some("2025-06-01T09:00:00+01:00");
        assert_eq!(known("2025-03-13T14:05:09.000000Z", later), (wanted.clone(), Source::Camera, false));
        // A clock that was never set.
        assert_eq!(known("1904-01-01T00:00:00.000000Z", disk), (wanted, Source::Disk, false));
        assert_eq!(began(&found("a.mp4", None, None, 60), &zone), None);
    }

    #[test]
    fn several_files_become_their_recordings() {
        let names = |files: Vec<Found>| -> Vec<Vec<String>> {
            recordings(files, &zone)
                .iter()
                .map(|own| own.pieces.iter().map(|piece| name_of(&piece.path)).collect())
                .collect()
        };
        let plain = |name: &str| found(name, None, None, 60);
        let dropped =
            ["x/GX020042.MP4", "x/GX010043.MP4", "x/GX010042.MP4", "y/GX030042.MP4", "x/b10.mp4", "x/b9.mp4"];
        let wanted: [&[&str]; 4] = [&["b9", "b10"], &["GX010042", "GX020042"], &["GX010043"], &["GX030042"]];
        assert_eq!(names(dropped.map(plain).to_vec()), wanted);
        // Numbered on, but begun a quarter of an hour after the end: another recording.
        let first = found("f-1.mp4", Some("2025-03-13T14:00:00+0100"), None, 60);
        for (created, together) in [
            ("2025-03-13T14:01:02+0100", true),
            ("2025-03-13T14:00:00+0100", true),
            ("2025-03-13T14:16:00+0100", false),
            ("2025-03-13T13:00:00+0100", false),
        ] {
            let second = found("f-2.mp4", Some(created), None, 60);
            assert_eq!(names(vec![second, first.clone()]).len() == 1, together, "{created}");
        }
    }
}
