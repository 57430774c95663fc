//! A TCP relay to the tests' Postgres that can be cut, so that one server's database goes away
//! while everybody else's stays.

use std::io;
use std::net::{Shutdown, TcpListener, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::thread;

/// What the relay does with connections.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    /// Passes them on.
    Open,
    /// Ends those it has and closes new ones at once: the database has crashed.
    Cut,
    /// Takes new ones and says nothing, ends those it has: the network is gone.
    Silent,
}

#[derive(Debug)]
struct State {
    line: Line,
    /// Both ends of each connection.
    open: Vec<TcpStream>,
}

/// A relay on loopback. Its threads end with the process.
#[derive(Debug)]
pub struct Relay {
    url: String,
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Clone)]
enum Target {
    Tcp(String),
    Socket(PathBuf),
}

impl Relay {
    /// A relay to where the URL points.
    ///
    /// # Panics
    /// When the URL is not one of the tests' cluster.
    #[must_use]
    pub fn to(url: &str) -> Self {
        let (start, rest) = url.split_once('@').unwrap();
        let (host, path) = rest.split_once('/').unwrap();
        let (database, query) = path.split_once('?').unwrap_or((path, ""));
        let target = match query.strip_prefix("host=") {
            Some(folder) => Target::Socket(PathBuf::from(folder).join(".s.PGSQL.5432")),
            None => Target::Tcp(host.to_owned()),
        };
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let state = Arc::new(Mutex::new(State {
            line: Line::Open,
            open: Vec::new(),
        }));
        let shared = Arc::clone(&state);
        thread::spawn(move || {
            for client in listener.incoming().flatten() {
                accept(client, &target, &shared);
            }
        });
        Self {
            url: format!("{start}@{address}/{database}"),
            state,
        }
    }

    /// The URL through the relay.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Sets what happens from now on.
    ///
    /// # Panics
    /// When a thread of the relay did.
    pub fn set(&self, line: Line) {
        let mut state = self.state.lock().unwrap();
        state.line = line;
        for end in state.open.drain(..) {
            let _ = end.shutdown(Shutdown::Both);
        }
    }
}

fn accept(client: TcpStream, target: &Target, state: &Arc<Mutex<State>>) {
    let mut held = state.lock().unwrap();
    match held.line {
        Line::Cut => (),
        Line::Silent => held.open.push(client),
        Line::Open => {
            let Ok(end) = client.try_clone() else { return };
            if relay(client, target).is_ok() {
                held.open.push(end);
            }
        }
    }
}

fn relay(client: TcpStream, target: &Target) -> io::Result<()> {
    match target {
        Target::Tcp(address) => {
            let server = TcpStream::connect(address)?;
            let (from, to) = (server.try_clone()?, client.try_clone()?);
            thread::spawn(move || pass(from, to, |to| to.shutdown(Shutdown::Both)));
            thread::spawn(move || pass(client, server, |to| to.shutdown(Shutdown::Both)));
        }
        Target::Socket(path) => {
            let server = UnixStream::connect(path)?;
            let (from, to) = (server.try_clone()?, client.try_clone()?);
            thread::spawn(move || pass(from, to, |to| to.shutdown(Shutdown::Both)));
            thread::spawn(move || pass(client, server, |to| to.shutdown(Shutdown::Both)));
        }
    }
    Ok(())
}

fn pass<R: io::Read, W: io::Write>(mut from: R, mut to: W, close: impl Fn(&W) -> io::Result<()>) {
    let _ = io::copy(&mut from, &mut to);
    let _ = close(&to);
}
