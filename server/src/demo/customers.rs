//! Customers, their phones and jobs, and the contractors' links. All names are invented; phone numbers are of the
//! range 555-0100 to 555-0199, which the North American Numbering Plan keeps for fiction.

use formula::id::{CustomerId, JobId, PersonId};
use formula::wire::v1::{CustomerKind, NewCustomer, NewJob, NewPhone};
use time::Duration;

use super::catalog::{Branch, Catalog};
use super::seeded::Seeded;
use super::{Flaw, Ids, when};
use crate::store::bulk::{CustomerRow, LinkRow};

use CustomerKind::{Company, Person};

/// The painter of the story, at branch North.
pub(super) const PAINTER: &str = "Hestrel & Vann Painting LLC";
/// The customer of the story who walks into branch South with a chip.
pub(super) const WALK_IN: &str = "Saltmarsh Row Housing Co-operative";

/// Names of many kinds: legal forms, trade words, accents, scripts from left and right, hyphens, apostrophes, very
/// short and very long ones, namesakes, and one customer under two spellings.
const NAMES: [(CustomerKind, &str); 68] = [
    (Company, PAINTER),
    (Company, WALK_IN),
    (Company, "Noorvik Decorating Inc."),
    (Company, "Boldtmeer Malerbetrieb GmbH & Co. KG"),
    (Company, "Quillon Brothers Painting"),
    (Company, "Tamarack Spire Painting & Drywall, Inc."),
    (Company, "Third Lantern Coatings LLC"),
    (Company, "Applewhit Decorators Ltd"),
    (Company, "Marrowmere Parish Works"),
    (Company, "Pintores Brisalba, S.A. de C.V."),
    (Company, "D'Arquille et Filles SARL"),
    (Company, "Verniciatura Fioralta S.r.l."),
    (Company, "Åkerbjelke Måleri AB"),
    (Company, "Sølvfyr Malerservice ApS"),
    (Company, "Kaukovirta Maalaus Oy"),
    (Company, "Pracownia Żółwinka sp. z o.o."),
    (Company, "Csillagrév Festő Kft."),
    (Company, "Malířství Štěpnička s.r.o."),
    (Company, "Boyacı Günışığı Ltd. Şti."),
    (Company, "ООО «Туманный маяк»"),
    (Company, "Майстерня «Сорока й вільха»"),
    (Company, "有限会社 灯籠坂塗工"),
    (Company, "青鷺塗装工房 株式会社"),
    (Company, "雲雀坊装饰有限公司"),
    (Company, "은하나루 도장"),
    (Company, "ورشة قنديل المرسى للدهانات"),
    (Company, "צבעי מגדל העורב בע״מ"),
    (Company, "Ελαιοχρωματισμοί Αστρολιθιά Ε.Π.Ε."),
    (Company, "रंगशाला तारापथ"),
    (Company, "Vx LLC"),
    (Company, "K9 Kennels & Kilns"),
    (Company, "1st Rung Painters"),
    (Company, "The Painting Company"),
    (Company, "Pebbleworth Primary School"),
    (Company, "Hollowbrook Theater Guild, Scene Shop"),
    (Company, "St. Ethelwyn's Almshouse"),
    (
        Company,
        "The Amalgamated Upkeep and Repainting Co-operative of Upper Marrowmere, Lower Marrowmere, Nether Sallow and the Outlying Farms, Incorporated",
    ),
    (Person, "Gideon Painter"),
    (Person, "Marla Estwicke"),
    // A namesake at another branch.
    (Person, "Marla Estwicke"),
    (Person, "Torvald Lindhager"),
    // The same man, entered twice.
    (Person, "Lindhagar, Torvald"),
    (Person, "Zoë Brännkvist-Adeyola"),
    (Person, "Núria Fontcalva i Riusec"),
    (Person, "Þórdís Hrafnkelsbær"),
    (Person, "Łucja Świerkowianka"),
    (Person, "Ćiril Mrkonjevac"),
    (Person, "Siobhán O'Drannagh"),
    (Person, "N'Kossi Mabrandt"),
    (Person, "Te Rū'ahimata"),
    (Person, "Đặng Lam Sương"),
    (Person, "Îñigo Peñalvear-Ruanos"),
    (Person, "Jean-Éric de la Tourbière-Haute"),
    (Person, "Aoife Ní Mhuireadhach-Brannt"),
    (Person, "Зоряна Бурштиненко"),
    (Person, "Игнат Водопольский"),
    (Person, "霧谷 環子"),
    (Person, "雲井 千早希"),
    (Person, "欧阳 霁溪"),
    (Person, "李"),
    (Person, "한솔빛나"),
    (Person, "سلمى الوادياني"),
    (Person, "نادر عبد المرسى"),
    (Person, "נועם בן־צורית"),
    (Person, "Αμαλία Θαλασσογιάννου"),
    (Person, "ชาลี ดาวเหนือฟ้า"),
    (Person, "Bo"),
    (Person, "Æsa Lindqvarn III"),
];

const JOBS: [&str; 30] = [
    "Lobby, second coat",
    "Porch ceiling",
    "Front door",
    "Kitchen cabinets",
    "Stairwell, all floors",
    "Shutters",
    "Garden fence",
    "Nursery",
    "Unit 4B",
    "Units 12–18",
    "Workshop floor line",
    "Reception desk",
    "Trim, ground floor",
    "North elevation",
    "South elevation",
    "Boathouse",
    "Reading room",
    "Corridor C, lower half",
    "Cafeteria",
    "Window frames",
    "Attic conversion",
    "Pantry shelves",
    "Old barn doors",
    "Stage set, act two",
    "Bathroom, upstairs",
    "Handrails",
    "Shop front",
    "Music room",
    "Bike shed",
    "Touch-up, hallway",
];

/// Area codes in use in the United States.
const AREA_CODES: [&str; 12] = [
    "207", "218", "303", "360", "405", "503", "515", "606", "716", "808", "907", "928",
];

const PHONE_LABELS: [&str; 6] = [
    "office",
    "site",
    "mobile",
    "home",
    "bookkeeping",
    "after hours",
];

pub(super) struct Clients {
    pub(super) customers: Vec<CustomerRow>,
    pub(super) links: Vec<LinkRow>,
}

impl Clients {
    pub(super) fn named(&self, name: &str) -> Result<&CustomerRow, Flaw> {
        let found = self
            .customers
            .iter()
            .find(|row| row.customer.name.as_str() == name);
        found.ok_or_else(|| Flaw(format!("no customer {name}")))
    }

    /// The contractor whose login stands for the customer.
    pub(super) fn contractor(&self, customer: CustomerId) -> Option<PersonId> {
        let link = self.links.iter().find(|link| link.customer_id == customer);
        link.map(|link| link.person_id)
    }
}

pub(super) fn make(catalog: &Catalog) -> Result<Clients, Flaw> {
    let mut random = Seeded::new("customers");
    let mut ids = Ids::of("customers");
    let mut customers = Vec::new();
    for (number, (kind, name)) in NAMES.into_iter().enumerate() {
        let branch = match name {
            PAINTER => Branch::North,
            WALK_IN => Branch::South,
            // Neighbors in the list, such as the namesakes, belong to different branches.
            _ => Branch::ALL[number % 3],
        };
        // All of them before the first match is made.
        let at = when::OPENED + Duration::minutes(30 + 2 * number as i64);
        let author = catalog.clerk(&mut random, branch)?;
        let phones = (0..1 + random.below(if kind == Company { 3 } else { 2 }))
            .map(|line| {
                // Each line has area codes of its own and each customer last digits of its own: no two share a
                // number.
                let area = AREA_CODES[4 * line + random.below(4)];
                let typed = match random.below(3) {
                    0 => format!("({area}) 555-01{number:02}"),
                    1 => format!("{area}-555-01{number:02}"),
                    _ => format!("+1 {area} 555 01{number:02}"),
                };
                Ok(NewPhone {
                    number: typed.parse().map_err(Flaw::of)?,
                    label: match random.chance(0.6) {
                        true => Some(random.pick(&PHONE_LABELS).parse().map_err(Flaw::of)?),
                        false => None,
                    },
                })
            })
            .collect::<Result<Vec<_>, Flaw>>()?;
        // The story asks for the lobby.
        let first_job = if name == PAINTER {
            0
        } else {
            random.below(JOBS.len())
        };
        let jobs = (0..if kind == Company {
            2 + random.below(5)
        } else {
            random.below(4)
        })
            .map(|more| {
                Ok(NewJob {
                    id: ids.at(at, JobId::from_parts),
                    label: JOBS[(first_job + 7 * more) % JOBS.len()]
                        .parse()
                        .map_err(Flaw::of)?,
                })
            })
            .collect::<Result<Vec<_>, Flaw>>()?;
        let note = match number % 9 {
            4 => Some("Pays by account, monthly.".parse().map_err(Flaw::of)?),
            7 => Some(
                "Call before mixing more than a quart."
                    .parse()
                    .map_err(Flaw::of)?,
            ),
            _ => None,
        };
        customers.push(CustomerRow {
            customer: NewCustomer {
                id: ids.at(at, CustomerId::from_parts),
                kind,
                name: name.parse().map_err(Flaw::of)?,
                phones,
                jobs,
                note,
            },
            author,
        });
    }
    let mut clients = Clients {
        customers,
        links: Vec::new(),
    };
    clients.links = links(&mut ids, catalog, &clients)?;
    Ok(clients)
}

fn links(ids: &mut Ids, catalog: &Catalog, clients: &Clients) -> Result<Vec<LinkRow>, Flaw> {
    let linked_at = when::OPENED + Duration::days(3);
    [
        ("painter.hestrel", PAINTER, "manager.north"),
        ("painter.noor", "Noorvik Decorating Inc.", "manager.harbor"),
        (
            "painter.noor",
            "Pebbleworth Primary School",
            "manager.harbor",
        ),
        (
            "painter.boldt",
            "Boldtmeer Malerbetrieb GmbH & Co. KG",
            "manager.south",
        ),
    ]
    .into_iter()
    .map(|(login, customer, manager)| {
        Ok(LinkRow {
            id: ids.uuid_at(linked_at),
            person_id: catalog.person(login)?,
            customer_id: clients.named(customer)?.customer.id,
            linked_by: catalog.person(manager)?,
            linked_at,
        })
    })
    .collect()
}
