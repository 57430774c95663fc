//! The passwords of the private cluster: random, 0600, made once.

use std::{
    fs::{self, File, OpenOptions},
    io::{ErrorKind, Write},
    os::unix::fs::OpenOptionsExt,
    path::Path,
};

use super::error::EmbeddedError;

const FILE: &str = "cluster.json";

#[derive(serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Credentials {
    pub(super) superuser: String,
    pub(super) owner: String,
    pub(super) app: String,
}

impl Credentials {
    /// Reads the file, or makes it where no cluster uses it yet.
    pub(super) fn open(data: &Path, cluster_exists: bool) -> Result<Self, EmbeddedError> {
        let path = data.join(FILE);
        match fs::read(&path) {
            Ok(text) => match serde_json::from_slice(&text) {
                Ok(credentials) => Ok(credentials),
                Err(_) if !cluster_exists => Self::make(data),
                Err(_) => Err(EmbeddedError::Credentials {
                    path,
                    problem: "damaged",
                }),
            },
            Err(error) if error.kind() == ErrorKind::NotFound && !cluster_exists => {
                Self::make(data)
            }
            Err(error) if error.kind() == ErrorKind::NotFound => Err(EmbeddedError::Credentials {
                path,
                problem: "missing",
            }),
            Err(error) => Err(EmbeddedError::io("read", path)(error)),
        }
    }

    fn make(data: &Path) -> Result<Self, EmbeddedError> {
        let made = Self {
            superuser: random_password(),
            owner: random_password(),
            app: random_password(),
        };
        let path = data.join(FILE);
        let write = |source| EmbeddedError::io("write", &path)(source);
        let text = serde_json::to_vec_pretty(&made).map_err(|error| write(error.into()))?;
        // Under its name only when whole: a cluster made with passwords that
        // a crash cut short could never be opened.
        let unfinished = data.join(".cluster.json.new");
        write_secret(&unfinished, &text).map_err(write)?;
        fs::rename(&unfinished, &path).map_err(write)?;
        File::open(data)
            .and_then(|folder| folder.sync_all())
            .map_err(write)?;
        Ok(made)
    }
}

/// Writes a file that only this user can read, down to the disk.
pub(super) fn write_secret(path: &Path, content: &[u8]) -> std::io::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
        _ => (),
    }
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path)?;
    file.write_all(content)?;
    file.sync_all()
}

/// 192 random bits as hexadecimal digits, which need no quoting anywhere.
fn random_password() -> String {
    rand::random::<[u8; 24]>()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn passwords_are_made_once_kept_and_secret() {
        let folder = tempfile::tempdir().unwrap();
        let first = Credentials::open(folder.path(), false).unwrap();
        let second = Credentials::open(folder.path(), true).unwrap();
        assert_eq!(first.app, second.app);
        assert_ne!(first.app, first.owner);
        assert_eq!(first.superuser.len(), 48);
        let mode = fs::metadata(folder.path().join(FILE))
            .unwrap()
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600);
    }

    #[test]
    fn lost_or_damaged_passwords_of_a_living_cluster_are_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let missing = Credentials::open(folder.path(), true).err().unwrap();
        assert!(missing.to_string().contains("is missing"));
        fs::write(folder.path().join(FILE), "{").unwrap();
        let damaged = Credentials::open(folder.path(), true).err().unwrap();
        assert!(damaged.to_string().contains("is damaged"));
        assert_eq!(fs::read(folder.path().join(FILE)).unwrap(), b"{");
    }
}
