//! Captions, read by a strict reading of the W3C's grammar and by ffprobe.

use std::path::Path;
use std::process::Command;

use super::{export, files, sample};
use crate::common::folder;

#[derive(Debug, PartialEq)]
pub struct Cue {
    pub id: String,
    pub from_ms: u64,
    pub to_ms: u64,
    pub text: String,
}

/// Reads WebVTT as its grammar is written (W3C, WebVTT: The Web Video Text Tracks Format, §4):
/// header, comment blocks, cue blocks with an identifier, hours of two digits or more, no settings,
/// text of escaped characters without tags.
pub fn strict(bytes: &[u8]) -> Result<Vec<Cue>, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| error.to_string())?;
    if text.contains(['\0', '\r']) {
        return Err("a NUL or CR".to_owned());
    }
    let rest = text.strip_prefix("WEBVTT\n\n").ok_or("no header")?;
    let mut cues = Vec::new();
    let mut before = 0;
    for block in
        rest.split("\n\n").map(|block| block.trim_end_matches('\n')).filter(|block| !block.is_empty())
    {
        if block == "NOTE" || block.starts_with("NOTE\n") || block.starts_with("NOTE ") {
            if block.contains("-->") {
                return Err(format!("an arrow in a comment: {block}"));
            }
            continue;
        }
        let lines: Vec<&str> = block.split('\n').collect();
        let [id, times, payload @ ..] = lines.as_slice() else { return Err(format!("no cue: {block}")) };
        if id.contains("-->") || payload.is_empty() || payload.iter().any(|line| line.is_empty()) {
            return Err(format!("no cue: {block}"));
        }
        let (from, to) = times.split_once(" --> ").ok_or_else(|| format!("no times: {times}"))?;
        let (from_ms, to_ms) = (stamp(from)?, stamp(to)?);
        if to_ms <= from_ms || from_ms < before {
            return Err(format!("times out of order: {times}"));
        }
        before = from_ms;
        let text = payload.join("\n");
        if text.contains(['<', '>']) || text.contains("-->") {
            return Err(format!("markup in {text}"));
        }
        for (at, _) in text.match_indices('&') {
            if !["&amp;", "&lt;", "&gt;"].iter().any(|entity| text[at..].starts_with(entity)) {
                return Err(format!("a bare & in {text}"));
            }
        }
        cues.push(Cue { id: (*id).to_owned(), from_ms, to_ms, text });
    }
    Ok(cues)
}

fn stamp(text: &str) -> Result<u64, String> {
    let fail = || format!("no timestamp: {text}");
    let (clock, millis) = text.split_once('.').ok_or_else(fail)?;
    let parts: Vec<&str> = clock.split(':').collect();
    let [hours, minutes, seconds] = parts.as_slice() else { return Err(fail()) };
    let digits = |part: &str, wanted: usize| part.len() == wanted && part.bytes().all(|b| b.is_ascii_digit());
    if hours.len() < 2 || !digits(minutes, 2) || !digits(seconds, 2) || !digits(millis, 3) {
        return Err(fail());
    }
    let number = |part: &str| part.parse::<u64>().map_err(|_| fail());
    let (minutes, seconds) = (number(minutes)?, number(seconds)?);
    if minutes > 59 || seconds > 59 {
        return Err(fail());
    }
    Ok(((number(hours)? * 60 + minutes) * 60 + seconds) * 1_000 + number(millis)?)
}

/// Packets that ffprobe sees.
pub fn ffprobe_cues(path: &Path) -> usize {
    let ran = Command::new("ffprobe")
        .args(["-v", "error", "-count_packets", "-show_entries", "stream=nb_read_packets", "-of", "csv=p=0"])
        .arg(path)
        .output()
        .expect("captions are read by ffprobe: apt-get install ffmpeg");
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let told = String::from_utf8(ran.stdout).unwrap();
    told.trim().parse().unwrap_or_else(|_| panic!("no count of packets: {told}"))
}

#[test]
fn captions_are_strict_webvtt_on_the_clip_s_own_time() {
    let folder = folder();
    let out = folder.path().join("captions");
    export(&sample(), "webvtt", &out, &[]);
    assert_eq!(files(&out).len(), 16, "a file a clip and coding");
    for file in files(&out) {
        let path = out.join(&file);
        let cues =
            strict(&std::fs::read(&path).unwrap()).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
        assert!(cues.len() > 20, "{}", file.display());
        assert_eq!(ffprobe_cues(&path), cues.len(), "{}", file.display());
    }
    let read = |name: &str| strict(&std::fs::read(out.join(name)).unwrap()).unwrap();
    // The display of session 5 began at 4:31.0; the second camera was started 1.84 s later.
    let display = |cues: Vec<Cue>| {
        cues.into_iter().find(|cue| cue.text.starts_with("Defensive display")).map(|cue| cue.from_ms)
    };
    assert_eq!(display(read("s5/s5-phone.K-07.1.vtt")), Some(271_000));
    assert_eq!(display(read("s5/s5-cctv.K-07.1.vtt")), Some(269_160));
    // The second piece of session 2 begins on its own zero.
    assert_eq!(read("s2/s2-0002.K-07.1.vtt")[0].from_ms, 0);
}
