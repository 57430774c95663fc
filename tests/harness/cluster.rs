//! A fresh, migrated database for each test.
//!
//! With `SECONDCAN_TEST_CLUSTER` (a superuser's URL, as `./test` exports it)
//! all tests share one cluster, and each database is a copy of a template that
//! the first one migrates. Without it this process starts a throwaway cluster
//! by `tests/harness/private-cluster`, which goes away with the process.

use std::{
    collections::hash_map::DefaultHasher,
    env, fs,
    hash::{Hash, Hasher},
    io::{BufRead, BufReader},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    sync::{LazyLock, OnceLock},
};

use uuid::Uuid;

use crate::process;

const OWNER: &str = "secondcan_owner";
const APP: &str = "secondcan_app";
/// Of both roles; the cluster is reached through a folder that only its owner
/// can enter.
const PASSWORD: &str = "only-for-tests";

/// The workspace's folder.
#[must_use]
pub fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .unwrap()
        .to_owned()
}

/// A database of one test, dropped at its end.
#[derive(Debug)]
pub struct TestDatabase {
    name: String,
}

impl TestDatabase {
    /// Makes a fresh database with every migration, roles and rights as in
    /// docs/roles.sql.
    ///
    /// # Panics
    /// When no cluster can be had; the message says why.
    #[must_use]
    pub fn create() -> Self {
        let template = template();
        let name = format!("secondcan_test_{}", Uuid::new_v4().simple());
        // Rights on a database are not copied with it.
        psql(
            &superuser_url("postgres"),
            &[
                &format!("CREATE DATABASE {name} TEMPLATE {template} OWNER {OWNER}"),
                &format!("REVOKE TEMP, CREATE ON DATABASE {name} FROM PUBLIC"),
                &format!("GRANT CONNECT ON DATABASE {name} TO {APP}"),
            ],
        );
        Self { name }
    }

    /// The app role's URL.
    #[must_use]
    pub fn app_url(&self) -> String {
        role_url(APP, &self.name)
    }

    /// The owner's URL.
    #[must_use]
    pub fn owner_url(&self) -> String {
        role_url(OWNER, &self.name)
    }

    /// A superuser's URL to the same database, for looking behind the scenes.
    #[must_use]
    pub fn superuser_url(&self) -> String {
        superuser_url(&self.name)
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        // The cluster may be gone already when the whole run is stopped.
        let _ = Command::new("psql")
            .args(["-X", "-q", "-d", &superuser_url("postgres"), "-c"])
            .arg(format!("DROP DATABASE {} WITH (FORCE)", self.name))
            .stderr(Stdio::null())
            .status();
    }
}

/// Runs statements, each in a transaction of its own, and returns what they
/// print, columns parted by `|`.
///
/// # Panics
/// When one fails, with what Postgres said.
pub fn psql(url: &str, statements: &[&str]) -> String {
    let mut command = Command::new("psql");
    command.args(["-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-d", url]);
    for statement in statements {
        command.args(["-c", statement]);
    }
    let output = command.stdin(Stdio::null()).output().unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{statements:?}: {errors}");
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

/// Makes the template when it is missing and returns its name, which follows
/// from the migrations, so that an old one is never taken for the new.
fn template() -> &'static str {
    static TEMPLATE: LazyLock<String> = LazyLock::new(|| {
        let name = format!("secondcan_template_{:016x}", migrations_hash());
        // Tests run in many processes; the first one works, the others wait.
        // A lock on a file ends with its process, however that ends.
        let lock = fs::File::open(workspace().join("docs/roles.sql")).unwrap();
        lock.lock().unwrap();
        let exists = psql(
            &superuser_url("postgres"),
            &[&format!(
                "SELECT count(*) FROM pg_database WHERE datname = '{name}' AND datistemplate"
            )],
        );
        if exists == "0" {
            make_template(&name);
        }
        name
    });
    &TEMPLATE
}

fn make_template(name: &str) {
    let maintenance = superuser_url("postgres");
    psql(
        &maintenance,
        &[&format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)")],
    );
    let output = Command::new("psql")
        .args(["-X", "-q", "-d", &maintenance])
        .args(["-v", &format!("database={name}")])
        .args(["-v", &format!("owner_password={PASSWORD}")])
        .args(["-v", &format!("app_password={PASSWORD}"), "-f"])
        .arg(workspace().join("docs/roles.sql"))
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "docs/roles.sql: {errors}");
    process::migrate(&role_url(APP, name), &role_url(OWNER, name));
    // The mark that it is whole, set last; nobody connects to it any more.
    psql(
        &maintenance,
        &[&format!(
            "ALTER DATABASE {name} IS_TEMPLATE true ALLOW_CONNECTIONS false"
        )],
    );
}

fn migrations_hash() -> u64 {
    let mut files: Vec<_> = fs::read_dir(workspace().join("migrations"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "sql"))
        .collect();
    files.sort();
    let mut hasher = DefaultHasher::new();
    for file in files {
        file.file_name().hash(&mut hasher);
        fs::read(file).unwrap().hash(&mut hasher);
    }
    hasher.finish()
}

fn role_url(role: &str, database: &str) -> String {
    let url = superuser_url(database);
    let rest = url.split_once('@').unwrap().1;
    format!("postgres://{role}:{PASSWORD}@{rest}")
}

/// The cluster's superuser URL with another database in it.
fn superuser_url(database: &str) -> String {
    let url = cluster_url();
    let (authority, rest) = url
        .strip_prefix("postgres://")
        .and_then(|rest| rest.split_once('/'))
        .unwrap_or_else(|| panic!("SECONDCAN_TEST_CLUSTER is not postgres://…/…: {url}"));
    let query = rest.split_once('?').map_or("", |(_, query)| query);
    let mark = if query.is_empty() { "" } else { "?" };
    format!("postgres://{authority}/{database}{mark}{query}")
}

fn cluster_url() -> &'static str {
    static URL: OnceLock<String> = OnceLock::new();
    URL.get_or_init(|| env::var("SECONDCAN_TEST_CLUSTER").unwrap_or_else(|_| start_private()))
}

fn start_private() -> String {
    // Held open until this process ends, by which the script notices.
    static SCRIPT: OnceLock<Child> = OnceLock::new();
    let mut script = Command::new("bash")
        .arg(workspace().join("tests/harness/private-cluster"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut url = String::new();
    BufReader::new(script.stdout.take().unwrap())
        .read_line(&mut url)
        .unwrap();
    assert!(
        !url.is_empty(),
        "no Postgres for the tests; the reason stands above"
    );
    SCRIPT.set(script).unwrap();
    url.trim().to_owned()
}
