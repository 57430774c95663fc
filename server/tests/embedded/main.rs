//! The private Postgres, through the real server binary and real processes.
//!
//! Run by root, the server becomes the user `secondcan`, so its data folder
//! stands in a folder that everybody can enter. What the cluster holds is
//! asked by `psql`, not by code of the server.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod place;

use std::{
    fs,
    io::Read,
    net::TcpListener,
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::Instant,
};

use rustix::process::{Pid, Signal, geteuid, kill_process};

use place::{
    Place, SOON, START, ask, assert_says, error, mode, psql, refusal, set_mode, wait_for,
    wait_for_end,
};

#[test]
fn a_first_start_makes_a_safe_utf8_cluster_without_lang() {
    let place = Place::new();
    let server = place.serve();
    let superuser = place.superuser("secondcan");
    assert_eq!(
        ask(
            &superuser,
            "SELECT current_setting('server_encoding'), current_setting('data_checksums'), \
                    current_setting('listen_addresses'), current_setting('password_encryption'), \
                    datcollate, datctype FROM pg_database WHERE datname = 'secondcan'"
        ),
        "UTF8|on||scram-sha-256|C.UTF-8|C.UTF-8"
    );
    // With SQL_ASCII these would be bytes, and ü two of them.
    assert_eq!(
        ask(&superuser, "SELECT length('Müller Жук'), upper('ü')"),
        "10|Ü"
    );
    let hba = fs::read_to_string(place.cluster().join("pg_hba.conf")).unwrap();
    let mut doors = hba
        .lines()
        .filter(|line| !line.is_empty() && !line.starts_with('#'));
    assert!(doors.all(|line| line.ends_with("scram-sha-256")), "{hba}");
    let wrong = place.owner().replacen("owner:", "owner:x", 1);
    assert_says(
        &refusal(&wrong, "SELECT 1"),
        &["password authentication failed"],
    );
    assert_eq!(mode(&place.data), 0o700);
    assert_eq!(mode(place.cluster()), 0o700);
    assert_eq!(mode(place.socket()), 0o700);
    assert_eq!(mode(place.data.join("cluster.json")), 0o600);
    assert!(!place.data.join(".superuser-password").exists());

    // The owner may bring the trigram extension; the app role makes nothing.
    ask(&place.owner(), "CREATE EXTENSION IF NOT EXISTS pg_trgm");
    for sql in [
        "CREATE TABLE t ()",
        "CREATE TEMP TABLE t ()",
        "CREATE SCHEMA s",
    ] {
        assert_says(
            &refusal(&place.app("secondcan"), sql),
            &["permission denied"],
        );
    }

    if geteuid().is_root() {
        let postgres = format!("/proc/{}", place.postmaster().as_raw_pid());
        assert_ne!(fs::metadata(postgres).unwrap().uid(), 0);
        let status = fs::read_to_string(format!("/proc/{}/status", server.child.id())).unwrap();
        for ids in ["Uid:", "Gid:", "Groups:"] {
            let line = status.lines().find(|line| line.starts_with(ids)).unwrap();
            assert!(!line.split_whitespace().any(|id| id == "0"), "{line}");
        }
    }
}

#[test]
fn a_second_start_finds_the_same_cluster_within_ten_seconds() {
    let place = Place::new();
    let server = place.serve();
    let identifier = "SELECT system_identifier FROM pg_control_system()";
    let before = ask(&place.superuser("secondcan"), identifier);
    ask(&place.owner(), "CREATE TABLE kept AS SELECT 42 AS answer");
    server.interrupt();

    let since = Instant::now();
    let server = place.serve();
    assert!(since.elapsed() < SOON, "{:?}", since.elapsed());
    assert_eq!(ask(&place.superuser("secondcan"), identifier), before);
    assert_eq!(ask(&place.owner(), "SELECT answer FROM kept"), "42");
    // The first stop was a clean one.
    assert!(
        !server.said().contains("removed the lock"),
        "{}",
        server.said()
    );
}

#[test]
fn a_killed_server_leaves_postgres_running_and_the_next_adopts_it() {
    let place = Place::new();
    let server = place.serve();
    let postmaster = place.postmaster();
    ask(&place.owner(), "CREATE TABLE kept AS SELECT 42 AS answer");
    server.kill();
    assert_eq!(ask(&place.owner(), "SELECT answer FROM kept"), "42");

    let server = place.serve();
    assert_eq!(place.postmaster(), postmaster);
    assert_says(&server.said(), &["adopted"]);
    assert_eq!(ask(&place.owner(), "SELECT answer FROM kept"), "42");
    let took = server.interrupt();
    assert!(took < SOON, "{took:?}");
    assert_eq!(place.postgres_processes(), [0; 0]);
}

#[test]
fn after_kill_9_of_server_and_postgres_the_next_start_recovers() {
    let place = Place::new();
    let server = place.serve();
    let postmaster = place.postmaster();
    ask(&place.owner(), "CREATE TABLE kept AS SELECT 42 AS answer");
    server.kill();
    kill_process(postmaster, Signal::KILL).unwrap();
    assert!(place.cluster().join("postmaster.pid").exists());

    let server = place.serve();
    assert_ne!(place.postmaster(), postmaster);
    assert_says(&server.said(), &["removed the lock"]);
    assert_eq!(ask(&place.owner(), "SELECT answer FROM kept"), "42");
}

#[test]
fn a_postgres_killed_under_a_living_server_comes_back_on_the_same_socket() {
    let place = Place::new();
    let server = place.serve();
    let owner = place.owner();
    ask(&owner, "CREATE TABLE kept AS SELECT 42 AS answer");
    let postmaster = place.postmaster();
    kill_process(postmaster, Signal::KILL).unwrap();
    wait_for("postgres to come back", 3 * SOON, || {
        psql(&owner, "SELECT 1").status.success()
    });
    assert_ne!(place.postmaster(), postmaster);
    assert_eq!(ask(&owner, "SELECT answer FROM kept"), "42");
    assert_says(&server.said(), &["ended by itself"]);
    server.interrupt();
    assert_eq!(place.postgres_processes(), [0; 0]);
}

#[test]
fn ctrl_c_stops_all_within_seconds_even_with_a_foreign_session_open() {
    let place = Place::new();
    let server = place.serve();
    let mut session = Command::new("psql")
        .args(["-X", "-d", &place.owner(), "-c", "SELECT pg_sleep(600)"])
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let busy = "SELECT count(*) FROM pg_stat_activity WHERE query LIKE 'SELECT pg_sleep%'";
    let superuser = place.superuser("postgres");
    wait_for("the session", SOON, || ask(&superuser, busy) == "1");
    let took = server.interrupt();
    assert!(took < SOON, "{took:?}");
    assert_eq!(place.postgres_processes(), [0; 0]);
    session.wait().unwrap();
    let mut said = String::new();
    session.stderr.unwrap().read_to_string(&mut said).unwrap();
    // Ended in order by Postgres, not cut off.
    assert_says(&said, &["administrator command"]);
}

#[test]
fn ctrl_c_while_the_cluster_is_being_made_leaves_nothing_half_made() {
    let place = Place::new();
    let mut child = place.command(&[]).stderr(Stdio::null()).spawn().unwrap();
    wait_for("initdb", START, || place.has_unfinished_cluster());
    kill_process(Pid::from_child(&child), Signal::INT).unwrap();
    wait_for_end(&mut child);
    assert!(!place.cluster().exists());

    let _server = place.serve();
    assert_eq!(ask(&place.owner(), "SELECT 1"), "1");
    assert!(!place.has_unfinished_cluster());
}

#[test]
fn a_second_server_on_the_same_folder_is_refused_with_the_first_ones_process() {
    let place = Place::new();
    let server = place.serve();
    let said = error(&place.command(&[]).output().unwrap());
    let process = format!("(process {})", server.child.id());
    assert_says(
        &said,
        &["in use by another secondcan-server", process.as_str()],
    );
    assert_eq!(ask(&place.owner(), "SELECT 1"), "1");
}

#[test]
fn an_admin_who_is_locked_out_gets_a_token_while_the_server_works_on() {
    let place = Place::new();
    let _server = place.serve();
    let output = place.command(&["admin", "init"]).output().unwrap();
    assert!(output.status.success(), "{}", error(&output));
    let token = String::from_utf8(output.stdout).unwrap();
    assert_eq!(token.trim().matches('-').count(), 4, "{token}");
    let kept = ask(&place.owner(), "SELECT count(*) FROM claim_token");
    assert_eq!(kept, "1");
}

#[test]
fn a_stale_lock_whose_process_id_another_program_has_does_not_stop_the_start() {
    let place = Place::new();
    let server = place.serve();
    let lock = place.cluster().join("postmaster.pid");
    let text = fs::read_to_string(&lock).unwrap();
    let pid = place.postmaster().as_raw_pid().to_string();
    server.interrupt();

    let mut other = Command::new("sleep").arg("600").spawn().unwrap();
    fs::write(&lock, text.replacen(&pid, &other.id().to_string(), 1)).unwrap();
    let server = place.serve();
    assert_says(&server.said(), &["removed the lock"]);
    assert!(other.try_wait().unwrap().is_none());
    other.kill().unwrap();
    other.wait().unwrap();
}

#[test]
fn a_folder_that_cannot_be_entered_or_written_is_named_with_the_remedy() {
    let place = Place::new();
    let closed = place.folder.path().join("closed");
    fs::create_dir(&closed).unwrap();
    // Root's own 0700 is closed to the user that root becomes.
    set_mode(&closed, if geteuid().is_root() { 0o700 } else { 0 });
    let said = error(&place.run_with(&[], "SECONDCAN_DATA", closed.join("data")));
    let which = format!("may not enter {};", closed.display());
    assert_says(&said, &["cannot be reached", &which, "SECONDCAN_DATA"]);

    set_mode(&closed, 0o555);
    let said = error(&place.run_with(&[], "SECONDCAN_DATA", closed.join("data")));
    assert_says(&said, &["may not make it", "install -d"]);
    let said = error(&place.run_with(&[], "SECONDCAN_DATA", &closed));
    assert_says(&said, &["is not writable", "chown"]);
    assert_eq!(fs::read_dir(&closed).unwrap().count(), 0);
}

#[test]
fn missing_and_outdated_programs_name_the_package_to_install() {
    let place = Place::new();
    let programs = place.folder.path().join("bin");
    fs::create_dir(&programs).unwrap();
    set_mode(&programs, 0o755);
    let start = || error(&place.run_with(&[], "SECONDCAN_POSTGRES_BIN", &programs));
    let searched = format!("in {})", programs.display());
    assert_says(&start(), &["sudo apt install postgresql", &searched]);

    for program in ["postgres", "initdb"] {
        let path = programs.join(program);
        fs::write(&path, "#!/bin/sh\necho \"$0 (PostgreSQL) 14.9\"\n").unwrap();
        set_mode(&path, 0o755);
    }
    assert_says(&start(), &["15 or newer", "found version 14"]);
    assert!(!place.cluster().exists());

    place.serve().interrupt();
    let major = fs::read_to_string(place.cluster().join("PG_VERSION")).unwrap();
    let package = format!("sudo apt install postgresql-{};", major.trim());
    assert_says(
        &start(),
        &[&package, "found version 14", "The data is untouched"],
    );
    let _server = place.serve();
    assert_eq!(ask(&place.owner(), "SELECT 1"), "1");
}

#[test]
fn a_long_data_folder_gets_its_socket_elsewhere_and_leaves_nothing_there() {
    let place = Place::with_name(&"a-long-way/".repeat(12));
    let server = place.serve();
    let socket = PathBuf::from(place.socket());
    assert!(socket.starts_with("/tmp") && socket.as_os_str().len() < 60);
    assert_eq!(mode(&socket), 0o700);
    assert_eq!(ask(&place.owner(), "SELECT 1"), "1");
    server.interrupt();
    assert!(!socket.exists());
}

#[test]
fn check_refuses_sql_ascii_and_prepared_transactions() {
    let place = Place::new();
    let server = place.serve();
    ask(
        &place.superuser("postgres"),
        "CREATE DATABASE bytes OWNER secondcan_owner TEMPLATE template0 \
         ENCODING 'SQL_ASCII' LOCALE 'C'",
    );
    let elsewhere = Place::new();
    let migrated = elsewhere
        .command(&["migrate"])
        .env("DATABASE_URL", place.app("bytes"))
        .env(
            "DATABASE_OWNER_URL",
            place.url("secondcan_owner", "owner", "bytes"),
        )
        .output()
        .unwrap();
    assert!(migrated.status.success(), "{migrated:?}");
    let said = error(&elsewhere.run_with(&["check"], "DATABASE_URL", place.app("bytes")));
    assert_says(&said, &["encoding is SQL_ASCII", "ENCODING 'UTF8'"]);

    ask(
        &place.superuser("postgres"),
        "ALTER SYSTEM SET max_prepared_transactions = 5",
    );
    server.interrupt();
    let said = error(&place.command(&["check"]).output().unwrap());
    assert_says(&said, &["max_prepared_transactions is 5", "ALTER SYSTEM"]);
    assert_eq!(place.postgres_processes(), [0; 0]);
}

#[test]
fn docs_roles_sql_makes_what_the_private_cluster_has() {
    let place = Place::new();
    let _server = place.serve();
    let superuser = place.superuser("postgres");
    let look = || {
        let roles = ask(
            &superuser,
            "SELECT rolname, rolcanlogin, rolsuper, rolcreatedb, rolcreaterole, rolreplication, \
                    rolbypassrls, rolinherit, rolconnlimit, left(rolpassword, 14) FROM pg_authid \
             WHERE rolname IN ('secondcan_owner', 'secondcan_app') ORDER BY 1",
        );
        let database = ask(
            &superuser,
            "SELECT pg_get_userbyid(datdba), pg_encoding_to_char(encoding), datcollate, datctype, \
                    (SELECT string_agg(acl::text, ' ' ORDER BY acl::text) FROM unnest(datacl) acl) \
             FROM pg_database WHERE datname = 'secondcan'",
        );
        let schema = ask(
            &place.superuser("secondcan"),
            "SELECT pg_get_userbyid(nspowner) FROM pg_namespace WHERE nspname = 'public'",
        );
        [roles, database, schema]
    };
    let by_server = look();
    assert!(by_server[1].starts_with("secondcan_owner|UTF8|C.UTF-8|C.UTF-8|"));
    assert_eq!(by_server[2], "secondcan_owner");
    ask(&superuser, "DROP DATABASE secondcan WITH (FORCE)");
    ask(&superuser, "DROP ROLE secondcan_owner, secondcan_app");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/roles.sql");
    for attempt in ["first", "again"] {
        let output = Command::new("psql")
            .args(["-X", "-q", "-d", &superuser, "-f"])
            .arg(&script)
            .env("SECONDCAN_OWNER_PASSWORD", "it's the owner")
            .env("SECONDCAN_APP_PASSWORD", "the app")
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{attempt}: {said}");
        assert_eq!(look(), by_server, "{attempt}");
    }
}

#[test]
fn a_taken_port_and_plain_http_for_all_are_refused_before_anything_starts() {
    let place = Place::new();
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap();
    let said = error(&place.run_with(&[], "SECONDCAN_LISTEN", address.to_string()));
    assert_says(
        &said,
        &[&format!("port {}", address.port()), "SECONDCAN_LISTEN="],
    );
    let said = error(&place.run_with(&[], "SECONDCAN_LISTEN", "0.0.0.0:0"));
    assert_says(&said, &["SECONDCAN_PLAIN_HTTP=yes", "TLS"]);
    assert!(!place.cluster().exists());
}

#[test]
fn a_database_of_another_version_is_refused_with_the_way_out() {
    let place = Place::new();
    let _server = place.serve();
    ask(
        &place.superuser("postgres"),
        "CREATE DATABASE empty TEMPLATE template0 OWNER secondcan_owner",
    );
    let elsewhere = Place::new();
    let serve = |url| error(&elsewhere.run_with(&["serve"], "DATABASE_URL", url));
    assert_says(
        &serve(place.app("empty")),
        &["at version 0", "secondcan-server migrate"],
    );
    let said = error(&elsewhere.run_with(&["migrate"], "DATABASE_URL", place.app("empty")));
    assert_says(&said, &["DATABASE_OWNER_URL"]);

    let newer = "INSERT INTO _sqlx_migrations VALUES (99999999, 'newer', now(), true, '', 0)";
    ask(&place.owner(), newer);
    assert_says(
        &serve(place.app("secondcan")),
        &["at version 99999999", "newer secondcan-server"],
    );
    let mut with_owner = elsewhere.command(&["serve"]);
    with_owner
        .env("DATABASE_URL", place.app("secondcan"))
        .env("DATABASE_OWNER_URL", place.owner());
    assert_says(
        &error(&with_owner.output().unwrap()),
        &["at version 99999999"],
    );
}
