//! Numbers as the report prints them, and the rule for intervals.

use crate::numeric::bootstrap;
use crate::report::document::Text;
pub(super) use crate::report::words::{NOTHING, count, number, percent, plain};

/// A name inside a line of ours, so that its script turns no other word around (Unicode's isolates).
pub(super) fn set_apart(name: &str) -> String {
    let is_ascii = name.is_ascii();
    if is_ascii { name.to_owned() } else { format!("\u{2068}{name}\u{2069}") }
}

/// A count with its noun: `1 session`, `2 sessions`.
pub(super) fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// A value, or a dash with the reason.
pub(super) fn or_why(value: String, why: Option<&String>) -> Text {
    match why {
        Some(why) if value == NOTHING => Text::from(NOTHING).and_why(why),
        _ => Text::from(value),
    }
}

pub(super) fn interval(limits: Option<[f64; 2]>, decimals: usize) -> String {
    limits.map_or_else(
        || NOTHING.to_owned(),
        |[low, high]| format!("[{}, {}]", plain(low, decimals), plain(high, decimals)),
    )
}

/// How a share differs from session to session: its parts a session, as (part, whole). Five or more:
/// a percentile bootstrap over sessions. Two to four: each value and the range. One: the value alone.
pub(super) fn spread(parts: &[(f64, f64)], seed: u64) -> String {
    let parts: Vec<(f64, f64)> = parts.iter().copied().filter(|(_, whole)| *whole > 0.0).collect();
    let shares: Vec<f64> = parts.iter().map(|(part, whole)| part / whole * 100.0).collect();
    let least = shares.iter().copied().fold(f64::INFINITY, f64::min);
    let most = shares.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    match shares.len() {
        0 => NOTHING.to_owned(),
        1 => "one session".to_owned(),
        2..=4 => {
            let each: Vec<String> = shares.iter().map(|share| plain(*share, 1)).collect();
            format!("{}; from {} to {} %", each.join(", "), plain(least, 1), plain(most, 1))
        }
        n => {
            let pooled = |picked: &[usize]| {
                let chosen = picked.iter().filter_map(|place| parts.get(*place));
                let (part, whole) = chosen.fold((0.0, 0.0), |sum, own| (sum.0 + own.0, sum.1 + own.1));
                (whole > 0.0).then(|| part / whole * 100.0)
            };
            let range = format!("sessions from {} to {} %", plain(least, 1), plain(most, 1));
            match bootstrap::percentile(n, seed, &pooled) {
                Some(own) => format!("95 % [{}, {}]; {range}", plain(own.low, 1), plain(own.high, 1)),
                None => range,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_sessions_have_values_and_a_range_and_many_an_interval() {
        assert_eq!(spread(&[], 1), "—");
        assert_eq!(spread(&[(1.0, 4.0)], 1), "one session");
        assert_eq!(spread(&[(1.0, 4.0), (1.0, 2.0)], 1), "25.0, 50.0; from 25.0 to 50.0 %");
        let many = spread(&[(1.0, 4.0), (1.0, 2.0), (1.0, 3.0), (2.0, 4.0), (0.0, 4.0)], 1);
        assert!(many.starts_with("95 % ["), "{many}");
    }
}
