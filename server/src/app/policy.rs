//! The one table of who may do what. Whether a *particular* object may be seen or touched (own store, linked
//! customer) is checked where the object is loaded; this table comes first.

use formula::role::Role::{self, Admin, Clerk, ColorLead, Contractor, Manager};

use super::{AppError, AppResult, Caller};

/// What a request wants to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Act {
    /// Read the list of stores, products, bases, colorants and verdict limits.
    SeeCatalog,
    /// Add, rename, close stores.
    EditStores,
    /// Choose the lights that a store judges under.
    ChooseLights,
    /// Change products, sheens, bases, colorants, verdict limits.
    EditCatalog,
    /// Read logins.
    SeePersons,
    /// Add logins, suspend them, reset passwords: a manager for clerks and contractors, an admin for all.
    EditPersons,
    /// Link a contractor's login to customers.
    LinkCustomers,
    /// Read who opened what.
    SeeAccessLog,
    /// Search customers and matches chain-wide.
    Find,
    /// Open a customer.
    OpenCustomer,
    /// Add and edit customers and jobs.
    EditCustomers,
    /// Open a match, its revisions, its tints.
    OpenMatch,
    /// Record matches, revisions, drawdowns; pick a revision; move a match; keep drafts.
    RecordMatches,
    /// Search by color.
    Nearest,
    /// Place reorders.
    PlaceReorders,
    /// Read reorders.
    SeeReorders,
    /// Move reorders on.
    AdvanceReorders,
    /// Cancel reorders.
    CancelReorders,
    /// Record tints and mark them bad.
    RecordTints,
    /// Read instruments and calibrations.
    SeeInstruments,
    /// Register and change instruments and tiles.
    EditInstruments,
    /// Record calibrations, readings of tiles, and when an instrument was switched on.
    RecordCalibrations,
    /// Accept a reading at which something was due at its instrument.
    AcceptReadings,
    /// Put corrections between instruments in force and take them out.
    EditCorrections,
}

const STAFF: &[Role] = &[Clerk, Manager, ColorLead, Admin];
const EVERYBODY: &[Role] = &[Clerk, Contractor, Manager, ColorLead, Admin];

impl Act {
    /// Every act, for the test that walks the table.
    pub const ALL: [Self; 24] = [
        Self::SeeCatalog,
        Self::EditStores,
        Self::ChooseLights,
        Self::EditCatalog,
        Self::SeePersons,
        Self::EditPersons,
        Self::LinkCustomers,
        Self::SeeAccessLog,
        Self::Find,
        Self::OpenCustomer,
        Self::EditCustomers,
        Self::OpenMatch,
        Self::RecordMatches,
        Self::Nearest,
        Self::PlaceReorders,
        Self::SeeReorders,
        Self::AdvanceReorders,
        Self::CancelReorders,
        Self::RecordTints,
        Self::SeeInstruments,
        Self::EditInstruments,
        Self::RecordCalibrations,
        Self::AcceptReadings,
        Self::EditCorrections,
    ];

    /// The roles that may do it.
    #[must_use]
    pub fn roles(self) -> &'static [Role] {
        match self {
            Self::SeeCatalog | Self::OpenMatch | Self::OpenCustomer => EVERYBODY,
            Self::PlaceReorders | Self::SeeReorders | Self::CancelReorders => EVERYBODY,
            Self::Find | Self::Nearest | Self::RecordMatches | Self::EditCustomers => STAFF,
            Self::AdvanceReorders
            | Self::RecordTints
            | Self::SeeInstruments
            | Self::RecordCalibrations => STAFF,
            Self::SeePersons | Self::EditPersons | Self::LinkCustomers | Self::SeeAccessLog => {
                &[Manager, Admin]
            }
            Self::EditInstruments | Self::ChooseLights => &[Manager, Admin],
            Self::EditStores => &[Admin],
            Self::AcceptReadings => &[Manager, ColorLead, Admin],
            Self::EditCatalog | Self::EditCorrections => &[ColorLead],
        }
    }
}

/// Lets the caller go on, or says which roles could.
///
/// # Errors
/// [`AppError::NotAllowed`] when none of the caller's roles may do it.
pub fn require(caller: &Caller, act: Act) -> AppResult<()> {
    if caller.roles.iter().any(|role| act.roles().contains(role)) {
        return Ok(());
    }
    let able: Vec<&str> = act.roles().iter().map(|role| role.as_str()).collect();
    Err(AppError::NotAllowed(format!(
        "your login may not do this; it takes: {}",
        able.join(", ")
    )))
}
