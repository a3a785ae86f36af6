//! Intervals: shares, rates, their ratio, the corrected bootstrap.

use serde_json::{Value, json};
use shedlight::numeric::bootstrap::{Correction, Equal, acceleration, left_out};
use shedlight::numeric::interval::{self, Confidence, clopper_pearson, garwood, wilson};
use shedlight::numeric::quantile;

use super::floats;

fn count(value: &Value) -> u32 {
    u32::try_from(value.as_u64().unwrap()).unwrap()
}

pub fn proportion(_: &str, input: &Value) -> Value {
    assert_eq!(input["conf"], 0.95);
    let items = input["items"].as_array().unwrap().iter().map(|item| {
        let (k, n) = (count(&item["x"]), count(&item["n"]));
        json!({
            "x": k, "n": n, "p": f64::from(k) / f64::from(n), "wilson": wilson(k, n).unwrap(),
            "clopper_pearson": clopper_pearson(k, n, Confidence::P95).unwrap(),
        })
    });
    json!({ "items": items.collect::<Value>() })
}

pub fn poisson(_: &str, input: &Value) -> Value {
    assert_eq!(input["conf"], 0.95);
    let items = input["items"].as_array().unwrap().iter().map(|item| {
        let (events, time) = (count(&item["count"]), item["exposure"].as_f64().unwrap());
        json!({
            "count": events, "exposure": time, "rate": f64::from(events) / time,
            "ci": garwood(events, time).unwrap(),
        })
    });
    json!({ "items": items.collect::<Value>() })
}

pub fn rate_ratio(_: &str, input: &Value) -> Value {
    let time = |key: &str| input[key].as_f64().unwrap();
    let counts = (count(&input["x1"]), count(&input["x2"]));
    let found = interval::rate_ratio(counts, (time("t1"), time("t2")), Confidence::P95).unwrap();
    json!({ "rate_ratio": found.ratio, "ci": found.interval, "p_two_sided_minlike": found.p })
}

pub fn bca(id: &str, input: &Value) -> Value {
    let x = floats(&input["x"]);
    let is_mean = input["statistic"] == "mean";
    let statistic = |places: &[usize]| {
        let values: Vec<f64> = places.iter().map(|place| x[*place]).collect();
        let mean = quantile::mean(&values)?;
        let squares: Vec<f64> = values.iter().map(|value| (value - mean).powi(2)).collect();
        if is_mean { Some(mean) } else { quantile::mean(&squares) }
    };
    let all: Vec<usize> = (0..x.len()).collect();
    let estimate = statistic(&all).unwrap();
    let without = left_out(x.len(), &statistic).unwrap();
    if id == "bca_efron_tibshirani_spatial" {
        return json!({ "theta": estimate, "acceleration": acceleration(&without).unwrap() });
    }
    // Every resample there is, instead of a seed.
    let mut draws: Vec<f64> = (0..x.len().pow(5))
        .map(|code| (0..5).map(|digit| code / x.len().pow(digit) % x.len()).collect::<Vec<_>>())
        .map(|places| statistic(&places).unwrap())
        .collect();
    draws.sort_by(f64::total_cmp);
    let confidence = Confidence::try_new(input["conf"].as_f64().unwrap()).unwrap();
    let by = |equal| Correction::of(&draws, estimate, &without, confidence, equal).unwrap();
    let (strict, halved) = (by(Equal::Above), by(Equal::Halved));
    let (low, high) = confidence.tails();
    json!({
        "theta": estimate, "B": draws.len(), "jackknife": without, "acceleration": strict.acceleration,
        "z0_strict": strict.z0, "alpha_strict": strict.levels,
        "ci_strict_linear_type7": [strict.low, strict.high],
        "z0_midrank": halved.z0, "alpha_midrank": halved.levels,
        "ci_midrank_linear_type7": [halved.low, halved.high],
        "percentile_ci_type7": [quantile::sorted(&draws, low), quantile::sorted(&draws, high)],
    })
}
