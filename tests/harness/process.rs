//! The real programs: built once, spawned, asked, and taken down.

use std::{
    env,
    ffi::OsStr,
    fs::{self, File},
    io::{BufRead, BufReader, Write},
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
    process::{Child, Command, ExitStatus, Stdio},
    sync::{LazyLock, mpsc},
    thread,
    time::{Duration, Instant},
};

use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use crate::cluster::{TestDatabase, workspace};

/// A first start on a busy machine makes a cluster and migrates.
const START: Duration = Duration::from_secs(90);
const STOP: Duration = Duration::from_secs(30);

/// The path of `secondcan-server`.
#[must_use]
pub fn server_program() -> PathBuf {
    PROGRAMS.join("secondcan-server")
}

/// The path of the CLI, `secondcan`.
#[must_use]
pub fn cli_program() -> PathBuf {
    PROGRAMS.join("secondcan")
}

/// The folder of both programs. `./test` builds them beforehand and names it
/// in `SECONDCAN_TEST_PROGRAMS`; else the first test of a process builds.
static PROGRAMS: LazyLock<PathBuf> = LazyLock::new(|| {
    if let Some(folder) = env::var_os("SECONDCAN_TEST_PROGRAMS") {
        return folder.into();
    }
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(&cargo)
        .current_dir(workspace())
        .args(["build", "--quiet", "--bins"])
        .args(["-p", "secondcan-server", "-p", "secondcan-cli"])
        .status()
        .unwrap();
    assert!(built.success(), "the programs do not build");
    let metadata = Command::new(&cargo)
        .current_dir(workspace())
        .args(["metadata", "--no-deps", "--format-version=1"])
        .output()
        .unwrap();
    let metadata: serde_json::Value = serde_json::from_slice(&metadata.stdout).unwrap();
    Path::new(metadata["target_directory"].as_str().unwrap()).join("debug")
});

/// A folder that the server can make its data folder in, also when root
/// starts it and it becomes another user.
fn reachable_folder() -> TempDir {
    let folder = tempfile::Builder::new()
        .prefix("secondcan-test-")
        .tempdir_in("/tmp")
        .unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o777)).unwrap();
    folder
}

/// A program with nothing of this process's environment but PATH.
fn bare(program: impl AsRef<OsStr>) -> Command {
    let mut command = Command::new(program);
    command.env_clear().env("LANG", "C.UTF-8");
    if let Some(path) = env::var_os("PATH") {
        command.env("PATH", path);
    }
    command
}

/// Runs `secondcan-server migrate` on a database of its own.
pub(crate) fn migrate(app_url: &str, owner_url: &str) {
    let folder = reachable_folder();
    let output = bare(server_program())
        .arg("migrate")
        .env("SECONDCAN_DATA", folder.path().join("data"))
        .env("DATABASE_URL", app_url)
        .env("DATABASE_OWNER_URL", owner_url)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "secondcan-server migrate: {errors}"
    );
}

/// How to start a server.
#[derive(Debug)]
pub struct ServerPlan {
    folder: TempDir,
    variables: Vec<(String, String)>,
}

impl ServerPlan {
    /// On a database of the tests' cluster, as the app role alone.
    #[must_use]
    pub fn on(database: &TestDatabase) -> Self {
        Self::embedded().with("DATABASE_URL", &database.app_url())
    }

    /// With its own private Postgres.
    #[must_use]
    pub fn embedded() -> Self {
        Self {
            folder: reachable_folder(),
            variables: Vec::new(),
        }
    }

    /// Adds an environment variable.
    #[must_use]
    pub fn with(mut self, name: &str, value: &str) -> Self {
        self.variables.push((name.to_owned(), value.to_owned()));
        self
    }

    /// The data folder, the same for every start of this plan.
    #[must_use]
    pub fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// A command of `secondcan-server` with this plan's environment, port 0.
    #[must_use]
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = bare(server_program());
        command
            .args(arguments)
            .env("SECONDCAN_DATA", self.data())
            .env("SECONDCAN_LISTEN", "127.0.0.1:0")
            .envs(self.variables.iter().map(|(name, value)| (name, value)))
            .stdin(Stdio::null());
        command
    }

    /// Starts the server and waits until `GET /ready` answers 200.
    ///
    /// # Panics
    /// When it ends or is not ready in time, with what it said.
    #[must_use]
    pub fn serve(&self) -> Server {
        let log = self.folder.path().join("server.log");
        let mut child = self
            .command(&["serve"])
            .stdout(Stdio::piped())
            .stderr(File::create(&log).unwrap())
            .spawn()
            .unwrap();
        let stdout = BufReader::new(child.stdout.take().unwrap());
        let (sender, lines) = mpsc::channel();
        thread::spawn(move || {
            // Read to the end, so that the server never waits for a reader.
            for line in stdout.lines().map_while(Result::ok) {
                let _ = sender.send(line);
            }
        });
        let mut server = Server {
            child,
            url: String::new(),
            log,
        };
        let deadline = Instant::now() + START;
        server.url = loop {
            let left = deadline.saturating_duration_since(Instant::now());
            match lines.recv_timeout(left) {
                Ok(line) => {
                    if let Some(url) = line.strip_prefix("listening on ") {
                        break url.to_owned();
                    }
                }
                Err(_) => panic!("the server did not start: {}", server.log()),
            }
        };
        while !server.is_ready() {
            assert!(
                Instant::now() < deadline,
                "the server did not become ready: {}",
                server.log()
            );
            thread::sleep(Duration::from_millis(20));
        }
        server
    }
}

/// A running server; stopped in order when dropped.
#[derive(Debug)]
pub struct Server {
    child: Child,
    url: String,
    log: PathBuf,
}

impl Server {
    /// `http://127.0.0.1:PORT`.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Its process id.
    #[must_use]
    pub fn pid(&self) -> Pid {
        Pid::from_child(&self.child)
    }

    /// What it logged so far.
    #[must_use]
    pub fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Whether `GET /ready` answers 200 now.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        ureq::get(format!("{}/ready", self.url))
            .config()
            .timeout_global(Some(Duration::from_secs(5)))
            .build()
            .call()
            .is_ok()
    }

    /// `kill -9`: its private Postgres lives on.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Ctrl-C, and how it ended.
    ///
    /// # Panics
    /// When it has not ended after 30 s.
    pub fn interrupt(mut self) -> ExitStatus {
        self.end_by(Signal::INT)
            .unwrap_or_else(|| panic!("the server does not stop: {}", self.log()))
    }

    fn end_by(&mut self, signal: Signal) -> Option<ExitStatus> {
        if let Some(status) = self.child.try_wait().ok()? {
            return Some(status);
        }
        kill_process(self.pid(), signal).ok()?;
        let deadline = Instant::now() + STOP;
        while Instant::now() < deadline {
            if let Some(status) = self.child.try_wait().ok()? {
                return Some(status);
            }
            thread::sleep(Duration::from_millis(10));
        }
        None
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // In order, so that a private Postgres ends with it.
        if self.end_by(Signal::TERM).is_none() {
            let _ = self.child.kill();
            let _ = self.child.wait();
        }
    }
}

/// One person's CLI with a home folder of its own.
#[derive(Debug)]
pub struct Cli {
    home: TempDir,
    url: String,
}

impl Cli {
    /// A CLI that talks to the server.
    #[must_use]
    pub fn of(server: &Server) -> Self {
        Self::at(server.url())
    }

    /// A CLI that talks to whatever is at the URL.
    #[must_use]
    pub fn at(url: &str) -> Self {
        Self {
            home: tempfile::tempdir().unwrap(),
            url: url.to_owned(),
        }
    }

    /// The folder of `SECONDCAN_HOME`.
    #[must_use]
    pub fn home(&self) -> &Path {
        self.home.path()
    }

    /// Points the same home at another server.
    pub fn move_to(&mut self, server: &Server) {
        server.url().clone_into(&mut self.url);
    }

    /// A command of `secondcan`, for tests that start it themselves.
    #[must_use]
    pub fn command<A: AsRef<OsStr>>(&self, arguments: &[A]) -> Command {
        let mut command = bare(cli_program());
        command
            .args(arguments)
            .env("SECONDCAN_URL", &self.url)
            .env("SECONDCAN_HOME", self.home.path());
        command
    }

    /// Runs `secondcan` with nothing on stdin.
    #[must_use]
    pub fn run<A: AsRef<OsStr>>(&self, arguments: &[A]) -> CliOutput {
        self.run_with_input(arguments, b"")
    }

    /// Runs `secondcan` with text on stdin, such as a password.
    #[must_use]
    pub fn run_with_input<A: AsRef<OsStr>>(&self, arguments: &[A], input: &[u8]) -> CliOutput {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_owned();
        // Beside the reading: long input and long output must not wait for
        // each other. A program may also end without reading all.
        let writer = thread::spawn(move || {
            let _ = stdin.write_all(&input);
        });
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap();
        CliOutput {
            code: output.status.code(),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

/// How a CLI run ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CliOutput {
    /// The exit code; none when a signal ended it.
    pub code: Option<i32>,
    /// What a program would read.
    pub stdout: String,
    /// What a person is told.
    pub stderr: String,
}

impl CliOutput {
    /// The output, if the run ended with this code.
    ///
    /// # Panics
    /// When it ended otherwise, with what it said.
    #[must_use]
    #[track_caller]
    pub fn expect_code(self, code: i32) -> Self {
        assert_eq!(
            self.code,
            Some(code),
            "stdout: {}\nstderr: {}",
            self.stdout,
            self.stderr
        );
        self
    }

    /// The one JSON document on stdout.
    ///
    /// # Panics
    /// When stdout holds anything else.
    #[must_use]
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| {
            panic!(
                "stdout is not one JSON document ({error}): {}\nstderr: {}",
                self.stdout, self.stderr
            )
        })
    }
}
