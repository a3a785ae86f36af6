//! What has to hold for any table, whoever is called first and in whatever order labels are listed.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::agreement::alpha::Scale;
use shedlight::agreement::continuous::{Width, concordance, limits_of_agreement};
use shedlight::agreement::event_kappa::EventTable;
use shedlight::agreement::icc::{Form, MeanSquares};
use shedlight::agreement::ioa::Counts;
use shedlight::agreement::kappa::Table;
use shedlight::agreement::multi_rater::{Chance, Ratings};
use shedlight::agreement::weighted::Weights;
use shedlight::time::Micros;

const CHANCES: [Chance; 3] = [Chance::Gwet, Chance::Margins, Chance::Even];
const WEIGHTS: [Weights; 3] = [Weights::Nominal, Weights::Linear, Weights::Quadratic];

struct Dice(ChaCha8Rng);

impl Dice {
    fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    fn below(&mut self, sides: u64) -> usize {
        usize::try_from(self.0.next_u64() % sides).unwrap()
    }

    fn count(&mut self, sides: u64) -> f64 {
        f64::from(u32::try_from(self.below(sides)).unwrap())
    }

    /// Counts with zeros among them; some tables have whole rows or columns of zeros.
    fn rows(&mut self) -> Vec<Vec<f64>> {
        let size = 2 + self.below(4);
        let thin = self.below(3) == 0;
        let mut cell = |i: usize, j: usize| {
            let sides = if i == j { 12 } else { 5 };
            let count = self.count(sides);
            if thin && self.below(2) == 0 { 0.0 } else { count }
        };
        (0..size).map(|i| (0..size).map(|j| cell(i, j)).collect()).collect()
    }

    fn order(&mut self, length: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..length).collect();
        for i in (1..length).rev() {
            let other = self.below(i as u64 + 1);
            order.swap(i, other);
        }
        order
    }
}

fn table(rows: &[Vec<f64>]) -> Table {
    Table::from_rows(rows).unwrap()
}

fn swapped(rows: &[Vec<f64>]) -> Vec<Vec<f64>> {
    (0..rows.len()).map(|i| rows.iter().map(|row| row[i]).collect()).collect()
}

fn reordered(rows: &[Vec<f64>], order: &[usize]) -> Vec<Vec<f64>> {
    order.iter().map(|i| order.iter().map(|j| rows[*i][*j]).collect()).collect()
}

/// Both have the value, or both have the reason.
fn same<E: PartialEq + std::fmt::Debug>(one: Result<f64, E>, other: Result<f64, E>, what: &str) {
    match (one, other) {
        (Ok(one), Ok(other)) => assert!((one - other).abs() < 1e-9, "{what}: {one} {other}"),
        (one, other) => assert_eq!(one.map(|_| ()), other.map(|_| ()), "{what}"),
    }
}

/// Every value and every error of a table that is the same whoever comes first.
fn same_tables(one: &Table, other: &Table, weights: &[Weights], what: &str) {
    for own in weights {
        let what = format!("{what} {own:?} {one:?}");
        same(one.weighted(own).map(|k| k.kappa), other.weighted(own).map(|k| k.kappa), &what);
        let (a, b) = (one.inference(own), other.inference(own));
        same(a.map(|k| k.kappa.standard_error), b.map(|k| k.kappa.standard_error), &what);
        same(a.map(|k| k.null_error), b.map(|k| k.null_error), &what);
        for chance in CHANCES {
            let (a, b) = (Ratings::from_table(one), Ratings::from_table(other));
            let value = |ratings: &Ratings| ratings.coefficient(chance, own).map(|found| found.value);
            let error =
                |ratings: &Ratings| ratings.inference(chance, own).map(|found| found.estimate.standard_error);
            same(value(&a), value(&b), &what);
            same(error(&a), error(&b), &what);
        }
    }
    same(one.kappa().map(|k| k.max), other.kappa().map(|k| k.max), what);
    let alpha = |table: &Table| Ratings::from_table(table).alpha(Scale::Nominal).map(|alpha| alpha.value);
    same(alpha(one), alpha(other), what);
}

#[test]
fn swapping_the_coders_changes_nothing_but_the_sign_of_the_bias() {
    let mut dice = Dice::new(1);
    for _ in 0..400 {
        let rows = dice.rows();
        let (one, other) = (table(&rows), table(&swapped(&rows)));
        same_tables(&one, &other, &WEIGHTS, "swapped");
        for label in 0..rows.len() {
            same(one.specific_agreement(label), other.specific_agreement(label), "specific");
        }
        same(one.prevalence_index(), other.prevalence_index(), "prevalence");
        same(one.bias_index(), other.bias_index().map(|bias| -bias), "bias");
    }
}

#[test]
fn the_order_of_labels_matters_to_weights_alone() {
    let mut dice = Dice::new(2);
    for _ in 0..400 {
        let rows = dice.rows();
        let order = dice.order(rows.len());
        let other = table(&reordered(&rows, &order));
        same_tables(&table(&rows), &other, &[Weights::Nominal], "reordered");
        // Turned round, a scale is the same scale.
        let backwards: Vec<usize> = (0..rows.len()).rev().collect();
        same_tables(&table(&rows), &table(&reordered(&rows, &backwards)), &WEIGHTS, "backwards");
        let ordinal = |rows: &[Vec<f64>]| {
            Ratings::from_table(&table(rows)).alpha(Scale::Ordinal).map(|found| found.value)
        };
        same(ordinal(&rows), ordinal(&reordered(&rows, &backwards)), "ordinal alpha backwards");
    }
}

#[test]
fn the_unit_of_a_table_changes_no_value() {
    let mut dice = Dice::new(3);
    for _ in 0..200 {
        let rows = dice.rows();
        let scaled: Vec<Vec<f64>> =
            rows.iter().map(|row| row.iter().map(|cell| cell * 0.37).collect()).collect();
        let (one, other) = (table(&rows), table(&scaled));
        for weights in &WEIGHTS {
            same(one.weighted(weights).map(|k| k.kappa), other.weighted(weights).map(|k| k.kappa), "kappa");
        }
        same(one.gwet_ac1().map(|k| k.value), other.gwet_ac1().map(|k| k.value), "AC1");
        same(one.scott_pi().map(|k| k.value), other.scott_pi().map(|k| k.value), "pi");
    }
}

#[test]
fn a_label_nobody_used_leaves_plain_kappa_as_it_is() {
    let mut dice = Dice::new(4);
    for _ in 0..200 {
        let rows = dice.rows();
        let mut wider = rows.clone();
        for row in &mut wider {
            row.push(0.0);
        }
        wider.push(vec![0.0; rows.len() + 1]);
        let (one, other) = (table(&rows), table(&wider));
        same(one.kappa().map(|k| k.kappa), other.kappa().map(|k| k.kappa), "kappa");
        same(one.scott_pi().map(|k| k.value), other.scott_pi().map(|k| k.value), "pi");
        if let (Ok(one), Ok(other)) = (one.brennan_prediger(), other.brennan_prediger()) {
            assert!(one.value <= other.value + 1e-12, "one label more is less chance");
        }
    }
}

#[test]
fn kappa_lies_between_its_bounds_and_nothing_is_ever_nan() {
    let mut dice = Dice::new(5);
    for _ in 0..400 {
        let own = table(&dice.rows());
        if let Ok(found) = own.kappa() {
            assert!(found.kappa <= found.max + 1e-12 && found.max <= 1.0 + 1e-12, "{found:?}");
            assert!(found.kappa >= -1.0 - 1e-12, "{found:?}");
        }
        for weights in &WEIGHTS {
            if let Ok(found) = own.inference(weights) {
                let numbers = [found.kappa.value, found.kappa.standard_error, found.null_error];
                assert!(numbers.iter().all(|number| number.is_finite()), "{own:?} {found:?}");
            }
            for chance in CHANCES {
                if let Ok(found) = Ratings::from_table(&own).inference(chance, weights) {
                    let numbers = [found.estimate.value, found.estimate.standard_error];
                    assert!(numbers.iter().all(|number| number.is_finite()), "{own:?} {found:?}");
                }
            }
        }
    }
}

#[test]
fn two_people_unit_by_unit_are_the_table_they_make() {
    let mut dice = Dice::new(6);
    for _ in 0..100 {
        let rows = dice.rows();
        let own = table(&rows);
        let mut units = Vec::new();
        for (i, row) in rows.iter().enumerate() {
            for (j, count) in row.iter().enumerate() {
                let mut left = *count;
                while left > 0.0 {
                    units.push(vec![Some(i), Some(j)]);
                    left -= 1.0;
                }
            }
        }
        let (one, other) = (Ratings::from_table(&own), Ratings::from_labels(&units, rows.len()).unwrap());
        let n = own.total();
        for chance in CHANCES {
            for weights in &WEIGHTS {
                let value = |ratings: &Ratings| ratings.coefficient(chance, weights).map(|found| found.value);
                same(value(&one), value(&other), "value");
                if let (Ok(a), Ok(b)) = (one.inference(chance, weights), other.inference(chance, weights)) {
                    // Tables divide by n, units one by one by n − 1.
                    let (a, b) = (a.estimate.standard_error, b.estimate.standard_error);
                    assert!((a - b * ((n - 1.0) / n).sqrt()).abs() < 1e-9, "{a} {b}");
                }
            }
        }
        let alpha = |ratings: &Ratings| ratings.alpha(Scale::Ordinal).map(|found| found.value);
        same(alpha(&one), alpha(&other), "alpha");
        // Fleiss' kappa of two people is Scott's pi.
        same(one.fleiss().map(|found| found.kappa), own.scott_pi().map(|found| found.value), "Fleiss");
    }
}

#[test]
fn alpha_does_not_mind_the_zero_of_an_interval_or_the_unit_of_a_ratio() {
    let mut dice = Dice::new(7);
    for _ in 0..200 {
        let units: Vec<Vec<Option<usize>>> = (0..8)
            .map(|_| (0..4).map(|_| if dice.below(4) == 0 { None } else { Some(dice.below(4)) }).collect())
            .collect();
        let ratings = Ratings::from_labels(&units, 4).unwrap();
        let alpha = |scale: Scale<'_>| ratings.alpha(scale).map(|found| found.value);
        let values = [0.5, 1.0, 4.0, 9.0];
        let shifted = values.map(|value| -3.0 * value + 7.0);
        let scaled = values.map(|value| value * 60.0);
        same(alpha(Scale::Interval(&values)), alpha(Scale::Interval(&shifted)), "interval");
        same(alpha(Scale::Ratio(&values)), alpha(Scale::Ratio(&scaled)), "ratio");
        let rows: Vec<Vec<Option<usize>>> =
            units.iter().map(|row| row.iter().rev().copied().collect()).collect();
        let turned = Ratings::from_labels(&rows, 4).unwrap().alpha(Scale::Nominal).map(|found| found.value);
        same(alpha(Scale::Nominal), turned, "people in another order");
    }
}

#[test]
fn events_do_not_mind_who_comes_first_or_how_labels_are_ordered() {
    let mut dice = Dice::new(8);
    for _ in 0..200 {
        let mut rows = dice.rows();
        let last = rows.len() - 1;
        rows[last][last] = 0.0;
        let mut order = dice.order(last);
        order.push(last);
        let kappa = |rows: &[Vec<f64>]| EventTable::from_table(table(rows)).unwrap().kappa();
        let found = kappa(&rows);
        same(
            found.clone().map(|own| own.kappa),
            kappa(&swapped(&rows)).map(|own| own.kappa),
            &format!("swapped {rows:?}"),
        );
        same(
            found.clone().map(|own| own.kappa),
            kappa(&reordered(&rows, &order)).map(|own| own.kappa),
            &format!("reordered {rows:?}"),
        );
        if let Ok(found) = found {
            // What chance puts into the cells has the table's margins.
            for (i, row) in found.fitted.iter().enumerate() {
                assert!((row.iter().sum::<f64>() - rows[i].iter().sum::<f64>()).abs() < 1e-9);
                let column: f64 = found.fitted.iter().map(|row| row[i]).sum();
                assert!((column - rows.iter().map(|row| row[i]).sum::<f64>()).abs() < 1e-9);
            }
        }
    }
}

#[test]
fn rule_30_every_event_is_in_the_table_once() {
    let mut dice = Dice::new(9);
    for _ in 0..200 {
        let mut list = || -> Vec<(Micros, usize)> {
            (0..dice.below(9))
                .map(|_| (Micros(i64::try_from(dice.below(60)).unwrap()), dice.below(3)))
                .collect()
        };
        let (first, second) = (list(), list());
        let found = EventTable::from_events(&first, &second, 3, Micros(5)).unwrap();
        let of = |events: &[(Micros, usize)], label| {
            f64::from(u32::try_from(events.iter().filter(|event| event.1 == label).count()).unwrap())
        };
        for label in 0..3 {
            assert_eq!(found.table().row(label), of(&first, label));
            assert_eq!(found.table().column(label), of(&second, label));
        }
        assert_eq!(found.table().cell(3, 3), 0.0);
        let turned = EventTable::from_events(&second, &first, 3, Micros(5)).unwrap();
        assert_eq!(found.share_paired(), turned.share_paired());
    }
}

#[test]
fn measured_values_do_not_mind_who_comes_first_nor_a_common_zero() {
    let mut dice = Dice::new(10);
    for _ in 0..100 {
        let rows: Vec<Vec<Option<f64>>> =
            (0..6).map(|_| (0..3).map(|_| Some(dice.count(20) / 4.0)).collect()).collect();
        let squares = MeanSquares::of(&rows).unwrap();
        let change = |to: &dyn Fn(usize, f64) -> f64| {
            let changed: Vec<Vec<Option<f64>>> = rows
                .iter()
                .map(|row| row.iter().enumerate().map(|(j, value)| Some(to(j, value.unwrap()))).collect())
                .collect();
            MeanSquares::of(&changed).unwrap()
        };
        let turned: Vec<Vec<Option<f64>>> =
            rows.iter().map(|row| row.iter().rev().copied().collect()).collect();
        let turned = MeanSquares::of(&turned).unwrap();
        let value = |squares: MeanSquares, form| squares.single(form).map(|found| found.value);
        for form in [Form::OneWay, Form::Random, Form::Fixed] {
            same(value(squares, form), value(turned, form), "people in another order");
            same(value(squares, form), value(change(&|_, own| own * 3.0 + 5.0), form), "another unit");
            let found = squares.single(form).unwrap();
            if let Ok((low, high)) = found.ci95 {
                assert!(low <= found.value && found.value <= high, "{form:?} {found:?}");
            }
        }
        // A constant difference of one person counts for (2,1), not for (3,1).
        let late = change(&|j, own| if j == 0 { own + 40.0 } else { own });
        same(value(squares, Form::Fixed), value(late, Form::Fixed), "one person is always later");
        let (one, other) = (value(squares, Form::Random).unwrap(), value(late, Form::Random).unwrap());
        assert!(other.abs() < one.abs() + 1e-9);
    }
}

#[test]
fn few_values_alike_give_reasons_and_never_nan() {
    let mut dice = Dice::new(12);
    for _ in 0..600 {
        let (targets, people) = (1 + dice.below(4), 1 + dice.below(3));
        let mut value = || if dice.below(9) == 0 { None } else { Some(dice.count(3) * 0.1) };
        let rows: Vec<Vec<Option<f64>>> =
            (0..targets).map(|_| (0..people).map(|_| value()).collect()).collect();
        if let Ok(squares) = MeanSquares::of(&rows) {
            for form in [Form::OneWay, Form::Random, Form::Fixed] {
                for found in [squares.single(form), squares.average(form)].into_iter().flatten() {
                    assert!(found.value.is_finite(), "{rows:?} {found:?}");
                    if let Ok((low, high)) = found.ci95 {
                        assert!(low.is_finite() && high.is_finite() && low <= high, "{rows:?} {found:?}");
                    }
                    if let Ok(test) = found.test {
                        assert!((0.0..=1.0).contains(&test.p), "{rows:?} {found:?}");
                    }
                    assert!(found.satterthwaite.is_none_or(f64::is_finite));
                }
            }
        }
        let column = |j: usize| -> Vec<f64> { rows.iter().filter_map(|row| *row.get(j)?).collect() };
        if let Ok(found) = concordance(&column(0), &column(1)) {
            let numbers = [found.value, found.pearson, found.bias_correction, found.location_shift];
            assert!(numbers.iter().all(|number| number.is_finite()), "{rows:?} {found:?}");
            if let Ok(interval) = found.interval {
                assert!(interval.ci95.0 < interval.ci95.1, "{rows:?} {found:?}");
            }
        }
        if let Ok(found) = limits_of_agreement(&column(0), Width::Z196) {
            assert!(found.low <= found.high, "{rows:?} {found:?}");
        }
        let places: Vec<Vec<Option<usize>>> = rows
            .iter()
            .map(|row| row.iter().map(|value| value.map(|value| usize::from(value > 0.05))).collect())
            .collect();
        let ratings = Ratings::from_labels(&places, 2).unwrap();
        for chance in CHANCES {
            if let Ok(found) = ratings.inference(chance, &Weights::Nominal) {
                assert!(found.estimate.value.is_finite() && found.estimate.standard_error.is_finite());
            }
        }
        if let Ok(alpha) = ratings.alpha(Scale::Ordinal) {
            assert!(alpha.value.is_finite());
        }
        if let Ok(found) = ratings.fleiss() {
            assert!(found.kappa.is_finite() && found.z.is_finite() && found.null_error > 0.0);
        }
    }
}

#[test]
fn counts_do_not_mind_who_comes_first_and_the_measures_keep_their_order() {
    let mut dice = Dice::new(11);
    for _ in 0..200 {
        let mut list = || -> Vec<u32> { (0..6).map(|_| u32::try_from(dice.below(4)).unwrap()).collect() };
        let (first, second) = (list(), list());
        let one = Counts::try_new(&first, &second).unwrap();
        let other = Counts::try_new(&second, &first).unwrap();
        same(one.total(), other.total(), "total");
        same(one.block_by_block(), other.block_by_block(), "block by block");
        same(one.exact(), other.exact(), "exact");
        same(one.scored(), other.scored(), "scored");
        same(one.unscored(), other.unscored(), "unscored");
        // The same count is the strictest, something in both the laxest.
        let (exact, block) = (one.exact().unwrap(), one.block_by_block().unwrap());
        assert!(exact <= block + 1e-12 && block <= one.interval_by_interval().unwrap() + 1e-12);
    }
}
