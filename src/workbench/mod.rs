//! The coding bench without a screen: playhead, coder, history, autosave.
