//! The demo: a chain of three branches that does not exist, with some two years of matches. [`generate`] makes it,
//! the same for the same version of the program; [`load`] puts it into an empty library.

mod catalog;
mod customers;
mod desk;
mod load;
mod matches;
mod orders;
mod paint;
mod passphrase;
mod sample;
mod seeded;
mod story;
mod when;

use formula::id::{CustomerId, MatchId, StoreId};
use formula::wire::v1::{NewBase, NewColorant, NewPerson, NewProduct, NewStore};
use uuid::Uuid;

use crate::store::bulk::{
    CalibrationRow, CustomerRow, DrawdownRow, FaultRow, InstrumentRow, LinkRow, MatchRow, NoteRow,
    ReorderRow, RevisionRow, TintRow,
};

pub use load::{DemoError, DemoLogin, Loaded, load};
pub use sample::new_chip_csv;

/// The demo's own data break a rule of the domain: a fault of the program.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the demo's data break a rule: {0}")]
pub struct Flaw(String);

impl Flaw {
    fn of(error: impl std::fmt::Display) -> Self {
        Self(error.to_string())
    }
}

/// All of the demo, except the passwords of its logins.
#[derive(Debug, Clone)]
pub struct Library {
    /// The branches.
    pub stores: Vec<NewStore>,
    /// The logins.
    pub persons: Vec<NewPerson>,
    /// Colorants.
    pub colorants: Vec<NewColorant>,
    /// Products with their sheens.
    pub products: Vec<NewProduct>,
    /// Bases with their rooms.
    pub bases: Vec<NewBase>,
    /// Instruments, one of them old and out of use.
    pub instruments: Vec<InstrumentRow>,
    /// Their calibrations.
    pub calibrations: Vec<CalibrationRow>,
    /// Customers with phones and jobs.
    pub customers: Vec<CustomerRow>,
    /// Which customers the contractors' logins stand for.
    pub links: Vec<LinkRow>,
    /// Matches with their samples.
    pub matches: Vec<MatchRow>,
    /// Their revisions, in order of match and number.
    pub revisions: Vec<RevisionRow>,
    /// Drawdowns.
    pub drawdowns: Vec<DrawdownRow>,
    /// Remarks.
    pub notes: Vec<NoteRow>,
    /// Reorders.
    pub reorders: Vec<ReorderRow>,
    /// Cans.
    pub tints: Vec<TintRow>,
    /// Marks on cans: one.
    pub faults: Vec<FaultRow>,
    /// Pairs of matches that look alike in daylight and apart in other light.
    pub twins: Vec<(MatchId, MatchId)>,
    /// What the examples of the documents look up.
    pub story: Story,
}

/// The records that the documents' examples use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Story {
    /// Branch North, which made the match.
    pub north: StoreId,
    /// Branch South, which looks it up.
    pub south: StoreId,
    /// The painter whose match it is.
    pub painter: CustomerId,
    /// The painter's name as a clerk in a hurry types it.
    pub misspelled: &'static str,
    /// The match, drawn down and verified at North.
    pub made_at_north: MatchId,
    /// The customer at South who brings the new chip.
    pub walk_in: CustomerId,
    /// The match with the can that was marked bad.
    pub with_bad_tint: MatchId,
}

/// Makes ids of one time each.
struct Ids(seeded::Seeded);

impl Ids {
    fn of(purpose: &str) -> Self {
        Self(seeded::Seeded::new(&format!("ids of {purpose}")))
    }

    fn at<I>(&mut self, at: time::OffsetDateTime, from_parts: impl Fn(u64, [u8; 10]) -> I) -> I {
        from_parts(when::unix_ms(at), self.0.ten_bytes())
    }

    fn uuid_at(&mut self, at: time::OffsetDateTime) -> Uuid {
        self.at(at, |ms, random| {
            uuid::Builder::from_unix_timestamp_millis(ms, &random).into_uuid()
        })
    }
}

/// Makes the demo.
///
/// # Errors
/// [`Flaw`] when the program's own data break a rule; tests hold that none does.
pub fn generate() -> Result<Library, Flaw> {
    let catalog = catalog::make()?;
    let clients = customers::make(&catalog)?;
    let mut book = matches::make(&catalog, &clients)?;
    let story = story::add(&catalog, &clients, &mut book)?;
    let orders = orders::make(&catalog, &clients, &mut book, &story)?;
    Ok(Library {
        stores: catalog.stores,
        persons: catalog.persons,
        colorants: catalog
            .colorants
            .into_iter()
            .map(|colorant| colorant.new)
            .collect(),
        bases: catalog
            .products
            .iter()
            .flat_map(|product| product.bases.iter().map(|base| base.new.clone()))
            .collect(),
        products: catalog
            .products
            .into_iter()
            .map(|product| product.new)
            .collect(),
        instruments: catalog.instruments,
        calibrations: catalog.calibrations,
        customers: clients.customers,
        links: clients.links,
        matches: book.matches,
        revisions: book.revisions,
        drawdowns: book.drawdowns,
        notes: book.notes,
        reorders: orders.reorders,
        tints: orders.tints,
        faults: orders.faults,
        twins: story.twins,
        story: story.records,
    })
}
