//! Keys that move, correct and explain. Letters and digits code, and do nothing else.
//!
//! One table: the window reads it, F1 shows it, `docs/KEYS.md` is made from it.

use std::fmt::Write as _;

use iced::keyboard::key::Named;
use iced::keyboard::{Key, Modifiers};

/// What a key asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wish {
    /// Play or pause.
    Toggle,
    /// Play backward.
    Reverse,
    /// Pictures on or back.
    Step(isize),
    /// Seconds on or back.
    Skip(i64),
    /// Faster or slower.
    Speed(isize),
    /// To the first picture.
    Start,
    /// To the last.
    End,
    /// To the next (1) or previous (-1) mark.
    Mark(isize),
    /// To the next (1) or previous (-1) stretch in which the picture changes.
    Motion(isize),
    /// Stops looking for them, or begins again.
    SearchMotion,
    /// Ends the state that holds.
    EndState,
    /// Removes the chosen mark.
    Remove,
    /// Moves the chosen edge by pictures.
    Nudge(isize),
    /// Chooses the other edge of the chosen mark.
    OtherEdge,
    /// Takes the reaction lag off the chosen mark, or puts it back where the key went down.
    Lag,
    /// Flags the chosen mark as unsure.
    Unsure,
    /// Writes a note on it.
    Note,
    /// Chooses its next detail.
    Detail,
    /// Cuts it in two here.
    Split,
    /// Joins it with the next bout.
    Merge,
    /// Gives it another behaviour: its key follows.
    Change,
    /// Takes the last step back.
    Undo,
    /// Does it again.
    Redo,
    /// Repeats the last seconds.
    Loop,
    /// The next pass.
    Pass,
    /// Ticks the pass as done.
    PassDone,
    /// The tape shows more or less time.
    Zoom(bool),
    /// Brightens the picture for display.
    Gamma,
    /// More contrast for display.
    Contrast,
    /// The picture closer or farther.
    Closer(bool),
    /// Another part of it in view.
    Pan(i8, i8),
    /// The whole picture, as it was filmed.
    AsFilmed,
    /// The next camera.
    Camera,
    /// Another camera beside the one that is coded.
    BothCameras,
    /// The picture before beside the one that is coded.
    Compare,
    /// This moment is seen in both cameras.
    Align,
    /// Covers faces, or goes back to coding.
    Covers,
    /// One field of an interlaced picture alone.
    Field,
    /// Saves the picture, with or without what is coded of it.
    Still(bool),
    /// Proves that each picture of the clip is the right one here.
    Verify,
    /// Shows what counts as the behaviour that was coded last, or no longer.
    Definition,
    /// Shows what a newer revision of the ethogram would change.
    Revision,
    /// Keeps the picture as an example of the chosen mark's behaviour.
    Example,
    /// Sound on or off.
    Sound,
    /// Goes back a little when the film starts again, or not.
    BackOnResume,
    /// Plays at a quarter of the speed while its key is held.
    Slow,
    /// Shows or hides the keys.
    Keys,
    /// The drawn keyboard lower, away, or whole.
    Fold,
    /// Back to the sessions.
    Leave,
}

/// Key as people call it, what it does, and what it asks for.
pub const TABLE: &[(&str, &str, Wish)] = &[
    ("Space", "play, pause", Wish::Toggle),
    ("Shift+Space", "play backward", Wish::Reverse),
    ("Right", "next picture", Wish::Step(1)),
    ("Left", "previous picture", Wish::Step(-1)),
    ("Shift+Right", "1 s on", Wish::Skip(1)),
    ("Shift+Left", "1 s back", Wish::Skip(-1)),
    ("Ctrl+Right", "5 s on", Wish::Skip(5)),
    ("Ctrl+Left", "5 s back", Wish::Skip(-5)),
    ("Up", "faster", Wish::Speed(1)),
    ("Down", "slower", Wish::Speed(-1)),
    ("Home", "first picture", Wish::Start),
    ("End", "last picture", Wish::End),
    ("PageDown", "next mark", Wish::Mark(1)),
    ("PageUp", "previous mark", Wish::Mark(-1)),
    ("Shift+PageDown", "long film: where the picture changes next", Wish::Motion(1)),
    ("Shift+PageUp", "where it changed before", Wish::Motion(-1)),
    ("Enter", "end the state that holds", Wish::EndState),
    ("Delete", "remove the chosen mark", Wish::Remove),
    (",", "chosen edge one picture earlier", Wish::Nudge(-1)),
    (".", "chosen edge one picture later", Wish::Nudge(1)),
    ("Tab", "the other edge", Wish::OtherEdge),
    ("/", "unsure, sure", Wish::Unsure),
    ("Ctrl+L", "reaction lag taken off, or not", Wish::Lag),
    ("'", "note", Wish::Note),
    (";", "next detail", Wish::Detail),
    ("[", "split here", Wish::Split),
    ("]", "join with the next bout", Wish::Merge),
    ("\\", "other behaviour: press its key", Wish::Change),
    ("Ctrl+Z", "undo", Wish::Undo),
    ("Ctrl+Shift+Z", "redo", Wish::Redo),
    ("F2", "what counts as it: definition of the last behaviour", Wish::Definition),
    ("Shift+F2", "newer revision of the ethogram: what it would change", Wish::Revision),
    ("Ctrl+F2", "keep the picture as its example", Wish::Example),
    ("F3", "repeat the last 4 s", Wish::Loop),
    ("F4", "next pass", Wish::Pass),
    ("F5", "pass done, not done", Wish::PassDone),
    ("-", "tape: more time", Wish::Zoom(false)),
    ("=", "tape: less time", Wish::Zoom(true)),
    ("`", "hold: a quarter of the speed", Wish::Slow),
    ("Shift+F3", "start again 2 s back, or not", Wish::BackOnResume),
    ("Ctrl+Up", "picture closer", Wish::Closer(true)),
    ("Ctrl+Down", "picture farther", Wish::Closer(false)),
    ("Alt+Left", "look left", Wish::Pan(-1, 0)),
    ("Alt+Right", "look right", Wish::Pan(1, 0)),
    ("Alt+Up", "look up", Wish::Pan(0, -1)),
    ("Alt+Down", "look down", Wish::Pan(0, 1)),
    ("F6", "brighter picture", Wish::Gamma),
    ("Shift+F6", "more contrast", Wish::Contrast),
    ("Ctrl+F6", "picture as filmed", Wish::AsFilmed),
    ("F7", "next camera", Wish::Camera),
    ("Shift+F7", "other camera beside it", Wish::BothCameras),
    ("F8", "same moment in both cameras", Wish::Align),
    ("Shift+F8", "cover faces in what is shared", Wish::Covers),
    ("F9", "picture before beside it", Wish::Compare),
    ("Shift+F9", "one field alone (interlaced film)", Wish::Field),
    ("F10", "save the picture", Wish::Still(false)),
    ("Shift+F10", "save it with its coding", Wish::Still(true)),
    ("F11", "prove the clip: every picture the right one", Wish::Verify),
    ("Shift+F11", "long film: stop looking for motion, or begin", Wish::SearchMotion),
    ("F12", "sound on, off", Wish::Sound),
    ("F1", "show the keys", Wish::Keys),
    ("Ctrl+F1", "drawn keyboard lower, away, whole: the picture larger", Wish::Fold),
    ("Escape", "back to the sessions", Wish::Leave),
];

/// What keys do while samples are coded; the others do what they always do.
pub const SAMPLES: &[(&str, &str)] = &[
    ("Enter", "answered: the next one"),
    ("PageUp/Down", "the one before, after"),
    ("Tab", "the next one not answered"),
    ("Delete", "clear its answer"),
    ("F3", "play the interval again"),
    ("F5", "stop at its end, or go on"),
    ("Home", "back to its picture"),
    ("Space", "play the interval; at a point: look around"),
    ("Ctrl+Z", "undo, and go there"),
    ("/", "its answer unsure, sure"),
];

/// Those of them that mean something in intervals alone.
pub const ONLY_INTERVALS: [&str; 2] = ["F3", "F5"];

/// The wish of a key that codes nothing.
#[must_use]
pub fn wish(key: &Key, modifiers: Modifiers) -> Option<Wish> {
    let base = match key.as_ref() {
        Key::Named(named) => match named {
            Named::Space => "Space",
            Named::ArrowRight => "Right",
            Named::ArrowLeft => "Left",
            Named::ArrowUp => "Up",
            Named::ArrowDown => "Down",
            Named::Home => "Home",
            Named::End => "End",
            Named::PageDown => "PageDown",
            Named::PageUp => "PageUp",
            Named::Enter => "Enter",
            Named::Delete | Named::Backspace => "Delete",
            Named::Tab => "Tab",
            Named::F1 => "F1",
            Named::F2 => "F2",
            Named::F3 => "F3",
            Named::F4 => "F4",
            Named::F5 => "F5",
            Named::F6 => "F6",
            Named::F7 => "F7",
            Named::F8 => "F8",
            Named::F9 => "F9",
            Named::F10 => "F10",
            Named::F11 => "F11",
            Named::F12 => "F12",
            Named::Escape => "Escape",
            _ => return None,
        },
        Key::Character("z" | "Z") if modifiers.command() => "Z",
        Key::Character("l" | "L") if modifiers.command() => "L",
        Key::Character(text) => text,
        Key::Unidentified => return None,
    };
    let mut name = String::new();
    if modifiers.command() {
        name.push_str("Ctrl+");
    }
    if modifiers.alt() {
        name.push_str("Alt+");
    }
    if modifiers.shift() {
        name.push_str("Shift+");
    }
    name.push_str(base);
    TABLE.iter().find(|(own, ..)| *own == name).map(|(.., wish)| *wish)
}

/// The key that slows the film while it is held.
#[must_use]
pub fn is_slow(key: &Key) -> bool {
    matches!(key.as_ref(), Key::Character("`"))
}

/// The letter or digit of a key that codes.
#[must_use]
pub fn code(key: &Key, modifiers: Modifiers) -> Option<char> {
    if modifiers.command() || modifiers.alt() {
        return None;
    }
    let Key::Character(text) = key.as_ref() else { return None };
    let mut letters = text.chars();
    letters.next().filter(|letter| letter.is_ascii_alphanumeric() && letters.next().is_none())
}

/// The text of `docs/KEYS.md`.
#[must_use]
pub fn document() -> String {
    let mut text = String::from(
        "# Keys\n\nLetters and digits code: each behaviour has its own, shown on the drawn keyboard. Every other key moves,\ncorrects and explains. A mark takes the time of the picture that is shown.\n\n| key | does |\n|---|---|\n",
    );
    for (key, does, _) in TABLE {
        let key = if *key == "`" { "`` ` ``".to_owned() } else { format!("`{key}`") };
        // Writing into a String can't fail.
        let _ = writeln!(text, "| {key} | {does} |");
    }
    text.push_str("\n## While points or intervals are coded\n\n| key | does |\n|---|---|\n");
    for (key, does) in SAMPLES {
        let _ = writeln!(text, "| `{key}` | {does} |");
    }
    text.push_str("\n## While faces are covered\n\n| key | does |\n|---|---|\n");
    for (key, does) in super::covers::COVERS {
        let _ = writeln!(text, "| `{key}` | {does} |");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_wish_takes_a_letter_or_digit_away_from_coding() {
        for (key, ..) in TABLE {
            assert!(key.len() > 1 || !key.chars().all(|letter| letter.is_ascii_alphanumeric()), "{key}");
        }
        let plain = Modifiers::empty();
        assert_eq!(wish(&Key::Character("r".into()), plain), None);
        assert_eq!(code(&Key::Character("r".into()), plain), Some('r'));
        assert_eq!(code(&Key::Character("z".into()), Modifiers::CTRL), None);
        assert_eq!(wish(&Key::Character("z".into()), Modifiers::CTRL), Some(Wish::Undo));
        assert_eq!(wish(&Key::Named(Named::ArrowLeft), Modifiers::SHIFT), Some(Wish::Skip(-1)));
    }

    #[test]
    fn the_document_is_made_from_the_table() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/KEYS.md");
        assert_eq!(std::fs::read_to_string(path).unwrap(), document(), "write docs/KEYS.md anew");
    }
}
