//! `access-log`.

use formula::wire::v1::{AccessAct, AccessEntry};

use super::{ListOptions, Run};
use crate::exit::{Exit, Failure};
use crate::output::{Table, time_text};

/// Who opened another store's records, who was refused, which logins failed
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  secondcan access-log --limit 20")]
pub(crate) struct AccessLog {
    #[command(flatten)]
    list: ListOptions,
}

impl AccessLog {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        let page = self.list.page::<AccessEntry>(&remote, "/access-log")?;
        run.listed(&page, "nothing logged", |items| {
            let mut table = Table::new(&["when", "what", "person", "store", "record"]);
            for item in items {
                let shown = |id: Option<String>| id.unwrap_or_default();
                table.row([
                    time_text(item.at),
                    match item.act {
                        AccessAct::CustomerOpened => "customer opened",
                        AccessAct::MatchOpened => "match opened",
                        AccessAct::LoginFailed => "login failed",
                        AccessAct::Refused => "refused",
                    }
                    .to_owned(),
                    shown(item.person_id.map(|id| id.to_string())),
                    shown(item.store_id.map(|id| id.to_string())),
                    shown(item.entity_id.map(|id| id.to_string())),
                ]);
            }
            table
        })
    }
}
