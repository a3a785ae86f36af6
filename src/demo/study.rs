//! Who and what: the invented refuge, its animals, plans, ethogram and sessions.

use chrono::{DateTime, FixedOffset, NaiveDate, TimeDelta};

use super::TITLE;
use super::record::hidden;
use super::script::{Script, Tenths};
use crate::model::{
    Actor, Animal, Behaviour, Choice, Clip, ClipId, ClockAnchor, ClockSource, ConcernRule, Context,
    Criterion, Decision, EndRules, Ethogram, Extra, Facts, Food, Kind, Level, Mass, Person, Plan, Rise, Role,
    Session, Set, Sex, Step, Study, SyncPoint, Taxon, starter,
};
use crate::time::{Micros, Seconds};

/// The study.
#[must_use]
pub fn study() -> Study {
    let mut study = Study::new(TITLE);
    study.place = Some("Varnley Hollow".to_owned());
    study.zone = Some("Europe/London".to_owned());
    let person = |code: &str, role: &str| Person {
        code: code.into(),
        role: Some(role.to_owned()),
        reaction_lag_s: Some(Seconds::from_millis(250)),
        ..Person::default()
    };
    study.people = vec![person("K-07", "keeper, first coder"), person("K-12", "keeper, second coder")];
    study.animals = vec![
        Animal {
            id: "bramble".into(),
            name: "Bramble".to_owned(),
            species: Some("red-footed tortoise".to_owned()),
            taxon: Some(Taxon::Chelonian),
            sex: Some(Sex::Female),
            mass: Some(Mass { grams: 3400.0, on: NaiveDate::from_ymd_opt(2025, 2, 24), extra: Extra::new() }),
            origin: Some("surrendered two years ago".to_owned()),
            ..Animal::default()
        },
        Animal {
            id: "sorrel".into(),
            name: "Sorrel".to_owned(),
            species: Some("blue-tongued skink".to_owned()),
            taxon: Some(Taxon::Lizard),
            sex: Some(Sex::Male),
            mass: Some(Mass { grams: 460.0, on: NaiveDate::from_ymd_opt(2025, 2, 24), extra: Extra::new() }),
            origin: Some("seven months in care".to_owned()),
            ..Animal::default()
        },
    ];
    study.plans = vec![
        plan(
            "bramble-scale",
            "bramble",
            "Walks onto the scale and stays for 10 s",
            60,
            20.0,
            &[
                "calm at 2 m",
                "orients to the target",
                "advances to one shell length",
                "touches the target",
                "follows the target for 1 m",
                "front feet on a dummy platform",
                "all feet on it for 5 s",
                "on the scale for 10 s",
            ],
            0,
        ),
        plan(
            "sorrel-box",
            "sorrel",
            "Enters the transport box while the lid is moved",
            30,
            4.0,
            &[
                "orients to the target",
                "touches the target",
                "front half in the box",
                "whole body in",
                "stays for 10 s",
                "lid moved",
            ],
            1,
        ),
    ];
    study
}

fn plan(id: &str, animal: &str, goal: &str, hold_s: i64, cap_g: f64, steps: &[&str], first: u32) -> Plan {
    Plan {
        id: id.into(),
        animal: animal.into(),
        goal: goal.to_owned(),
        cue: Some("target held in its start position".to_owned()),
        marker: Some("click".to_owned()),
        reinforcer: Some("food from tongs".to_owned()),
        end: EndRules {
            max_minutes: Some(15.0),
            max_presentations: Some(10),
            food_cap_g: Some(cap_g),
            refusals_in_a_row: Some(3),
            after_stop: true,
            extra: Extra::new(),
        },
        steps: (first..)
            .zip(steps)
            .map(|(n, text)| Step {
                n,
                text: (*text).to_owned(),
                success: Some("contact".into()),
                hold_s: Some(Seconds::whole(hold_s)),
                criterion: Criterion { k: 8, n: 10 },
                sessions: 1,
                ..Step::default()
            })
            .collect(),
        extra: Extra::new(),
    }
}

/// The ethogram, as it was frozen.
#[must_use]
#[allow(clippy::too_many_lines)] // One table of behaviours.
pub fn ethogram() -> Ethogram {
    let mut ethogram = Ethogram::new("refuge".into(), "Target and box training, both animals");
    let set = |id: &str, name: &str| Set {
        id: id.into(),
        name: name.to_owned(),
        exhaustive: true,
        extra: Extra::new(),
    };
    ethogram.sets = vec![set(starter::VISIBILITY, "Visibility"), set(starter::ACTIVITY, "Activity")];
    let watch = ConcernRule::new(Level::Watch);
    let stop = ConcernRule::new(Level::Stop);
    let state = |id: &str, name: &str, set: Option<&str>, key: char, onset: &str, offset: &str| {
        let mut behaviour = Behaviour::new(id, name, Kind::State);
        behaviour.set = set.map(Into::into);
        behaviour.key = Some(key);
        onset.clone_into(&mut behaviour.definition.onset);
        behaviour.definition.offset = Some(offset.to_owned());
        behaviour
    };
    let event = |id: &str, name: &str, key: char, onset: &str, roles: &[Role]| {
        let mut behaviour = Behaviour::new(id, name, Kind::Event);
        behaviour.key = Some(key);
        behaviour.roles = roles.to_vec();
        onset.clone_into(&mut behaviour.definition.onset);
        behaviour
    };
    let (visibility, activity) = (Some(starter::VISIBILITY), Some(starter::ACTIVITY));
    let mut all = vec![
        state(
            "in-view",
            "In view",
            visibility,
            'q',
            "Head and at least half the body can be judged.",
            "They no longer can.",
        ),
        state(
            "out-of-sight",
            "Out of sight",
            visibility,
            'w',
            "Nothing codable is visible.",
            "Head or body can be judged again.",
        ),
        state(
            "still-relaxed",
            "Still, relaxed",
            activity,
            'a',
            "No displacement, neck low, normal breathing.",
            "Any other activity.",
        ),
        state(
            "still-alert",
            "Still, alert",
            activity,
            's',
            "No displacement, head raised or neck extended and held.",
            "Any other activity.",
        ),
        state(
            "move",
            "Move about",
            activity,
            'd',
            "Whole body moves by a head length or more.",
            "2 s without displacement.",
        ),
        state(
            "explore",
            "Explore",
            activity,
            'f',
            "First of repeated tongue-flicks or nose contacts.",
            "5 s without another.",
        ),
        state("feed", "Feed", activity, 'g', "Food in the mouth.", "After the last swallow."),
        state("cover", "Cover, withdraw", activity, 'h', "Head drawn in or under cover.", "Head out again."),
        state(
            "defensive",
            "Defensive display",
            activity,
            'j',
            "Inflation with hiss, or gape at the handler.",
            "Posture given up.",
        ),
        event("orient", "Orient", 'e', "Snout turns to within 30° of the target.", &[Role::Orient]),
        event(
            "approach",
            "Approach start",
            'r',
            "First picture of an advance of a head length or more.",
            &[Role::Approach],
        ),
        event(
            "retreat",
            "Retreat start",
            't',
            "First picture of movement away by a head length or more.",
            &[Role::Retreat],
        ),
        event("draw-back", "Head draw-back", 'u', "Fast pull of the head, body still.", &[Role::DrawBack]),
        event("contact", "Target contact", 'y', "Snout touches the target.", &[Role::Contact, Role::Success]),
        event("take-food", "Take food", 'i', "Jaws close on the item.", &[Role::Feed]),
        event("refuse-food", "Refuse food", 'o', "Offered for 10 s and not taken.", &[Role::Refuse]),
        event("hiss", "Hiss", 'p', "Audible or visible forced breath out.", &[Role::Defensive]),
        state("cue", "Cue shown", None, '1', "Target in its start position.", "Target taken away."),
        event("marker", "Marker given", '2', "First sound of the click.", &[Role::Marker]),
        event("food", "Food delivered", '3', "Item within two head lengths of the mouth.", &[Role::Food]),
        state(
            "reach-in",
            "Reach in",
            None,
            '5',
            "Hand across the enclosure's line without a target.",
            "Hand out again.",
        ),
        event(
            "back-off",
            "Handler backs off",
            '4',
            "Clear increase of distance: hand or target withdrawn.",
            &[Role::BackOff],
        ),
        state(
            "disturbance",
            "Disturbance",
            None,
            '6',
            "Noise, person or animal from outside.",
            "It is over.",
        ),
    ];
    for behaviour in &mut all {
        match behaviour.id.as_str() {
            "in-view" => behaviour.roles = vec![Role::Visible],
            "out-of-sight" => {
                behaviour.roles = vec![Role::Excluded];
                behaviour.details =
                    ["cover", "handler", "frame", "light", "file gap"].map(str::to_owned).to_vec();
            }
            "feed" => behaviour.roles = vec![Role::Feed],
            "cover" => {
                behaviour.roles = vec![Role::Hide];
                let rise = Rise {
                    to: Level::Stop,
                    after_s: Some(Seconds::whole(60)),
                    total_s: None,
                    count: None,
                    window_s: None,
                    extra: Extra::new(),
                };
                behaviour.concern = vec![ConcernRule { rise: Some(rise), ..watch.clone() }];
            }
            "defensive" => {
                behaviour.roles = vec![Role::Defensive];
                behaviour.concern = vec![stop.clone()];
            }
            "retreat" => {
                behaviour.concern = vec![ConcernRule { when: Context::InPresentation, ..watch.clone() }];
            }
            "draw-back" | "refuse-food" => behaviour.concern = vec![watch.clone()],
            "hiss" => {
                behaviour.concern =
                    vec![stop.clone(), ConcernRule { taxa: vec![Taxon::Chelonian], ..watch.clone() }];
            }
            "cue" => behaviour.roles = vec![Role::Cue],
            "disturbance" => behaviour.roles = vec![Role::Disturbance],
            _ => {}
        }
        if ["cue", "marker", "food", "reach-in", "back-off", "disturbance"].contains(&behaviour.id.as_str()) {
            behaviour.who = Actor::Handler;
        }
    }
    ethogram.behaviours = all;
    ethogram.passes = starter::passes(&ethogram.behaviours);
    ethogram
}

/// The next revision, after the two coders had settled where they differed in session 5.
#[must_use]
pub fn second_revision() -> Ethogram {
    let mut ethogram = ethogram();
    ethogram.revision = 2;
    ethogram.changed = Some(
        "Cover: 'eyes hidden' added, since a head under the lamp shelf was coded in two ways. Defensive display: a gap of 2 s or more starts a new bout."
            .to_owned(),
    );
    for behaviour in &mut ethogram.behaviours {
        match behaviour.id.as_str() {
            "cover" => {
                "Head drawn in or under cover, eyes hidden.".clone_into(&mut behaviour.definition.onset);
            }
            "defensive" => behaviour.new_bout_after_s = Some(Seconds::whole(2)),
            _ => {}
        }
    }
    ethogram
}

/// The time between the two pieces of session 2, in tenths.
#[must_use]
pub fn gap(script: &Script) -> (Tenths, Tenths) {
    let from = hidden(script).get(2).map_or(0, |(from, _)| *from);
    (from, from + 4)
}

fn time(text: &str) -> Option<DateTime<FixedOffset>> {
    DateTime::parse_from_rfc3339(text).ok()
}

/// A session with its facts, food, clips, clocks and decision.
#[must_use]
#[allow(clippy::too_many_lines)] // One table of sessions.
pub fn session(script: &Script) -> Session {
    let mut session = Session::new(script.id.into(), script.animal.into());
    session.handler = Some(if [3, 5].contains(&script.number) { "K-12".into() } else { "K-07".into() });
    session.zone = Some("Europe/London".to_owned());
    session.plan =
        Some(if script.animal == "bramble" { "bramble-scale".into() } else { "sorrel-box".into() });
    session.step = Some(script.step);
    session.clock_source = Some(ClockSource::Camera);
    session.facts = Facts {
        air_c: Some(25.5),
        basking_c: Some(33.0),
        days_since_fed: Some(if script.animal == "bramble" { 1.0 } else { 2.0 }),
        disturbance_expected: Some(false),
        exit_open: Some(true),
        other_food: Some(false),
        enclosure_as_usual: Some(true),
        ..Facts::default()
    };
    let item = if script.animal == "bramble" { "dandelion leaf" } else { "snail" };
    session.food = vec![Food { item: item.to_owned(), grams: Some(script.grams), extra: Extra::new() }];
    let length = Micros::from_whole_seconds(script.length_s);
    let clip = |id: u32, path: &str, offset: Micros, length: Micros| Clip {
        offset,
        length: Some(length),
        ..Clip::new(ClipId(id), path)
    };
    let whole = |path: &str| vec![clip(0, path, Micros::ZERO, length)];
    let decide = |choice, to_step, reason: &str| {
        Some(Decision {
            choice,
            to_step,
            reason: reason.to_owned(),
            by: Some("K-07".into()),
            on: None,
            extra: Extra::new(),
        })
    };
    match script.number {
        1 => {
            session.recorded_at = time("2025-03-03T15:10:00+00:00");
            session.clips = whole("clips/s1-phone.mp4");
            session.decision = decide(Choice::Stay, Some(3), "5 of 10");
            session.notes = Some("Pass 4 was coded on the second day.".to_owned());
        }
        2 => {
            session.recorded_at = time("2025-03-06T15:30:00+00:00");
            let (from, to) = gap(script);
            let (from, to) = (Micros(from * 100_000), Micros(to * 100_000));
            session.clips = vec![
                clip(0, "clips/s2-0001.mp4", Micros::ZERO, from),
                clip(1, "clips/s2-0002.mp4", to, length - to),
            ];
            session.decision = decide(Choice::Stay, Some(3), "6 of 10");
        }
        3 => {
            session.recorded_at = time("2025-03-13T15:05:00+00:00");
            session.clips = whole("clips/s3-phone.mp4");
            session.decision = decide(Choice::Advance, Some(4), "9 of 10, nothing stop-level");
        }
        4 => {
            // The overlay reads seven minutes behind true time: a correction of +7:00.
            session.recorded_at = time("2025-03-20T14:48:00+00:00");
            session.clock_source = Some(ClockSource::Overlay);
            session.clock_anchors = [60, 840]
                .into_iter()
                .filter_map(|second| {
                    let shown = session.recorded_at? + TimeDelta::seconds(second);
                    Some(ClockAnchor {
                        at: Micros::from_whole_seconds(second),
                        shown: Some(shown),
                        true_time: shown + TimeDelta::minutes(7),
                        note: Some("radio-controlled clock held into the picture".to_owned()),
                        extra: Extra::new(),
                    })
                })
                .collect();
            session.clips = whole("clips/s4-cctv.mp4");
            session.decision = decide(Choice::Stay, Some(4), "4 of 8; one void: pump alarm, to be mended");
        }
        5 => {
            session.recorded_at = time("2025-03-27T15:20:00+00:00");
            let later = Micros(1_840_000);
            session.clips = vec![
                clip(0, "clips/s5-phone.mp4", Micros::ZERO, length),
                clip(1, "clips/s5-cctv.mp4", later, length - later),
            ];
            for (clip, camera) in session.clips.iter_mut().zip(["phone", "CCTV"]) {
                clip.camera = Some(camera.to_owned());
            }
            session.sync_points = vec![SyncPoint {
                what: Some("lamp clicks on".to_owned()),
                clip: ClipId(0),
                at: Micros(12_000_000),
                other: ClipId(1),
                other_at: Micros(12_000_000) - later,
                extra: Extra::new(),
            }];
            session.decision = decide(Choice::StepBack, Some(2), "two stop-level displays; vet check asked");
        }
        _ => {
            session.recorded_at = time("2025-04-03T15:15:00+01:00");
            session.clips = whole("clips/s6-phone.mp4");
            session.decision = decide(Choice::Advance, Some(5), "9 of 10");
        }
    }
    session
}
