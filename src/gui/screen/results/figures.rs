//! The numbers of a session or an animal in lines: what, how much, of what.

use crate::measures::advice::Advice;
use crate::measures::summary::{Figures, OneLatency};
use crate::model::{Choice, Kind};
use crate::report::words::{count, number, percent, signed};
use crate::time::Micros;

/// Lines under a heading.
#[derive(Debug)]
pub(super) struct Group {
    pub(super) title: &'static str,
    pub(super) lines: Vec<(String, String)>,
}

fn line(what: impl Into<String>, value: impl Into<String>) -> (String, String) {
    (what.into(), value.into())
}

/// A reason, where something is missing.
fn because(why: Option<&String>) -> Vec<(String, String)> {
    why.map(|why| line("", why.clone())).into_iter().collect()
}

pub(super) fn groups(figures: &Figures, advice: Option<&Advice>) -> Vec<Group> {
    let mut groups =
        vec![effort(figures), trials(figures), latencies(figures), turns(figures), concern(figures)];
    if let Some(advice) = advice.filter(|advice| !advice.reasons.is_empty()) {
        let choice = match advice.choice {
            Some(Choice::Advance) => "advance",
            Some(Choice::Stay) => "stay",
            Some(Choice::StepBack) => "step back",
            Some(Choice::Pause) => "pause",
            Some(Choice::Refer) => "refer",
            None => "nothing to go by",
        };
        let mut lines = vec![line("The plan's rule says", choice)];
        lines.extend(advice.reasons.iter().map(|why| line("", why.clone())));
        lines.push(line("", "You decide: F2 in Sessions keeps it with its reason"));
        groups.insert(1, Group { title: "Next", lines });
    }
    groups.push(behaviours(figures));
    groups
}

fn effort(figures: &Figures) -> Group {
    let mut lines = vec![
        line("Observed", format!("{:.1} s", figures.observed_s)),
        line("Visible", format!("{} s", number(figures.visible_s, 1))),
        line("Out of sight", format!("{} of observed", percent(figures.out_of_sight_share))),
    ];
    lines.extend(because(figures.why.as_ref()));
    Group { title: "Effort", lines }
}

fn trials(figures: &Figures) -> Group {
    let success = &figures.success;
    let interval = success.ci95.map_or_else(String::new, |[low, high]| format!("  [{low:.2}, {high:.2}]"));
    let presented = figures.presentations.as_ref().map(Vec::len);
    let mut lines = vec![
        line("Presentations", presented.map_or_else(|| "—".to_owned(), |n| n.to_string())),
        line("Success", format!("{} of {} valid{interval}", count(success.k), count(success.n))),
        line(
            "Opt-outs",
            format!("{}, {} honoured in time", count(success.opt_out), count(success.opt_out_honoured)),
        ),
        line(
            "Apart from that",
            format!(
                "{} prompted, {} aborted, {} void",
                count(success.prompted),
                count(success.aborted),
                count(success.void)
            ),
        ),
        line("Between them", format!("{} s median", number(figures.between.median_s, 1))),
        line("Food", format!("{} times, {} g", count(figures.food.n), number(figures.food.grams, 1))),
        line("Reinforcement", format!("{} a minute observed", number(figures.food.per_min, 2))),
    ];
    lines.extend(because(success.why.as_ref()));
    Group { title: "Presentations", lines }
}

fn latencies(figures: &Figures) -> Group {
    let all = &figures.latency;
    let words = |own: &OneLatency| match (own.median_s, own.reached, own.n) {
        (Some(median), Some(reached), Some(n)) => format!("{median:.1} s  ({reached} of {n} reached)"),
        (None, Some(reached), Some(n)) => {
            format!("{}  ({reached} of {n})", own.why.as_deref().unwrap_or("—"))
        }
        _ => own.why.clone().unwrap_or_else(|| "—".to_owned()),
    };
    let lines = vec![
        line("Orient", words(&all.orient)),
        line("First approach", words(&all.approach)),
        line("Contact", words(&all.contact)),
        line("Success", words(&all.success)),
    ];
    Group { title: "Median latency from the cue", lines }
}

fn turns(figures: &Figures) -> Group {
    let own = &figures.approach;
    let index = signed(own.index, 2);
    let mut lines = vec![
        line("Approach, retreat", format!("{}, {}", count(own.approaches), count(own.retreats))),
        line("Share, index", format!("{}, {index}", number(own.share, 2))),
        line("Vacillating", format!("{} presentations", count(own.vacillating))),
    ];
    lines.extend(because(own.why.as_ref()));
    Group { title: "Approach and retreat", lines }
}

fn concern(figures: &Figures) -> Group {
    let own = &figures.concern;
    let stops = own.stop_incidents.as_ref().map(Vec::len);
    let mut lines = vec![
        line("Watch", format!("{} times, {} s", count(own.watch_incidents), number(own.watch_s, 1))),
        line(
            "Stop",
            format!(
                "{} times, {} s",
                stops.map_or_else(|| "—".to_owned(), |n| n.to_string()),
                number(own.stop_s, 1)
            ),
        ),
    ];
    if let (Some(rate), Some([low, high])) = (own.stop_per_visible_hour, own.stop_per_visible_hour_ci95) {
        lines.push(line("Stop rate", format!("{rate:.1} an hour visible  [{low:.1}, {high:.1}]")));
    }
    for incident in own.stop_incidents.iter().flatten() {
        let at = Micros::from_seconds(incident.at_s).unwrap_or_default().clock();
        let back = incident.back_off_s.map_or_else(
            || incident.why.clone().unwrap_or_default(),
            |back| format!("backed off after {back:.1} s"),
        );
        lines.push(line(format!("{} {at}", incident.session), format!("{}, {back}", incident.behaviour)));
    }
    for at in own.continued_after_stop.iter().flatten() {
        let at = Micros::from_seconds(*at).unwrap_or_default().clock();
        lines.push(line(at, "presentation after a stop, against the plan"));
    }
    lines.extend(because(own.why.as_ref()));
    Group { title: "Concern", lines }
}

fn behaviours(figures: &Figures) -> Group {
    let lines = figures
        .behaviours
        .iter()
        .map(|own| {
            let value = match (own.n, own.kind) {
                (None, _) => own.why.clone().unwrap_or_default(),
                (Some(n), Kind::Event) => {
                    format!("{n}  ({} an hour visible)", number(own.per_visible_hour, 1))
                }
                (Some(n), Kind::State) => {
                    format!("{n} bouts, {} s, {}", number(own.total_s, 1), percent(own.share_visible))
                }
            };
            line(own.name.clone(), value)
        })
        .collect();
    Group { title: "Behaviours: bouts, time, share of visible", lines }
}
