//! The rules of migrations/README.md, held on a migrated database. Each look at the catalog is also shown to find the
//! fault that it looks for.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use sqlx::{AssertSqlSafe, Connection, Executor, PgConnection};

use crate::support::TestDatabase;

/// Tables without a trigger of the change log, and why.
const UNLOGGED: &[(&str, &str)] = &[
    ("_sqlx_migrations", "the schema's own version"),
    (
        "access_log",
        "who opened what: a log of its own, and never sent to branches",
    ),
    (
        "base_room",
        "part of base, whose version every change raises",
    ),
    ("change_log", "the log itself"),
    ("claim_token", "a secret's hash, the server's own"),
    (
        "customer_name",
        "part of customer, whose version every change raises",
    ),
    (
        "customer_past",
        "what the customer said before: written with the customer",
    ),
    (
        "customer_phone",
        "part of customer, whose version every change raises",
    ),
    ("draft", "its owner's alone, rewritten at every pause"),
    ("library", "one row, written by migrate and restore"),
    ("login_throttle", "the server's own"),
    (
        "measurement",
        "comes with the match or drawdown that names it",
    ),
    ("measurement_color", "derived from the measurement"),
    ("measurement_reading", "comes with its measurement"),
    (
        "measurement_file",
        "comes with the match or drawdown that names its measurement",
    ),
    (
        "person_store",
        "part of person, whose version every change raises",
    ),
    ("receipt", "the server's own"),
    ("refresh_token", "a secret's hash, the server's own"),
    ("reorder_step", "comes with the change of its reorder"),
    ("revision_shot", "comes with its revision"),
    ("session", "the server's own"),
    ("tint_shot", "comes with its tint"),
];

/// Tables that hold facts.
const FACTS: &[&str] = &[
    "calibration",
    "drawdown",
    "instrument_start",
    "measurement",
    "measurement_acceptance",
    "measurement_reading",
    "reorder_step",
    "revision",
    "revision_shot",
    "tile_reading",
    "tint",
    "tint_fault",
    "tint_shot",
];

/// Columns of text in tables of facts, and why no name and no free text can stand in them.
const WORDS_IN_FACTS: &[(&str, &str)] = &[
    ("measurement.as_read", "digits of a file"),
    ("measurement.backing", "closed by a check"),
    ("measurement.filter", "closed by a check"),
    ("measurement.geometry", "closed by a check"),
    ("measurement.instrument_due", "closed by a check"),
    ("measurement.read_as", "closed by a check"),
    ("measurement.specular", "closed by a check"),
    ("reorder_step.from_state", "a reorder's state"),
    ("reorder_step.to_state", "a reorder's state"),
    ("revision.size", "a can size"),
    ("revision_shot.unit", "a shot unit"),
    ("tile_reading.specular", "closed by a check"),
    ("tint.base_lot", "printed on the can by its maker"),
    ("tint.size", "a can size"),
    ("tint_fault.reason", "closed by a check"),
    ("tint_shot.lot", "printed on the canister by its maker"),
    ("tint_shot.unit", "a shot unit"),
];

/// SQLSTATE of what a role may not do (PostgreSQL manual, appendix A).
const NOT_ALLOWED: &str = "42501";
/// SQLSTATE that `refuse_rewrite` raises.
const RESTRICTED: &str = "23001";

/// A migrated database with a connection of each role.
struct Bench {
    database: TestDatabase,
    owner: PgConnection,
    app: PgConnection,
}

/// Runs a test on a database of its own, which is removed whatever comes of it.
fn on_database(test: impl AsyncFnOnce(&mut Bench)) {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let database = runtime.block_on(TestDatabase::make());
    let mut bench = runtime.block_on(async {
        let owner = PgConnection::connect(&database.owner_url()).await.unwrap();
        let app = PgConnection::connect(&database.app_url()).await.unwrap();
        Bench {
            database,
            owner,
            app,
        }
    });
    let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        runtime.block_on(test(&mut bench));
    }));
    runtime.block_on(bench.database.remove());
    if let Err(fault) = outcome {
        std::panic::resume_unwind(fault);
    }
}

async fn run(conn: &mut PgConnection, sql: &str) -> Result<(), String> {
    match conn
        .execute(sqlx::raw_sql(AssertSqlSafe(sql.to_owned())))
        .await
    {
        Ok(_) => Ok(()),
        Err(error) => Err(error
            .as_database_error()
            .and_then(|refusal| refusal.code().map(|code| code.into_owned()))
            .unwrap_or_else(|| error.to_string())),
    }
}

async fn names(conn: &mut PgConnection, sql: &'static str) -> BTreeSet<String> {
    sqlx::query_scalar::<_, String>(sql)
        .fetch_all(conn)
        .await
        .unwrap()
        .into_iter()
        .collect()
}

fn set(words: &[&str]) -> BTreeSet<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

fn explained(list: &[(&str, &str)]) -> BTreeSet<String> {
    list.iter().map(|(name, _)| (*name).to_owned()).collect()
}

/// Constraints that can be deferred, those of triggers that write the log left out.
const DEFERRED: &str = "SELECT conrelid::regclass || '.' || conname FROM pg_constraint
    WHERE condeferrable AND contype <> 't'
    UNION ALL
    SELECT tgrelid::regclass || '.' || tgname FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
    WHERE tgdeferrable AND NOT tgisinternal AND p.proname <> 'log_change'";

#[test]
fn the_log_triggers_are_the_only_deferred_constraints() {
    on_database(async |bench| {
        assert_eq!(names(&mut bench.owner, DEFERRED).await, set(&[]));
        let eager = "SELECT tgrelid::regclass::text FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
            WHERE p.proname = 'log_change' AND NOT (tgdeferrable AND tginitdeferred AND tgconstraint <> 0)";
        assert_eq!(names(&mut bench.owner, eager).await, set(&[]));
        run(
            &mut bench.owner,
            "ALTER TABLE draft ADD CONSTRAINT late UNIQUE (title) DEFERRABLE",
        )
        .await
        .unwrap();
        assert_eq!(
            names(&mut bench.owner, DEFERRED).await,
            set(&["draft.late"])
        );
    });
}

#[test]
fn nobody_sets_constraints() {
    let mut folders = vec![std::path::PathBuf::from(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/src"
    ))];
    let mut files = 0;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                files += 1;
                let text = std::fs::read_to_string(&path).unwrap().to_uppercase();
                assert!(!text.contains("SET CONSTRAINTS"), "{}", path.display());
            }
        }
    }
    assert!(files > 20, "{files} files are not the whole server");
}

#[test]
fn every_table_is_logged_or_says_why_not() {
    on_database(async |bench| {
        let unlogged = "SELECT c.relname::text FROM pg_class c
            WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND NOT EXISTS
                (SELECT FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
                 WHERE t.tgrelid = c.oid AND p.proname = 'log_change' AND t.tgenabled = 'O')";
        assert_eq!(names(&mut bench.owner, unlogged).await, explained(UNLOGGED));
        // A table that can be changed logs its changes too, not only its additions.
        let half = "SELECT c.relname::text FROM pg_class c JOIN pg_trigger t ON t.tgrelid = c.oid
            JOIN pg_proc p ON p.oid = t.tgfoid
            WHERE p.proname = 'log_change'
              AND (has_table_privilege('secondcan_app', c.oid, 'UPDATE') AND t.tgtype & 16 = 0
                OR has_table_privilege('secondcan_app', c.oid, 'DELETE') AND t.tgtype & 8 = 0
                OR has_table_privilege('secondcan_app', c.oid, 'INSERT') AND t.tgtype & 4 = 0)";
        assert_eq!(names(&mut bench.owner, half).await, set(&[]));
    });
}

#[test]
fn the_app_can_neither_write_nor_forge_log_rows() {
    on_database(async |bench| {
        let denied = Err(NOT_ALLOWED.to_owned());
        for attempt in [
            "INSERT INTO change_log (tag, kind, entity_id, op) VALUES (1, 'store', gen_random_uuid(), 'insert')",
            "UPDATE change_log SET kind = 'x'",
            "DELETE FROM change_log",
            "TRUNCATE change_log",
            "SELECT nextval('change_log_seq_seq')",
            "SELECT setval('change_log_seq_seq', 1)",
            "ALTER TABLE change_log ADD COLUMN x integer",
            "ALTER TABLE store DISABLE TRIGGER store_logged",
            "SET session_replication_role = replica",
            "CREATE TABLE forged (id uuid)",
            "CREATE TEMPORARY TABLE forged (id uuid)",
            "CREATE FUNCTION forge() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'",
            "CREATE SCHEMA forged",
        ] {
            assert_eq!(run(&mut bench.app, attempt).await, denied, "{attempt}");
        }
        // Were temporary tables allowed, the function's own privilege would still stand in the way; without both, a
        // row is forged, and the two barriers are seen to matter.
        let temp = "DO $$ BEGIN EXECUTE format('GRANT TEMP ON DATABASE %I TO secondcan_app', current_database());
            END $$";
        run(&mut bench.owner, temp).await.unwrap();
        run(&mut bench.app, "CREATE TEMPORARY TABLE forged (id uuid)")
            .await
            .unwrap();
        let attach = "CREATE TRIGGER forge AFTER INSERT ON forged FOR EACH ROW
            EXECUTE FUNCTION log_change('store', 'none')";
        assert_eq!(run(&mut bench.app, attach).await, denied);
        run(
            &mut bench.owner,
            "GRANT EXECUTE ON FUNCTION log_change() TO secondcan_app",
        )
        .await
        .unwrap();
        run(&mut bench.app, attach).await.unwrap();
        run(
            &mut bench.app,
            "INSERT INTO forged VALUES ('01900000-0000-7000-8000-00000000f0f0')",
        )
        .await
        .unwrap();
        let forged: i64 = sqlx::query_scalar(
            "SELECT count(*) FROM change_log WHERE entity_id = '01900000-0000-7000-8000-00000000f0f0'",
        )
        .fetch_one(&mut bench.owner)
        .await
        .unwrap();
        assert_eq!(forged, 1);
    });
}

#[test]
fn functions_have_a_fixed_search_path_and_nobody_else_may_call_them() {
    on_database(async |bench| {
        let ours =
            "SELECT p.proname::text FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace
            AND NOT EXISTS (SELECT FROM pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e')";
        assert_eq!(
            names(&mut bench.owner, ours).await,
            set(&["log_change", "refuse_rewrite"])
        );
        let loose = "SELECT p.proname::text FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace
            AND NOT EXISTS (SELECT FROM pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e')
            AND (NOT EXISTS (SELECT FROM unnest(p.proconfig) s WHERE s LIKE 'search_path=pg_catalog,%pg_temp')
                OR EXISTS (SELECT FROM aclexplode(coalesce(p.proacl, acldefault('f', p.proowner))) a
                           WHERE a.grantee <> p.proowner AND a.privilege_type = 'EXECUTE'))";
        assert_eq!(names(&mut bench.owner, loose).await, set(&[]));
        run(
            &mut bench.owner,
            "CREATE FUNCTION sloppy() RETURNS integer LANGUAGE sql SECURITY DEFINER AS 'SELECT 1'",
        )
        .await
        .unwrap();
        assert_eq!(names(&mut bench.owner, loose).await, set(&["sloppy"]));
    });
}

#[test]
fn facts_hold_no_names_and_no_free_text() {
    on_database(async |bench| {
        let texts = "SELECT c.relname || '.' || a.attname FROM pg_class c
            JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
            WHERE c.relname IN (SELECT r.relname FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
                    JOIN pg_class r ON r.oid = t.tgrelid WHERE p.proname = 'refuse_rewrite')
              AND a.atttypid NOT IN ('uuid'::regtype, 'timestamptz'::regtype, 'smallint'::regtype,
                'integer'::regtype, 'bigint'::regtype, 'real'::regtype, 'real[]'::regtype,
                'double precision'::regtype, 'double precision[]'::regtype, 'boolean'::regtype)";
        assert_eq!(
            names(&mut bench.owner, texts).await,
            explained(WORDS_IN_FACTS)
        );
        run(
            &mut bench.owner,
            "ALTER TABLE tint ADD COLUMN remark varchar(20)",
        )
        .await
        .unwrap();
        assert!(names(&mut bench.owner, texts).await.contains("tint.remark"));
    });
}

#[test]
fn facts_are_never_rewritten() {
    on_database(async |bench| {
        let guarded =
            "SELECT c.relname::text FROM pg_class c JOIN pg_trigger t ON t.tgrelid = c.oid
            JOIN pg_proc p ON p.oid = t.tgfoid
            WHERE p.proname = 'refuse_rewrite' AND t.tgtype & 27 = 27 AND t.tgenabled = 'O'";
        assert_eq!(names(&mut bench.owner, guarded).await, set(FACTS));
        run(&mut bench.owner, include_str!("one_of_each_fact.sql"))
            .await
            .unwrap();
        for table in FACTS {
            let columns: Vec<String> = sqlx::query_scalar(
                "SELECT attname::text FROM pg_attribute
                 WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped",
            )
            .bind(*table)
            .fetch_all(&mut bench.owner)
            .await
            .unwrap();
            for column in columns {
                let update = format!("UPDATE {table} SET {column} = {column}");
                assert_eq!(
                    run(&mut bench.app, &update).await,
                    Err(NOT_ALLOWED.to_owned()),
                    "{update}"
                );
                assert_eq!(
                    run(&mut bench.owner, &update).await,
                    Err(RESTRICTED.to_owned()),
                    "{update}"
                );
            }
            let delete = format!("DELETE FROM {table}");
            assert_eq!(
                run(&mut bench.app, &delete).await,
                Err(NOT_ALLOWED.to_owned()),
                "{delete}"
            );
            assert_eq!(
                run(&mut bench.owner, &delete).await,
                Err(RESTRICTED.to_owned()),
                "{delete}"
            );
            let truncate = format!("TRUNCATE {table}");
            assert_eq!(
                run(&mut bench.app, &truncate).await,
                Err(NOT_ALLOWED.to_owned()),
                "{truncate}"
            );
        }
    });
}

/// A small generator (splitmix64), so that pauses differ and a run can be told from another by its seed.
struct Pauses(u64);

impl Pauses {
    fn next(&mut self, below: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % below
    }
}

const WRITERS: u64 = 12;
const WRITES: u64 = 60;

/// Adds stores in transactions that dawdle, and notes each in the naive log the moment it is written. Returns the ids
/// that were committed.
async fn write(url: String, writer: u64) -> Vec<uuid::Uuid> {
    let mut conn = PgConnection::connect(&url).await.unwrap();
    let mut pauses = Pauses(writer);
    let mut committed = Vec::new();
    for _ in 0..WRITES {
        let id = uuid::Uuid::now_v7();
        let mut tx = conn.begin().await.unwrap();
        sqlx::query("INSERT INTO store (id, name, phone_region) VALUES ($1, $2, 'US')")
            .bind(id)
            .bind(id.to_string())
            .execute(&mut *tx)
            .await
            .unwrap();
        sqlx::query("INSERT INTO naive_log (kind, entity_id, op) VALUES ('store', $1, 'insert')")
            .bind(id)
            .execute(&mut *tx)
            .await
            .unwrap();
        tokio::time::sleep(Duration::from_micros(pauses.next(8000))).await;
        // Some fail: their numbers are drawn and never seen.
        if pauses.next(10) == 0 {
            tx.rollback().await.unwrap();
        } else {
            tx.commit().await.unwrap();
            committed.push(id);
        }
    }
    committed
}

/// What a branch pulls: head and rows in one statement, the next cursor is the head.
async fn pull(conn: &mut PgConnection, sql: &'static str, cursor: &mut i64) -> Vec<uuid::Uuid> {
    let rows: Vec<(i64, Option<i64>, Option<uuid::Uuid>)> = sqlx::query_as(sql)
        .bind(*cursor)
        .fetch_all(conn)
        .await
        .unwrap();
    let mut last = *cursor;
    let mut seen = Vec::new();
    for (head, seq, entity) in rows {
        *cursor = (*cursor).max(head);
        if let (Some(seq), Some(entity)) = (seq, entity) {
            assert!(seq > last, "{seq} after {last}");
            last = seq;
            seen.push(entity);
        }
    }
    seen
}

const PULL: &str = "WITH head AS MATERIALIZED (SELECT coalesce(max(seq), 0) AS seq FROM change_log)
    SELECT head.seq, l.seq, l.entity_id FROM head
    LEFT JOIN change_log l ON l.seq > $1 AND l.seq <= head.seq ORDER BY l.seq";
const NAIVE_PULL: &str =
    "WITH head AS MATERIALIZED (SELECT coalesce(max(seq), 0) AS seq FROM naive_log)
    SELECT head.seq, l.seq, l.entity_id FROM head
    LEFT JOIN naive_log l ON l.seq > $1 AND l.seq <= head.seq ORDER BY l.seq";

#[test]
fn a_pull_misses_no_row_where_a_plain_sequence_does() {
    on_database(async |bench| {
        run(
            &mut bench.owner,
            "CREATE TABLE naive_log (LIKE change_log INCLUDING DEFAULTS INCLUDING IDENTITY);
             ALTER TABLE naive_log ALTER COLUMN tag DROP NOT NULL;
             GRANT SELECT, INSERT ON naive_log TO secondcan_app",
        )
        .await
        .unwrap();
        let writers: Vec<_> = (0..WRITERS)
            .map(|writer| tokio::spawn(write(bench.database.app_url(), writer)))
            .collect();
        let mut seen: BTreeMap<&str, Vec<uuid::Uuid>> = BTreeMap::new();
        let (mut cursor, mut naive_cursor) = (0, 0);
        loop {
            // Looked at before the pull, so that the last pull comes after the last commit.
            let done = writers.iter().all(tokio::task::JoinHandle::is_finished);
            let rows = pull(&mut bench.app, PULL, &mut cursor).await;
            seen.entry("log").or_default().extend(rows);
            let rows = pull(&mut bench.app, NAIVE_PULL, &mut naive_cursor).await;
            seen.entry("naive").or_default().extend(rows);
            if done {
                break;
            }
        }
        let mut committed = BTreeSet::new();
        for writer in writers {
            committed.extend(writer.await.unwrap());
        }
        assert!(committed.len() > 500, "only {} committed", committed.len());
        let missed = |log: &str| {
            let seen: BTreeSet<_> = seen[log].iter().copied().collect();
            committed.difference(&seen).count()
        };
        assert!(
            missed("naive") > 0,
            "the naive log missed nothing: this test shows nothing"
        );
        assert_eq!(missed("log"), 0, "of {} rows", committed.len());
        // Nor is anything there that was rolled back, or twice.
        assert_eq!(seen["log"].len(), committed.len());
        println!(
            "of {} rows the plain sequence missed {}, the log none",
            committed.len(),
            missed("naive")
        );
    });
}
