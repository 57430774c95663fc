//! A server to test against, people who use it, and words for their requests.
//!
//! Everything is synchronous on the outside: `Server::start()` runs the application on threads of its own.

mod client;
mod database;

use std::net::TcpListener;
use std::sync::OnceLock;

use secondcan_server::app::App;
use secondcan_server::config::DatabaseUrl;
use secondcan_server::{http, startup};
use serde_json::json;

pub(crate) use client::{Answer, Client};
pub(crate) use database::TestDatabase;

/// The password of everybody here.
pub(crate) const PASSWORD: &str = "plum gutter seven violin";

/// A new UUID of version 7, for whatever is to be recorded.
pub(crate) fn new_id() -> String {
    uuid::Uuid::now_v7().to_string()
}

/// The application on a database of its own.
pub(crate) struct Server {
    /// For what has no route, such as `admin init`.
    pub(crate) app: App,
    url: String,
    admin: OnceLock<Client>,
    // In this order: the runtime ends before its database and its keys go.
    handle: actix_web::dev::ServerHandle,
    runtime: tokio::runtime::Runtime,
    database: TestDatabase,
    data: tempfile::TempDir,
}

impl Server {
    /// Makes a database, migrates it and serves from it.
    pub(crate) fn start() -> Self {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .unwrap();
        let database = runtime.block_on(TestDatabase::make());
        let data = tempfile::tempdir().unwrap();
        let url = DatabaseUrl::new("DATABASE_URL", database.app_url()).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let (app, handle) = runtime.block_on(async {
            let app = startup::build(&url, data.path()).unwrap();
            let server = http::serve(app.clone(), listener).unwrap();
            let handle = server.handle();
            tokio::spawn(server);
            (app, handle)
        });
        Self {
            app,
            url: format!("http://{address}"),
            admin: OnceLock::new(),
            handle,
            runtime,
            database,
            data,
        }
    }

    /// Host and port, for a connection of one's own.
    pub(crate) fn address(&self) -> &str {
        self.url.trim_start_matches("http://")
    }

    /// Somebody who has not logged in.
    pub(crate) fn anybody(&self) -> Client {
        Client::new(&self.url)
    }

    /// The first admin, who came by the token of `admin init`. Works at no store.
    pub(crate) fn admin(&self) -> Client {
        self.admin
            .get_or_init(|| {
                let token = self.wait_for(self.app.admin_init_token()).unwrap();
                let claim = json!({
                    "token": token.token, "password": PASSWORD,
                    "login": "root.admin", "display_name": "Ada Quill",
                });
                self.anybody().post("/auth/claim", claim).is(204);
                self.log_in("root.admin", None)
            })
            .clone()
    }

    /// Adds a store and gives its id.
    pub(crate) fn store(&self, name: &str) -> String {
        let id = new_id();
        let new = json!({ "id": id, "name": name, "phone_region": "US" });
        self.admin().post("/stores", new).is(201);
        id
    }

    /// A clerk of a store.
    pub(crate) fn clerk(&self, store: &str) -> Client {
        self.person(&["clerk"], &[store])
    }

    /// A manager of a store.
    pub(crate) fn manager(&self, store: &str) -> Client {
        self.person(&["manager"], &[store])
    }

    /// A color lead who works at no store.
    pub(crate) fn color_lead(&self) -> Client {
        self.person(&["color_lead"], &[])
    }

    /// A contractor who is linked to nobody yet.
    pub(crate) fn contractor(&self) -> Client {
        self.person(&["contractor"], &[])
    }

    /// Somebody of these roles and stores, added by the admin, with a password claimed, logged in at the first store.
    pub(crate) fn person(&self, roles: &[&str], stores: &[&str]) -> Client {
        let id = new_id();
        let login = format!("p{}", id.replace('-', ""));
        let new = json!({
            "id": id, "login": login, "display_name": format!("{} {login}", roles.join(" and ")),
            "roles": roles, "stores": stores,
        });
        let added = self.admin().post("/persons", new).is(201);
        let token = &added.body["claim"]["token"];
        self.anybody()
            .post(
                "/auth/claim",
                json!({ "token": token, "password": PASSWORD }),
            )
            .is(204);
        self.log_in(&login, stores.first().copied())
    }

    /// Logs in with everybody's password.
    pub(crate) fn log_in(&self, login: &str, store: Option<&str>) -> Client {
        let mut client = self.anybody();
        client.log_in(login, PASSWORD, store).is(200);
        client
    }

    /// The data folder, where the keys are.
    pub(crate) fn data(&self) -> &std::path::Path {
        self.data.path()
    }

    /// Runs SQL as the owner of the tables, where a test needs what no route gives (an hour that has passed, say).
    pub(crate) fn sql(&self, statement: &str) -> u64 {
        self.runtime.block_on(self.database.execute(statement))
    }

    /// The first column of the first row as text, by SQL as the owner of the tables.
    pub(crate) fn sql_text(&self, query: &str) -> Option<String> {
        self.runtime.block_on(self.database.text(query))
    }

    /// The database as the app role, past the server.
    pub(crate) fn app_url(&self) -> String {
        self.database.app_url()
    }

    /// Runs a use case that has no route.
    pub(crate) fn wait_for<T>(&self, work: impl Future<Output = T>) -> T {
        self.runtime.block_on(work)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.runtime.block_on(async {
            self.handle.stop(false).await;
            self.app.db.close().await;
            self.database.remove().await;
        });
    }
}
