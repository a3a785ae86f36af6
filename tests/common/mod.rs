//! What the tests share: clips made with ffmpeg, temporary studies, the built program.
