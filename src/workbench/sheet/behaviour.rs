//! The sheet of a behaviour: its name, its definition, its key, and what it means to the measures.

use super::{Line, Section, Sheet, number_words, word_of};
use crate::model::{
    Actor, Behaviour, ConcernRule, Context, Definition, Ethogram, Kind, Level, Rise, Role, SetId, Taxon,
};
use crate::time::{Micros, Seconds};

const KINDS: [(&str, Kind); 2] = [("state", Kind::State), ("event", Kind::Event)];
const ACTORS: [(&str, Actor); 2] = [("animal", Actor::Animal), ("handler", Actor::Handler)];
const LEVELS: [(&str, Level); 2] = [("watch", Level::Watch), ("stop", Level::Stop)];
const TAXA: [(&str, Taxon); 3] =
    [("snakes", Taxon::Snake), ("lizards", Taxon::Lizard), ("chelonians", Taxon::Chelonian)];

/// Roles in plain words, as a person writes them.
pub const ROLES: [(&str, Role); 26] = [
    ("visible", Role::Visible),
    ("partly visible", Role::PartVisible),
    ("out of sight", Role::Excluded),
    ("orient", Role::Orient),
    ("approach", Role::Approach),
    ("retreat", Role::Retreat),
    ("contact", Role::Contact),
    ("success", Role::Success),
    ("refuse", Role::Refuse),
    ("feed", Role::Feed),
    ("freeze", Role::Freeze),
    ("escape", Role::Escape),
    ("hide", Role::Hide),
    ("defensive", Role::Defensive),
    ("draw back", Role::DrawBack),
    ("cue", Role::Cue),
    ("marker", Role::Marker),
    ("food", Role::Food),
    ("back off", Role::BackOff),
    ("prompt", Role::Prompt),
    ("abort", Role::Abort),
    ("void", Role::Void),
    ("disturbance", Role::Disturbance),
    ("session start", Role::SessionStart),
    ("session end", Role::SessionEnd),
    ("handling", Role::Handling),
];

/// The sheet of a behaviour.
#[must_use]
pub fn sheet(behaviour: &Behaviour, ethogram: &Ethogram) -> Sheet {
    let own = &behaviour.definition;
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let sets: Vec<String> = ethogram.sets.iter().map(|set| set.name.to_lowercase()).collect();
    let set = behaviour.set.as_ref().and_then(|id| ethogram.set(id)).map(|set| set.name.to_lowercase());
    let about = vec![
        Line::new("name", "Name", "", "what it is called in this study", behaviour.name.clone()),
        Line::new(
            "kind",
            "State or event",
            "",
            "state: it lasts; event: a moment",
            word_of(Some(&behaviour.kind), &KINDS),
        ),
        Line::new("who", "Whose", "", "animal or handler", word_of(Some(&behaviour.who), &ACTORS)),
        Line::new(
            "set",
            "Set",
            "",
            &format!("states of one set exclude each other: {}", sets.join(", ")),
            set.unwrap_or_default(),
        ),
        Line::new(
            "key",
            "Key",
            "",
            "a letter or a digit",
            behaviour.key.map(String::from).unwrap_or_default(),
        ),
        Line::new(
            "details",
            "Details",
            "",
            "allowed values; parted; by; semicolons",
            behaviour.details.join("; "),
        ),
    ];
    let definition = vec![
        Line::new("onset", "Begins", "", "the first picture on which it is so", own.onset.clone()),
        Line::new(
            "offset",
            "Ends",
            "",
            "the first picture on which it is not so any more",
            text(&own.offset),
        ),
        Line::new("minimum", "At least", "", "how long or how much it must be to count", text(&own.minimum)),
        Line::new(
            "not_this",
            "Not this",
            "",
            "what looks like it and is something else",
            text(&own.not_this),
        ),
        Line::new("example", "Example", "", "", text(&own.example)),
        Line::new("near_miss", "Near miss", "", "what just does not count", text(&own.near_miss)),
    ];
    let all: Vec<&str> = ROLES.iter().map(|(word, _)| *word).collect();
    let roles: Vec<String> = behaviour.roles.iter().map(|role| word_of(Some(role), &ROLES)).collect();
    let concern: Vec<String> = behaviour.concern.iter().map(rule_words).collect();
    let meaning = vec![
        Line::new("roles", "Counts as", "", &all.join(", "), roles.join(", ")),
        Line::new(
            "concern",
            "Concern",
            "",
            "watch; stop in presentations; watch rising to stop after 10 s",
            concern.join("; "),
        ),
        Line::new(
            "new_bout",
            "New bout after",
            "s",
            "",
            number_words(behaviour.new_bout_after_s.map(|own| own.micros().seconds())),
        ),
    ];
    Sheet {
        title: behaviour.name.clone(),
        sections: vec![
            Section { title: "Behaviour", lines: about },
            Section { title: "Definition", lines: definition },
            Section { title: "What it means to the numbers", lines: meaning },
        ],
    }
}

/// The behaviour as the sheet has it; `None` when a line can't be read.
pub fn read(sheet: &mut Sheet, behaviour: &Behaviour, ethogram: &Ethogram) -> Option<Behaviour> {
    let mut new = behaviour.clone();
    new.name = sheet.text("name").unwrap_or_default();
    if new.name.is_empty()
        && let Some(line) = sheet.line_mut("name")
    {
        line.problem = Some("it needs a name".to_owned());
    }
    new.kind = sheet.choice("kind", &KINDS).unwrap_or(behaviour.kind);
    new.who = sheet.choice("who", &ACTORS).unwrap_or_default();
    new.set = sheet.read("set", |text| set_of(text, ethogram));
    if new.kind == Kind::Event
        && new.set.is_some()
        && let Some(line) = sheet.line_mut("set")
    {
        line.problem = Some("only states exclude each other: leave it empty for an event".to_owned());
    }
    new.key = sheet.read("key", |text| {
        let mut letters = text.chars();
        match (letters.next(), letters.next()) {
            (Some(letter), None) if letter.is_ascii_alphanumeric() => Ok(letter.to_ascii_lowercase()),
            _ => Err("one letter or digit".to_owned()),
        }
    });
    let parts = |text: &str, by: char| -> Vec<String> {
        text.split(by).map(str::trim).filter(|part| !part.is_empty()).map(str::to_owned).collect()
    };
    new.details = sheet.read("details", |text| Ok(parts(text, ';'))).unwrap_or_default();
    new.definition = Definition {
        onset: sheet.text("onset").unwrap_or_default(),
        offset: sheet.text("offset"),
        minimum: sheet.text("minimum"),
        not_this: sheet.text("not_this"),
        example: sheet.text("example"),
        near_miss: sheet.text("near_miss"),
        stills: behaviour.definition.stills.clone(),
        extra: behaviour.definition.extra.clone(),
    };
    new.roles = sheet
        .read("roles", |text| parts(text, ',').iter().map(|word| role_of(word)).collect())
        .unwrap_or_default();
    let details = new.details.clone();
    new.concern = sheet
        .read("concern", |text| parts(text, ';').iter().map(|rule| read_rule(rule, &details)).collect())
        .unwrap_or_default();
    new.new_bout_after_s = sheet.number("new_bout", 0.0, 3_600.0).and_then(Micros::from_seconds).map(Seconds);
    (sheet.problems() == 0).then_some(new)
}

fn set_of(text: &str, ethogram: &Ethogram) -> Result<SetId, String> {
    let wanted = text.to_lowercase();
    let found = ethogram
        .sets
        .iter()
        .find(|set| set.name.to_lowercase() == wanted || set.id.as_str() == wanted)
        .or_else(|| ethogram.sets.iter().find(|set| set.name.to_lowercase().starts_with(&wanted)));
    found.map(|set| set.id.clone()).ok_or_else(|| {
        let names: Vec<String> = ethogram.sets.iter().map(|set| set.name.to_lowercase()).collect();
        format!("there is no such set; there are: {}", names.join(", "))
    })
}

fn role_of(word: &str) -> Result<Role, String> {
    let wanted = word.to_lowercase();
    ROLES
        .iter()
        .find(|(own, _)| *own == wanted)
        .map(|(_, role)| *role)
        .ok_or_else(|| format!("'{word}' is none of the roles"))
}

/// A rule of concern as a person reads and writes it.
#[must_use]
pub fn rule_words(rule: &ConcernRule) -> String {
    let mut words = vec![word_of(Some(&rule.level), &LEVELS)];
    if rule.when == Context::InPresentation {
        words.push("in presentations".to_owned());
    }
    if !rule.taxa.is_empty() {
        let taxa: Vec<String> = rule.taxa.iter().map(|taxon| word_of(Some(taxon), &TAXA)).collect();
        words.push(format!("for {}", taxa.join(" and ")));
    }
    if let Some(detail) = &rule.detail {
        words.push(format!("when {detail}"));
    }
    if let Some(rise) = &rule.rise {
        let seconds = |own: &Seconds| own.micros().seconds();
        words.push(format!("rising to {}", word_of(Some(&rise.to), &LEVELS)));
        if let Some(after) = &rise.after_s {
            words.push(format!("after {} s", seconds(after)));
        } else if let Some(total) = &rise.total_s {
            words.push(format!("after {} s in all", seconds(total)));
        } else if let (Some(count), Some(window)) = (rise.count, &rise.window_s) {
            words.push(format!("after {count} in {} s", seconds(window)));
        }
    }
    words.join(" ")
}

/// Reads what [`rule_words`] writes.
fn read_rule(text: &str, details: &[String]) -> Result<ConcernRule, String> {
    let lower = text.to_lowercase();
    let (base, rise) = match lower.split_once(" rising to ") {
        Some((base, rise)) => (base.to_owned(), Some(read_rise(rise)?)),
        None => (lower.clone(), None),
    };
    let (base, detail) = match base.split_once(" when ") {
        Some((base, detail)) => {
            let known = details.iter().find(|own| own.to_lowercase() == detail.trim());
            let known = known.ok_or_else(|| format!("'{detail}' is none of its details"))?;
            (base.to_owned(), Some(known.clone()))
        }
        None => (base, None),
    };
    let (base, taxa) = match base.split_once(" for ") {
        Some((base, names)) => {
            let taxon = |name: &str| {
                TAXA.iter()
                    .find(|(word, _)| *word == name.trim())
                    .map(|(_, taxon)| *taxon)
                    .ok_or_else(|| format!("'{name}': snakes, lizards or chelonians"))
            };
            (base.to_owned(), names.split(" and ").map(taxon).collect::<Result<_, _>>()?)
        }
        None => (base, Vec::new()),
    };
    let (level, when) = match base.trim().strip_suffix("in presentations") {
        Some(level) => (level.trim().to_owned(), Context::InPresentation),
        None => (base.trim().to_owned(), Context::Any),
    };
    let level = LEVELS
        .iter()
        .find(|(word, _)| *word == level)
        .map(|(_, level)| *level)
        .ok_or_else(|| format!("'{text}': begins with watch or stop"))?;
    Ok(ConcernRule { when, taxa, detail, rise, ..ConcernRule::new(level) })
}

fn read_rise(text: &str) -> Result<Rise, String> {
    let why =
        || format!("rising to '{text}': as stop after 10 s, stop after 30 s in all, stop after 3 in 60 s");
    let (to, after) = text.split_once(" after ").ok_or_else(why)?;
    let to = LEVELS.iter().find(|(word, _)| *word == to.trim()).map(|(_, level)| *level).ok_or_else(why)?;
    let seconds = |text: &str| {
        let number = text.trim().trim_end_matches('s').trim().replace(',', ".").parse::<f64>().ok()?;
        Some(number).filter(|number| *number > 0.0).and_then(Micros::from_seconds).map(Seconds)
    };
    let mut rise = Rise {
        to,
        after_s: None,
        total_s: None,
        count: None,
        window_s: None,
        extra: crate::model::Extra::new(),
    };
    if let Some(total) = after.trim().strip_suffix("in all") {
        rise.total_s = Some(seconds(total).ok_or_else(why)?);
    } else if let Some((count, window)) = after.split_once(" in ") {
        rise.count = Some(count.trim().parse().map_err(|_| why())?);
        rise.window_s = Some(seconds(window).ok_or_else(why)?);
    } else {
        rise.after_s = Some(seconds(after).ok_or_else(why)?);
    }
    Ok(rise)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::starter;

    #[test]
    fn every_behaviour_of_every_starter_comes_back_as_it_was() {
        for taxon in [Taxon::Snake, Taxon::Lizard, Taxon::Chelonian] {
            let ethogram = starter::ethogram(taxon);
            for behaviour in &ethogram.behaviours {
                let mut sheet = sheet(behaviour, &ethogram);
                let back = read(&mut sheet, behaviour, &ethogram);
                let problems: Vec<_> = sheet.lines().filter_map(|line| line.problem.clone()).collect();
                assert_eq!(back.as_ref(), Some(behaviour), "{}: {problems:?}", behaviour.name);
            }
        }
    }

    #[test]
    fn what_can_not_be_read_is_said_beside_its_line() {
        let ethogram = starter::ethogram(Taxon::Snake);
        let old = &ethogram.behaviours[0];
        for (key, value, words) in [
            ("name", " ", "needs a name"),
            ("key", "ab", "one letter"),
            ("set", "nowhere", "no such set"),
            ("roles", "cue, king", "'king' is none"),
            ("concern", "alarm", "watch or stop"),
            ("concern", "watch rising to stop", "rising to"),
            ("concern", "watch when shy", "none of its details"),
            ("new_bout", "soon", "number"),
        ] {
            let mut sheet = sheet(old, &ethogram);
            sheet.write(key, value.to_owned());
            assert_eq!(read(&mut sheet, old, &ethogram), None, "{key} {value}");
            let problem = sheet.lines().find(|line| line.key == key).and_then(|line| line.problem.clone());
            assert!(problem.as_ref().is_some_and(|own| own.contains(words)), "{key} {value}: {problem:?}");
        }
        let mut sheet = sheet(old, &ethogram);
        sheet.write(
            "concern",
            "stop in presentations for snakes; watch rising to stop after 3 in 60 s".to_owned(),
        );
        let new = read(&mut sheet, old, &ethogram).unwrap();
        assert_eq!(new.concern[0].taxa, [Taxon::Snake]);
        assert_eq!(new.concern[1].rise.as_ref().and_then(|rise| rise.count), Some(3));
    }
}
