//! `customer …`.

use std::str::FromStr;

use formula::id::{CustomerId, JobId};
use formula::naming::{CustomerName, JobLabel, Note, PhoneLabel};
use formula::phone::TypedPhone;
use formula::wire::v1::{
    Customer as Record, CustomerEdit, CustomerHit, CustomerInBrief, CustomerKind, Found, FoundBy,
    Job as JobRecord, JobEdit, NewCustomer, NewJob, NewPhone,
};

use super::{ListOptions, Run};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh};
use crate::word::word;

/// `customer`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Customer {
    /// Add a customer
    #[command(
        after_help = "Example:\n  secondcan customer add \"Brannock & Daughters Painting\" --company \\\n      \
        --phone \"555-0142;site office\" --job \"Lobby, second coat\""
    )]
    Add(Add),
    /// Find customers by name, phone or job; typing errors are forgiven
    #[command(
        after_help = "Examples:\n  secondcan customer find branock\n  secondcan customer find 0142 bran"
    )]
    Find(Find),
    /// Open a customer
    #[command(after_help = "Example:\n  secondcan customer show \"Brannock & Daughters\"")]
    Show {
        /// Name or id
        customer: String,
    },
    /// Your own store's customers; for contractors, the linked ones
    #[command(after_help = "Example:\n  secondcan customer list --limit 20")]
    List {
        #[command(flatten)]
        list: ListOptions,
    },
    /// Change a customer; what is not named stays
    #[command(
        after_help = "Example:\n  secondcan customer edit \"Brannock & Daughters\" --phone 555-0142 --phone \"555-0177;home\""
    )]
    Edit(Edit),
    /// Jobs of a customer
    #[command(subcommand)]
    Job(Job),
}

/// `customer job`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Job {
    /// Add a job
    #[command(
        after_help = "Example:\n  secondcan customer job add \"Brannock & Daughters\" \"Stairwell, all floors\""
    )]
    Add {
        /// Name or id
        customer: String,
        /// What the customer calls the job
        label: JobLabel,
    },
    /// Give a job another name
    #[command(
        after_help = "Example:\n  secondcan customer job rename \"Brannock & Daughters\" Stairwell \"Stairwell, floors 1 to 3\""
    )]
    Rename {
        /// Name or id
        customer: String,
        /// The job as it is called now, or its id
        job: String,
        /// What the customer calls it now
        label: JobLabel,
    },
}

/// `customer add`.
#[derive(Debug, clap::Args)]
pub(crate) struct Add {
    /// The name
    name: CustomerName,
    /// It is a company, not a person
    #[arg(long)]
    company: bool,
    /// A phone as dialed, with a remark after a semicolon; repeat for more
    #[arg(long = "phone", value_name = "NUMBER[;REMARK]")]
    phones: Vec<PhoneArg>,
    /// A job; repeat for more
    #[arg(long = "job", value_name = "LABEL")]
    jobs: Vec<JobLabel>,
    /// A remark
    #[arg(long)]
    note: Option<Note>,
}

/// `customer find`.
#[derive(Debug, clap::Args)]
pub(crate) struct Find {
    /// Name, phone (whole, last seven, or last four with a part of the name), or job
    #[arg(required = true)]
    words: Vec<String>,
    /// Rows at most
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u16).range(1..=20))]
    limit: u16,
}

/// `customer edit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Edit {
    /// Name or id
    customer: String,
    /// New name
    #[arg(long)]
    name: Option<CustomerName>,
    /// Person or company
    #[arg(long, value_parser = word::<CustomerKind>())]
    kind: Option<CustomerKind>,
    /// All phones anew; repeat for more
    #[arg(long = "phone", value_name = "NUMBER[;REMARK]")]
    phones: Vec<PhoneArg>,
    /// Remove all phones
    #[arg(long, conflicts_with = "phones")]
    no_phones: bool,
    /// New remark; an empty one clears it
    #[arg(long)]
    note: Option<String>,
}

/// A phone on the command line.
#[derive(Debug, Clone)]
pub(crate) struct PhoneArg(NewPhone);

impl FromStr for PhoneArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (number, label) = match text.split_once(';') {
            Some((number, label)) => (number, Some(label)),
            None => (text, None),
        };
        let number = TypedPhone::try_from(number.trim()).map_err(|error| error.to_string())?;
        let label = label
            .map(|label| PhoneLabel::try_from(label).map_err(|error| error.to_string()))
            .transpose()?;
        Ok(Self(NewPhone { number, label }))
    }
}

impl Customer {
    pub(super) const fn writes(&self) -> bool {
        !matches!(self, Self::Find(_) | Self::Show { .. } | Self::List { .. })
    }

    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::Add(add) => add.run(run, &remote),
            Self::Find(find) => find.run(run, &remote),
            Self::Show { customer } => {
                let record = open(&remote, &customer)?;
                run.output().show(&record, |screen| draw(screen, &record))?;
                Ok(Exit::Done)
            }
            Self::List { list } => {
                let page = list.page::<CustomerInBrief>(&remote, "/customers")?;
                run.listed(&page, "no customers yet", |items| {
                    let mut table =
                        Table::new(&["name", "phone", "jobs", "store", ">matches", "id"]);
                    for item in items {
                        table.row([
                            item.name.clone(),
                            item.phone_ends
                                .as_ref()
                                .map_or(String::new(), |ends| format!("…{ends}")),
                            item.jobs.join("; "),
                            item.store.name.clone(),
                            item.matches.to_string(),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Edit(edit) => edit.run(run, &remote),
            Self::Job(Job::Add { customer, label }) => {
                let id = reference::customer(&remote, &customer)?;
                let job = NewJob {
                    id: fresh!(JobId),
                    label,
                };
                let write = Write::new(
                    "add a job",
                    "POST",
                    format!("/customers/{id}/jobs"),
                    Some(&job),
                )?;
                save_job(run, &remote, &write)
            }
            Self::Job(Job::Rename {
                customer,
                job,
                label,
            }) => {
                let record = open(&remote, &customer)?;
                let job = reference::pick("job", &job, &record.jobs)?;
                let write = Write::new(
                    "rename a job",
                    "PATCH",
                    format!("/jobs/{}", job.id),
                    Some(&JobEdit { label }),
                )?
                .on_version(job.version);
                save_job(run, &remote, &write)
            }
        }
    }
}

fn save_job(run: &Run, remote: &Remote, write: &Write) -> Result<Exit, Failure> {
    let saved: JobRecord = remote.write(write)?;
    run.saved(&saved, |screen| {
        screen.line(format!("job saved: {}", saved.label));
        screen.pair("id", saved.id.to_string());
    })
}

/// A customer, opened.
///
/// # Errors
/// As [`reference::customer`], and what the server says.
pub(super) fn open(remote: &Remote, typed: &str) -> Result<Record, Failure> {
    let id = reference::customer(remote, typed)?;
    Ok(remote.get(format!("/customers/{id}"))?)
}

impl Add {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let new = NewCustomer {
            id: fresh!(CustomerId),
            kind: if self.company {
                CustomerKind::Company
            } else {
                CustomerKind::Person
            },
            name: self.name,
            phones: self.phones.into_iter().map(|phone| phone.0).collect(),
            jobs: self
                .jobs
                .into_iter()
                .map(|label| NewJob {
                    id: fresh!(JobId),
                    label,
                })
                .collect(),
            note: self.note,
        };
        let write = Write::new("add a customer", "POST", "/customers", Some(&new))?;
        let saved: Record = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line("customer added");
            draw(screen, &saved);
        })
    }
}

impl Find {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let found: Found<CustomerHit> = remote.get(
            PathQuery::new("/customers/find")
                .with("q", self.words.join(" "))
                .with("limit", self.limit),
        )?;
        run.output().show(&found, |screen| {
            let mut table = Table::new(&[
                "name", "phone", "jobs", "store", ">matches", "found by", "id",
            ]);
            for hit in &found.items {
                table.row([
                    hit.name.clone(),
                    hit.phone_ends
                        .as_ref()
                        .map_or(String::new(), |ends| format!("…{ends}")),
                    hit.jobs.join("; "),
                    hit.store.name.clone(),
                    hit.matches.to_string(),
                    found_by(hit.found_by).to_owned(),
                    hit.id.to_string(),
                ]);
            }
            if table.is_empty() {
                screen.line("no customer found; try a part of the name, the phone, or the job");
            } else {
                screen.table(&table);
            }
        })?;
        Ok(if found.items.is_empty() {
            Exit::NothingFound
        } else {
            Exit::Done
        })
    }
}

/// What fitted, in words.
pub(super) const fn found_by(found: FoundBy) -> &'static str {
    match found {
        FoundBy::Name => "name",
        FoundBy::Phone => "phone",
        FoundBy::PhoneLastSeven => "last 7 of phone",
        FoundBy::PhoneLastFour => "last 4 of phone",
        FoundBy::Job => "job",
        FoundBy::LabelCode => "label code",
    }
}

impl Edit {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let record = open(remote, &self.customer)?;
        let phones = (self.no_phones || !self.phones.is_empty())
            .then(|| self.phones.into_iter().map(|phone| phone.0).collect());
        let edit = CustomerEdit {
            kind: self.kind,
            name: self.name,
            phones,
            note: self.note,
        };
        let write = Write::new(
            "change a customer",
            "PATCH",
            format!("/customers/{}", record.id),
            Some(&edit),
        )?
        .on_version(record.version);
        let saved: Record = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line("customer changed");
            draw(screen, &saved);
        })
    }
}

fn draw(screen: &mut Screen, record: &Record) {
    screen.bold(&record.name);
    screen.pair(
        "kind",
        match record.kind {
            CustomerKind::Person => "person",
            CustomerKind::Company => "company",
        },
    );
    for phone in &record.phones {
        let label = phone
            .label
            .as_ref()
            .map_or(String::new(), |label| format!("  {label}"));
        screen.pair("phone", format!("{}{label}", phone.number));
    }
    for job in &record.jobs {
        screen.pair("job", &job.label);
    }
    if let Some(note) = &record.note {
        screen.pair("note", note);
    }
    screen.pair(
        "added",
        format!("{}, {}", record.store.name, time_text(record.created_at)),
    );
    screen.pair("id", record.id.to_string());
}
