//! Writing film: H.264 in MP4 or Matroska, each picture at the time it is given.

mod sound;

use std::path::{Path, PathBuf};

use ffmpeg::format::Pixel;
use ffmpeg_next as ffmpeg;

use self::sound::Sound;
use super::picture::Turn;
use super::{Error, ffi, source};
use crate::time::Micros;

/// What is to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Stored width in pixels, even.
    pub width: u32,
    /// Stored height in pixels, even.
    pub height: u32,
    /// Ticks in a second; each picture lies on one.
    pub ticks_per_second: i32,
    /// Clockwise turn that sets the pictures upright, written as a note to players.
    pub turn: Turn,
    /// Pictures between keys, at most.
    pub key_every: u32,
    /// Creation time, RFC 3339 in UTC.
    pub created: Option<String>,
    /// What the pictures are.
    pub content: Content,
    /// Stereo sound with so many samples a second.
    pub sound_rate: Option<u32>,
}

/// What pictures are: it decides how they are packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Content {
    /// Drawn: even areas, quickly packed.
    Drawing,
    /// Filmed: every detail may be what somebody looks for.
    Film,
}

/// 8-bit 4:2:0 planes of a picture, in BT.709, limited range.
#[derive(Debug, Clone, Copy)]
pub struct Planes<'a> {
    /// `width × height` bytes.
    pub luma: &'a [u8],
    /// `width/2 × height/2` bytes.
    pub blue: &'a [u8],
    /// `width/2 × height/2` bytes.
    pub red: &'a [u8],
}

/// BT.709 in limited range of red, green and blue from 0 to 255.
#[must_use]
pub fn luma(r: i32, g: i32, b: i32) -> u8 {
    // Weights of BT.709 scaled to 219/255, in 1/65536.
    byte(16 + ((11_966 * r + 40_254 * g + 4_064 * b + 32_768) >> 16))
}

/// The same for the differences of blue and of red.
#[must_use]
pub fn chroma(r: i32, g: i32, b: i32) -> (u8, u8) {
    let blue = byte(128 + ((-6_596 * r - 22_189 * g + 28_785 * b + 32_768) >> 16));
    let red = byte(128 + ((28_785 * r - 26_145 * g - 2_640 * b + 32_768) >> 16));
    (blue, red)
}

fn byte(value: i32) -> u8 {
    u8::try_from(value.clamp(0, 255)).unwrap_or(0)
}

/// A picture's planes, of its own.
#[derive(Debug, Clone, Default)]
pub struct OwnPlanes {
    luma: Vec<u8>,
    blue: Vec<u8>,
    red: Vec<u8>,
}

impl OwnPlanes {
    /// Of an upright picture; an odd last row or column is left out.
    pub fn fill(&mut self, image: &image::RgbaImage) {
        let (width, height) = ((image.width() as usize) & !1, (image.height() as usize) & !1);
        let stride = image.width() as usize * 4;
        for plane in [&mut self.luma, &mut self.blue, &mut self.red] {
            plane.clear();
        }
        for pair in image.as_raw().chunks(stride * 2).take(height / 2) {
            let (above, below) = pair.split_at(stride.min(pair.len()));
            for row in [above, below] {
                let pixels = row.chunks_exact(4).take(width);
                self.luma.extend(pixels.map(|pixel| match pixel {
                    [r, g, b, _] => luma(i32::from(*r), i32::from(*g), i32::from(*b)),
                    _ => 16,
                }));
            }
            for (above, below) in above.chunks_exact(8).zip(below.chunks_exact(8)).take(width / 2) {
                let mean = |channel: usize| {
                    let at = |row: &[u8], place: usize| row.get(place).copied().map_or(0, i32::from);
                    let sum = at(above, channel)
                        + at(above, channel + 4)
                        + at(below, channel)
                        + at(below, channel + 4);
                    (sum + 2) / 4
                };
                let (blue, red) = chroma(mean(0), mean(1), mean(2));
                self.blue.push(blue);
                self.red.push(red);
            }
        }
    }

    /// To be written.
    #[must_use]
    pub fn planes(&self) -> Planes<'_> {
        Planes { luma: &self.luma, blue: &self.blue, red: &self.red }
    }
}

/// A clip being written. Only [`Writer::finish`] makes it whole.
pub struct Writer {
    sound: Option<Sound>,
    path: PathBuf,
    output: ffmpeg::format::context::Output,
    encoder: ffmpeg::encoder::video::Encoder,
    encoder_base: ffmpeg::Rational,
    stream_base: ffmpeg::Rational,
    frame: ffmpeg::frame::Video,
    ticks_per_second: i32,
    last_tick: Option<i64>,
    last_length: i64,
}

impl Writer {
    /// Begins a file; the container follows its ending.
    ///
    /// # Errors
    /// When the file can't be made or there is no encoder.
    pub fn create(path: &Path, settings: &Settings) -> Result<Self, Error> {
        source::prepare();
        let fail = |error: ffmpeg::Error| Error::Write { path: path.to_owned(), why: error.to_string() };
        if path.to_str().is_none() {
            return Err(Error::PathNotUnicode { path: path.to_owned() });
        }
        let mut output = ffmpeg::format::output(path).map_err(fail)?;
        let codec = ffmpeg::encoder::find_by_name("libx264")
            .or_else(|| ffmpeg::encoder::find(ffmpeg::codec::Id::H264))
            .or_else(|| ffmpeg::encoder::find(ffmpeg::codec::Id::MPEG4))
            .ok_or_else(|| Error::Write {
                path: path.to_owned(),
                why: "the film library on this machine has no encoder for H.264 or MPEG-4".to_owned(),
            })?;
        let wants_global_header =
            output.format().flags().contains(ffmpeg::format::flag::Flags::GLOBAL_HEADER);
        let encoder_base = ffmpeg::Rational::new(1, settings.ticks_per_second);
        let mut encoder = ffmpeg::codec::Context::new_with_codec(codec).encoder().video().map_err(fail)?;
        encoder.set_width(settings.width);
        encoder.set_height(settings.height);
        encoder.set_format(Pixel::YUV420P);
        encoder.set_time_base(encoder_base);
        encoder.set_gop(settings.key_every);
        encoder.set_max_b_frames(0);
        encoder.set_colorspace(ffmpeg::color::Space::BT709);
        encoder.set_color_range(ffmpeg::color::Range::MPEG);
        encoder.set_threading(ffmpeg::threading::Config { count: 1, ..ffmpeg::threading::Config::default() });
        if wants_global_header {
            encoder.set_flags(ffmpeg::codec::Flags::GLOBAL_HEADER);
        }
        let mut options = ffmpeg::Dictionary::new();
        if codec.name() == "libx264" {
            match settings.content {
                Content::Drawing => {
                    options.set("preset", "ultrafast");
                    options.set("tune", "animation");
                    options.set("crf", "24");
                }
                Content::Film => {
                    options.set("preset", "veryfast");
                    options.set("crf", "19");
                }
            }
        } else {
            encoder.set_bit_rate(match settings.content {
                Content::Drawing => 1_500_000,
                Content::Film => 8_000_000,
            });
        }
        let encoder = encoder.open_with(options).map_err(fail)?;
        let number = {
            let mut stream = output.add_stream(codec).map_err(fail)?;
            stream.set_parameters(&encoder);
            stream.set_time_base(encoder_base);
            stream.index()
        };
        let sound = match settings.sound_rate {
            Some(rate) => Some(Sound::open(&mut output, rate, wants_global_header).map_err(fail)?),
            None => None,
        };
        let quarters = match settings.turn {
            Turn::None => 0,
            Turn::Quarter => 1,
            Turn::Half => 2,
            Turn::ThreeQuarters => 3,
        };
        if quarters > 0 {
            ffi::set_display_turn(&mut output, number, quarters);
        }
        if let Some(created) = &settings.created {
            let mut about = ffmpeg::Dictionary::new();
            about.set("creation_time", created);
            output.set_metadata(about);
        }
        let _ = output.write_header().map_err(fail)?;
        let stream_base = output.stream(number).map_or(encoder_base, |stream| stream.time_base());
        let sound = sound.map(|sound| sound.begun(&output));
        Ok(Self {
            sound,
            path: path.to_owned(),
            output,
            encoder,
            encoder_base,
            stream_base,
            frame: ffmpeg::frame::Video::new(Pixel::YUV420P, settings.width, settings.height),
            ticks_per_second: settings.ticks_per_second,
            last_tick: None,
            last_length: 1,
        })
    }

    /// Adds a picture that appears at `at` and is replaced by the next one.
    ///
    /// # Errors
    /// When it does not come after the one before, or can't be written.
    pub fn write(&mut self, planes: Planes<'_>, at: Micros) -> Result<(), Error> {
        let ticks = (i128::from(at.0) * i128::from(self.ticks_per_second) + 500_000).div_euclid(1_000_000);
        let tick = i64::try_from(ticks).unwrap_or(i64::MAX);
        if let Some(last) = self.last_tick {
            if tick <= last {
                return Err(Error::Write {
                    path: self.path.clone(),
                    why: format!("a picture at {at} s does not come after the one before"),
                });
            }
            self.last_length = tick - last;
        }
        self.last_tick = Some(tick);
        let (width, height) = (self.frame.width() as usize, self.frame.height() as usize);
        let halves = (width / 2, height / 2);
        for (number, (samples, (width, height))) in
            [(planes.luma, (width, height)), (planes.blue, halves), (planes.red, halves)]
                .into_iter()
                .enumerate()
        {
            let stride = self.frame.stride(number);
            let rows = self.frame.data_mut(number).chunks_mut(stride).zip(samples.chunks(width)).take(height);
            for (row, from) in rows {
                if let Some(row) = row.get_mut(..from.len()) {
                    row.copy_from_slice(from);
                }
            }
        }
        self.frame.set_pts(Some(tick));
        self.encoder.send_frame(&self.frame).map_err(|error| self.failed(error))?;
        self.write_packets()
    }

    /// Adds sound: left and right in turn, from where the sound before it ended. Without sound in the
    /// settings nothing happens.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn write_sound(&mut self, samples: &[f32]) -> Result<(), Error> {
        let Some(mut sound) = self.sound.take() else { return Ok(()) };
        let written = sound.write(samples, &mut self.output);
        self.sound = Some(sound);
        written.map_err(|error| self.failed(error))
    }

    /// Ends the file.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn finish(mut self) -> Result<(), Error> {
        self.encoder.send_eof().map_err(|error| self.failed(error))?;
        self.write_packets()?;
        if let Some(sound) = self.sound.take() {
            sound.finish(&mut self.output).map_err(|error| self.failed(error))?;
        }
        self.output.write_trailer().map_err(|error| self.failed(error))
    }

    fn write_packets(&mut self) -> Result<(), Error> {
        let mut packet = ffmpeg::Packet::empty();
        while self.encoder.receive_packet(&mut packet).is_ok() {
            packet.set_stream(0);
            packet.rescale_ts(self.encoder_base, self.stream_base);
            // The container takes the last picture's length from its packet.
            let base = self.stream_base.denominator() / self.encoder_base.denominator().max(1);
            packet.set_duration(self.last_length * i64::from(base.max(1)));
            packet.write_interleaved(&mut self.output).map_err(|error| self.failed(error))?;
        }
        Ok(())
    }

    fn failed(&self, error: ffmpeg::Error) -> Error {
        Error::Write { path: self.path.clone(), why: error.to_string() }
    }
}
