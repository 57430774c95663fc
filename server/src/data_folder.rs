//! The data folder: one server's own place on disk, locked while it runs.

use std::{
    fs::{self, DirBuilder, File, OpenOptions, TryLockError},
    io::{self, ErrorKind, Read, Seek, Write},
    os::unix::fs::{DirBuilderExt, OpenOptionsExt},
    path::{Path, PathBuf},
};

const LOCK: &str = "server.lock";

/// An opened data folder. While it lives no other server can open the same.
///
/// The lock is the kernel's and ends with the process, however it ends.
#[derive(Debug)]
pub struct DataFolder {
    path: PathBuf,
    _lock: File,
}

/// The data folder cannot be used; the message names it and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum DataFolderError {
    /// A folder on the way cannot be entered by this user.
    #[error(
        "the data folder {} cannot be reached: this user ({user}) may not enter {}; let it enter \
         that folder or choose another data folder with SECONDCAN_DATA", .path.display(), .closed.display()
    )]
    Unreachable {
        /// The data folder.
        path: PathBuf,
        /// The folder that is closed to this user.
        closed: PathBuf,
        /// Who this user is.
        user: String,
    },
    /// The folder is missing and this user may not make it.
    #[error(
        "the data folder {} does not exist and this user ({user}) may not make it; make it with: \
         sudo install -d -o {user} -m 700 {}", .path.display(), .path.display()
    )]
    CannotMake {
        /// The data folder.
        path: PathBuf,
        /// Who this user is.
        user: String,
    },
    /// The folder is there and this user may not write into it.
    #[error(
        "the data folder {} is not writable for this user ({user}); give it to it with: \
         sudo chown -R {user}: {} — or choose another with SECONDCAN_DATA", .path.display(), .path.display()
    )]
    NotWritable {
        /// The data folder.
        path: PathBuf,
        /// Who this user is.
        user: String,
    },
    /// Something else has the name.
    #[error("{} is not a folder; choose another data folder with SECONDCAN_DATA", .path.display())]
    NotAFolder {
        /// The data folder.
        path: PathBuf,
    },
    /// Another server runs in it.
    #[error(
        "the data folder {} is in use by another secondcan-server (process {holder}); stop that \
         one first, or give this one a folder of its own with SECONDCAN_DATA", .path.display()
    )]
    InUse {
        /// The data folder.
        path: PathBuf,
        /// The other server's process id as it wrote it down.
        holder: String,
    },
    /// Anything else, such as a full disk.
    #[error("cannot use the data folder {}", .path.display())]
    Io {
        /// The data folder or the file in it.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
}

impl DataFolder {
    /// Makes the folder where it is missing (mode 0700) and locks it.
    ///
    /// # Errors
    /// [`DataFolderError`] names the folder, the user and the remedy.
    pub fn open(path: &Path) -> Result<Self, DataFolderError> {
        if let Err(error) = DirBuilder::new().mode(0o700).recursive(true).create(path) {
            return Err(explain_making(path, error));
        }
        // The name that /proc shows for a process working in it.
        let path = fs::canonicalize(path).map_err(|error| explain_making(path, error))?;
        let lock_path = path.join(LOCK);
        let mut lock = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(&lock_path)
            .map_err(|source| match source.kind() {
                ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
                    DataFolderError::NotWritable {
                        path: path.clone(),
                        user: user(),
                    }
                }
                _ => DataFolderError::Io {
                    path: lock_path.clone(),
                    source,
                },
            })?;
        let io = |source| DataFolderError::Io {
            path: lock_path.clone(),
            source,
        };
        match lock.try_lock() {
            Ok(()) => (),
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                let _ = lock.read_to_string(&mut holder);
                return Err(DataFolderError::InUse {
                    path,
                    holder: holder.trim().to_owned(),
                });
            }
            Err(TryLockError::Error(source)) => return Err(io(source)),
        }
        lock.set_len(0).map_err(io)?;
        lock.rewind().map_err(io)?;
        writeln!(lock, "{}", std::process::id()).map_err(io)?;
        Ok(Self { path, _lock: lock })
    }

    /// The folder's full path without symbolic links.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

fn explain_making(path: &Path, error: io::Error) -> DataFolderError {
    let path = path.to_owned();
    match error.kind() {
        ErrorKind::PermissionDenied => match closed_folder(&path) {
            Some(closed) => DataFolderError::Unreachable {
                path,
                closed,
                user: user(),
            },
            None => DataFolderError::CannotMake { path, user: user() },
        },
        ErrorKind::ReadOnlyFilesystem => DataFolderError::NotWritable { path, user: user() },
        ErrorKind::AlreadyExists | ErrorKind::NotADirectory => DataFolderError::NotAFolder { path },
        _ => DataFolderError::Io {
            path,
            source: error,
        },
    }
}

/// The first folder on the way to `path` that cannot be entered.
fn closed_folder(path: &Path) -> Option<PathBuf> {
    let mut way: Vec<&Path> = path.ancestors().collect();
    way.reverse();
    way.windows(2).find_map(|pair| {
        let denied =
            fs::metadata(pair[1]).is_err_and(|error| error.kind() == ErrorKind::PermissionDenied);
        denied.then(|| pair[0].to_owned())
    })
}

/// This process's user by name, or by number where it has none.
fn user() -> String {
    let uid = rustix::process::geteuid().as_raw().to_string();
    fs::read_to_string("/etc/passwd")
        .ok()
        .and_then(|passwd| {
            passwd.lines().find_map(|line| {
                let mut fields = line.split(':');
                let name = fields.next()?;
                (fields.nth(1)? == uid).then(|| name.to_owned())
            })
        })
        .unwrap_or(uid)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_server_is_refused_until_the_first_is_gone() {
        let parent = tempfile::tempdir().unwrap();
        let path = parent.path().join("a/b");
        let first = DataFolder::open(&path).unwrap();
        let message = DataFolder::open(&path).unwrap_err().to_string();
        assert!(message.contains(&format!("(process {})", std::process::id())));
        assert!(message.contains("SECONDCAN_DATA"));
        drop(first);
        DataFolder::open(&path).unwrap();
    }

    #[test]
    fn a_file_in_the_folders_place_is_named() {
        let parent = tempfile::tempdir().unwrap();
        let path = parent.path().join("file");
        fs::write(&path, "x").unwrap();
        let message = DataFolder::open(&path).unwrap_err().to_string();
        assert!(message.contains("is not a folder"), "{message}");
        let below = DataFolder::open(&path.join("x")).unwrap_err().to_string();
        assert!(below.contains("is not a folder"), "{below}");
    }
}
