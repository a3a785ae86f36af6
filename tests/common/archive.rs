//! A synthetic archive of any size: invented animals, sessions and marks, the same for the same size.
//! Used by tests and by the benchmark, which says how large an archive really is.

use std::fmt::Write as _;
use std::path::Path;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::{Value, json};
use shedlight::demo;
use shedlight::model::Animal;
use shedlight::storage::{StudyFolder, json};

/// Writes a study of so many sessions with so many marks each, under the demo's ethogram.
pub fn write(root: &Path, sessions: u32, marks: u32) {
    let mut study = demo::study::study();
    "Synthetic archive".clone_into(&mut study.title);
    study.plans.clear();
    // About fifty sessions an animal, over five years.
    let animals = (sessions / 50).max(2);
    study.animals = (0..animals)
        .map(|n| Animal {
            id: format!("a{n:04}").into(),
            name: format!("Animal {n}"),
            species: Some(if n % 3 == 0 { "corn snake" } else { "leopard gecko" }.to_owned()),
            ..Animal::default()
        })
        .collect();
    let folder = StudyFolder::create(root, study).unwrap();
    let ethogram = demo::study::ethogram();
    folder.save_ethogram(&ethogram).unwrap();
    let digest = ethogram.digest().unwrap();
    // The demo's passes fit its ethogram.
    let coding = serde_json::to_value(&demo::record::codings().unwrap()[0]).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for n in 0..sessions {
        one(&folder, n, animals, marks, (&coding["passes"], &digest), &mut rng);
    }
}

/// What an animal does, one after the other.
const STATES: [&str; 4] = ["still-relaxed", "still-alert", "move", "explore"];
/// What happens meanwhile.
const EVENTS: [&str; 5] = ["orient", "approach", "contact", "retreat", "marker"];

/// A behaviour, from, and to for a state; times in µs.
type Coded = (i64, &'static str, Option<i64>);

/// A cue every ten marks, a bout and an event in turn, a while out of sight, rarely a stop-level display.
fn coded(marks: u32, rng: &mut ChaCha8Rng) -> (Vec<Coded>, i64) {
    let mut all: Vec<Coded> = Vec::new();
    let mut at = 0;
    let bouts = marks.saturating_sub(3) / 2;
    for n in 0..bouts {
        let long = i64::from(rng.next_u32() % 150 + 2) * 40_000;
        let pick = |of: &[&'static str], rng: &mut ChaCha8Rng| of[rng.next_u32() as usize % of.len()];
        let state = if rng.next_u32().is_multiple_of(400) { "defensive" } else { pick(&STATES, rng) };
        all.push((at, state, Some(at + long)));
        let middle = at + long / 80_000 * 40_000;
        all.push(if n % 10 == 3 {
            (middle, "cue", Some(at + long))
        } else if n % 10 == 7 {
            (middle, "food", None)
        } else {
            (middle, pick(&EVENTS, rng), None)
        });
        at += long;
    }
    let hidden = at / 120_000 * 40_000;
    all.push((0, "in-view", Some(hidden)));
    all.push((hidden, "out-of-sight", Some(hidden + 4_000_000.min(at - hidden))));
    all.push((hidden + 4_000_000.min(at - hidden), "in-view", Some(at)));
    all.retain(|(from, _, to)| to.is_none_or(|to| to > *from));
    all.sort_unstable();
    (all, at)
}

fn one(
    folder: &StudyFolder,
    n: u32,
    animals: u32,
    marks: u32,
    (passes, digest): (&Value, &str),
    rng: &mut ChaCha8Rng,
) {
    let id = format!("s{n:05}");
    let (coded, length) = coded(marks, rng);
    let (year, month, day) = (2020 + n / animals % 5, n % 12 + 1, n % 28 + 1);
    let session = json!({
        "format": "shedlight/session", "version": 1, "id": id, "animal": format!("a{:04}", n % animals), "handler": "K-07",
        "recorded_at": format!("{year}-{month:02}-{day:02}T{:02}:00:00+01:00", n % 10 + 8),
        "clips": [{ "id": 0, "path": format!("clips/{id}.mp4"), "length": length }],
    });
    let own = folder.root().join("sessions").join(&id);
    std::fs::create_dir_all(&own).unwrap();
    std::fs::write(own.join("session.json"), json::to_text(&session).unwrap()).unwrap();
    let head = json!({
        "format": "shedlight/coding", "version": 1, "session": id, "by": "K-07", "purpose": "primary",
        "ethogram": { "id": "refuge", "revision": 1, "digest": digest }, "passes": passes, "status": "closed",
        "marks": [],
    });
    let mut text = json::to_text(&head).unwrap();
    text.truncate(text.rfind("[]").unwrap());
    text.push('[');
    for (mark, (from, behaviour, to)) in coded.iter().enumerate() {
        let comma = if mark == 0 { "" } else { "," };
        let to = to.map_or_else(String::new, |to| format!("\"to\": {to}, "));
        let _ = write!(
            text,
            "{comma}\n    {{\"id\": {}, \"behaviour\": \"{behaviour}\", \"from\": {from}, {to}\"clip\": 0, \"frame\": {}, \"placed\": \"stepped\"}}",
            mark + 1,
            from / 40_000
        );
    }
    text.push_str("\n  ]\n}\n");
    std::fs::write(own.join("K-07.1.coding.json"), text).unwrap();
}

/// The demo's record again and again, a fortnight later each time, until there are at least so many sessions; how many there are.
pub fn many(root: &Path, wanted: usize) -> usize {
    let sample = super::root().join("sample-codings");
    super::copy(&sample, root);
    let rounds = wanted.div_ceil(6);
    for round in 1..rounds {
        for session in 1..=6 {
            let id = format!("s{session}-{round:02}");
            let to = root.join("sessions").join(&id);
            super::copy(&sample.join(format!("sessions/s{session}")), &to);
            for entry in std::fs::read_dir(&to).unwrap() {
                let path = entry.unwrap().path();
                let mut own: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
                if path.ends_with("session.json") {
                    own["id"] = id.clone().into();
                    let at = |own: &Value| -> Option<chrono::DateTime<chrono::FixedOffset>> {
                        chrono::DateTime::parse_from_rfc3339(own.as_str()?).ok()
                    };
                    let later = chrono::TimeDelta::days(14 * i64::try_from(round).unwrap());
                    own["recorded_at"] = (at(&own["recorded_at"]).unwrap() + later).to_rfc3339().into();
                } else {
                    own["session"] = id.clone().into();
                }
                std::fs::write(&path, serde_json::to_vec(&own).unwrap()).unwrap();
            }
        }
    }
    rounds * 6
}
