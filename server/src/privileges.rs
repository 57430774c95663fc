//! Root is given up before any input is read.
//!
//! Postgres refuses to run as root, and a server has no use for it. The
//! change is made while the process has one thread: the kernel keeps these
//! ids by thread, and threads started later inherit them.

use std::{
    fs,
    io::{self, ErrorKind},
    os::unix::fs::{DirBuilderExt, MetadataExt, chown},
    path::Path,
    process::Command,
};

use rustix::{
    process::{Gid, Uid, geteuid, getuid},
    thread::{set_no_new_privs, set_thread_groups, set_thread_res_gid, set_thread_res_uid},
};

use crate::config::SYSTEM_DATA_FOLDER;

/// The user a server started by root becomes.
pub const USER: &str = "secondcan";

/// As whom the process runs on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Identity {
    /// It was not root.
    Unchanged,
    /// It was root and is this user now.
    Dropped {
        /// The user's name.
        user: String,
    },
}

/// Root could not be given up; the server does not run as root.
#[derive(Debug, thiserror::Error)]
pub enum PrivilegeError {
    /// The list of users cannot be read.
    #[error("cannot read the users in /etc/passwd")]
    Users(#[source] io::Error),
    /// The user is missing and could not be made.
    #[error(
        "started as root, and the user {USER} does not exist and could not be made ({detail}); \
         make it with: useradd --system --user-group --home-dir {SYSTEM_DATA_FOLDER} \
         --shell /usr/sbin/nologin {USER} — or start the server as an ordinary user"
    )]
    NoUser {
        /// What useradd said.
        detail: String,
    },
    /// The user is root under another name.
    #[error("the user {USER} has the ids of root; give it ids of its own")]
    UserIsRoot,
    /// The kernel refused the change.
    #[error(
        "cannot change from root to the user {USER}; a container that takes these rights away \
         must start the server as an ordinary user"
    )]
    Refused(#[source] io::Error),
    /// The default data folder cannot be made.
    #[error("cannot make the data folder {SYSTEM_DATA_FOLDER} for the user {USER}")]
    Folder(#[source] io::Error),
    /// The default data folder belongs to somebody else.
    #[error(
        "the data folder {SYSTEM_DATA_FOLDER} does not belong to the user {USER}; give it to it \
         with: chown -R {USER}: {SYSTEM_DATA_FOLDER}"
    )]
    ForeignFolder,
}

/// Becomes the user [`USER`] for good when root, with groups, gid and uid.
/// Makes the user and the default data folder where they are missing.
///
/// `own_folder` tells whether the data folder was chosen: then the default
/// one is left alone.
///
/// # Errors
/// [`PrivilegeError`]; the caller must not go on as root.
pub fn drop_root(own_folder: bool) -> Result<Identity, PrivilegeError> {
    if !getuid().is_root() && !geteuid().is_root() {
        return Ok(Identity::Unchanged);
    }
    let (uid, gid) = find_or_make_user()?;
    if uid == 0 || gid == 0 {
        return Err(PrivilegeError::UserIsRoot);
    }
    if !own_folder {
        prepare_folder(Path::new(SYSTEM_DATA_FOLDER), uid, gid)?;
    }
    let (uid, gid) = (Uid::from_raw(uid), Gid::from_raw(gid));
    set_thread_groups(&[gid])
        .and_then(|()| set_thread_res_gid(gid, gid, gid))
        .and_then(|()| set_thread_res_uid(uid, uid, uid))
        .and_then(|()| set_no_new_privs(true))
        .map_err(|error| PrivilegeError::Refused(error.into()))?;
    Ok(Identity::Dropped {
        user: USER.to_owned(),
    })
}

fn find_or_make_user() -> Result<(u32, u32), PrivilegeError> {
    // Servers starting side by side wait here: one useradd at a time, and none
    // of them sees a user that another is half way through making.
    let turn = fs::File::open("/etc").map_err(PrivilegeError::Users)?;
    turn.lock().map_err(PrivilegeError::Users)?;
    match find_user()? {
        Some(ids) => Ok(ids),
        None => make_user(),
    }
}

fn find_user() -> Result<Option<(u32, u32)>, PrivilegeError> {
    let passwd = fs::read_to_string("/etc/passwd").map_err(PrivilegeError::Users)?;
    Ok(ids_in(&passwd, USER))
}

fn ids_in(passwd: &str, user: &str) -> Option<(u32, u32)> {
    passwd.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        let uid = fields.nth(1)?;
        let gid = fields.next()?;
        (name == user).then_some(())?;
        Some((uid.parse().ok()?, gid.parse().ok()?))
    })
}

fn make_user() -> Result<(u32, u32), PrivilegeError> {
    let output = Command::new("/usr/sbin/useradd")
        .args(["--system", "--user-group", "--no-create-home"])
        .args(["--home-dir", SYSTEM_DATA_FOLDER])
        .args(["--shell", "/usr/sbin/nologin", USER])
        .output()
        .map_err(|error| PrivilegeError::NoUser {
            detail: format!("useradd: {error}"),
        })?;
    find_user()?.ok_or_else(|| PrivilegeError::NoUser {
        detail: String::from_utf8_lossy(&output.stderr).trim().to_owned(),
    })
}

fn prepare_folder(folder: &Path, uid: u32, gid: u32) -> Result<(), PrivilegeError> {
    match fs::DirBuilder::new().mode(0o700).create(folder) {
        Ok(()) => chown(folder, Some(uid), Some(gid)).map_err(PrivilegeError::Folder),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            let found = fs::metadata(folder).map_err(PrivilegeError::Folder)?;
            if found.uid() == uid {
                Ok(())
            } else {
                Err(PrivilegeError::ForeignFolder)
            }
        }
        Err(error) => Err(PrivilegeError::Folder(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_user_is_found_by_its_whole_name() {
        let passwd =
            "root:x:0:0::/root:/bin/sh\nsecondcan2:x:1:2::/:/x\nsecondcan:x:998:997::/:/x\n";
        assert_eq!(ids_in(passwd, "secondcan"), Some((998, 997)));
        assert_eq!(ids_in(passwd, "second"), None);
        assert_eq!(ids_in("secondcan:x:word:1::/:/x", "secondcan"), None);
    }
}
