//! What the window remembers for this person on this computer, in their configuration folder.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::theme::Mode;
use crate::files;
use crate::workbench::sheet::units::Units;

/// Remembered between starts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
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
    /// Size of everything in the window, in percent.
    pub text_percent: u16,
    /// Bound of the decoded pictures of each clip, in MiB.
    pub cache_mib: u32,
    /// The keys that code lie mirrored: Q codes what lies on P.
    pub mirrored: bool,
    /// Units of what is read and typed; files and reports keep to °C and g.
    pub units: Units,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            mode: Mode::default(),
            cautions_read: false,
            recent: Vec::new(),
            person: None,
            text_percent: 100,
            cache_mib: 512,
            mirrored: false,
            units: Units::default(),
        }
    }
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

    /// Factor by which everything in the window is larger.
    #[must_use]
    pub fn scale(&self) -> f32 {
        f32::from(self.text_percent.clamp(50, 300)) / 100.0
    }

    /// Bytes of decoded pictures kept for each clip.
    #[must_use]
    pub fn cache_bytes(&self) -> usize {
        usize::try_from(self.cache_mib.clamp(64, 65_536)).unwrap_or(512) << 20
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

    /// A study as somebody named it. A report's link may name it by its folder alone, or as seen from another folder:
    /// then it is the one study opened lately whose folder is called so.
    #[must_use]
    pub fn resolved(&self, path: &Path) -> PathBuf {
        let is_it = |own: &&PathBuf| own.file_name() == path.file_name() && own.join("study.json").is_file();
        let mut known = self.recent.iter().filter(is_it);
        match (known.next(), known.next()) {
            (Some(only), None) if path.is_relative() && !path.exists() => only.clone(),
            _ => path.to_owned(),
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_study_named_by_its_folder_alone_is_the_one_opened_lately_that_is_called_so() {
        let folder = tempfile::tempdir().unwrap();
        let mut settings = Settings::default();
        for name in ["one/birds", "two/birds", "two/snakes", "gone/lizards"] {
            let root = folder.path().join(name);
            std::fs::create_dir_all(&root).unwrap();
            if !name.starts_with("gone") {
                std::fs::write(root.join("study.json"), "{}").unwrap();
            }
            settings.recent.push(root);
        }
        let resolved = |name: &str| settings.resolved(Path::new(name));
        assert_eq!(resolved("snakes"), folder.path().join("two/snakes"));
        assert_eq!(resolved("as/it/was/typed/snakes"), folder.path().join("two/snakes"));
        // Two of one name, one that is gone, and one whose place is told: nothing is guessed.
        assert_eq!(resolved("birds"), Path::new("birds"));
        assert_eq!(resolved("lizards"), Path::new("lizards"));
        assert_eq!(resolved("/elsewhere/snakes"), Path::new("/elsewhere/snakes"));
    }
}
