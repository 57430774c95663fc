//! Roles of people who log in. What each may do is the server's policy table.

use crate::wire_form::closed_enum;

closed_enum! {
    /// What a login is for.
    pub enum Role, what: "role" {
        /// Serves the counter of a store.
        Clerk => "clerk",
        /// A customer's own login: sees only the customers linked to it.
        Contractor => "contractor",
        /// Runs one or more stores.
        Manager => "manager",
        /// Keeps products, bases, colorants and verdict limits.
        ColorLead => "color_lead",
        /// Keeps stores, accounts and roles.
        Admin => "admin",
    }
}

impl Role {
    /// Whether the person works for the chain.
    #[must_use]
    pub const fn is_staff(self) -> bool {
        match self {
            Self::Clerk | Self::Manager | Self::ColorLead | Self::Admin => true,
            Self::Contractor => false,
        }
    }

    /// The role as a person says it.
    #[must_use]
    pub const fn human_name(self) -> &'static str {
        match self {
            Self::Clerk => "clerk",
            Self::Contractor => "contractor",
            Self::Manager => "manager",
            Self::ColorLead => "color lead",
            Self::Admin => "admin",
        }
    }
}
