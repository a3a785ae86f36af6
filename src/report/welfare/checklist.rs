//! What reporting lists ask for: answered by the study, or missing. Items in our own words, after
//! GRRAS (Kottner and others 2011), ARRIVE 2.0 (Percie du Sert and others 2020) and STRANGE
//! (Webster and Rutz 2020). "Answered" says that something is there, not that it is enough.

use super::Input;
use crate::model::{Animal, Purpose};
use crate::report::document::{Block, Section, Table, Text};

enum Answer {
    In(&'static str),
    Missing(&'static str),
    Of(String),
}

fn when(is_there: bool, place: &'static str, remedy: &'static str) -> Answer {
    if is_there { Answer::In(place) } else { Answer::Missing(remedy) }
}

/// Appendix D.
pub(super) fn checklist(input: &Input<'_>) -> Section {
    let blocks = vec![
        Block::words(
            "Answered: something is written where the list asks for it, which is not to say that it is enough. Report texts are written in study.json under report.",
        ),
        list("GRRAS, reliability and agreement", &agreement_items(input)),
        list("ARRIVE 2.0, essential ten and recommended", &experiment_items(input)),
        list("STRANGE, how the animals are unusual", &sample_items(input)),
    ];
    Section { id: "checklist", title: "Appendix D: Reporting lists".to_owned(), blocks }
}

fn list(title: &str, items: &[(&'static str, Answer)]) -> Block {
    let answered = items.iter().filter(|(_, answer)| !matches!(answer, Answer::Missing(_))).count();
    let mut table = Table::new(
        format!("{title}: {answered} of {} answered", items.len()),
        &["Item", "Answer", "Where, or what to do"],
    );
    for (item, answer) in items {
        let (word, place) = match answer {
            Answer::In(place) => ("answered", (*place).to_owned()),
            Answer::Of(words) => ("in part", words.clone()),
            Answer::Missing(remedy) => ("missing", (*remedy).to_owned()),
        };
        table.row(vec![Text::from(*item), Text::from(word), Text::from(place)]);
    }
    Block::Table(table)
}

fn agreement_items(input: &Input<'_>) -> Vec<(&'static str, Answer)> {
    let pairs = !input.agreement.pairs.is_empty();
    let second = "have a share of sessions coded by a second person";
    let written = |key: &str| input.written(key).is_some();
    let masked = input.codings.iter().any(|own| own.purpose == Purpose::Second && !own.masked.is_empty());
    let intervals = input.agreement.pairs.iter().flat_map(|pair| &pair.sets).any(|set| set.ci95.is_some());
    let people =
        !input.study.people.is_empty() && input.study.people.iter().all(|person| person.role.is_some());
    vec![
        ("Named as a study of agreement", when(pairs, "section 13", second)),
        (
            "The instrument: the ethogram and its revision",
            when(!input.ethograms.is_empty(), "section 5, appendix A", "code a session"),
        ),
        ("The animals", when(!input.animals().is_empty(), "section 3", "add sessions")),
        ("The raters", when(people, "section 5", "give each person of the study a role")),
        (
            "What is known, and why it is done",
            when(written("rationale"), "report text rationale", "write the report text rationale"),
        ),
        (
            "How numbers of raters, sessions and repeats were chosen",
            when(written("sample_size"), "report text sample_size", "write the report text sample_size"),
        ),
        (
            "How sessions for the second coder were drawn",
            Answer::Of(format!(
                "share {}, seed {}; say how the draw was kept to",
                input.study.double_coding.share, input.study.double_coding.seed
            )),
        ),
        (
            "The rating: interval, information available, masking",
            when(masked, "section 5", "say in the second coding what was hidden"),
        ),
        (
            "Independence of the ratings",
            when(
                masked,
                "section 5: what each coder was masked to",
                "say in the second coding what was hidden",
            ),
        ),
        ("Statistics", Answer::In("sections 5 and 13")),
        ("Numbers of raters, sessions and ratings reached", when(pairs, "section 13", second)),
        (
            "Who the raters and animals are: training, experience",
            when(written("raters"), "report text raters", "write the report text raters"),
        ),
        ("Estimates with their uncertainty", when(intervals, "section 13", second)),
        (
            "What it means in practice",
            when(written("relevance"), "report text relevance", "write the report text relevance"),
        ),
        ("Detailed results", Answer::In("section 13; shedlight agree STUDY --csv")),
    ]
}

fn experiment_items(input: &Input<'_>) -> Vec<(&'static str, Answer)> {
    let written =
        |key: &'static str, remedy: &'static str| when(input.written(key).is_some(), "report text", remedy);
    let plans = input.sessions.iter().any(|session| session.plan.is_some());
    let masked = input.codings.iter().any(|own| !own.masked.is_empty());
    let counted = !input.counted().is_empty();
    let facts = input
        .sessions
        .iter()
        .any(|session| session.facts.air_c.is_some() || session.facts.basking_c.is_some());
    vec![
        ("Design and unit of analysis", Answer::In("section 5: the session")),
        ("Sample size", when(counted, "section 6 (numbers reached)", "code a session")),
        ("Inclusion and exclusion, of data points too", Answer::In("sections 6 and 14")),
        ("Randomisation and order", written("order", "write the report text order")),
        ("Blinding", when(masked, "section 5", "say in codings what was hidden")),
        ("Outcome measures", Answer::In("appendix A, sections 7 to 12")),
        ("Statistics", Answer::In("section 5")),
        ("Animals", when(!input.animals().is_empty(), "section 3", "add sessions")),
        ("Procedures", when(plans, "section 4", "write a plan and name it in the sessions")),
        ("Results", when(counted, "sections 6 to 13", "code a session")),
        ("Abstract", Answer::In("section 2")),
        ("Background", written("context", "write the report text context")),
        ("Objectives", written("purpose", "write the report text purpose")),
        ("Ethical statement", written("ethics", "write the report text ethics")),
        (
            "Housing and husbandry",
            if input.written("housing").is_some() {
                Answer::In("report text housing")
            } else if facts {
                Answer::Of("temperatures in section 3; write the report text housing".to_owned())
            } else {
                Answer::Missing("write the report text housing")
            },
        ),
        ("Care and monitoring", when(counted, "section 11", "code the pass that holds watch and stop")),
        ("Interpretation", written("interpretation", "write the report text interpretation")),
        ("How far it carries to others", Answer::In("section 2: not beyond these animals and sessions")),
        ("Protocol registered", written("registration", "write the report text registration")),
        (
            "Data access",
            written("data_access", "write the report text data_access; shedlight export gives the data"),
        ),
        ("Interests", written("interests", "write the report text interests")),
    ]
}

fn sample_items(input: &Input<'_>) -> Vec<(&'static str, Answer)> {
    let animals: Vec<&Animal> = input.animals().iter().filter_map(|id| input.animal(id)).collect();
    let all = |has: fn(&Animal) -> bool| !animals.is_empty() && animals.iter().all(|animal| has(animal));
    let noted = all(|animal| animal.notes.is_some());
    let text = |key: &str| input.written(key).is_some();
    let some = |is_there: bool, key: &str, remedy: &'static str| {
        when(is_there || text(key), "section 3, or a report text", remedy)
    };
    let apart = !input.sessions.is_empty()
        && input.sessions.iter().all(|session| session.facts.apart_from_group.is_some());
    vec![
        (
            "Social background",
            some(
                apart,
                "social",
                "say in each session whether it was apart from its group, or write the report text social",
            ),
        ),
        (
            "Trappability and self-selection",
            some(
                false,
                "self_selection",
                "write the report text self_selection: which animals could come and did not",
            ),
        ),
        (
            "Rearing history",
            some(all(|animal| animal.origin.is_some()), "rearing", "fill in each animal's origin"),
        ),
        (
            "Acclimation and habituation",
            some(noted, "acclimation", "write it in each animal's notes, or the report text acclimation"),
        ),
        (
            "Natural changes in responsiveness",
            some(
                input.sessions.iter().all(|session| session.facts.shed.is_some())
                    && !input.sessions.is_empty(),
                "natural_changes",
                "fill in the shed state of each session, or write the report text natural_changes",
            ),
        ),
        ("Genetic make-up", some(false, "genetics", "write the report text genetics")),
        (
            "Experience",
            some(
                noted,
                "experience",
                "write earlier training in each animal's notes, or the report text experience",
            ),
        ),
    ]
}
