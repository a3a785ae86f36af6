//! What sampling would have missed: the error of each state's share by sample interval.

use super::Chart;
use super::letters::Font;
use super::look::Look;
use super::page::{LINE, MARGIN, Page, count, plural};
use super::shapes::{Anchor, Area, Dash, Stroke, Style};
use crate::measures::Missing;
use crate::measures::sampling::{self, Choice, Verdict};
use crate::model::SessionId;
use crate::time::Micros;

/// A state of a session or several, and what sampling would have made of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// Its name.
    pub name: String,
    /// Its errors by interval; why there are none.
    pub choice: Result<Choice, Missing>,
    /// Its first bout.
    pub first: Option<(SessionId, Micros)>,
}

/// A table: states by interval, the typical error of instantaneous recording in percentage points; what is
/// acceptable is framed. A row leads to the state's first bout.
#[must_use]
pub fn sampled(whose: &str, sessions: usize, found: &[Sampled], look: &Look) -> Chart {
    let title = format!("{whose}: what sampling would have missed");
    let known: Vec<&Choice> = found.iter().filter_map(|own| own.choice.as_ref().ok()).collect();
    let columns = known.iter().map(|choice| choice.trials.len()).max().unwrap_or(0);
    if columns == 0 {
        let why = found.iter().find_map(|own| own.choice.as_ref().err());
        let why = why.map_or_else(|| "no state".to_owned(), ToString::to_string);
        return Page::empty(look, &title, &format!("Nothing to try sampling on: {why}."));
    }
    let owned: Vec<Choice> = known.into_iter().cloned().collect();
    let longest = match sampling::longest(&owned) {
        Ok(every) => {
            format!("Longest interval acceptable for every state that occurred: {} s.", seconds(every))
        }
        Err(why) => format!("No interval is acceptable for every state: {why}."),
    };
    let caption = format!(
        "{longest} Points in percent by which a share of visible time read from instantaneous samples would typically be \
         off, over {} and ten starts. Framed: acceptable (at most 3 points, or a tenth of a share above 5 %). \
         One-zero recording gives no share of time.",
        plural(sessions, "session")
    );
    let mut page = Page::new(look, &title, &caption);
    let (names, last) = (170.0, 96.0);
    let side = ((page.canvas.width() - names - last - 2.0 * MARGIN) / count(columns + 1)).min(72.0);
    let row = 30.0;
    let top = page.top + 2.0 * LINE;
    let quiet = Style::label(look.quiet);
    let middle = Style::label(look.text).anchored(Anchor::Middle);
    page.canvas.text(names + side, page.top + LINE / 2.0, "sample every", quiet);
    page.canvas.text(names + side / 2.0, top - LINE / 2.0, "share", quiet.anchored(Anchor::Middle));
    let heads = owned.iter().find(|choice| choice.trials.len() == columns);
    for (i, trial) in heads.iter().flat_map(|choice| &choice.trials).enumerate() {
        let x = names + (count(i) + 1.5) * side;
        let words = format!("{} s", seconds(trial.every));
        page.canvas.text(x, top - LINE / 2.0, &words, quiet.anchored(Anchor::Middle));
    }
    let end = names + count(columns + 1) * side + 12.0;
    page.canvas.text(end, top - LINE / 2.0, "longest", quiet);
    for (line, own) in found.iter().enumerate() {
        let y = top + (count(line) + 0.5) * row;
        let right = Style::label(look.text).anchored(Anchor::End);
        let _ = page.canvas.text_within(names - 12.0, y, &own.name, right, names - 12.0 - MARGIN);
        let choice = match &own.choice {
            Ok(choice) => choice,
            Err(why) => {
                page.canvas.text(names + 8.0, y, &format!("— {why}"), quiet);
                continue;
            }
        };
        let share = format!("{:.1} %", choice.share * 100.0);
        page.canvas.text(names + side / 2.0, y, &share, middle);
        for (i, trial) in choice.trials.iter().enumerate() {
            let area =
                Area::new(names + count(i + 1) * side + 2.0, y - row / 2.0 + 2.0, side - 4.0, row - 4.0);
            let words = format!("{:.1}", trial.typical_error * 100.0);
            let is_fine = trial.verdict == Verdict::Acceptable;
            let style = if is_fine { middle.set_in(Font::Medium) } else { quiet.anchored(Anchor::Middle) };
            let stroke = if is_fine {
                Stroke::solid(look.text, 1.5)
            } else {
                Stroke::dashed(look.line, 1.0, Dash::Short)
            };
            page.canvas.rect(area, is_fine.then_some(look.raised), Some(stroke), 3.0);
            page.canvas.text(area.x + area.width / 2.0, y, &words, style);
        }
        let longest =
            choice.longest().map_or_else(|_| "none".to_owned(), |every| format!("{} s", seconds(every)));
        page.canvas.text(end, y, &longest, Style::label(look.text));
        if let Some((session, at)) = &own.first {
            let area = Area::new(MARGIN, y - row / 2.0, end + last - MARGIN, row);
            let words =
                format!("{}: longest acceptable interval {longest}; leads to its first bout", own.name);
            page.canvas.hit(area, session, *at, words);
        }
    }
    page.canvas.grow(top + count(found.len()) * row + MARGIN);
    page.finish()
}

/// Intervals are whole seconds.
fn seconds(every: Micros) -> String {
    format!("{:.0}", every.seconds())
}
