//! One Postgres main process, started here or found living.
//!
//! What is known about a process comes from `/proc`: Postgres changes into
//! its cluster's folder, so a process that stands there and runs a program
//! named postgres belongs to the cluster, and a recycled process id does not.

use std::{
    fs, io,
    path::{Path, PathBuf},
    process::ExitStatus,
    time::Duration,
};

use rustix::process::{Pid, Signal, kill_process};
use tokio::{process::Child, time::sleep};

const POLL: Duration = Duration::from_millis(20);

/// What `postmaster.pid` says of a start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Phase {
    /// Recovering or not there yet.
    Starting,
    /// Takes connections.
    Ready,
    /// Was told to stop.
    Stopping,
}

/// A living main process of the cluster.
#[derive(Debug)]
pub(super) struct Postmaster {
    pid: Pid,
    cluster: PathBuf,
    /// Known when this process started it, and only then to be waited for.
    child: Option<Child>,
}

impl Postmaster {
    pub(super) fn of_child(child: Child, cluster: &Path) -> Option<Self> {
        let pid = Pid::from_raw(i32::try_from(child.id()?).ok()?)?;
        Some(Self {
            pid,
            cluster: cluster.to_owned(),
            child: Some(child),
        })
    }

    /// The living main process of the cluster that another server started.
    pub(super) fn find(cluster: &Path) -> Option<Self> {
        let text = fs::read_to_string(pid_file(cluster)).ok()?;
        let pid = Pid::from_raw(text.lines().next()?.trim().parse().ok()?)?;
        runs_in(pid, cluster).then(|| Self {
            pid,
            cluster: cluster.to_owned(),
            child: None,
        })
    }

    pub(super) fn pid(&self) -> Pid {
        self.pid
    }

    pub(super) fn is_adopted(&self) -> bool {
        self.child.is_none()
    }

    /// The phase that this very process last wrote down.
    pub(super) fn phase(&self) -> Phase {
        fs::read_to_string(pid_file(&self.cluster))
            .ok()
            .and_then(|text| phase_in(&text, self.pid))
            .unwrap_or(Phase::Starting)
    }

    pub(super) fn signal(&self, signal: Signal) {
        // A process that is gone already needs no signal.
        let _ = signal_living(self.pid, &self.cluster, signal);
    }

    /// Waits until the process has ended; may be dropped and called again.
    pub(super) async fn ended(&mut self) -> Option<ExitStatus> {
        match &mut self.child {
            Some(child) => child.wait().await.ok(),
            None => {
                while runs_in(self.pid, &self.cluster) {
                    sleep(POLL).await;
                }
                None
            }
        }
    }
}

/// Signals a process if it still is one of the cluster.
pub(super) fn signal_living(pid: Pid, cluster: &Path, signal: Signal) -> io::Result<()> {
    if runs_in(pid, cluster) {
        kill_process(pid, signal)?;
    }
    Ok(())
}

/// Processes of a Postgres whose main process is dead.
pub(super) fn leftovers(cluster: &Path) -> Vec<Pid> {
    let Ok(entries) = fs::read_dir("/proc") else {
        return Vec::new();
    };
    entries
        .flatten()
        .filter_map(|entry| Pid::from_raw(entry.file_name().to_str()?.parse().ok()?))
        .filter(|&pid| runs_in(pid, cluster))
        .collect()
}

pub(super) fn pid_file(cluster: &Path) -> PathBuf {
    cluster.join("postmaster.pid")
}

/// Whether a living process with this id is a Postgres of the cluster. A
/// zombie stands in no folder, so it counts as gone.
fn runs_in(pid: Pid, cluster: &Path) -> bool {
    let link = |name: &str| fs::read_link(format!("/proc/{}/{name}", pid.as_raw_pid()));
    let stands = link("cwd").is_ok_and(|folder| folder == cluster);
    // After an upgrade of the package the name ends in " (deleted)".
    stands
        && link("exe").is_ok_and(|exe| {
            exe.file_name()
                .and_then(|name| name.to_str())
                .is_some_and(|name| name == "postgres" || name == "postgres (deleted)")
        })
}

/// The eighth line of `postmaster.pid` (PostgreSQL source,
/// `src/include/utils/pidfile.h`: `LOCK_FILE_LINE_PM_STATUS`).
fn phase_in(text: &str, pid: Pid) -> Option<Phase> {
    let mut lines = text.lines();
    let writer: i32 = lines.next()?.trim().parse().ok()?;
    if writer != pid.as_raw_pid() {
        return None;
    }
    match lines.nth(6)?.trim() {
        "ready" => Some(Phase::Ready),
        "stopping" => Some(Phase::Stopping),
        _ => Some(Phase::Starting),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pid(raw: i32) -> Pid {
        Pid::from_raw(raw).unwrap()
    }

    #[test]
    fn the_phase_is_read_only_from_the_process_that_wrote_it() {
        let text = |status: &str| {
            format!("4711\n/data\n1700000000\n5432\n/data/socket\n\n  1234  5678\n{status}\n")
        };
        assert_eq!(phase_in(&text("ready   "), pid(4711)), Some(Phase::Ready));
        assert_eq!(
            phase_in(&text("stopping"), pid(4711)),
            Some(Phase::Stopping)
        );
        assert_eq!(
            phase_in(&text("starting"), pid(4711)),
            Some(Phase::Starting)
        );
        assert_eq!(phase_in(&text("ready"), pid(4712)), None);
        assert_eq!(phase_in("4711\n/data\n", pid(4711)), None);
        assert_eq!(phase_in("", pid(4711)), None);
    }

    #[test]
    fn a_recycled_process_id_is_not_taken_for_postgres() {
        let here = std::env::current_dir().unwrap();
        let me = pid(i32::try_from(std::process::id()).unwrap());
        assert!(!runs_in(me, &here));
        fs::read_link(format!("/proc/{}/cwd", me.as_raw_pid())).unwrap();
        let folder = tempfile::tempdir().unwrap();
        fs::write(pid_file(folder.path()), format!("{}\n", me.as_raw_pid())).unwrap();
        assert!(Postmaster::find(folder.path()).is_none());
    }
}
