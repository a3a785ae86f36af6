//! The way back from a number to the picture: a link that opens the window, and the command that
//! does the same.

use super::document::Moment;
use crate::time::Micros;

/// Where a study lies, as it was named when the report was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyLink {
    path: String,
}

impl StudyLink {
    /// A study at this path.
    #[must_use]
    pub fn new(path: &str) -> Self {
        Self { path: path.to_owned() }
    }

    /// `shedlight:open?study=…&session=…&at=…`, the time in seconds.
    #[must_use]
    pub fn url(&self, session: &str, at: Micros) -> String {
        let (study, session) = (percent_encoded(&self.path), percent_encoded(session));
        format!("shedlight:open?study={study}&session={session}&at={}", short_seconds(at))
    }

    /// The moment, with all ways to it.
    #[must_use]
    pub fn moment(&self, session: &str, at: Micros) -> Moment {
        let clock = at.clock();
        Moment {
            session: session.to_owned(),
            // Tenths of milliseconds are of no use to people.
            clock: clock.strip_suffix("00").map(str::to_owned).unwrap_or(clock),
            url: self.url(session, at),
            command: self.command(session, at),
        }
    }

    /// The command that opens the window there, for a shell.
    #[must_use]
    pub fn command(&self, session: &str, at: Micros) -> String {
        format!("shedlight {} --session {} --at {}", quoted(&self.path), quoted(session), short_seconds(at))
    }
}

/// What a link leads to: study, session, moment. `None` when it is no link of ours.
#[must_use]
pub fn read(url: &str) -> Option<(String, String, Micros)> {
    let (mut study, mut session, mut at) = (None, None, None);
    for part in url.strip_prefix("shedlight:open?")?.split('&') {
        match part.split_once('=')? {
            ("study", value) => study = percent_decoded(value),
            ("session", value) => session = percent_decoded(value),
            ("at", value) => at = value.parse().ok(),
            _ => {}
        }
    }
    Some((study?, session?, at?))
}

/// Seconds without trailing zeros: `271`, `382.2`.
#[must_use]
pub fn short_seconds(at: Micros) -> String {
    let text = at.to_string();
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A text as part of an IRI (RFC 3986); `/` stays.
#[must_use]
pub fn percent_encoded(text: &str) -> String {
    use std::fmt::Write as _;
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            // Writing into a String can't fail.
            let _ = write!(encoded, "%{byte:02X}");
        }
    }
    encoded
}

/// The text an encoded one was made from; `None` when it is no UTF-8.
#[must_use]
pub fn percent_decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let [first, tail @ ..] = rest {
        let escaped = match tail {
            [a, b, ..] if *first == b'%' => {
                std::str::from_utf8(&[*a, *b]).ok().and_then(|hex| u8::from_str_radix(hex, 16).ok())
            }
            _ => None,
        };
        bytes.push(escaped.unwrap_or(*first));
        rest = if escaped.is_some() { tail.get(2..).unwrap_or_default() } else { tail };
    }
    String::from_utf8(bytes).ok()
}

/// An argument for a POSIX shell.
fn quoted(text: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "-._/+:@".contains(c);
    if !text.is_empty() && text.chars().all(is_plain) {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_link_leads_back_to_where_it_was_made() {
        let link = StudyLink::new("/a b/it's & ünï=x");
        let at = Micros(382_200_000);
        let read = read(&link.url("s 5", at)).unwrap();
        assert_eq!(read, ("/a b/it's & ünï=x".to_owned(), "s 5".to_owned(), at));
        assert_eq!(super::read("shedlight:open?study=x"), None);
        assert_eq!(link.moment("s5", Micros(271_000_000)).clock, "4:31.0");
        assert_eq!(link.moment("s5", Micros(271_040_000)).clock, "4:31.040");
        assert_eq!(super::read("https://example.org/?study=x&session=y&at=1"), None);
    }

    use super::*;

    #[test]
    fn a_link_and_a_command_hold_any_path() {
        let link = StudyLink::new("/tmp/it's \u{1f40d} & co");
        let at = Micros(271_000_000);
        assert_eq!(
            link.url("s5", at),
            "shedlight:open?study=/tmp/it%27s%20%F0%9F%90%8D%20%26%20co&session=s5&at=271"
        );
        assert_eq!(link.command("s5", at), "shedlight '/tmp/it'\\''s \u{1f40d} & co' --session s5 --at 271");
        assert_eq!(percent_decoded("it%27s%20%F0%9F%90%8D 100%").as_deref(), Some("it's \u{1f40d} 100%"));
        assert_eq!(short_seconds(Micros(382_200_000)), "382.2");
        assert_eq!(short_seconds(Micros::ZERO), "0");
    }
}
