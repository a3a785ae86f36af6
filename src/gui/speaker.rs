//! The loudspeaker: opened in a thread of its own, because a sound system may take its time.

use std::sync::mpsc;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample};

use crate::workbench::sound::Outlet;

/// An open loudspeaker, or one that is being opened. Falls silent when it is dropped.
#[derive(Debug)]
pub(super) struct Speaker {
    /// Its thread ends when this does.
    _open: mpsc::Sender<()>,
    trouble: Arc<Mutex<Option<String>>>,
}

impl Speaker {
    /// Opens the system's own choice of loudspeaker.
    pub(super) fn open(outlet: Outlet) -> Self {
        let (open, closed) = mpsc::channel::<()>();
        let trouble = Arc::new(Mutex::new(None));
        let say = {
            let trouble = Arc::clone(&trouble);
            move |why: String| *trouble.lock().unwrap_or_else(PoisonError::into_inner) = Some(why)
        };
        let failed = say.clone();
        let spawned = std::thread::Builder::new().name("speaker".to_owned()).spawn(move || {
            // The stream must stay in the thread that made it.
            match start(&outlet, say.clone()) {
                Ok(_stream) => {
                    // Until the other end is dropped.
                    let _ = closed.recv();
                }
                Err(why) => say(why),
            }
        });
        if let Err(error) = spawned {
            failed(error.to_string());
        }
        Self { _open: open, trouble }
    }

    /// Why there is no sound; told once.
    pub(super) fn trouble(&self) -> Option<String> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).take()
    }
}

fn start(outlet: &Outlet, say: impl Fn(String) + Send + 'static) -> Result<cpal::Stream, String> {
    let device = cpal::default_host()
        .default_output_device()
        .ok_or_else(|| "this computer has no sound device".to_owned())?;
    let config = device.default_output_config().map_err(|error| error.to_string())?;
    let outlet = outlet.clone();
    let rate = config.sample_rate();
    let stream = match config.sample_format() {
        SampleFormat::F32 => stream::<f32>(&device, config.into(), outlet.clone(), say),
        SampleFormat::I16 => stream::<i16>(&device, config.into(), outlet.clone(), say),
        SampleFormat::I32 => stream::<i32>(&device, config.into(), outlet.clone(), say),
        SampleFormat::U8 => stream::<u8>(&device, config.into(), outlet.clone(), say),
        SampleFormat::U16 => stream::<u16>(&device, config.into(), outlet.clone(), say),
        other => {
            return Err(format!(
                "the sound device wants samples of the kind {other}, which are not known here"
            ));
        }
    };
    let stream = stream.map_err(|error| error.to_string())?;
    stream.play().map_err(|error| error.to_string())?;
    outlet.set_rate(rate);
    Ok(stream)
}

fn stream<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    outlet: Outlet,
    say: impl Fn(String) + Send + 'static,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels.max(1));
    let mut stereo = Vec::new();
    let fill = move |out: &mut [T], info: &cpal::OutputCallbackInfo| {
        let timestamp = info.timestamp();
        // What is written now is heard when the buffer before it has been.
        let heard = Instant::now() + timestamp.playback.duration_since(timestamp.callback);
        stereo.resize(out.len() / channels * 2, 0.0);
        outlet.fill(&mut stereo, heard);
        for (frame, pair) in out.chunks_mut(channels).zip(stereo.chunks(2)) {
            let (left, right) = (pair.first().copied().unwrap_or(0.0), pair.last().copied().unwrap_or(0.0));
            for (channel, to) in frame.iter_mut().enumerate() {
                *to = T::from_sample(match (channels, channel) {
                    (1, _) => f32::midpoint(left, right),
                    (_, 0) => left,
                    (_, 1) => right,
                    _ => 0.0,
                });
            }
        }
    };
    let trouble = move |error: cpal::Error| {
        // A buffer that came late is heard as a click and mends itself.
        if !matches!(error.kind(), cpal::ErrorKind::Xrun | cpal::ErrorKind::RealtimeDenied) {
            say(error.to_string());
        }
    };
    device.build_output_stream(config, fill, trouble, None)
}
