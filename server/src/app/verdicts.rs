//! Verdict limits: the chain's words for how near is near enough.

use color::difference::VerdictLimits;
use formula::wire::v1::{Verdicts, VerdictsInForce};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::verdicts;
use crate::store::write::{Begun, Reply, WriteKey, Written};

/// Above this CIEDE2000 no two colors pass for one at any counter.
const WIDEST: f64 = 20.0;

impl App {
    /// The limits in force.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_verdicts(&self, caller: &Caller) -> AppResult<VerdictsInForce> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        Ok(verdicts::show(&mut read, caller).await?)
    }

    /// Sets all limits.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn set_verdicts(
        &self,
        caller: &Caller,
        key: WriteKey,
        version: i32,
        limits: Verdicts,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        VerdictLimits::new(limits.indistinguishable, limits.accepted, limits.ask).map_err(
            |error| {
                AppError::invalid(
                    "indistinguishable",
                    error.to_string(),
                    "give three numbers that rise",
                )
            },
        )?;
        if limits.ask > WIDEST {
            return Err(AppError::invalid(
                "ask",
                format!("{} is above {WIDEST}", limits.ask),
                format!("give at most {WIDEST}"),
            ));
        }
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = verdicts::lock(tx.conn(), caller).await?;
        AppError::unless_version("set of verdict limits", now, version)?;
        let in_force = verdicts::set(tx.conn(), caller, limits, now).await?;
        Ok(tx
            .finish(Written::changed(&in_force).at_version(in_force.version))
            .await?)
    }
}
