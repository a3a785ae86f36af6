//! Every reference case of the agreement family: `tests/reference/*.json`, each with its published source
//! inside, computed by general-purpose statistics libraries.
//!
//! A file of a family that is not among those below, and an expected value that nothing was compared with,
//! are failures.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use serde_json::{Value, json};
use shedlight::agreement::align::{Marks, Pairing, Row, Unit};
use shedlight::agreement::alpha::Scale;
use shedlight::agreement::continuous::{self, NoEstimate, Width};
use shedlight::agreement::event_kappa::EventTable;
use shedlight::agreement::icc::{Form, MeanSquares};
use shedlight::agreement::ioa::{self, Counts};
use shedlight::agreement::kappa::Table;
use shedlight::agreement::matching::{self, Matched};
use shedlight::agreement::multi_rater::{Chance, Ratings};
use shedlight::agreement::time_units::{self, Tolerant};
use shedlight::agreement::weighted::Weights;
use shedlight::numeric::estimate::NoInterval;
use shedlight::numeric::{distribution, quantile, rank_tests};
use shedlight::time::{Micros, Span};

use super::case::Case;
use crate::common::root;

/// How the name of a family's files begins, how many there are, and what compares them.
type Family = (&'static str, usize, fn(&mut Case));

/// All that are compared here.
const FAMILIES: &[Family] = &[
    ("kappa_", 11, table),
    ("pabak_", 1, table),
    ("ac1_", 3, two_coders),
    ("alpha_", 1, several_coders),
    ("multi_", 2, several_coders),
    ("fleiss", 3, fleiss),
    ("icc_", 2, icc),
    ("ba_ccc", 1, two_measures),
    ("bland_altman", 1, two_measures),
    ("event_kappa", 2, event_kappa),
    ("ioa_", 1, interval_agreement),
    ("time_unit_kappa", 2, time_units),
    ("match_", 4, matched_events),
    ("mwu_", 3, mann_whitney),
    ("wsr_", 2, signed_rank),
];

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|own| own.as_f64().unwrap()).collect()
}

fn rows(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}

fn cells(table: &Table) -> Vec<Vec<f64>> {
    (0..table.size()).map(|i| (0..table.size()).map(|j| table.cell(i, j)).collect()).collect()
}

#[test]
fn every_case_of_the_family_is_compared_to_its_last_value() {
    let mut names: Vec<String> = fs::read_dir(root().join("tests/reference"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| Path::new(name).extension().is_some_and(|own| own == "json"))
        .collect();
    names.sort();
    let mut values = 0;
    for (begins, count, compare) in FAMILIES {
        let own: Vec<&String> = names.iter().filter(|name| name.starts_with(begins)).collect();
        assert_eq!(own.len(), *count, "files that begin with {begins}: {own:?}");
        for name in own {
            let mut case = Case::read(name);
            compare(&mut case);
            case.covered();
            values += case.compared;
        }
    }
    assert_eq!(values, 1126, "values compared in all cases together");
}

/// Cohen's kappa and what stands beside it.
fn table(case: &mut Case) {
    let table = Table::from_rows(&rows(&case.input["table"])).unwrap();
    let disagreement = |rows: &[[f64; 3]; 3]| Weights::Disagreement(rows.map(|row| row.to_vec()).to_vec());
    let less = |w: f64| 1.0 - w;
    let weights = [
        ("/unweighted", Weights::Nominal),
        ("/linear", Weights::Linear),
        ("/quadratic", Weights::Quadratic),
        // Given in the notes of the two cases: as disagreement, and as agreement.
        ("/custom_cohen1968", disagreement(&[[0.0, 1.0, 3.0], [1.0, 0.0, 6.0], [3.0, 6.0, 0.0]])),
        (
            "/custom",
            disagreement(&[
                [0.0, 1.0, less(0.4444)],
                [1.0, 0.0, less(0.6667)],
                [less(0.4444), less(0.6667), 0.0],
            ]),
        ),
    ];
    for (at, weights) in weights {
        if case.has(at) {
            weighted(case, &table, at, &weights);
            if at == "/custom" {
                case.near("/custom_library/psych_kappa_w", table.weighted(&weights).unwrap().kappa);
                let why =
                    "that library's own error of weighted kappa, which is not Fleiss, Cohen & Everitt's";
                case.set_aside("/custom_library/psych_se_w", why);
            }
        }
    }
    if case.has("/kappa_max") {
        case.near("/kappa_max", table.kappa().unwrap().max);
    }
    for label in 0..table.size() {
        case.either(&format!("/specific_agreement/{label}"), table.specific_agreement(label));
    }
    if case.has("/two_by_two") {
        case.near("/two_by_two/po", table.shares(&Weights::Nominal).unwrap().observed);
        case.near("/two_by_two/pabak", table.brennan_prediger().unwrap().value);
        case.near("/two_by_two/prevalence_index", table.prevalence_index().unwrap());
        case.near("/two_by_two/bias_index", table.bias_index().unwrap());
        case.either("/two_by_two/p_pos", table.specific_agreement(0));
        case.either("/two_by_two/p_neg", table.specific_agreement(1));
        case.either("/two_by_two/bak", table.scott_pi().map(|pi| pi.value));
    }
}

fn weighted(case: &mut Case, table: &Table, at: &str, weights: &Weights) {
    let shares = table.shares(weights).unwrap();
    case.near(&format!("{at}/n"), table.total());
    case.near(&format!("{at}/po"), shares.observed);
    case.near(&format!("{at}/pe"), shares.expected);
    case.either(&format!("{at}/kappa"), table.weighted(weights).map(|found| found.kappa));
    let Ok(found) = table.inference(weights) else {
        assert!(!case.has(&format!("{at}/se")), "{}: {at}", case.name);
        return;
    };
    case.near(&format!("{at}/kappa"), found.kappa.value);
    case.near(&format!("{at}/se"), found.kappa.standard_error);
    case.near(&format!("{at}/se_null"), found.null_error);
    case.near(&format!("{at}/z_null"), found.z().unwrap());
    // Where the error is 0 the libraries print an interval of no length; we print none.
    let interval = found.kappa.normal95();
    if found.kappa.standard_error <= 0.0 {
        assert_eq!(interval, Err(NoInterval::NoSpread), "{}: {at}", case.name);
    }
    let (low, high) = interval.unwrap_or((found.kappa.value, found.kappa.value));
    case.near(&format!("{at}/ci_low"), low);
    case.near(&format!("{at}/ci_high"), high);
    if *weights == Weights::Nominal {
        case.near(&format!("{at}/kappa"), table.kappa().unwrap().kappa);
    }
}

/// Gwet's AC1 and its relatives, of a table.
fn two_coders(case: &mut Case) {
    let table = Table::from_rows(&rows(&case.input["table"])).unwrap();
    let ratings = Ratings::from_table(&table);
    for (at, chance) in
        [("/gwet_ac1", Chance::Gwet), ("/scott_pi", Chance::Margins), ("/brennan_prediger", Chance::Even)]
    {
        let found = ratings.coefficient(chance, &Weights::Nominal).unwrap();
        let error = ratings.inference(chance, &Weights::Nominal).unwrap();
        case.near(&format!("{at}/pe"), found.expected);
        case.near(&format!("{at}/est"), found.value);
        case.near(&format!("{at}/se"), error.estimate.standard_error);
        case.pair(&format!("{at}/ci_t"), error.ci95.unwrap());
    }
    let kappa = table.inference(&Weights::Nominal).unwrap().kappa;
    case.near("/cohen_kappa/pe", table.kappa().unwrap().expected);
    case.near("/cohen_kappa/est", kappa.value);
    case.near("/cohen_kappa/se", kappa.standard_error);
    case.pair("/cohen_kappa/ci_t", kappa.student95().unwrap());
    case.near("/krippendorff_alpha_nominal", ratings.alpha(Scale::Nominal).unwrap().value);
}

/// Several people, values missing.
fn several_coders(case: &mut Case) {
    let given: Vec<Vec<Option<f64>>> = case.input["ratings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row.as_array().unwrap().iter().map(Value::as_f64).collect())
        .collect();
    let mut values: Vec<f64> = given.iter().flatten().flatten().copied().collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    let place = |value: f64| values.iter().position(|own| *own == value).unwrap();
    let labels: Vec<Vec<Option<usize>>> =
        given.iter().map(|row| row.iter().map(|value| value.map(place)).collect()).collect();
    let ratings = Ratings::from_labels(&labels, values.len()).unwrap();
    for (at, weights) in
        [("/unweighted", Weights::Nominal), ("/linear", Weights::Linear), ("/quadratic", Weights::Quadratic)]
    {
        if case.has(at) {
            gwet(case, &ratings, at, &weights);
        }
    }
    for (at, scale) in [
        ("/alpha/nominal", Scale::Nominal),
        ("/alpha/ordinal", Scale::Ordinal),
        ("/alpha/interval", Scale::Interval(&values)),
        ("/alpha/ratio", Scale::Ratio(&values)),
    ] {
        if case.has(at) {
            let found = ratings.alpha(scale).unwrap();
            case.near(&format!("{at}/alpha"), found.value);
            case.near(&format!("{at}/Do"), found.observed);
            case.near(&format!("{at}/De"), found.expected);
            case.near(&format!("{at}/n_pairable"), found.pairable);
            case.matrix(&format!("{at}/coincidence"), &found.coincidences);
            case.list(&format!("{at}/values"), &values);
        }
    }
}

fn gwet(case: &mut Case, ratings: &Ratings, at: &str, weights: &Weights) {
    for (name, chance) in [("ac", Chance::Gwet), ("fleiss", Chance::Margins), ("bp", Chance::Even)] {
        let found = ratings.coefficient(chance, weights).unwrap();
        let error = ratings.inference(chance, weights).unwrap();
        case.near(&format!("{at}/pa"), found.observed);
        if case.has(&format!("{at}/n")) {
            case.near(&format!("{at}/n"), found.rated);
            case.near(&format!("{at}/n2"), found.compared);
        }
        case.near(&format!("{at}/{name}/pe"), found.expected);
        case.near(&format!("{at}/{name}/est"), found.value);
        case.near(&format!("{at}/{name}/se"), error.estimate.standard_error);
        if case.has(&format!("{at}/{name}/ci_t")) {
            case.pair(&format!("{at}/{name}/ci_t"), error.ci95.unwrap());
        }
    }
}

fn counts(value: &Value) -> Ratings {
    let rows: Vec<Vec<u32>> = serde_json::from_value(value.clone()).unwrap();
    Ratings::from_counts(&rows).unwrap()
}

fn fleiss(case: &mut Case) {
    if let Some(tables) = case.input.get("tables").cloned() {
        for (i, own) in tables.as_array().unwrap().iter().enumerate() {
            let ratings = counts(own);
            case.either(&format!("/kappa/{i}"), ratings.fleiss().map(|found| found.kappa));
            let even = ratings.coefficient(Chance::Even, &Weights::Nominal).unwrap();
            case.near(&format!("/free_marginal_randolph/{i}"), even.value);
        }
        return;
    }
    let ratings = counts(&case.input["counts"]);
    let found = ratings.fleiss().unwrap();
    case.near("/fleiss/kappa", found.kappa);
    case.near("/fleiss/p_bar", found.observed);
    case.near("/fleiss/pe_bar", found.expected);
    case.near("/fleiss/se_null", found.null_error);
    case.near("/fleiss/z", found.z);
    case.near("/fleiss/se_j_null", found.label_null_error);
    for (i, label) in found.labels.iter().enumerate() {
        case.near(&format!("/fleiss/p_j/{i}"), label.share);
        case.either(&format!("/fleiss/kappa_j/{i}"), label.kappa);
    }
    case.list("/fleiss/P_i", &found.units);
    if case.has("/gwet_general") {
        gwet(case, &ratings, "/gwet_general", &Weights::Nominal);
    }
    if case.has("/conger_exact") {
        let why = "Conger's kappa needs who gave which label, and the case gives counts";
        case.set_aside("/conger_exact", why);
    }
}

fn icc(case: &mut Case) {
    let ratings: Vec<Vec<Option<f64>>> =
        rows(&case.input["ratings"]).into_iter().map(|row| row.into_iter().map(Some).collect()).collect();
    let squares = MeanSquares::of(&ratings).unwrap();
    case.near("/BMS", squares.between);
    case.near("/WMS", squares.within);
    case.near("/JMS", squares.people);
    case.near("/EMS", squares.error);
    for (number, form) in [(1, Form::OneWay), (2, Form::Random), (3, Form::Fixed)] {
        let at = format!("/ICC({number},1)");
        let found = squares.single(form).unwrap();
        let (low, high) = found.ci95.unwrap();
        let test = found.test.unwrap();
        case.near(&format!("{at}/est"), found.value);
        case.near(&format!("{at}/lo"), low);
        case.near(&format!("{at}/hi"), high);
        case.near(&format!("{at}/F"), test.f);
        case.near(&format!("{at}/df1"), test.above);
        case.near(&format!("{at}/df2"), test.below);
        if case.has(&format!("{at}/p")) {
            case.near(&format!("{at}/p"), test.p);
        }
        assert_eq!(found.satterthwaite.is_some(), form == Form::Random);
        if let Some(freedom) = found.satterthwaite {
            case.near(&format!("{at}/satterthwaite_df"), freedom);
        }
        let at = format!("/ICC({number},k)");
        let found = squares.average(form).unwrap();
        let (low, high) = found.ci95.unwrap();
        case.near(&format!("{at}/est"), found.value);
        case.near(&format!("{at}/lo"), low);
        case.near(&format!("{at}/hi"), high);
    }
}

/// Bland & Altman's limits and Lin's concordance.
fn two_measures(case: &mut Case) {
    let (x, y) = (numbers(&case.input["x"]), numbers(&case.input["y"]));
    assert_eq!(case.input["diff"], "x-y");
    let differences: Vec<f64> = x.iter().zip(&y).map(|(x, y)| x - y).collect();
    let at = |name: &str| format!("/bland_altman/{name}");
    for (width, name, error, from) in [
        (Width::Z196, "1_96", "se_loa_1999", "1_96_ci_1999"),
        (Width::TwoSd, "2sd", "se_loa_approx_sqrt3", "2sd_ci"),
    ] {
        let found = continuous::limits_of_agreement(&differences, width).unwrap();
        let intervals = found.intervals.unwrap();
        case.near(&at("n"), f64::from(u32::try_from(found.n).unwrap()));
        case.near(&at("bias"), found.bias);
        case.near(&at("sd"), found.sd);
        case.near(&at(&format!("loa_low_{name}")), found.low);
        case.near(&at(&format!("loa_high_{name}")), found.high);
        case.near(&at("se_bias"), intervals.bias_error);
        case.near(&at(error), intervals.limit_error);
        case.pair(&at("bias_ci"), intervals.bias_ci95);
        case.pair(&at(&format!("loa_low_{from}")), intervals.low_ci95);
        case.pair(&at(&format!("loa_high_{from}")), intervals.high_ci95);
        let freedom = f64::from(u32::try_from(found.n).unwrap()) - 1.0;
        case.near(&at("t_crit"), distribution::t_point(0.975, freedom).unwrap());
    }
    let found = continuous::concordance(&x, &y).unwrap();
    case.near("/ccc/ccc", found.value);
    case.near("/ccc/pearson", found.pearson);
    case.near("/ccc/Cb", found.bias_correction);
    case.near("/ccc/scale_shift", found.scale_shift);
    case.near("/ccc/location_shift", found.location_shift);
    let interval = found.interval.unwrap();
    case.near("/ccc/se", interval.standard_error);
    case.pair("/ccc/ci_z", interval.ci95);
    assert_eq!(continuous::concordance(&x, &x).unwrap().interval, Err(NoEstimate::NoSpread));
}

fn event_kappa(case: &mut Case) {
    let table = Table::from_rows(&rows(&case.input["table"])).unwrap();
    assert_eq!(case.input["nil_index"].as_u64().unwrap() + 1, table.size() as u64, "nil comes last");
    let events = EventTable::from_table(table).unwrap();
    let found = events.kappa().unwrap();
    case.near("/po", found.observed);
    case.near("/pe_ipf", found.expected);
    case.near("/kappa_ipf", found.kappa);
    case.matrix("/expected_ipf", &found.fitted);
    case.near("/ordinary_kappa_ignoring_structure", events.table().kappa().unwrap().kappa);
    case.near("/matched_only_kappa", events.kappa_of_pairs().unwrap().kappa);
}

fn moments(value: &Value) -> Vec<Micros> {
    numbers(value).into_iter().map(|seconds| Micros::from_seconds(seconds).unwrap()).collect()
}

fn interval_agreement(case: &mut Case) {
    let whole = |name: &str| Micros::from_seconds(case.input[name].as_f64().unwrap()).unwrap();
    let window = Span::between(Micros::ZERO, whole("total_s"));
    let length = whole("interval_s");
    let first = ioa::in_intervals(&moments(&case.input["A"]), window, length);
    let second = ioa::in_intervals(&moments(&case.input["B"]), window, length);
    let as_numbers = |counts: &[u32]| counts.iter().copied().map(f64::from).collect::<Vec<f64>>();
    case.list("/counts_A", &as_numbers(&first));
    case.list("/counts_B", &as_numbers(&second));
    let found = Counts::try_new(&first, &second).unwrap();
    case.either("/total_count_ioa", found.total());
    case.either("/block_by_block", found.block_by_block());
    case.either("/exact_agreement", found.exact());
    case.either("/interval_by_interval", found.interval_by_interval());
    case.either("/scored_interval", found.scored());
    case.either("/unscored_interval", found.unscored());
}

fn time_units(case: &mut Case) {
    let codes: Vec<String> = serde_json::from_value(case.input["codes"].clone()).unwrap();
    let of_unit = |name: &str| -> Vec<usize> {
        let bouts: Vec<(String, f64, f64)> = serde_json::from_value(case.input[name].clone()).unwrap();
        let units = case.input["total_s"].as_u64().unwrap();
        assert_eq!(case.input["unit_s"], 1);
        (0..units)
            .map(|unit| {
                let at = f64::from(u32::try_from(unit).unwrap());
                let (code, _, _) = bouts.iter().find(|(_, from, to)| *from <= at && at < *to).unwrap();
                codes.iter().position(|own| own == code).unwrap()
            })
            .collect()
    };
    let (first, second) = (of_unit("A"), of_unit("B"));
    let tolerance = usize::try_from(case.input["tolerance_units"].as_u64().unwrap()).unwrap();
    let strict = time_units::table(&first, &second, codes.len()).unwrap();
    let through_codings = overlay_of_units(&case.input, &codes);
    assert_eq!(cells(&strict), through_codings, "{}: units and codings give one table", case.name);
    case.matrix("/matrix", &cells(&strict));
    case.either("/time_unit_kappa", strict.kappa().map(|found| found.kappa));
    case.near("/percent", strict.shares(&Weights::Nominal).unwrap().observed);
    for (at, one, other) in [("/tolerant_A_first", &first, &second), ("/tolerant_B_first", &second, &first)] {
        let table = time_units::tolerant_table(one, other, codes.len(), tolerance).unwrap();
        case.matrix(&format!("{at}/matrix"), &cells(&table));
        case.either(&format!("{at}/kappa"), table.kappa().map(|found| found.kappa));
        case.near(&format!("{at}/percent"), table.shares(&Weights::Nominal).unwrap().observed);
    }
    let found = Tolerant::of(&first, &second, codes.len(), tolerance).unwrap();
    case.either("/tolerant_mean_kappa", found.mean());
}

/// The same table by way of two codings of a session, as the program counts it; units of 1 s.
fn overlay_of_units(input: &Value, codes: &[String]) -> Vec<Vec<f64>> {
    let behaviours: Vec<Value> = codes
        .iter()
        .map(|code| {
            let definition = json!({"onset": "It begins.", "offset": "It ends."});
            json!({"id": code, "name": code, "kind": "state", "set": "activity", "definition": definition,
                "who": "animal", "key": code[..1]})
        })
        .collect();
    let ethogram = json!({"format": "shedlight/ethogram", "version": 1, "id": "units", "revision": 1,
        "title": "Units", "sets": [{"id": "activity", "name": "Activity", "exhaustive": true}],
        "behaviours": behaviours});
    let ethogram = serde_json::from_value(ethogram).unwrap();
    let session = json!({"format": "shedlight/session", "version": 1, "id": "s1", "animal": "bramble",
        "handler": "K-07", "recorded_at": "2025-03-03T15:10:00Z", "zone": "Europe/London",
        "clock_source": "camera", "clips": []});
    let session = serde_json::from_value(session).unwrap();
    let coding = |name: &str| {
        let bouts: Vec<(String, i64, i64)> = serde_json::from_value(input[name].clone()).unwrap();
        let marks: Vec<Value> = bouts
            .iter()
            .enumerate()
            .map(|(i, (code, from, to))| {
                json!({"id": i + 1, "behaviour": code, "from": from * 1_000_000, "to": to * 1_000_000})
            })
            .collect();
        let coding = json!({"format": "shedlight/coding", "version": 1, "session": "s1", "by": name,
            "purpose": "primary", "ethogram": {"id": "units", "revision": 1, "digest": ""},
            "window": {"from": 0, "to": input["total_s"].as_i64().unwrap() * 1_000_000},
            "passes": [{"name": "All", "behaviours": codes, "done": true}], "marks": marks});
        serde_json::from_value(coding).unwrap()
    };
    let (first, second) = (coding("A"), coding("B"));
    let pairing = Pairing::try_new(&first, &second, &ethogram, &session, Marks::All).unwrap();
    let row: Row = pairing.rows().remove(0);
    let overlay = pairing.overlay(&row, Unit::Every(Micros::from_whole_seconds(1))).unwrap();
    assert_eq!(overlay.labels, codes);
    overlay.cells.iter().map(|row| row.iter().map(|cell| Micros(*cell).seconds()).collect()).collect()
}

type Moment = (Micros, String);

fn matched_events(case: &mut Case) {
    let list = |name: &str| -> Vec<Moment> {
        let list: Vec<(f64, String)> = serde_json::from_value(case.input[name].clone()).unwrap();
        list.into_iter().map(|(at, code)| (Micros::from_seconds(at).unwrap(), code)).collect()
    };
    let (first, second) = (list("A"), list("B"));
    let tolerance = Micros::from_seconds(case.input["tolerance"].as_f64().unwrap()).unwrap();
    let times = |list: &[Moment]| -> Vec<Micros> { list.iter().map(|own| own.0).collect() };
    let codes: BTreeSet<&String> = first.iter().chain(&second).map(|own| &own.1).collect();
    // Rule 30 (a): each behaviour for itself; places are those in the whole list.
    let mut found = Matched::default();
    for code in codes {
        let places = |list: &[Moment]| -> Vec<usize> {
            list.iter().enumerate().filter(|(_, own)| own.1 == *code).map(|(i, _)| i).collect()
        };
        let (of_first, of_second) = (places(&first), places(&second));
        let at = |list: &[Moment], places: &[usize]| -> Vec<Micros> {
            places.iter().map(|i| list[*i].0).collect()
        };
        let own = matching::events(&at(&first, &of_first), &at(&second, &of_second), tolerance);
        found.pairs.extend(own.pairs.iter().map(|(i, j)| (of_first[*i], of_second[*j])));
        found.only_first.extend(own.only_first.iter().map(|i| of_first[*i]));
        found.only_second.extend(own.only_second.iter().map(|j| of_second[*j]));
    }
    found.pairs.sort_unstable();
    let offsets = |found: &Matched| -> Vec<f64> {
        found.pairs.iter().map(|(i, j)| (second[*j].0 - first[*i].0).seconds()).collect()
    };
    let number = |count: usize| f64::from(u32::try_from(count).unwrap());
    let total = |found: &Matched| offsets(found).iter().map(|offset| offset.abs()).sum::<f64>();
    let at = |name: &str| format!("/same_code_required/{name}");
    case.near(&at("n_A"), number(first.len()));
    case.near(&at("n_B"), number(second.len()));
    case.near(&at("matched"), number(found.pairs.len()));
    case.near(&at("unmatched_A"), number(found.only_first.len()));
    case.near(&at("unmatched_B"), number(found.only_second.len()));
    case.near(&at("total_abs_offset"), total(&found));
    case.either(&at("mean_offset_B_minus_A"), quantile::mean(&offsets(&found)).ok_or("no pair"));
    case.either(&at("sd_offset"), quantile::standard_deviation(&offsets(&found)).ok_or("no two pairs"));
    case.either(&at("percent_agreement"), found.agreement().ok_or("nothing"));
    case.either(&at("dice_f1"), found.dice().ok_or("nothing"));
    let pairs: Vec<Vec<f64>> = found.pairs.iter().map(|(i, j)| vec![number(*i), number(*j)]).collect();
    case.matrix(&at("pairs"), &pairs);
    let any = matching::events(&times(&first), &times(&second), tolerance);
    case.near("/code_ignored/matched", number(any.pairs.len()));
    case.near("/code_ignored/total_abs_offset", total(&any));
    case.set_aside("/code_ignored/codes_agree_hint", "a remark, not a value");
    // The way rule 30 rejects; here only to show what it loses.
    case.near("/greedy_nearest_matched", number(nearest_first(&first, &second, tolerance)));
    assert!(found.pairs.len() >= nearest_first(&first, &second, tolerance));
}

/// The nearest pair of one code first, then the nearest of what is left.
fn nearest_first(first: &[Moment], second: &[Moment], tolerance: Micros) -> usize {
    let mut near: Vec<(Micros, usize, usize)> = Vec::new();
    for (i, a) in first.iter().enumerate() {
        for (j, b) in second.iter().enumerate() {
            if a.1 == b.1 && a.0.distance(b.0) <= tolerance {
                near.push((a.0.distance(b.0), i, j));
            }
        }
    }
    near.sort_unstable();
    let mut taken = BTreeMap::new();
    for (_, i, j) in near {
        if !taken.contains_key(&i) && !taken.values().any(|own| *own == j) {
            assert!(taken.insert(i, j).is_none());
        }
    }
    taken.len()
}

fn mann_whitney(case: &mut Case) {
    let (x, y) = (numbers(&case.input["x"]), numbers(&case.input["y"]));
    let found = rank_tests::mann_whitney(&x, &y).unwrap();
    let (approximate, exact) = (found.approximate.unwrap(), found.exact.unwrap());
    for (name, value) in [
        ("m", f64::from(u32::try_from(x.len()).unwrap())),
        ("n", f64::from(u32::try_from(y.len()).unwrap())),
        ("rank_sum_x", found.rank_sum),
        ("U_x", found.u_first),
        ("U_y", found.u_second),
        ("mean_U", found.mean),
        ("var_U", found.variance),
        ("z", approximate.z),
        ("p_asymp", approximate.p),
        ("p_asymp_cc", approximate.p_corrected),
        ("p_exact_less", exact.less),
        ("p_exact_greater", exact.greater),
        ("p_exact_two_sided_absdev", exact.two_sided),
        ("p_exact_two_sided_doubled", exact.doubled),
        ("hodges_lehmann", found.shift),
        ("a12", found.superiority),
        ("cliffs_delta", found.delta),
    ] {
        case.near(&format!("/{name}"), value);
    }
}

fn signed_rank(case: &mut Case) {
    let (x, y) = (numbers(&case.input["x"]), numbers(&case.input["y"]));
    let found = rank_tests::signed_rank(&x, &y).unwrap();
    let (approximate, exact) = (found.approximate.unwrap(), found.exact.unwrap());
    for (name, value) in [
        ("n_used", f64::from(u32::try_from(found.used).unwrap())),
        ("n_zero", f64::from(u32::try_from(found.equal).unwrap())),
        ("V", found.statistic),
        ("mean_V", found.mean),
        ("var_V", found.variance),
        ("z", approximate.z),
        ("p_asymp", approximate.p),
        ("p_asymp_cc", approximate.p_corrected),
        ("p_exact_less", exact.less),
        ("p_exact_greater", exact.greater),
        ("p_exact_two_sided", exact.two_sided),
        ("pseudomedian", found.pseudomedian),
    ] {
        case.near(&format!("/{name}"), value);
    }
}
