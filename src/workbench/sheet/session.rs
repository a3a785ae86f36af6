//! The sheet of a session: whose, when, which step, how it was that day, what was decided.

use chrono::{DateTime, FixedOffset};

use super::{LAST_TIME, Line, Section, Sheet, flag_words, number_words, units, word_of};
use crate::model::{Choice, ClockAnchor, Decision, Extra, Food, LeftOut, Session, ShedState, Study};
use crate::time::Micros;

const SHED: [(&str, ShedState); 4] = [
    ("between", ShedState::Between),
    ("before", ShedState::Before),
    ("shedding", ShedState::Shedding),
    ("after", ShedState::After),
];
const CHOICES: [(&str, Choice); 5] = [
    ("advance", Choice::Advance),
    ("stay", Choice::Stay),
    ("step back", Choice::StepBack),
    ("pause", Choice::Pause),
    ("refer", Choice::Refer),
];
const WHEN: &str = "%Y-%m-%d %H:%M:%S %:z";

/// The sheet of a session. `last`: the animal's session before it, whose values stand as hints.
#[must_use]
pub fn sheet(session: &Session, study: &Study, last: Option<&Session>) -> Sheet {
    let animal = study.animal(&session.animal).map_or("", |animal| animal.name.as_str());
    let plans: Vec<&str> = study
        .plans
        .iter()
        .filter(|plan| plan.animal == session.animal)
        .map(|plan| plan.id.as_str())
        .collect();
    let people: Vec<&str> = study.people.iter().map(|person| person.code.as_str()).collect();
    let mut sections = vec![
        Section { title: "Whose and when", lines: whose_lines(session, &people, &plans, last) },
        Section { title: "Conditions", lines: condition_lines(session, last) },
        Section { title: "After it", lines: after_lines(session, &people, last) },
    ];
    let clips = clip_lines(session);
    if !clips.is_empty() {
        sections.push(Section { title: "Clips", lines: clips });
    }
    Sheet { title: format!("{animal} · {}", session.id), sections }
}

/// What it was the last time.
fn before(value: Option<String>) -> String {
    value.filter(|value| !value.is_empty()).map_or_else(String::new, |value| format!("{LAST_TIME}{value}"))
}

fn whose_lines(session: &Session, people: &[&str], plans: &[&str], last: Option<&Session>) -> Vec<Line> {
    let handler = before(last.and_then(|last| last.handler.as_ref()).map(ToString::to_string));
    let handler = if handler.is_empty() { people.join(", ") } else { handler };
    vec![
        Line::new(
            "recorded_at",
            "Began at",
            "",
            "2025-03-13 15:05:00 +00:00",
            session.recorded_at.map_or_else(String::new, |time| time.format(WHEN).to_string()),
        ),
        Line::new(
            "anchors",
            "True time at",
            "",
            "0:00 = 15:02:00; a second one corrects the drift",
            anchors_words(&session.clock_anchors),
        ),
        Line::new(
            "handler",
            "Handler",
            "",
            &handler,
            session.handler.as_ref().map_or("", |own| own.as_str()),
        ),
        Line::new(
            "plan",
            "Plan",
            "",
            &plans.join(", "),
            session.plan.as_ref().map_or("", |own| own.as_str()),
        ),
        Line::new("step", "Step", "", "", session.step.map_or_else(String::new, |n| n.to_string())),
    ]
}

fn condition_lines(session: &Session, last: Option<&Session>) -> Vec<Line> {
    let number = |key, label, unit, own: Option<f64>, old: Option<f64>| {
        Line::new(key, label, unit, &before(old.map(|old| format!("{old}"))), number_words(own))
    };
    let flag = |key, label, own, old: Option<bool>| {
        let hint = before(old.map(|old| flag_words(Some(old))));
        let hint = if hint.is_empty() { "yes or no".to_owned() } else { hint };
        Line::new(key, label, "", &hint, flag_words(own))
    };
    let facts = &session.facts;
    let old = last.map(|last| &last.facts);
    vec![
        number("air", "Air", "°C", facts.air_c, old.and_then(|old| old.air_c)),
        number("basking", "Basking spot", "°C", facts.basking_c, old.and_then(|old| old.basking_c)),
        number("fed", "Last fed", "days ago", facts.days_since_fed, None),
        Line::new(
            "shed",
            "Shed",
            "",
            "between, before, shedding, after",
            word_of(facts.shed.as_ref(), &SHED),
        ),
        flag("disturbance", "Disturbance expected", facts.disturbance_expected, None),
        flag("exit", "Exit open", facts.exit_open, old.and_then(|old| old.exit_open)),
        flag("other_food", "Other food in reach", facts.other_food, old.and_then(|old| old.other_food)),
        flag(
            "as_usual",
            "Enclosure as usual",
            facts.enclosure_as_usual,
            old.and_then(|old| old.enclosure_as_usual),
        ),
        flag(
            "apart",
            "Apart from its group",
            facts.apart_from_group,
            old.and_then(|old| old.apart_from_group),
        ),
    ]
}

fn after_lines(session: &Session, people: &[&str], last: Option<&Session>) -> Vec<Line> {
    let food_hint = match before(last.map(|last| food_words(&last.food))) {
        hint if hint.is_empty() => "dandelion 12; melon 6".to_owned(),
        hint => hint,
    };
    let decision = session.decision.as_ref();
    vec![
        Line::new("food", "Food", "g", &food_hint, food_words(&session.food)),
        Line::new(
            "decision",
            "Decision",
            "",
            "advance, stay, step back, pause, refer",
            word_of(decision.map(|own| &own.choice), &CHOICES),
        ),
        Line::new(
            "to_step",
            "To step",
            "",
            "",
            decision.and_then(|own| own.to_step).map_or_else(String::new, |n| n.to_string()),
        ),
        Line::new("why", "Because", "", "the reason", decision.map_or("", |own| own.reason.as_str())),
        Line::new(
            "by",
            "Decided by",
            "",
            &people.join(", "),
            decision.and_then(|own| own.by.as_ref()).map_or("", |own| own.as_str()),
        ),
        Line::new(
            "left_out",
            "Left out because",
            "",
            "empty: it counts",
            session.left_out.as_ref().map_or("", |own| own.reason.as_str()),
        ),
        Line::new("notes", "Notes", "", "", session.notes.as_deref().unwrap_or("")),
    ]
}

fn clip_lines(session: &Session) -> Vec<Line> {
    let mut clips = Vec::new();
    for clip in &session.clips {
        let name = clip.path.rsplit(['/', '\\']).next().unwrap_or(&clip.path);
        let key = |what: &str| format!("clip {} {what}", clip.id.0);
        clips.push(Line::new(
            &key("camera"),
            &format!("{name}: camera"),
            "",
            "its name, where there are several",
            clip.camera.as_deref().unwrap_or(""),
        ));
        clips.push(Line::new(
            &key("offset"),
            &format!("{name}: begins at"),
            "s",
            "0",
            if clip.offset == Micros::ZERO { String::new() } else { clip.offset.to_string() },
        ));
        let factor = clip.real_time_factor;
        clips.push(Line::new(
            &key("factor"),
            &format!("{name}: filmed"),
            "× as fast as it plays",
            "1; slow motion 8",
            if (factor - 1.0).abs() < 1e-9 { String::new() } else { factor.to_string() },
        ));
    }
    clips
}

/// The session as the sheet has it; `None` when a line can't be read: the sheet then says which.
pub fn read(sheet: &mut Sheet, session: &Session, study: &Study) -> Option<Session> {
    let mut new = session.clone();
    new.recorded_at = sheet.read("recorded_at", |text| moment(text, session.recorded_at));
    new.clock_anchors = sheet.read("anchors", |text| read_anchors(text, session)).unwrap_or_default();
    let known = |text: &str| {
        let person = study.people.iter().find(|person| person.code.as_str().eq_ignore_ascii_case(text));
        person.map(|person| person.code.clone())
    };
    new.handler = sheet.read("handler", |text| {
        known(text).ok_or_else(|| "no such person in this study (F5 in Sessions adds one)".to_owned())
    });
    new.plan = sheet.read("plan", |text| {
        let known = study.plans.iter().find(|plan| plan.id.as_str() == text && plan.animal == session.animal);
        known
            .map(|plan| plan.id.clone())
            .ok_or_else(|| "no such plan of this animal (F3 makes one)".to_owned())
    });
    let plan = new.plan.as_ref().and_then(|plan| study.plan(plan));
    new.step = sheet.read("step", |text| {
        let n = text.parse::<u32>().map_err(|_| "a number".to_owned())?;
        match plan {
            Some(plan) if plan.steps.iter().all(|step| step.n != n) => {
                Err(format!("the plan has no step {n}"))
            }
            _ => Ok(n),
        }
    });
    let facts = &mut new.facts;
    facts.air_c = sheet.number("air", -10.0, 60.0);
    facts.basking_c = sheet.number("basking", -10.0, 80.0);
    facts.days_since_fed = sheet.number("fed", 0.0, 2000.0);
    facts.shed = sheet.choice("shed", &SHED);
    facts.disturbance_expected = sheet.flag("disturbance");
    facts.exit_open = sheet.flag("exit");
    facts.other_food = sheet.flag("other_food");
    facts.enclosure_as_usual = sheet.flag("as_usual");
    facts.apart_from_group = sheet.flag("apart");
    let unit = sheet.unit("food");
    new.food = sheet.read("food", |text| read_food(text, unit)).unwrap_or_default();
    let choice = sheet.choice("decision", &CHOICES);
    let to_step = sheet.whole("to_step", 1000);
    let reason = sheet.text("why").unwrap_or_default();
    // Who decides need not be one of the study's people.
    let by = sheet.text("by").map(|code| known(&code).unwrap_or_else(|| code.as_str().into()));
    if choice.is_some() && reason.is_empty() {
        let _: Option<()> = sheet.read("decision", |_| Err("a decision needs its reason".to_owned()));
    }
    new.decision = choice.map(|choice| Decision {
        choice,
        to_step,
        reason,
        by,
        on: session.decision.as_ref().and_then(|old| old.on),
        extra: session.decision.as_ref().map(|old| old.extra.clone()).unwrap_or_default(),
    });
    new.left_out = sheet.text("left_out").map(|reason| LeftOut {
        reason,
        by: session.left_out.as_ref().and_then(|old| old.by.clone()),
        extra: Extra::new(),
    });
    new.notes = sheet.text("notes");
    for clip in &mut new.clips {
        let key = |what: &str| format!("clip {} {what}", clip.id.0);
        let (camera, offset, factor) = (key("camera"), key("offset"), key("factor"));
        clip.camera = sheet.text(&camera);
        clip.offset = sheet
            .read(&offset, |text| {
                text.parse().map_err(|_| "seconds, or minutes and seconds as 1:23.5".to_owned())
            })
            .unwrap_or_default();
        clip.real_time_factor = sheet.number(&factor, 0.001, 1000.0).unwrap_or(1.0);
    }
    (sheet.problems() == 0).then_some(new)
}

/// A moment; without an offset that of the session's own.
fn moment(text: &str, like: Option<DateTime<FixedOffset>>) -> Result<DateTime<FixedOffset>, String> {
    let zone = like.map_or_else(|| "+00:00".to_owned(), |like| like.offset().to_string());
    let day = like.map_or_else(String::new, |like| like.format("%Y-%m-%d ").to_string());
    let tries = [
        text.to_owned(),
        format!("{text} {zone}"),
        format!("{text}:00 {zone}"),
        format!("{day}{text} {zone}"),
        format!("{day}{text}:00 {zone}"),
    ];
    tries
        .iter()
        .find_map(|text| DateTime::parse_from_str(text, WHEN).ok())
        .ok_or_else(|| "write day and time as 2025-03-13 15:05, or 15:05 for the same day".to_owned())
}

fn anchors_words(anchors: &[ClockAnchor]) -> String {
    let words: Vec<String> =
        anchors.iter().map(|own| format!("{} = {}", own.at.clock(), own.true_time.format(WHEN))).collect();
    words.join("; ")
}

fn read_anchors(text: &str, session: &Session) -> Result<Vec<ClockAnchor>, String> {
    let mut anchors: Vec<ClockAnchor> = Vec::new();
    for part in text.split(';').map(str::trim).filter(|part| !part.is_empty()) {
        let (at, time) = part
            .split_once('=')
            .ok_or_else(|| "write film time = true time, as 0:00 = 15:02:00".to_owned())?;
        let at: Micros = at.trim().parse().map_err(|_| format!("'{}' is no film time", at.trim()))?;
        let true_time = moment(time.trim(), session.recorded_at)?;
        let known = session.clock_anchors.iter().find(|old| old.at == at && old.true_time == true_time);
        anchors.push(known.cloned().unwrap_or(ClockAnchor {
            at,
            shown: None,
            true_time,
            note: None,
            extra: Extra::new(),
        }));
    }
    anchors.sort_by_key(|own| own.at);
    Ok(anchors)
}

fn food_words(food: &[Food]) -> String {
    let words: Vec<String> = food
        .iter()
        .map(|own| own.grams.map_or_else(|| own.item.clone(), |grams| format!("{} {grams}", own.item)))
        .collect();
    words.join("; ")
}

/// "dandelion 12; melon 6": the last word of each is how much in the line's unit, if it is a number.
fn read_food(text: &str, unit: &str) -> Result<Vec<Food>, String> {
    let mut all = Vec::new();
    for part in text.split(';').map(str::trim).filter(|part| !part.is_empty()) {
        let last = part.rsplit_once(char::is_whitespace);
        let number =
            last.and_then(|(_, number)| number.trim_end_matches(unit).replace(',', ".").parse::<f64>().ok());
        let grams = number.map(|number| units::to_kept(unit, number));
        let item = match (grams, last) {
            (Some(_), Some((item, _))) => item.trim(),
            _ => part,
        };
        if grams.is_some_and(|grams| !(0.0..=100_000.0).contains(&grams)) {
            return Err(format!("'{part}': {unit} from 0 on"));
        }
        all.push(Food { item: item.to_owned(), grams, extra: Extra::new() });
    }
    Ok(all)
}

/// A new session of an animal as the last one was: handler, plan, step, and what the enclosure is like.
/// What has to be measured or looked at that day is not taken over.
pub fn prefill(session: &mut Session, last: &Session) {
    session.handler.clone_from(&last.handler);
    session.plan.clone_from(&last.plan);
    session.step = last.decision.as_ref().and_then(|own| own.to_step).or(last.step);
    session.zone.clone_from(&last.zone);
    session.facts.exit_open = last.facts.exit_open;
    session.facts.apart_from_group = last.facts.apart_from_group;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Clip, ClipId, Plan, Step};

    fn study() -> Study {
        let mut study = Study::new("t");
        study.animals.push(crate::model::Animal {
            id: "b".into(),
            name: "B".to_owned(),
            ..Default::default()
        });
        study.people.push(crate::model::Person { code: "K-07".into(), ..Default::default() });
        study.plans.push(Plan {
            id: "box".into(),
            animal: "b".into(),
            steps: vec![Step { n: 3, ..Step::default() }],
            ..Plan::default()
        });
        study
    }

    fn session() -> Session {
        let mut session = Session::new("s1".into(), "b".into());
        session.recorded_at = DateTime::parse_from_rfc3339("2025-03-20T14:55:00+00:00").ok();
        session.clips.push(Clip::new(ClipId(0), "clips/a.mp4"));
        session
    }

    #[test]
    fn a_sheet_left_as_it_is_changes_nothing() {
        let (study, mut session) = (study(), session());
        session.handler = Some("K-07".into());
        session.food = vec![Food { item: "red melon".to_owned(), grams: Some(6.5), extra: Extra::new() }];
        session.facts.air_c = Some(27.5);
        session.facts.exit_open = Some(false);
        let mut sheet = sheet(&session, &study, None);
        assert_eq!(read(&mut sheet, &session, &study), Some(session));
    }

    #[test]
    fn what_is_written_is_read() {
        let (study, session) = (study(), session());
        let mut sheet = sheet(&session, &study, None);
        for (key, value) in [
            ("anchors", "0:00 = 15:02:00; 10:00 = 15:12:01"),
            ("handler", "k-07"),
            ("plan", "box"),
            ("step", "3"),
            ("basking", "35,5"),
            ("shed", "bef"),
            ("exit", "y"),
            ("food", "dandelion 12; melon"),
            ("decision", "st b"),
            ("clip 0 factor", "8"),
            ("clip 0 offset", "1:01.84"),
        ] {
            sheet.write(key, value.to_owned());
        }
        assert_eq!(read(&mut sheet, &session, &study), None, "'st b' begins no word");
        assert_eq!(sheet.problems(), 1);
        sheet.write("decision", "step back".to_owned());
        assert_eq!(read(&mut sheet, &session, &study), None, "a decision needs its reason");
        sheet.write("decision", "step".to_owned());
        sheet.write("why", "two refusals in a row".to_owned());
        let new = read(&mut sheet, &session, &study).unwrap();
        let wall = new.wall_clock(Micros::from_whole_seconds(300)).unwrap();
        assert_eq!(wall.format("%H:%M:%S").to_string(), "15:07:00", "half a second late after five minutes");
        assert_eq!(new.facts.basking_c, Some(35.5));
        assert_eq!(new.facts.shed, Some(ShedState::Before));
        assert_eq!(new.facts.air_c, None, "what nobody wrote is not known");
        assert_eq!(new.food.iter().map(|own| own.grams).collect::<Vec<_>>(), [Some(12.0), None]);
        assert_eq!(new.decision.unwrap().choice, Choice::StepBack);
        assert_eq!(new.clips.first().unwrap().offset, Micros::from_millis(61_840));
    }

    #[test]
    fn names_that_are_not_in_the_study_are_refused() {
        let (study, session) = (study(), session());
        let mut sheet = sheet(&session, &study, None);
        sheet.write("handler", "K-99".to_owned());
        sheet.write("plan", "scale".to_owned());
        sheet.write("step", "x".to_owned());
        sheet.write("recorded_at", "last Tuesday".to_owned());
        assert_eq!(read(&mut sheet, &session, &study), None);
        assert_eq!(sheet.problems(), 4);
    }
}
