//! The sheet of a training plan: goal, signals, when a session ends, and its steps, one a line.

use super::{Line, Section, Sheet, flag_words, number_words};
use crate::model::{Criterion, Ethogram, Plan, Step};
use crate::time::{Micros, Seconds};

/// Empty lines for steps to come.
const MORE: u32 = 3;

/// The sheet of a plan.
#[must_use]
pub fn sheet(plan: &Plan, animal: &str) -> Sheet {
    let text = |own: &Option<String>| own.clone().unwrap_or_default();
    let end = &plan.end;
    let whole = |own: Option<u32>| own.map_or_else(String::new, |n| n.to_string());
    let about = vec![
        Line::new("goal", "Goal", "", "the target behaviour in one observable sentence", plan.goal.clone()),
        Line::new("cue", "Cue", "", "what asks it to begin", text(&plan.cue)),
        Line::new("marker", "Marker", "", "the word, click or light", text(&plan.marker)),
        Line::new("reinforcer", "Reinforcer", "", "what it gets", text(&plan.reinforcer)),
    ];
    let ends = vec![
        Line::new("minutes", "After", "minutes", "", number_words(end.max_minutes)),
        Line::new("presentations", "After", "presentations", "", whole(end.max_presentations)),
        Line::new("food_cap", "After", "g of food", "", number_words(end.food_cap_g)),
        Line::new("refusals", "After", "refusals in a row", "3", whole(end.refusals_in_a_row)),
        Line::new(
            "after_stop",
            "After any stop-level behaviour",
            "",
            "yes or no",
            flag_words(Some(end.after_stop)),
        ),
    ];
    let mut steps: Vec<Line> = plan.steps.iter().map(|step| step_line(step.n, step_words(step))).collect();
    let last = plan.steps.iter().map(|step| step.n).max().unwrap_or(0);
    steps.extend((1..=MORE).map(|more| step_line(last + more, String::new())));
    Sheet {
        title: format!("Plan of {animal}"),
        sections: vec![
            Section { title: "What is trained", lines: about },
            Section { title: "A session ends", lines: ends },
            Section { title: "Steps", lines: steps },
        ],
    }
}

fn step_line(n: u32, value: String) -> Line {
    let hint = "what is asked; success contact; held 10 s; hold 60 s; 8 of 10; 2 sessions";
    Line::new(&format!("step {n}"), &format!("Step {n}"), "", hint, value)
}

fn step_words(step: &Step) -> String {
    let mut parts = vec![step.text.clone()];
    parts.extend(step.success.as_ref().map(|own| format!("success {own}")));
    parts.extend(step.held_s.map(|own| format!("held {} s", own.0.seconds())));
    parts.extend(step.hold_s.map(|own| format!("hold {} s", own.0.seconds())));
    parts.push(format!("{} of {}", step.criterion.k, step.criterion.n));
    if step.sessions != 1 {
        parts.push(format!("{} sessions", step.sessions));
    }
    parts.join("; ")
}

/// The plan as the sheet has it; `None` when a line can't be read. `ethogram`: whose behaviours a
/// success may name.
pub fn read(sheet: &mut Sheet, plan: &Plan, ethogram: Option<&Ethogram>) -> Option<Plan> {
    let mut new = plan.clone();
    new.goal = sheet.text("goal").unwrap_or_default();
    if new.goal.is_empty()
        && let Some(line) = sheet.line_mut("goal")
    {
        line.problem = Some("a plan needs its goal".to_owned());
    }
    new.cue = sheet.text("cue");
    new.marker = sheet.text("marker");
    new.reinforcer = sheet.text("reinforcer");
    new.end.max_minutes = sheet.number("minutes", 0.1, 1440.0);
    new.end.max_presentations = sheet.whole("presentations", 10_000);
    new.end.food_cap_g = sheet.number("food_cap", 0.0, 100_000.0);
    new.end.refusals_in_a_row = sheet.whole("refusals", 1_000);
    new.end.after_stop = sheet.flag("after_stop").unwrap_or(false);
    let keys: Vec<String> =
        sheet.lines().filter(|line| line.key.starts_with("step ")).map(|line| line.key.clone()).collect();
    new.steps = keys
        .into_iter()
        .filter_map(|key| {
            let n = key.trim_start_matches("step ").parse().ok()?;
            let old = plan.steps.iter().find(|step| step.n == n).cloned().unwrap_or_default();
            sheet.read(&key, |text| read_step(n, text, old, ethogram))
        })
        .collect();
    (sheet.problems() == 0).then_some(new)
}

fn read_step(n: u32, text: &str, old: Step, ethogram: Option<&Ethogram>) -> Result<Step, String> {
    let mut parts = text.split(';').map(str::trim).filter(|part| !part.is_empty());
    let mut step = Step {
        n,
        text: parts.next().unwrap_or_default().to_owned(),
        success: None,
        held_s: None,
        hold_s: None,
        criterion: Criterion::default(),
        sessions: 1,
        ..old
    };
    let seconds = |text: &str| -> Result<Seconds, String> {
        let number = text.trim().trim_end_matches('s').trim().replace(',', ".");
        let found =
            number.parse::<f64>().ok().filter(|own| *own > 0.0).and_then(Micros::from_seconds).map(Seconds);
        found.ok_or_else(|| format!("'{text}' is no number of seconds"))
    };
    for part in parts {
        if let Some(name) = part.strip_prefix("success ") {
            let id = name.trim();
            if ethogram.is_some_and(|ethogram| ethogram.behaviour(&id.into()).is_none()) {
                return Err(format!("the ethogram has no behaviour '{id}'"));
            }
            step.success = Some(id.into());
        } else if let Some(time) = part.strip_prefix("held ") {
            step.held_s = Some(seconds(time)?);
        } else if let Some(time) = part.strip_prefix("hold ") {
            step.hold_s = Some(seconds(time)?);
        } else if let Some((k, of)) = part.split_once(" of ") {
            let number = |text: &str| text.trim().parse::<u32>().ok();
            match (number(k), number(of)) {
                (Some(k), Some(n)) if k <= n && n > 0 => step.criterion = Criterion { k, n },
                _ => return Err(format!("'{part}': successes of presentations, as 8 of 10")),
            }
        } else if let Some(count) = part.strip_suffix(" sessions").or_else(|| part.strip_suffix(" session")) {
            step.sessions = count.trim().parse().map_err(|_| format!("'{part}': as 2 sessions"))?;
        } else {
            return Err(format!(
                "'{part}' is not understood: after the first ';' come success …, held … s, hold … s, 8 of 10, 2 sessions"
            ));
        }
    }
    Ok(step)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_comes_back_and_steps_are_read() {
        let plan = Plan {
            id: "scale".into(),
            animal: "b".into(),
            goal: "walks onto the scale and stays 10 s".to_owned(),
            steps: vec![Step {
                n: 3,
                text: "touch target".to_owned(),
                success: Some("contact".into()),
                hold_s: Some(Seconds::whole(60)),
                ..Step { sessions: 1, ..Step::default() }
            }],
            ..Plan::default()
        };
        let mut sheet = sheet(&plan, "Bramble");
        assert_eq!(read(&mut sheet, &plan, None).as_ref(), Some(&plan));
        sheet.write("step 4", "follow target 1 m; held 2,5 s; 9 of 10; 2 sessions".to_owned());
        let new = read(&mut sheet, &plan, None).unwrap();
        let added = new.steps.last().unwrap();
        assert_eq!((added.n, added.criterion, added.sessions), (4, Criterion { k: 9, n: 10 }, 2));
        assert_eq!(added.held_s, Some(Seconds::from_millis(2_500)));
        sheet.write("step 5", "scale; success jump".to_owned());
        let ethogram = crate::model::starter::ethogram(crate::model::Taxon::Chelonian);
        sheet.write("step 3", String::new());
        assert_eq!(read(&mut sheet, &plan, Some(&ethogram)), None, "no such behaviour");
        sheet.write("step 5", "scale; 11 of 10".to_owned());
        assert_eq!(read(&mut sheet, &plan, None), None);
    }
}
