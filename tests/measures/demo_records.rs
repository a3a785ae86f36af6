//! The demo's codings, ready to be measured.

use shedlight::measures::{Marks, Record};
use shedlight::model::Purpose;
use shedlight::storage::StudyFolder;
use shedlight::storage::study_folder::LoadedCoding;

use crate::common::root;

pub struct Demo {
    folder: StudyFolder,
    codings: Vec<LoadedCoding>,
}

pub fn load() -> Demo {
    let folder = StudyFolder::open(&root().join("sample-codings")).unwrap();
    let paths = folder.list().sessions.into_iter().flat_map(|entry| entry.codings);
    let codings = paths.map(|(path, _)| folder.load_coding(&path).unwrap()).collect();
    Demo { folder, codings }
}

impl Demo {
    pub fn records(&self) -> Vec<Record<'_>> {
        self.codings
            .iter()
            .map(|own| {
                Record::try_new(&own.coding, &own.ethogram, &own.session, &self.folder.study, Marks::All)
                    .unwrap()
            })
            .collect()
    }

    pub fn primary(&self, session: &str) -> Record<'_> {
        self.records()
            .into_iter()
            .find(|own| own.session.id.as_str() == session && own.coding.purpose == Purpose::Primary)
            .unwrap()
    }
}
