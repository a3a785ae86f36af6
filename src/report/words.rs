//! Numbers in words: one way for the window, the command line and the report.

/// What stands for a value that is not there.
pub const NOTHING: &str = "—";

/// A number with so many decimals, or a dash.
#[must_use]
pub fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |value| plain(value, decimals))
}

/// A number with so many decimals: never "-0.0", a minus sign before what is negative.
#[must_use]
pub fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let is_zero = text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
    if is_zero { text.trim_start_matches('-').to_owned() } else { text.replace('-', "−") }
}

/// A share in percent with one decimal, or a dash.
#[must_use]
pub fn percent(value: Option<f64>) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |value| format!("{} %", plain(value * 100.0, 1)))
}

/// A count, or a dash.
#[must_use]
pub fn count(value: Option<u32>) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |value| value.to_string())
}

/// A number that may go either way, with its sign, or a dash.
#[must_use]
pub fn signed(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(
        || NOTHING.to_owned(),
        |value| {
            let text = plain(value, decimals);
            if text.starts_with('−') { text } else { format!("+{text}") }
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_there_is_a_dash_and_zero_has_no_minus() {
        assert_eq!((number(None, 1), percent(None), count(None)), ("—".into(), "—".into(), "—".into()));
        assert_eq!((plain(-0.001, 1), plain(-1.25, 1)), ("0.0".to_owned(), "−1.2".to_owned()));
        assert_eq!((percent(Some(0.069)), count(Some(3))), ("6.9 %".to_owned(), "3".to_owned()));
        assert_eq!((signed(Some(0.2), 2), signed(Some(-0.08), 2)), ("+0.20".to_owned(), "−0.08".to_owned()));
    }
}
