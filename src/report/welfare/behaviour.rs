//! Time budget, approach and retreat, success, latencies, food.

use super::Input;
use super::words::{NOTHING, count, interval, number, or_why, percent, spread};
use crate::measures::summary::{CodingSummary, Figures, OneLatency};
use crate::model::{Kind, Role};
use crate::report::document::{Block, Part, Section, Table, Text};

/// Section 7.
pub(super) fn budget(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    for animal in &input.summary.animals {
        let name = super::words::set_apart(&input.animal_name(&animal.animal));
        let sessions = input.counted_of(&animal.animal);
        let visible = animal.figures.visible_s.map_or_else(
            || "visible time is not coded to its end".to_owned(),
            |visible| format!("{} visible s", number(Some(visible), 1)),
        );
        let mut table = Table::new(
            format!("Time budget of {name}: share of visible time, {visible}, {} sessions", sessions.len()),
            &[
                "State",
                "#Time s",
                "#Share",
                "Spread over sessions (%)",
                "#Bouts",
                "#Median bout s",
                "#Seen whole",
            ],
        );
        let states = animal
            .figures
            .behaviours
            .iter()
            .filter(|own| own.kind == Kind::State && is_budget(input, &own.id));
        for own in states {
            let parts: Vec<(f64, f64)> = sessions
                .iter()
                .filter_map(|session| {
                    let total = session.figures.behaviours.iter().find(|other| other.id == own.id)?.total_s?;
                    Some((total, session.figures.visible_s?))
                })
                .collect();
            table.row(vec![
                Text::given(&own.name),
                or_why(number(own.total_s, 1), own.why.as_ref()),
                Text::from(percent(own.share_visible)),
                Text::from(spread(&parts, input.study.double_coding.seed)),
                Text::from(count(own.n)),
                Text::from(number(own.median_s, 1)),
                Text::from(count(own.n_complete)),
            ]);
        }
        table.note = Some(Text::from(
            "Median: of bouts seen whole, from onset to offset. Bouts cut by an edge or by out of sight count in time and number.",
        ));
        blocks.push(Block::Table(table));
    }
    nothing(&mut blocks);
    blocks.extend(input.charts(Part::Budget));
    Section { id: "budget", title: "7 Time budget".to_owned(), blocks }
}

/// States of the animal that say what it did: not whether it was visible.
fn is_budget(input: &Input<'_>, id: &str) -> bool {
    input.ethograms.iter().any(|ethogram| {
        ethogram.behaviour(&id.into()).is_some_and(|own| {
            own.who == crate::model::Actor::Animal
                && own.set.is_some()
                && ![Role::Visible, Role::PartVisible, Role::Excluded]
                    .into_iter()
                    .any(|role| own.has_role(role))
        })
    })
}

fn nothing(blocks: &mut Vec<Block>) {
    if blocks.is_empty() {
        blocks.push(Block::words("Nothing is coded that counts: not coded, which is not zero."));
    }
}

/// A row a session, then one an animal.
fn rows(input: &Input<'_>, table: &mut Table, cells: &dyn Fn(&Figures, Option<&CodingSummary>) -> Vec<Text>) {
    for own in input.counted() {
        let mut row = vec![Text::given(&own.session), Text::given(&input.animal_name(&own.animal))];
        row.extend(cells(&own.figures, Some(own)));
        table.row(row);
    }
    for own in &input.summary.animals {
        let mut row = vec![
            Text::from(format!("all {}", own.sessions.len())),
            Text::given(&input.animal_name(&own.animal)),
        ];
        row.extend(cells(&own.figures, None));
        table.row(row);
    }
}

/// Section 8.
pub(super) fn approach(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let mut table = Table::new(
        "Approach and retreat onsets",
        &[
            "Session",
            "Animal",
            "#Approach",
            "#Retreat",
            "#A share",
            "#Index",
            "#In presentations A / R",
            "#Vacillating",
            "#Share vacillating",
        ],
    );
    rows(input, &mut table, &|figures, _| {
        let own = &figures.approach;
        let index = own.index.map_or_else(
            || NOTHING.to_owned(),
            |index| {
                if index > 0.0 { format!("+{index:.2}") } else { number(Some(index), 2) }
            },
        );
        vec![
            or_why(count(own.approaches), own.why.as_ref()),
            Text::from(count(own.retreats)),
            Text::from(number(own.share, 2)),
            Text::from(index),
            Text::from(format!(
                "{} / {}",
                count(own.approaches_in_presentations),
                count(own.retreats_in_presentations)
            )),
            Text::from(count(own.vacillating)),
            Text::from(number(own.vacillating_share, 2)),
        ]
    });
    table.note = Some(Text::from(
        "Share A/(A+R), index (A−R)/(A+R). Vacillating: approach and retreat changed direction at least twice in one presentation.",
    ));
    if !table.rows.is_empty() {
        blocks.push(Block::Table(table));
    }
    nothing(&mut blocks);
    blocks.extend(input.charts(Part::Approach));
    Section { id: "approach", title: "8 Approach and retreat".to_owned(), blocks }
}

/// Section 9.
pub(super) fn success(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let mut table = Table::new(
        "Presentations: success, refusals, opt-outs",
        &[
            "Session",
            "Animal",
            "#Step",
            "#Success",
            "#95 % (Wilson)",
            "#Passive refusal",
            "#Opt-out",
            "#Honoured in time",
            "#Prompted",
            "#Aborted",
            "#Void",
            "Criterion",
        ],
    );
    rows(input, &mut table, &|figures, session| {
        let own = &figures.success;
        let passive =
            own.n.zip(own.k).zip(own.opt_out).map(|((n, k), out)| n.saturating_sub(k).saturating_sub(out));
        let success = own.k.zip(own.n).map_or_else(|| NOTHING.to_owned(), |(k, n)| format!("{k} of {n}"));
        let criterion = own.criterion_met.map_or(NOTHING, |met| if met { "met" } else { "not met" });
        // Several sessions of one animal are not one sample of independent presentations.
        let limits = match session {
            Some(_) => interval(own.ci95, 2),
            None => "see sessions".to_owned(),
        };
        vec![
            Text::from(session.map_or_else(|| NOTHING.to_owned(), |own| count(own.step))),
            or_why(success, own.why.as_ref()),
            Text::from(limits),
            Text::from(count(passive)),
            Text::from(count(own.opt_out)),
            Text::from(count(own.opt_out_honoured)),
            Text::from(count(own.prompted)),
            Text::from(count(own.aborted)),
            Text::from(count(own.void)),
            Text::from(if session.is_some() { criterion } else { NOTHING }),
        ]
    });
    table.note = Some(Text::from(
        "Success of valid presentations: success, passive refusal and opt-out. Prompted, aborted and void ones are listed and not in it; appendix B has each.",
    ));
    if !table.rows.is_empty() {
        blocks.push(Block::Table(table));
        let mut pauses = Table::new(
            "Between presentations, and how often food came",
            &[
                "Session",
                "Animal",
                "#Pause, median s",
                "#Shortest s",
                "#Longest s",
                "#Presentations per min",
                "#Food per min",
            ],
        );
        rows(input, &mut pauses, &|figures, _| {
            let own = &figures.between;
            let texts = [
                number(own.median_s, 1),
                number(own.min_s, 1),
                number(own.max_s, 1),
                number(own.presentations_per_min, 2),
                number(figures.food.per_min, 2),
            ];
            texts.map(Text::from).to_vec()
        });
        pauses.note = Some(Text::from("Per minute of observed time."));
        blocks.push(Block::Table(pauses));
    }
    nothing(&mut blocks);
    blocks.extend(input.charts(Part::Success));
    Section { id: "success", title: "9 Success, refusals, opt-outs".to_owned(), blocks }
}

type Choose = fn(&Figures) -> &OneLatency;

/// Section 10.
pub(super) fn latency(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let kinds: [(&str, Choose); 4] = [
        ("orient", |own| &own.latency.orient),
        ("approach", |own| &own.latency.approach),
        ("contact", |own| &own.latency.contact),
        ("success", |own| &own.latency.success),
    ];
    for (name, choose) in kinds {
        let mut table = Table::new(
            format!("Latency from the cue to {name}"),
            &[
                "Session",
                "Animal",
                "#Reached",
                "#Median s",
                "#95 % (log–log)",
                "#A quarter by s",
                "#Three quarters by s",
                "#Mean wait s",
                "#within s",
            ],
        );
        rows(input, &mut table, &|figures, _| {
            let own = choose(figures);
            let reached =
                own.reached.zip(own.n).map_or_else(|| NOTHING.to_owned(), |(k, n)| format!("{k} of {n}"));
            let limit = |value: Option<f64>| {
                value.map_or_else(|| "not reached".to_owned(), |value| format!("{value:.1}"))
            };
            let limits = own.ci95_s.map_or_else(
                || NOTHING.to_owned(),
                |[low, high]| format!("[{}, {}]", limit(low), limit(high)),
            );
            vec![
                Text::from(reached),
                or_why(number(own.median_s, 1), own.why.as_ref()),
                Text::from(limits),
                Text::from(number(own.q1_s, 1)),
                Text::from(number(own.q3_s, 1)),
                Text::from(number(own.restricted_mean_s, 1)),
                Text::from(number(own.restricted_at_s, 0)),
            ]
        });
        if !table.rows.is_empty() {
            blocks.push(Block::Table(table));
        }
    }
    nothing(&mut blocks);
    blocks.extend(input.charts(Part::Latency));
    Section { id: "latency", title: "10 Latencies".to_owned(), blocks }
}

/// Section 12.
pub(super) fn food(input: &Input<'_>) -> Section {
    let mut blocks = Vec::new();
    let mut table = Table::new(
        "Food as reinforcer",
        &[
            "Session",
            "Animal",
            "Food",
            "#Deliveries",
            "#Grams",
            "#Cap g",
            "Within the cap",
            "#Marker to food, median s",
            "#Markers without food",
        ],
    );
    for own in input.counted() {
        let session = input.session(&own.session);
        let food = &own.figures.food;
        let plan = session.and_then(|session| input.study.plan(session.plan.as_ref()?));
        let cap = plan.and_then(|plan| plan.end.food_cap_g);
        let within = match (food.grams, cap) {
            (Some(grams), Some(cap)) => {
                if grams <= cap {
                    "yes"
                } else {
                    "no: over"
                }
            }
            (None, _) => "not weighed",
            (_, None) => "no cap written",
        };
        let items: Vec<&str> =
            session.iter().flat_map(|session| &session.food).map(|food| food.item.as_str()).collect();
        table.row(vec![
            Text::given(&own.session),
            Text::given(&input.animal_name(&own.animal)),
            if items.is_empty() { Text::from(NOTHING) } else { Text::given(&items.join(", ")) },
            or_why(count(food.n), food.why.as_ref()),
            Text::from(number(food.grams, 1)),
            Text::from(number(cap, 1)),
            Text::from(within),
            Text::from(number(crate::numeric::quantile::of(&food.marker_to_food_s, 0.5), 1)),
            Text::from(count(food.markers_without_food)),
        ]);
    }
    if !table.rows.is_empty() {
        blocks.push(Block::Table(table));
    }
    nothing(&mut blocks);
    blocks.extend(input.charts(Part::Food));
    Section { id: "food", title: "12 Food used and budget".to_owned(), blocks }
}
