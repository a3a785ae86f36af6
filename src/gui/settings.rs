//! What the window remembers for this person on this computer, in their configuration folder.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::theme::Mode;
use crate::files;

/// Remembered between starts.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Dark or light.
    pub mode: Mode,
    /// The cautions have been read.
    pub cautions_read: bool,
    /// Studies opened lately, the last one first.
    pub recent: Vec<PathBuf>,
    /// Code of the person who coded last.
    pub person: Option<String>,
}

fn path() -> Option<PathBuf> {
    let folders = directories::ProjectDirs::from("", "", "shedlight")?;
    Some(folders.config_dir().join("window.json"))
}

impl Settings {
    /// From the last start; the defaults when there was none or its file is damaged.
    #[must_use]
    pub fn load() -> Self {
        let text = path().and_then(|path| std::fs::read_to_string(path).ok());
        text.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default()
    }

    /// Remembers them. Losing them loses no work, so a failure is passed over.
    pub fn save(&self) {
        let Some(path) = path() else { return };
        let Ok(text) = serde_json::to_string_pretty(self) else { return };
        if let Some(folder) = path.parent() {
            let _ = std::fs::create_dir_all(folder);
        }
        let _ = files::write_atomically(&path, text.as_bytes());
    }

    /// Puts a study first among the recent ones.
    pub fn opened(&mut self, study: &Path) {
        let study = std::path::absolute(study).unwrap_or_else(|_| study.to_owned());
        self.recent.retain(|other| *other != study);
        self.recent.insert(0, study);
        self.recent.truncate(8);
        self.save();
    }
}
