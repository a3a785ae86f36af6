//! The demo, drawn: every chart in every look, for the tests and for people.

use shedlight::agreement::align::{self as agreement, Pairing};
use shedlight::agreement::pair::{Names, Options, PairAgreement, PairKind, SetAgreement, compare};
use shedlight::agreement::training::{Criterion, How, Training, Work, of_study};
use shedlight::measures::sequence::{Repeats, Transitions};
use shedlight::measures::survivorship::{self, Lengths};
use shedlight::measures::{Marks, Record, concern, presentations};
use shedlight::model::{Coding, Ethogram, Purpose, Session, Study};
use shedlight::numeric::product_limit::{Ending, Time};
use shedlight::report::album;
use shedlight::report::chart::{self, Chart, Coverage, Covered, Length, Look, Matrix};
use shedlight::storage::StudyFolder;
use shedlight::storage::study_folder::LoadedCoding;
use shedlight::time::Micros;

use crate::common::root;

/// The demo as it lies in `sample-codings`: primary codings, by date.
pub struct Demo {
    pub study: Study,
    pub codings: Vec<(Coding, Ethogram, Session)>,
}

impl Demo {
    pub fn load() -> Self {
        let folder = StudyFolder::open(&root().join("sample-codings")).unwrap();
        let mut codings = Vec::new();
        for entry in folder.list().sessions {
            for (path, _) in &entry.codings {
                let loaded = folder.load_coding(path).unwrap();
                if loaded.coding.purpose == Purpose::Primary {
                    codings.push((loaded.coding, loaded.ethogram, loaded.session));
                }
            }
        }
        Self { study: folder.study, codings }
    }

    pub fn records(&self) -> Vec<Record<'_>> {
        self.codings
            .iter()
            .map(|(coding, ethogram, session)| {
                Record::try_new(coding, ethogram, session, &self.study, Marks::All).unwrap()
            })
            .collect()
    }

    pub fn of_animal(&self, animal: &str) -> Vec<Record<'_>> {
        self.records().into_iter().filter(|record| record.session.animal.as_str() == animal).collect()
    }

    pub fn session(&self, id: &str) -> Record<'_> {
        self.records().into_iter().find(|record| record.session.id.as_str() == id).unwrap()
    }
}

/// Concern as the summary takes it: here everything is coded.
pub fn concern_of(record: &Record<'_>, look: &Look) -> Chart {
    let found = presentations::of(record);
    chart::concern(record, &found, &Ok(concern::of(record, &found)), look)
}

/// Transitions counted the plain way: bouts of the activity set that touch.
pub fn matrix(records: &[Record<'_>]) -> Matrix {
    let ethogram = records[0].ethogram;
    let set = "activity".into();
    let states: Vec<_> = ethogram.states_of(&set).collect();
    let mut matrix = Matrix {
        whose: "Bramble".to_owned(),
        states: states.iter().map(|state| state.name.clone()).collect(),
        counts: vec![vec![0; states.len()]; states.len()],
        first: vec![vec![None; states.len()]; states.len()],
        sessions: records.len(),
    };
    for record in records {
        let mut bouts: Vec<_> = states
            .iter()
            .enumerate()
            .flat_map(|(i, state)| record.bouts(state).into_iter().map(move |bout| (bout.span, i)))
            .collect();
        bouts.sort();
        for pair in bouts.windows(2) {
            let ((a, from), (b, to)) = (pair[0], pair[1]);
            if a.to == b.from {
                matrix.counts[from][to] += 1;
                let first = &mut matrix.first[from][to];
                if first.is_none() {
                    *first = Some((record.session.id.clone(), b.from));
                }
            }
        }
    }
    matrix
}

/// Bouts of a state over sessions.
pub fn lengths(records: &[Record<'_>], state: &str) -> Vec<Length> {
    let mut all = Vec::new();
    for record in records {
        let behaviour = record.ethogram.behaviour(&state.into()).unwrap();
        let found = survivorship::placed(record, behaviour, Lengths::Bouts).unwrap();
        all.extend(found.into_iter().map(|(at, time)| Length {
            time,
            session: record.session.id.clone(),
            at,
        }));
    }
    all
}

/// Made gaps in clusters: 90 of a process with a mean of 4 s, 24 of one of 90 s, at their quantiles.
pub fn clustered() -> Vec<Length> {
    let process =
        |n: u32, mean: f64| (0..n).map(move |i| -(1.0 - (f64::from(i) + 0.5) / f64::from(n)).ln() * mean);
    let mut at = 0.0;
    let place = |length: f64| {
        at += length;
        let start = Micros::from_seconds(at - length).unwrap();
        Length { time: Time { length, ending: Ending::Reached }, session: "s1".into(), at: start }
    };
    process(90, 4.0).chain(process(24, 90.0)).map(place).collect()
}

/// The criterion of these.
pub fn criterion_of(lengths: &[Length]) -> Result<survivorship::Criterion, shedlight::measures::Missing> {
    survivorship::criterion(&lengths.iter().map(|own| own.time).collect::<Vec<_>>())
}

/// A course of a rate, with an interval and a session without value.
pub fn course(demo: &Demo) -> chart::Reading<'_> {
    let occasions = demo
        .of_animal("bramble")
        .into_iter()
        .enumerate()
        .map(|(i, record)| {
            let n = record.role_onsets(shedlight::model::Role::Food).len();
            let food = f64::from(u32::try_from(n).unwrap());
            let minutes = record.window().length().seconds() / 60.0;
            let (value, interval) = if i == 2 {
                (Err("pass not done".to_owned()), None)
            } else {
                let rate = food / minutes;
                let spread = food.sqrt() / minutes;
                (Ok(rate), Some((rate - spread, rate + spread)))
            };
            chart::Occasion {
                session: record.session,
                value,
                interval,
                label: format!("{food:.0}"),
                target: None,
                at: record.window().from,
            }
        })
        .collect();
    chart::Reading {
        title: "Bramble: reinforcement".to_owned(),
        caption: "Deliveries of food a minute of observed time; whiskers: one standard error.".to_owned(),
        axis: "food, 1/min".to_owned(),
        counts: "food".to_owned(),
        is_share: false,
        occasions,
    }
}

/// Thirty sessions on four steps.
pub fn long_course(demo: &Demo) -> chart::Reading<'_> {
    let few = course(demo).occasions;
    let occasions = (0_u8..30)
        .map(|i| {
            let mut own = few[usize::from(i) / 8 % 2 * 3].clone();
            let wave = (f64::from(i) * 0.7).sin() * 0.2 + 0.5;
            own.value = Ok(wave);
            own.interval = Some((wave - 0.15, wave + 0.2));
            own
        })
        .collect();
    chart::Reading { title: "Thirty sessions".to_owned(), occasions, ..course(demo) }
}

/// Every coding of the demo, with its file.
pub fn everything() -> (StudyFolder, Vec<(String, LoadedCoding)>) {
    let folder = StudyFolder::open(&root().join("sample-codings")).unwrap();
    let mut all = Vec::new();
    for entry in folder.list().sessions {
        for (path, _) in &entry.codings {
            let file = path.strip_prefix(folder.root()).unwrap().to_string_lossy().replace('\\', "/");
            all.push((file, folder.load_coding(path).unwrap()));
        }
    }
    (folder, all)
}

/// K-07 and K-12 on a session.
pub fn pair(session: &str) -> PairAgreement {
    let (folder, all) = everything();
    let of = |file: String| all.iter().find(|(own, _)| *own == file).unwrap();
    let first = of(format!("sessions/{session}/K-07.1.coding.json"));
    let second = of(format!("sessions/{session}/K-12.1.coding.json"));
    let names = Names {
        first: first.0.clone(),
        second: second.0.clone(),
        session: session.to_owned(),
        first_by: "K-07".to_owned(),
        second_by: "K-12".to_owned(),
        kind: PairKind::Between,
    };
    let (one, other) = (&first.1, &second.1);
    let pairing =
        Pairing::try_new(&one.coding, &other.coding, &one.ethogram, &one.session, agreement::Marks::All)
            .unwrap();
    compare(names, &pairing, &folder.study, Options::default()).0
}

/// The demo's coders; K-07's codings of s3 and s5 stand as references.
pub fn coders() -> Training {
    let (mut folder, all) = everything();
    folder.study.reference_codings =
        ["s3", "s5"].map(|id| format!("sessions/{id}/K-07.1.coding.json")).to_vec();
    let work: Vec<Work<'_>> = all
        .iter()
        .map(|(file, own)| Work { file, coding: &own.coding, session: &own.session, ethogram: &own.ethogram })
        .collect();
    of_study(&folder.study, &work, How::default(), Criterion::default())
}

fn follow(records: &[Record<'_>], look: &Look) -> Chart {
    let all: Vec<&Record<'_>> = records.iter().collect();
    let set = "activity".into();
    let found = Transitions::of(&all, &set, std::num::NonZeroUsize::MIN, Repeats::Merged).unwrap();
    chart::follow(&matrix(records), Some(&found.against_chance().unwrap().adjusted), look)
}

fn sampled(records: &[Record<'_>], look: &Look) -> Chart {
    chart::sampled("Bramble", records.len(), &album::samplings(records, &"activity".into()), look)
}

fn coverage(demo: &Demo, look: &Look) -> Chart {
    let sessions: Vec<Session> = demo.codings.iter().map(|(_, _, session)| session.clone()).collect();
    let codings: Vec<&Coding> = demo.codings.iter().map(|(coding, ..)| coding).collect();
    chart::coverage(&album::covered(&demo.study, &sessions, &codings), look)
}

/// Sessions of two animals over three years, some days with several, some without a date.
pub fn many_sessions(demo: &Demo) -> Vec<Session> {
    let (_, _, session) = &demo.codings[0];
    let mut sessions = Vec::new();
    for n in 0..120_i64 {
        let mut own = session.clone();
        own.id = format!("n{n}").as_str().into();
        own.recorded_at = session.recorded_at.map(|at| at + chrono::Duration::days(n * n % 900));
        own.animal = if n % 3 == 0 { "sorrel".into() } else { "bramble".into() };
        sessions.push(own);
    }
    for own in &mut sessions[..2] {
        own.recorded_at = None;
    }
    sessions
}

fn long_coverage(demo: &Demo, look: &Look) -> Chart {
    let sessions = many_sessions(demo);
    let kinds = [Coverage::Filmed, Coverage::Coded, Coverage::CodedTwice, Coverage::LeftOut];
    let of = |(n, session)| Covered {
        session,
        animal: session.animal.to_string(),
        coverage: kinds[n % kinds.len()],
    };
    let all: Vec<Covered<'_>> = sessions.iter().enumerate().map(of).collect();
    chart::coverage(&all, look)
}

/// Every chart, by name.
pub fn all(demo: &Demo, look: &Look) -> Vec<(&'static str, Chart)> {
    let (records, bramble) = (demo.records(), demo.of_animal("bramble"));
    let (s1, s4, s5) = (demo.session("s1"), demo.session("s4"), demo.session("s5"));
    vec![
        ("raster-session", chart::session_raster(&s5, look)),
        ("raster-session-long", chart::session_raster(&s4, look)),
        ("raster-cues", chart::cue_raster(&s1, look)),
        ("raster-cues-s5", chart::cue_raster(&s5, look)),
        ("budget", chart::budget(&records, None, look)),
        ("latency", chart::latencies(&bramble, look)),
        ("latency-one", chart::latencies(std::slice::from_ref(&s5), look)),
        ("success", chart::success(&bramble, look)),
        ("approach", chart::approach(&bramble, look)),
        ("concern", concern_of(&s5, look)),
        ("concern-watch", concern_of(&s4, look)),
        ("cumulative", chart::cumulative(&demo.session("s3"), look)),
        ("transitions", chart::transitions(&matrix(&bramble), look)),
        ("follow", follow(&bramble, look)),
        ("sampled", sampled(&bramble, look)),
        (
            "survivorship",
            chart::survivorship(
                "Bramble, bouts of still, alert",
                &lengths(&bramble, "still-alert"),
                None,
                look,
            ),
        ),
        (
            "survivorship-criterion",
            chart::survivorship(
                "Made, gaps between taps",
                &clustered(),
                Some(criterion_of(&clustered()).as_ref().map_err(|why| *why)),
                look,
            ),
        ),
        (
            "survivorship-few",
            chart::survivorship(
                "Made, gaps between taps",
                &clustered()[60..100],
                Some(criterion_of(&clustered()[60..100]).as_ref().map_err(|why| *why)),
                look,
            ),
        ),
        ("coverage", coverage(demo, look)),
        ("coverage-long", long_coverage(demo, look)),
        ("trend", chart::trend(&course(demo), look)),
        ("trend-long", chart::trend(&long_course(demo), look)),
        ("agreement", chart::agreement(&pair("s5"), &str::to_owned, look)),
        ("confusion", chart::confusion(&pair("s3"), activity(&pair("s3")), &str::to_owned, look)),
        (
            "confusion-handler",
            chart::confusion(&pair("s5"), pair("s5").sets.last().unwrap(), &str::to_owned, look),
        ),
        ("coders", chart::coders(&coders(), "activity", "Activity", look)),
        ("empty", chart::budget(&[], None, look)),
    ]
}

/// `SHEDLIGHT_CHARTS=folder cargo test --no-default-features charts_for_people` writes them there.
#[test]
fn charts_for_people() {
    let Some(folder) = std::env::var_os("SHEDLIGHT_CHARTS").map(std::path::PathBuf::from) else { return };
    std::fs::create_dir_all(&folder).unwrap();
    let demo = Demo::load();
    let narrow = Look::light().with_width(chart::NARROWEST);
    for (mode, look) in
        [("dark", Look::dark()), ("light", Look::light()), ("print", Look::print()), ("narrow", narrow)]
    {
        for (name, chart) in all(&demo, &look) {
            std::fs::write(folder.join(format!("{name}-{mode}.svg")), chart.svg).unwrap();
        }
    }
}

/// The set most is compared in.
pub fn activity(pair: &PairAgreement) -> &SetAgreement {
    pair.sets.iter().find(|set| set.set == "activity").unwrap()
}
