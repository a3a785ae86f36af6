//! Definitions, presentations and events, fingerprints.

use std::fmt::Write as _;

use super::Input;
use super::words::{NOTHING, number};
use crate::model::{Behaviour, ConcernRule, Context, Kind, Level};
use crate::report::document::{Block, Section, Table, Text};

/// More rows than this are left to the export, and that is said.
pub(super) const MOST_ROWS: usize = 2_000;

/// Appendices A to C.
pub(super) fn all(input: &Input<'_>) -> Vec<Section> {
    vec![definitions(input), events(input), fingerprints(input)]
}

fn definitions(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    for ethogram in input.ethograms {
        let mut table = Table::new(
            format!("Definitions: {} revision {}", ethogram.title, ethogram.revision),
            &["Behaviour", "Kind, set", "Begins", "Ends", "Minimum, not this", "Concern"],
        );
        for own in &ethogram.behaviours {
            let definition = &own.definition;
            let kind = if own.kind == Kind::State { "state" } else { "event" };
            let set = own.set.as_ref().and_then(|set| ethogram.set(set)).map(|set| set.name.as_str());
            let mut more = Text::default();
            if let Some(minimum) = &definition.minimum {
                more = more.and("At least: ").and_given(minimum).and(" ");
            }
            if let Some(not_this) = &definition.not_this {
                more = more.and("Not: ").and_given(not_this);
            }
            let missing = || Text::from("missing");
            table.row(vec![
                Text::given(&own.name),
                set.map_or_else(|| Text::from(kind), |set| Text::from(format!("{kind}, ")).and_given(set)),
                if definition.onset.trim().is_empty() { missing() } else { Text::given(&definition.onset) },
                match (&definition.offset, own.kind) {
                    (Some(offset), _) => Text::given(offset),
                    (None, Kind::State) => missing(),
                    (None, Kind::Event) => Text::from(NOTHING),
                },
                if more.0.is_empty() { Text::from(NOTHING) } else { more },
                Text::from(concern(own)),
            ]);
        }
        blocks.push(Block::Table(table));
    }
    let own: Vec<Text> = input
        .study
        .animals
        .iter()
        .flat_map(|animal| animal.concern.iter().map(move |own| (animal, own)))
        .map(|(animal, own)| {
            let rules: Vec<String> = own.rules.iter().map(rule).collect();
            let rules = if rules.is_empty() { "no concern".to_owned() } else { rules.join("; ") };
            let text = Text::given(&animal.name).and(format!(", {}: {rules}", own.behaviour));
            match &own.reason {
                Some(reason) => text.and(" because ").and_given(reason),
                None => text,
            }
        })
        .collect();
    if !own.is_empty() {
        blocks.push(Block::words(
            "Concern rules of single animals, which stand above those of the definitions:",
        ));
        blocks.push(Block::List(own));
    }
    if blocks.is_empty() {
        blocks.push(Block::words("No coding, so no definitions were used."));
    }
    Section { id: "definitions", title: "Appendix A: Definitions".to_owned(), blocks }
}

fn concern(behaviour: &Behaviour) -> String {
    let rules: Vec<String> = behaviour.concern.iter().map(rule).collect();
    if rules.is_empty() { NOTHING.to_owned() } else { rules.join("; ") }
}

fn rule(rule: &ConcernRule) -> String {
    let word = |level: Level| if level == Level::None { "none" } else { level.word() };
    let mut words = word(rule.level).to_owned();
    if rule.when == Context::InPresentation {
        words.push_str(" in a presentation");
    }
    if !rule.taxa.is_empty() {
        let taxa: Vec<&str> = rule.taxa.iter().map(|taxon| taxon.word()).collect();
        let _ = write!(words, " ({})", taxa.join(", "));
    }
    if let Some(detail) = &rule.detail {
        let _ = write!(words, " (detail: {detail})");
    }
    if let Some(rise) = &rule.rise {
        let to = word(rise.to);
        let seconds = |value: crate::time::Seconds| number(Some(value.micros().seconds()), 0);
        if let Some(after) = rise.after_s {
            let _ = write!(words, ", {to} after {} s", seconds(after));
        }
        if let Some(total) = rise.total_s {
            let _ = write!(words, ", {to} after {} s in the session", seconds(total));
        }
        if let Some((n, within)) = rise.count.zip(rise.window_s) {
            let _ = write!(words, ", {to} at {n} within {} s", seconds(within));
        }
    }
    words
}

fn events(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let mut table = Table::new(
        "Presentations of the counted codings",
        &[
            "Session",
            "#No.",
            "Cue at",
            "#Lasted s",
            "Outcome",
            "#Orient s",
            "#Approach s",
            "#Contact s",
            "#Success s",
            "Vacillating",
        ],
    );
    let mut more = 0;
    for own in input.counted() {
        for one in own.figures.presentations.iter().flatten() {
            if table.rows.len() >= MOST_ROWS {
                more += 1;
                continue;
            }
            let latency = |value: Option<f64>| {
                let already =
                    if one.already && value.is_some_and(|value| value <= 0.0) { " (already)" } else { "" };
                Text::from(format!("{}{already}", number(value, 1)))
            };
            let outcome = one.outcome.map_or(NOTHING, crate::measures::presentations::Outcome::words);
            let outcome = match &one.reason {
                Some(reason) => Text::from(format!("{outcome}: ")).and_given(reason),
                None => Text::from(outcome),
            };
            table.row(vec![
                Text::given(&one.session),
                Text::from(one.number.to_string()),
                Text::from(input.moment_s(&one.session, one.cue_s)),
                Text::from(number(Some(one.end_s - one.cue_s), 1)),
                outcome,
                latency(one.orient_s),
                latency(one.approach_s),
                latency(one.contact_s),
                latency(one.success_s),
                Text::from(if one.vacillating { "yes" } else { "no" }),
            ]);
        }
    }
    table.note = Some(Text::from(
        "A dash under a latency: not reached by the presentation's end, where it is censored; or not a case.",
    ));
    finish(table, more, &mut blocks);
    let mut table = Table::new(
        "Events of the counted codings (bouts of states are in the export)",
        &["Session", "At", "Behaviour", "Detail", "Note"],
    );
    let mut more = 0;
    for record in input.counted_records() {
        let id = record.session.id.as_str();
        for mark in record.coding.marks.iter().filter(|mark| mark.is_event()) {
            if table.rows.len() >= MOST_ROWS {
                more += 1;
                continue;
            }
            let name =
                record.ethogram.behaviour(&mark.behaviour).map_or(mark.behaviour.as_str(), |own| &own.name);
            let unsure = if mark.unsure { " (unsure)" } else { "" };
            let incomplete = if record.coding.is_done(&mark.behaviour) { "" } else { " (pass not done)" };
            table.row(vec![
                Text::given(id),
                Text::from(input.moment(id, mark.from)),
                Text::given(name).and(unsure).and(incomplete),
                mark.detail.as_ref().map_or_else(|| Text::from(NOTHING), |detail| Text::given(detail)),
                mark.note.as_ref().map_or_else(|| Text::from(NOTHING), |note| Text::given(note)),
            ]);
        }
    }
    finish(table, more, &mut blocks);
    Section { id: "events", title: "Appendix B: Presentations and events".to_owned(), blocks }
}

pub(super) fn finish(table: Table, more: usize, blocks: &mut Vec<Block>) {
    blocks.push(Block::Table(table));
    if more > 0 {
        blocks.push(Block::words(format!(
            "{more} more rows are not printed: shedlight export STUDY --as csv has all of them."
        )));
    }
}

fn fingerprints(input: &Input<'_>) -> Section {
    let mut table = Table::new(
        "Clips and their fingerprints: size and BLAKE3 of the first and last MiB",
        &["Session", "Clip", "#Bytes", "BLAKE3"],
    );
    for session in input.sessions {
        for clip in &session.clips {
            let print = clip.fingerprint.as_ref();
            table.row(vec![
                Text::given(session.id.as_str()),
                Text::given(&clip.path),
                Text::from(print.map_or_else(|| NOTHING.to_owned(), |own| own.size.to_string())),
                Text::from(print.map_or("missing: open the session once", |own| own.ends.as_str())),
            ]);
        }
    }
    let mut digests = Table::new("Ethogram digests: BLAKE3", &["Ethogram", "#Revision", "BLAKE3"]);
    for ethogram in input.ethograms {
        digests.row(vec![
            Text::given(ethogram.id.as_str()),
            Text::from(ethogram.revision.to_string()),
            Text::from(ethogram.digest().unwrap_or_else(|_| "missing".to_owned())),
        ]);
    }
    Section {
        id: "fingerprints",
        title: "Appendix C: Fingerprints".to_owned(),
        blocks: vec![Block::Table(table), Block::Table(digests)],
    }
}
