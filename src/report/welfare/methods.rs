//! How it was filmed and coded, written from the data; and how much of it there is.

use std::fmt::Write as _;

use std::collections::BTreeSet;

use super::Input;
use super::subjects::{day, session_cell};
use super::words::{NOTHING, count, counted, number, percent};
use crate::measures::summary::Figures;
use crate::model::{Clip, ClockSource, Coding, Purpose, RecordingRule, Session};
use crate::report::document::{Block, Part, Section, Table, Text};

/// Section 5.
pub(super) fn methods(input: &Input<'_>) -> Section {
    let mut blocks = vec![Block::Heading(Text::from("Film and clocks")), Block::Table(film(input))];
    blocks.push(Block::Heading(Text::from("Coders and codings")));
    blocks.push(Block::Table(codings(input)));
    blocks.push(Block::Heading(Text::from("Definitions")));
    let mut revisions: Vec<Text> = Vec::new();
    for ethogram in input.ethograms {
        let used =
            |own: &&&Coding| own.ethogram.id == ethogram.id && own.ethogram.revision == ethogram.revision;
        let n = input.codings.iter().filter(used).count();
        let text = Text::given(&ethogram.title).and(format!(
            " ({} revision {}), {}.",
            ethogram.id,
            ethogram.revision,
            counted(n, "coding", "codings")
        ));
        revisions.push(match &ethogram.changed {
            Some(changed) => text.and(" Changed: ").and_given(changed),
            None => text,
        });
    }
    if revisions.is_empty() {
        revisions.push(Text::from("missing: no coding, so no definitions were used."));
    }
    blocks.push(Block::List(revisions));
    blocks.push(Block::Heading(Text::from("How numbers are made")));
    blocks.push(Block::List(rules(input)));
    Section { id: "methods", title: "5 Methods".to_owned(), blocks }
}

fn rules(input: &Input<'_>) -> Vec<Text> {
    let seed = input.study.double_coding.seed;
    vec![
        Text::from(
            "The sampling rule is focal, one animal a session. The session is the unit of analysis, never the second or the picture.",
        ),
        Text::from(
            "Time out of sight is taken out of every denominator. Shares are of visible time, rates are per visible hour unless said otherwise.",
        ),
        Text::from(
            "What is not marked counts as zero only where the pass that holds it is done; else the value is missing, with the reason.",
        ),
        Text::from(format!(
            "Spread over sessions: five or more, a percentile bootstrap over sessions (2000 draws, seed {seed}); two to four, each value and the range; one, the value alone. No p-values."
        )),
        Text::from(
            "Success: Wilson's 95 % interval within a session. Rates of rare events: Garwood's exact Poisson interval, 95 %.",
        ),
        Text::from(
            "Latencies: product limit (Kaplan–Meier); a presentation in which the animal did not respond is censored at its end, one aborted at the abort, a void one at the voiding moment. The median is the first time at which half or fewer were still waiting; 95 % limits by log–log.",
        ),
        Text::from(
            "Concern levels are derived from the codes by the rules in the definitions (appendix A); nobody types them in.",
        ),
        Text::from(format!(
            "Shedlight {}; one coding a session counts, the one with the purpose primary.",
            env!("CARGO_PKG_VERSION")
        )),
    ]
}

fn film(input: &Input<'_>) -> Table {
    let mut table = Table::new(
        "Film of each session",
        &["Session", "Start", "Clips and cameras", "Clock", "#Film s", "#Without a picture s"],
    );
    for session in input.sessions {
        let mut clips = Text::default();
        for (i, clip) in session.clips.iter().enumerate() {
            clips = clips.and(if i > 0 { "; " } else { "" }).and_given(file_of(clip));
            if let Some(camera) = &clip.camera {
                clips = clips.and(" (").and_given(camera).and(")");
            }
        }
        if session.clips.is_empty() {
            clips = Text::from("missing");
        }
        let film = session.film();
        let known = !film.is_empty();
        table.row(vec![
            session_cell(session),
            Text::from(day(session)),
            clips,
            Text::from(clock_words(session)),
            Text::from(number(known.then(|| film.total().seconds()), 1)),
            Text::from(number(known.then(|| session.file_gaps().total().seconds()), 1)),
        ]);
    }
    table
}

fn file_of(clip: &Clip) -> &str {
    clip.path.rsplit(['/', '\\']).next().unwrap_or(&clip.path)
}

fn clock_words(session: &Session) -> String {
    let source = match session.clock_source {
        Some(ClockSource::Camera) => "camera",
        Some(ClockSource::Overlay) => "drawn into the picture",
        Some(ClockSource::Person) => "said by a person",
        None => "not said",
    };
    let mut words = source.to_owned();
    if let (Some(shown), Some(truly)) = (session.recorded_at, session.wall_clock(crate::time::Micros::ZERO)) {
        let off = (truly - shown).num_seconds();
        if off != 0 {
            let sign = if off < 0 { '−' } else { '+' };
            let _ = write!(
                words,
                ", corrected by {sign}{}:{:02} min from {}",
                off.abs() / 60,
                off.abs() % 60,
                counted(session.clock_anchors.len(), "known point", "known points")
            );
        }
    }
    if !session.sync_points.is_empty() {
        let n = counted(session.sync_points.len(), "moment", "moments");
        let _ = write!(words, "; cameras aligned by {n} seen in both");
    }
    words
}

fn codings(input: &Input<'_>) -> Table {
    let mut table = Table::new(
        "Codings; only primary ones are counted",
        &[
            "Session",
            "Coder",
            "Handled it too",
            "Purpose",
            "Recording rule",
            "Definitions",
            "Masked to",
            "Passes not done",
            "#Minutes",
        ],
    );
    for coding in input.codings {
        let session = input.session(coding.session.as_str());
        let handled = match session.and_then(|own| own.handler.as_ref()) {
            Some(handler) if *handler == coding.by => "yes",
            Some(_) => "no",
            None => "handler missing",
        };
        let rule = match coding.rule {
            RecordingRule::Continuous => "continuous".to_owned(),
            RecordingRule::Instantaneous { every_s, offset_s } => {
                format!(
                    "instantaneous every {} s from {} s",
                    every_s.micros().seconds(),
                    offset_s.micros().seconds()
                )
            }
            RecordingRule::OneZero { every_s } => format!("one-zero every {} s", every_s.micros().seconds()),
        };
        let open: Vec<&str> =
            coding.passes.iter().filter(|pass| !pass.done).map(|pass| pass.name.as_str()).collect();
        let masked = if coding.masked.is_empty() {
            Text::from("nothing")
        } else {
            Text::given(&coding.masked.join(", "))
        };
        let minutes: f64 = coding.passes.iter().map(|pass| pass.minutes).sum();
        table.row(vec![
            Text::given(coding.session.as_str()),
            Text::given(coding.by.as_str()),
            Text::from(handled),
            Text::from(coding.purpose.word()),
            Text::from(rule),
            Text::from(format!("{} {}", coding.ethogram.id, coding.ethogram.revision)),
            masked,
            if open.is_empty() { Text::from("all done") } else { Text::given(&open.join(", ")) },
            Text::from(number((minutes > 0.0).then_some(minutes), 0)),
        ]);
    }
    table
}

/// Section 6.
pub(super) fn effort(input: &Input<'_>) -> Section {
    let all = input.counted();
    let left_out = input.sessions.iter().filter(|session| session.left_out.is_some()).count();
    let coders: BTreeSet<&str> = input
        .codings
        .iter()
        .filter(|own| own.purpose == Purpose::Primary)
        .map(|own| own.by.as_str())
        .collect();
    let mut blocks = vec![Block::words(format!(
        "{} filmed, {} coded and counted by {}, {left_out} left out.",
        counted(input.sessions.len(), "session", "sessions"),
        all.len(),
        counted(coders.len(), "coder", "coders")
    ))];
    let mut table = Table::new(
        "Effort: what was observed and what was visible",
        &[
            "Session",
            "Animal",
            "#Step",
            "#Observed s",
            "#Visible s",
            "#Out of sight",
            "#Presentations",
            "#Valid",
            "#Void",
            "#Aborted",
        ],
    );
    let cells = |figures: &Figures| {
        let presentations =
            figures.presentations.as_ref().map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX));
        let flag =
            figures.out_of_sight_share.is_some_and(|share| share > input.study.targets.out_of_sight_share);
        vec![
            Text::from(number(Some(figures.observed_s), 1)),
            Text::from(number(figures.visible_s, 1)),
            Text::from(format!("{}{}", percent(figures.out_of_sight_share), if flag { " (!)" } else { "" })),
            Text::from(count(presentations)),
            Text::from(count(figures.success.n)),
            Text::from(count(figures.success.void)),
            Text::from(count(figures.success.aborted)),
        ]
    };
    for own in &all {
        let mut row = vec![
            Text::given(&own.session),
            Text::given(&input.animal_name(&own.animal)),
            Text::from(own.step.map_or_else(|| NOTHING.to_owned(), |step| step.to_string())),
        ];
        row.extend(cells(&own.figures));
        table.row(row);
    }
    for own in &input.summary.animals {
        let mut row = vec![
            Text::from(format!("all {}", own.sessions.len())),
            Text::given(&input.animal_name(&own.animal)),
            Text::from(NOTHING),
        ];
        row.extend(cells(&own.figures));
        table.row(row);
    }
    let target = percent(Some(input.study.targets.out_of_sight_share));
    table.note = Some(Text::from(format!("(!): more than {target} of the observed time was out of sight.")));
    blocks.push(Block::Table(table));
    blocks.extend(input.charts(Part::Effort));
    Section { id: "effort", title: "6 Effort".to_owned(), blocks }
}
