//! Opening a file so that it can name no other file and no host, and reading its packets.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::Once;

use ffmpeg_next as ffmpeg;

use super::picture::{Looks, Matrix, Range, Turn};
use super::scan::Print;
use super::{Error, ffi};
use crate::time::TimeBase;

/// Demuxers that may be used: containers of film. None of them opens a second file; the ones
/// that would (playlists, concatenations, image sequences, devices) are not on the list.
const DEMUXERS: &str = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,mpegvideo,h264,hevc,m4v,flv,asf,ogg,mxf,dv,ivf,wtv,gxf,nut,obu,rm";

/// Threads of a decoder, at most.
pub(super) const THREADS: u32 = 4;

/// Bytes the film library may ask for at once.
const MAX_ALLOCATION: usize = 512 << 20;
/// Pixels of a picture, at most: twice as many as film of 8K has. A damaged size asks for no more memory.
const MAX_PIXELS: &str = "67108864";

/// What a clip is, as its container and codec say.
#[derive(Debug, Clone, PartialEq)]
pub struct Probe {
    /// The file.
    pub path: PathBuf,
    /// Container, by the film library's short name.
    pub container: String,
    /// Codec, by the film library's short name.
    pub codec: String,
    /// Stored width in pixels.
    pub width: u32,
    /// Stored height in pixels.
    pub height: u32,
    /// How it is to be looked at, as far as known without decoding.
    pub looks: Looks,
    /// Creation time as the container writes it, if it does; such dates often are local time
    /// although the container says UTC.
    pub created: Option<String>,
    /// There is a sound track.
    pub has_sound: bool,
}

/// An opened file, read packet by packet: one video stream of it.
pub(super) struct Source {
    pub(super) probe: Probe,
    pub(super) input: ffmpeg::format::context::Input,
    pub(super) stream: usize,
    pub(super) time_base: TimeBase,
    /// The first packet of the stream, once it was read: where the beginning is.
    first: Option<Print>,
    /// Read already, to be handed out next.
    waiting: Option<ffmpeg::Packet>,
    starts_at: Option<i64>,
}

/// One packet of the video stream, or why there is none.
pub(super) enum Reading {
    /// A packet.
    Packet(ffmpeg::Packet),
    /// The end of the file.
    End,
    /// The file can't be read further.
    Broken(String),
}

impl Source {
    pub(super) fn open(path: &Path) -> Result<Self, Error> {
        look_at_file(path)?;
        prepare();
        let text = path.to_str().ok_or_else(|| Error::PathNotUnicode { path: path.to_owned() })?;
        // "file:" keeps a name such as "concat:a" or "http:b" from being read as a protocol.
        let name = format!("file:{text}");
        let mut options = ffmpeg::Dictionary::new();
        options.set("protocol_whitelist", "file");
        options.set("format_whitelist", DEMUXERS);
        let mut input = ffmpeg::format::input_with_dictionary(&name, options).map_err(|error| {
            if is_unfinished(path) {
                Error::Unfinished { path: path.to_owned() }
            } else {
                Error::NotVideo { path: path.to_owned(), why: error.to_string() }
            }
        })?;
        let has_sound = input.streams().any(|s| s.parameters().medium() == ffmpeg::media::Type::Audio);
        // A cover picture of a sound file is a video stream with one picture.
        let is_film = |s: &ffmpeg::Stream<'_>| {
            s.parameters().medium() == ffmpeg::media::Type::Video
                && !s.disposition().contains(ffmpeg::format::stream::Disposition::ATTACHED_PIC)
        };
        let best = input.streams().best(ffmpeg::media::Type::Video).filter(is_film);
        let found = best.or_else(|| input.streams().find(is_film));
        let Some(stream) = found else {
            return Err(if has_sound {
                Error::OnlySound { path: path.to_owned() }
            } else {
                Error::NotVideo { path: path.to_owned(), why: "no video stream in it".to_owned() }
            });
        };
        let number = stream.index();
        let base = stream.time_base();
        let time_base = TimeBase::try_new(base.numerator(), base.denominator()).ok_or_else(|| {
            Error::NotVideo { path: path.to_owned(), why: "its clock makes no sense".to_owned() }
        })?;
        let (turn, mirrored) = ffi::display_matrix(&stream).map_or((Turn::None, false), turn_of);
        let (above, below) = ffi::container_aspect(&stream);
        let context = ffmpeg::codec::Context::from_parameters(stream.parameters())
            .map_err(|error| Error::NotVideo { path: path.to_owned(), why: error.to_string() })?;
        let codec = context.id();
        let decoder = context
            .decoder()
            .video()
            .map_err(|_| Error::NoDecoder { codec: codec.name().to_owned(), path: path.to_owned() })?;
        let (width, height) = (decoder.width(), decoder.height());
        let created = ["creation_time", "com.apple.quicktime.creationdate"]
            .iter()
            .filter_map(|key| {
                let of_stream = stream.metadata().get(key).map(ToOwned::to_owned);
                of_stream.or_else(|| input.metadata().get(key).map(ToOwned::to_owned))
            })
            .next_back();
        let probe = Probe {
            path: path.to_owned(),
            container: input.format().name().to_owned(),
            codec: codec.name().to_owned(),
            width,
            height,
            looks: Looks {
                matrix: if height >= 720 { Matrix::Bt709 } else { Matrix::Bt601 },
                range: Range::Limited,
                turn,
                mirrored,
                pixel_aspect: aspect(above, below).unwrap_or((1, 1)),
            },
            created,
            has_sound,
        };
        ffi::read_only(&mut input, number);
        Ok(Self { probe, input, stream: number, time_base, first: None, waiting: None, starts_at: None })
    }

    /// A decoder for the stream, at its beginning.
    pub(super) fn decoder(&self) -> Result<ffmpeg::decoder::Video, Error> {
        // More than cores, for a picture waits for rows of the one it refers to: where pictures that nothing refers
        // to are left out, four threads on two cores reach the target of a jump a tenth sooner than three.
        // Few, for each adds a picture of delay to every seek.
        let count = std::thread::available_parallelism().map_or(2, |n| (n.get() + 2).min(THREADS as usize));
        self.decoder_with(count)
    }

    /// One with so many threads.
    pub(super) fn decoder_with(&self, count: usize) -> Result<ffmpeg::decoder::Video, Error> {
        let path = || self.probe.path.clone();
        let stream = self.input.stream(self.stream).ok_or_else(|| Error::NoPicture { path: path() })?;
        let mut context = ffmpeg::codec::Context::from_parameters(stream.parameters())
            .map_err(|error| Error::NotVideo { path: path(), why: error.to_string() })?;
        context.set_threading(ffmpeg::threading::Config {
            kind: ffmpeg::threading::Type::Frame,
            count,
            ..ffmpeg::threading::Config::default()
        });
        let mut decoder = context.decoder();
        decoder.set_packet_time_base(ffmpeg::Rational::new(self.time_base.num(), self.time_base.den()));
        let missing = || Error::NoDecoder { codec: self.probe.codec.clone(), path: path() };
        let codec = ffmpeg::decoder::find(decoder.id()).ok_or_else(missing)?;
        let mut limits = ffmpeg::Dictionary::new();
        limits.set("max_pixels", MAX_PIXELS);
        decoder.open_as_with(codec, limits).and_then(ffmpeg::decoder::Opened::video).map_err(|_| missing())
    }

    /// The next packet of the video stream.
    pub(super) fn read(&mut self) -> Reading {
        if let Some(packet) = self.waiting.take() {
            return Reading::Packet(packet);
        }
        // A demuxer reports a corrupt stretch as an error and can go on behind it; one that can't
        // repeats itself, hence the bound.
        let mut corrupt = 0;
        while corrupt < 64 {
            let mut packet = ffmpeg::Packet::empty();
            match packet.read(&mut self.input) {
                Ok(()) if packet.stream() == self.stream => {
                    if self.first.is_none() {
                        // What is read first after opening is the beginning.
                        self.first = Some(Print::of(&packet));
                        self.starts_at = packet.dts().or(packet.pts());
                    }
                    return Reading::Packet(packet);
                }
                Ok(()) => {}
                Err(ffmpeg::Error::Eof) => return Reading::End,
                Err(ffmpeg::Error::InvalidData) => corrupt += 1,
                Err(error) => return Reading::Broken(error.to_string()),
            }
        }
        Reading::Broken("nothing readable any more".to_owned())
    }

    /// Whether the container can be entered at any byte: streams made for broadcasting.
    pub(super) fn seeks_by_bytes(&self) -> bool {
        matches!(self.probe.container.as_str(), "mpegts" | "mpeg" | "mpegvideo" | "h264" | "hevc" | "m4v")
    }

    /// Whether a packet that is said to be corrupt is. Transport streams say so of the last one
    /// before every seam; there the codec and the clock tell better.
    pub(super) fn believes_corrupt(&self) -> bool {
        self.probe.container != "mpegts"
    }

    /// Moves to the last key at or before a timestamp of the stream.
    pub(super) fn seek(&mut self, timestamp: i64) -> bool {
        self.waiting = None;
        ffi::seek_stream(&mut self.input, self.stream, timestamp).is_ok()
    }

    /// Moves to a byte of the file.
    pub(super) fn seek_byte(&mut self, position: i64) -> bool {
        self.waiting = None;
        ffi::seek_byte(&mut self.input, position).is_ok()
    }

    /// Back to the first packet: by seeking where that leads there, else by opening the file anew,
    /// which reads its head again.
    pub(super) fn rewind(&mut self) -> Result<(), Error> {
        if let Some(first) = self.first {
            let at_start = if self.seeks_by_bytes() {
                self.seek_byte(0)
            } else {
                self.starts_at.is_some_and(|at| self.seek(at))
            };
            if at_start
                && let Reading::Packet(packet) = self.read()
                && Print::of(&packet) == first
                && packet.dts().or(packet.pts()) == self.starts_at
            {
                self.waiting = Some(packet);
                return Ok(());
            }
        } else if self.waiting.is_none() {
            // Nothing was read yet.
            return Ok(());
        }
        *self = Self::open(&self.probe.path)?;
        Ok(())
    }
}

/// Once for the whole program: registers what older FFmpeg wants registered, and silences it;
/// what goes wrong comes back as errors.
pub(super) fn prepare() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // It can fail only for lack of memory; opening a file reports that in its own words.
        let _ = ffmpeg::init();
        ffmpeg::log::set_level(ffmpeg::log::Level::Quiet);
        ffi::limit_allocations(MAX_ALLOCATION);
    });
}

/// What can be said before the film library looks.
fn look_at_file(path: &Path) -> Result<(), Error> {
    let fail = |source| Error::Read { path: path.to_owned(), source };
    let about = std::fs::metadata(path).map_err(fail)?;
    if about.is_dir() {
        return Err(Error::Folder { path: path.to_owned() });
    }
    if about.len() == 0 {
        return Err(Error::Empty { path: path.to_owned() });
    }
    let mut head = Vec::new();
    let _ = File::open(path).map_err(fail)?.take(4096).read_to_end(&mut head).map_err(fail)?;
    let text = String::from_utf8_lossy(&head);
    let start = text.trim_start_matches('\u{feff}').trim_start();
    let lower = start.get(..start.len().min(200)).unwrap_or(start).to_ascii_lowercase();
    let is_list = lower.starts_with("#extm3u")
        || lower.starts_with("ffconcat")
        || lower.starts_with("[playlist]")
        || lower.starts_with("<asx")
        || lower.starts_with("file '")
        || lower.contains("<mpd")
        || lower.contains("<smil");
    if is_list { Err(Error::Playlist { path: path.to_owned() }) } else { Ok(()) }
}

/// An MP4 or QuickTime file whose closing index is missing.
fn is_unfinished(path: &Path) -> bool {
    let mut head = [0_u8; 12];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut head));
    read.is_ok() && matches!(head.get(4..8), Some(b"ftyp" | b"mdat" | b"wide" | b"free" | b"skip"))
}

/// The turn a display matrix asks for, and whether it mirrors (before the turn).
fn turn_of([a, b, c, d]: [i32; 4]) -> (Turn, bool) {
    let (a, b, c, d) = (i64::from(a), i64::from(b), i64::from(c), i64::from(d));
    let mirrored = a * d - b * c < 0;
    let (along, across) = if mirrored { (-a, -b) } else { (a, b) };
    // The nearest quarter: no camera writes anything in between.
    let turn = if along.abs() >= across.abs() {
        if along >= 0 { Turn::None } else { Turn::Half }
    } else if across > 0 {
        Turn::Quarter
    } else {
        Turn::ThreeQuarters
    };
    (turn, mirrored)
}

/// A pixel aspect that says something.
pub(super) fn aspect(above: i32, below: i32) -> Option<(u32, u32)> {
    let (above, below) = (u32::try_from(above).ok()?, u32::try_from(below).ok()?);
    // Beyond 1:10 it is damage, not a lens.
    (above > 0 && below > 0 && above / below < 10 && below / above < 10).then_some((above, below))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_display_matrix_is_a_turn_and_a_mirror() {
        let one = 1 << 16;
        assert_eq!(turn_of([one, 0, 0, one]), (Turn::None, false));
        // What phones write for a portrait recording.
        assert_eq!(turn_of([0, one, -one, 0]), (Turn::Quarter, false));
        assert_eq!(turn_of([-one, 0, 0, -one]), (Turn::Half, false));
        assert_eq!(turn_of([0, -one, one, 0]), (Turn::ThreeQuarters, false));
        assert_eq!(turn_of([-one, 0, 0, one]), (Turn::None, true));
        assert_eq!(turn_of([one, 0, 0, -one]), (Turn::Half, true));
    }
}
