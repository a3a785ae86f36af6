//! One input for one loader, `SHEDLIGHT_LOADER`. What comes out does not matter: it must come out, without a
//! panic, soon, and in bounded memory (libFuzzer's `-timeout` and `-rss_limit_mb`).
#![no_main]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, unused_results)]

mod loaders;
mod seeds;

use std::path::PathBuf;
use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;

/// Reads an input as a loader does.
type Loader = fn(&Place, &[u8]);

/// A study in a folder of its own, in which the input stands for one of the files.
struct Place {
    root: PathBuf,
    loader: Loader,
}

static PLACE: OnceLock<Place> = OnceLock::new();

fuzz_target!(
    init: {
        let name = std::env::var("SHEDLIGHT_LOADER").expect("SHEDLIGHT_LOADER names a loader");
        let samples = PathBuf::from(std::env::var("SHEDLIGHT_SAMPLES").expect("SHEDLIGHT_SAMPLES: sample-codings"));
        let scratch = PathBuf::from(std::env::var("SHEDLIGHT_SCRATCH").expect("SHEDLIGHT_SCRATCH: a folder to work in"));
        let loader = loaders::named(&name).expect("no loader of this name");
        let root = scratch.join("study");
        seeds::study(&samples, &root);
        if let Ok(into) = std::env::var("SHEDLIGHT_SEEDS") {
            seeds::write(&name, &samples, &root, into.as_ref());
            std::process::exit(0);
        }
        let _ = PLACE.set(Place { root, loader });
    },
    |input: &[u8]| {
        if let Some(place) = PLACE.get() {
            (place.loader)(place, input);
        }
    }
);
