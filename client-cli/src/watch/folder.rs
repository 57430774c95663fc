//! Which files of a folder have stopped growing.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// Endings of files that a program has not finished, by the habit of browsers and copy tools.
const UNFINISHED: [&str; 6] = ["part", "partial", "tmp", "temp", "crdownload", "swp"];

/// Size and time of the last change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Look {
    size: u64,
    modified: Option<SystemTime>,
}

impl Look {
    fn at(path: &Path) -> io::Result<Option<Self>> {
        match std::fs::metadata(path) {
            Ok(about) if about.is_file() => Ok(Some(Self {
                size: about.len(),
                modified: about.modified().ok(),
            })),
            Ok(_) => Ok(None),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }
}

/// A file, and since when it stands as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Standing {
    /// Where it is.
    pub(crate) path: PathBuf,
    /// How long it was seen unchanged. Clocks of other machines play no part in it.
    pub(crate) unchanged: Duration,
    look: Look,
}

/// A folder between two looks at it.
#[derive(Debug)]
pub(crate) struct Folder {
    path: PathBuf,
    seen: HashMap<PathBuf, (Look, Instant)>,
    settled: HashMap<PathBuf, Look>,
}

impl Folder {
    /// A folder not looked at yet.
    pub(crate) fn new(path: PathBuf) -> Self {
        Self {
            path,
            seen: HashMap::new(),
            settled: HashMap::new(),
        }
    }

    /// Its plain files that are not settled, oldest first. Hidden files, those in folders below, and those whose names
    /// say that they are unfinished are passed over.
    ///
    /// # Errors
    /// When it can't be read.
    pub(crate) fn look(&mut self, now: Instant) -> io::Result<Vec<Standing>> {
        let mut standing = Vec::new();
        let mut seen = HashMap::new();
        for entry in std::fs::read_dir(&self.path)? {
            let path = entry?.path();
            if passed_over(&path) {
                continue;
            }
            // One that went away or can't be looked at now is looked at next time.
            let Ok(Some(look)) = Look::at(&path) else {
                continue;
            };
            let since = match self.seen.get(&path) {
                Some((before, since)) if *before == look => *since,
                _ => now,
            };
            seen.insert(path.clone(), (look, since));
            if self.settled.get(&path) != Some(&look) {
                standing.push(Standing {
                    path,
                    unchanged: now.saturating_duration_since(since),
                    look,
                });
            }
        }
        self.settled.retain(|path, _| seen.contains_key(path));
        self.seen = seen;
        standing.sort_by(|x, y| (x.look.modified, &x.path).cmp(&(y.look.modified, &y.path)));
        Ok(standing)
    }

    /// Its bytes, if it did not change while they were read and has at most `most`.
    ///
    /// # Errors
    /// When it can't be read.
    pub(crate) fn read(standing: &Standing, most: usize) -> io::Result<Option<Vec<u8>>> {
        use std::io::Read as _;
        let mut bytes = Vec::new();
        std::fs::File::open(&standing.path)?
            .take(most as u64 + 1)
            .read_to_end(&mut bytes)?;
        Ok((Look::at(&standing.path)? == Some(standing.look)).then_some(bytes))
    }

    /// Nothing more is to be done about it, until it changes.
    pub(crate) fn settle(&mut self, standing: &Standing) {
        self.settled.insert(standing.path.clone(), standing.look);
    }
}

fn passed_over(path: &Path) -> bool {
    let name = path.file_name().map(|name| name.to_string_lossy());
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    name.is_none_or(|name| name.starts_with(['.', '~']) || name.ends_with('~'))
        || ending.is_some_and(|ending| UNFINISHED.contains(&ending.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(found: &[Standing]) -> Vec<String> {
        found
            .iter()
            .map(|one| one.path.file_name().unwrap().to_string_lossy().into_owned())
            .collect()
    }

    #[test]
    fn a_growing_file_starts_anew_and_a_settled_one_is_left() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("a.csv");
        std::fs::write(&path, "name,R4").unwrap();
        let mut folder = Folder::new(home.path().to_owned());
        let start = Instant::now();
        let at = |seconds| start + Duration::from_secs(seconds);
        assert_eq!(folder.look(at(0)).unwrap()[0].unchanged, Duration::ZERO);
        assert_eq!(folder.look(at(2)).unwrap()[0].unchanged.as_secs(), 2);
        std::fs::write(&path, "name,R400").unwrap();
        let grown = folder.look(at(3)).unwrap().remove(0);
        assert_eq!(grown.unchanged, Duration::ZERO);
        folder.settle(&grown);
        assert!(folder.look(at(9)).unwrap().is_empty());
        std::fs::write(&path, "name,R400,R410").unwrap();
        assert_eq!(folder.look(at(10)).unwrap().len(), 1);
    }

    #[test]
    fn hidden_and_unfinished_files_and_folders_are_passed_over() {
        let home = tempfile::tempdir().unwrap();
        for name in [
            ".a.csv",
            "a.csv.part",
            "~lock.csv",
            "a.csv~",
            "A.TMP",
            "b.csv",
        ] {
            std::fs::write(home.path().join(name), "x").unwrap();
        }
        std::fs::create_dir(home.path().join("c.csv")).unwrap();
        let mut folder = Folder::new(home.path().to_owned());
        assert_eq!(names(&folder.look(Instant::now()).unwrap()), ["b.csv"]);
    }

    #[test]
    fn a_file_that_changes_while_it_is_read_is_not_taken() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("a.csv");
        std::fs::write(&path, "short").unwrap();
        let mut folder = Folder::new(home.path().to_owned());
        let standing = folder.look(Instant::now()).unwrap().remove(0);
        assert_eq!(Folder::read(&standing, 10).unwrap().unwrap(), b"short");
        std::fs::write(&path, "longer").unwrap();
        assert_eq!(Folder::read(&standing, 10).unwrap(), None);
        std::fs::remove_file(&path).unwrap();
        assert!(Folder::read(&standing, 10).is_err());
    }
}
