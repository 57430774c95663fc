//! A private, real Postgres in the data folder.
//!
//! ```text
//! DATA/cluster.json   passwords of the three roles, 0600
//! DATA/postgres/      the cluster
//! DATA/postgres.start what Postgres said before its log was open
//! DATA/log/           its log, one file a weekday
//! DATA/socket/        its socket, 0700; under /tmp where the path is too long
//! ```
//!
//! Postgres stands in a process group of its own: Ctrl-C at a terminal goes to
//! the server alone, which drains its requests and then stops Postgres.
//! Killed with -9, a server leaves Postgres running, and the next one on the
//! same data folder adopts it. A Postgres that dies under a living server is
//! started again on the same socket.

mod credentials;
mod error;
mod postmaster;
mod programs;
mod socket;

use std::{
    fs::{self, OpenOptions},
    io::ErrorKind,
    os::unix::fs::OpenOptionsExt,
    path::{Path, PathBuf},
    process::Stdio,
    sync::{
        Arc,
        atomic::{AtomicI32, Ordering},
    },
    time::Duration,
};

use rustix::process::{Pid, Signal};
use tokio::{
    process::Command,
    sync::oneshot,
    task::JoinHandle,
    time::{Instant, sleep, timeout},
};

pub use self::error::EmbeddedError;
use self::{
    credentials::Credentials,
    postmaster::{Phase, Postmaster},
    programs::Programs,
};
use crate::{
    config::DatabaseUrl,
    data_folder::DataFolder,
    store::setup::{self, APP_ROLE, DATABASE, OWNER_ROLE, Passwords},
};

/// The role that initdb makes; used for setting up and by nothing else.
const SUPERUSER: &str = "secondcan_superuser";

/// How long connections may take to close by themselves. The server closes
/// its pool before it stops Postgres, so only a tool of somebody else waits.
const SMART_STOP: Duration = Duration::from_secs(3);
/// How long ending all connections and writing a checkpoint may take.
const FAST_STOP: Duration = Duration::from_secs(60);
/// What is left then is ended without a checkpoint; the log makes it whole.
const IMMEDIATE_STOP: Duration = Duration::from_secs(10);
/// How long processes of a killed Postgres may take to notice.
const LEFTOVERS: Duration = Duration::from_secs(5);
const POLL: Duration = Duration::from_millis(20);
/// A Postgres that lived this long starts again without a pause.
const STEADY: Duration = Duration::from_secs(60);
const LONGEST_PAUSE: Duration = Duration::from_secs(10);

/// A running private cluster.
///
/// Call [`Cluster::stop`] after closing every pool. Dropped without that,
/// Postgres is told to stop at once but not waited for.
#[derive(Debug)]
pub struct Cluster {
    app_url: DatabaseUrl,
    owner_url: DatabaseUrl,
    path: PathBuf,
    /// The main process, 0 while there is none.
    pid: Arc<AtomicI32>,
    stop: Option<oneshot::Sender<()>>,
    keeper: Option<JoinHandle<Result<(), EmbeddedError>>>,
}

impl Cluster {
    /// The app role's URL (`secondcan_app`), valid across restarts of Postgres.
    #[must_use]
    pub fn app_url(&self) -> &DatabaseUrl {
        &self.app_url
    }

    /// The owner's URL (`secondcan_owner`).
    #[must_use]
    pub fn owner_url(&self) -> &DatabaseUrl {
        &self.owner_url
    }

    /// Stops Postgres: smart, after 3 s fast, and waits until it has ended.
    ///
    /// # Errors
    /// [`EmbeddedError::DoesNotStop`] when Postgres survives that.
    pub async fn stop(mut self) -> Result<(), EmbeddedError> {
        drop(self.stop.take());
        match self.keeper.take() {
            Some(keeper) => keeper
                .await
                .unwrap_or_else(|error| match error.try_into_panic() {
                    Ok(panic) => std::panic::resume_unwind(panic),
                    Err(_cancelled) => Ok(()),
                }),
            None => Ok(()),
        }
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let Some(keeper) = &self.keeper else { return };
        keeper.abort();
        if let Some(pid) = Pid::from_raw(self.pid.load(Ordering::SeqCst)) {
            let _ = postmaster::signal_living(pid, &self.path, Signal::INT);
        }
    }
}

/// Starts or adopts the cluster of the data folder, making it at the first
/// start, and waits until it takes connections and has the two roles and the
/// database.
///
/// Dropping the future midway stops a Postgres that was being started.
///
/// # Errors
/// [`EmbeddedError`] says what is missing and the remedy.
pub async fn start(data: &DataFolder) -> Result<Cluster, EmbeddedError> {
    let plan = Plan::prepare(data.path()).await?;
    let running = plan.launch().await?;
    let passwords = Passwords {
        owner: &plan.credentials.owner,
        app: &plan.credentials.app,
    };
    setup::prepare(
        &plan.superuser_url("postgres"),
        &plan.superuser_url(DATABASE),
        &passwords,
    )
    .await?;

    let url = |role, password| DatabaseUrl::by_socket(role, password, DATABASE, &plan.socket);
    let (app_url, owner_url) = (
        url(APP_ROLE, &plan.credentials.app),
        url(OWNER_ROLE, &plan.credentials.owner),
    );
    let pid = Arc::new(AtomicI32::new(running.0.pid().as_raw_pid()));
    let path = plan.cluster.clone();
    let (stop, stopped) = oneshot::channel();
    let keeper = tokio::spawn(keep(plan, running, stopped, Arc::clone(&pid)));
    Ok(Cluster {
        app_url,
        owner_url,
        path,
        pid,
        stop: Some(stop),
        keeper: Some(keeper),
    })
}

/// The app role's URL of the cluster that a running server holds up in this data folder.
///
/// # Errors
/// [`EmbeddedError`] when its credentials can't be read.
pub fn living(data: &Path) -> Result<DatabaseUrl, EmbeddedError> {
    let credentials = Credentials::open(data, true)?;
    let socket = socket::folder(data);
    Ok(DatabaseUrl::by_socket(
        APP_ROLE,
        &credentials.app,
        DATABASE,
        &socket,
    ))
}

/// A Postgres that is told to stop when nobody took charge of it.
struct Running(Postmaster);

impl Drop for Running {
    fn drop(&mut self) {
        self.0.signal(Signal::INT);
    }
}

/// Holds Postgres up until told to stop.
async fn keep(
    plan: Plan,
    mut running: Running,
    mut stopped: oneshot::Receiver<()>,
    pid: Arc<AtomicI32>,
) -> Result<(), EmbeddedError> {
    let mut pause = Duration::ZERO;
    loop {
        let since = Instant::now();
        let status = tokio::select! {
            // Sent or dropped: both mean that nobody needs Postgres any more.
            _ = &mut stopped => {
                stop(&mut running.0).await?;
                // Made again at the next start; nothing stays under /tmp.
                let _ = fs::remove_dir(&plan.socket);
                return Ok(());
            }
            status = running.0.ended() => status,
        };
        pid.store(0, Ordering::SeqCst);
        let status = status.map_or_else(|| "unknown".to_owned(), |status| status.to_string());
        tracing::error!(status, "Postgres ended by itself; starting it again");
        if since.elapsed() >= STEADY {
            pause = Duration::ZERO;
        }
        running = loop {
            tokio::select! {
                _ = &mut stopped => return Ok(()),
                () = sleep(pause) => (),
            }
            let mut again = std::pin::pin!(plan.launch());
            let launched = tokio::select! {
                // It may be up already and only not have said so: what was started is stopped and waited for.
                _ = &mut stopped => {
                    if let Ok(mut late) = again.await {
                        stop(&mut late.0).await?;
                    }
                    let _ = fs::remove_dir(&plan.socket);
                    return Ok(());
                }
                launched = &mut again => launched,
            };
            pause = (pause * 2).clamp(Duration::from_millis(200), LONGEST_PAUSE);
            match launched {
                Ok(running) => break running,
                Err(error) => {
                    let error = anyhow::Error::from(error);
                    tracing::error!("Postgres does not start: {error:#}; trying again");
                }
            }
        };
        pid.store(running.0.pid().as_raw_pid(), Ordering::SeqCst);
        tracing::info!("Postgres is back");
    }
}

async fn stop(postmaster: &mut Postmaster) -> Result<(), EmbeddedError> {
    let steps = [
        (Signal::TERM, SMART_STOP),
        (Signal::INT, FAST_STOP),
        (Signal::QUIT, IMMEDIATE_STOP),
    ];
    for (signal, patience) in steps {
        postmaster.signal(signal);
        if timeout(patience, postmaster.ended()).await.is_ok() {
            return Ok(());
        }
        tracing::warn!(
            seconds = patience.as_secs(),
            "Postgres has not stopped yet; asking more firmly"
        );
    }
    Err(EmbeddedError::DoesNotStop {
        pid: postmaster.pid().as_raw_pid(),
    })
}

/// Everything a start needs, so that a restart needs nothing new.
struct Plan {
    data: PathBuf,
    cluster: PathBuf,
    socket: PathBuf,
    programs: Programs,
    credentials: Credentials,
}

impl Plan {
    async fn prepare(data: &Path) -> Result<Self, EmbeddedError> {
        let cluster = data.join("postgres");
        let made_by = read_version(&cluster)?;
        let wanted = made_by.map(|major| (major, cluster.as_path()));
        let programs = programs::find(wanted).await?;
        let credentials = Credentials::open(data, made_by.is_some())?;
        let plan = Self {
            socket: socket::folder(data),
            data: data.to_owned(),
            cluster,
            programs,
            credentials,
        };
        if made_by.is_none() {
            plan.make_cluster().await?;
        }
        Ok(plan)
    }

    fn superuser_url(&self, database: &str) -> DatabaseUrl {
        DatabaseUrl::by_socket(
            SUPERUSER,
            &self.credentials.superuser,
            database,
            &self.socket,
        )
    }

    /// Runs initdb beside the final place and renames at the end, so that a
    /// crash in between leaves nothing that looks like a cluster.
    async fn make_cluster(&self) -> Result<(), EmbeddedError> {
        let path = &self.cluster;
        tracing::info!(
            folder = %path.display(),
            version = self.programs.major,
            "making a private Postgres cluster"
        );
        remove_unfinished(&self.data)?;
        let name = format!("postgres.new-{:08x}", rand::random::<u32>());
        let unfinished = self.data.join(name);
        let password_file = self.data.join(".superuser-password");
        credentials::write_secret(&password_file, self.credentials.superuser.as_bytes())
            .map_err(EmbeddedError::io("write", &password_file))?;
        let output = self
            .command(&self.programs.initdb)
            .current_dir(&self.data)
            .arg("--pgdata")
            .arg(&unfinished)
            .arg("--pwfile")
            .arg(&password_file)
            // With LANG unset initdb would make SQL_ASCII, in which trigrams
            // of umlauts and Cyrillic vanish.
            .args(["--encoding=UTF8", "--locale=C.UTF-8", "--data-checksums"])
            .args(["--auth=scram-sha-256", "--no-instructions"])
            .arg(format!("--username={SUPERUSER}"))
            .kill_on_drop(true)
            .output()
            .await;
        let _ = fs::remove_file(&password_file);
        let output = output.map_err(EmbeddedError::io("run", &self.programs.initdb))?;
        if !output.status.success() {
            let said = [output.stdout, output.stderr].concat();
            let _ = fs::remove_dir_all(&unfinished);
            return Err(EmbeddedError::Initdb {
                path: path.clone(),
                output: end_of(&String::from_utf8_lossy(&said)),
            });
        }
        fs::rename(&unfinished, path).map_err(EmbeddedError::io("put in place", path))?;
        fs::File::open(&self.data)
            .and_then(|folder| folder.sync_all())
            .map_err(EmbeddedError::io("write", &self.data))
    }

    /// Adopts a living Postgres that answers, else starts one; returns when it
    /// takes connections.
    async fn launch(&self) -> Result<Running, EmbeddedError> {
        if let Some(found) = Postmaster::find(&self.cluster) {
            let mut found = Running(found);
            if found.0.phase() != Phase::Stopping
                && self.wait_until_ready(&mut found.0).await.is_ok()
            {
                tracing::info!(
                    pid = found.0.pid().as_raw_pid(),
                    "adopted the Postgres of a server that was killed"
                );
                return Ok(found);
            }
            found.0.signal(Signal::INT);
            stop(&mut found.0).await?;
        }
        self.wait_for_leftovers().await?;
        socket::make(&self.socket)?;
        socket::clear(&self.socket)?;
        self.spawn().await
    }

    async fn spawn(&self) -> Result<Running, EmbeddedError> {
        let said = self.data.join("postgres.start");
        let early = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(&said)
            .map_err(EmbeddedError::io("write", &said))?;
        let mut command = self.command(&self.programs.postgres);
        command
            .current_dir(&self.cluster)
            .arg("-D")
            .arg(&self.cluster)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(early)
            .process_group(0);
        for (name, value) in self.settings() {
            command.arg("-c").arg(format!("{name}={value}"));
        }
        let child = command
            .spawn()
            .map_err(EmbeddedError::io("run", &self.programs.postgres))?;
        let Some(postmaster) = Postmaster::of_child(child, &self.cluster) else {
            return Err(self.ended_at_start("unknown".to_owned()));
        };
        let mut running = Running(postmaster);
        self.wait_until_ready(&mut running.0).await?;
        tracing::info!(
            pid = running.0.pid().as_raw_pid(),
            version = self.programs.major,
            "Postgres is running"
        );
        Ok(running)
    }

    fn settings(&self) -> [(&'static str, String); 15] {
        let fixed = |value: &str| value.to_owned();
        [
            // No network: the socket in a folder of this user is the only door.
            ("listen_addresses", fixed("")),
            ("unix_socket_directories", self.socket.display().to_string()),
            ("unix_socket_permissions", fixed("0700")),
            ("port", fixed("5432")),
            ("timezone", fixed("UTC")),
            ("log_timezone", fixed("UTC")),
            ("logging_collector", fixed("on")),
            ("log_directory", fixed("../log")),
            ("log_filename", fixed("postgres-%a.log")),
            ("log_truncate_on_rotation", fixed("on")),
            ("log_rotation_age", fixed("1d")),
            ("log_rotation_size", fixed("0")),
            ("log_file_mode", fixed("0600")),
            // Statements and details of errors hold names of people.
            ("log_error_verbosity", fixed("terse")),
            ("log_min_error_statement", fixed("panic")),
        ]
    }

    fn log_folder(&self) -> PathBuf {
        self.data.join("log")
    }

    /// A program of Postgres that sees nothing of this server's environment.
    fn command(&self, program: &Path) -> Command {
        let mut command = Command::new(program);
        command.env_clear().env("LC_ALL", "C.UTF-8");
        if let Some(path) = std::env::var_os("PATH") {
            command.env("PATH", path);
        }
        command
    }

    /// Recovery after a crash takes as long as it takes: while the process
    /// lives this waits, and says so.
    async fn wait_until_ready(&self, postmaster: &mut Postmaster) -> Result<(), EmbeddedError> {
        let mut told = Instant::now();
        let url = self.superuser_url("postgres");
        loop {
            if let Ok(status) = timeout(POLL, postmaster.ended()).await {
                let status = status.map_or_else(|| "unknown".to_owned(), |s| s.to_string());
                return Err(self.ended_at_start(status));
            }
            if postmaster.phase() == Phase::Ready {
                return Ok(setup::ping(&url).await?);
            }
            if postmaster.is_adopted() && postmaster.phase() == Phase::Stopping {
                return Err(self.ended_at_start("stopping".to_owned()));
            }
            if told.elapsed() > Duration::from_secs(5) {
                told = Instant::now();
                tracing::info!("waiting for Postgres, which recovers from a crash");
            }
        }
    }

    fn ended_at_start(&self, status: String) -> EmbeddedError {
        let mut log = fs::read_to_string(self.data.join("postgres.start")).unwrap_or_default();
        if let Some(newest) = newest_file(&self.log_folder()) {
            log.push_str(&fs::read_to_string(newest).unwrap_or_default());
        }
        EmbeddedError::EndedAtStart {
            status,
            log: end_of(&log),
        }
    }

    /// After `kill -9` of the main process the others end by themselves when
    /// they notice; only then may the stale lock go, since it keeps a second
    /// Postgres from writing beside them.
    async fn wait_for_leftovers(&self) -> Result<(), EmbeddedError> {
        for signal in [None, Some(Signal::QUIT)] {
            let since = Instant::now();
            while since.elapsed() < LEFTOVERS {
                let left = postmaster::leftovers(&self.cluster);
                if left.is_empty() {
                    return self.remove_stale_lock();
                }
                if let Some(signal) = signal {
                    for pid in left {
                        let _ = postmaster::signal_living(pid, &self.cluster, signal);
                    }
                }
                sleep(POLL).await;
            }
        }
        let pids: Vec<_> = postmaster::leftovers(&self.cluster)
            .iter()
            .map(|pid| pid.as_raw_pid().to_string())
            .collect();
        Err(EmbeddedError::Orphans {
            cluster: self.cluster.clone(),
            pids: pids.join(" "),
        })
    }

    fn remove_stale_lock(&self) -> Result<(), EmbeddedError> {
        let path = postmaster::pid_file(&self.cluster);
        match fs::remove_file(&path) {
            Ok(()) => {
                tracing::warn!("removed the lock of a Postgres that was killed");
                Ok(())
            }
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
            Err(error) => Err(EmbeddedError::io("remove", path)(error)),
        }
    }
}

/// The major version that made the cluster; none where there is no cluster.
fn read_version(cluster: &Path) -> Result<Option<u32>, EmbeddedError> {
    let path = cluster.join("PG_VERSION");
    match fs::read_to_string(&path) {
        Ok(text) => text
            .trim()
            .parse()
            .map(Some)
            .map_err(|_| EmbeddedError::BadVersionFile { path }),
        Err(error) if error.kind() == ErrorKind::NotFound => {
            // A folder without the file is a damaged cluster, not a missing one.
            if cluster.exists() {
                Err(EmbeddedError::BadVersionFile { path })
            } else {
                Ok(None)
            }
        }
        Err(error) => Err(EmbeddedError::io("read", path)(error)),
    }
}

/// Removes what an initdb left that was cut short.
fn remove_unfinished(data: &Path) -> Result<(), EmbeddedError> {
    let entries = fs::read_dir(data).map_err(EmbeddedError::io("read", data))?;
    for entry in entries.flatten() {
        if entry
            .file_name()
            .to_string_lossy()
            .starts_with("postgres.new-")
        {
            fs::remove_dir_all(entry.path()).map_err(EmbeddedError::io("remove", entry.path()))?;
        }
    }
    Ok(())
}

fn newest_file(folder: &Path) -> Option<PathBuf> {
    fs::read_dir(folder)
        .ok()?
        .flatten()
        .max_by_key(|entry| entry.metadata().and_then(|found| found.modified()).ok())
        .map(|entry| entry.path())
}

/// The last lines, in one line, for an error message.
fn end_of(text: &str) -> String {
    let lines: Vec<_> = text
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect();
    if lines.is_empty() {
        return "nothing".to_owned();
    }
    lines[lines.len().saturating_sub(6)..].join(" / ")
}
