//! `agree --training`: coders against reference codings, against themselves, and over time.

use std::io::{self, Write};

use super::super::arguments::Agree;
use super::super::load::Loaded;
use super::super::{CommandResult, Error, FINDINGS, FINE};
use super::print::{interval, two};
use crate::agreement::align::Marks;
use crate::agreement::training::{
    self, Against, Check, Criterion, How, Judged, Part, Repeat, Standing, State, Training, Verdict, Work,
};

/// Fails the command (exit code 1, as other findings do) when someone is out of criterion.
pub(super) fn run(asked: &Agree, loaded: &Loaded, out: &mut dyn Write) -> CommandResult {
    let [folder] = loaded.studies.as_slice() else {
        return Err(Error::Usage("--training looks at one study: name one folder".to_owned()));
    };
    let files: Vec<String> = loaded.codings.iter().map(|(_, own)| super::name(loaded, 0, own)).collect();
    let work: Vec<Work<'_>> = files
        .iter()
        .zip(&loaded.codings)
        .map(|(file, (_, own))| Work {
            file,
            coding: &own.coding,
            session: &own.session,
            ethogram: &own.ethogram,
        })
        .collect();
    let how = How {
        marks: if asked.choice.without_unsure { Marks::WithoutUnsure } else { Marks::All },
        tolerance: asked.tolerance,
        seed: folder.study.double_coding.seed,
    };
    let found = training::of_study(&folder.study, &work, how, Criterion::default());
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
    } else if asked.csv {
        csv(&found, out)?;
    } else {
        text(&found, out)?;
    }
    let is_bad = found.coders.iter().any(|own| own.state == State::OutOfCriterion)
        || !found.not_references.is_empty()
        || !loaded.problems.is_empty();
    Ok(if is_bad { FINDINGS } else { FINE })
}

fn text(found: &Training, out: &mut dyn Write) -> io::Result<()> {
    let asked = &found.criterion;
    writeln!(
        out,
        "criterion (ours): kappa of a set at least {:.2}, of a behaviour {:.2}, events {:.2}, on {} clips running",
        asked.set_kappa, asked.behaviour_kappa, asked.events, asked.clips_running
    )?;
    for own in &found.not_references {
        writeln!(out, "not a reference: {}: {}", own.file, own.why)?;
    }
    if found.references.is_empty() {
        writeln!(out, "no reference codings: name some in study.json under \"reference_codings\"")?;
    } else {
        writeln!(out, "references: {}", found.references.join(", "))?;
        if found.coders.is_empty() {
            writeln!(out, "nobody else has coded these sessions yet")?;
        }
    }
    for own in &found.coders {
        print_coder(own, found, out)?;
    }
    for own in &found.repeats {
        print_repeat(own, out)?;
    }
    if !found.points.is_empty() {
        writeln!(out, "over time (kappa; two coders: the day filmed, else the day coded)")?;
    }
    for own in &found.points {
        let day = own.day.map_or_else(|| "day unknown".to_owned(), |day| day.format("%Y-%m-%d").to_string());
        let against = against(own.against);
        let limits = interval(own.ci95);
        writeln!(
            out,
            "  {} {day} {} {}: {}{limits} ({against})",
            own.coder,
            own.session,
            own.set,
            two(Some(own.kappa))
        )?;
    }
    Ok(())
}

fn against(own: Against) -> &'static str {
    match own {
        Against::Reference => "with a reference",
        Against::Coder => "with another coder",
        Against::Themselves => "with themselves",
    }
}

fn print_coder(own: &Standing, found: &Training, out: &mut dyn Write) -> io::Result<()> {
    let state = match own.state {
        State::InTraining => format!(
            "in training, {} of {} clips running",
            own.running.min(found.criterion.clips_running),
            found.criterion.clips_running
        ),
        State::Trained => "trained".to_owned(),
        State::OutOfCriterion => "out of criterion".to_owned(),
    };
    writeln!(out, "{}: {state}", own.coder)?;
    for check in &own.checks {
        print_check(check, out)?;
    }
    if let (true, Some(days)) = (own.is_due, own.days_since_check) {
        writeln!(
            out,
            "  a check is due: {days} days lie between the last one and the newest coding (at most {})",
            found.criterion.check_every_days
        )?;
    }
    if !own.to_recode.is_empty() {
        writeln!(out, "  to be coded again, made since the last good check: {}", own.to_recode.join(", "))?;
    }
    Ok(())
}

fn print_check(own: &Check, out: &mut dyn Write) -> io::Result<()> {
    let day = own.coded.map_or_else(|| "day unknown".to_owned(), |at| at.format("%Y-%m-%d").to_string());
    let verdict = verdict(own.verdict);
    writeln!(out, "  {day} {} with {}: {verdict}", own.coding, own.reference)?;
    if let Some(why) = &own.why {
        return writeln!(out, "    not compared: {why}");
    }
    let missed: Vec<String> = own.judged.iter().filter(|one| !one.is_met()).map(said).collect();
    if !missed.is_empty() {
        writeln!(out, "    below: {}", missed.join(", "))?;
    }
    writeln!(out, "    {} numbers judged, {} too few or not defined", own.judged.len(), own.not_judged)
}

fn verdict(own: Verdict) -> &'static str {
    match own {
        Verdict::Met => "criterion reached",
        Verdict::Missed => "criterion not reached",
        Verdict::NotJudged => "not judged: no set has a kappa",
    }
}

fn said(own: &Judged) -> String {
    // Cut, not rounded: 0.797 must not read as the 0.80 it does not reach.
    let value = (own.value * 100.0).floor() / 100.0;
    format!("{} {value:.2} (needs {:.2})", own.id, own.needed)
}

fn print_repeat(own: &Repeat, out: &mut dyn Write) -> io::Result<()> {
    let apart = match own.days {
        Some(days) if own.is_soon => format!("{days} days apart, soon enough for memory to help"),
        Some(days) => format!("{days} days apart"),
        None => "days apart not known".to_owned(),
    };
    writeln!(out, "{} twice on {}, {apart}", own.coder, own.session)?;
    if let Some(why) = &own.why {
        return writeln!(out, "  not compared: {why}");
    }
    for set in &own.kappas {
        writeln!(out, "  {}: kappa {}{}", set.set, two(Some(set.kappa)), interval(set.ci95))?;
    }
    Ok(())
}

/// One row a number that was judged; a check without any has one row.
fn csv(found: &Training, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "coder,session,coding,reference,coded,verdict,part,id,value,needed,is_met,why")?;
    for check in found.coders.iter().flat_map(|own| &own.checks) {
        let field = crate::export::csv::field;
        let coded = check.coded.map_or_else(String::new, |at| at.to_rfc3339());
        let verdict = match check.verdict {
            Verdict::Met => "met",
            Verdict::Missed => "missed",
            Verdict::NotJudged => "not_judged",
        };
        let head = format!(
            "{},{},{},{},{coded},{verdict}",
            field(&check.coder),
            field(&check.session),
            field(&check.coding),
            field(&check.reference)
        );
        let why = check.why.as_deref().map_or_else(String::new, field);
        if check.judged.is_empty() {
            writeln!(out, "{head},,,,,,{why}")?;
        }
        for own in &check.judged {
            let part = match own.part {
                Part::Set => "set",
                Part::Behaviour => "behaviour",
                Part::Events => "events",
            };
            writeln!(
                out,
                "{head},{part},{},{},{},{},{why}",
                field(&own.id),
                own.value,
                own.needed,
                own.is_met()
            )?;
        }
    }
    Ok(())
}
