//! The sheet of a report: what it is about, and the words that only people can write.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{Line, Section, Sheet};
use crate::model::{AnimalId, Study};

/// Words only people can write: key, what it asks, hint.
const TEXTS: [(&str, &str, &str); 8] = [
    ("asked_by", "Asked for by", "who asked for this report"),
    ("purpose", "Purpose", "why, in one sentence"),
    ("context", "Background", "what the readers need to know beforehand"),
    ("limits", "Limits", "what else these numbers can't show"),
    ("actions", "Actions", "what is to be done, by whom, until when"),
    ("housing", "Housing", "enclosure and care in the period"),
    ("ethics", "Ethical statement", "approval, or why none was needed"),
    ("interests", "Interests", "who pays, and who could gain"),
];

/// What a report is asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Asked {
    /// One animal; none: the whole study.
    pub animal: Option<AnimalId>,
    /// From this day on.
    pub from: Option<NaiveDate>,
    /// Up to and with this day.
    pub to: Option<NaiveDate>,
    /// US Letter instead of A4.
    pub letter: bool,
    /// HTML instead of PDF.
    pub html: bool,
    /// People have pseudonyms, and texts that name one are left out.
    pub without_names: bool,
}

/// The sheet.
#[must_use]
pub fn sheet(study: &Study) -> Sheet {
    let names: Vec<&str> = study.animals.iter().map(|animal| animal.name.as_str()).collect();
    let about = vec![
        Line::new("animal", "Animal", "", &format!("empty: all of them ({})", names.join(", ")), ""),
        Line::new("from", "From", "", "2025-03-01; empty: from the first session on", ""),
        Line::new("to", "To", "", "2025-04-30; empty: to the last one", ""),
        Line::new("as", "As", "", "pdf, letter (PDF on US Letter), or html", "pdf"),
        Line::new(
            "people",
            "People",
            "",
            "coded, or unnamed: pseudonyms, and no text that names one",
            "coded",
        ),
    ];
    let texts = TEXTS
        .iter()
        .map(|(key, label, hint)| {
            Line::new(key, label, "", hint, study.report.get(*key).cloned().unwrap_or_default())
        })
        .collect();
    Sheet {
        title: "Report".to_owned(),
        sections: vec![
            Section { title: "What it is about", lines: about },
            Section { title: "What only you can write", lines: texts },
        ],
    }
}

/// What is asked for, and the study's texts; `None` when a line can't be read.
pub fn read(sheet: &mut Sheet, study: &Study) -> Option<(Asked, BTreeMap<String, String>)> {
    let day = |text: &str| -> Result<NaiveDate, String> {
        text.parse().map_err(|_| "a day as 2025-03-01".to_owned())
    };
    let animal = sheet.read("animal", |text| {
        let wanted = text.to_lowercase();
        let found = study
            .animals
            .iter()
            .find(|own| own.name.to_lowercase() == wanted || own.id.as_str() == wanted)
            .or_else(|| study.animals.iter().find(|own| own.name.to_lowercase().starts_with(&wanted)));
        found.map(|own| own.id.clone()).ok_or_else(|| "no animal of this study is called so".to_owned())
    });
    let (from, to) = (sheet.read("from", day), sheet.read("to", day));
    if let (Some(first), Some(last)) = (from, to)
        && last < first
        && let Some(line) = sheet.line_mut("to")
    {
        line.problem = Some("lies before the first day".to_owned());
    }
    let form = sheet.choice("as", &[("pdf", 0), ("letter", 1), ("html", 2)]).unwrap_or(0);
    let people = sheet.choice("people", &[("coded", false), ("unnamed", true)]);
    let mut texts = study.report.clone();
    for (key, ..) in TEXTS {
        match sheet.text(key) {
            Some(text) => {
                let _ = texts.insert(key.to_owned(), text);
            }
            None => {
                let _ = texts.remove(key);
            }
        }
    }
    let asked =
        Asked { animal, from, to, letter: form == 1, html: form == 2, without_names: people == Some(true) };
    (sheet.problems() == 0).then_some((asked, texts))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Animal;

    #[test]
    fn what_is_asked_is_read_and_texts_stay_with_the_study() {
        let mut study = Study::new("A study");
        study.animals.push(Animal { id: "b".into(), name: "Bramble".to_owned(), ..Animal::default() });
        let _ = study.report.insert("order".to_owned(), "kept".to_owned());
        let mut sheet = sheet(&study);
        assert_eq!(read(&mut sheet, &study), Some((Asked::default(), study.report.clone())));
        for (key, value) in [
            ("animal", "bram"),
            ("from", "2025-03-01"),
            ("as", "let"),
            ("people", "unn"),
            ("purpose", "Yearly review"),
        ] {
            sheet.write(key, value.to_owned());
        }
        let (asked, texts) = read(&mut sheet, &study).unwrap();
        assert_eq!(asked.animal.as_ref().map(AnimalId::as_str), Some("b"));
        assert_eq!(
            (asked.letter, asked.html, asked.from.map(|day| day.to_string())),
            (true, false, Some("2025-03-01".to_owned()))
        );
        assert!(asked.without_names);
        assert_eq!((texts["purpose"].as_str(), texts["order"].as_str()), ("Yearly review", "kept"));
        for (key, value, words) in [
            ("animal", "Nobody", "no animal"),
            ("to", "yesterday", "a day as"),
            ("to", "2025-02-01", "before the first day"),
            ("as", "doc", "one of"),
            ("people", "all", "one of"),
        ] {
            let mut wrong = sheet.clone();
            wrong.write(key, value.to_owned());
            assert_eq!(read(&mut wrong, &study), None, "{key} {value}");
            let problem = wrong.lines().find(|line| line.key == key).and_then(|line| line.problem.clone());
            assert!(problem.is_some_and(|own| own.contains(words)), "{key} {value}");
        }
    }
}
