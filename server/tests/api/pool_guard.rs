//! A `begin` that is dropped halfway (the client hung up) can leave its transaction open on a pooled connection: sqlx
//! issue 4393. Whoever gets the connection next writes into a transaction that nobody commits.

use std::future::Future;
use std::pin::pin;
use std::task::Poll;
use std::time::Duration;

use secondcan_server::store::Database;
use sqlx::postgres::{PgPool, PgPoolOptions};
use sqlx::{Connection, PgConnection};

use crate::support::{Server, new_id};

/// More polls than any `begin` takes.
const POLLS: usize = 12;
/// More often than it takes for one `begin` to be cut short at the wrong moment.
const ROUNDS: usize = 20;

/// Polls a future so often, then drops it wherever it stands. Whether it came to its end.
async fn cancelled_after(polls: usize, work: impl Future) -> bool {
    let mut work = pin!(work);
    let mut left = polls;
    std::future::poll_fn(|context| match work.as_mut().poll(context) {
        Poll::Ready(_) => Poll::Ready(true),
        Poll::Pending if left == 1 => Poll::Ready(false),
        Poll::Pending => {
            left -= 1;
            Poll::Pending
        }
    })
    .await
}

async fn add_store(pool: &PgPool, id: &str) {
    sqlx::query("INSERT INTO store (id, name, phone_region) VALUES ($1::uuid, $1, 'US')")
        .bind(id)
        .execute(pool)
        .await
        .unwrap();
}

async fn is_there(url: &str, id: &str) -> bool {
    let mut conn = PgConnection::connect(url).await.unwrap();
    sqlx::query_scalar("SELECT EXISTS (SELECT FROM store WHERE id = $1::uuid)")
        .bind(id)
        .fetch_one(&mut conn)
        .await
        .unwrap()
}

#[test]
fn without_the_guard_acknowledged_writes_vanish() {
    let server = Server::start();
    let url = server.app_url();
    server.wait_for(async {
        // How far a `BEGIN` gets in so many polls hangs on what else the machine does: a few rounds.
        let mut lost = 0;
        for polls in (0..ROUNDS).flat_map(|_| 1..=POLLS) {
            if lost > 0 {
                break;
            }
            let pool = PgPoolOptions::new()
                .max_connections(1)
                .connect(&url)
                .await
                .unwrap();
            cancelled_after(polls, pool.begin()).await;
            let id = new_id();
            add_store(&pool, &id).await;
            pool.close().await;
            lost += usize::from(!is_there(&url, &id).await);
        }
        assert!(lost > 0, "sqlx has mended issue 4393: the guard may go");
    });
}

#[test]
fn with_the_guard_no_transaction_outlives_its_owner() {
    let server = Server::start();
    let url = server.app_url();
    server.wait_for(async {
        let mut cancelled = 0;
        let mut observer = PgConnection::connect(&url).await.unwrap();
        for polls in 1..=POLLS {
            let database = Database::open(&url, 1).unwrap();
            database.ping().await.unwrap();
            cancelled += usize::from(!cancelled_after(polls, database.plain()).await);
            // The only connection is used once more, so that a `BEGIN` on its way has arrived; then it is given back,
            // which a pool does, guard and all, in a task of its own.
            database.ping().await.unwrap();
            let mut open = 1_i64;
            for _ in 0..100 {
                open = sqlx::query_scalar(
                    "SELECT count(*) FROM pg_stat_activity
                     WHERE datname = current_database() AND pid <> pg_backend_pid() AND xact_start IS NOT NULL",
                )
                .fetch_one(&mut observer)
                .await
                .unwrap();
                if open == 0 {
                    break;
                }
                tokio::time::sleep(Duration::from_millis(10)).await;
            }
            assert_eq!(open, 0, "a transaction stayed open after {polls} polls");
            // And what is written after it stays.
            let id = new_id();
            let mut tx = database.plain().await.unwrap();
            sqlx::query("INSERT INTO store (id, name, phone_region) VALUES ($1::uuid, $1, 'US')")
                .bind(&id)
                .execute(tx.conn())
                .await
                .unwrap();
            tx.commit().await.unwrap();
            database.close().await;
            assert!(is_there(&url, &id).await, "lost after {polls} polls");
        }
        assert!(cancelled > 0, "none was cancelled halfway");
    });
}
