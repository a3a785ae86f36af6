//! A time budget with time out of sight taken out, and its cut bouts.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use shedlight::measures::bouts::tally;
use shedlight::measures::record::Seen;

use super::rows;
use crate::measures::made::{HIDDEN, Made};

pub fn out_of_sight(_: &str, input: &Value) -> Value {
    let total = input["total_s"].as_f64().unwrap();
    let mut made = Made::new("made", total);
    let states = input["states"].as_array().unwrap();
    let codes: BTreeSet<&str> = states.iter().map(|state| state[0].as_str().unwrap()).collect();
    made.activities(&codes.iter().copied().collect::<Vec<_>>());
    for state in states {
        let (from, to) = (state[1].as_f64().unwrap(), state[2].as_f64().unwrap());
        let _ = made.bout(state[0].as_str().unwrap(), from, to);
    }
    for hidden in rows(&input["out_of_sight"]) {
        let _ = made.bout(HIDDEN, hidden[0], hidden[1]);
    }
    let record = made.record();
    let visible = record.visible().unwrap().total().seconds();
    let (mut by_code, mut shares) = (json!({}), 0.0);
    for code in codes {
        let behaviour = made.own(code);
        let own = tally(&record, behaviour).unwrap();
        let held = own.total.seconds();
        shares += held / visible;
        let bouts = record.bouts(behaviour).into_iter().map(|bout| {
            json!({
                "on": bout.span.from.seconds(), "off": bout.span.to.seconds(),
                "dur": bout.span.length().seconds(),
                "left_censored": bout.start == Seen::Cut, "right_censored": bout.end == Seen::Cut,
            })
        });
        by_code[code] = json!({
            "n_bouts": own.n, "seconds": held, "prop_of_session": held / total,
            "prop_of_visible": held / visible, "bouts_per_visible_hour": f64::from(own.n) * 3600.0 / visible,
            "bouts": bouts.collect::<Value>(), "n_complete": own.n_complete,
            "mean_complete": own.mean(), "median_complete": own.quantile(0.5),
        });
    }
    json!({
        "total": record.window().length().seconds(), "out_of_sight": record.excluded().total().seconds(),
        "visible": visible, "by_code": by_code, "sum_prop_visible": shares,
    })
}
