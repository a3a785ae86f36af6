//! What did not go as written, what is to be done, and who signs.

use super::Input;
use super::words::{count, counted, number, percent};
use crate::measures::summary::CodingSummary;
use crate::model::{Purpose, Session};
use crate::report::document::{Block, Rows, Section, Table, Text};

/// Section 14.
pub(super) fn deviations(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let mut table = Table::new("Deviations from the plan, by time", &["Session", "When", "What"]);
    for own in input.counted() {
        let Some(session) = input.session(&own.session) else { continue };
        from_plan(input, session, own, &mut table);
    }
    blocks.push(Block::Table(table));
    let mut left = Table::new("Sessions filmed and not counted", &["Session", "Why", "Decided by"]);
    for session in input.sessions {
        if let Some((why, by)) = not_counted(input, session) {
            left.row(vec![Text::given(session.id.as_str()), why, by]);
        }
    }
    blocks.push(Block::Table(left));
    blocks.push(Block::Heading(Text::from("Limits of this report")));
    blocks.push(Block::List(limits(input)));
    if let Some(text) = input.written("limits") {
        blocks.push(Block::Paragraph(Text::given(text)));
    }
    Section { id: "deviations", title: "14 Deviations and limits".to_owned(), blocks }
}

fn from_plan(input: &Input<'_>, session: &Session, own: &CodingSummary, table: &mut Table) {
    let id = session.id.as_str();
    for at in own.figures.concern.continued_after_stop.iter().flatten() {
        let n = own
            .figures
            .presentations
            .iter()
            .flatten()
            .find(|one| (one.cue_s - at).abs() < 1e-9)
            .map(|one| one.number);
        let which = n.map_or_else(|| "a presentation".to_owned(), |n| format!("presentation {n}"));
        table.row(vec![
            Text::given(id),
            Text::from(input.moment_s(id, *at)),
            Text::from(format!("continued after stop: {which} began after a stop-level incident; the plan says to end the session")),
        ]);
    }
    let whole = |table: &mut Table, what: String| {
        table.row(vec![Text::given(id), Text::from("whole session"), Text::from(what)]);
    };
    let Some(plan) = session.plan.as_ref().and_then(|plan| input.study.plan(plan)) else {
        whole(table, "no written plan was followed".to_owned());
        return;
    };
    if let Some(cap) = plan.end.food_cap_g
        && let Some(grams) = session.food_grams().filter(|grams| *grams > cap)
    {
        whole(
            table,
            format!("{} g of food, over the cap of {} g", number(Some(grams), 1), number(Some(cap), 1)),
        );
    }
    if let Some(most) = plan.end.max_minutes.filter(|most| own.figures.observed_s > most * 60.0) {
        let minutes = number(Some(own.figures.observed_s / 60.0), 1);
        whole(
            table,
            format!("{minutes} min observed, longer than the {} min of the plan", number(Some(most), 1)),
        );
    }
    let presentations = own.figures.presentations.as_ref().map_or(0, Vec::len);
    if let Some(most) = plan.end.max_presentations.filter(|most| presentations > *most as usize) {
        whole(table, format!("{presentations} presentations, more than the {most} of the plan"));
    }
}

/// Why a session is not among those counted, and who says so.
fn not_counted(input: &Input<'_>, session: &Session) -> Option<(Text, Text)> {
    if let Some(left) = &session.left_out {
        let by = left.by.as_ref().map_or_else(|| Text::from("missing"), |by| Text::given(by.as_str()));
        return Some((Text::from("left out: ").and_given(&left.reason), by));
    }
    if input.counted().iter().any(|own| own.session == session.id.as_str()) {
        return None;
    }
    let mut codings = input.codings.iter().filter(|coding| coding.session == session.id);
    let why = match codings.next() {
        None => "not coded",
        Some(_) if input.codings.iter().any(|c| c.session == session.id && c.purpose == Purpose::Primary) => {
            "coded, but the length of the session is not known: open it once, so that its clips are measured"
        }
        Some(_) => "no primary coding, only others that are never counted",
    };
    Some((Text::from(why), Text::from("—")))
}

fn limits(input: &Input<'_>) -> Vec<Text> {
    let mut items = Vec::new();
    let share = input.study.targets.out_of_sight_share;
    for own in input.counted() {
        if let Some(hidden) = own.figures.out_of_sight_share.filter(|hidden| *hidden > share) {
            items.push(Text::given(&own.session).and(format!(
                ": {} of the observed time is out of sight, more than {}.",
                percent(Some(hidden)),
                percent(Some(share))
            )));
        }
        if !own.passes_not_done.is_empty() {
            let names = own.passes_not_done.join(", ");
            items.push(
                Text::given(&own.session)
                    .and(": passes not done, so their behaviour is missing and not zero: ")
                    .and_given(&names),
            );
        }
    }
    for record in input.counted_records() {
        let unsure = record.coding.marks.iter().filter(|mark| mark.unsure).count();
        if unsure > 0 {
            items.push(Text::given(record.session.id.as_str()).and(format!(
                ": {} flagged unsure, counted unless left out on purpose.",
                counted(unsure, "mark is", "marks are")
            )));
        }
    }
    for ethogram in input.ethograms {
        if let Some(changed) = &ethogram.changed {
            let head =
                format!("Definitions changed with revision {} of {}: ", ethogram.revision, ethogram.id);
            items.push(Text::from(head).and_given(changed));
        }
    }
    for own in &input.summary.animals {
        let n = own.sessions.len();
        let name = input.animal_name(&own.animal);
        if n < 5 {
            items.push(Text::given(&name).and(format!(
                ": {}; values and their range, no interval over sessions.",
                counted(n, "session", "sessions")
            )));
        }
        let void = count(own.figures.success.void);
        if own.figures.success.void.is_some_and(|n| n > 0) {
            items.push(Text::given(&name).and(format!(
                ": {void} void presentations are in no rate; appendix B has each with its reason."
            )));
        }
    }
    items.push(Text::from("The film shows what the camera saw; an animal often hides because of something, so visible time can be a biased sample."));
    items
}

/// Section 15.
pub(super) fn actions(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    if let Some(text) = input.written("actions") {
        blocks.push(Block::Paragraph(Text::given(text)));
    } else {
        blocks.push(Block::words(
            "missing: no actions are written (report text actions). Room for them by hand:",
        ));
    }
    let mut table = Table::new("Actions", &["Action", "Owner", "Due", "Done"]);
    for n in 1..=4 {
        let mut row = vec![Text::from(format!("{n}."))];
        row.resize(4, Text::from("\u{a0}"));
        table.row(row);
    }
    table.rows_for = Rows::FillingIn;
    blocks.push(Block::Table(table));
    Section { id: "actions", title: "15 Actions".to_owned(), blocks }
}

/// Section 16.
pub(super) fn sign_off() -> Section {
    let mut table = Table::new("Sign-off", &["Role", "Name or code", "Date", "Signature"]);
    for role in ["First coder", "Second coder", "Welfare lead", "Veterinarian, if referred"] {
        let mut row = vec![Text::from(role)];
        row.resize(4, Text::from("\u{a0}"));
        table.row(row);
    }
    table.rows_for = Rows::FillingIn;
    let words = "Who signs confirms having read the limits and cautions of section 2.";
    let blocks = vec![Block::words(words), Block::Table(table)];
    Section { id: "sign-off", title: "16 Sign-off".to_owned(), blocks }
}
