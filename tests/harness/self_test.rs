//! The harness keeps its promises; every other test stands on them.

use std::process::{Command, Stdio};

use harness::cluster::{TestDatabase, psql};
use harness::process::{Cli, ServerPlan};

#[test]
fn each_test_gets_a_migrated_database_of_its_own() {
    let (one, other) = (TestDatabase::create(), TestDatabase::create());
    psql(&one.owner_url(), &["CREATE TABLE only_here ()"]);
    let tables = "SELECT to_regclass('change_log') IS NOT NULL, to_regclass('only_here') IS NULL";
    assert_eq!(psql(&one.superuser_url(), &[tables]), "t|f");
    assert_eq!(psql(&other.superuser_url(), &[tables]), "t|t");
    let owner = "SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'";
    assert_eq!(psql(&other.superuser_url(), &[owner]), "secondcan_owner");
    let rights = "SELECT current_user, \
                         has_database_privilege(current_database(), 'CONNECT'), \
                         has_database_privilege(current_database(), 'TEMP'), \
                         has_schema_privilege('public', 'CREATE')";
    assert_eq!(psql(&other.app_url(), &[rights]), "secondcan_app|t|f|f");
}

#[test]
fn a_database_is_gone_after_its_test() {
    let database = TestDatabase::create();
    let url = database.app_url();
    psql(&url, &["SELECT 1"]);
    drop(database);
    let after = Command::new("psql")
        .args(["-X", "-d", &url, "-c", "SELECT 1"])
        .stderr(Stdio::piped())
        .output()
        .unwrap();
    let said = String::from_utf8(after.stderr).unwrap();
    assert!(said.contains("does not exist"), "{said}");
}

#[test]
fn a_server_becomes_ready_and_ends_when_dropped() {
    let database = TestDatabase::create();
    let server = ServerPlan::on(&database).serve();
    let (url, pid) = (server.url().to_owned(), server.pid());
    assert!(server.is_ready(), "{url}");
    drop(server);
    assert!(rustix::process::test_kill_process(pid).is_err());
}

#[test]
fn the_cli_runs_in_a_home_of_its_own() {
    let cli = Cli::at("http://127.0.0.1:1");
    let output = cli.run(&["--version"]).expect_code(0);
    assert!(output.stdout.starts_with("secondcan "), "{output:?}");
}
