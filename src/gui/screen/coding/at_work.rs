//! How long a person has been at it.

use super::{Coding, Said};

/// Longer without a key is time away, not time at work.
const PAUSE: std::time::Duration = std::time::Duration::from_secs(60);
/// So long away is a break.
const BREAK: std::time::Duration = std::time::Duration::from_secs(300);

impl Coding {
    /// Counts the time at work, to the running pass; a pause of more than a minute is none.
    pub(super) fn count_time(&mut self) {
        let now = self.now();
        let since = now.saturating_sub(self.last_act);
        self.last_act = now;
        if since > PAUSE {
            // Five minutes away from it are a break.
            if since > BREAK {
                self.at_work = std::time::Duration::ZERO;
                self.break_told = false;
            }
            return;
        }
        self.at_work += since;
        if let Some(pass) = self.coder.pass() {
            self.coder.add_minutes(pass, since.as_secs_f64() / 60.0);
        }
        let minutes = self.folder.study.targets.break_minutes;
        if !self.break_told && self.at_work.as_secs_f64() / 60.0 >= minutes {
            self.break_told = true;
            self.said = Said::Refused(format!(
                "{minutes:.0} minutes at it: attention falls from here on; everything is saved, a short break pays"
            ));
        }
    }
}
