//! Two states of a part of a study, put into words.

use serde::Serialize;
use serde_json::Value;

/// Differences told of one part; more are counted.
const MOST: usize = 12;
/// A longer value is shortened.
const LONGEST: usize = 60;

/// Each place at which two values differ, with what stands here and what stands there.
pub(super) fn between<T: Serialize>(here: &T, there: &T) -> Vec<String> {
    let mut found = Vec::new();
    let value = |own: &T| serde_json::to_value(own).unwrap_or(Value::Null);
    walk("", &value(here), &value(there), &mut found);
    let more = found.len().saturating_sub(MOST);
    found.truncate(MOST);
    if more > 0 {
        found.push(format!("and {more} more"));
    }
    found
}

fn walk(place: &str, here: &Value, there: &Value, found: &mut Vec<String>) {
    if here == there {
        return;
    }
    let below = |part: &str| if place.is_empty() { part.to_owned() } else { format!("{place}.{part}") };
    match (here, there) {
        (Value::Object(own), Value::Object(other)) => {
            for (key, value) in own {
                walk(&below(key), value, other.get(key).unwrap_or(&Value::Null), found);
            }
            for (key, value) in other.iter().filter(|(key, _)| !own.contains_key(*key)) {
                walk(&below(key), &Value::Null, value, found);
            }
        }
        (Value::Array(own), Value::Array(other)) if own.len() == other.len() => {
            for (i, (value, other)) in own.iter().zip(other).enumerate() {
                walk(&below(&(i + 1).to_string()), value, other, found);
            }
        }
        _ => found.push(format!("{place}: here {}, there {}", words(here), words(there))),
    }
}

fn words(value: &Value) -> String {
    let text = match value {
        Value::Null => return "nothing".to_owned(),
        Value::String(text) => format!("'{text}'"),
        Value::Array(items) => return format!("{} entries", items.len()),
        other => other.to_string(),
    };
    if text.chars().count() <= LONGEST {
        return text;
    }
    let short: String = text.chars().take(LONGEST).collect();
    format!("{short}…")
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn differences_name_their_place_and_both_sides() {
        let here = json!({"facts": {"air_c": 24.0, "exit_open": true}, "clips": [{"offset": 0}], "same": 1});
        let there = json!({"facts": {"air_c": 25.5}, "clips": [{"offset": 5}], "same": 1, "notes": "late"});
        assert_eq!(
            between(&here, &there),
            [
                "facts.air_c: here 24.0, there 25.5",
                "facts.exit_open: here true, there nothing",
                "clips.1.offset: here 0, there 5",
                "notes: here nothing, there 'late'",
            ]
        );
        assert!(between(&here, &here).is_empty());
        let many = |n: usize| Value::Array((0..20).map(|i| json!(i + n)).collect());
        assert_eq!(between(&many(0), &many(1)).last().map(String::as_str), Some("and 8 more"));
    }
}
