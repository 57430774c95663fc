//! A database a test, on the cluster that `SECONDCAN_TEST_CLUSTER` names.

use secondcan_server::store::MIGRATIONS;
use sqlx::{Connection, Executor, PgConnection, Row};

const CLUSTER: &str = "SECONDCAN_TEST_CLUSTER";
/// Of both roles; the cluster is for tests only. The black-box tests' harness sets the same one.
const PASSWORD: &str = "only-for-tests";

pub(crate) struct TestDatabase {
    cluster: String,
    name: String,
}

impl TestDatabase {
    /// Makes a database as the superuser and migrates it as the owner.
    pub(crate) async fn make() -> Self {
        let cluster = std::env::var(CLUSTER).unwrap_or_else(|_| {
            panic!(
                "{CLUSTER} is not set: run ./test, which starts a Postgres for the tests, or set it to the URL of a \
                 superuser of a cluster that is for tests only"
            )
        });
        let name = format!("secondcan_test_{}", uuid::Uuid::now_v7().simple());
        let made = Self { cluster, name };
        let name = &made.name;
        let mut superuser = connect(&made.cluster).await;
        make_roles(&mut superuser).await;
        run(
            &mut superuser,
            &format!(
                "CREATE DATABASE {name} OWNER secondcan_owner TEMPLATE template0 ENCODING 'UTF8' LOCALE 'C.UTF-8'"
            ),
        )
        .await;
        let mut inside = connect(&made.url(None)).await;
        run(
            &mut inside,
            &format!(
                "REVOKE TEMP, CREATE ON DATABASE {name} FROM PUBLIC;
                 GRANT CONNECT ON DATABASE {name} TO secondcan_app;
                 ALTER SCHEMA public OWNER TO secondcan_owner"
            ),
        )
        .await;
        let mut owner = connect(&made.url(Some("secondcan_owner"))).await;
        MIGRATIONS.run(&mut owner).await.unwrap();
        made
    }

    /// For the server.
    pub(crate) fn app_url(&self) -> String {
        self.url(Some("secondcan_app"))
    }

    /// For what only the owner of the tables may do.
    pub(crate) fn owner_url(&self) -> String {
        self.url(Some("secondcan_owner"))
    }

    /// The cluster's URL with this database, and with another role when one is given.
    fn url(&self, role: Option<&str>) -> String {
        let (scheme, rest) = self.cluster.split_once("://").unwrap();
        let (authority, tail) = rest.split_once('/').unwrap_or((rest, ""));
        let query = tail
            .split_once('?')
            .map_or(String::new(), |(_, query)| format!("?{query}"));
        let (user, host) = authority
            .rsplit_once('@')
            .unwrap_or(("postgres", authority));
        let user = role.map_or(user.to_owned(), |role| format!("{role}:{PASSWORD}"));
        format!("{scheme}://{user}@{host}/{}{query}", self.name)
    }

    pub(crate) async fn execute(&self, statement: &str) -> u64 {
        let mut owner = connect(&self.url(Some("secondcan_owner"))).await;
        run(&mut owner, statement).await
    }

    pub(crate) async fn text(&self, query: &str) -> Option<String> {
        let mut owner = connect(&self.url(Some("secondcan_owner"))).await;
        let cast = format!("SELECT one::text FROM ({query}) AS answer(one)");
        let row = sqlx::query(sqlx::AssertSqlSafe(cast))
            .fetch_optional(&mut owner)
            .await
            .unwrap();
        row.and_then(|row| row.get(0))
    }

    pub(crate) async fn remove(&self) {
        let mut superuser = connect(&self.cluster).await;
        run(
            &mut superuser,
            &format!("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name),
        )
        .await;
    }
}

/// As docs/roles.sql does; two tests that start at once take turns.
async fn make_roles(superuser: &mut PgConnection) {
    run(
        superuser,
        &format!(
            "DO $$
             DECLARE wanted text;
             BEGIN
                 PERFORM pg_advisory_xact_lock(7310);
                 FOREACH wanted IN ARRAY ARRAY['secondcan_owner', 'secondcan_app'] LOOP
                     IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = wanted) THEN
                         EXECUTE format('CREATE ROLE %I NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS', wanted);
                     END IF;
                     EXECUTE format('ALTER ROLE %I LOGIN PASSWORD %L', wanted, '{PASSWORD}');
                 END LOOP;
             END $$"
        ),
    )
    .await;
}

async fn connect(url: &str) -> PgConnection {
    PgConnection::connect(url)
        .await
        .unwrap_or_else(|error| panic!("{CLUSTER} can't be used: {error}"))
}

async fn run(connection: &mut PgConnection, statement: &str) -> u64 {
    connection
        .execute(sqlx::raw_sql(sqlx::AssertSqlSafe(statement.to_owned())))
        .await
        .unwrap()
        .rows_affected()
}
