//! Finds `initdb` and `postgres` of one installation.

use std::{
    collections::BTreeSet,
    env,
    ffi::OsStr,
    fs,
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
};

use tokio::process::Command;

use super::error::EmbeddedError;

/// The oldest major version that serves.
pub(super) const MINIMUM: u32 = 15;

/// Names a folder that is searched instead of PATH and the usual ones.
const FOLDER_VARIABLE: &str = "SECONDCAN_POSTGRES_BIN";

/// Where distributions put Postgres; `*` stands for one version in a name.
const USUAL_FOLDERS: [&str; 7] = [
    "/usr/lib/postgresql/*/bin",
    "/usr/lib/postgresql*/bin",
    "/usr/libexec/postgresql*",
    "/usr/pgsql-*/bin",
    "/usr/local/pgsql/bin",
    "/opt/postgresql/*/bin",
    "/usr/bin",
];

/// The programs of one installed Postgres.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Programs {
    pub(super) initdb: PathBuf,
    pub(super) postgres: PathBuf,
    pub(super) major: u32,
}

/// The installation for a cluster made by `wanted`, or for a new cluster: the
/// first in PATH that is new enough, else the newest.
pub(super) async fn find(wanted: Option<(u32, &Path)>) -> Result<Programs, EmbeddedError> {
    let folders = folders(
        env::var_os(FOLDER_VARIABLE).as_deref(),
        env::var_os("PATH").as_deref(),
    );
    let mut usual = Vec::new();
    let mut seen = BTreeSet::new();
    for folder in &folders {
        let Some(programs) = look_in(folder).await else {
            continue;
        };
        seen.insert(programs.major);
        match wanted {
            Some((major, _)) if programs.major == major => return Ok(programs),
            None if programs.major >= MINIMUM => usual.push(programs),
            _ => (),
        }
    }
    // Folders stand in the order of PATH, then the usual ones, newest first.
    if let Some(programs) = usual.into_iter().next() {
        return Ok(programs);
    }
    let searched = folders
        .iter()
        .map(|folder| folder.display().to_string())
        .collect::<Vec<_>>()
        .join(", ");
    let found = if seen.is_empty() {
        String::new()
    } else {
        let versions: Vec<_> = seen.iter().map(u32::to_string).collect();
        format!("; found version {}", versions.join(", "))
    };
    Err(match wanted {
        Some((major, cluster)) => EmbeddedError::PostgresGone {
            cluster: cluster.to_owned(),
            major,
            searched,
            found,
        },
        None => EmbeddedError::NoPostgres { searched, found },
    })
}

fn folders(chosen: Option<&OsStr>, path: Option<&OsStr>) -> Vec<PathBuf> {
    if let Some(chosen) = chosen.filter(|chosen| !chosen.is_empty()) {
        return vec![chosen.into()];
    }
    let mut folders: Vec<PathBuf> = path
        .map(|path| env::split_paths(path).collect())
        .unwrap_or_default();
    // An empty or relative entry would run programs from wherever one stands.
    folders.retain(|folder| folder.is_absolute());
    for pattern in USUAL_FOLDERS {
        folders.extend(expand(pattern));
    }
    let mut seen = BTreeSet::new();
    folders.retain(|folder| seen.insert(folder.clone()));
    folders
}

/// The folders of a pattern with one `*`, the highest version first.
fn expand(pattern: &str) -> Vec<PathBuf> {
    let Some((before, after)) = pattern.split_once('*') else {
        return vec![pattern.into()];
    };
    let (parent, prefix) = before.rsplit_once('/').unwrap_or(("", before));
    let Ok(entries) = fs::read_dir(parent) else {
        return Vec::new();
    };
    let mut versions: Vec<(u32, PathBuf)> = entries
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            let version = name.strip_prefix(prefix)?.trim_start_matches('-');
            let version = version.split('.').next()?.parse().ok()?;
            Some((version, format!("{parent}/{name}{after}").into()))
        })
        .collect();
    versions.sort_by(|a, b| b.cmp(a));
    versions.into_iter().map(|(_, folder)| folder).collect()
}

async fn look_in(folder: &Path) -> Option<Programs> {
    // Distributions link single programs into PATH; the real folder holds all.
    let postgres = fs::canonicalize(folder.join("postgres")).ok()?;
    let beside = postgres.with_file_name("initdb");
    let initdb = if is_program(&beside) {
        beside
    } else {
        folder.join("initdb")
    };
    if !is_program(&postgres) || !is_program(&initdb) {
        return None;
    }
    let output = Command::new(&postgres)
        .arg("--version")
        .output()
        .await
        .ok()?;
    let major = major_in(&String::from_utf8_lossy(&output.stdout))?;
    Some(Programs {
        initdb,
        postgres,
        major,
    })
}

fn is_program(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|found| found.is_file() && found.permissions().mode() & 0o111 != 0)
}

/// 15 in `postgres (PostgreSQL) 15.18 (Debian …)`, 18 in `… 18beta1`.
fn major_in(version: &str) -> Option<u32> {
    let number = version.split_once("(PostgreSQL) ")?.1;
    let end = number
        .find(|character: char| !character.is_ascii_digit())
        .unwrap_or(number.len());
    number[..end].parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn versions_are_read_as_distributions_print_them() {
        for (text, major) in [
            (
                "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n",
                Some(15),
            ),
            ("postgres (PostgreSQL) 18beta1\n", Some(18)),
            ("postgres (PostgreSQL) 9.6.24", Some(9)),
            ("something else 15.1", None),
        ] {
            assert_eq!(major_in(text), major, "{text}");
        }
    }

    #[test]
    fn a_chosen_folder_is_searched_alone() {
        let folders = folders(Some(OsStr::new("/opt/pg")), Some(OsStr::new("/usr/bin")));
        assert_eq!(folders, [Path::new("/opt/pg")]);
    }

    #[test]
    fn relative_entries_of_path_are_never_searched() {
        let found = folders(None, Some(OsStr::new(":bin:/a:.:/b:/a")));
        assert_eq!(found[..2], [Path::new("/a"), Path::new("/b")]);
        assert!(found.iter().all(|folder| folder.is_absolute()));
    }

    #[test]
    fn the_newest_version_comes_first_by_number_and_not_by_letter() {
        let root = tempfile::tempdir().unwrap();
        for version in ["9.6", "15", "100", "notes"] {
            fs::create_dir(root.path().join(version)).unwrap();
        }
        let pattern = format!("{}/*/bin", root.path().display());
        let names: Vec<_> = expand(&pattern)
            .iter()
            .map(|folder| folder.strip_prefix(root.path()).unwrap().to_owned())
            .collect();
        assert_eq!(names, ["100/bin", "15/bin", "9.6/bin"].map(PathBuf::from));
    }
}
