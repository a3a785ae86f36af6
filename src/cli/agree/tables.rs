//! `agree` for people: moments, levels of concern, presentations.

use std::io::{self, Write};

use super::print::{FEW, called, interval, number, two, width};
use crate::agreement::by_samples::{SampledAgreement, SampledTwo};
use crate::agreement::pair::{
    AtTolerance, Difference, EventTableAgreement, LevelAgreement, PairAgreement, TrialAgreement,
};
use crate::model::Kind;

/// Codings by samples: nothing of it is a time.
pub(super) fn samples(own: &SampledAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    for set in &own.sets {
        if set.kappa.is_none() && set.observed.is_none() {
            writeln!(out, "  {}: {}", set.set, set.why.as_deref().unwrap_or("—"))?;
            continue;
        }
        writeln!(
            out,
            "  {}: kappa {}{}{} (at most {}), observed {}, by chance {}, over {} points{}",
            set.set,
            number(set.kappa),
            interval(set.ci95),
            called(set.word),
            number(set.kappa_max),
            number(set.observed),
            number(set.expected),
            set.n,
            set.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"))
        )?;
        sampled_each(&set.behaviours, out)?;
        if everything {
            let rows = set.labels.iter().zip(&set.table);
            for (label, row) in rows {
                let cells: Vec<String> = row.iter().map(|n| format!("{n:>6}")).collect();
                writeln!(out, "    {label:<24}{}", cells.join(""))?;
            }
        }
    }
    sampled_each(&own.behaviours, out)
}

fn sampled_each(all: &[SampledTwo], out: &mut dyn Write) -> io::Result<()> {
    let width = width(all.iter().map(|own| own.id.as_str()));
    for own in all.iter().filter(|own| own.both + own.only_first + own.only_second > 0) {
        writeln!(
            out,
            "    {:width$}  both {:>4}  only 1 {:>4}  only 2 {:>4}  of {:>5}  kappa {}{}{}{}",
            own.id,
            own.both,
            own.only_first,
            own.only_second,
            own.n,
            number(own.kappa),
            interval(own.ci95),
            called(own.word),
            own.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"))
        )?;
    }
    Ok(())
}

pub(super) fn events(pair: &PairAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    let width = width(pair.events.iter().map(|event| event.behaviour.as_str()));
    writeln!(out, "  {:width$}   both  only 1  only 2  agree  later by", "moments")?;
    for event in &pair.events {
        let (Some(both), Some(first), Some(second)) = (event.matched, event.only_first, event.only_second)
        else {
            writeln!(out, "  {:width$}  {}", event.behaviour, event.why.as_deref().unwrap_or("—"))?;
            continue;
        };
        if both + first + second == 0 {
            continue;
        }
        let later = event.onset_difference_s.median.map_or_else(|| "—".to_owned(), |s| format!("{s:+.2} s"));
        let few = if event.few { "  (few)" } else { "" };
        let wide = if event.tolerance_is_wide { "  (close together: pairs may be chance)" } else { "" };
        writeln!(
            out,
            "  {:width$}  {both:>5}  {first:>6}  {second:>6}  {:>5}  {later}{few}{wide}",
            event.behaviour,
            two(event.agreement),
        )?;
        if !everything {
            continue;
        }
        let spread = |what: &str, own: &Difference| {
            let signed =
                |value: Option<f64>| value.map_or_else(|| "—".to_owned(), |value| format!("{value:+.3}"));
            format!(
                "    {what} of {}: median {} s, quartiles {} and {}, mean {}",
                own.n,
                signed(own.median),
                signed(own.q1),
                signed(own.q3),
                signed(own.bias)
            )
        };
        writeln!(out, "{}", spread("onsets", &event.onset_difference_s))?;
        if event.kind == Kind::State {
            writeln!(out, "{}", spread("ends", &event.offset_difference_s))?;
        }
        sweep_line("    ", &event.sweep, out)?;
    }
    let tolerance = pair.events.first().map_or(0.0, |event| event.tolerance_s);
    writeln!(out, "  moments match within ±{tolerance} s; of states their onsets")?;
    write!(out, "  all events, by tolerance:")?;
    sweep_line("", &pair.events_sweep, out)
}

fn sweep_line(indent: &str, sweep: &[AtTolerance], out: &mut dyn Write) -> io::Result<()> {
    let each: Vec<String> =
        sweep.iter().map(|own| format!("{} s {}", own.tolerance_s, two(own.agreement))).collect();
    writeln!(out, "{indent} {}", if each.is_empty() { "—".to_owned() } else { each.join(" · ") })
}

pub(super) fn event_table(
    own: &EventTableAgreement,
    everything: bool,
    out: &mut dyn Write,
) -> io::Result<()> {
    let why = own.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
    writeln!(
        out,
        "  {}: event kappa {}{}{why}, observed {}; {} of them in pairs, kappa of the pairs {}",
        own.what,
        number(own.kappa),
        called(own.word),
        number(own.observed),
        two(own.share_paired),
        number(own.kappa_of_pairs)
    )?;
    if !everything {
        return Ok(());
    }
    let width = width(own.labels.iter().map(String::as_str));
    for (i, (label, row)) in own.labels.iter().zip(&own.table).enumerate() {
        write!(out, "    {label:width$}")?;
        for cell in row {
            write!(out, " {:>4}", cell.map_or_else(|| "·".to_owned(), |cell| format!("{cell:.0}")))?;
        }
        writeln!(out, "    ({})", i + 1)?;
    }
    Ok(())
}

/// How many, and when.
fn moments(seconds: &[f64], everything: bool) -> String {
    let shown = seconds.iter().take(if everything { seconds.len() } else { FEW });
    let clocks: Vec<String> = shown
        .filter_map(|at| crate::time::Micros::from_seconds(*at))
        .map(crate::time::Micros::clock)
        .collect();
    let more = if clocks.len() < seconds.len() { ", …" } else { "" };
    if clocks.is_empty() {
        "0".to_owned()
    } else {
        format!("{} ({}{more})", seconds.len(), clocks.join(", "))
    }
}

pub(super) fn levels(own: &LevelAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    let why = own.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
    writeln!(
        out,
        "  levels of concern: weighted kappa {}{}{}{why}, same level {}",
        number(own.kappa),
        interval(own.ci95),
        called(own.word),
        number(own.exact)
    )?;
    if let Some(matched) = own.stops_matched.filter(|_| {
        own.stops_matched != Some(0)
            || !own.stops_only_first_s.is_empty()
            || !own.stops_only_second_s.is_empty()
    }) {
        writeln!(
            out,
            "    stop incidents: {matched} in both, only the first's {}, only the second's {}",
            moments(&own.stops_only_first_s, everything),
            moments(&own.stops_only_second_s, everything)
        )?;
    }
    Ok(())
}

pub(super) fn trials(own: &TrialAgreement, everything: bool, out: &mut dyn Write) -> io::Result<()> {
    let why = own.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
    writeln!(
        out,
        "  presentations: {} in both, {} only the first's, {} only the second's; one outcome {}, kappa {}{}{why}",
        own.matched,
        own.only_first_s.len(),
        own.only_second_s.len(),
        number(own.observed),
        number(own.kappa),
        called(own.word)
    )?;
    for one in &own.different {
        let (first, second) = (one.first.words(), one.second.words());
        writeln!(out, "    number {} at {:.1} s: {first}, {second}", one.number, one.cue_s)?;
    }
    if !everything {
        return Ok(());
    }
    for (label, row) in own.labels.iter().zip(&own.table) {
        write!(out, "    {:18}", label.words())?;
        for cell in row {
            write!(out, " {cell:>4}")?;
        }
        writeln!(out)?;
    }
    for latency in own
        .latencies
        .iter()
        .filter(|own| own.left_out < own.reached.iter().flatten().sum::<usize>() + own.left_out)
    {
        let [[both, first], [second, neither]] = latency.reached;
        writeln!(
            out,
            "    time to {}: reached in both {both}, only the first {first}, only the second {second}, neither {neither}; median difference {} s, within ±{} s {}, at most {} s apart",
            latency.to,
            latency.difference_s.median.map_or_else(|| "—".to_owned(), |median| format!("{median:+.3}")),
            latency.tolerance_s,
            two(latency.within),
            two(latency.largest_s)
        )?;
    }
    Ok(())
}
