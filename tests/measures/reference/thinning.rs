//! What sampling would have given.

use serde_json::{Value, json};
use shedlight::measures::sampling::{Expectation, Grid, Thinned, thin};
use shedlight::numeric::rank::{Spearman, pearson};
use shedlight::time::{Micros, Span, Spans};

use super::{floats, rows};
use crate::measures::made::{Made, seconds};

pub fn sampling(_: &str, input: &Value) -> Value {
    let bouts: Spans = rows(&input["bouts_on"])
        .iter()
        .map(|bout| Span::try_new(seconds(bout[0]), seconds(bout[1])).unwrap())
        .collect();
    let total = input["total_s"].as_f64().unwrap();
    let window = Span::try_new(Micros::ZERO, seconds(total)).unwrap();
    let by_interval = floats(&input["intervals"]).into_iter().map(|interval| {
        let grid = Grid::try_new(window, seconds(interval), Micros::ZERO).unwrap();
        let mut found = json!({ "interval": interval, "n_intervals": grid.count() });
        for (name, hits) in [
            ("scan_start", grid.held_at_points(&bouts)),
            ("scan_end", grid.held_at_ends(&bouts)),
            ("one_zero", grid.touched(&bouts)),
            ("whole_interval", grid.filled(&bouts)),
        ] {
            found[format!("{name}_hits")] = json!(hits);
            found[format!("{name}_prop")] = json!(f64::from(hits) / f64::from(grid.count()));
        }
        found
    });
    let held = bouts.total().seconds();
    let n = u32::try_from(bouts.as_slice().len()).unwrap();
    json!({
        "continuous_seconds": held, "continuous_prop": held / total, "n_bouts": n,
        "mean_bout": held / f64::from(n), "by_interval": by_interval.collect::<Value>(),
    })
}

pub fn scan_over_sessions(_: &str, input: &Value) -> Value {
    let total = input["total_s"].as_f64().unwrap();
    let made: Vec<Made> = input["sessions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|bouts| {
            let mut made = Made::new("made", total);
            made.activities(&["held"]);
            for bout in rows(bouts) {
                let _ = made.bout("held", bout[0], bout[1]);
            }
            made
        })
        .collect();
    let at = |interval: f64| -> Vec<_> {
        made.iter()
            .map(|made| thin(&made.record(), made.own("held"), seconds(interval), Micros::ZERO).unwrap())
            .collect()
    };
    let truth: Vec<f64> = at(5.0).iter().map(|own| own.share).collect();
    let by_interval = [5.0, 10.0, 20.0, 30.0, 60.0, 120.0].map(|interval| {
        let thinned = at(interval);
        let scan: Vec<f64> = thinned.iter().map(Thinned::instantaneous).collect();
        let errors: Vec<f64> = thinned.iter().map(Thinned::error).collect();
        json!({
            "interval": interval, "scan": scan,
            "one_zero": thinned.iter().map(Thinned::one_zero).collect::<Vec<_>>(),
            "pearson_scan": pearson(&scan, &truth).unwrap(),
            "spearman_scan": Spearman::of(&scan, &truth).unwrap().rho,
            "mean_error": errors.iter().sum::<f64>() / 8.0,
            "max_abs_error": errors.iter().map(|error| error.abs()).fold(0.0, f64::max),
        })
    });
    json!({ "continuous_prop": truth, "by_interval": by_interval })
}

pub fn one_zero_bias(_: &str, input: &Value) -> Value {
    let items = input["items"].as_array().unwrap().iter().map(|item| {
        let length = |key: &str| item[key].as_f64().unwrap();
        let found = Expectation::of(length("mean_bout"), length("mean_gap"), length("interval")).unwrap();
        let mut row = item.clone();
        row["prevalence"] = json!(found.share);
        row["incidence_per_s"] = json!(found.rate);
        row["E_continuous"] = json!(found.share);
        row["E_scan"] = json!(found.share);
        row["E_one_zero"] = json!(found.one_zero);
        row["E_whole_interval"] = json!(found.whole_interval);
        row
    });
    json!({ "items": items.collect::<Value>() })
}
