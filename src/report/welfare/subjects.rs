//! The animals, the conditions of their sessions, and what was planned and decided.

use super::Input;
use super::words::{NOTHING, count, number};
use crate::model::{Choice, Facts, Plan, Session, Sex, ShedState, Taxon};
use crate::report::document::{Block, Section, Table, Text};

/// The session's id as a row's name.
pub(super) fn session_cell(session: &Session) -> Text {
    Text::given(session.id.as_str())
}

pub(super) fn day(session: &Session) -> String {
    session
        .wall_clock(crate::time::Micros::ZERO)
        .map_or_else(|| "no date".to_owned(), |time| time.format("%Y-%m-%d %H:%M").to_string())
}

/// Section 3.
pub(super) fn animals(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    for id in input.animals() {
        let Some(animal) = input.animal(&id) else {
            blocks.push(Block::Heading(Text::given(id.as_str())));
            blocks.push(Block::words("missing: the study does not list this animal."));
            continue;
        };
        blocks.push(Block::Heading(Text::given(&animal.name)));
        let given =
            |text: Option<&String>| text.map_or_else(|| Text::from("missing"), |text| Text::given(text));
        let word = |text: Option<&str>| Text::from(text.unwrap_or("missing"));
        let mass = animal.mass.as_ref().map_or_else(
            || "missing".to_owned(),
            |mass| {
                let on = mass.on.map_or_else(|| "date missing".to_owned(), |day| format!("weighed {day}"));
                format!("{} g, {on}", mass.grams)
            },
        );
        let sex = animal.sex.map(|sex| match sex {
            Sex::Female => "female",
            Sex::Male => "male",
            Sex::Unknown => "not known",
        });
        blocks.push(Block::Pairs(vec![
            ("Species".to_owned(), given(animal.species.as_ref())),
            ("Group".to_owned(), word(animal.taxon.map(Taxon::word))),
            ("Sex".to_owned(), word(sex)),
            ("Born".to_owned(), given(animal.born.as_ref())),
            ("Body mass".to_owned(), Text::from(mass)),
            ("Origin".to_owned(), given(animal.origin.as_ref())),
            ("Identification".to_owned(), given(animal.identification.as_ref())),
            ("What makes it unusual (STRANGE)".to_owned(), given(animal.notes.as_ref())),
        ]));
    }
    if blocks.is_empty() {
        blocks.push(Block::words("There is no session in the period, so there is no animal to describe."));
        return Section { id: "animals", title: "3 Animals and conditions".to_owned(), blocks };
    }
    blocks.push(Block::Table(conditions(input)));
    let mut notes = Table::new("What was noted with sessions", &["Session", "Note"]);
    for session in input.sessions {
        if let Some(text) = session.notes.as_ref().filter(|text| !text.trim().is_empty()) {
            notes.row(vec![session_cell(session), Text::given(text)]);
        }
    }
    if !notes.rows.is_empty() {
        blocks.push(Block::Table(notes));
    }
    Section { id: "animals", title: "3 Animals and conditions".to_owned(), blocks }
}

fn conditions(input: &Input<'_>) -> Table {
    let mut table = Table::new(
        "Conditions of each session; a dash: not said",
        &[
            "Session",
            "Start",
            "Animal",
            "#Air °C",
            "#Basking °C",
            "#Days since fed",
            "Shed",
            "Exit open",
            "Other food",
            "As usual",
            "Apart",
            "Disturbance expected",
        ],
    );
    for session in input.sessions {
        let Facts {
            air_c,
            basking_c,
            days_since_fed,
            shed,
            disturbance_expected,
            exit_open,
            other_food,
            enclosure_as_usual,
            apart_from_group,
            ..
        } = session.facts;
        let said =
            |value: Option<bool>| Text::from(value.map_or(NOTHING, |yes| if yes { "yes" } else { "no" }));
        let shed = shed.map_or(NOTHING, |shed| match shed {
            ShedState::Between => "between",
            ShedState::Before => "before",
            ShedState::Shedding => "shedding",
            ShedState::After => "after",
        });
        let figure = |value: Option<f64>| Text::from(number(value, 1));
        table.row(vec![
            session_cell(session),
            Text::from(day(session)),
            Text::given(&input.animal_name(session.animal.as_str())),
            figure(air_c),
            figure(basking_c),
            figure(days_since_fed),
            Text::from(shed),
            said(exit_open),
            said(other_food),
            said(enclosure_as_usual),
            said(apart_from_group),
            said(disturbance_expected),
        ]);
    }
    table
}

/// Section 4.
pub(super) fn plans(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let used = |plan: &&Plan| input.sessions.iter().any(|session| session.plan.as_ref() == Some(&plan.id));
    for plan in input.study.plans.iter().filter(used) {
        blocks.push(Block::Heading(
            Text::given(&input.animal_name(plan.animal.as_str())).and(": ").and_given(&plan.goal),
        ));
        let given =
            |text: Option<&String>| text.map_or_else(|| Text::from("missing"), |text| Text::given(text));
        blocks.push(Block::Pairs(vec![
            ("Cue".to_owned(), given(plan.cue.as_ref())),
            ("Marker".to_owned(), given(plan.marker.as_ref())),
            ("Reinforcer".to_owned(), given(plan.reinforcer.as_ref())),
            ("A session ends".to_owned(), Text::from(end_rules(plan))),
        ]));
        let mut steps = Table::new(
            "Steps of the plan",
            &["#Step", "What is asked", "#Held s", "#Limited hold s", "Criterion", "#Sessions in a row"],
        );
        for step in &plan.steps {
            let seconds = |value: Option<crate::time::Seconds>| {
                Text::from(number(value.map(|own| own.micros().seconds()), 1))
            };
            steps.row(vec![
                Text::from(step.n.to_string()),
                Text::given(&step.text),
                seconds(step.held_s),
                seconds(step.hold_s),
                Text::from(format!("{} of {}", step.criterion.k, step.criterion.n)),
                Text::from(step.sessions.to_string()),
            ]);
        }
        blocks.push(Block::Table(steps));
    }
    if blocks.is_empty() {
        blocks.push(Block::words("missing: no session of the period follows a written plan."));
    }
    let mut table =
        Table::new("Decisions", &["Session", "Start", "Animal", "#Step", "Success", "Decision", "Why", "By"]);
    for session in input.sessions {
        let figures = input.counted().into_iter().find(|own| own.session == session.id.as_str());
        let success = figures.and_then(|own| own.figures.success.k.zip(own.figures.success.n));
        let decision = session.decision.as_ref();
        let choice = decision.map_or_else(
            || "missing".to_owned(),
            |own| {
                let to = own.to_step.map_or_else(String::new, |step| format!(" (step {step})"));
                format!("{}{to}", choice_words(own.choice))
            },
        );
        table.row(vec![
            session_cell(session),
            Text::from(day(session)),
            Text::given(&input.animal_name(session.animal.as_str())),
            Text::from(count(session.step)),
            Text::from(success.map_or_else(|| NOTHING.to_owned(), |(k, n)| format!("{k} of {n}"))),
            Text::from(choice),
            decision.map_or_else(|| Text::from(NOTHING), |own| Text::given(&own.reason)),
            decision
                .and_then(|own| own.by.as_ref())
                .map_or_else(|| Text::from(NOTHING), |by| Text::given(by.as_str())),
        ]);
    }
    blocks.push(Block::Table(table));
    Section { id: "plans", title: "4 Plan steps and decisions".to_owned(), blocks }
}

pub(super) fn choice_words(choice: Choice) -> &'static str {
    match choice {
        Choice::Advance => "advance",
        Choice::Stay => "stay",
        Choice::StepBack => "step back",
        Choice::Pause => "pause",
        Choice::Refer => "refer",
    }
}

fn end_rules(plan: &Plan) -> String {
    let end = &plan.end;
    let mut rules = Vec::new();
    rules.extend(end.max_minutes.map(|minutes| format!("after {minutes} min")));
    rules.extend(end.max_presentations.map(|n| format!("after {n} presentations")));
    rules.extend(end.food_cap_g.map(|grams| format!("after {grams} g of food")));
    rules.extend(end.refusals_in_a_row.map(|n| format!("after {n} refusals in a row")));
    if end.after_stop {
        rules.push("after any stop-level behaviour".to_owned());
    }
    if rules.is_empty() { "missing: no end rule is written".to_owned() } else { rules.join(", ") }
}
