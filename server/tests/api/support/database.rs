//! A database a test, on the cluster that `SECONDCAN_TEST_CLUSTER` names.

use secondcan_server::store::MIGRATIONS;
use sqlx::{Connection, Executor, PgConnection, Row};

const CLUSTER: &str = "SECONDCAN_TEST_CLUSTER";

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
                 superuser, such as postgres://postgres@127.0.0.1:5432/postgres, on a cluster where docs/roles.sql \
                 has made the roles"
            )
        });
        let name = format!("secondcan_test_{}", uuid::Uuid::now_v7().simple());
        let made = Self { cluster, name };
        let mut superuser = connect(&made.cluster).await;
        let name = &made.name;
        run(
            &mut superuser,
            &format!(
                "CREATE DATABASE {name} OWNER secondcan_owner TEMPLATE template0 ENCODING 'UTF8'"
            ),
        )
        .await;
        let mut inside = connect(&made.url(None)).await;
        run(
            &mut inside,
            &format!(
                "REVOKE TEMP, CREATE ON DATABASE {name} FROM PUBLIC; GRANT CONNECT ON DATABASE {name} TO secondcan_app;
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
        let user = match (role, user.split_once(':')) {
            (Some(role), Some((_, password))) => format!("{role}:{password}"),
            (Some(role), None) => role.to_owned(),
            (None, _) => user.to_owned(),
        };
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
