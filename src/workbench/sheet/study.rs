//! The sheet of the study itself: its name, its people, what the house holds itself to.

use super::{Line, Section, Sheet, number_words};
use crate::model::{Person, PersonCode, Retention, Study};
use crate::time::{Micros, Seconds};

/// Empty lines for people to come.
const MORE: usize = 3;

/// The sheet of a study.
#[must_use]
pub fn sheet(study: &Study) -> Sheet {
    let about = vec![
        Line::new("title", "Title", "", "", study.title.clone()),
        Line::new("place", "Place", "", "", study.place.clone().unwrap_or_default()),
        Line::new("zone", "Time zone", "", "Europe/London", study.zone.clone().unwrap_or_default()),
    ];
    let targets = &study.targets;
    let share = |own: f64| number_words(Some((own * 1000.0).round() / 10.0));
    let house = vec![
        Line::new(
            "back_off",
            "Back off within",
            "s",
            "5",
            number_words(Some(targets.back_off_s.0.seconds())),
        ),
        Line::new(
            "hidden",
            "Flag sessions out of sight above",
            "% of observed",
            "20",
            share(targets.out_of_sight_share),
        ),
        Line::new(
            "break",
            "Propose a break after",
            "min of coding",
            "35",
            number_words(Some(targets.break_minutes)),
        ),
        Line::new("double", "Second coder for", "% of sessions", "25", share(study.double_coding.share)),
        Line::new("seed", "Drawn with seed", "", "", study.double_coding.seed.to_string()),
    ];
    let retention = study.retention.clone().unwrap_or_default();
    let whole = |own: Option<u32>| own.map_or_else(String::new, |own| own.to_string());
    let deciders: Vec<&str> = retention.deciders.iter().map(PersonCode::as_str).collect();
    let film = vec![
        Line::new("keep", "Keep film after closing for", "months", "24", whole(retention.months)),
        Line::new(
            "keep_incident",
            "With a stop-level code",
            "months",
            "60",
            whole(retention.incident_months),
        ),
        Line::new("deciders", "Who may delete film", "", "codes: K-07, W-1", deciders.join(", ")),
        Line::new("keep_note", "Who decided this", "", "", retention.note.unwrap_or_default()),
    ];
    let hint = "code; name; role; lag 0.25 s";
    let mut people: Vec<Line> = (0..)
        .zip(&study.people)
        .map(|(n, person)| {
            Line::new(&format!("person {n}"), &format!("Person {}", n + 1), "", hint, words(person))
        })
        .collect();
    let known = people.len();
    people.extend(
        (known..known + MORE)
            .map(|n| Line::new(&format!("person {n}"), &format!("Person {}", n + 1), "", hint, "")),
    );
    Sheet {
        title: study.title.clone(),
        sections: vec![
            Section { title: "Study", lines: about },
            Section { title: "The house", lines: house },
            Section { title: "Film", lines: film },
            Section { title: "People", lines: people },
        ],
    }
}

fn words(person: &Person) -> String {
    let mut parts = vec![person.code.to_string()];
    let (name, role) = (person.name.as_deref().unwrap_or(""), person.role.as_deref().unwrap_or(""));
    if !name.is_empty() || !role.is_empty() {
        parts.push(name.to_owned());
    }
    if !role.is_empty() {
        parts.push(role.to_owned());
    }
    parts.extend(person.reaction_lag_s.map(|lag| format!("lag {} s", lag.0.seconds())));
    parts.join("; ")
}

/// The study as the sheet has it; `None` when a line can't be read.
pub fn read(sheet: &mut Sheet, study: &Study) -> Option<Study> {
    let mut new = study.clone();
    new.title = sheet.text("title").unwrap_or_default();
    new.place = sheet.text("place");
    new.zone = sheet.text("zone");
    let seconds = |own: Option<f64>| own.and_then(Micros::from_seconds).map(Seconds);
    let targets = &mut new.targets;
    targets.back_off_s = seconds(sheet.number("back_off", 0.1, 600.0)).unwrap_or(targets.back_off_s);
    targets.out_of_sight_share =
        sheet.number("hidden", 0.0, 100.0).map_or(targets.out_of_sight_share, |own| own / 100.0);
    targets.break_minutes = sheet.number("break", 1.0, 600.0).unwrap_or(targets.break_minutes);
    new.double_coding.share =
        sheet.number("double", 0.0, 100.0).map_or(new.double_coding.share, |own| own / 100.0);
    new.double_coding.seed = sheet
        .read("seed", |text| text.parse().map_err(|_| "a whole number".to_owned()))
        .unwrap_or(new.double_coding.seed);
    let keys: Vec<String> =
        sheet.lines().filter(|line| line.key.starts_with("person ")).map(|line| line.key.clone()).collect();
    let mut people: Vec<Person> = Vec::new();
    for key in keys {
        let taken: Vec<String> = people.iter().map(|person| person.code.to_string()).collect();
        let known = &study.people;
        people.extend(sheet.read(&key, |text| read_person(text, known, &taken)));
    }
    new.people = people;
    let mut retention = study.retention.clone().unwrap_or_default();
    retention.months = sheet.whole("keep", 1200);
    retention.incident_months = sheet.whole("keep_incident", 1200);
    retention.note = sheet.text("keep_note");
    let codes: Vec<PersonCode> = new.people.iter().map(|person| person.code.clone()).collect();
    retention.deciders = sheet.read("deciders", |text| read_codes(text, &codes)).unwrap_or_default();
    new.retention = Some(retention).filter(|own| *own != Retention::default());
    (sheet.problems() == 0).then_some(new)
}

/// Codes of people of the study, with commas between.
fn read_codes(text: &str, known: &[PersonCode]) -> Result<Vec<PersonCode>, String> {
    let parts = text.split([',', ';', ' ']).map(str::trim).filter(|part| !part.is_empty());
    parts
        .map(|part| {
            let found = known.iter().find(|code| code.as_str().eq_ignore_ascii_case(part));
            found.cloned().ok_or_else(|| format!("{part} is none of the people below"))
        })
        .collect()
}

fn read_person(text: &str, known: &[Person], taken: &[String]) -> Result<Person, String> {
    let parts: Vec<&str> = text.split(';').map(str::trim).collect();
    let code = parts.first().copied().unwrap_or_default();
    if code.is_empty() || code.contains(['/', '\\', '.']) {
        return Err("begin with a code of letters, digits and hyphens".to_owned());
    }
    if taken.iter().any(|own| own.eq_ignore_ascii_case(code)) {
        return Err(format!("{code} is there already"));
    }
    let mut person = known
        .iter()
        .find(|person| person.code.as_str() == code)
        .cloned()
        .unwrap_or_else(|| Person { code: code.into(), ..Person::default() });
    let mut words = Vec::new();
    person.reaction_lag_s = None;
    for part in parts.iter().skip(1) {
        match part.strip_prefix("lag ") {
            Some(lag) => {
                let number = lag.trim_end_matches('s').trim().replace(',', ".").parse::<f64>();
                let lag = number.ok().filter(|own| (0.0..=3.0).contains(own)).and_then(Micros::from_seconds);
                person.reaction_lag_s = Some(Seconds(lag.ok_or("a lag is between 0 and 3 s")?));
            }
            None => words.push((*part).to_owned()),
        }
    }
    let mut words = words.into_iter().map(|word| Some(word).filter(|word| !word.is_empty()));
    person.name = words.next().flatten();
    person.role = words.next().flatten();
    Ok(person)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_study_comes_back_and_people_are_read() {
        let mut study = Study::new("Refuge");
        study.people = vec![
            Person { code: "K-07".into(), role: Some("keeper".to_owned()), ..Person::default() },
            Person {
                code: "K-12".into(),
                reaction_lag_s: Some(Seconds::from_millis(240)),
                ..Person::default()
            },
        ];
        let mut sheet = sheet(&study);
        assert_eq!(read(&mut sheet, &study).as_ref(), Some(&study));
        sheet.write("person 2", "W-1; Ada; welfare lead; lag 0,3".to_owned());
        sheet.write("hidden", "15".to_owned());
        sheet.write("keep", "24".to_owned());
        sheet.write("deciders", "w-1".to_owned());
        let new = read(&mut sheet, &study).unwrap();
        let added = new.people.last().unwrap();
        assert_eq!((added.name.as_deref(), added.role.as_deref()), (Some("Ada"), Some("welfare lead")));
        assert!((new.targets.out_of_sight_share - 0.15).abs() < 1e-12);
        let retention = new.retention.unwrap();
        assert_eq!((retention.months, retention.deciders), (Some(24), vec!["W-1".into()]));
        sheet.write("deciders", "W-1, X-9".to_owned());
        assert_eq!(read(&mut sheet, &study), None);
        sheet.write("deciders", String::new());
        sheet.write("person 3", "k-07".to_owned());
        sheet.write("person 4", "../x".to_owned());
        assert_eq!(read(&mut sheet, &study), None);
        assert_eq!(sheet.problems(), 2);
    }
}
