//! The folder of the socket: a name short enough for the kernel, and nobody
//! else's.

use std::{
    fs::{self, DirBuilder},
    io::ErrorKind,
    os::unix::fs::{DirBuilderExt, MetadataExt},
    path::{Path, PathBuf},
};

use sha2::{Digest, Sha256};

use super::error::EmbeddedError;

/// `sun_path` has 108 bytes, the last of them a NUL (unix(7)).
const LONGEST: usize = 107;
const SOCKET: &str = ".s.PGSQL.5432";

/// `socket` in the data folder, or where that path is too long one under
/// /tmp whose name follows from the data folder, so that the next server
/// looks for a living Postgres in the same place. A path with a comma or a
/// quote goes there too: Postgres takes a list of folders.
pub(super) fn folder(data: &Path) -> PathBuf {
    let inside = data.join("socket");
    let short = inside.join(SOCKET).as_os_str().len() <= LONGEST;
    let plain = inside
        .to_str()
        .is_some_and(|path| !path.contains([',', '"', '\'', '\n']));
    if short && plain {
        return inside;
    }
    let digest = Sha256::digest(data.as_os_str().as_encoded_bytes());
    let name: String = digest[..8]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    Path::new("/tmp").join(format!("secondcan-{name}"))
}

/// Makes the folder, or checks that the one there is this user's alone.
pub(super) fn make(folder: &Path) -> Result<(), EmbeddedError> {
    match DirBuilder::new().mode(0o700).create(folder) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            let found =
                fs::symlink_metadata(folder).map_err(EmbeddedError::io("look at", folder))?;
            let own = found.uid() == rustix::process::geteuid().as_raw();
            if found.is_dir() && own && found.mode() & 0o077 == 0 {
                Ok(())
            } else {
                Err(EmbeddedError::SocketFolder {
                    path: folder.to_owned(),
                })
            }
        }
        Err(error) => Err(EmbeddedError::io("make the socket folder", folder)(error)),
    }
}

/// Removes what a killed Postgres left, whose lock file could name a process
/// id that something else has by now.
pub(super) fn clear(folder: &Path) -> Result<(), EmbeddedError> {
    for name in [SOCKET, ".s.PGSQL.5432.lock"] {
        let path = folder.join(name);
        match fs::remove_file(&path) {
            Err(error) if error.kind() != ErrorKind::NotFound => {
                return Err(EmbeddedError::io("remove", path)(error));
            }
            _ => (),
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::{PermissionsExt, symlink};

    use super::*;

    #[test]
    fn a_long_data_folder_gets_a_short_socket_folder_always_the_same() {
        let fits = PathBuf::from(format!("/{}", "a".repeat(107 - 22)));
        assert_eq!(folder(&fits), fits.join("socket"));
        assert_eq!(fits.join("socket").join(SOCKET).as_os_str().len(), 107);
        let long = PathBuf::from(format!("/{}", "a".repeat(107 - 21)));
        let short = folder(&long);
        assert!(short.starts_with("/tmp") && short.as_os_str().len() < 60);
        assert_eq!(short, folder(&long));
        assert_ne!(short, folder(&long.join("b")));
        assert!(folder(Path::new("/srv/a, b")).starts_with("/tmp"));
    }

    #[test]
    fn a_folder_open_to_others_or_a_link_is_refused() {
        let parent = tempfile::tempdir().unwrap();
        let path = parent.path().join("socket");
        make(&path).unwrap();
        make(&path).unwrap();
        let link = parent.path().join("link");
        symlink(&path, &link).unwrap();
        assert!(matches!(
            make(&link),
            Err(EmbeddedError::SocketFolder { .. })
        ));
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
        assert!(matches!(
            make(&path),
            Err(EmbeddedError::SocketFolder { .. })
        ));
    }
}
