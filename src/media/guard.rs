//! A first look at an unknown file in a process of its own.
//!
//! A file made to break the film library, or broken by a card, may crash it, hang it or make it
//! ask for all memory. The first look, open and decode one picture, is therefore taken by a child
//! of this program with a bound on time and memory; what happens to the child is a message here.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::{Error, straight::Straight};

/// The command by which the program takes a first look and nothing else.
pub const COMMAND: &str = "look-at-clip";
/// How long a first look may take.
const PATIENCE: Duration = Duration::from_secs(10);
/// Memory it may use.
#[cfg(unix)]
const MEMORY: u64 = 2 << 30;
/// What the child ends with when the file is an ordinary one that can't be opened.
pub const REFUSED: i32 = 2;

/// Lets a child of this program take a first look. A file that is merely no film passes: opening
/// it says why in better words.
///
/// # Errors
/// When the child crashed, hung or asked for too much.
pub fn look(path: &Path) -> Result<(), Error> {
    let refuse = |why: &str| Error::Dangerous { why: why.to_owned(), path: path.to_owned() };
    // Without a way to start a child the look is taken here, by opening.
    let Ok(program) = std::env::current_exe() else { return Ok(()) };
    let started = Command::new(program)
        .arg(COMMAND)
        .arg(path)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut child) = started else { return Ok(()) };
    let start = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(status)) => {
                return match status.code() {
                    Some(0 | REFUSED) => Ok(()),
                    Some(_) => Err(refuse("it asks for more memory than a film may need")),
                    None => Err(refuse("it makes the film library crash")),
                };
            }
            Ok(None) if start.elapsed() > PATIENCE => {
                // It may have ended by itself just now.
                let _ = child.kill();
                let _ = child.wait();
                return Err(refuse("the film library does not come back from it"));
            }
            Ok(None) => std::thread::sleep(Duration::from_millis(2)),
            Err(_) => return Ok(()),
        }
    }
}

/// What the child does: bounds itself, opens the file, decodes one picture.
#[must_use]
pub fn take_look(path: &Path) -> i32 {
    #[cfg(unix)]
    {
        use rustix::process::{Resource, Rlimit, setrlimit};
        let limit = |bound| Rlimit { current: Some(bound), maximum: Some(bound) };
        // A system that does not take the limits still has the parent's patience.
        let _ = setrlimit(Resource::As, limit(MEMORY));
        let _ = setrlimit(Resource::Cpu, limit(2 * PATIENCE.as_secs()));
        let _ = setrlimit(Resource::Core, limit(0));
    }
    match Straight::open(path) {
        Ok(mut film) => {
            let _ = film.next_picture();
            0
        }
        Err(_) => REFUSED,
    }
}
