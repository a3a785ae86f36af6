//! `summary --all`: each animal over its sessions, for people.

use std::io::{self, Write};

use crate::measures::summary::{CourseFigures, OverSessions, SequenceFigures};
use crate::report::words::{number, percent, signed};

pub(super) fn print(all: &[OverSessions], out: &mut dyn Write) -> io::Result<()> {
    for own in all {
        let n = own.sessions.len();
        let word = if n == 1 { "session" } else { "sessions" };
        writeln!(
            out,
            "{}{}, over {n} {word}: {}",
            own.animal,
            super::of_study(own.study.as_ref()),
            own.sessions.join(", ")
        )?;
        for course in &own.courses {
            print_course(course, out)?;
        }
        for sequence in &own.sequences {
            print_sequence(sequence, out)?;
        }
        writeln!(out, "  sampling instead of all the time: the longest interval that would have done")?;
        for own in &own.sampling {
            let longest = own
                .longest_s
                .map_or_else(|| own.why.clone().unwrap_or_default(), |longest| format!("{longest:.0} s"));
            writeln!(out, "    {:<28} share {:>7}   {longest}", own.behaviour, percent(own.share))?;
        }
        writeln!(out, "  bouts of events: the gap that ends one")?;
        for own in &own.bout_criteria {
            let found = own.criterion_s.map_or_else(
                || own.why.clone().unwrap_or_default(),
                |gap| {
                    format!(
                        "{gap:.1} s, from {} gaps in {} sessions",
                        own.gaps.unwrap_or_default(),
                        own.n_sessions
                    )
                },
            );
            writeln!(out, "    {:<28} {found}", own.behaviour)?;
        }
        writeln!(out)?;
    }
    Ok(())
}

fn print_course(course: &CourseFigures, out: &mut dyn Write) -> io::Result<()> {
    let values: Vec<String> = course
        .values
        .iter()
        .map(|own| match (own.value, own.of) {
            (Some(value), Some(of)) => format!("{} (of {of:.0})", number(Some(value), 2)),
            _ => "—".to_owned(),
        })
        .collect();
    writeln!(out, "  {} ({}): {}", course.quantity.replace('_', " "), course.unit, values.join("  "))?;
    if let (Some(mean), Some(median), Some([low, high])) = (course.mean, course.median, course.range) {
        let interval = course.ci95.map_or_else(String::new, |[low, high]| {
            let (draws, seed) = course.draws_and_seed.unwrap_or_default();
            format!(", mean 95 % [{low:.3}, {high:.3}] (bootstrap over sessions, {draws} draws, seed {seed})")
        });
        writeln!(out, "    mean {mean:.3}, median {median:.3}, {low:.3} to {high:.3}{interval}")?;
    }
    if let Some(trend) = &course.trend {
        let limit = |own: Option<f64>| own.map_or_else(|| "unbounded".to_owned(), |own| format!("{own:+.3}"));
        writeln!(
            out,
            "    from session to session {} [{}, {}] (Theil–Sen); tau b {}, p {} ({}; describes, decides nothing)",
            signed(Some(trend.slope), 3),
            limit(trend.slope_ci95[0]),
            limit(trend.slope_ci95[1]),
            signed(Some(trend.tau_b), 2),
            number(Some(trend.p), 3),
            trend.by
        )?;
    }
    for pair in course.phases.windows(2) {
        let [before, after] = pair else { continue };
        let step =
            |step: Option<u32>| step.map_or_else(|| "no step".to_owned(), |step| format!("step {step}"));
        if let Some(nap) = after.nap {
            writeln!(
                out,
                "    {} beside {}: better in {} of pairs; tau {} with the earlier trend taken off",
                step(after.step),
                step(before.step),
                percent(Some(nap)),
                signed(after.tau_corrected, 2)
            )?;
        }
    }
    match &course.why {
        Some(why) => writeln!(out, "    ({why})"),
        None => Ok(()),
    }
}

fn print_sequence(own: &SequenceFigures, out: &mut dyn Write) -> io::Result<()> {
    if let Some(why) = &own.why {
        return writeln!(out, "  what follows what in {}: {why}", own.set);
    }
    writeln!(
        out,
        "  what follows what in {}, {} sessions (count; ! where it stands out: adjusted residual beyond 1.96)",
        own.set, own.n_sessions
    )?;
    for (place, from) in own.states.iter().enumerate() {
        let counts = own.counts.get(place).map(Vec::as_slice).unwrap_or_default();
        let row: Vec<String> = own
            .states
            .iter()
            .zip(counts)
            .enumerate()
            .filter(|(_, (_, n))| **n > 0)
            .map(|(to, (name, n))| {
                let residual = own.adjusted_residuals.as_ref().and_then(|all| *all.get(place)?.get(to)?);
                let mark = if residual.is_some_and(|own| own.abs() > 1.96) { "!" } else { "" };
                format!("{name} {n}{mark}")
            })
            .collect();
        if !row.is_empty() {
            writeln!(out, "    {from:<28} then {}", row.join(", "))?;
        }
    }
    for caution in &own.cautions {
        writeln!(out, "    ({caution})")?;
    }
    Ok(())
}
