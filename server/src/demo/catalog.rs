//! Branches, logins, colorants, products, bases and instruments.

use color::kubelka_munk::OpticalConstants;
use formula::base::{BaseKind, BaseRoom};
use formula::id::{
    BaseId, CalibrationId, ColorantId, InstrumentId, PersonId, ProductId, SheenId, StoreId,
};
use formula::phone::PhoneRegion;
use formula::quantity::{CanSize, Centiml};
use formula::role::Role;
use formula::sheen::SheenWord;
use formula::wire::v1::{
    Carrier, Geometry, NewBase, NewCalibration, NewColorant, NewInstrument, NewPerson, NewProduct,
    NewStore, Sheen,
};
use time::{Duration, OffsetDateTime};

use super::paint::{self, pigments};
use super::seeded::Seeded;
use super::{Flaw, Ids, when};
use crate::store::bulk::{Author, CalibrationRow, InstrumentRow};

/// Which branch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Branch {
    North,
    South,
    Harbor,
}

impl Branch {
    pub(super) const ALL: [Self; 3] = [Self::North, Self::South, Self::Harbor];

    fn name(self) -> &'static str {
        match self {
            Self::North => "North",
            Self::South => "South",
            Self::Harbor => "Harbor",
        }
    }
}

/// A colorant with its curves.
pub(super) struct Colorant {
    pub(super) new: NewColorant,
    pub(super) optics: OpticalConstants,
}

/// A base with its curves.
pub(super) struct Base {
    pub(super) new: NewBase,
    pub(super) optics: OpticalConstants,
}

impl Base {
    pub(super) fn room(&self, size: CanSize) -> Result<BaseRoom, Flaw> {
        let room = self.new.rooms.iter().find(|room| room.size() == size);
        room.copied()
            .ok_or_else(|| Flaw(format!("{} has no {size}", self.new.name)))
    }
}

/// A product with its bases.
pub(super) struct Product {
    pub(super) new: NewProduct,
    pub(super) bases: Vec<Base>,
}

impl Product {
    pub(super) fn base(&self, kind: BaseKind) -> Result<&Base, Flaw> {
        let base = self.bases.iter().find(|base| base.new.kind == kind);
        base.ok_or_else(|| Flaw(format!("{} has no {kind} base", self.new.name)))
    }
}

pub(super) struct Catalog {
    pub(super) stores: Vec<NewStore>,
    pub(super) persons: Vec<NewPerson>,
    pub(super) colorants: Vec<Colorant>,
    pub(super) products: Vec<Product>,
    pub(super) instruments: Vec<InstrumentRow>,
    pub(super) calibrations: Vec<CalibrationRow>,
}

impl Catalog {
    pub(super) fn store(&self, branch: Branch) -> Result<StoreId, Flaw> {
        let store = self
            .stores
            .iter()
            .find(|store| store.name.as_str() == branch.name());
        store
            .map(|store| store.id)
            .ok_or_else(|| Flaw(format!("no store {}", branch.name())))
    }

    pub(super) fn person(&self, login: &str) -> Result<PersonId, Flaw> {
        let person = self
            .persons
            .iter()
            .find(|person| person.login.as_str() == login);
        person
            .map(|person| person.id)
            .ok_or_else(|| Flaw(format!("no login {login}")))
    }

    /// One of the clerks who work at the branch.
    pub(super) fn clerk(&self, random: &mut Seeded, branch: Branch) -> Result<Author, Flaw> {
        let store = self.store(branch)?;
        let clerks: Vec<PersonId> = self
            .persons
            .iter()
            .filter(|person| person.roles == [Role::Clerk] && person.stores.contains(&store))
            .map(|person| person.id)
            .collect();
        if clerks.is_empty() {
            return Err(Flaw(format!("no clerk at {}", branch.name())));
        }
        Ok(Author {
            person: *random.pick(&clerks),
            store,
        })
    }

    /// The color lead, at the counter of the branch.
    pub(super) fn lead(&self, branch: Branch) -> Result<Author, Flaw> {
        Ok(Author {
            person: self.person("lead")?,
            store: self.store(branch)?,
        })
    }

    /// The instrument that the branch used on that day.
    pub(super) fn instrument(
        &self,
        store: StoreId,
        at: OffsetDateTime,
    ) -> Result<&InstrumentRow, Flaw> {
        self.instruments
            .iter()
            .filter(|row| row.instrument.store_id == store)
            .find(|row| row.retired_at.is_none_or(|retired| at < retired))
            .ok_or_else(|| Flaw("a store has no instrument in use".to_owned()))
    }

    pub(super) fn colorant(&self, colour_index: &str) -> Result<usize, Flaw> {
        let found = self
            .colorants
            .iter()
            .position(|colorant| colorant.new.ci_name.as_str() == colour_index);
        found.ok_or_else(|| Flaw(format!("no colorant {colour_index}")))
    }

    pub(super) fn colorant_of(&self, id: ColorantId) -> Result<&Colorant, Flaw> {
        let found = self.colorants.iter().find(|colorant| colorant.new.id == id);
        found.ok_or_else(|| Flaw("a formula has an unknown colorant".to_owned()))
    }

    pub(super) fn base_of(&self, id: BaseId) -> Result<&Base, Flaw> {
        let mut bases = self.products.iter().flat_map(|product| &product.bases);
        bases
            .find(|base| base.new.id == id)
            .ok_or_else(|| Flaw("a formula has an unknown base".to_owned()))
    }
}

/// Login, display name, role, and the branches where the person works.
const PERSONS: [(&str, &str, Role, &[Branch]); 14] = [
    ("admin", "Ottilie Frayn-Maske", Role::Admin, &Branch::ALL),
    ("lead", "Vesna Quistorp", Role::ColorLead, &Branch::ALL),
    (
        "manager.north",
        "Bram Ostrelund",
        Role::Manager,
        &[Branch::North],
    ),
    (
        "manager.south",
        "Pia Tarnowick",
        Role::Manager,
        &[Branch::South],
    ),
    (
        "manager.harbor",
        "Cosmo Weatherlea",
        Role::Manager,
        &[Branch::Harbor],
    ),
    (
        "clerk.north",
        "Maren Tolkanen",
        Role::Clerk,
        &[Branch::North],
    ),
    (
        "clerk2.north",
        "Tobin Ashgrave",
        Role::Clerk,
        &[Branch::North],
    ),
    (
        "clerk.south",
        "Lisk Amundray",
        Role::Clerk,
        &[Branch::South],
    ),
    (
        "clerk2.south",
        "Ada Perrimoor",
        Role::Clerk,
        &[Branch::South],
    ),
    (
        "clerk.harbor",
        "Junia Skarholt",
        Role::Clerk,
        &[Branch::Harbor],
    ),
    // Stands in at South on Saturdays.
    (
        "clerk2.harbor",
        "Edric Vallombre",
        Role::Clerk,
        &[Branch::Harbor, Branch::South],
    ),
    ("painter.hestrel", "Corin Hestrel", Role::Contractor, &[]),
    ("painter.noor", "Samira Noorvik", Role::Contractor, &[]),
    ("painter.boldt", "Anselm Boldtmeer", Role::Contractor, &[]),
];

/// Name, carrier, yellowing of the binder, and its sheens with their gloss at 60°.
type Line = (&'static str, Carrier, f64, &'static [(SheenWord, u8, u8)]);
const LINES: [Line; 3] = [
    (
        "Waterborne interior wall paint",
        Carrier::Water,
        0.0,
        &[
            (SheenWord::Matte, 0, 5),
            (SheenWord::Eggshell, 10, 20),
            (SheenWord::SemiGloss, 40, 60),
        ],
    ),
    (
        "Waterborne exterior paint",
        Carrier::Water,
        0.001,
        &[(SheenWord::Flat, 0, 5), (SheenWord::Satin, 22, 35)],
    ),
    (
        "Solvent trim enamel",
        Carrier::Solvent,
        0.004,
        &[(SheenWord::Satin, 20, 35), (SheenWord::HighGloss, 85, 95)],
    ),
];

/// Colorant room in a gallon, in hundredths of a milliliter: invented, rising as the white falls.
fn gallon_room(kind: BaseKind) -> u32 {
    match kind {
        BaseKind::White => 5_900,
        BaseKind::Light => 11_800,
        BaseKind::Medium => 23_600,
        BaseKind::Deep => 35_500,
        BaseKind::Clear => 41_400,
    }
}

/// The can sizes on the shelf, with what part of a gallon each holds.
const SIZES: [(CanSize, u32, u32); 4] = [
    (CanSize::HalfPintSample, 1, 16),
    (CanSize::Quart, 1, 4),
    (CanSize::Gallon, 1, 1),
    (CanSize::FiveGallon, 5, 1),
];

fn rooms(kind: BaseKind) -> Result<Vec<BaseRoom>, Flaw> {
    let room_in = |(size, times, parts): (CanSize, u32, u32)| {
        let room = gallon_room(kind) * times / parts;
        let nominal = u32::try_from(size.volume().hundredths_half_even()).map_err(Flaw::of)?;
        // Ten cubic centimeters a gallon stay free, so that the shaker has air to work with.
        let fill = nominal - room - (1_000 * times / parts).max(100);
        BaseRoom::new(
            size,
            Centiml::new(fill).map_err(Flaw::of)?,
            Centiml::new(room).map_err(Flaw::of)?,
        )
        .map_err(Flaw::of)
    };
    SIZES.into_iter().map(room_in).collect()
}

pub(super) fn make() -> Result<Catalog, Flaw> {
    let mut ids = Ids::of("catalog");
    let opened = when::OPENED;
    let stores = Branch::ALL
        .into_iter()
        .map(|branch| {
            Ok(NewStore {
                id: ids.at(opened, StoreId::from_parts),
                name: branch.name().parse().map_err(Flaw::of)?,
                phone_region: PhoneRegion::UnitedStates,
            })
        })
        .collect::<Result<Vec<_>, Flaw>>()?;
    let store_of = |branch: &Branch| {
        let at = Branch::ALL.iter().position(|known| known == branch);
        at.and_then(|at| stores.get(at)).map(|store| store.id)
    };
    let persons = PERSONS
        .iter()
        .map(|&(login, name, role, branches)| {
            Ok(NewPerson {
                id: ids.at(opened, PersonId::from_parts),
                login: login.parse().map_err(Flaw::of)?,
                display_name: name.parse().map_err(Flaw::of)?,
                roles: vec![role],
                stores: branches.iter().filter_map(store_of).collect(),
            })
        })
        .collect::<Result<Vec<_>, Flaw>>()?;
    let colorants = pigments()?
        .into_iter()
        .map(|pigment| {
            Ok(Colorant {
                new: NewColorant {
                    id: ids.at(opened, ColorantId::from_parts),
                    ci_name: pigment.colour_index.parse().map_err(Flaw::of)?,
                    pigment: pigment.words.parse().map_err(Flaw::of)?,
                },
                optics: pigment.optics,
            })
        })
        .collect::<Result<Vec<_>, Flaw>>()?;
    let products = LINES
        .iter()
        .map(|line| product(&mut ids, opened, line))
        .collect::<Result<Vec<_>, Flaw>>()?;
    let mut catalog = Catalog {
        stores,
        persons,
        colorants,
        products,
        instruments: Vec::new(),
        calibrations: Vec::new(),
    };
    catalog.instruments = instruments(&mut ids, &catalog)?;
    catalog.calibrations = calibrations(&mut ids, &catalog)?;
    Ok(catalog)
}

fn product(ids: &mut Ids, opened: OffsetDateTime, line: &Line) -> Result<Product, Flaw> {
    let &(name, carrier, yellowing, sheens) = line;
    let new = NewProduct {
        id: ids.at(opened, ProductId::from_parts),
        name: name.parse().map_err(Flaw::of)?,
        carrier,
        sheens: sheens
            .iter()
            .map(|&(word, gloss60_min, gloss60_max)| Sheen {
                id: ids.at(opened, SheenId::from_parts),
                word,
                gloss60_min,
                gloss60_max,
            })
            .collect(),
    };
    let bases = BaseKind::ALL
        .iter()
        .map(|&kind| {
            Ok(Base {
                new: NewBase {
                    id: ids.at(opened, BaseId::from_parts),
                    product_id: new.id,
                    name: kind.as_str().parse().map_err(Flaw::of)?,
                    kind,
                    rooms: rooms(kind)?,
                },
                optics: paint::base(kind, yellowing)?,
            })
        })
        .collect::<Result<Vec<_>, Flaw>>()?;
    Ok(Product { new, bases })
}

fn instruments(ids: &mut Ids, catalog: &Catalog) -> Result<Vec<InstrumentRow>, Flaw> {
    let mut row =
        |branch, name: &str, model: &str, serial: &str, since, retired_at, apertures: &[f32]| {
            Ok::<_, Flaw>(InstrumentRow {
                instrument: NewInstrument {
                    id: ids.at(since, InstrumentId::from_parts),
                    store_id: catalog.store(branch)?,
                    name: name.parse().map_err(Flaw::of)?,
                    model: model.parse().map_err(Flaw::of)?,
                    serial: serial.parse().map_err(Flaw::of)?,
                    geometry: Geometry::DiffuseTo8,
                    apertures_mm: apertures.to_vec(),
                    white_certificate: None,
                    calibration_hours: None,
                    warm_up_minutes: None,
                },
                retired_at,
            })
        };
    let (opened, retired) = (when::OPENED, when::OLD_INSTRUMENT_RETIRED);
    let new_model = "Sphere spectrophotometer, 31 bands";
    Ok(vec![
        row(
            Branch::North,
            "Counter sphere",
            new_model,
            "S31-0412",
            opened,
            None,
            &[12.0, 6.0],
        )?,
        row(
            Branch::South,
            "Counter sphere",
            new_model,
            "S31-0415",
            opened,
            None,
            &[12.0, 6.0],
        )?,
        // First of Harbor's, so that it is the one in use until it is retired.
        row(
            Branch::Harbor,
            "Old bench sphere",
            "Sphere spectrophotometer, 16 bands",
            "B16-0077",
            opened,
            Some(retired),
            &[12.0],
        )?,
        row(
            Branch::Harbor,
            "Counter sphere",
            new_model,
            "S31-0519",
            retired,
            None,
            &[12.0, 6.0],
        )?,
    ])
}

/// Weekly for each instrument while in use, except that South's was let slide before the last day.
fn calibrations(ids: &mut Ids, catalog: &Catalog) -> Result<Vec<CalibrationRow>, Flaw> {
    let mut random = Seeded::new("calibrations");
    let mut rows = Vec::new();
    let south = catalog.store(Branch::South)?;
    for row in &catalog.instruments {
        let store = row.instrument.store_id;
        let branch = Branch::ALL
            .into_iter()
            .find(|&branch| catalog.store(branch) == Ok(store));
        let branch = branch.ok_or_else(|| Flaw("an instrument stands nowhere".to_owned()))?;
        let since = if row.retired_at.is_some() || branch != Branch::Harbor {
            when::OPENED
        } else {
            when::OLD_INSTRUMENT_RETIRED
        };
        let overdue = if store == south {
            Duration::weeks(11)
        } else {
            Duration::ZERO
        };
        let until = row.retired_at.unwrap_or(when::LAST_DAY - overdue);
        let mut at = since + Duration::minutes(45);
        while at < until {
            rows.push(CalibrationRow {
                instrument_id: row.instrument.id,
                calibration: NewCalibration {
                    id: ids.at(at, CalibrationId::from_parts),
                    made_at: at,
                    white_read: true,
                    black_read: random.chance(0.9),
                    temperature_c: Some((random.between(19.0, 26.0) * 2.0).round() as f32 / 2.0),
                },
                made_by: catalog.clerk(&mut random, branch)?.person,
            });
            at += Duration::weeks(1);
        }
    }
    Ok(rows)
}
