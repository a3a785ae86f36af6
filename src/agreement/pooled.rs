//! Sessions added up (rules 29 and 31).

use serde::Serialize;

use super::align::{Overlay, Row};
use super::by_time::{
    BehaviourAgreement, added, against_rest, behaviours, kappa_of_blocks, kappa_of_two, seconds, table,
};
use crate::numeric::bootstrap::{self, Method};

/// One set over several sessions.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PooledSet {
    /// The ethogram and its revision.
    pub ethogram: String,
    /// The set.
    pub set: String,
    /// Sessions added up.
    pub sessions: Vec<String>,
    /// As those of a pair.
    pub labels: Vec<String>,
    /// Seconds of all sessions.
    pub table_s: Vec<Vec<f64>>,
    /// Each session's own.
    pub by_session: Vec<SessionKappa>,
    /// Share of agreement.
    pub observed: Option<f64>,
    /// Cohen's kappa of the added tables.
    pub kappa: Option<f64>,
    /// 95 %: BCa over sessions, from five on.
    pub ci95: Option<[f64; 2]>,
    /// The interval's method: `bca`, or `percentile` where the correction is not defined.
    pub ci_method: Option<&'static str>,
    /// Lowest and highest of the sessions' own, below five.
    pub range: Option<[f64; 2]>,
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// Each state over all of them.
    pub behaviours: Vec<BehaviourAgreement>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One session of a pooled set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SessionKappa {
    /// The session.
    pub session: String,
    /// Its kappa.
    pub kappa: Option<f64>,
    /// Its share of agreement.
    pub observed: Option<f64>,
    /// Its seconds.
    pub compared_s: f64,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A compared session, for pooling.
#[derive(Debug, Clone)]
pub struct Session {
    /// Its id.
    pub id: String,
    /// Ethogram and revision.
    pub ethogram: String,
    /// Its overlays.
    pub overlays: Vec<Overlay>,
}

/// From this many sessions on there is an interval (rule 31).
const ENOUGH_SESSIONS: usize = 5;

/// Adds the tables of sessions that follow one revision; each session's own stands beside it (rules 29
/// and 31). Several pairs of one session are one session.
#[must_use]
pub fn pool(sessions: &[Session], seed: u64) -> Vec<PooledSet> {
    let mut keys: Vec<(&str, &Row)> = Vec::new();
    for session in sessions {
        for overlay in session.overlays.iter().filter(|overlay| matches!(overlay.row, Row::Set(_))) {
            if !keys.contains(&(session.ethogram.as_str(), &overlay.row)) {
                keys.push((&session.ethogram, &overlay.row));
            }
        }
    }
    keys.into_iter().filter_map(|(ethogram, row)| pool_set(sessions, ethogram, row, seed)).collect()
}

fn pool_set(sessions: &[Session], ethogram: &str, row: &Row, seed: u64) -> Option<PooledSet> {
    let of_row: Vec<(&str, &Overlay)> = sessions
        .iter()
        .filter(|session| session.ethogram == ethogram)
        .filter_map(|session| {
            Some((session.id.as_str(), session.overlays.iter().find(|overlay| overlay.row == *row)?))
        })
        .collect();
    // `(none)` may be a label of one session and not of another.
    let labels = of_row.iter().map(|(_, overlay)| &overlay.labels).max_by_key(|labels| labels.len())?;
    let widened = |overlay: &Overlay| {
        let mut cells = overlay.cells.clone();
        for line in &mut cells {
            line.resize(labels.len(), 0);
        }
        cells.resize(labels.len(), vec![0; labels.len()]);
        cells
    };
    let mut names: Vec<String> = Vec::new();
    let mut tables: Vec<Vec<Vec<i64>>> = Vec::new();
    for (name, overlay) in of_row {
        let cells = widened(overlay);
        if let Some(known) =
            names.iter().position(|known| known == name).and_then(|place| tables.get_mut(place))
        {
            *known = added([&*known, &cells].into_iter());
        } else {
            names.push(name.to_owned());
            tables.push(cells);
        }
    }
    let sum = added(tables.iter());
    let own = table(&sum)?;
    let kappa = own.kappa();
    let by_session: Vec<SessionKappa> = names
        .iter()
        .zip(&tables)
        .filter_map(|(session, cells)| {
            let own = table(cells)?;
            let kappa = own.kappa();
            Some(SessionKappa {
                session: session.clone(),
                kappa: kappa.ok().map(|own| own.kappa),
                observed: kappa.ok().map(|own| own.observed),
                compared_s: own.total(),
                why: kappa.err().map(|why| why.to_string()),
            })
        })
        .collect();
    let each: Vec<f64> = by_session.iter().filter_map(|own| own.kappa).collect();
    let is_enough = tables.len() >= ENOUGH_SESSIONS;
    let ci95 = if is_enough {
        bootstrap::bca(tables.len(), seed, &|picked| kappa_of_blocks(&tables, picked))
    } else {
        None
    };
    let range = (!is_enough && !each.is_empty()).then(|| {
        [
            each.iter().copied().fold(f64::INFINITY, f64::min),
            each.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        ]
    });
    let no_interval = if is_enough {
        "no interval: too few resamples have a kappa".to_owned()
    } else {
        format!("{} sessions: values and range, no interval", tables.len())
    };
    Some(PooledSet {
        ethogram: ethogram.to_owned(),
        set: row.id().to_owned(),
        labels: labels.clone(),
        table_s: seconds(&sum),
        observed: kappa.ok().map(|kappa| kappa.observed),
        kappa: kappa.ok().map(|kappa| kappa.kappa),
        ci95: ci95.map(|interval| [interval.low, interval.high]),
        ci_method: ci95.map(|interval| match interval.method {
            Method::Bca => "bca",
            Method::Percentile => "percentile",
        }),
        range,
        word: None,
        behaviours: behaviours(labels, &own, &|label| {
            let own: Vec<[i64; 4]> = tables.iter().map(|cells| against_rest(cells, label)).collect();
            let holds = |side: fn(&[i64; 4]) -> i64| own.iter().filter(|block| side(block) > 0).count();
            let fewest =
                holds(|[both, first, ..]| both + first).min(holds(|[both, _, second, _]| both + second));
            let interval = (fewest >= ENOUGH_SESSIONS)
                .then(|| bootstrap::bca(own.len(), seed, &|picked| kappa_of_two(&own, picked)))
                .flatten()?;
            Some([interval.low, interval.high])
        }),
        why: kappa.err().map(|why| why.to_string()).or_else(|| ci95.is_none().then_some(no_interval)),
        by_session,
        sessions: names,
    })
}
