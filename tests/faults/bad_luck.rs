//! Bad luck: the database goes away and comes back, the disk fills up, the port is taken, the
//! folder is closed, the schema is another program's. Each is told in clear words, loses nothing,
//! and ends by itself when its cause does.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::fs::{self, File, Permissions};
use std::io::Write as _;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use harness::chain::{Chain, log_in, new_id};
use harness::cluster::{TestDatabase, psql};
use harness::http::{Answer, Client};
use harness::process::ServerPlan;
use harness::proxy::{Line, Relay};
use serde_json::{Value, json};

/// No answer takes longer, whatever is away.
const ANSWERED: Duration = Duration::from_secs(15);
/// Healing takes no longer once the cause is gone.
const HEALED: Duration = Duration::from_secs(20);

/// A refusal for now: 503 with a time to try again, before a person gives up waiting.
#[track_caller]
fn not_now(send: impl FnOnce() -> Answer) -> Value {
    let begun = Instant::now();
    let answer = send();
    assert!(begun.elapsed() < ANSWERED, "it took {:?}", begun.elapsed());
    let seconds = answer.header("retry-after").map(str::parse::<u32>);
    assert!(matches!(seconds, Some(Ok(1..=60))), "{answer:?}");
    answer.problem(503, "unavailable")
}

/// Sends the same until it is taken.
#[track_caller]
fn until_taken(send: impl Fn() -> Answer) -> Answer {
    let deadline = Instant::now() + HEALED;
    loop {
        let answer = send();
        if answer.status != 503 {
            return answer;
        }
        assert!(Instant::now() < deadline, "still {}", answer.text());
        thread::sleep(Duration::from_millis(200));
    }
}

fn new_customer(name: &str) -> Value {
    json!({ "id": new_id(), "kind": "person", "name": name, "note": "n".repeat(1_900) })
}

fn customers(client: &Client) -> usize {
    let page = client.get("/customers?limit=200").expect(200);
    assert!(page["next"].is_null());
    page["items"].as_array().unwrap().len()
}

#[test]
fn a_database_that_goes_away_is_not_now_and_its_return_needs_nobody() {
    let database = TestDatabase::create();
    let relay = Relay::to(&database.app_url());
    let plan = ServerPlan::on(&database).with("DATABASE_URL", relay.url());
    let (server, chain) = Chain::found(&plan);
    let clerk = &chain.clerk.client;
    let customer = chain.customer(&chain.clerk, "Ada Fenn");
    let mut kept = 1;
    for line in [Line::Cut, Line::Silent, Line::Cut] {
        relay.set(line);
        let (key, new) = (new_id(), new_customer("Bo Fenn"));
        let add = || clerk.ask("POST", "/customers").key(key).json(&new).send();
        let login = json!({ "login": chain.clerk.name, "password": chain.clerk.password, "store_id": chain.north });
        let said = not_now(add);
        assert!(
            said["detail"].as_str().unwrap().contains("database"),
            "{said}"
        );
        assert!(
            said["remedy"]
                .as_str()
                .unwrap()
                .contains("nothing was changed"),
            "{said}"
        );
        not_now(|| clerk.get(&format!("/customers/{customer}")));
        not_now(|| clerk.get("/customers/find?q=fenn"));
        not_now(|| clerk.post("/nearest", &json!({ "lab": [50, 0, 0] })));
        not_now(|| clerk.stranger().post("/auth/login", &login));
        not_now(|| {
            clerk.stranger().post(
                "/auth/refresh",
                &json!({ "refresh_token": chain.contractor.refresh }),
            )
        });
        not_now(|| clerk.get("//ready"));
        // It lives, and says what needs no database.
        clerk.get("//health").expect(200);
        clerk.get("//api/openapi.json").expect(200);
        clerk.get("/nowhere").problem(404, "not-found");
        many_at_once_are_all_told(clerk);

        relay.set(Line::Open);
        until_taken(add).expect(201);
        kept += 1;
        add().expect(201);
        assert_eq!(customers(clerk), kept, "{line:?}");
        clerk.get("//ready").expect(200);
        clerk.stranger().post("/auth/login", &login).expect(200);
    }
    // The refresh token that could not be used meanwhile was not used up.
    let refresh = json!({ "refresh_token": chain.contractor.refresh });
    clerk.stranger().post("/auth/refresh", &refresh).expect(200);
    assert!(!server.log().contains("panicked"), "{}", server.log());
}

/// More waiting than the pool has connections: none hangs, none gets another kind of answer.
fn many_at_once_are_all_told(client: &Client) {
    thread::scope(|scope| {
        for _ in 0..60 {
            scope.spawn(|| not_now(|| client.moved_to(client.url()).get("/stores")));
        }
    });
}

#[test]
fn a_transaction_cut_in_the_middle_leaves_nothing_behind() {
    let database = TestDatabase::create();
    let relay = Relay::to(&database.app_url());
    let plan = ServerPlan::on(&database).with("DATABASE_URL", relay.url());
    let (_server, chain) = Chain::found(&plan);
    let clerk = &chain.clerk.client;
    // Held by a lock of somebody else, the write stands in the middle of its transaction.
    let mut holder = Command::new("psql")
        .args(["-X", "-q", "-d", &database.superuser_url()])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut orders = holder.stdin.take().unwrap();
    writeln!(orders, "BEGIN; LOCK TABLE receipt IN EXCLUSIVE MODE;").unwrap();
    let waits =
        "SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'receipt'::regclass";
    let locks = "SELECT count(*) FROM pg_locks WHERE granted AND mode = 'ExclusiveLock' AND relation = 'receipt'::regclass";
    wait_until(|| psql(&database.superuser_url(), &[locks]) == "1");
    let (key, new) = (new_id(), new_customer("Cy Fenn"));
    let add = || clerk.ask("POST", "/customers").key(key).json(&new).send();
    thread::scope(|scope| {
        let cut = scope.spawn(|| not_now(add));
        wait_until(|| psql(&database.superuser_url(), &[waits]) == "1");
        relay.set(Line::Cut);
        cut.join().unwrap();
    });
    drop(orders);
    holder.wait().unwrap();
    relay.set(Line::Open);
    until_taken(|| clerk.get("/stores")).expect(200);
    assert_eq!(customers(clerk), 0, "half a write was kept");
    add().expect(201);
    assert_eq!(customers(clerk), 1);
}

fn wait_until(holds: impl Fn() -> bool) {
    let deadline = Instant::now() + HEALED;
    while !holds() {
        assert!(Instant::now() < deadline);
        thread::sleep(Duration::from_millis(20));
    }
}

/// A small disk of its own, taken away in the end.
struct SmallDisk(PathBuf);

impl SmallDisk {
    /// None where only root may mount.
    fn mount(at: &Path) -> Option<Self> {
        fs::create_dir_all(at).unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=192m,mode=0777", "none"])
            .arg(at)
            .stderr(Stdio::null())
            .status();
        mounted
            .is_ok_and(|status| status.success())
            .then(|| Self(at.to_owned()))
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_is_not_now_and_nothing_is_half_written() {
    let plan = ServerPlan::embedded();
    let Some(disk) = SmallDisk::mount(&plan.data()) else {
        eprintln!("skipped: a small disk to be filled can be mounted by root alone");
        return;
    };
    let (server, chain) = Chain::found(&plan);
    let clerk = &chain.clerk.client;
    let filler = disk.0.join("filler");
    fill(&filler);
    let mut taken = 0;
    let mut put_off = Vec::new();
    for number in 0..2_000 {
        let (key, new) = (new_id(), new_customer(&format!("Customer {number}")));
        let answer = clerk.ask("POST", "/customers").key(key).json(&new).send();
        if answer.status == 201 {
            taken += 1;
            continue;
        }
        let said = not_now(|| answer);
        assert!(
            said["detail"].as_str().unwrap().contains("disk is full"),
            "{said}"
        );
        assert!(said["detail"].as_str().unwrap().contains("admin"), "{said}");
        put_off.push((key, new));
        if put_off.len() == 10 {
            break;
        }
    }
    assert_eq!(
        put_off.len(),
        10,
        "the disk did not fill up: {taken} writes were taken"
    );
    // What is there can be read all the while.
    assert_eq!(listed(clerk), taken);
    clerk.get("//health").expect(200);

    fs::remove_file(&filler).unwrap();
    for (key, new) in &put_off {
        until_taken(|| clerk.ask("POST", "/customers").key(*key).json(new).send()).expect(201);
    }
    assert_eq!(listed(clerk), taken + put_off.len());
    assert!(server.interrupt().success());
    drop(disk);
}

/// Writes until the disk is full.
fn fill(path: &Path) {
    let mut file = File::create(path).unwrap();
    let block = vec![0; 64 * 1024];
    for _ in 0..100_000 {
        if file.write_all(&block).is_err() {
            return;
        }
    }
    panic!("the small disk is not small");
}

/// Customers over all pages.
fn listed(client: &Client) -> usize {
    let mut count = 0;
    let mut path = "/customers?limit=200".to_owned();
    for _ in 0..1_000 {
        let page = client.get(&path).expect(200);
        count += page["items"].as_array().unwrap().len();
        let Some(next) = page["next"].as_str() else {
            return count;
        };
        path = format!("/customers?limit=200&after={next}");
    }
    panic!("the pages have no end");
}

/// How a start fails: in a few seconds, with exit code 1, in words that hold all of these and none
/// of the password.
#[track_caller]
fn fails(mut command: Command, says: &[&str]) {
    let begun = Instant::now();
    let Output {
        status,
        stderr,
        stdout,
    } = command.output().unwrap();
    let said = String::from_utf8_lossy(&stderr);
    assert!(
        begun.elapsed() < Duration::from_secs(30),
        "it took {:?}: {said}",
        begun.elapsed()
    );
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(!String::from_utf8_lossy(&stdout).contains("listening"));
    for part in says {
        assert!(said.contains(part), "does not say {part:?}: {said}");
    }
    assert!(
        !said.contains("only-for-tests"),
        "a password is shown: {said}"
    );
    assert!(!said.contains("panicked"), "{said}");
}

#[test]
fn a_taken_port_is_named() {
    let database = TestDatabase::create();
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap();
    let plan = ServerPlan::on(&database).with("SECONDCAN_LISTEN", &address.to_string());
    let port = format!("port {}", address.port());
    fails(
        plan.command(&["serve"]),
        &[&port, "taken", "SECONDCAN_LISTEN"],
    );
}

#[test]
fn a_data_folder_that_is_closed_is_named() {
    let folder = tempfile::Builder::new()
        .prefix("secondcan-test-")
        .tempdir_in("/tmp")
        .unwrap();
    let data = folder.path().join("data");
    fs::create_dir(&data).unwrap();
    fs::set_permissions(folder.path(), Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(&data, Permissions::from_mode(0o555)).unwrap();
    let plan = ServerPlan::embedded().with("SECONDCAN_DATA", data.to_str().unwrap());
    fails(
        plan.command(&["serve"]),
        &["not writable", data.to_str().unwrap(), "SECONDCAN_DATA"],
    );
    assert_eq!(fs::read_dir(&data).unwrap().count(), 0);
}

#[test]
fn an_older_schema_is_refused_with_the_command_that_mends_it() {
    let database = TestDatabase::create();
    let last =
        "DELETE FROM _sqlx_migrations WHERE version = (SELECT max(version) FROM _sqlx_migrations)";
    psql(&database.superuser_url(), &[last]);
    let plan = ServerPlan::on(&database);
    for verb in ["serve", "check"] {
        fails(
            plan.command(&[verb]),
            &["version", "secondcan-server migrate", "DATABASE_OWNER_URL"],
        );
    }
    // Without the owner's URL nothing can be mended.
    fails(plan.command(&["migrate"]), &["DATABASE_OWNER_URL"]);
}

#[test]
fn an_empty_database_is_refused_and_migrated_by_its_owner() {
    let database = TestDatabase::create();
    psql(
        &database.owner_url(),
        &["DROP SCHEMA public CASCADE", "CREATE SCHEMA public"],
    );
    psql(
        &database.superuser_url(),
        &[
            "CREATE EXTENSION pg_trgm",
            "GRANT USAGE ON SCHEMA public TO secondcan_app",
        ],
    );
    let plan = ServerPlan::on(&database);
    fails(
        plan.command(&["serve"]),
        &["version 0", "secondcan-server migrate"],
    );
    let plan = plan.with("DATABASE_OWNER_URL", &database.owner_url());
    let migrated = plan.command(&["migrate"]).output().unwrap();
    assert!(
        migrated.status.success(),
        "{}",
        String::from_utf8_lossy(&migrated.stderr)
    );
    assert!(plan.serve().is_ready());
}

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let database = TestDatabase::create();
    let newer = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
                 VALUES (99999999, 'of a later program', true, '', 0)";
    psql(&database.superuser_url(), &[newer]);
    let plan = ServerPlan::on(&database);
    let says = ["version 99999999", "newer secondcan-server"];
    for verb in ["serve", "check"] {
        fails(plan.command(&[verb]), &says);
    }
    let owner = plan.with("DATABASE_OWNER_URL", &database.owner_url());
    for verb in ["serve", "migrate"] {
        fails(owner.command(&[verb]), &says);
    }
}

#[test]
fn a_database_that_is_away_or_closed_at_the_start_is_named() {
    let database = TestDatabase::create();
    let relay = Relay::to(&database.app_url());
    for line in [Line::Cut, Line::Silent] {
        relay.set(line);
        let plan = ServerPlan::on(&database).with("DATABASE_URL", relay.url());
        fails(plan.command(&["serve"]), &["database"]);
        fails(plan.command(&["check"]), &["database"]);
    }
    let missing = database
        .app_url()
        .replace("secondcan_test_", "secondcan_missing_");
    let plan = ServerPlan::on(&database).with("DATABASE_URL", &missing);
    fails(plan.command(&["serve"]), &["database", "does not exist"]);
    let plan = ServerPlan::on(&database).with("DATABASE_URL", "mysql://only-for-tests@localhost/x");
    fails(plan.command(&["serve"]), &["DATABASE_URL", "postgres://"]);
}

#[test]
fn a_login_during_a_crash_of_postgres_is_asked_again_not_refused() {
    let database = TestDatabase::create();
    let relay = Relay::to(&database.app_url());
    let plan = ServerPlan::on(&database).with("DATABASE_URL", relay.url());
    let (_server, chain) = Chain::found(&plan);
    relay.set(Line::Cut);
    // An outage is no wrong password and no ended session: nobody is sent to the login page.
    not_now(|| chain.clerk.client.get("/auth/me"));
    relay.set(Line::Open);
    until_taken(|| chain.clerk.client.get("/auth/me")).expect(200);
    let stranger = chain.clerk.client.stranger();
    let _ = log_in(
        &stranger,
        chain.clerk.id,
        &chain.clerk.name,
        chain.clerk.store,
    );
}
