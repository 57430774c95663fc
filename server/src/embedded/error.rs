use std::{io, path::PathBuf};

use crate::store::setup::SetupError;

/// The private Postgres cannot be run; the message names what and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum EmbeddedError {
    /// No usable Postgres is installed and there is no cluster yet.
    #[error(
        "PostgreSQL {minimum} or newer is not installed (looked for initdb and postgres in \
         {searched}{found}). Install it: sudo apt install postgresql (Debian, Ubuntu), \
         sudo dnf install postgresql-server postgresql-contrib (Fedora); or name the folder of its \
         programs in SECONDCAN_POSTGRES_BIN; or use a Postgres of your own with DATABASE_URL",
        minimum = super::programs::MINIMUM
    )]
    NoPostgres {
        /// The folders that were searched.
        searched: String,
        /// Versions that are there and too old.
        found: String,
    },
    /// The cluster was made by a version that is not installed any more.
    #[error(
        "the data in {} was made by PostgreSQL {major}, whose programs are not installed (looked \
         in {searched}{found}). Install them again: sudo apt install postgresql-{major}; where an \
         upgrade of the system took that package away, take it from PostgreSQL's own package \
         repository. The data is untouched", .cluster.display()
    )]
    PostgresGone {
        /// The cluster's folder.
        cluster: PathBuf,
        /// The major version that made it.
        major: u32,
        /// The folders that were searched.
        searched: String,
        /// The versions that are there instead.
        found: String,
    },
    /// PG_VERSION holds no version.
    #[error("{} does not hold a PostgreSQL version; restore the data folder from a backup", .path.display())]
    BadVersionFile {
        /// The file.
        path: PathBuf,
    },
    /// The passwords of the cluster are gone or unreadable.
    #[error(
        "the cluster in the data folder is there, but {} with its passwords is {problem}; put \
         that file back from a copy (it is not part of a database backup)", .path.display()
    )]
    Credentials {
        /// The file.
        path: PathBuf,
        /// Missing or damaged.
        problem: &'static str,
    },
    /// The socket folder could be somebody else's.
    #[error(
        "the socket folder {} is not a folder of this user alone (mode 0700); remove it, or choose \
         a data folder with a shorter path, which then holds the socket itself", .path.display()
    )]
    SocketFolder {
        /// The folder.
        path: PathBuf,
    },
    /// initdb failed.
    #[error("making the cluster in {} failed; initdb said: {output}", .path.display())]
    Initdb {
        /// Where.
        path: PathBuf,
        /// The end of what initdb printed.
        output: String,
    },
    /// Postgres ended while it started.
    #[error("Postgres ended while starting ({status}); it said: {log}")]
    EndedAtStart {
        /// Its exit status.
        status: String,
        /// The end of its log.
        log: String,
    },
    /// Processes of a killed Postgres do not end.
    #[error(
        "processes of a Postgres that was killed still use {} and do not end: {pids}; end them \
         with: kill -QUIT {pids}", .cluster.display()
    )]
    Orphans {
        /// The cluster's folder.
        cluster: PathBuf,
        /// Their process ids.
        pids: String,
    },
    /// Postgres survived every stop signal.
    #[error(
        "Postgres (process {pid}) does not stop; it is left running and is adopted at the next start"
    )]
    DoesNotStop {
        /// Its process id.
        pid: i32,
    },
    /// A file or process operation failed.
    #[error("cannot {doing} {}", .path.display())]
    Io {
        /// What was tried.
        doing: &'static str,
        /// On what.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// The roles or the database could not be set up.
    #[error("cannot set up the private Postgres")]
    Setup(#[from] SetupError),
}

impl EmbeddedError {
    /// For `map_err` on a file operation.
    pub(super) fn io(
        doing: &'static str,
        path: impl Into<PathBuf>,
    ) -> impl FnOnce(io::Error) -> Self {
        let path = path.into();
        move |source| Self::Io {
            doing,
            path,
            source,
        }
    }
}
