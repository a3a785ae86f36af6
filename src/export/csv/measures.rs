//! The columns of presentations and measures.
//!
//! Measures are one long table: a row a measure, with its unit, its interval and the reason when it
//! has no value. A new measure is a new row and breaks nobody's columns.

use super::Cell;
use super::columns::{Field, Type, field, kind_word};
use crate::measures::presentations::Outcome;
use crate::measures::summary::{
    AnimalSummary, CodingSummary, Figures, OneLatency, PresentationFigures, Summary,
};

/// A presentation and the coding it was found in.
pub(in crate::export) struct PresentationRow<'a> {
    coding: &'a CodingSummary,
    own: &'a PresentationFigures,
}

/// All presentations of all codings.
pub(in crate::export) fn presentations(summary: &Summary) -> impl Iterator<Item = PresentationRow<'_>> {
    summary.codings.iter().flat_map(presentations_of)
}

/// The presentations of one coding.
pub(in crate::export) fn presentations_of(
    coding: &CodingSummary,
) -> impl Iterator<Item = PresentationRow<'_>> {
    coding.figures.presentations.iter().flatten().map(move |own| PresentationRow { coding, own })
}

pub(in crate::export) fn seconds(value: f64) -> String {
    format!("{value:.6}")
}

fn maybe_seconds(value: Option<f64>) -> Cell {
    Cell::known(value.map(seconds))
}

fn outcome_word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Success => "success",
        Outcome::SuccessPrompted => "success_prompted",
        Outcome::OptOut => "opt_out",
        Outcome::PassiveRefusal => "passive_refusal",
        Outcome::Aborted => "aborted",
        Outcome::Void => "void",
        Outcome::Running => "running",
        Outcome::NotCoded => "not_coded",
    }
}

#[rustfmt::skip]
#[allow(clippy::too_many_lines)] // One table of columns.
pub(in crate::export) fn presentations_columns<'a>() -> Vec<Field<PresentationRow<'a>>> {
    vec![
        field("session", Type::Text, "", "The session.", |r| Cell::text(&r.coding.session)),
        field("animal", Type::Text, "", "The focal animal's id.", |r| Cell::text(&r.coding.animal)),
        field("by", Type::Text, "", "Code of the person who coded it.", |r| Cell::text(&r.coding.by)),
        field("purpose", Type::Text, "", "What the coding counts as.", |r| Cell::text(r.coding.purpose)),
        field("counts", Type::Truth, "", "The coding is among those pooled.", |r| Cell::plain(r.coding.counts)),
        field("step", Type::Integer, "", "The plan step.", |r| Cell::known(r.coding.step)),
        field("number", Type::Integer, "", "From 1 in its session.", |r| Cell::plain(r.own.number)),
        field("cue_s", Type::Number, "s", "Session time of the cue's onset.", |r| Cell::plain(seconds(r.own.cue_s))),
        field("end_s", Type::Number, "s", "Session time of its end.", |r| Cell::plain(seconds(r.own.end_s))),
        field("outcome", Type::Text, "", "How it ended; success, opt_out and passive_refusal are the denominator of the success rate.", |r| Cell::maybe(r.own.outcome.map(outcome_word))),
        field("reason", Type::Text, "", "Why it is void.", |r| Cell::maybe(r.own.reason.as_ref())),
        field("orient_s", Type::Number, "s", "From the cue to the first orient; empty: see why.", |r| maybe_seconds(r.own.orient_s)),
        field("approach_s", Type::Number, "s", "From the cue to the first approach; empty: see why.", |r| maybe_seconds(r.own.approach_s)),
        field("contact_s", Type::Number, "s", "From the cue to the first contact; empty: see why.", |r| maybe_seconds(r.own.contact_s)),
        field("success_s", Type::Number, "s", "From the cue to success; empty: see why.", |r| maybe_seconds(r.own.success_s)),
        field("watched_s", Type::Number, "s", "How long a latency that was not reached was watched: it is censored there, never dropped.", |r| Cell::plain(seconds(r.own.end_s - r.own.cue_s))),
        field("orient_is", Type::Text, "", "What became of orient_s: reached; censored (not reached while watched_s); left_out (already under way, no case); not_coded.", |r| latency_is(r, 0)),
        field("approach_is", Type::Text, "", "What became of approach_s, in the same words.", |r| latency_is(r, 1)),
        field("contact_is", Type::Text, "", "What became of contact_s, in the same words.", |r| latency_is(r, 2)),
        field("success_is", Type::Text, "", "What became of success_s, in the same words.", |r| latency_is(r, 3)),
        field("already", Type::Truth, "", "The animal was already oriented or under way at the cue.", |r| Cell::plain(r.own.already)),
        field("vacillating", Type::Truth, "", "Approach and retreat changed direction at least twice.", |r| Cell::plain(r.own.vacillating)),
        field("why", Type::Text, "", "Why what is missing is missing.", |r| Cell::maybe(r.own.why.as_ref())),
    ]
}

fn latency_is(row: &PresentationRow<'_>, which: usize) -> Cell {
    Cell::maybe(row.own.latencies_are.get(which))
}

/// One measure of a coding, or of an animal's primary codings together.
#[derive(Debug, Clone, Default)]
pub(in crate::export) struct MeasureRow {
    scope: &'static str,
    session: Option<String>,
    animal: String,
    by: Option<String>,
    purpose: Option<&'static str>,
    counts: Option<bool>,
    sessions: usize,
    behaviour: Option<String>,
    kind: Option<&'static str>,
    measure: &'static str,
    unit: &'static str,
    value: Option<String>,
    low: Option<String>,
    high: Option<String>,
    interval: Option<&'static str>,
    why: Option<String>,
}

#[rustfmt::skip]
#[allow(clippy::too_many_lines)] // One table of columns.
pub(in crate::export) fn measures() -> Vec<Field<MeasureRow>> {
    vec![
        field("scope", Type::Text, "", "coding (one coding) or animal (the primary codings of one animal together).", |r| Cell::text(r.scope)),
        field("session", Type::Text, "", "The session; empty for scope animal.", |r| Cell::maybe(r.session.as_ref())),
        field("animal", Type::Text, "", "The animal's id.", |r| Cell::text(&r.animal)),
        field("by", Type::Text, "", "Code of the person who coded; empty for scope animal.", |r| Cell::maybe(r.by.as_ref())),
        field("purpose", Type::Text, "", "What the coding counts as.", |r| Cell::maybe(r.purpose)),
        field("counts", Type::Truth, "", "The coding is among those pooled; empty for scope animal.", |r| Cell::known(r.counts)),
        field("sessions", Type::Integer, "", "Sessions the value is made from.", |r| Cell::plain(r.sessions)),
        field("behaviour", Type::Text, "", "The behaviour's id, where the measure is of one.", |r| Cell::maybe(r.behaviour.as_ref())),
        field("kind", Type::Text, "", "state or event.", |r| Cell::maybe(r.kind)),
        field("measure", Type::Text, "", "Name of the measure, as in the keys of `shedlight summary --json`; defined in docs/METHODS.md.", |r| Cell::text(r.measure)),
        field("unit", Type::Text, "", "Unit of value, low and high: s, g, 1 (a share or a count), 1/h (of visible time), 1/min (of observed time).", |r| Cell::text(r.unit)),
        field("value", Type::Number, "as in unit", "The value; empty: not defined or not coded, never zero. See why.", |r| Cell::known(r.value.as_ref())),
        field("low", Type::Number, "as in unit", "Lower limit of the 95 % interval; empty: none, or not reached.", |r| Cell::known(r.low.as_ref())),
        field("high", Type::Number, "as in unit", "Upper limit of the 95 % interval; empty: none, or not reached.", |r| Cell::known(r.high.as_ref())),
        field("interval", Type::Text, "", "Method of the interval.", |r| Cell::maybe(r.interval)),
        field("why", Type::Text, "", "Why what is missing is missing.", |r| Cell::maybe(r.why.as_ref())),
    ]
}

/// All measures of all codings, then of all animals.
pub(in crate::export) fn all(summary: &Summary) -> Vec<MeasureRow> {
    let mut rows = Vec::new();
    summary.codings.iter().for_each(|coding| of_coding(coding, &mut rows));
    summary.animals.iter().for_each(|animal| of_animal(animal, &mut rows));
    rows
}

/// The measures of one coding.
pub(in crate::export) fn of_coding(coding: &CodingSummary, rows: &mut Vec<MeasureRow>) {
    let head = MeasureRow {
        scope: "coding",
        session: Some(coding.session.clone()),
        animal: coding.animal.clone(),
        by: Some(coding.by.clone()),
        purpose: Some(coding.purpose),
        counts: Some(coding.counts),
        sessions: 1,
        ..MeasureRow::default()
    };
    of(&coding.figures, &head, rows);
}

/// The measures of an animal's primary codings together.
pub(in crate::export) fn of_animal(animal: &AnimalSummary, rows: &mut Vec<MeasureRow>) {
    let head = MeasureRow {
        scope: "animal",
        animal: animal.animal.clone(),
        sessions: animal.sessions.len(),
        ..MeasureRow::default()
    };
    of(&animal.figures, &head, rows);
}

struct Rows<'a> {
    head: MeasureRow,
    rows: &'a mut Vec<MeasureRow>,
}

impl Rows<'_> {
    fn push(&mut self, measure: &'static str, unit: &'static str, value: Option<f64>, why: Option<&String>) {
        let is_count = unit == "1" && value.is_some_and(|value| value.fract().abs() < f64::EPSILON);
        let text = |value: f64| {
            if unit == "s" {
                seconds(value)
            } else if is_count {
                format!("{value:.0}")
            } else {
                value.to_string()
            }
        };
        let why = why.filter(|_| value.is_none()).cloned();
        self.rows.push(MeasureRow { measure, unit, value: value.map(text), why, ..self.head.clone() });
    }

    fn count(&mut self, measure: &'static str, value: Option<u32>, why: Option<&String>) {
        self.push(measure, "1", value.map(f64::from), why);
    }

    /// Gives the row pushed last an interval.
    fn within(&mut self, limits: Option<[Option<f64>; 2]>, method: &'static str) {
        if let (Some(last), Some([low, high])) = (self.rows.last_mut(), limits) {
            let text = |value: f64| if last.unit == "s" { seconds(value) } else { value.to_string() };
            (last.low, last.high) = (low.map(text), high.map(text));
            last.interval = Some(method);
        }
    }
}

fn of(figures: &Figures, head: &MeasureRow, rows: &mut Vec<MeasureRow>) {
    let mut rows = Rows { head: head.clone(), rows };
    let both = |limits: Option<[f64; 2]>| limits.map(|own| own.map(Some));
    rows.push("observed_s", "s", Some(figures.observed_s), None);
    rows.push("visible_s", "s", figures.visible_s, figures.why.as_ref());
    rows.push("out_of_sight_share", "1", figures.out_of_sight_share, figures.why.as_ref());
    let approach = &figures.approach;
    let why = approach.why.as_ref();
    rows.count("approaches", approach.approaches, why);
    rows.count("retreats", approach.retreats, why);
    rows.push("approach_share", "1", approach.share, why);
    rows.push("approach_index", "1", approach.index, why);
    rows.count("vacillating", approach.vacillating, why);
    let presentations =
        figures.presentations.as_ref().map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX));
    rows.count("presentations", presentations, figures.why.as_ref());
    let success = &figures.success;
    let why = success.why.as_ref();
    rows.count("success_k", success.k, why);
    rows.count("success_n", success.n, why);
    let rate = success.k.zip(success.n).filter(|(_, n)| *n > 0).map(|(k, n)| f64::from(k) / f64::from(n));
    rows.push("success_rate", "1", rate, why);
    rows.within(both(success.ci95), "Wilson");
    rows.count("success_prompted", success.prompted, why);
    rows.count("opt_outs", success.opt_out, why);
    rows.count("opt_outs_honoured", success.opt_out_honoured, why);
    rows.count("aborted", success.aborted, why);
    rows.count("void", success.void, why);
    let latency = &figures.latency;
    for (names, own) in [
        (["orient_n", "orient_reached", "orient_median_s", "orient_restricted_mean_s"], &latency.orient),
        (
            ["approach_n", "approach_reached", "approach_median_s", "approach_restricted_mean_s"],
            &latency.approach,
        ),
        (["contact_n", "contact_reached", "contact_median_s", "contact_restricted_mean_s"], &latency.contact),
        (
            ["success_latency_n", "success_reached", "success_median_s", "success_restricted_mean_s"],
            &latency.success,
        ),
    ] {
        latency_rows(names, own, &mut rows);
    }
    let food = &figures.food;
    rows.count("food_n", food.n, food.why.as_ref());
    rows.push("food_g", "g", food.grams, food.why.as_ref());
    rows.push("food_per_min", "1/min", food.per_min, food.why.as_ref());
    let concern = &figures.concern;
    let why = concern.why.as_ref();
    rows.push("watch_s", "s", concern.watch_s, why);
    rows.push("stop_s", "s", concern.stop_s, why);
    rows.push("longest_watch_s", "s", concern.longest_watch_s, why);
    rows.push("longest_stop_s", "s", concern.longest_stop_s, why);
    rows.count("watch_incidents", concern.watch_incidents, why);
    let stops = concern.stop_incidents.as_ref().map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX));
    rows.count("stop_incidents", stops, why);
    rows.push("stop_per_visible_hour", "1/h", concern.stop_per_visible_hour, why);
    rows.within(both(concern.stop_per_visible_hour_ci95), "Garwood");
    rows.count("back_offs_within_target", concern.back_offs_within_target, why);
    let continued = concern.continued_after_stop.as_ref();
    rows.count(
        "continued_after_stop",
        continued.map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX)),
        why,
    );
    for own in &figures.behaviours {
        rows.head =
            MeasureRow { behaviour: Some(own.id.clone()), kind: Some(kind_word(own.kind)), ..head.clone() };
        let why = own.why.as_ref();
        rows.count("n", own.n, why);
        rows.push("per_visible_hour", "1/h", own.per_visible_hour, why);
        rows.within(both(own.per_visible_hour_ci95), "Garwood");
        if own.kind == crate::model::Kind::Event {
            continue;
        }
        rows.count("n_complete", own.n_complete, why);
        for (name, value) in [
            ("total_s", own.total_s),
            ("mean_s", own.mean_s),
            ("median_s", own.median_s),
            ("q1_s", own.q1_s),
            ("q3_s", own.q3_s),
            ("sd_s", own.sd_s),
            ("min_s", own.min_s),
            ("max_s", own.max_s),
            ("product_limit_median_s", own.product_limit_median_s),
        ] {
            rows.push(name, "s", value, why);
        }
        rows.push("share_visible", "1", own.share_visible, why);
    }
}

fn latency_rows(names: [&'static str; 4], own: &OneLatency, rows: &mut Rows<'_>) {
    let [n, reached, median, mean] = names;
    let why = own.why.as_ref();
    rows.count(n, own.n, why);
    rows.count(reached, own.reached, why);
    rows.push(median, "s", own.median_s, why);
    rows.within(own.ci95_s, "log–log");
    rows.push(mean, "s", own.restricted_mean_s, why);
}
