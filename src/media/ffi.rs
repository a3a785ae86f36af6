//! The only unsafe code: what ffmpeg-next does not offer.
#![allow(unsafe_code)]

use ffmpeg::ffi as sys;
use ffmpeg_next as ffmpeg;

/// Bounds what the film library may allocate at once: a damaged file that asks for more is refused.
pub(super) fn limit_allocations(bytes: usize) {
    // SAFETY: it sets one number, before any other call of this program into the library.
    unsafe { sys::av_max_alloc(bytes) };
}

/// Seeks the demuxer of one stream to the last key at or before a timestamp of that stream.
///
/// ffmpeg-next's own `seek` works in microseconds on no stream in particular, which rounds.
pub(super) fn seek_stream(
    input: &mut ffmpeg::format::context::Input,
    stream: usize,
    timestamp: i64,
) -> Result<(), ffmpeg::Error> {
    let stream = i32::try_from(stream).map_err(|_| ffmpeg::Error::StreamNotFound)?;
    // SAFETY: the context is alive for as long as `input`, and `&mut` makes this its only user.
    let result =
        unsafe { sys::av_seek_frame(input.as_mut_ptr(), stream, timestamp, sys::AVSEEK_FLAG_BACKWARD) };
    if result < 0 { Err(ffmpeg::Error::from(result)) } else { Ok(()) }
}

/// Moves the demuxer to a byte of its file.
pub(super) fn seek_byte(
    input: &mut ffmpeg::format::context::Input,
    position: i64,
) -> Result<(), ffmpeg::Error> {
    // SAFETY: the context is alive for as long as `input`, and `&mut` makes this its only user.
    let result = unsafe { sys::av_seek_frame(input.as_mut_ptr(), -1, position, sys::AVSEEK_FLAG_BYTE) };
    if result < 0 { Err(ffmpeg::Error::from(result)) } else { Ok(()) }
}

/// Lets the demuxer skip every stream but one: a scan then reads no sound.
pub(super) fn read_only(input: &mut ffmpeg::format::context::Input, stream: usize) {
    for i in 0..input.nb_streams() as usize {
        let Some(mut other) = input.stream_mut(i) else { continue };
        let discard =
            if i == stream { sys::AVDiscard::AVDISCARD_DEFAULT } else { sys::AVDiscard::AVDISCARD_ALL };
        // SAFETY: the stream belongs to `input`, which is borrowed mutably; the field is a plain
        // setting that the demuxer reads before each packet.
        unsafe { (*other.as_mut_ptr()).discard = discard };
    }
}

/// Corner of the display matrix that turns and mirrors: `[a, b, c, d]` as 16.16 fixed point, with
/// `x' = a·x + c·y`, `y' = b·x + d·y`; `None` when the stream carries none.
pub(super) fn display_matrix(stream: &ffmpeg::Stream<'_>) -> Option<[i32; 4]> {
    let data =
        stream.side_data().find(|data| data.kind() == ffmpeg::packet::side_data::Type::DisplayMatrix)?;
    let number = |place: usize| -> Option<i32> {
        let bytes = data.data().get(place * 4..place * 4 + 4)?;
        Some(i32::from_ne_bytes(bytes.try_into().ok()?))
    };
    Some([number(0)?, number(1)?, number(3)?, number(4)?])
}

/// Sample aspect ratio of a stream as its container says; `(0, _)` when it does not.
pub(super) fn container_aspect(stream: &ffmpeg::Stream<'_>) -> (i32, i32) {
    // SAFETY: the stream pointer is valid while `stream` is borrowed; the field is plain data.
    let ratio = unsafe { (*stream.as_ptr()).sample_aspect_ratio };
    (ratio.num, ratio.den)
}

/// Writes a display matrix into a stream that is to be muxed, so that it is shown turned
/// clockwise by `quarters` of a circle.
pub(super) fn set_display_turn(output: &mut ffmpeg::format::context::Output, stream: usize, quarters: u8) {
    let Some(mut stream) = output.stream_mut(stream) else { return };
    let size = 9 * size_of::<i32>();
    // SAFETY: the stream belongs to `output`, which is borrowed mutably. FFmpeg allocates `size`
    // bytes aligned for any type and keeps them; nine numbers are written into exactly those.
    unsafe {
        let data = sys::av_stream_new_side_data(
            stream.as_mut_ptr(),
            sys::AVPacketSideDataType::AV_PKT_DATA_DISPLAYMATRIX,
            size,
        );
        if data.is_null() {
            return;
        }
        let (one, depth) = (1_i32 << 16, 1_i32 << 30);
        let [a, b, c, d] = match quarters % 4 {
            0 => [one, 0, 0, one],
            1 => [0, one, -one, 0],
            2 => [-one, 0, 0, -one],
            _ => [0, -one, one, 0],
        };
        let matrix = [a, b, 0, c, d, 0, 0, 0, depth];
        std::ptr::copy_nonoverlapping(matrix.as_ptr().cast::<u8>(), data, size);
    }
}

/// Whether the rows of a plane lie bottom up, which the safe interface can't express.
pub(super) fn is_upside_down(frame: &ffmpeg::frame::Video) -> bool {
    // SAFETY: the frame is alive while borrowed; the field is plain data.
    unsafe { (*frame.as_ptr()).linesize.iter().any(|size| *size < 0) }
}

/// Whether a packet is only there to be decoded, not to be shown (before the start of a clip that
/// was cut without re-encoding).
pub(super) fn is_discarded(packet: &ffmpeg::Packet) -> bool {
    use ffmpeg::packet::Ref as _;
    // SAFETY: the packet is alive while borrowed; the field is plain data.
    let flags = unsafe { (*packet.as_ptr()).flags };
    flags & sys::AV_PKT_FLAG_DISCARD != 0
}
