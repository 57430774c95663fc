//! When to stop: Ctrl-C, `kill`, or the terminal going away.

use std::io;

use tokio::signal::unix::{Signal, SignalKind, signal};

/// Catches the signals that end a server, from the moment it is made.
#[derive(Debug)]
pub struct Shutdown {
    interrupt: Signal,
    terminate: Signal,
    hangup: Signal,
}

impl Shutdown {
    /// Catches SIGINT, SIGTERM and SIGHUP; make it before starting anything
    /// that must be stopped in order.
    ///
    /// # Errors
    /// When the system refuses a handler.
    pub fn catch() -> io::Result<Self> {
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hangup: signal(SignalKind::hangup())?,
        })
    }

    /// Waits for the next such signal.
    pub async fn requested(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => (),
            _ = self.terminate.recv() => (),
            _ = self.hangup.recv() => (),
        }
    }
}
