//! Tables of counts.

use serde_json::{Value, json};
use shedlight::measures::sequence::count_codes;
use shedlight::numeric::contingency::{Fit, YuleQ, independence, quasi_independence as quasi};

use super::{floats, rows};

fn fit(fit: &Fit) -> Value {
    let test = fit.test.unwrap();
    json!({
        "n": fit.total, "expected": fit.expected,
        "pearson_residual": fit.pearson, "adjusted_residual": fit.adjusted,
        "adjusted_offdiag_flat": fit.adjusted.iter().flatten().flatten().collect::<Vec<_>>(),
        "chi2": test.chi2, "X2": test.chi2, "G2": test.g2, "df": test.df,
        "p": test.p_chi2, "p_X2": test.p_chi2, "p_G2": test.p_g2,
    })
}

pub fn adjusted_residuals(_: &str, input: &Value) -> Value {
    fit(&independence(&rows(&input["table"])).unwrap())
}

pub fn quasi_independence(_: &str, input: &Value) -> Value {
    assert_eq!(input["self_transitions_allowed"], false);
    fit(&quasi(&rows(&input["table"])).unwrap())
}

pub fn yule(_: &str, input: &Value) -> Value {
    let table = rows(&input["table"]);
    let found = YuleQ::of([[table[0][0], table[0][1]], [table[1][0], table[1][1]]]).unwrap();
    let odds = found.odds_ratio.unwrap();
    json!({
        "Q": found.q, "se": found.standard_error, "odds_ratio": odds, "log_or": odds.ln(),
        "se_log_or": found.log_odds_error,
    })
}

pub fn transitions(_: &str, input: &Value) -> Value {
    assert_eq!(input["self_transitions_allowed"], true);
    let codes = floats(&input["codes"]);
    let place = |code: f64| codes.iter().position(|own| *own == code).unwrap();
    let sequence: Vec<usize> = floats(&input["sequence"]).into_iter().map(place).collect();
    let lag = usize::try_from(input["lag"].as_u64().unwrap()).unwrap();
    let counts = count_codes(&[sequence], codes.len(), lag);
    let table: Vec<Vec<f64>> =
        counts.rows().iter().map(|row| row.iter().map(|n| f64::from(*n)).collect()).collect();
    let mut found = fit(&independence(&table).unwrap());
    let each = |value: &dyn Fn(usize, usize) -> Value| -> Value {
        (0..codes.len()).map(|i| (0..codes.len()).map(|j| value(i, j)).collect::<Value>()).collect()
    };
    found["counts"] = json!(counts.rows());
    found["n_transitions"] = json!(counts.total());
    found["conditional_prob"] = each(&|i, j| json!(counts.conditional(i, j).unwrap()));
    found["yule_q"] = each(&|i, j| json!(counts.yule(i, j).unwrap().q));
    found
}
