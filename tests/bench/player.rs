//! A general-purpose player (mpv), asked over its own socket for exact seeks and steps back, in turn with ours
//! on the same targets: what else the machine does then meets both.

use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

pub(crate) struct Player {
    child: Child,
    said: BufReader<UnixStream>,
    _socket: tempfile::TempDir,
}

impl Player {
    /// Standing on the first picture; `None` where it is not installed. It draws nowhere and plays no sound.
    pub(crate) fn open(clip: &Path) -> Option<Self> {
        let socket = tempfile::tempdir().unwrap();
        let address = socket.path().join("player");
        let mut child = Command::new("mpv")
            .args(["--no-config", "--vo=null", "--ao=null", "--no-audio", "--pause", "--hr-seek=yes"])
            .args(["--keep-open=yes", "--really-quiet"])
            .arg(format!("--input-ipc-server={}", address.display()))
            .arg(clip)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let stream = (0..200).find_map(|_| {
            std::thread::sleep(Duration::from_millis(50));
            UnixStream::connect(&address).ok()
        });
        let Some(stream) = stream else {
            let _ = child.kill();
            let _ = child.wait();
            return None;
        };
        let mut player = Self { child, said: BufReader::new(stream), _socket: socket };
        // One seek, so that it surely stands.
        let _ = player.seek(0.0);
        Some(player)
    }

    /// Asks for something and waits until its picture is there.
    fn ask(&mut self, command: &str) -> Duration {
        let start = Instant::now();
        self.said.get_mut().write_all(format!("{{\"command\":{command}}}\n").as_bytes()).unwrap();
        let mut line = String::new();
        while !line.contains("playback-restart") {
            line.clear();
            assert!(self.said.read_line(&mut line).unwrap() > 0, "the player ended");
        }
        start.elapsed()
    }

    /// The time of the picture it stands on, in seconds.
    pub(crate) fn standing_at(&mut self) -> Option<f64> {
        self.said
            .get_mut()
            .write_all(b"{\"command\":[\"get_property\",\"time-pos/full\"],\"request_id\":77}\n")
            .unwrap();
        let mut line = String::new();
        while !line.contains("\"request_id\":77") {
            line.clear();
            assert!(self.said.read_line(&mut line).unwrap() > 0, "the player ended");
        }
        serde_json::from_str::<serde_json::Value>(&line).ok()?.get("data")?.as_f64()
    }

    /// An exact seek.
    pub(crate) fn seek(&mut self, seconds: f64) -> Duration {
        self.ask(&format!("[\"seek\",{seconds:.6},\"absolute+exact\"]"))
    }

    /// One picture back.
    pub(crate) fn step_back(&mut self) -> Duration {
        self.ask("[\"frame-back-step\"]")
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
