//! `shedlight summary`: the measures as a table for people, as JSON or as CSV.

use std::io::{self, Write};

use super::arguments::Summary as Asked;
use super::{CommandResult, FINDINGS, FINE, load};
use crate::measures::summary::{self, CodingSummary, Figures, OneLatency, Summary};
use crate::measures::{Marks, Record};
use crate::model::Kind;
use crate::report::words::{count, number, percent, signed};

pub(super) fn run(asked: &Asked, out: &mut dyn Write) -> CommandResult {
    let loaded = load::codings(&asked.paths, &asked.choice)?;
    let marks = if asked.choice.without_unsure { Marks::WithoutUnsure } else { Marks::All };
    let mut problems = Vec::new();
    let mut records = Vec::new();
    for (study, own) in &loaded.codings {
        let Some(study) = loaded.study(*study) else { continue };
        match Record::try_new(&own.coding, &own.ethogram, &own.session, &study.study, marks) {
            Some(record) => records.push(record),
            None => problems.push(format!(
                "the length of the session is not known yet: open it once in the window, so that its clips are measured: {}",
                own.path.display()
            )),
        }
    }
    super::remark(&problems);
    loaded.tell()?;
    let found = Summary {
        codings: records.iter().map(summary::coding).collect(),
        animals: summary::animals(&records),
    };
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
    } else if asked.csv {
        print_csv(&found, out)?;
    } else {
        print(&found, out)?;
    }
    Ok(if loaded.problems.is_empty() && problems.is_empty() { FINE } else { FINDINGS })
}

fn print(found: &Summary, out: &mut dyn Write) -> io::Result<()> {
    if found.codings.is_empty() {
        return writeln!(out, "no coding here that was asked for");
    }
    for coding in &found.codings {
        print_head(coding, out)?;
        print_figures(&coding.figures, out)?;
        writeln!(out)?;
    }
    for animal in &found.animals {
        writeln!(
            out,
            "{}, all {} {} together: {}",
            animal.animal,
            animal.sessions.len(),
            if animal.sessions.len() == 1 { "session" } else { "sessions" },
            animal.sessions.join(", ")
        )?;
        print_figures(&animal.figures, out)?;
        writeln!(out)?;
    }
    Ok(())
}

fn print_head(coding: &CodingSummary, out: &mut dyn Write) -> io::Result<()> {
    let step = coding.step.map_or_else(String::new, |step| format!(", step {step}"));
    let date = coding.date.as_ref().map_or_else(String::new, |date| format!(", {date}"));
    let counted = if coding.counts { "" } else { ", not pooled" };
    writeln!(
        out,
        "{} · {}{date}{step} · coded by {} ({}{counted})",
        coding.session, coding.animal, coding.by, coding.purpose
    )?;
    if !coding.passes_not_done.is_empty() {
        writeln!(out, "  passes not done: {}", coding.passes_not_done.join(", "))?;
    }
    Ok(())
}

fn print_figures(figures: &Figures, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "  observed {} s, visible {} s, out of sight {}{}",
        number(Some(figures.observed_s), 1),
        number(figures.visible_s, 1),
        percent(figures.out_of_sight_share),
        why(figures.why.as_ref())
    )?;
    writeln!(
        out,
        "  {:<24} {:>4} {:>9} {:>9} {:>9} {:>9} {:>9} {:>8}",
        "behaviour", "n", "complete", "total s", "share", "mean s", "median s", "/vis. h"
    )?;
    for own in &figures.behaviours {
        // What never occurred and can't have a duration needs no row of dashes.
        let note = match (&own.why, own.n) {
            (Some(why), None) => format!("  {why}"),
            _ => String::new(),
        };
        let name: String = own.name.chars().take(24).collect();
        if own.kind == Kind::Event {
            writeln!(out, "  {name:<24} {:>4} {:>57}{note}", count(own.n), number(own.per_visible_hour, 1))?;
        } else {
            writeln!(
                out,
                "  {name:<24} {:>4} {:>9} {:>9} {:>9} {:>9} {:>9} {:>8}{note}",
                count(own.n),
                count(own.n_complete),
                number(own.total_s, 1),
                percent(own.share_visible),
                number(own.mean_s, 2),
                number(own.median_s, 2),
                number(own.per_visible_hour, 1),
            )?;
        }
    }
    print_trials(figures, out)?;
    print_concern(figures, out)
}

/// What is missing, in brackets.
fn why(why: Option<&String>) -> String {
    why.map_or_else(String::new, |why| format!("  ({why})"))
}

fn print_trials(figures: &Figures, out: &mut dyn Write) -> io::Result<()> {
    let approach = &figures.approach;
    writeln!(
        out,
        "  approach {}, retreat {}, share {}, index {}, vacillating {} of {} presentations{}",
        count(approach.approaches),
        count(approach.retreats),
        number(approach.share, 2),
        signed(approach.index, 2),
        count(approach.vacillating),
        figures.presentations.as_ref().map_or_else(|| "—".to_owned(), |all| all.len().to_string()),
        why(approach.why.as_ref())
    )?;
    let between = &figures.between;
    if let (Some(median), Some(least), Some(most)) = (between.median_s, between.min_s, between.max_s) {
        writeln!(
            out,
            "  between presentations {median:.1} s ({least:.1} to {most:.1}), {} presentations a minute",
            number(between.presentations_per_min, 2)
        )?;
    }
    let success = &figures.success;
    let interval = success.ci95.map_or_else(String::new, |[low, high]| format!(" [{low:.2}, {high:.2}]"));
    writeln!(
        out,
        "  success {} of {} valid presentations{interval}; void {}, aborted {}, prompted {}, opt-outs {} ({} honoured in time){}",
        count(success.k),
        count(success.n),
        count(success.void),
        count(success.aborted),
        count(success.prompted),
        count(success.opt_out),
        count(success.opt_out_honoured),
        why(success.why.as_ref())
    )?;
    for (name, latency) in [
        ("orient", &figures.latency.orient),
        ("approach", &figures.latency.approach),
        ("contact", &figures.latency.contact),
        ("success", &figures.latency.success),
    ] {
        writeln!(out, "  latency to {name:<9}{}", latency_words(latency))?;
    }
    let food = &figures.food;
    writeln!(
        out,
        "  food {} times, {} g, {} a minute observed{}",
        count(food.n),
        number(food.grams, 1),
        number(food.per_min, 2),
        why(food.why.as_ref())
    )
}

fn print_concern(figures: &Figures, out: &mut dyn Write) -> io::Result<()> {
    let concern = &figures.concern;
    let incidents = concern.stop_incidents.as_deref();
    let stops = incidents.map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX));
    writeln!(
        out,
        "  concern: watch {} times, {} s; stop {} times, {} s{}",
        count(concern.watch_incidents),
        number(concern.watch_s, 1),
        count(stops),
        number(concern.stop_s, 1),
        why(concern.why.as_ref())
    )?;
    if let (Some(rate), Some([low, high])) =
        (concern.stop_per_visible_hour, concern.stop_per_visible_hour_ci95)
    {
        let stops = stops.unwrap_or_default();
        let within = concern.back_offs_within_target.unwrap_or_default();
        let target = concern.back_off_target_s;
        let backed = if stops == 0 {
            String::new()
        } else {
            format!("; backed off within {target:.0} s in {within} of {stops}")
        };
        writeln!(out, "    stop {rate:.1} an hour visible [{low:.1}, {high:.1}]{backed}")?;
    }
    for incident in incidents.unwrap_or_default() {
        let place =
            incident.presentation.map_or("between presentations".to_owned(), |n| format!("presentation {n}"));
        let back_off = incident.back_off_s.map_or_else(
            || incident.why.clone().unwrap_or_default(),
            |back_off| format!("handler backed off after {back_off:.1} s"),
        );
        writeln!(
            out,
            "    stop in {} at {}: {}, {place}; {back_off}",
            incident.session,
            clock(incident.at_s),
            incident.behaviour
        )?;
    }
    for at in concern.continued_after_stop.iter().flatten() {
        writeln!(out, "    presentation after a stop, against the plan: at {}", clock(*at))?;
    }
    for resume in &figures.resume {
        let after = resume.resume_s.map_or_else(
            || resume.why.clone().unwrap_or_default(),
            |resume| format!("first approach {resume:.1} s later"),
        );
        writeln!(out, "    disturbance in {} over at {}: {after}", resume.session, clock(resume.at_s))?;
    }
    Ok(())
}

fn latency_words(latency: &OneLatency) -> String {
    let limit =
        |value: Option<f64>| value.map_or_else(|| "not reached".to_owned(), |value| format!("{value:.1}"));
    let median = match (latency.median_s, &latency.ci95_s) {
        (Some(median), Some([low, high])) => {
            format!("median {median:.1} s [{}, {}]", limit(*low), limit(*high))
        }
        (Some(median), None) => format!("median {median:.1} s"),
        (None, _) => latency.why.clone().unwrap_or_default(),
    };
    match (latency.reached, latency.n) {
        (Some(reached), Some(n)) => format!("{median}; reached in {reached} of {n}"),
        _ => median,
    }
}

fn clock(seconds: f64) -> String {
    crate::time::Micros::from_seconds(seconds).unwrap_or_default().clock()
}

fn print_csv(found: &Summary, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "session,animal,by,purpose,observed_s,visible_s,behaviour,kind,n,n_complete,total_s,mean_s,median_s,sd_s,min_s,max_s,share_visible,per_visible_hour,why"
    )?;
    let plain = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let whole = |value: Option<u32>| value.map_or_else(String::new, |value| value.to_string());
    for coding in &found.codings {
        for own in &coding.figures.behaviours {
            let fields = [
                coding.session.clone(),
                coding.animal.clone(),
                coding.by.clone(),
                coding.purpose.to_owned(),
                coding.figures.observed_s.to_string(),
                plain(coding.figures.visible_s),
                own.id.clone(),
                if own.kind == Kind::State { "state" } else { "event" }.to_owned(),
                whole(own.n),
                whole(own.n_complete),
                plain(own.total_s),
                plain(own.mean_s),
                plain(own.median_s),
                plain(own.sd_s),
                plain(own.min_s),
                plain(own.max_s),
                plain(own.share_visible),
                plain(own.per_visible_hour),
                own.why.clone().unwrap_or_default(),
            ];
            writeln!(out, "{}", fields.map(|field| super::csv_field(&field)).join(","))?;
        }
    }
    Ok(())
}
