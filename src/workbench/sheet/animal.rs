//! The sheet of an animal.

use super::{Line, Section, Sheet, number_words, word_of};
use crate::model::{Animal, Extra, Mass, Sex, Taxon};

const TAXA: [(&str, Taxon); 3] =
    [("snake", Taxon::Snake), ("lizard", Taxon::Lizard), ("chelonian", Taxon::Chelonian)];
const SEXES: [(&str, Sex); 3] = [("female", Sex::Female), ("male", Sex::Male), ("unknown", Sex::Unknown)];

/// The sheet of an animal.
#[must_use]
pub fn sheet(animal: &Animal) -> Sheet {
    let text = |own: &Option<String>| own.clone().unwrap_or_default();
    let mass = animal.mass.as_ref();
    let weighed = mass.and_then(|mass| mass.on).map_or_else(String::new, |on| on.to_string());
    let lines = vec![
        Line::new("name", "Name", "", "", animal.name.clone()),
        Line::new("species", "Species", "", "common or scientific name", text(&animal.species)),
        Line::new("taxon", "Group", "", "snake, lizard, chelonian", word_of(animal.taxon.as_ref(), &TAXA)),
        Line::new("sex", "Sex", "", "female, male, unknown", word_of(animal.sex.as_ref(), &SEXES)),
        Line::new("born", "Born", "", "a date, a year, about 2012", text(&animal.born)),
        Line::new("mass", "Body mass", "g", "", number_words(mass.map(|mass| mass.grams))),
        Line::new("weighed", "Weighed on", "", "2025-03-01", weighed),
        Line::new("origin", "Came from", "", "where and when", text(&animal.origin)),
        Line::new("identification", "Known by", "", "chip, ring, scute marks", text(&animal.identification)),
        Line::new(
            "notes",
            "Unusual in it",
            "",
            "rearing, health, experience: what a reader must know",
            text(&animal.notes),
        ),
    ];
    Sheet { title: animal.name.clone(), sections: vec![Section { title: "Animal", lines }] }
}

/// The animal as the sheet has it; `None` when a line can't be read.
pub fn read(sheet: &mut Sheet, animal: &Animal) -> Option<Animal> {
    let name = sheet.text("name").unwrap_or_default();
    if name.is_empty()
        && let Some(line) = sheet.line_mut("name")
    {
        line.problem = Some("an animal needs a name".to_owned());
    }
    let taxon = sheet.choice("taxon", &TAXA);
    let sex = sheet.choice("sex", &SEXES);
    let grams = sheet.number("mass", 0.01, 1_000_000.0);
    let on = sheet.read("weighed", |text| text.parse().map_err(|_| "a date as 2025-03-01".to_owned()));
    let new = Animal {
        name,
        species: sheet.text("species"),
        taxon,
        sex,
        born: sheet.text("born"),
        mass: grams.map(|grams| Mass {
            grams,
            on,
            extra: animal.mass.as_ref().map_or_else(Extra::new, |old| old.extra.clone()),
        }),
        origin: sheet.text("origin"),
        identification: sheet.text("identification"),
        notes: sheet.text("notes"),
        ..animal.clone()
    };
    (sheet.problems() == 0).then_some(new)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_animal_comes_back_and_a_nameless_one_is_refused() {
        let animal = Animal {
            id: "b".into(),
            name: "Bramble".to_owned(),
            taxon: Some(Taxon::Chelonian),
            mass: Some(Mass { grams: 3400.0, on: "2025-02-28".parse().ok(), extra: Extra::new() }),
            ..Animal::default()
        };
        let mut sheet = sheet(&animal);
        assert_eq!(read(&mut sheet, &animal), Some(animal.clone()));
        sheet.write("name", String::new());
        sheet.write("taxon", "bird".to_owned());
        assert_eq!(read(&mut sheet, &animal), None);
        assert_eq!(sheet.problems(), 2);
    }
}
