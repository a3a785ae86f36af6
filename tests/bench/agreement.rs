//! How fast two long codings are compared: the exact table with each behaviour's kappa and the matched
//! events, against label vectors at 30 pictures a second with scikit-learn's kappa in the same run; and
//! resampling a study of 200 sessions. `cargo bench --no-default-features --bench agreement`.
//!
//! For the comparison name a Python that has numpy and scikit-learn: `SHEDLIGHT_PYTHON=…/bin/python`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout, missing_docs)]
#![allow(clippy::cast_precision_loss, clippy::indexing_slicing)]

use std::hint::black_box;
use std::process::Command;
use std::time::{Duration, Instant};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::{Value, json};
use shedlight::agreement::align::{Marks, Pairing, Row, Unit};
use shedlight::agreement::kappa::Table;
use shedlight::agreement::matching;
use shedlight::agreement::pair::{Session as OfSession, pool};
use shedlight::model::{Coding, Ethogram, Kind, Session};
use shedlight::time::Micros;

const STATES: usize = 8;
const EVENTS: usize = 6;
/// Bouts and events of a coding: 20,000 marks.
const BOUTS: usize = 12_000;
const MOMENTS: usize = 8_000;
const HOURS: i64 = 8;
const TOLERANCE: Micros = Micros::from_whole_seconds(1);

fn ethogram() -> Ethogram {
    let state = |i: usize| json!({"id": format!("state-{i}"), "name": format!("State {i}"), "kind": "state", "who": "animal", "set": "act"});
    let event = |i: usize| json!({"id": format!("event-{i}"), "name": format!("Event {i}"), "kind": "event", "who": "animal"});
    let behaviours: Vec<Value> = (0..STATES).map(state).chain((0..EVENTS).map(event)).collect();
    serde_json::from_value(json!({
        "format": "shedlight/ethogram", "version": 1, "id": "bench", "revision": 1, "title": "Made",
        "sets": [{"id": "act", "name": "Activity", "exhaustive": true}], "behaviours": behaviours,
    }))
    .unwrap()
}

/// Bouts as (from, state), and events as (at, event), in µs.
struct Made {
    bouts: Vec<(i64, usize)>,
    moments: Vec<(i64, usize)>,
}

fn below(random: &mut ChaCha8Rng, n: usize) -> usize {
    usize::try_from(random.next_u64() % n as u64).unwrap()
}

fn first(random: &mut ChaCha8Rng, length: i64, bouts: usize, moments: usize) -> Made {
    let mut starts = vec![0];
    starts.extend((1..bouts).map(|_| i64::try_from(random.next_u64() % length.cast_unsigned()).unwrap()));
    starts.sort_unstable();
    starts.dedup();
    let bouts = starts.into_iter().map(|from| (from, below(random, STATES))).collect();
    let mut moments: Vec<(i64, usize)> = (0..moments)
        .map(|_| (i64::try_from(random.next_u64() % length.cast_unsigned()).unwrap(), below(random, EVENTS)))
        .collect();
    moments.sort_unstable();
    Made { bouts, moments }
}

/// The same, each boundary up to 0.4 s elsewhere, one in eight named otherwise.
fn second(random: &mut ChaCha8Rng, of: &Made, length: i64) -> Made {
    let mut change = |list: &[(i64, usize)], names: usize, fixed: bool| -> Vec<(i64, usize)> {
        let mut all: Vec<(i64, usize)> = list
            .iter()
            .map(|(at, label)| {
                let shift = i64::try_from(below(random, 800_000)).unwrap() - 400_000;
                let at = if fixed && *at == 0 { 0 } else { (at + shift).clamp(1, length - 1) };
                (at, if below(random, 8) == 0 { below(random, names) } else { *label })
            })
            .collect();
        all.sort_unstable();
        all.dedup_by_key(|own| own.0);
        all
    };
    Made { bouts: change(&of.bouts, STATES, true), moments: change(&of.moments, EVENTS, false) }
}

fn coding(session: &str, by: &str, made: &Made, length: i64) -> Coding {
    let mut marks: Vec<(i64, Value)> = Vec::new();
    for (i, (from, state)) in made.bouts.iter().enumerate() {
        let to = made.bouts.get(i + 1).map_or(length, |next| next.0);
        marks.push((*from, json!({"behaviour": format!("state-{state}"), "from": from, "to": to})));
    }
    for (at, event) in &made.moments {
        marks.push((*at, json!({"behaviour": format!("event-{event}"), "from": at})));
    }
    marks.sort_by_key(|own| own.0);
    let marks: Vec<Value> = marks
        .into_iter()
        .enumerate()
        .map(|(i, (_, mut mark))| {
            mark["id"] = json!(i + 1);
            mark
        })
        .collect();
    let all: Vec<String> = ethogram().behaviours.iter().map(|own| own.id.to_string()).collect();
    serde_json::from_value(json!({
        "format": "shedlight/coding", "version": 1, "session": session, "by": by, "purpose": "primary",
        "ethogram": {"id": "bench", "revision": 1, "digest": ""}, "window": {"from": 0, "to": length},
        "passes": [{"name": "All", "behaviours": all, "done": true}], "marks": marks,
    }))
    .unwrap()
}

/// Exact table, a kappa for the set and each behaviour, all events matched.
fn compare(
    first: &Coding,
    second: &Coding,
    ethogram: &Ethogram,
    session: &Session,
) -> (f64, Vec<f64>, usize) {
    let pairing = Pairing::try_new(first, second, ethogram, session, Marks::All).unwrap();
    let overlay = pairing.overlay(&Row::Set("act".into()), Unit::Exact).unwrap();
    let cells: Vec<Vec<f64>> =
        overlay.cells.iter().map(|row| row.iter().map(|cell| Micros(*cell).seconds()).collect()).collect();
    let table = Table::from_rows(&cells).unwrap();
    let each = (0..STATES).map(|i| table.one_against_rest(i).kappa().unwrap().kappa).collect();
    let mut matched = 0;
    for event in ethogram.behaviours.iter().filter(|own| own.kind == Kind::Event) {
        let [one, other] = pairing.onsets(event).unwrap();
        matched += matching::events(&one, &other, TOLERANCE).pairs.len();
    }
    (table.kappa().unwrap().kappa, each, matched)
}

fn best_of<T>(times: usize, mut work: impl FnMut() -> T) -> (Duration, Duration) {
    let mut all: Vec<Duration> = (0..times)
        .map(|_| {
            let start = Instant::now();
            let _ = black_box(work());
            start.elapsed()
        })
        .collect();
    all.sort_unstable();
    (all[0], all[all.len() / 2])
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

fn main() {
    let length = Micros::from_whole_seconds(HOURS * 3600).0;
    let mut random = ChaCha8Rng::seed_from_u64(6);
    let one = first(&mut random, length, BOUTS, MOMENTS);
    let other = second(&mut random, &one, length);
    let ethogram = ethogram();
    let session = Session::new("s1".into(), "made".into());
    let (a, b) = (coding("s1", "A", &one, length), coding("s1", "B", &other, length));
    let (kappa, each, matched) = compare(&a, &b, &ethogram, &session);
    let (best, median) = best_of(200, || compare(&a, &b, &ethogram, &session));
    println!(
        "two codings of {HOURS} h, {} and {} marks: kappa {kappa:.6}, {matched} events in pairs",
        a.marks.len(),
        b.marks.len()
    );
    println!(
        "  exact table, {} kappas, events matched: median {:.2} ms, best {:.2} ms (to reach: 5 ms)",
        each.len() + 1,
        millis(median),
        millis(best)
    );
    against_vectors(&one, &other, length, median, kappa);
    study(&mut random, &ethogram);
}

/// numpy and scikit-learn on the same codings, without events.
fn against_vectors(one: &Made, other: &Made, length: i64, own: Duration, kappa: f64) {
    let python = std::env::var("SHEDLIGHT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let lists = |made: &Made| json!({"from": made.bouts.iter().map(|own| own.0).collect::<Vec<_>>(), "state": made.bouts.iter().map(|own| own.1).collect::<Vec<_>>()});
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bouts.json");
    let all = json!({"length": length, "states": STATES, "first": lists(one), "second": lists(other)});
    std::fs::write(&file, all.to_string()).unwrap();
    let script = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/label_vectors.py");
    let ran = Command::new(&python).arg(script).arg(&file).output();
    let said = match &ran {
        Ok(ran) if ran.status.success() => String::from_utf8_lossy(&ran.stdout).into_owned(),
        Ok(ran) => {
            println!(
                "  no comparison: {}",
                String::from_utf8_lossy(&ran.stderr).lines().last().unwrap_or("")
            );
            return;
        }
        Err(error) => {
            println!("  no comparison: {python}: {error}");
            return;
        }
    };
    let found: Value = serde_json::from_str(&said).unwrap();
    let number = |name: &str| found[name].as_f64().unwrap();
    println!(
        "  label vectors at 30 a second ({} labels), kappa and {STATES} kappas: median {:.1} ms (kappa {:.6}, ours {kappa:.6})",
        found["labels"],
        number("millis"),
        number("kappa")
    );
    println!("  ratio {:.0} (to reach: 20); ours matches the events as well", number("millis") / millis(own));
}

/// A study of 200 sessions of ten minutes.
fn study(random: &mut ChaCha8Rng, ethogram: &Ethogram) {
    let length = Micros::from_whole_seconds(600).0;
    let sessions: Vec<OfSession> = (0..200)
        .map(|i| {
            let id = format!("s{i}");
            let one = first(random, length, 250, 10);
            let other = second(random, &one, length);
            let (a, b) = (coding(&id, "A", &one, length), coding(&id, "B", &other, length));
            let session = Session::new(id.as_str().into(), "made".into());
            let pairing = Pairing::try_new(&a, &b, ethogram, &session, Marks::All).unwrap();
            let overlays =
                pairing.rows().iter().filter_map(|row| pairing.overlay(row, Unit::Exact)).collect();
            OfSession { id, ethogram: "bench revision 1".to_owned(), overlays }
        })
        .collect();
    let (best, median) = best_of(5, || pool(&sessions, 1));
    let found = pool(&sessions, 1);
    let resamples = shedlight::numeric::bootstrap::DRAWS;
    println!(
        "200 sessions pooled: kappa {:.3} {:?}",
        found[0].kappa.unwrap_or(f64::NAN),
        found[0].ci95.unwrap_or_default()
    );
    println!(
        "  {resamples} resamples of the set and of each of {STATES} behaviours, one core: median {:.0} ms, best {:.0} ms; a thousand: {:.0} ms (to reach: 2000 ms on two)",
        millis(median),
        millis(best),
        millis(median) * 1000.0 / resamples as f64
    );
}
