//! `agree` for people: short, or everything.

use std::io::{self, Write};

use super::tables;
use crate::agreement::differences::{Apart, How};
use crate::agreement::grras::Item;
use crate::agreement::pair::{Agreement, PairAgreement, PairKind, PooledSet, SetAgreement};
use crate::agreement::plan::{Due, Reason};
use crate::agreement::sessions::MeasuredAgreement;

/// Differences shown where not all are.
pub(super) const FEW: usize = 5;

pub(super) fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "—".to_owned(), |value| format!("{value:.3}"))
}

pub(super) fn two(value: Option<f64>) -> String {
    // A zero without a sign: what is rounded to 0 has none.
    value.map_or_else(
        || "—".to_owned(),
        |value| format!("{:.2}", if value.abs() < 0.005 { 0.0 } else { value }),
    )
}

pub(super) fn interval(ci95: Option<[f64; 2]>) -> String {
    ci95.map_or_else(String::new, |[low, high]| format!(" [{low:.3}, {high:.3}]"))
}

pub(super) fn called(word: Option<&'static str>) -> String {
    word.map_or_else(String::new, |word| format!(" \"{word}\""))
}

pub(super) fn width<'a>(names: impl Iterator<Item = &'a str>) -> usize {
    names.map(|name| name.chars().count()).max().unwrap_or(0).max(9)
}

pub(super) fn all(found: &Agreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    for pair in &found.pairs {
        print_pair(pair, everything, out)?;
    }
    for pooled in &found.pooled {
        print_pooled(pooled, found.seed, everything, out)?;
    }
    if everything {
        print_measured(&found.measured, out)?;
    }
    for own in found.several.iter().filter(|own| everything || own.alpha.is_some()) {
        writeln!(
            out,
            "{}, {} of {} codings: Krippendorff's alpha {} over {} units of {} s{}",
            own.session,
            own.set,
            own.codings.len(),
            number(own.alpha),
            own.units,
            own.unit_s,
            own.why.as_ref().map_or_else(String::new, |why| format!(" ({why})")),
        )?;
        for two in &own.kappas {
            let why = two.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
            writeln!(out, "  {} with {}: kappa {}{why}", two.first, two.second, number(two.kappa))?;
        }
    }
    print_due(&found.double_coding, out)?;
    if let Some(scheme) = found.scheme {
        writeln!(out, "words after {scheme}: cut points are conventions")?;
    }
    writeln!(out, "seed {}; second minus first where a difference has a sign", found.seed)?;
    if !everything {
        writeln!(out, "tables, sweeps, latencies and all differences: --all; a reporting list: --grras")?;
    }
    Ok(())
}

/// What a coding says was hidden from its coder.
fn hidden(masked: &[String]) -> String {
    if masked.is_empty() { "nothing on record".to_owned() } else { masked.join(", ") }
}

fn print_pair(pair: &PairAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    let kind = match pair.kind {
        PairKind::Between => "two coders",
        PairKind::Within => "one coder twice",
        PairKind::Trial => "a trial, not counted",
    };
    writeln!(out, "{} · {} with {} ({kind})", pair.session, pair.first_by, pair.second_by)?;
    writeln!(out, "  {}\n  {}", pair.first, pair.second)?;
    if let Some(why) = &pair.why {
        return writeln!(out, "  not compared: {why}\n");
    }
    match (&pair.samples, pair.visible_to_both_s) {
        (Some(own), _) => writeln!(
            out,
            "  by samples, one {} every {} s: {} in both, {} of them answered by both, in {} both saw the animal",
            own.each, own.every_s, own.in_both, own.answered_by_both, own.visible_to_both
        )?,
        (None, visible) => writeln!(
            out,
            "  both cover {:.1} s, the animal is visible to both for {:.1} s",
            pair.window_s,
            visible.unwrap_or_default()
        )?,
    }
    writeln!(
        out,
        "  hidden from {}: {}; from {}: {}",
        pair.first_by,
        hidden(&pair.first_masked),
        pair.second_by,
        hidden(&pair.second_masked)
    )?;
    if let Some(own) = &pair.samples {
        tables::samples(own, everything, out)?;
        return writeln!(out);
    }
    for set in pair.sets.iter().chain(&pair.states) {
        print_set(set, everything, out)?;
    }
    tables::events(pair, everything, out)?;
    for own in &pair.event_tables {
        tables::event_table(own, everything, out)?;
    }
    if let Some(own) = &pair.concern {
        tables::levels(own, everything, out)?;
    }
    if let Some(own) = &pair.presentations {
        tables::trials(own, everything, out)?;
    }
    print_differences(pair, everything, out)?;
    writeln!(out)
}

fn print_set(set: &SetAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    if set.kappa.is_none() {
        return writeln!(out, "  {}: {}", set.set, set.why.as_deref().unwrap_or("—"));
    }
    writeln!(
        out,
        "  {}: kappa {}{}{} (at most {}), observed {}, by chance {}, over {:.1} s",
        set.set,
        number(set.kappa),
        interval(set.ci95),
        called(set.word),
        number(set.kappa_max),
        number(set.observed),
        number(set.expected),
        set.compared_s
    )?;
    if let (true, Some(own)) = (everything, &set.units) {
        let error = number(own.standard_error);
        writeln!(
            out,
            "    {} units; error {error}{} if they were independent, which they are not",
            own.n,
            interval(own.ci95)
        )?;
    }
    if let (true, Some(own)) = (everything, &set.tolerant) {
        let unit = own.unit_s.map_or_else(|| "a picture".to_owned(), |unit| format!("{unit} s"));
        writeln!(
            out,
            "    in units of {unit}, ± {}: kappa {} (first in second {}, second in first {})",
            own.units,
            number(own.kappa),
            number(own.first),
            number(own.second)
        )?;
    }
    let is_alone = set.behaviours.len() < 2;
    if !is_alone {
        let width = width(set.behaviours.iter().map(|own| own.id.as_str()));
        writeln!(out, "    {:width$}  kappa  95 %             observed   first s  second s", "")?;
        for own in set.behaviours.iter().filter(|own| own.first_s > 0.0 || own.second_s > 0.0) {
            let why = own.why.as_ref().map_or_else(String::new, |why| format!("  {why}"));
            writeln!(
                out,
                "    {:width$}  {:>5}  {:15}  {:>8}  {:>8.2}  {:>8.2}{why}{}",
                own.id,
                number(own.kappa),
                interval(own.ci95).trim_start(),
                number(own.observed),
                own.first_s,
                own.second_s,
                called(own.word)
            )?;
        }
        let absent: Vec<&str> = set
            .behaviours
            .iter()
            .filter(|own| own.first_s <= 0.0 && own.second_s <= 0.0)
            .map(|own| own.id.as_str())
            .collect();
        if !absent.is_empty() {
            writeln!(out, "    did not occur: {}", absent.join(", "))?;
        }
    }
    if everything { print_table(set, out) } else { Ok(()) }
}

fn print_table(set: &SetAgreement, out: &mut dyn Write) -> io::Result<()> {
    let width = width(set.labels.iter().map(String::as_str));
    writeln!(out, "    seconds; rows the first coder, columns the second")?;
    write!(out, "    {:width$}", "")?;
    for i in 0..set.labels.len() {
        write!(out, " {:>8}", format!("({})", i + 1))?;
    }
    writeln!(out)?;
    for (i, (label, row)) in set.labels.iter().zip(&set.table_s).enumerate() {
        write!(out, "    {label:width$}")?;
        for cell in row {
            write!(out, " {cell:>8.2}")?;
        }
        writeln!(out, "    ({})", i + 1)?;
    }
    writeln!(out, "    {:width$}  prevalence   bias  PABAK    AC1  specific  absence", "beside")?;
    for own in set.behaviours.iter().filter(|own| own.extra.pabak.is_some()) {
        let extra = &own.extra;
        writeln!(
            out,
            "    {:width$}  {:>10}  {:>5}  {:>5}  {:>5}  {:>8}  {:>7}",
            own.id,
            two(extra.prevalence_index),
            two(extra.bias_index),
            two(extra.pabak),
            two(extra.ac1),
            two(extra.specific),
            two(extra.specific_absence)
        )?;
    }
    Ok(())
}

fn print_differences(pair: &PairAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    let (list, causes) = (&pair.differences.list, &pair.differences.causes);
    if list.is_empty() {
        return writeln!(out, "  no differences");
    }
    let total: f64 = list.iter().map(|own| own.seconds.micros().seconds()).sum();
    writeln!(out, "  {} differences, {total:.1} s; most of them about", list.len())?;
    for own in causes.iter().take(if everything { causes.len() } else { FEW }) {
        let [a, b] = &own.behaviours;
        let about = match (a == b, own.is_timing) {
            (true, _) => format!("{a}, a matter of timing"),
            (false, true) => format!("{a} or {b}, a matter of timing"),
            (false, false) => format!("{a} or {b}"),
        };
        writeln!(out, "    {}: {about}: {}×, {:.1} s", own.place.name(), own.n, own.seconds)?;
    }
    writeln!(out, "  longest")?;
    for own in list.iter().take(if everything { list.len() } else { FEW }) {
        print_difference(own, out)?;
    }
    Ok(())
}

fn print_difference(own: &Apart, out: &mut dyn Write) -> io::Result<()> {
    let kind = match own.kind {
        How::DifferentBehaviour => "different",
        How::OnlyFirst => "only the first",
        How::OnlySecond => "only the second",
        How::Timing => "timing",
    };
    let (first, second) = (own.first.as_deref().unwrap_or("—"), own.second.as_deref().unwrap_or("—"));
    writeln!(
        out,
        "    {:>9} {:>7.2} s  {}: {first} | {second} ({kind})",
        own.span.from.clock(),
        own.seconds.micros().seconds(),
        own.place.name()
    )
}

fn print_pooled(own: &PooledSet, seed: u64, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    let spread = match (own.ci95, own.range) {
        (Some(_), _) => {
            let method = if own.ci_method == Some("bca") { "BCa" } else { "percentile" };
            format!("{} ({method} over sessions, seed {seed})", interval(own.ci95))
        }
        (None, Some([low, high])) => format!(", sessions from {low:.3} to {high:.3}"),
        (None, None) => String::new(),
    };
    writeln!(
        out,
        "{}, {} together ({}): kappa {}{spread}{}, observed {}{}",
        own.set,
        own.sessions.join(" and "),
        own.ethogram,
        number(own.kappa),
        called(own.word),
        number(own.observed),
        own.why.as_ref().filter(|_| own.kappa.is_none()).map_or_else(String::new, |why| format!(" ({why})"))
    )?;
    if !everything {
        return Ok(());
    }
    for session in &own.by_session {
        writeln!(
            out,
            "  {}: kappa {} over {:.1} s",
            session.session,
            number(session.kappa),
            session.compared_s
        )?;
    }
    for state in own.behaviours.iter().filter(|state| state.kappa.is_some()) {
        writeln!(out, "  {}: kappa {}{}", state.id, number(state.kappa), interval(state.ci95))?;
    }
    Ok(())
}

fn print_measured(measured: &[MeasuredAgreement], out: &mut dyn Write) -> io::Result<()> {
    if measured.is_empty() {
        return Ok(());
    }
    writeln!(out, "durations (s) and counts by session, first and second coder")?;
    for own in measured {
        let pairs: Vec<String> =
            own.pairs.iter().map(|pair| format!("{} {} {}", pair.session, pair.first, pair.second)).collect();
        let what = match own.measure {
            crate::agreement::sessions::Measure::DurationS => "seconds",
            crate::agreement::sessions::Measure::Count => "count",
        };
        write!(out, "  {} ({what}): {}", own.behaviour, pairs.join(" · "))?;
        if own.icc.is_some() {
            write!(out, "; ICC(2,1) {}{}", number(own.icc), interval(own.icc_ci95))?;
        }
        if let (Some(bias), Some([low, high])) = (own.bias, own.limits) {
            write!(out, "; second minus first {bias:+.3}, limits of agreement {low:.3} to {high:.3}")?;
        }
        writeln!(out)?;
    }
    Ok(())
}

fn print_due(due: &[Due], out: &mut dyn Write) -> io::Result<()> {
    for own in due {
        let reasons: Vec<&str> = own.reasons.iter().copied().map(Reason::words).collect();
        let reasons = if reasons.is_empty() { "not drawn".to_owned() } else { reasons.join(", ") };
        if own.is_waiting() {
            writeln!(out, "due for a second coder: {}, not {} ({reasons})", own.session, own.coder)?;
        }
    }
    Ok(())
}

pub(super) fn grras(items: &[Item], out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "What a report of agreement has to answer (GRRAS, Kottner et al. 2011)")?;
    for item in items {
        writeln!(out, "{:>2}. {}", item.number, item.asks)?;
        if let Some(answer) = &item.answer {
            writeln!(out, "    {answer}")?;
        }
        if let Some(missing) = &item.missing {
            writeln!(out, "    missing: {missing}")?;
        }
    }
    Ok(())
}
