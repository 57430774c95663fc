//! Finding a match by whatever the person at the counter has: the code on the can leads straight to it, everything
//! else leads to the customer first.

use std::collections::HashMap;

use formula::id::CustomerId;
use formula::wire::v1::{Found, FoundBy, MatchHit};

use super::find::{Needle, Spotted, find_customers};
use super::policy::{Act, require};
use super::{App, AppResult, Caller};
use crate::store::matches::{self, Wanted};
use crate::store::{customers, find};

/// Where several customers fit, none of them may fill the whole answer with its matches.
const AT_LEAST_EACH: usize = 4;

impl App {
    /// The matches that fit what was typed, best first.
    ///
    /// # Errors
    /// As [`super::AppError`] says.
    pub async fn find_matches(
        &self,
        caller: &Caller,
        text: &str,
        limit: usize,
    ) -> AppResult<Found<MatchHit>> {
        require(caller, Act::Find)?;
        let mut read = self.db.read().await?;
        let region = customers::phone_region(&mut read, caller).await?;
        let needle = Needle::read(text, region);
        if let Some(code) = needle.label {
            let ids: Vec<_> = matches::with_label(&mut read, caller, code).await?;
            if !ids.is_empty() {
                let items =
                    matches::hits(&mut read, caller, Wanted::These(&ids), FoundBy::LabelCode)
                        .await?;
                return Ok(Found {
                    items,
                    did_you_mean: Vec::new(),
                });
            }
        }
        let did_you_mean = find::existing_labels(&mut read, caller, &needle.near_labels).await?;
        let spotted = find_customers(&mut read, caller, &needle, limit).await?;
        let each = if spotted.len() == 1 {
            limit
        } else {
            AT_LEAST_EACH.max(limit / spotted.len().max(1))
        };
        let mut ids = matches::of_customers(&mut read, caller, &asked(&spotted), each).await?;
        ids.truncate(limit);
        let mut items =
            matches::hits(&mut read, caller, Wanted::These(&ids), FoundBy::Name).await?;
        let by: HashMap<CustomerId, FoundBy> = spotted
            .iter()
            .map(|one| (one.customer, one.found_by))
            .collect();
        for item in &mut items {
            if let Some(found_by) = by.get(&item.customer.id) {
                item.found_by = *found_by;
            }
        }
        Ok(Found {
            items,
            did_you_mean,
        })
    }
}

/// Customers in order, each with the job that fitted.
fn asked(spotted: &[Spotted]) -> Vec<(uuid::Uuid, Option<uuid::Uuid>)> {
    spotted
        .iter()
        .map(|one| (one.customer.as_uuid(), one.job.map(|job| job.as_uuid())))
        .collect()
}
