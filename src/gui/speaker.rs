//! The loudspeaker: opened in a thread of its own, because a sound system may take its time.

use std::sync::mpsc;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample};

use crate::workbench::sound::Outlet;

/// An open loudspeaker, or one that is being opened. Falls silent when it is dropped.
#[derive(Debug)]
pub(super) struct Speaker {
    /// Its thread ends when this does.
    _open: mpsc::Sender<()>,
    trouble: Trouble,
}

/// Why nothing is heard, unless something was heard since.
#[derive(Debug, Clone, Default)]
struct Trouble(Arc<Mutex<Option<Failure>>>);

#[derive(Debug)]
struct Failure {
    why: String,
    since: Instant,
    is_told: bool,
}

/// A sound system that stumbled asks for more within this time; one that is gone does not.
const STUMBLE: Duration = Duration::from_millis(500);

impl Trouble {
    fn is(&self, why: String) {
        let mut own = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        // The first of many says when it began.
        let _ = own.get_or_insert(Failure { why, since: Instant::now(), is_told: false });
    }

    /// The sound system asks for more: it plays. Called where nothing may wait.
    fn is_over(&self) {
        if let Ok(mut own) = self.0.try_lock() {
            *own = None;
        }
    }

    fn told(&self) -> Option<String> {
        let mut own = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let failure = own.as_mut().filter(|own| !own.is_told && own.since.elapsed() > STUMBLE)?;
        failure.is_told = true;
        Some(failure.why.clone())
    }
}

impl Speaker {
    /// Opens the system's own choice of loudspeaker.
    pub(super) fn open(outlet: Outlet) -> Self {
        let (open, closed) = mpsc::channel::<()>();
        let trouble = Trouble::default();
        let own = trouble.clone();
        let spawned = std::thread::Builder::new().name("speaker".to_owned()).spawn(move || {
            // The stream must stay in the thread that made it.
            match start(&outlet, &own) {
                Ok(_stream) => {
                    // Until the other end is dropped.
                    let _ = closed.recv();
                }
                Err(why) => own.is(why),
            }
        });
        if let Err(error) = spawned {
            trouble.is(error.to_string());
        }
        Self { _open: open, trouble }
    }

    /// Why there is no sound; told once.
    pub(super) fn trouble(&self) -> Option<String> {
        self.trouble.told()
    }
}

fn start(outlet: &Outlet, trouble: &Trouble) -> Result<cpal::Stream, String> {
    let device = cpal::default_host()
        .default_output_device()
        .ok_or_else(|| "this computer has no sound device".to_owned())?;
    let config = device.default_output_config().map_err(|error| error.to_string())?;
    let rate = config.sample_rate();
    let stream = match config.sample_format() {
        SampleFormat::F32 => stream::<f32>(&device, config.into(), outlet.clone(), trouble.clone()),
        SampleFormat::I16 => stream::<i16>(&device, config.into(), outlet.clone(), trouble.clone()),
        SampleFormat::I32 => stream::<i32>(&device, config.into(), outlet.clone(), trouble.clone()),
        SampleFormat::U8 => stream::<u8>(&device, config.into(), outlet.clone(), trouble.clone()),
        SampleFormat::U16 => stream::<u16>(&device, config.into(), outlet.clone(), trouble.clone()),
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
    trouble: Trouble,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels.max(1));
    let mut stereo = Vec::new();
    let failing = trouble.clone();
    let fill = move |out: &mut [T], info: &cpal::OutputCallbackInfo| {
        trouble.is_over();
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
    let failed = move |error: cpal::Error| {
        // A buffer that came late is heard as a click and mends itself.
        if !matches!(error.kind(), cpal::ErrorKind::Xrun | cpal::ErrorKind::RealtimeDenied) {
            failing.is(error.to_string());
        }
    };
    device.build_output_stream(config, fill, failed, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sound_system_that_stumbles_and_goes_on_is_not_told() {
        let trouble = Trouble::default();
        trouble.is("broken pipe".to_owned());
        assert_eq!(trouble.told(), None, "it may go on");
        trouble.is_over();
        std::thread::sleep(STUMBLE + Duration::from_millis(50));
        assert_eq!(trouble.told(), None, "it went on");
        trouble.is("the device is gone".to_owned());
        std::thread::sleep(STUMBLE + Duration::from_millis(50));
        trouble.is("still gone".to_owned());
        assert_eq!(trouble.told().as_deref(), Some("the device is gone"));
        trouble.is("still gone".to_owned());
        std::thread::sleep(STUMBLE + Duration::from_millis(50));
        assert_eq!(trouble.told(), None, "told once");
    }
}
