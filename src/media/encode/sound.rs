//! The sound track of a clip that is written: AAC, stereo.

use ffmpeg::format::sample::{Sample, Type};
use ffmpeg::{ChannelLayout, codec};
use ffmpeg_next as ffmpeg;

/// Its encoder, and what does not fill a frame yet.
pub(super) struct Sound {
    encoder: ffmpeg::encoder::Audio,
    base: ffmpeg::Rational,
    stream: usize,
    stream_base: ffmpeg::Rational,
    frame_size: usize,
    /// Left and right in turn.
    waiting: Vec<f32>,
    /// Samples handed to the encoder.
    sent: i64,
}

impl Sound {
    pub(super) fn open(
        output: &mut ffmpeg::format::context::Output,
        rate: u32,
        wants_global_header: bool,
    ) -> Result<Self, ffmpeg::Error> {
        let codec = ffmpeg::encoder::find(codec::Id::AAC).ok_or(ffmpeg::Error::EncoderNotFound)?;
        let rate = i32::try_from(rate).map_err(|_| ffmpeg::Error::InvalidData)?;
        let base = ffmpeg::Rational::new(1, rate);
        let mut encoder = codec::Context::new_with_codec(codec).encoder().audio()?;
        encoder.set_rate(rate);
        encoder.set_channel_layout(ChannelLayout::STEREO);
        encoder.set_format(Sample::F32(Type::Planar));
        encoder.set_bit_rate(160_000);
        encoder.set_time_base(base);
        if wants_global_header {
            encoder.set_flags(codec::Flags::GLOBAL_HEADER);
        }
        let encoder = encoder.open_as(codec)?;
        let stream = {
            let mut stream = output.add_stream(codec)?;
            stream.set_parameters(&encoder);
            stream.set_time_base(base);
            stream.index()
        };
        let frame_size = usize::try_from(encoder.frame_size()).unwrap_or(0).max(64);
        Ok(Self { encoder, base, stream, stream_base: base, frame_size, waiting: Vec::new(), sent: 0 })
    }

    /// The container has been begun: it may have chosen another time base.
    pub(super) fn begun(mut self, output: &ffmpeg::format::context::Output) -> Self {
        self.stream_base = output.stream(self.stream).map_or(self.base, |stream| stream.time_base());
        self
    }

    pub(super) fn write(
        &mut self,
        samples: &[f32],
        output: &mut ffmpeg::format::context::Output,
    ) -> Result<(), ffmpeg::Error> {
        self.waiting.extend(samples);
        while self.waiting.len() >= self.frame_size * 2 {
            let frame: Vec<f32> = self.waiting.drain(..self.frame_size * 2).collect();
            self.send(&frame, output)?;
        }
        Ok(())
    }

    pub(super) fn finish(
        mut self,
        output: &mut ffmpeg::format::context::Output,
    ) -> Result<(), ffmpeg::Error> {
        // The last frame may be shorter.
        let rest = std::mem::take(&mut self.waiting);
        if rest.len() >= 2 {
            self.send(&rest, output)?;
        }
        self.encoder.send_eof()?;
        self.write_packets(output)
    }

    fn send(
        &mut self,
        samples: &[f32],
        output: &mut ffmpeg::format::context::Output,
    ) -> Result<(), ffmpeg::Error> {
        let count = samples.len() / 2;
        let mut frame = ffmpeg::frame::Audio::new(Sample::F32(Type::Planar), count, ChannelLayout::STEREO);
        frame.set_rate(u32::try_from(self.base.denominator()).unwrap_or(0));
        for channel in 0..2 {
            let own = samples.iter().skip(channel).step_by(2);
            for (to, from) in frame.plane_mut::<f32>(channel).iter_mut().zip(own) {
                *to = *from;
            }
        }
        frame.set_pts(Some(self.sent));
        self.sent += i64::try_from(count).unwrap_or(0);
        self.encoder.send_frame(&frame)?;
        self.write_packets(output)
    }

    fn write_packets(&mut self, output: &mut ffmpeg::format::context::Output) -> Result<(), ffmpeg::Error> {
        let mut packet = ffmpeg::Packet::empty();
        while self.encoder.receive_packet(&mut packet).is_ok() {
            packet.set_stream(self.stream);
            packet.rescale_ts(self.base, self.stream_base);
            packet.write_interleaved(output)?;
        }
        Ok(())
    }
}
