//! Trends, correlations, two phases.

use serde_json::{Value, json};
use shedlight::numeric::interval::Confidence;
use shedlight::numeric::overlap::{Corrected, NonOverlap, Wanted};
use shedlight::numeric::rank::{Spearman, Tail};
use shedlight::numeric::trend::{Continuity, Distribution, Kendall, Ranks, Series, TheilSen};

use super::floats;

fn series(y: &[f64], x: &Value) -> Series {
    if x.is_null() { Series::in_order(y).unwrap() } else { Series::try_new(&floats(x), y).unwrap() }
}

pub fn mann_kendall(id: &str, input: &Value) -> Value {
    if id == "mk_edge" {
        return edges(input);
    }
    let y = floats(&input["y"]);
    let series = series(&y, &input["x"]);
    let kendall = Kendall::of(&series);
    let line = TheilSen::of(&series).unwrap();
    let x: Vec<f64> = if input["x"].is_null() {
        (1..=u32::try_from(y.len()).unwrap()).map(f64::from).collect()
    } else {
        floats(&input["x"])
    };
    let p = |continuity| kendall.p_normal(continuity, Tail::Two);
    let (m1, m2p1) = line.ranks(Confidence::P95);
    // Rounding to the nearest rank is what both other libraries do; their rules differ only where a rank
    // falls outside the slopes.
    let rounded = line.interval(Confidence::P95, Ranks::Nearest);
    let (n, by) = (kendall.n, kendall.p().1);
    assert_eq!(by == Distribution::Exact, n <= 10 && !kendall.has_ties(), "{id}");
    json!({
        "n": n, "S": kendall.s, "varS": kendall.variance,
        "tau_a": kendall.tau_a(), "tau_b": kendall.tau_b().unwrap(),
        "z": kendall.z(Continuity::Corrected), "p": p(Continuity::Corrected),
        "z_nocc": kendall.z(Continuity::Plain), "p_nocc": p(Continuity::Plain),
        "sen_slope": line.slope, "n_slopes": line.pairs(),
        "gilbert_M1": m1, "gilbert_M2p1": m2p1,
        "slope_ci_gilbert_interp": line.interval(Confidence::P95, Ranks::Interpolated),
        "intercept_conover": line.intercept,
        "slope_ci_rounded": rounded, "slope_ci_scipy_sen1968": rounded,
        "ci93": line.interval(Confidence::try_new(0.93).unwrap(), Ranks::Nearest),
        "spearman_rho": Spearman::of(&x, &y).unwrap().rho,
    })
}

fn edges(input: &Value) -> Value {
    let all: Vec<Kendall> = input["series"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| Kendall::of(&Series::in_order(&floats(own)).unwrap()))
        .collect();
    let each = |value: &dyn Fn(&Kendall) -> Value| all.iter().map(value).collect::<Value>();
    json!({
        "S": each(&|own| json!(own.s)),
        "varS": each(&|own| json!(own.variance)),
        "tau_b": each(&|own| json!(own.tau_b().ok())),
        "z": each(&|own| json!(own.z(Continuity::Corrected))),
        "p_two_sided_normal": each(&|own| json!(own.p_normal(Continuity::Corrected, Tail::Two))),
        "p_exact_n4": all[2].p_exact(Tail::Two).unwrap(),
    })
}

pub fn correlation(_: &str, input: &Value) -> Value {
    let (x, y) = (floats(&input["x"]), floats(&input["y"]));
    let kendall = Kendall::of(&Series::try_new(&x, &y).unwrap());
    let spearman = Spearman::of(&x, &y).unwrap();
    json!({
        "kendall_tau": kendall.tau_b().unwrap(),
        "p_kendall_exact_greater": kendall.p_exact(Tail::Greater).unwrap(),
        "p_kendall_exact_two": kendall.p_exact(Tail::Two).unwrap(),
        "p_kendall_normal_greater": kendall.p_normal(Continuity::Plain, Tail::Greater),
        "spearman_rho": spearman.rho,
        "spearman_S": spearman.squares(),
        "p_spearman_exact_greater": spearman.p_exact(Tail::Greater).unwrap(),
        "p_spearman_exact_two": spearman.p_exact(Tail::Two).unwrap(),
        "p_spearman_t_two": spearman.p_by_t().unwrap(),
    })
}

pub fn phases(_: &str, input: &Value) -> Value {
    let (a, b) = (floats(&input["phase_A"]), floats(&input["phase_B"]));
    assert_eq!(input["improvement"], "increase");
    let found = NonOverlap::of(&a, &b, Wanted::Increase).unwrap();
    let corrected = Corrected::of(&a, &b, Wanted::Increase).unwrap();
    json!({
        "nA": found.first, "nB": found.second,
        "S_AB": found.s_between, "S_A": found.s_first, "S_B": found.s_second,
        "nap": found.nap, "tau_nonoverlap": found.tau,
        "tau_u_A_corrected": found.tau_u, "tau_u_A_plus_B_trend": found.tau_u_with_trend,
        "baseline_slope_theil_sen": corrected.slope, "baseline_intercept": corrected.intercept,
        "baseline_corrected_S": corrected.s,
        "baseline_corrected_tau_nonoverlap": corrected.tau,
        "baseline_corrected_tau_kendall_tau_b": corrected.tau_b.unwrap(),
    })
}
