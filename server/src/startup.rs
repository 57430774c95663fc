//! Builds the application from the configuration and runs it.

use anyhow::{Context, bail};

use crate::{
    config::{Config, Database, DatabaseUrl},
    data_folder::DataFolder,
    embedded::{self, Cluster},
    listen,
    shutdown::Shutdown,
    store::setup,
};

/// The database to work on, and the private cluster when it is one.
struct Opened {
    app: DatabaseUrl,
    cluster: Option<Cluster>,
    _data: DataFolder,
}

impl Opened {
    async fn open(config: &Config) -> anyhow::Result<Self> {
        let data = DataFolder::open(&config.data)?;
        let (app, cluster) = match &config.database {
            Database::Embedded => {
                let cluster = embedded::start(&data).await?;
                (cluster.app_url().clone(), Some(cluster))
            }
            Database::External { app, .. } => (app.clone(), None),
        };
        Ok(Self {
            app,
            cluster,
            _data: data,
        })
    }

    async fn close(self) -> anyhow::Result<()> {
        if let Some(cluster) = self.cluster {
            cluster.stop().await?;
        }
        Ok(())
    }
}

/// Runs the server until it is told to stop.
///
/// # Errors
/// Whatever keeps it from starting or stopping in order.
pub async fn serve(config: Config) -> anyhow::Result<()> {
    config.check_listen()?;
    let mut shutdown = Shutdown::catch()?;
    let listener = listen::bind(config.listen)?;
    let opened = tokio::select! {
        opened = Opened::open(&config) => opened?,
        () = shutdown.requested() => return Ok(()),
    };
    listen::announce(&listener)?;
    shutdown.requested().await;
    opened.close().await
}

/// Brings the schema up to date.
///
/// # Errors
/// Whatever keeps the database from being opened.
pub async fn migrate(config: Config) -> anyhow::Result<()> {
    Opened::open(&config).await?.close().await
}

/// Loads the demo data.
///
/// # Errors
/// Whatever keeps the database from being opened.
pub async fn demo(config: Config) -> anyhow::Result<()> {
    Opened::open(&config).await?.close().await
}

/// Makes the token by which the first admin registers.
///
/// # Errors
/// Whatever keeps the database from being opened.
pub async fn admin_init(config: Config) -> anyhow::Result<()> {
    Opened::open(&config).await?.close().await
}

/// Says whether the database may be served from.
///
/// # Errors
/// Every reason why not.
pub async fn check(config: Config) -> anyhow::Result<()> {
    let opened = Opened::open(&config).await?;
    let facts = setup::facts(&opened.app).await;
    opened.close().await?;
    let refusals = facts.context("cannot check the database")?.refusals();
    if !refusals.is_empty() {
        let text: Vec<_> = refusals.iter().map(ToString::to_string).collect();
        bail!("this database must not be served from: {}", text.join("; "));
    }
    Ok(())
}
