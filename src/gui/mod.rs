//! The window.
//!
//! [`app`] switches screens and alone touches the study; a screen is one file with its messages
//! and actions; widgets draw what was prepared for them.

pub mod app;
pub mod background;
pub mod feed;
pub mod screen;
pub mod settings;
mod speaker;
pub mod theme;
pub mod widget;

use std::path::{Path, PathBuf};

use crate::time::Micros;

/// The text of `docs/KEYS.md`.
#[must_use]
pub fn keys_document() -> String {
    screen::coding::keys::document()
}

/// Why the window could not be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// There is no display.
    #[error(
        "there is no display to open a window on (neither DISPLAY nor WAYLAND_DISPLAY is set): run it on the desktop, or use a command: shedlight help"
    )]
    NoDisplay,
    /// The window system refused.
    #[error("could not open the window: try ICED_BACKEND=tiny-skia, which needs no graphics card")]
    Window(#[from] iced::Error),
}

/// Opens the window on a study folder, a clip, or the last study, and stays until it is closed.
///
/// # Errors
/// When no window can be opened.
pub fn run(target: Option<&Path>, session: Option<&str>, at: Option<Micros>) -> Result<(), Error> {
    if cfg!(all(unix, not(target_os = "macos")))
        && ["DISPLAY", "WAYLAND_DISPLAY"]
            .iter()
            .all(|name| std::env::var_os(name).is_none_or(|value| value.is_empty()))
    {
        return Err(Error::NoDisplay);
    }
    let target: Option<PathBuf> = target.map(Path::to_owned);
    let session: Option<String> = session.map(ToOwned::to_owned);
    let window = iced::window::Settings {
        size: iced::Size::new(1440.0, 900.0),
        min_size: Some(iced::Size::new(1024.0, 640.0)),
        exit_on_close_request: false,
        ..iced::window::Settings::default()
    };
    iced::application(
        move || app::App::new(target.as_deref(), session.as_deref(), at),
        app::App::update,
        app::App::view,
    )
    .title(app::App::title)
    .theme(app::App::theme)
    .scale_factor(app::App::scale)
    .subscription(app::App::subscription)
    .font(include_bytes!("fonts/Roboto-Regular.ttf").as_slice())
    .font(include_bytes!("fonts/Roboto-Medium.ttf").as_slice())
    .font(include_bytes!("fonts/DejaVuSansMono.ttf").as_slice())
    .default_font(theme::SANS)
    .window(window)
    // What canvases draw lies along the axes. Smoothing it would draw each canvas four times over and copy the
    // whole window for it: without a graphics card that takes longer than a picture lasts.
    .antialiasing(false)
    .run()?;
    Ok(())
}
