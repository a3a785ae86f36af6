//! Sheets: what is known around a film, as lines of text that a person fills in.
//!
//! A sheet is made from a part of the study and read back into it. What can't be read is said beside
//! its line, in words, and nothing is changed; what is left empty stays unknown, never "no" or 0.

pub mod animal;
pub mod behaviour;
pub mod plan;
pub mod report;
pub mod session;
pub mod study;
pub mod units;

/// Lines under headings.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sheet {
    /// What it is about.
    pub title: String,
    /// In order.
    pub sections: Vec<Section>,
}

/// Lines that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Section {
    /// Its heading.
    pub title: &'static str,
    /// In order.
    pub lines: Vec<Line>,
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// By which it is found.
    pub key: String,
    /// What it asks.
    pub label: String,
    /// Its unit, or nothing.
    pub unit: &'static str,
    /// What can be written, or what it was the last time.
    pub hint: String,
    /// What is written.
    pub value: String,
    /// Why it can't be read.
    pub problem: Option<String>,
}

/// Before a hint of what it was the last time.
const LAST_TIME: &str = "last time ";

impl Line {
    /// A line.
    #[must_use]
    pub fn new(key: &str, label: &str, unit: &'static str, hint: &str, value: impl Into<String>) -> Self {
        Self {
            key: key.to_owned(),
            label: label.to_owned(),
            unit,
            hint: hint.to_owned(),
            value: value.into(),
            problem: None,
        }
    }

    /// What stood there the last time.
    #[must_use]
    pub fn last_time(&self) -> Option<&str> {
        self.hint.strip_prefix(LAST_TIME)
    }
}

impl Sheet {
    /// All lines, in order.
    pub fn lines(&self) -> impl Iterator<Item = &Line> {
        self.sections.iter().flat_map(|section| &section.lines)
    }

    /// What is written on a line.
    #[must_use]
    pub fn value(&self, key: &str) -> &str {
        self.lines().find(|line| line.key == key).map_or("", |line| line.value.trim())
    }

    /// Writes on a line.
    pub fn write(&mut self, key: &str, value: String) {
        if let Some(line) = self.line_mut(key) {
            line.value = value;
            line.problem = None;
        }
    }

    /// Writes on empty lines what stood there the last time; on how many.
    pub fn write_as_last_time(&mut self) -> usize {
        let empty = |line: &&mut Line| line.value.trim().is_empty();
        let lines = self.sections.iter_mut().flat_map(|section| &mut section.lines).filter(empty);
        let mut count = 0;
        for line in lines {
            if let Some(last) = line.last_time().map(str::to_owned) {
                line.value = last;
                line.problem = None;
                count += 1;
            }
        }
        count
    }

    /// The unit of a line; empty when it has none.
    fn unit(&self, key: &str) -> &'static str {
        self.lines().find(|line| line.key == key).map_or("", |line| line.unit)
    }

    /// Lines that can't be read.
    #[must_use]
    pub fn problems(&self) -> usize {
        self.lines().filter(|line| line.problem.is_some()).count()
    }

    fn line_mut(&mut self, key: &str) -> Option<&mut Line> {
        self.sections.iter_mut().flat_map(|section| &mut section.lines).find(|line| line.key == key)
    }

    /// Reads a line; an empty one is `None`, one that can't be read too, with the reason beside it.
    fn read<T>(&mut self, key: &str, parse: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let value = self.value(key).to_owned();
        if value.is_empty() {
            return None;
        }
        match parse(&value) {
            Ok(found) => Some(found),
            Err(why) => {
                if let Some(line) = self.line_mut(key) {
                    line.problem = Some(why);
                }
                None
            }
        }
    }

    /// A text.
    fn text(&mut self, key: &str) -> Option<String> {
        self.read(key, |text| Ok(text.to_owned()))
    }

    /// A number within bounds, in the unit of the files; a decimal comma is as good as a point.
    fn number(&mut self, key: &str, from: f64, to: f64) -> Option<f64> {
        let unit = self.unit(key);
        self.read(key, |text| {
            let number: f64 =
                text.replace(',', ".").parse().map_err(|_| "write a number, such as 29.5".to_owned())?;
            let kept = units::to_kept(unit, number);
            if (from..=to).contains(&kept) {
                Ok(kept)
            } else {
                let (from, to) = (units::from_kept(unit, from), units::from_kept(unit, to));
                Err(format!("between {from} and {to} {unit}"))
            }
        })
    }

    /// A whole number.
    fn whole(&mut self, key: &str, to: u32) -> Option<u32> {
        self.read(key, |text| {
            text.parse().ok().filter(|n| *n <= to).ok_or_else(|| format!("a whole number up to {to}"))
        })
    }

    /// Yes or no.
    fn flag(&mut self, key: &str) -> Option<bool> {
        self.choice(key, &[("yes", true), ("no", false)])
    }

    /// One of several words, or their beginning.
    fn choice<T: Copy>(&mut self, key: &str, words: &[(&str, T)]) -> Option<T> {
        self.read(key, |text| {
            let text = text.to_lowercase();
            let exact = words.iter().find(|(word, _)| *word == text);
            let mut begun = words.iter().filter(|(word, _)| word.starts_with(&text));
            let only = match (begun.next(), begun.next()) {
                (Some(only), None) => Some(only),
                _ => None,
            };
            exact.or(only).map(|(_, value)| *value).ok_or_else(|| {
                let all: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
                format!("one of: {}", all.join(", "))
            })
        })
    }
}

/// Yes, no, or nothing when it is not known.
fn flag_words(value: Option<bool>) -> String {
    match value {
        Some(true) => "yes".to_owned(),
        Some(false) => "no".to_owned(),
        None => String::new(),
    }
}

/// A number as short as it is exact.
fn number_words(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| format!("{value}"))
}

/// The word of a value.
fn word_of<T: PartialEq>(value: Option<&T>, words: &[(&str, T)]) -> String {
    let found = value.and_then(|value| words.iter().find(|(_, own)| own == value));
    found.map_or_else(String::new, |(word, _)| (*word).to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(value: &str) -> Sheet {
        let lines = vec![Line::new("a", "A", "°C", "", value)];
        Sheet { title: String::new(), sections: vec![Section { title: "", lines }] }
    }

    #[test]
    fn what_is_empty_is_unknown_and_what_can_not_be_read_is_said() {
        assert_eq!(sheet("").number("a", 0.0, 60.0), None);
        assert_eq!(sheet(" 29,5 ").number("a", 0.0, 60.0), Some(29.5));
        let mut wrong = sheet("warm");
        assert_eq!(wrong.number("a", 0.0, 60.0), None);
        assert_eq!(wrong.problems(), 1);
        let mut far = sheet("295");
        assert_eq!(far.number("a", 0.0, 60.0), None);
        assert!(far.lines().next().unwrap().problem.as_deref().unwrap().contains("between"));
        far.write("a", "29.5".to_owned());
        assert_eq!(far.problems(), 0, "writing takes the complaint away");
    }

    #[test]
    fn words_may_be_begun_if_it_is_clear_which() {
        let words = [("before", 1), ("between", 2), ("after", 3)];
        assert_eq!(sheet("A").choice("a", &words), Some(3));
        assert_eq!(sheet("bet").choice("a", &words), Some(2));
        let mut unclear = sheet("be");
        assert_eq!(unclear.choice("a", &words), None);
        assert_eq!(unclear.problems(), 1);
        assert_eq!(sheet("y").flag("a"), Some(true));
    }
}
