//! What the screen draws, made anew when the record changes, so that drawing only draws.

use std::fmt::Write as _;

use crate::gui::theme;
use crate::gui::widget::keyboard::{self, Cap, LAYOUT};
use crate::gui::widget::{card, ribbon, tape};
use crate::measures::presentations::{self, Latency, Outcome};
use crate::measures::{Marks, Record, concern};
use crate::model::{Animal, Behaviour, Kind, Level, Mark, Role, Session, Set, Study};
use crate::time::{Micros, Span, Spans};
use crate::workbench::coder::Coder;
use crate::workbench::reel::Reel;

/// Everything drawn that does not change from picture to picture.
#[derive(Debug, Default)]
pub(super) struct Prepared {
    pub(super) tape: tape::Content,
    pub(super) ribbon: ribbon::Content,
    pub(super) cards: Vec<card::Presentation>,
    /// How many presentations, and how many reached the step's success.
    pub(super) reached: String,
    pub(super) caps: Vec<Vec<Cap>>,
}

impl Prepared {
    pub(super) fn of(coder: &Coder, session: &Session, study: &Study, reel: &Reel, mirrored: bool) -> Self {
        let coding = coder.coding();
        let ethogram = coder.ethogram();
        let end = reel.end().or(session.extent().map(|span| span.to)).unwrap_or(Micros::MAX);
        let extent = session.extent().or_else(|| Span::try_new(reel.start()?, reel.end()?));
        let mut rows: Vec<tape::Row> = Vec::new();
        for set in &ethogram.sets {
            let own = |b: &Behaviour| b.kind == Kind::State && b.set.as_ref() == Some(&set.id);
            rows.push(row(&set.name, coder, end, &own));
        }
        let alone = |b: &Behaviour| b.kind == Kind::State && b.set.is_none();
        // States that exclude nothing may overlap: each that was coded has its own row.
        for behaviour in ethogram.behaviours.iter().filter(|b| alone(b)) {
            let is_used = coding.marks.iter().any(|mark| mark.behaviour == behaviour.id);
            if is_used || coder.is_live(&behaviour.id) && coder.pass().is_some() {
                rows.push(row(&behaviour.name, coder, end, &|b| b.id == behaviour.id));
            }
        }
        rows.truncate(6);
        rows.push(row("Events", coder, end, &|b| b.kind == Kind::Event));
        let filled: Spans = coding
            .marks
            .iter()
            .filter(|mark| coder.is_live(&mark.behaviour))
            .filter_map(|mark| mark.span(end))
            .collect();
        let mut reached = String::new();
        let (mut cards, mut cues, mut stops) = (Vec::new(), Vec::new(), Vec::new());
        if let Some(record) = Record::try_new(coding, ethogram, session, study, Marks::AsTheyStand) {
            let found = presentations::of(&record);
            stops = concern::of(&record, &found)
                .stop_incidents
                .iter()
                .map(|incident| incident.span.from)
                .collect();
            cues = found.iter().map(presentations::Presentation::span).collect();
            if !found.is_empty() {
                let is_reached = |p: &&presentations::Presentation| {
                    matches!(p.success, Latency::Reached(_) | Latency::Already)
                };
                reached = format!("{} · {} reached", found.len(), found.iter().filter(is_reached).count());
            }
            let strip = rows.iter().position(|row| {
                let set = ethogram.sets.iter().find(|set| set.name == row.name);
                set.is_some_and(|set| !holds_unseen(coder, set))
            });
            let bars = strip.and_then(|row| rows.get(row)).map_or(&[][..], |row| &row.bars);
            let longest = found.iter().map(|p| p.span().length()).max().unwrap_or_default();
            cards = found.iter().rev().map(|p| card_of(p, bars, longest)).collect();
        }
        let seams = reel
            .shots()
            .windows(2)
            .filter_map(|pair| match pair {
                [a, b] if a.clip != b.clip => Some(b.at),
                _ => None,
            })
            .collect();
        let gaps = reel.gaps().as_slice().to_vec();
        Self {
            tape: tape::Content { rows, gaps: gaps.clone(), extent, sound: Vec::new() },
            ribbon: ribbon::Content {
                extent,
                coded: filled.as_slice().to_vec(),
                cues,
                stops,
                seams,
                gaps,
                sound: Vec::new(),
            },
            cards,
            reached,
            caps: caps(coder, study.animal(&session.animal), mirrored),
        }
    }

    /// Caps as they are under the reading line.
    pub(super) fn light(&mut self, coder: &Coder, at: Micros) {
        let holding: Vec<(&str, bool)> =
            coder.holding_at(at).iter().map(|mark| (mark.behaviour.as_str(), mark.is_open())).collect();
        for cap in self.caps.iter_mut().flatten() {
            let id = coder.behaviour_of(cap.codes).ok().map(|behaviour| behaviour.id.as_str());
            let state = holding.iter().find(|(own, _)| Some(*own) == id);
            cap.holds = state.is_some();
            cap.recording = state.is_some_and(|(_, open)| *open);
        }
    }
}

fn row(name: &str, coder: &Coder, end: Micros, belongs: &dyn Fn(&Behaviour) -> bool) -> tape::Row {
    let mut bars: Vec<tape::Bar> =
        coder.coding().marks.iter().filter_map(|mark| bar(coder, mark, end, belongs)).collect();
    bars.sort_by_key(|bar| (bar.span.from, bar.mark));
    tape::Row { name: name.to_owned(), bars }
}

fn bar(coder: &Coder, mark: &Mark, end: Micros, belongs: &dyn Fn(&Behaviour) -> bool) -> Option<tape::Bar> {
    let ethogram = coder.ethogram();
    let place = ethogram.behaviours.iter().position(|b| b.id == mark.behaviour)?;
    let behaviour = ethogram.behaviours.get(place).filter(|b| belongs(b))?;
    let (colour, pattern) = colour_of(coder, behaviour);
    let span = mark.span(end.max(mark.from)).unwrap_or(Span { from: mark.from, to: mark.from });
    let detail = mark.detail.as_ref().map_or_else(String::new, |detail| format!(" · {detail}"));
    let note = if mark.note.is_some() { " ✎" } else { "" };
    Some(tape::Bar {
        mark: mark.id,
        span,
        open: mark.is_open(),
        event: mark.is_event(),
        name: format!("{}{detail}{note}", behaviour.name),
        colour,
        pattern,
        unsure: mark.unsure,
    })
}

/// A state keeps its colour everywhere: by its place among the states of its set.
fn colour_of(coder: &Coder, behaviour: &Behaviour) -> (iced::Color, bool) {
    if behaviour.has_role(Role::Excluded) {
        return (theme::UNSEEN, false);
    }
    let place = coder
        .ethogram()
        .behaviours
        .iter()
        .filter(|b| b.kind == behaviour.kind && b.set == behaviour.set)
        .position(|b| b.id == behaviour.id);
    theme::state(place.unwrap_or(0))
}

fn caps(coder: &Coder, animal: Option<&Animal>, mirrored: bool) -> Vec<Vec<Cap>> {
    let cap = |shown: char| {
        let key = if mirrored { keyboard::mirrored(shown) } else { shown };
        let behaviour = coder.behaviour_of(key).ok();
        let any = || coder.ethogram().behaviours.iter().find(|b| b.key == Some(key));
        let named = behaviour.or_else(any);
        let level = named.and_then(|b| b.concern_in(animal).map(|rule| rule.level).max());
        Cap {
            key: shown,
            codes: key,
            name: named.map(|b| b.name.clone()),
            definition: named.map(definition).unwrap_or_default(),
            concern: level.map_or("", Level::word),
            colour: behaviour.filter(|b| b.kind == Kind::State).map(|b| colour_of(coder, b).0),
            live: behaviour.is_some(),
            holds: false,
            recording: false,
        }
    };
    // Rows at the edge that nothing is coded with need no room.
    let is_used =
        |line: &&str| line.chars().any(|key| coder.ethogram().behaviours.iter().any(|b| b.key == Some(key)));
    let first = LAYOUT.iter().position(is_used).unwrap_or(0);
    let last = LAYOUT.iter().rposition(is_used).unwrap_or(LAYOUT.len() - 1);
    let lines = LAYOUT.iter().skip(first).take(last + 1 - first);
    lines.map(|line| line.chars().map(cap).collect()).collect()
}

fn definition(behaviour: &Behaviour) -> String {
    let own = &behaviour.definition;
    let mut text = format!("{}\n{}", behaviour.name, own.onset);
    for (word, part) in [
        ("Ends", &own.offset),
        ("At least", &own.minimum),
        ("Not", &own.not_this),
        ("Near miss", &own.near_miss),
    ] {
        if let Some(part) = part {
            // Writing into a String can't fail.
            let _ = write!(text, "\n{word}: {part}");
        }
    }
    text
}

/// Whether a set tells what can be seen, not what the animal does.
fn holds_unseen(coder: &Coder, set: &Set) -> bool {
    let unseen = |b: &Behaviour| b.set.as_ref() == Some(&set.id) && b.has_role(Role::Excluded);
    coder.ethogram().behaviours.iter().any(unseen)
}

/// The bars of a row between two moments, and what is between them.
fn stretches(bars: &[tape::Bar], within: Span) -> Vec<card::Stretch> {
    let mut strip = Vec::new();
    let mut from = within.from;
    for bar in bars {
        let Some(part) = bar.span.intersection(within) else { continue };
        if part.from > from {
            strip.push(card::Stretch { length: part.from - from, colour: None });
        }
        strip.push(card::Stretch { length: part.length(), colour: Some(bar.colour) });
        from = part.to;
    }
    if from < within.to {
        strip.push(card::Stretch { length: within.to - from, colour: None });
    }
    strip
}

fn card_of(p: &presentations::Presentation, bars: &[tape::Bar], longest: Micros) -> card::Presentation {
    let words = |latency: Latency| match latency {
        Latency::Reached(time) => format!("{:.2} s", time.seconds()),
        Latency::Already => "0 already".to_owned(),
        Latency::Censored(time) => format!("> {:.1} s", time.seconds()),
        Latency::LeftOut | Latency::NotCoded => "—".to_owned(),
    };
    let outcome = match (&p.reason, p.outcome) {
        (Some(reason), Outcome::Void) => format!("void: {reason}"),
        (_, Outcome::Running) => match p.hold {
            Some(hold) => format!("running, hold {:.0} s", hold.seconds()),
            None => "running".to_owned(),
        },
        (_, outcome) => outcome.words().to_owned(),
    };
    card::Presentation {
        number: p.number,
        cue: p.cue.clock(),
        latencies: vec![
            ("orient", words(p.orient)),
            ("approach", words(p.approach)),
            ("contact", words(p.contact)),
        ],
        outcome,
        running: p.outcome == Outcome::Running,
        span: p.span(),
        strip: stretches(bars, p.span()),
        longest,
    }
}
