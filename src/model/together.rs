//! What two windows changed of one state, put together field by field.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

/// Two states that grew from one.
#[derive(Debug, Clone, PartialEq)]
pub struct Together<T> {
    /// Everything that either side changed; where both changed the same, what this side says, and what one side took
    /// away and the other changed is there.
    pub value: T,
    /// Where both changed the same thing differently, in words.
    pub clashes: Vec<String>,
}

/// Puts together what `theirs` and `ours` changed of `old`. Lists whose elements have an `id` or a `code` are put
/// together element by element; other lists are one field.
///
/// # Errors
/// When one of them can't be put into JSON, or the result is nothing of that kind.
pub fn together<T: Serialize + DeserializeOwned>(
    old: &T,
    theirs: &T,
    ours: &T,
) -> Result<Together<T>, serde_json::Error> {
    let (old, theirs, ours) =
        (serde_json::to_value(old)?, serde_json::to_value(theirs)?, serde_json::to_value(ours)?);
    let mut clashes = Vec::new();
    let value = field(Some(&old), Some(&theirs), Some(&ours), "", &mut clashes).unwrap_or_default();
    Ok(Together { value: serde_json::from_value(value)?, clashes })
}

/// A field that may not be there at all.
fn field(
    old: Option<&Value>,
    theirs: Option<&Value>,
    ours: Option<&Value>,
    place: &str,
    clashes: &mut Vec<String>,
) -> Option<Value> {
    if ours == old || ours == theirs {
        return theirs.cloned();
    }
    if theirs == old {
        return ours.cloned();
    }
    match (theirs, ours) {
        (Some(Value::Object(theirs)), Some(Value::Object(ours))) => {
            let none = Map::new();
            let old = old.and_then(Value::as_object).unwrap_or(&none);
            let mut all = Map::new();
            for key in theirs.keys().chain(ours.keys().filter(|key| !theirs.contains_key(*key))) {
                let inside = if place.is_empty() { key.clone() } else { format!("{place}, {key}") };
                let own = field(old.get(key), theirs.get(key), ours.get(key), &inside, clashes);
                all.extend(own.map(|own| (key.clone(), own)));
            }
            Some(Value::Object(all))
        }
        (Some(Value::Array(theirs)), Some(Value::Array(ours))) if are_named(theirs) && are_named(ours) => {
            let none = Vec::new();
            let old = old.and_then(Value::as_array).unwrap_or(&none);
            let of = |list: &[Value], name: &str| {
                list.iter().find(|own| name_of(own).as_deref() == Some(name)).cloned()
            };
            let new = ours.iter().filter_map(name_of).filter(|name| of(theirs, name).is_none());
            let names: Vec<String> = theirs.iter().filter_map(name_of).chain(new).collect();
            let one = |name: &String| {
                let (old, theirs, ours) = (of(old, name), of(theirs, name), of(ours, name));
                field(old.as_ref(), theirs.as_ref(), ours.as_ref(), &format!("{place} {name}"), clashes)
            };
            Some(Value::Array(names.iter().filter_map(one).collect()))
        }
        _ => {
            clashes.push(place.to_owned());
            // What one side took away, the other side still needs.
            ours.or(theirs).cloned()
        }
    }
}

/// By what an element of a list is known.
fn name_of(element: &Value) -> Option<String> {
    match element.get("id").or_else(|| element.get("code"))? {
        Value::String(name) => Some(name.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

/// Whether each element is known by a name of its own.
fn are_named(list: &[Value]) -> bool {
    let names: Option<std::collections::BTreeSet<String>> = list.iter().map(name_of).collect();
    names.is_some_and(|names| names.len() == list.len())
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn put(old: &Value, theirs: &Value, ours: &Value) -> (Value, Vec<String>) {
        let both = together(old, theirs, ours).unwrap();
        (both.value, both.clashes)
    }

    #[test]
    fn fields_of_one_element_changed_on_two_sides_stand_together() {
        let old = json!({"animals": [{"id": "a", "mass": 1, "name": "A"}, {"id": "b"}], "title": "T"});
        let theirs =
            json!({"animals": [{"id": "a", "mass": 2, "name": "A"}, {"id": "b"}, {"id": "c"}], "title": "T"});
        let ours = json!({"animals": [{"id": "a", "mass": 1, "name": "Ada", "sex": "f"}, {"id": "d"}], "title": "U"});
        let wanted = json!({
            "animals": [{"id": "a", "mass": 2, "name": "Ada", "sex": "f"}, {"id": "c"}, {"id": "d"}],
            "title": "U"
        });
        assert_eq!(put(&old, &theirs, &ours), (wanted, vec![]));
    }

    #[test]
    fn what_both_changed_is_told_and_what_one_still_needs_stays() {
        let old = json!({"animals": [{"id": "a", "mass": 1}, {"id": "b", "mass": 1}], "list": [1]});
        let theirs = json!({"animals": [{"id": "a", "mass": 2}, {"id": "b", "mass": 5}], "list": [1, 2]});
        let ours = json!({"animals": [{"id": "a", "mass": 3}], "list": [0]});
        let (both, clashes) = put(&old, &theirs, &ours);
        let wanted = json!({"animals": [{"id": "a", "mass": 3}, {"id": "b", "mass": 5}], "list": [0]});
        assert_eq!(both, wanted);
        assert_eq!(clashes, ["animals a, mass", "animals b", "list"]);
    }

    #[test]
    fn the_same_change_on_both_sides_is_no_clash() {
        let new = json!({"a": [{"n": 2}], "b": null});
        assert_eq!(put(&json!({"a": [{"n": 1}]}), &new, &new), (new.clone(), vec![]));
    }
}
