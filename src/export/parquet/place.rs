//! Where a part of the dataset lies: `animal=<id>/year=<year>`, as Hive writes partitions.

use std::fmt::Write as _;

/// What readers of such folders take for "not known".
const UNKNOWN: &str = "__HIVE_DEFAULT_PARTITION__";
/// Bytes of a folder's name, well below the 255 that file systems take.
const LONGEST: usize = 200;

/// A partition's folder, relative, with `/`; without a year for what is pooled over all years.
pub(super) fn folder(table: &str, animal: &str, year: Year) -> String {
    let animal = format!("animal={}", value(animal));
    match year {
        Year::All => format!("{table}/{animal}"),
        Year::Of(Some(year)) => format!("{table}/{animal}/year={year:04}"),
        Year::Of(None) => format!("{table}/{animal}/year={UNKNOWN}"),
    }
}

/// Of which year a partition is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Year {
    /// This one; none when the session has no wall clock.
    Of(Option<i32>),
    /// All together.
    All,
}

/// A partition's value as a part of a path. ASCII that is no letter, digit, `-`, `_` or `.` is written
/// as `%` and two hexadecimal digits, and so is a `.` at an edge. Other letters stay as they are:
/// some readers decode such digits one by one, not as UTF-8. A name that is too long is cut and
/// told from others by its digest; the column `animal_id` has it whole.
fn value(text: &str) -> String {
    if text.is_empty() {
        return UNKNOWN.to_owned();
    }
    let mut safe = String::with_capacity(text.len());
    let last = text.chars().count() - 1;
    for (i, c) in text.chars().enumerate() {
        let is_edge = i == 0 || i == last;
        let stays = c.is_ascii_alphanumeric()
            || "-_".contains(c)
            || (c == '.' && !is_edge)
            || (!c.is_ascii() && !c.is_control());
        if stays {
            safe.push(c);
        } else {
            let mut bytes = [0; 4];
            for byte in c.encode_utf8(&mut bytes).bytes() {
                // Writing into a String can't fail.
                let _ = write!(safe, "%{byte:02X}");
            }
        }
    }
    if safe.len() <= LONGEST {
        return safe;
    }
    let digest = blake3::hash(text.as_bytes()).to_hex();
    let mut end = LONGEST - 18;
    while !safe.is_char_boundary(end) {
        end -= 1;
    }
    // No half of an escape.
    let head = safe.get(..end).unwrap_or_default();
    let cut = head.rfind('%').filter(|at| head.len() - at < 3).unwrap_or(head.len());
    format!("{}-{}", head.get(..cut).unwrap_or_default(), digest.get(..16).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odd_ids_are_one_folder_each_and_can_be_read_back() {
        assert_eq!(folder("marks", "bramble", Year::Of(Some(2025))), "marks/animal=bramble/year=2025");
        assert_eq!(
            folder("marks", "a/b=c d%", Year::Of(None)),
            format!("marks/animal=a%2Fb%3Dc%20d%25/year={UNKNOWN}")
        );
        assert_eq!(folder("animal_measures", "..", Year::All), "animal_measures/animal=%2E%2E");
        assert_eq!(value("Šárka-7.b"), "Šárka-7.b");
        assert_eq!(value(""), UNKNOWN);
        assert_eq!(value("a\\b:c*?\"<>|\n"), "a%5Cb%3Ac%2A%3F%22%3C%3E%7C%0A");
        let (long, longer) = ("é/".repeat(200), "é/".repeat(201));
        assert!(value(&long).len() <= LONGEST && value(&longer).len() <= LONGEST);
        assert_ne!(value(&long), value(&longer));
    }
}
