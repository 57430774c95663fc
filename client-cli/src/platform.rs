//! What differs from one operating system to the next: where files go, who may read them, locks.

use std::fs::{File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use uuid::Uuid;

/// The folder for login and kept requests when `SECONDCAN_HOME` is not set: the XDG state folder
/// (XDG Base Directory Specification 0.8), or the local application data on Windows.
pub(crate) fn default_home() -> Option<PathBuf> {
    let set = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    if cfg!(windows) {
        return set("LOCALAPPDATA").map(|folder| folder.join("secondcan"));
    }
    set("XDG_STATE_HOME")
        .filter(|folder| folder.is_absolute())
        .or_else(|| set("HOME").map(|home| home.join(".local").join("state")))
        .map(|folder| folder.join("secondcan"))
}

/// Creates a folder that only its owner may enter.
///
/// # Errors
/// When it can't be created.
pub(crate) fn create_private_folder(folder: &Path) -> io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt as _;
        builder.mode(0o700);
    }
    builder.create(folder)
}

fn private_options() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.write(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.mode(0o600);
    }
    options
}

/// Writes a file that only its owner may read, whole or not at all: a crash leaves the old one.
///
/// # Errors
/// When the folder can't be written.
pub(crate) fn write_private(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write_whole(path, bytes, &private_options())
}

/// Writes a file that others may read, whole or not at all.
///
/// # Errors
/// When the folder can't be written.
pub(crate) fn write_public(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true);
    write_whole(path, bytes, &options)
}

/// Writes a file that others may read, whole or not at all, and never over one that is there.
///
/// # Errors
/// `AlreadyExists` when something is there; or when the folder can't be written.
pub(crate) fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    let scratch = folder.join(format!(".{}.part", Uuid::new_v4().simple()));
    write_public(&scratch, bytes)?;
    // A link fails where something has the name, however lately it came; a file system without
    // links (a memory stick) leaves a moment between the look and the move.
    let linked = std::fs::hard_link(&scratch, path);
    let outcome = match linked {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists && !path.exists() => {
            return std::fs::rename(&scratch, path);
        }
        outcome => outcome,
    };
    // What is left behind if this fails is a whole copy, and no harm.
    let _ = std::fs::remove_file(&scratch);
    outcome
}

fn write_whole(path: &Path, bytes: &[u8], options: &OpenOptions) -> io::Result<()> {
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    let scratch = folder.join(format!(".{}.part", Uuid::new_v4().simple()));
    let written =
        options
            .clone()
            .create_new(true)
            .open(&scratch)
            .and_then(|mut file| -> io::Result<()> {
                file.write_all(bytes)?;
                file.sync_all()
            });
    let renamed = written.and_then(|()| std::fs::rename(&scratch, path));
    if renamed.is_err() {
        // The first error is the one to report; a scratch file left behind holds nothing unique.
        let _ = std::fs::remove_file(&scratch);
        return renamed;
    }
    sync_folder(folder)
}

#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    let folder = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Waits for the lock beside a file; it ends when the returned handle is dropped, also by a crash.
///
/// # Errors
/// When the lock file can't be made.
pub(crate) fn lock_beside(path: &Path) -> io::Result<File> {
    let file = private_options()
        .create(true)
        .truncate(false)
        .open(path.with_extension("lock"))?;
    file.lock()?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_file_replaces_none() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("export.cxf");
        write_new(&path, b"first").unwrap();
        let error = write_new(&path, b"second").unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(std::fs::read(&path).unwrap(), b"first");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn private_things_are_closed_to_others_also_when_they_replace_open_ones() {
        use std::os::unix::fs::PermissionsExt as _;
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("a").join("b");
        create_private_folder(&folder).unwrap();
        let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&folder), 0o700);
        let path = folder.join("login.json");
        std::fs::write(&path, "old").unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
        write_private(&path, b"new").unwrap();
        assert_eq!(mode(&path), 0o600);
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
        assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1);
    }
}
