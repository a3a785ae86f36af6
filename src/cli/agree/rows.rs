//! `agree` as a table: one row a pair, set and behaviour.

use std::io::{self, Write};

use crate::agreement::by_samples::{SampledAgreement, SampledTwo};
use crate::agreement::pair::{Agreement, BehaviourAgreement, EventAgreement, PairAgreement, SetAgreement};

/// Columns, in order. `what`: `set` the whole set, `state` one of its states, `moments` events and onsets; of
/// codings by samples `… by points` and `behaviour, by intervals`, whose counts are of samples.
const COLUMNS: &str = "session,first,second,what,id,kappa,observed,first_s,second_s,matched,only_first,only_second,agreement,why,\
set,first_by,second_by,kind,ci95_low,ci95_high,expected,kappa_max,compared_s,prevalence_index,bias_index,pabak,ac1,specific,\
specific_absence,tolerance_s,onset_median_s,onset_q1_s,onset_q3_s,onset_bias_s,offset_median_s,offset_bias_s,word,\
first_masked,second_masked";

/// Everything of a row that is not the pair's.
#[derive(Default)]
struct Row {
    what: &'static str,
    id: String,
    set: String,
    /// From `kappa` to `agreement`, then from `ci95_low` to `offset_bias_s`.
    numbers: [Option<f64>; 8],
    more: [Option<f64>; 18],
    why: Option<String>,
    word: Option<&'static str>,
}

pub(super) fn csv(found: &Agreement, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{COLUMNS}")?;
    for pair in &found.pairs {
        for row in rows(pair) {
            write_row(pair, &row, out)?;
        }
    }
    Ok(())
}

fn rows(pair: &PairAgreement) -> Vec<Row> {
    if pair.why.is_some() {
        return vec![Row { what: "pair", why: pair.why.clone(), ..Row::default() }];
    }
    if let Some(own) = &pair.samples {
        return of_samples(own);
    }
    let mut rows = Vec::new();
    for set in pair.sets.iter().chain(&pair.states) {
        rows.push(of_set(set));
        rows.extend(set.behaviours.iter().map(|own| of_state(set, own)));
    }
    rows.extend(pair.events.iter().map(|own| of_moments(pair, own)));
    rows
}

/// Of samples the counts stand where those of moments do: none of them is a time.
fn of_samples(own: &SampledAgreement) -> Vec<Row> {
    let mut rows = Vec::new();
    for set in &own.sets {
        let [low, high] = ends(set.ci95);
        let mut more = [None; 18];
        for (cell, value) in more.iter_mut().zip([low, high, set.expected, set.kappa_max]) {
            *cell = value;
        }
        rows.push(Row {
            what: "set, by points",
            id: set.set.clone(),
            set: set.set.clone(),
            numbers: [set.kappa, set.observed, None, None, None, None, None, None],
            more,
            why: set.why.clone(),
            word: set.word,
        });
        rows.extend(set.behaviours.iter().map(|two| of_sampled("state, by points", &set.set, two)));
    }
    rows.extend(own.behaviours.iter().map(|two| of_sampled("behaviour, by intervals", "", two)));
    rows
}

#[allow(clippy::cast_precision_loss)] // Counts of samples.
fn of_sampled(what: &'static str, set: &str, own: &SampledTwo) -> Row {
    let [low, high] = ends(own.ci95);
    let extra = &own.extra;
    let beside = [
        extra.prevalence_index,
        extra.bias_index,
        extra.pabak,
        extra.ac1,
        extra.specific,
        extra.specific_absence,
    ];
    let mut more = [None; 18];
    for (cell, value) in more.iter_mut().zip([low, high, None, None, None].into_iter().chain(beside)) {
        *cell = value;
    }
    let [both, first, second] = [own.both, own.only_first, own.only_second].map(|n| Some(n as f64));
    Row {
        what,
        id: own.id.clone(),
        set: set.to_owned(),
        numbers: [own.kappa, own.observed, None, None, both, first, second, None],
        more,
        why: own.why.clone(),
        word: own.word,
    }
}

fn of_set(set: &SetAgreement) -> Row {
    let [low, high] = ends(set.ci95);
    let mut more = [None; 18];
    for (cell, value) in more.iter_mut().zip([low, high, set.expected, set.kappa_max, Some(set.compared_s)]) {
        *cell = value;
    }
    Row {
        what: "set",
        id: set.set.clone(),
        set: set.set.clone(),
        numbers: [set.kappa, set.observed, None, None, None, None, None, None],
        more,
        why: set.why.clone(),
        word: set.word,
    }
}

fn of_state(set: &SetAgreement, own: &BehaviourAgreement) -> Row {
    let [low, high] = ends(own.ci95);
    let extra = &own.extra;
    let values = [
        low,
        high,
        None,
        None,
        Some(set.compared_s),
        extra.prevalence_index,
        extra.bias_index,
        extra.pabak,
        extra.ac1,
        extra.specific,
        extra.specific_absence,
    ];
    let mut more = [None; 18];
    for (cell, value) in more.iter_mut().zip(values) {
        *cell = value;
    }
    Row {
        what: "state",
        id: own.id.clone(),
        set: set.set.clone(),
        numbers: [own.kappa, own.observed, Some(own.first_s), Some(own.second_s), None, None, None, None],
        more,
        why: own.why.clone(),
        word: own.word,
    }
}

fn of_moments(pair: &PairAgreement, own: &EventAgreement) -> Row {
    let set = pair.sets.iter().find(|set| set.behaviours.iter().any(|state| state.id == own.behaviour));
    let (onset, offset) = (&own.onset_difference_s, &own.offset_difference_s);
    let values =
        [Some(own.tolerance_s), onset.median, onset.q1, onset.q3, onset.bias, offset.median, offset.bias];
    let mut more = [None; 18];
    for (cell, value) in more.iter_mut().skip(11).zip(values) {
        *cell = value;
    }
    Row {
        what: "moments",
        id: own.behaviour.clone(),
        set: set.map(|set| set.set.clone()).unwrap_or_default(),
        numbers: [
            None,
            None,
            None,
            None,
            count(own.matched),
            count(own.only_first),
            count(own.only_second),
            own.agreement,
        ],
        more,
        why: own.why.clone(),
        word: None,
    }
}

fn ends(ci95: Option<[f64; 2]>) -> [Option<f64>; 2] {
    ci95.map_or([None; 2], |ends| ends.map(Some))
}

#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
fn count(of: Option<usize>) -> Option<f64> {
    of.map(|of| of as f64)
}

fn write_row(pair: &PairAgreement, row: &Row, out: &mut dyn Write) -> io::Result<()> {
    let plain = |value: &Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let kind = match pair.kind {
        crate::agreement::pair::PairKind::Between => "between",
        crate::agreement::pair::PairKind::Within => "within",
        crate::agreement::pair::PairKind::Trial => "trial",
    };
    let mut fields: Vec<String> = vec![
        pair.session.clone(),
        pair.first.clone(),
        pair.second.clone(),
        row.what.to_owned(),
        row.id.clone(),
    ];
    fields.extend(row.numbers.iter().map(plain));
    fields.push(row.why.clone().unwrap_or_default());
    fields.extend([row.set.clone(), pair.first_by.clone(), pair.second_by.clone(), kind.to_owned()]);
    fields.extend(row.more.iter().map(plain));
    fields.push(row.word.unwrap_or_default().to_owned());
    fields.extend([pair.first_masked.join("; "), pair.second_masked.join("; ")]);
    let line: Vec<String> = fields.iter().map(|field| crate::export::csv::field(field)).collect();
    writeln!(out, "{}", line.join(","))
}
