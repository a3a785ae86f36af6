//! How well two coders agree: per behaviour first, stop-level above all, with counts and margins.

use super::Input;
use super::words::{NOTHING, counted, number, percent};
use crate::agreement::pair::{EventAgreement, PairAgreement, PairKind, SetAgreement};
use crate::report::album;
use crate::report::document::{Block, Part, Section, Table, Text};

/// Section 13.
pub(super) fn agreement(input: &Input<'_>) -> Section {
    let pairs: Vec<&PairAgreement> = input.agreement.pairs.iter().collect();
    let between = pairs.iter().filter(|pair| pair.kind == PairKind::Between).count();
    let all = input.counted().len();
    let mut blocks = vec![Block::words(format!(
        "{} of {} coded by a second person{}. Agreement is not accuracy: two coders can share an error.",
        between,
        counted(all, "counted session was", "counted sessions were"),
        share(between, all)
    ))];
    if pairs.is_empty() {
        blocks.push(Block::words(
            "missing: no session has a second coding, so nothing can be said of agreement.",
        ));
    }
    // Every pair in full would be a book; each has its line, and the window and the command show all of each.
    let earlier = pairs.len().saturating_sub(IN_FULL);
    if earlier > 0 {
        blocks.push(Block::Table(lines(input, &pairs)));
        blocks.push(Block::words(format!(
            "The latest {IN_FULL} pairs follow in full; {earlier} earlier ones have their lines above alone: shedlight agree STUDY --all prints all of each."
        )));
    }
    for pair in pairs.iter().skip(earlier) {
        if let Some(why) = &pair.why {
            blocks.push(Block::Paragraph(title(pair).and(format!(": not compared: {why}"))));
            continue;
        }
        blocks.push(Block::Paragraph(hidden(pair)));
        let (coders, of) = (title(pair).plain(), pair.session.as_str());
        let mut sets = Table::new(
            format!("Session {of}, states in time: {coders}"),
            &[
                "Set or state",
                "#Seconds compared",
                "#First s",
                "#Second s",
                "#Observed",
                "#Kappa",
                "#95 %",
                "#Highest kappa",
            ],
        );
        for set in pair.sets.iter().chain(&pair.states) {
            set_rows(input, set, &mut sets);
        }
        blocks.push(Block::Table(sets));
        let mut events = Table::new(
            format!("Session {of}, moments and onsets: {coders}"),
            &["Behaviour", "#Both", "#Only first", "#Only second", "#Agreement", "#Second later by s"],
        );
        events.rows.extend(pair.events.iter().filter_map(|event| event_row(input, event)));
        if let Some(tolerance) = pair.events.first().map(|event| event.tolerance_s) {
            events.note = Some(Text::from(format!("Matched within ±{} s.", number(Some(tolerance), 1))));
        }
        blocks.push(Block::Table(events));
        if pair.kind == PairKind::Between {
            let name = |id: &str| name_of(input, id).plain();
            blocks.extend(album::of_agreement(pair, &name).into_iter().map(Block::Figure));
        }
    }
    if !pairs.is_empty() {
        blocks.push(Block::List(vec![
            Text::from("Kappa of a single state is that state against all others; a state under 10 s in a record has none. The interval of one session: percentile bootstrap over blocks of 60 s."),
            Text::from("Agreement on moments: both/(both + only first + only second). Behaviour neither coder marked is left out. (few): under five in one record, read the counts."),
        ]));
    }
    blocks.extend(pooled(input).map(Block::Table));
    blocks.extend(input.charts(Part::Agreement));
    Section { id: "agreement", title: "13 Agreement between coders".to_owned(), blocks }
}

/// Pairs of codings whose numbers and charts are all printed.
const IN_FULL: usize = 6;

/// A line for each set of each pair.
fn lines(input: &Input<'_>, pairs: &[&PairAgreement]) -> Table {
    let mut table = Table::new(
        "Every pair of codings, set by set",
        &["Session", "Coders", "Set", "#Seconds compared", "#Observed", "#Kappa", "#95 %"],
    );
    for pair in pairs {
        if let Some(why) = &pair.why {
            let mut row =
                vec![Text::given(&pair.session), title(pair), Text::from(NOTHING).and_why(why.as_str())];
            row.resize(7, Text::from(NOTHING));
            table.row(row);
        }
        for set in &pair.sets {
            let limits =
                set.ci95.map_or_else(|| NOTHING.to_owned(), |[low, high]| format!("[{low:.2}, {high:.2}]"));
            table.row(vec![
                Text::given(&pair.session),
                title(pair),
                name_of(input, &set.set),
                Text::from(number(Some(set.compared_s), 1)),
                Text::from(number(set.observed, 3)),
                kappa(set.kappa, set.why.as_ref(), 3),
                Text::from(limits),
            ]);
        }
    }
    table
}

fn share(part: usize, whole: usize) -> String {
    let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
    if whole == 0 { String::new() } else { format!(" ({})", percent(Some(count(part) / count(whole)))) }
}

/// What was hidden from each coder, as their codings say.
fn hidden(pair: &PairAgreement) -> Text {
    let from = |masked: &[String]| {
        if masked.is_empty() { Text::from("nothing on record") } else { Text::given(&masked.join(", ")) }
    };
    let [first, second] = [&pair.first_masked, &pair.second_masked].map(|masked| from(masked).plain());
    Text::from("Session ")
        .and_given(&pair.session)
        .and(", hidden from ")
        .and_given(&pair.first_by)
        .and(": ")
        .and_given(&first)
        .and("; from ")
        .and_given(&pair.second_by)
        .and(": ")
        .and_given(&second)
        .and(".")
}

fn title(pair: &PairAgreement) -> Text {
    let kind = match pair.kind {
        PairKind::Between => "",
        PairKind::Within => " (one coder twice)",
        PairKind::Trial => " (a trial, not counted)",
    };
    Text::given(&pair.first_by).and(" with ").and_given(&pair.second_by).and(kind)
}

/// A behaviour or set by its name, as the newest ethogram has it.
fn name_of(input: &Input<'_>, id: &str) -> Text {
    let found = input.ethograms.iter().rev().find_map(|ethogram| {
        let behaviour = ethogram.behaviour(&id.into()).map(|own| &own.name);
        behaviour.or_else(|| ethogram.set(&id.into()).map(|own| &own.name))
    });
    Text::given(found.map_or(id, String::as_str))
}

fn kappa(value: Option<f64>, why: Option<&String>, decimals: usize) -> Text {
    super::words::or_why(number(value, decimals), why)
}

fn set_rows(input: &Input<'_>, set: &SetAgreement, table: &mut Table) {
    let limits = set.ci95.map_or_else(|| NOTHING.to_owned(), |[low, high]| format!("[{low:.2}, {high:.2}]"));
    let several = set.behaviours.len() > 1;
    table.row(vec![
        name_of(input, &set.set).and(if several { ", all" } else { "" }),
        Text::from(number(Some(set.compared_s), 1)),
        Text::from(NOTHING),
        Text::from(NOTHING),
        Text::from(number(set.observed, 3)),
        kappa(set.kappa, set.why.as_ref(), 3),
        Text::from(limits),
        Text::from(number(set.kappa_max, 3)),
    ]);
    // Of a set with one state the line above says all.
    for own in set.behaviours.iter().filter(|_| several) {
        if own.first_s <= 0.0 && own.second_s <= 0.0 {
            continue;
        }
        table.row(vec![
            Text::from("– ").and_given(&name_of(input, &own.id).plain()),
            Text::from(NOTHING),
            Text::from(number(Some(own.first_s), 1)),
            Text::from(number(Some(own.second_s), 1)),
            Text::from(number(own.observed, 3)),
            kappa(own.kappa, own.why.as_ref(), 2),
            Text::from(NOTHING),
            Text::from(NOTHING),
        ]);
    }
}

fn event_row(input: &Input<'_>, event: &EventAgreement) -> Option<Vec<Text>> {
    let mut row = vec![name_of(input, &event.behaviour)];
    let (Some(both), Some(first), Some(second)) = (event.matched, event.only_first, event.only_second) else {
        let why = event.why.as_deref().unwrap_or("not compared");
        row.push(Text::from(NOTHING).and_why(why));
        row.resize(6, Text::from(NOTHING));
        return Some(row);
    };
    if both + first + second == 0 {
        return None;
    }
    let few = if event.few { " (few)" } else { "" };
    let later = event.onset_difference_s.median;
    row.extend([
        Text::from(both.to_string()),
        Text::from(first.to_string()),
        Text::from(second.to_string()),
        Text::from(format!("{}{few}", number(event.agreement, 2))),
        Text::from(later.map_or_else(|| NOTHING.to_owned(), |s| format!("{s:+.2}").replace('-', "−"))),
    ]);
    Some(row)
}

fn pooled(input: &Input<'_>) -> Option<Table> {
    let mut table = Table::new(
        "Two coders, sessions of one ethogram revision added up",
        &["Set", "Ethogram", "#Sessions", "#Observed", "#Kappa", "Spread"],
    );
    for own in &input.agreement.pooled {
        let spread = match (own.ci95, own.range) {
            (Some([low, high]), _) => {
                format!("95 % [{low:.3}, {high:.3}], BCa over sessions, seed {}", input.agreement.seed)
            }
            (None, Some([low, high])) => format!("sessions from {low:.3} to {high:.3}"),
            (None, None) => NOTHING.to_owned(),
        };
        table.row(vec![
            name_of(input, &own.set),
            Text::given(&own.ethogram),
            Text::from(own.sessions.len().to_string()),
            Text::from(number(own.observed, 3)),
            super::words::or_why(number(own.kappa, 3), own.why.as_ref()),
            Text::from(spread),
        ]);
    }
    (!table.rows.is_empty()).then_some(table)
}
