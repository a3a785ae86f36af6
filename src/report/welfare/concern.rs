//! Concern: how long and how often at watch and at stop, and every stop-level incident as a row.

use super::Input;
use super::appendix::{MOST_ROWS, finish};
use super::subjects::choice_words;
use super::words::{NOTHING, count, interval, number, percent};
use crate::measures::Record;
use crate::measures::concern::{self, BackOff, Incident};
use crate::measures::presentations::{self, Presentation};
use crate::measures::summary::Figures;
use crate::model::Actor;
use crate::report::document::{Block, Part, Section, Table, Text};
use crate::time::Micros;

/// How long before an incident what the handler did is told as its context.
const BEFORE: Micros = Micros::from_whole_seconds(10);

/// Section 11.
pub(super) fn concern(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let mut table = Table::new(
        "Time and incidents at watch and at stop",
        &[
            "Session",
            "Animal",
            "#Watch",
            "#Watch s",
            "#Share",
            "#Longest s",
            "#Stop",
            "#Stop s",
            "#Share",
            "#Longest s",
            "#Stop per visible h",
            "#95 % (Garwood)",
        ],
    );
    let cells = |figures: &Figures| -> Vec<Text> {
        let own = &figures.concern;
        if own.watch_s.is_none() {
            let why = own.why.as_deref().unwrap_or("not coded");
            let mut cells = vec![Text::from(NOTHING).and_why(why)];
            cells.resize(10, Text::from(NOTHING));
            return cells;
        }
        let stops = own.stop_incidents.as_ref().map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX));
        let share = |time: Option<f64>| {
            percent(time.zip(figures.visible_s).filter(|(_, v)| *v > 0.0).map(|(t, v)| t / v))
        };
        [
            count(own.watch_incidents),
            number(own.watch_s, 1),
            share(own.watch_s),
            number(own.longest_watch_s, 1),
            count(stops),
            number(own.stop_s, 1),
            share(own.stop_s),
            number(own.longest_stop_s, 1),
            number(own.stop_per_visible_hour, 1),
            interval(own.stop_per_visible_hour_ci95, 1),
        ]
        .map(Text::from)
        .to_vec()
    };
    for own in input.counted() {
        let mut row = vec![Text::given(&own.session), Text::given(&input.animal_name(&own.animal))];
        row.extend(cells(&own.figures));
        table.row(row);
    }
    for own in &input.summary.animals {
        let mut row = vec![
            Text::from(format!("all {}", own.sessions.len())),
            Text::given(&input.animal_name(&own.animal)),
        ];
        row.extend(cells(&own.figures));
        table.row(row);
    }
    table.note = Some(Text::from(
        "Seconds at exactly watch, and at stop. Shares are of visible time. An incident is a maximal run at a level, parts less than 2 s apart joined.",
    ));
    if table.rows.is_empty() {
        blocks.push(Block::words("Nothing is coded that counts: not coded, which is not zero."));
    } else {
        blocks.push(Block::Table(table));
        let (table, more) = incidents(input);
        finish(table, more, &mut blocks);
        blocks.extend(stills(input));
        blocks.extend(back_offs(input).map(Block::words));
        blocks.extend(resumes(input).map(Block::Table));
    }
    blocks.extend(input.charts(Part::Concern));
    Section { id: "concern", title: "11 Concern".to_owned(), blocks }
}

/// Every incident as a row, and how many more there are than are printed.
fn incidents(input: &Input<'_>) -> (Table, usize) {
    let mut more = 0;
    let mut table = Table::new(
        "Every stop-level incident",
        &[
            "Session",
            "When",
            "Behaviour",
            "#Lasted s",
            "Context",
            "Handler's response",
            "#Back-off s",
            "Warning",
            "Follow-up",
        ],
    );
    for record in input.counted_records() {
        let all = presentations::of(record);
        for incident in concern::of(record, &all).stop_incidents {
            if table.rows.len() >= MOST_ROWS {
                more += 1;
                continue;
            }
            // A coding whose passes are not done has no count of incidents; what was marked is shown.
            let session = record.session;
            let name = record
                .ethogram
                .behaviour(&incident.behaviour)
                .map_or(incident.behaviour.as_str(), |own| &own.name);
            let decision = session.decision.as_ref();
            let follow_up = decision.map_or_else(
                || Text::from("missing: no decision is written"),
                |own| Text::from(format!("{}: ", choice_words(own.choice))).and_given(&own.reason),
            );
            let length = incident.span.length();
            let lasted = if incident.events_only && length == Micros::ZERO {
                "moment".to_owned()
            } else {
                number(Some(length.seconds()), 1)
            };
            let (response, back_off) = response(record, &incident);
            table.row(vec![
                Text::given(session.id.as_str()),
                Text::from(input.moment(session.id.as_str(), incident.span.from)),
                Text::given(name),
                Text::from(lasted),
                context(record, &all, &incident),
                Text::from(response),
                Text::from(back_off),
                Text::from(incident.warning.map_or_else(
                    || "no warning".to_owned(),
                    |time| format!("watch {} s before", number(Some(time.seconds()), 1)),
                )),
                follow_up,
            ]);
        }
    }
    table.note = Some(Text::from(
        "Back-off: from the incident's start to the first clear increase of distance by the handler.",
    ));
    (table, more)
}

/// The film of each incident, or why there is none; nothing where no incident was.
fn stills(input: &Input<'_>) -> Vec<Block> {
    let mut blocks = Vec::new();
    for own in input.stills {
        let head = Text::given(own.session.as_str())
            .and(", ")
            .and_at(input.moment(own.session.as_str(), own.at))
            .and(": what the film shows");
        blocks.push(Block::Heading(head));
        blocks.push(match &own.stills {
            Ok(stills) => Block::Stills(stills.clone()),
            Err(why) => Block::Paragraph(Text::from("No picture: ").and_why(why.as_str())),
        });
    }
    blocks
}

/// Where it happened, and what the handler was doing.
fn context(record: &Record<'_>, all: &[Presentation], incident: &Incident) -> Text {
    let at = incident.span.from;
    let place = match incident.presentation {
        Some(n) => {
            let cue = all.iter().find(|own| own.number == n).map(|own| at - own.cue);
            let after = cue.map_or_else(String::new, |after| {
                format!(", {} s after the cue", number(Some(after.seconds()), 1))
            });
            format!("presentation {n}{after}")
        }
        None => "between presentations".to_owned(),
    };
    let mut names: Vec<&str> = Vec::new();
    for mark in &record.coding.marks {
        let Some(behaviour) = record.ethogram.behaviour(&mark.behaviour) else { continue };
        if behaviour.who != Actor::Handler || mark.from > at {
            continue;
        }
        let runs = mark.span(record.window().to).is_some_and(|span| span.contains(at));
        let is_recent = mark.from >= at - BEFORE;
        if (runs || is_recent) && !names.contains(&behaviour.name.as_str()) {
            names.push(&behaviour.name);
        }
    }
    let text = Text::from(place);
    if names.is_empty() { text } else { text.and("; handler: ").and_given(&names.join(", ")) }
}

fn response(record: &Record<'_>, incident: &Incident) -> (String, String) {
    let target = record.study.targets.back_off_s.micros();
    match incident.back_off {
        BackOff::After(time) => {
            let within = if time <= target { "within" } else { "over" };
            let words = format!("backed off, {within} the target of {} s", number(Some(target.seconds()), 1));
            (words, number(Some(time.seconds()), 1))
        }
        BackOff::StoppedByItself(time) => (
            format!("none before it stopped by itself after {} s", number(Some(time.seconds()), 1)),
            NOTHING.to_owned(),
        ),
        BackOff::NotSeen(time) => {
            (format!("no back-off within {} s", number(Some(time.seconds()), 1)), NOTHING.to_owned())
        }
        BackOff::NotCoded => ("back-offs were not coded".to_owned(), NOTHING.to_owned()),
    }
}

/// Every value and the longest; never a mean alone.
fn back_offs(input: &Input<'_>) -> Option<String> {
    let (mut times, mut within, mut all) = (Vec::new(), 0, 0);
    for record in input.counted_records() {
        let target = record.study.targets.back_off_s.micros();
        for incident in concern::of(record, &presentations::of(record)).stop_incidents {
            all += 1;
            if let BackOff::After(time) = incident.back_off {
                times.push(time);
                within += usize::from(time <= target);
            }
        }
    }
    let longest = times.iter().max().copied()?;
    times.truncate(20);
    let each: Vec<String> =
        times.iter().map(|time| format!("{} s", number(Some(time.seconds()), 1))).collect();
    Some(format!(
        "Back-off latencies: {}; the longest {} s; {within} of {all} within the house target.",
        each.join(", "),
        number(Some(longest.seconds()), 1)
    ))
}

fn resumes(input: &Input<'_>) -> Option<Table> {
    let mut table = Table::new(
        "After a disturbance: time to the first approach",
        &["Session", "Disturbance over at", "#Resumed after s"],
    );
    for own in input.counted() {
        for resume in &own.figures.resume {
            table.row(vec![
                Text::given(&resume.session),
                Text::from(input.moment_s(&resume.session, resume.at_s)),
                super::words::or_why(number(resume.resume_s, 1), resume.why.as_ref()),
            ]);
        }
    }
    (!table.rows.is_empty()).then_some(table)
}
