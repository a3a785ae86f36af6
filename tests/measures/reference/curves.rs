//! Product-limit curves, restricted means, the log-rank comparison.

use serde_json::{Value, json};
use shedlight::numeric::log_rank::LogRank;
use shedlight::numeric::product_limit::{Curve, Ending, Flat, Scale, Time};

use super::floats;

fn times(input: &Value) -> Vec<Time> {
    floats(&input["time"])
        .into_iter()
        .zip(floats(&input["event"]))
        .map(|(length, event)| Time {
            length,
            ending: if event > 0.0 { Ending::Reached } else { Ending::Censored },
        })
        .collect()
}

const SCALES: [(&str, Scale); 3] = [("loglog", Scale::LogLog), ("log", Scale::Log), ("plain", Scale::Plain)];

fn curve(times: &[Time], until: &[(&str, f64)]) -> Value {
    let curve = Curve::of(times);
    let table: Vec<Value> = curve
        .steps()
        .iter()
        .filter(|step| step.reached > 0)
        .map(|step| {
            let mut row = json!({
                "t": step.at, "n_risk": step.at_risk, "d": step.reached, "S": step.survival,
                "se": step.standard_error(),
            });
            for (name, scale) in SCALES {
                let limits = step.limits(scale);
                row[name] = json!([limits.map(|own| own.0), limits.map(|own| own.1)]);
            }
            row
        })
        .collect();
    let quantiles = |flat| {
        let at = |level| curve.reaching_by(level, Scale::LogLog, flat).at;
        json!({ "median": at(0.5), "q25": at(0.75), "q75": at(0.25) })
    };
    let first = quantiles(Flat::Start);
    assert_eq!(json!(curve.median().at), first["median"]);
    let mut found = json!({
        "table": table, "n": times.len(),
        "events": times.iter().filter(|time| time.ending == Ending::Reached).count(),
        "median": first["median"], "q25": first["q25"], "q75": first["q75"],
        "quantiles_first": first, "quantiles_midpoint": quantiles(Flat::Middle),
        "median_ci": {},
    });
    for (name, scale) in SCALES {
        found["median_ci"][name] = json!(curve.reaching_by(0.5, scale, Flat::Start).ci95);
    }
    for (name, until) in until {
        let mean = curve.restricted(*until).unwrap();
        found[name] = json!({ "tau": mean.until, "rmst": mean.mean, "se": mean.variance.sqrt() });
    }
    found
}

fn longest(times: &[Time]) -> f64 {
    times.iter().map(|time| time.length).fold(0.0, f64::max)
}

pub fn product_limit(id: &str, input: &Value) -> Value {
    if id != "km_freireich_6mp" {
        let times = times(input);
        let mut found = curve(&times, &[("rmst", longest(&times))]);
        // The curve after the last step at or before 30; it has none where nothing was reached.
        let last = Curve::of(&times).steps().iter().rfind(|step| step.at <= 30.0).unwrap().survival;
        found["S_at_30"] = json!(last);
        return found;
    }
    let (drug, placebo) = (times(&input["sixmp"]), times(&input["placebo"]));
    let both = LogRank::of(&[&drug, &placebo]).unwrap();
    json!({
        "sixmp": curve(&drug, &[("rmst", longest(&drug)), ("rmst_tau23", 23.0)]),
        "placebo": curve(&placebo, &[("rmst", longest(&placebo))]),
        "logrank": {
            "groups": ["6MP", "placebo"],
            "observed": both.observed, "expected": both.expected, "variance": both.variance,
            "chisq": both.chi2, "df": both.df, "p": both.p,
        },
    })
}
