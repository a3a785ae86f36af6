//! The examples of `docs/METHODS.md`: made by the code from data small enough to check by hand, and held against
//! what stands there, so that a number in the document can never be another one than the program's.
//!
//! `SHEDLIGHT_METHODS=write cargo test --no-default-features examples_of_methods` writes them anew.

use std::fmt::Write as _;
use std::num::NonZeroUsize;

use shedlight::agreement::alpha::Scale;
use shedlight::agreement::continuous::{Width, concordance, limits_of_agreement};
use shedlight::agreement::event_kappa::EventTable;
use shedlight::agreement::icc::{Form, MeanSquares};
use shedlight::agreement::ioa;
use shedlight::agreement::kappa::Table;
use shedlight::agreement::matching;
use shedlight::agreement::multi_rater::{Chance, Ratings};
use shedlight::agreement::time_units::Tolerant;
use shedlight::agreement::weighted::Weights;
use shedlight::measures::concern::BackOff;
use shedlight::measures::sampling::{Expectation, thin};
use shedlight::measures::sequence::{Repeats, Transitions};
use shedlight::measures::survivorship::{points, slater_lester};
use shedlight::measures::{concern, presentations, summary};
use shedlight::model::ConcernRule;
use shedlight::numeric::interval::{Confidence, garwood, rate_ratio, wilson};
use shedlight::numeric::log_rank::LogRank;
use shedlight::numeric::mixture::{Mixture, Process};
use shedlight::numeric::overlap::{Corrected, NonOverlap, Wanted};
use shedlight::numeric::product_limit::{Curve, Ending, Time};
use shedlight::numeric::rank::Spearman;
use shedlight::numeric::rank_tests::{mann_whitney, signed_rank};
use shedlight::numeric::trend::{Kendall, Ranks, Series, TheilSen};
use shedlight::numeric::{bootstrap, quantile};
use shedlight::time::Micros;

use super::made::{ACTIVITY, HIDDEN, Made, seconds};
use crate::common::root;

fn near(value: f64) -> String {
    format!("{value:.3}")
}

fn may(value: Option<f64>) -> String {
    value.map_or_else(|| "none".to_owned(), near)
}

fn both((low, high): (f64, f64)) -> String {
    format!("[{low:.3}, {high:.3}]")
}

/// A minute: still, out of sight for 10 s, still on, moving, and still to the end.
fn minute() -> Made {
    let mut made = Made::new("s1", 60.0);
    made.activities(&["still", "move"]);
    for (state, from, to) in
        [("still", 0.0, 15.0), ("still", 20.0, 40.0), ("move", 40.0, 46.0), ("still", 46.0, 60.0)]
    {
        let _ = made.bout(state, from, to);
    }
    let _ = made.bout(HIDDEN, 12.0, 22.0);
    made
}

fn bouts() -> String {
    let made = minute();
    let found = summary::coding(&made.record()).figures;
    let mut text = format!(
        "Window 0–60 s; still 0–15, 20–40, 46–60; moving 40–46; out of sight 12–22.\nobserved {} s, visible {} s\n",
        found.observed_s,
        found.visible_s.unwrap()
    );
    for own in found.behaviours.iter().filter(|own| own.id != HIDDEN) {
        let [low, high] = own.per_visible_hour_ci95.unwrap();
        let _ = writeln!(
            text,
            "{}: n {}, whole {}, total {} s, share {}, mean {}, {} an hour visible [{low:.1}, {high:.1}]",
            own.id,
            own.n.unwrap(),
            own.n_complete.unwrap(),
            own.total_s.unwrap(),
            may(own.share_visible),
            own.mean_s.map_or_else(|| format!("none ({})", own.why.as_ref().unwrap()), near),
            own.per_visible_hour.unwrap()
        );
    }
    let lengths = [4.0, 7.0, 9.0, 10.0, 15.0];
    let _ = writeln!(
        text,
        "Lengths 4, 7, 9, 10, 15 s: mean {}, median {}, quartiles {} and {}, SD {}",
        may(quantile::mean(&lengths)),
        may(quantile::of(&lengths, 0.5)),
        may(quantile::of(&lengths, 0.25)),
        may(quantile::of(&lengths, 0.75)),
        may(quantile::standard_deviation(&lengths))
    );
    text
}

/// Three cues: taken, refused, and aborted by nobody.
fn trained() -> Made {
    let mut made = Made::new("s1", 120.0);
    made.training();
    for at in [10.0, 40.0, 80.0] {
        let _ = made.bout("cue", at, at + 20.0);
    }
    for (event, at) in [
        ("orient", 11.5),
        ("approach", 13.0),
        ("contact", 18.0),
        ("marker", 18.0),
        ("food", 18.8),
        ("approach", 43.0),
        ("retreat", 47.0),
        ("approach", 78.0),
        ("contact", 86.0),
    ] {
        let _ = made.event(event, at);
    }
    made.coding.marks.sort_by_key(|mark| mark.from);
    made
}

fn trials() -> String {
    let made = trained();
    let record = made.record();
    let mut text = "Cues at 10, 40 and 80 s for 20 s. Orient 11.5; approach 13, 43, 78; retreat 47; contact 18, 86; marker 18, food 18.8.\n".to_owned();
    for own in presentations::of(&record) {
        let words = [("orient", own.orient), ("approach", own.approach), ("contact", own.contact)].map(
            |(name, own)| {
                format!(
                    "{name} {}{}",
                    own.word(),
                    own.reached().map_or_else(String::new, |time| format!(" after {} s", time.seconds()))
                )
            },
        );
        let _ = writeln!(
            text,
            "{}: {:?}, to {} s; {}",
            own.number,
            own.outcome,
            own.end.seconds(),
            words.join(", ")
        );
    }
    let found = summary::coding(&record).figures;
    let (k, n) = (found.success.k.unwrap(), found.success.n.unwrap());
    let _ = writeln!(text, "success {k} of {n} {}", both(wilson(k, n).unwrap()));
    let _ = writeln!(
        text,
        "between presentations: median {} s of {}; marker to food {:?} s; {} foods a minute",
        may(found.between.median_s),
        found.between.n.unwrap(),
        found.food.marker_to_food_s,
        may(found.food.per_min)
    );
    let _ = writeln!(
        text,
        "approaches {}, retreats {}: share {}, index {}; vacillating {}",
        found.approach.approaches.unwrap(),
        found.approach.retreats.unwrap(),
        may(found.approach.share),
        may(found.approach.index),
        found.approach.vacillating.unwrap()
    );
    text
}

fn times(all: &[(f64, bool)]) -> Vec<Time> {
    let ending = |reached: bool| if reached { Ending::Reached } else { Ending::Censored };
    all.iter().map(|(length, reached)| Time { length: *length, ending: ending(*reached) }).collect()
}

fn latencies() -> String {
    let first = times(&[(4.0, true), (6.0, true), (6.0, true), (9.0, false), (12.0, true), (30.0, false)]);
    let second = times(&[(11.0, true), (18.0, true), (25.0, false), (27.0, true), (30.0, false)]);
    let curve = Curve::of(&first);
    let steps: Vec<String> = curve
        .steps()
        .iter()
        .filter(|step| step.reached > 0)
        .map(|step| format!("{} s {}", step.at, near(step.survival)))
        .collect();
    let median = curve.median();
    let test = LogRank::of(&[&first, &second]).unwrap();
    format!(
        "Reached after 4, 6, 6, 12 s; not reached in 9 and 30 s watched.\nstill waiting: {}\nmedian {} s [{}, {}], quartiles {} and {}, restricted mean up to 30 s {}\nagainst 11, 18, 27 s and 25, 30 s not reached: log-rank chi-squared {}, df {}, p {} (describes, decides nothing)\n",
        steps.join(", "),
        may(median.at),
        may(median.ci95.0),
        median.ci95.1.map_or_else(|| "not reached".to_owned(), near),
        may(curve.reaching(0.75).at),
        may(curve.reaching(0.25).at),
        may(curve.restricted_mean(30.0)),
        near(test.chi2),
        test.df,
        near(test.p)
    )
}

fn worries() -> String {
    let mut made = trained();
    made.activities(&["tense", "gape"]);
    let rules: [(&str, serde_json::Value); 2] = [
        (
            "tense",
            serde_json::json!({"level": "watch", "when": "any", "rise": {"to": "stop", "after_s": 20.0}}),
        ),
        ("gape", serde_json::json!({"level": "stop", "when": "any"})),
    ];
    for (id, rule) in rules {
        let rule: ConcernRule = serde_json::from_value(rule).unwrap();
        made.ethogram.behaviours.iter_mut().find(|own| own.id.as_str() == id).unwrap().concern = vec![rule];
    }
    for (state, from, to) in [("tense", 20.0, 45.0), ("gape", 90.0, 93.0)] {
        let _ = made.bout(state, from, to);
    }
    let _ = made.event("back-off", 92.0);
    made.coding.marks.sort_by_key(|mark| mark.from);
    let record = made.record();
    let found = concern::if_coded(&record, &presentations::of(&record)).unwrap();
    let mut text = format!(
        "Tense (watch; stop after 20 s) 20–45 s; gape (stop) 90–93 s; back-off at 92 s; all of 120 s visible.\nwatch {} s, stop {} s\n",
        found.watch.total().seconds(),
        found.stop.total().seconds()
    );
    for own in &found.stop_incidents {
        let back_off = match own.back_off {
            BackOff::After(time) => format!("backed off after {} s", time.seconds()),
            BackOff::StoppedByItself(time) => format!("stopped by itself after {} s", time.seconds()),
            BackOff::NotSeen(time) => format!("no back-off within {} s", time.seconds()),
            BackOff::NotCoded => "not coded".to_owned(),
        };
        let warning = own.warning.map_or_else(|| "none".to_owned(), |time| format!("{} s", time.seconds()));
        let _ = writeln!(text, "stop from {} s: {back_off}; warning {warning}", own.span.from.seconds());
    }
    let _ = writeln!(
        text,
        "2 incidents in 120 s: {} an hour, Garwood {}",
        60,
        both(garwood(2, 120.0 / 3600.0).unwrap())
    );
    let ratio = rate_ratio((2, 6), (1.0, 1.0), Confidence::try_new(0.95).unwrap()).unwrap();
    let _ = writeln!(
        text,
        "2 against 6 in the same time: ratio {} [{}, {}], p {}",
        may(ratio.ratio),
        near(ratio.interval.0),
        may(ratio.interval.1),
        near(ratio.p)
    );
    text
}

/// Cohen 1960, Table 1, as counts of 200.
fn cohen() -> Table {
    Table::from_rows(&[vec![88.0, 14.0, 18.0], vec![10.0, 40.0, 10.0], vec![2.0, 6.0, 12.0]]).unwrap()
}

fn two_people() -> String {
    let table = cohen();
    let kappa = table.kappa().unwrap();
    let error = table.inference(&Weights::Nominal).unwrap();
    let [linear, quadratic] =
        [Weights::Linear, Weights::Quadratic].map(|own| near(table.weighted(&own).unwrap().kappa));
    let own = table.one_against_rest(0);
    format!(
        "Three labels, 200 units (Cohen 1960): rows 88 14 18 / 10 40 10 / 2 6 12.\nobserved {}, by chance {}, kappa {} (at most {}), error {}, {}\nweighted: linear {linear}, quadratic {quadratic}; Scott's pi {}; Brennan & Prediger {}; AC1 {}\nfirst label against the rest: kappa {}, prevalence index {}, bias index {}, PABAK {}, specific {} and {}\n",
        near(kappa.observed),
        near(kappa.expected),
        near(kappa.kappa),
        near(kappa.max),
        near(error.kappa.standard_error),
        both(error.kappa.normal95().unwrap()),
        near(table.scott_pi().unwrap().value),
        near(table.brennan_prediger().unwrap().value),
        near(table.gwet_ac1().unwrap().value),
        near(own.kappa().unwrap().kappa),
        near(own.prevalence_index().unwrap()),
        near(own.bias_index().unwrap()),
        near(own.brennan_prediger().unwrap().value),
        near(own.specific_agreement(0).unwrap()),
        near(own.specific_agreement(1).unwrap())
    )
}

fn several_people() -> String {
    // Krippendorff 2011, C: four observers, twelve units, five values, some missing.
    let observers = ["012210301...", "0122113014.2", ".2221231140.", "01221330140."];
    let label = |own: &&str, unit| Some(own.chars().nth(unit)?.to_digit(10)? as usize);
    let units: Vec<Vec<Option<usize>>> =
        (0..12).map(|unit| observers.iter().map(|own| label(own, unit)).collect()).collect();
    let ratings = Ratings::from_labels(&units, 5).unwrap();
    let values = [1.0, 2.0, 3.0, 4.0, 5.0];
    let alpha = |scale| near(ratings.alpha(scale).unwrap().value);
    let gwet = ratings.inference(Chance::Gwet, &Weights::Nominal).unwrap();
    let full =
        Ratings::from_counts(&[vec![3, 0, 0], vec![2, 1, 0], vec![0, 3, 0], vec![0, 1, 2], vec![1, 1, 1]])
            .unwrap();
    let fleiss = full.fleiss().unwrap();
    format!(
        "Four people, twelve units, five labels, some missing (Krippendorff 2011).\nalpha: nominal {}, ordinal {}, interval {}, ratio {}\nAC1 {} {}; Fleiss' kappa {}; Brennan & Prediger {}\nFive units, three people each (300 210 030 012 111): Fleiss' kappa {}, error under independence {}\n",
        alpha(Scale::Nominal),
        alpha(Scale::Ordinal),
        alpha(Scale::Interval(&values)),
        alpha(Scale::Ratio(&values)),
        near(gwet.estimate.value),
        both(gwet.ci95.unwrap()),
        near(ratings.coefficient(Chance::Margins, &Weights::Nominal).unwrap().value),
        near(ratings.coefficient(Chance::Even, &Weights::Nominal).unwrap().value),
        near(fleiss.kappa),
        near(fleiss.null_error)
    )
}

fn values() -> String {
    // Shrout & Fleiss 1979, Table 2: six targets by four judges.
    let judged = [
        [9.0, 2.0, 5.0, 8.0],
        [6.0, 1.0, 3.0, 2.0],
        [8.0, 4.0, 6.0, 8.0],
        [7.0, 1.0, 2.0, 6.0],
        [10.0, 5.0, 6.0, 9.0],
        [6.0, 2.0, 4.0, 7.0],
    ];
    let rows: Vec<Vec<Option<f64>>> =
        judged.iter().map(|row| row.iter().copied().map(Some).collect()).collect();
    let squares = MeanSquares::of(&rows).unwrap();
    let icc = |form| {
        let (one, mean) = (squares.single(form).unwrap(), squares.average(form).unwrap());
        format!("{} {}, of the mean {}", near(one.value), both(one.ci95.unwrap()), near(mean.value))
    };
    let (x, y) = ([12.0, 7.5, 20.0, 3.0, 15.5, 9.0], [11.0, 8.5, 18.5, 4.0, 16.5, 7.0]);
    let own = concordance(&x, &y).unwrap();
    let differences: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - x).collect();
    let [wide, narrow] =
        [Width::TwoSd, Width::Z196].map(|width| limits_of_agreement(&differences, width).unwrap());
    format!(
        "Six targets, four judges (Shrout & Fleiss 1979).\nICC(1,1) {}\nICC(2,1) {}\nICC(3,1) {}\nSeconds 12, 7.5, 20, 3, 15.5, 9 by the first and 11, 8.5, 18.5, 4, 16.5, 7 by the second.\nLin's concordance {} {}; second minus first {}, limits {} (1.96 SD), {} (2 SD)\n",
        icc(Form::OneWay),
        icc(Form::Random),
        icc(Form::Fixed),
        near(own.value),
        both(own.interval.unwrap().ci95),
        near(narrow.bias),
        both((narrow.low, narrow.high)),
        both((wide.low, wide.high))
    )
}

fn moments() -> String {
    let at = |all: &[f64]| -> Vec<Micros> { all.iter().map(|at| seconds(*at)).collect() };
    let (first, second) = (at(&[1.0, 6.0, 10.0, 15.0, 30.0]), at(&[1.4, 9.2, 11.0, 22.0]));
    let own = matching::events(&first, &second, seconds(1.0));
    let labels =
        |all: &[Micros], own: &[usize]| -> Vec<_> { all.iter().copied().zip(own.iter().copied()).collect() };
    let table = EventTable::from_events(
        &labels(&first, &[0, 1, 0, 1, 0]),
        &labels(&second, &[0, 0, 1, 0]),
        2,
        seconds(1.0),
    )
    .unwrap();
    let rows: Vec<String> = (0..3)
        .map(|i| (0..3).map(|j| table.table().cell(i, j).to_string()).collect::<Vec<_>>().join(" "))
        .collect();
    let counts = ioa::Counts::try_new(&[3, 0, 2, 1], &[2, 0, 2, 0]).unwrap();
    format!(
        "First 1, 6, 10, 15, 30 s; second 1.4, 9.2, 11, 22 s; tolerance 1 s; places from 0.\npairs {:?}, only first {:?}, only second {:?}: agreement {}, 2·both/all {}\nNamed A B A B A and A A B A, with \"no partner\" last: {} ; kappa {}\nCounts 3 0 2 1 and 2 0 2 0: total {}, block by block {}, exact {}, scored {}, unscored {}\n",
        own.pairs,
        own.only_first,
        own.only_second,
        may(own.agreement()),
        may(own.dice()),
        rows.join(" / "),
        table.kappa().map_or_else(|why| why.to_string(), |own| near(own.kappa)),
        near(counts.total().unwrap()),
        near(counts.block_by_block().unwrap()),
        near(counts.exact().unwrap()),
        near(counts.scored().unwrap()),
        near(counts.unscored().unwrap())
    )
}

fn units() -> String {
    let (first, second) = ([0, 0, 0, 1, 1, 1, 1, 0, 0, 2], [0, 0, 1, 1, 1, 1, 0, 0, 0, 2]);
    let of = |reach| {
        let own = Tolerant::of(&first, &second, 3, reach).unwrap();
        format!("±{reach} units {}", near(own.mean().unwrap()))
    };
    format!("Units AAABBBBAAC and AABBBBAAAC: kappa within {}, {}, {}\n", of(0), of(1), of(2))
}

fn ranks() -> String {
    let (x, y) = ([1.1, 2.4, 3.0, 4.8, 5.5], [2.0, 4.1, 6.3, 7.2]);
    let own = mann_whitney(&x, &y).unwrap();
    let (before, after) = ([8.0, 7.0, 6.5, 9.0, 5.0, 4.0], [6.0, 7.0, 5.0, 6.5, 5.5, 2.0]);
    let signed = signed_rank(&before, &after).unwrap();
    format!(
        "1.1 2.4 3 4.8 5.5 against 2 4.1 6.3 7.2: U {} and {}, exact p {}, U/(mn) {}, delta {}, shift {}\nPairs 8–6, 7–7, 6.5–5, 9–6.5, 5–5.5, 4–2: W {}, {} pairs used, {} alike, exact p {}\n",
        own.u_first,
        own.u_second,
        near(own.exact.unwrap().two_sided),
        near(own.superiority),
        near(own.delta),
        near(own.shift),
        signed.statistic,
        signed.used,
        signed.equal,
        near(signed.exact.unwrap().two_sided)
    )
}

fn trend() -> String {
    let values = [12.0, 10.0, 11.0, 7.0, 6.5, 7.0, 4.0];
    let series = Series::in_order(&values).unwrap();
    let (sen, kendall) = (TheilSen::of(&series).unwrap(), Kendall::of(&series));
    let (low, high) = sen.interval(Confidence::try_new(0.95).unwrap(), Ranks::Interpolated);
    let order: Vec<f64> = (1..=7).map(f64::from).collect();
    let spearman = Spearman::of(&order, &values).unwrap();
    let (first, second) = ([5.0, 6.0, 8.0, 6.0], [9.0, 8.0, 10.0, 12.0]);
    let plain = NonOverlap::of(&first, &second, Wanted::Increase).unwrap();
    let corrected = Corrected::of(&first, &second, Wanted::Increase).unwrap();
    let level = bootstrap::percentile(values.len(), 1, &|picked| {
        quantile::mean(&picked.iter().map(|place| values[*place]).collect::<Vec<_>>())
    })
    .unwrap();
    let (p, by) = kendall.p();
    format!(
        "12, 10, 11, 7, 6.5, 7, 4 over seven sessions.\nmean {} [{}, {}] (seed 1); slope {} [{}, {}] a session\nS {}, tau b {}, p {} ({by:?}); Spearman {}\nPhases 5 6 8 6 and 9 8 10 12, more is better: NAP {}, tau {}, Tau-U {}, with the first one's trend taken off tau {}\n",
        may(quantile::mean(&values)),
        near(level.low),
        near(level.high),
        near(sen.slope),
        may(low),
        may(high),
        kendall.s,
        near(kendall.tau_b().unwrap()),
        near(p),
        near(spearman.rho),
        near(plain.nap),
        near(plain.tau),
        near(plain.tau_u),
        near(corrected.tau)
    )
}

fn sequences() -> String {
    let mut made = Made::new("s1", 1_000.0);
    made.activities(&["a", "b", "c"]);
    let mut at = 0.0;
    for state in "abcabacabcababcacbabcab".chars() {
        let _ = made.bout(&state.to_string(), at, at + 5.0);
        at += 5.0;
    }
    let record = made.record();
    let found = Transitions::of(&[&record], &ACTIVITY.into(), NonZeroUsize::MIN, Repeats::Merged).unwrap();
    let fit = found.against_chance().unwrap();
    let mut text = "abcabacabcababcacbabcab, 5 s each.\n".to_owned();
    for (i, from) in found.states.iter().enumerate() {
        let cells: Vec<String> = (0..3)
            .filter(|j| *j != i)
            .map(|j| {
                format!(
                    "{} {} (expected {}, adjusted residual {})",
                    found.states[j],
                    found.counts.cell(i, j),
                    near(fit.expected[i][j]),
                    may(fit.adjusted[i][j])
                )
            })
            .collect();
        let _ = writeln!(text, "{from} then {}", cells.join(", "));
    }
    let yule = found.counts.yule(0, 1).unwrap();
    let _ = writeln!(
        text,
        "b after a: probability {}, Yule's Q {}, error {}",
        near(found.counts.conditional(0, 1).unwrap()),
        near(yule.q),
        may(yule.standard_error)
    );
    text
}

fn gaps() -> String {
    let process = |n, rate| Process { n, rate };
    let mixture = Mixture { fast: process(48.0, 0.25), slow: process(14.0, 0.012) };
    let reached = times(&[(1.0, true), (2.0, true), (2.0, true), (5.0, false), (9.0, true)]);
    let all: Vec<String> = points(&reached)
        .unwrap()
        .iter()
        .map(|own| format!("{} s {} (ln {})", own.at_s, near(own.share), near(own.log)))
        .collect();
    format!(
        "48 gaps at 0.25 a second and 14 at 0.012: criterion {} s\nGaps 1, 2, 2, 9 s and one of 5 s cut: longer than {}\n",
        near(slater_lester(&mixture).unwrap()),
        all.join(", ")
    )
}

fn samples() -> String {
    let made = minute();
    let record = made.record();
    let of = |every: f64| {
        let own = thin(&record, made.own("still"), seconds(every), Micros::ZERO).unwrap();
        format!(
            "every {every} s: points {} of {} ({}), one-zero {} of {} ({}), whole-interval {}",
            own.hits,
            own.points,
            near(own.instantaneous()),
            own.touched,
            own.intervals,
            near(own.one_zero()),
            near(own.whole_interval())
        )
    };
    let expected = Expectation::of(8.0, 24.0, 15.0).unwrap();
    format!(
        "Still in the minute above, true share {}.\n{}\n{}\nBouts of 8 s and gaps of 24 s, exponential, T 15 s: share {}, one-zero {}, whole-interval {}\n",
        near(thin(&record, made.own("still"), seconds(5.0), Micros::ZERO).unwrap().share),
        of(5.0),
        of(15.0),
        near(expected.share),
        near(expected.one_zero),
        near(expected.whole_interval)
    )
}

/// Name of an example, and what makes its words.
type Example = (&'static str, fn() -> String);

/// All of them.
const EXAMPLES: [Example; 15] = [
    ("bouts", bouts),
    ("trials", trials),
    ("latencies", latencies),
    ("concern", worries),
    ("two people", two_people),
    ("several people", several_people),
    ("measured values", values),
    ("moments", moments),
    ("units with a tolerance", units),
    ("by samples", crate::agreement::by_samples::example),
    ("ranks", ranks),
    ("trend", trend),
    ("sequences", sequences),
    ("gaps", gaps),
    ("sampling", samples),
];

#[test]
fn examples_of_methods_are_what_the_code_makes() {
    let path = root().join("docs/METHODS.md");
    let mut text = std::fs::read_to_string(&path).unwrap();
    let is_written = std::env::var("SHEDLIGHT_METHODS").is_ok_and(|own| own == "write");
    let mut wrong = Vec::new();
    for (name, make) in EXAMPLES {
        let (begin, end) = (format!("<!-- made: {name} -->\n"), "<!-- end -->\n");
        let from =
            text.find(&begin).unwrap_or_else(|| panic!("{name} has no place in METHODS.md")) + begin.len();
        let to = from + text[from..].find(end).unwrap_or_else(|| panic!("{name} has no end in METHODS.md"));
        let wanted = format!("```text\n{}```\n", make());
        if text[from..to] != wanted {
            wrong.push(format!("{name}:\n{wanted}"));
            text.replace_range(from..to, &wanted);
        }
    }
    assert_eq!(text.matches("<!-- made: ").count(), EXAMPLES.len(), "each place has its example");
    if is_written {
        std::fs::write(&path, text).unwrap();
        return;
    }
    assert!(wrong.is_empty(), "write them anew with SHEDLIGHT_METHODS=write:\n{}", wrong.join("\n"));
}
