//! Units of sheets: files hold °C and grams, whatever a person reads and types.
//!
//! A line says its unit, and is read by it; only here are numbers turned. What nobody changed comes back as it
//! was: hundredths of a degree and of a gram survive the way there and back.

use serde::{Deserialize, Serialize};

use super::Sheet;

/// Of temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Temperature {
    /// °C.
    #[default]
    Celsius,
    /// °F.
    Fahrenheit,
}

/// Of body mass and food.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// g.
    #[default]
    Grams,
    /// kg; food stays in g.
    Kilograms,
    /// Avoirdupois ounces.
    Ounces,
}

/// What a person reads and types.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Units {
    /// Temperatures.
    pub temperature: Temperature,
    /// Body mass and food.
    pub weight: Weight,
}

/// Grams of an avoirdupois ounce, by definition (international yard and pound agreement of 1959).
const OUNCE: f64 = 28.349_523_125;

fn rounded(number: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    (number * scale).round() / scale
}

/// A number of a line's unit in the unit of the files.
pub(super) fn to_kept(unit: &str, number: f64) -> f64 {
    match unit {
        "°F" => rounded((number - 32.0) / 1.8, 2),
        "kg" => rounded(number * 1_000.0, 2),
        _ if unit.starts_with("oz") => rounded(number * OUNCE, 2),
        _ => number,
    }
}

/// A number as it is kept, in a line's unit.
pub(super) fn from_kept(unit: &str, number: f64) -> f64 {
    match unit {
        "°F" => rounded(number * 1.8 + 32.0, 2),
        "kg" => rounded(number / 1_000.0, 5),
        _ if unit.starts_with("oz") => rounded(number / OUNCE, 4),
        _ => number,
    }
}

impl Sheet {
    /// Shows temperatures, body mass and food in these units; the sheet is read by them from then on.
    pub fn show_in(&mut self, units: Units) {
        for line in self.sections.iter_mut().flat_map(|section| &mut section.lines) {
            let is_body = line.key == "mass";
            let unit = match (line.unit, units.temperature, units.weight) {
                ("°C", Temperature::Fahrenheit, _) => "°F",
                ("g", _, Weight::Kilograms) if is_body => "kg",
                ("g", _, Weight::Ounces) => "oz",
                ("g of food", _, Weight::Ounces) => "oz of food",
                _ => continue,
            };
            line.unit = unit;
            for words in [&mut line.value, &mut line.hint] {
                *words = turned(words, |number| from_kept(unit, number));
            }
        }
    }
}

/// The same words with the number at the end of each part turned: "12", "last time 27.5", "dandelion 12; melon 6".
fn turned(words: &str, turn: impl Fn(f64) -> f64) -> String {
    let part = |part: &str| {
        let (before, last) = part.rsplit_once(' ').map_or(("", part), |(before, last)| (before, last));
        let space = if before.is_empty() { "" } else { " " };
        last.parse::<f64>().map_or_else(|_| part.to_owned(), |own| format!("{before}{space}{}", turn(own)))
    };
    words.split("; ").map(part).collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[allow(clippy::float_cmp)]
    fn what_is_kept_comes_back_as_it_was() {
        for hundredths in -1_000..8_000 {
            let kept = f64::from(hundredths) / 100.0;
            assert_eq!(to_kept("°F", from_kept("°F", kept)), kept);
        }
        for tenths in 0..20_000 {
            let kept = f64::from(tenths) / 10.0;
            for unit in ["kg", "oz", "oz of food"] {
                assert_eq!(to_kept(unit, from_kept(unit, kept)), kept, "{unit}");
            }
        }
        // Fixed points: freezing, boiling, where both scales meet; a pound is sixteen ounces and 453.59237 g.
        assert_eq!((to_kept("°F", 32.0), to_kept("°F", 212.0), to_kept("°F", -40.0)), (0.0, 100.0, -40.0));
        assert_eq!(to_kept("oz", 16.0), 453.59);
        assert_eq!(to_kept("kg", 3.4), 3_400.0);
    }

    #[test]
    fn only_numbers_at_the_end_are_turned() {
        let twice = |number: f64| number * 2.0;
        assert_eq!(turned("27.5", twice), "55");
        assert_eq!(turned("last time 27.5", twice), "last time 55");
        assert_eq!(
            turned("last time dandelion 12; melon 6; hay", twice),
            "last time dandelion 24; melon 12; hay"
        );
        assert_eq!(turned("", twice), "");
        assert_eq!(turned("yes or no", twice), "yes or no");
    }
}
