//! What the report is, and what has to be read before anything else.

use std::fmt::Write as _;

use super::words::{count, counted, interval, plain};
use super::{Input, words};
use crate::report::document::{Block, Section, Text};

/// The line under the title.
pub(super) fn subtitle(input: &Input<'_>) -> String {
    let animals: Vec<String> =
        input.animals().iter().map(|id| words::set_apart(&input.animal_name(id.as_str()))).collect();
    let animals = match animals.len() {
        0 => "no animal".to_owned(),
        1..=6 => animals.join(", "),
        n => format!("{n} animals"),
    };
    format!("{animals} · {} · report of {}", period(input), input.asked.date)
}

/// Days of the first and the last session; what was asked for where there are none.
pub(super) fn period(input: &Input<'_>) -> String {
    let day = |session: &crate::model::Session| {
        session.wall_clock(crate::time::Micros::ZERO).map(|t| t.date_naive())
    };
    let mut days: Vec<_> = input.sessions.iter().filter_map(day).collect();
    days.sort_unstable();
    let asked = |day: Option<chrono::NaiveDate>, words: &str| day.map(|day| format!("{words} {day}"));
    match (days.first(), days.last()) {
        (Some(first), Some(last)) if first == last => first.to_string(),
        (Some(first), Some(last)) => format!("{first} to {last}"),
        _ => {
            let parts: Vec<String> = [asked(input.asked.from, "from"), asked(input.asked.to, "to")]
                .into_iter()
                .flatten()
                .collect();
            if parts.is_empty() { "no dated session".to_owned() } else { parts.join(" ") }
        }
    }
}

/// Section 1.
pub(super) fn what(input: &Input<'_>) -> Section {
    let missing = |what: &str| Text::from(format!("missing: {what}"));
    let written = |key: &str, what: &str| input.written(key).map_or_else(|| missing(what), Text::given);
    let place = input.study.place.as_deref().map_or_else(|| missing("the study names no place"), Text::given);
    let mut animals = Text::default();
    for (i, id) in input.animals().iter().enumerate().take(20) {
        animals = animals.and(if i > 0 { ", " } else { "" }).and_given(&input.animal_name(id.as_str()));
    }
    let mut blocks = vec![Block::Pairs(vec![
        ("Study".to_owned(), Text::given(&input.study.title)),
        ("Place".to_owned(), place),
        ("Animals".to_owned(), animals),
        ("Period".to_owned(), Text::from(period(input))),
        ("Asked for by".to_owned(), written("asked_by", "who asked for this report (report text asked_by)")),
        ("Purpose".to_owned(), written("purpose", "why, in one sentence (report text purpose)")),
        (
            "Made by".to_owned(),
            Text::from(format!("Shedlight {}, {}", env!("CARGO_PKG_VERSION"), input.asked.date)),
        ),
    ])];
    if let Some(context) = input.written("context") {
        blocks.push(Block::Paragraph(Text::given(context)));
    }
    blocks.push(Block::words(
        "Every time in this report is a link that opens the film at that picture where Shedlight is installed; the HTML has the command beside it.",
    ));
    if input.asked.without_names {
        blocks.push(Block::words(
            "This report names nobody: people have pseudonyms (P01, P02, …), texts that named one of the study's people are left out, and links name the study by its folder alone: open it in Shedlight once, then they find it. In pictures of film those faces are covered that somebody marked.",
        ));
    }
    Section { id: "what", title: "1 What this report is".to_owned(), blocks }
}

/// Section 2.
pub(super) fn first(input: &Input<'_>) -> Section {
    let blocks = vec![
        Block::Framed("What was seen".to_owned(), vec![Block::List(seen(input))]),
        Block::Framed("What this can not show".to_owned(), vec![Block::List(limits())]),
        Block::Framed("Cautions".to_owned(), vec![Block::List(cautions())]),
    ];
    Section { id: "first", title: "2 Read this first".to_owned(), blocks }
}

fn seen(input: &Input<'_>) -> Vec<Text> {
    let all = input.counted();
    let not_counted = input.sessions.len() - all.len();
    let mut items = vec![Text::from(format!(
        "{} in the period, of which {} coded and counted; {not_counted} not (section 14 says which and why).",
        counted(input.sessions.len(), "session", "sessions"),
        if all.len() == 1 { "1 is".to_owned() } else { format!("{} are", all.len()) },
    ))];
    for own in &input.summary.animals {
        let name = input.animal_name(&own.animal);
        let figures = &own.figures;
        let visible = figures.visible_s.map_or_else(
            || "visible time not coded to its end".to_owned(),
            |visible| format!("{} h visible", plain(visible / 3600.0, 3)),
        );
        let text = Text::given(&name)
            .and(format!(": {} h observed, {visible}. ", plain(figures.observed_s / 3600.0, 3)));
        let concern = &figures.concern;
        let Some(stops) = concern.stop_incidents.as_ref().map(Vec::len) else {
            let why = concern.why.as_deref().unwrap_or("not coded");
            items.push(text.and(format!(
                "Stop-level behaviour is not coded to its end ({why}): nothing can be said of it."
            )));
            continue;
        };
        let rate = match concern.stop_per_visible_hour {
            Some(rate) if stops > 0 => {
                format!(
                    "{} per visible hour {}",
                    plain(rate, 1),
                    interval(concern.stop_per_visible_hour_ci95, 1)
                )
            }
            Some(_) => concern.stop_per_visible_hour_ci95.map_or_else(String::new, |[_, high]| {
                let hours = figures.visible_s.unwrap_or_default() / 3600.0;
                format!(
                    "0 seen in {} visible h is compatible with up to {} per h",
                    plain(hours, 2),
                    plain(high, 1)
                )
            }),
            None => "no rate: visible time is not known".to_owned(),
        };
        let mut words = format!("Stop-level incidents: {stops} ({rate}).");
        if stops > 0 {
            let _ = write!(
                words,
                " The handler backed off within the house target of {} s in {} of {stops}.",
                words::plain(concern.back_off_target_s, 1),
                count(concern.back_offs_within_target)
            );
        }
        let continued = concern.continued_after_stop.as_ref().map_or(0, Vec::len);
        if continued > 0 {
            let n = counted(continued, "presentation", "presentations");
            let _ = write!(words, " Against the plan, {n} followed a stop-level incident.");
        }
        items.push(text.and(words));
    }
    if input.summary.animals.is_empty() {
        items.push(Text::from("No coding counts in this period: there are no numbers to report."));
    }
    items
}

fn limits() -> Vec<Text> {
    [
        "What an animal feels. Behaviour is described as it was defined; nothing is said of what lies behind it.",
        "That all is well because nothing stop-level was coded: see the rates above for what so little film is compatible with.",
        "What causes a change. Before and after are compared, not explained.",
        "Anything beyond these animals, these sessions and the time in which they were visible; no share of a day, nothing of a species.",
        "Agreement on behaviour that never occurred.",
    ]
    .into_iter()
    .map(Text::from)
    .collect()
}

/// Printed with every report.
pub(super) fn cautions() -> Vec<Text> {
    [
        "This is not a diagnosis and not a statement of legal compliance. A change in behaviour can be illness or husbandry: contact a licensed veterinarian.",
        "Venomous animals, large constrictors and anything that bites stay under the house's own written handling protocol, which stands above any training plan.",
        "Every reptile may carry Salmonella: wash hands.",
        "Licensing, dangerous-animal and animal-procedure law differ by place: follow local codes. Research needs ethics approval.",
        "Filmed people are identifiable: tell them, limit the purpose, delete on time. A back-off latency is a measure of the protocol, not of a person.",
    ]
    .into_iter()
    .map(Text::from)
    .collect()
}
