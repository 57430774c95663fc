//! Things named by people: by id, by name, or by the beginning of a name that only one has.

use std::fmt::Display;
use std::str::FromStr;

use formula::id::{
    BaseId, ColorantId, CustomerId, InstrumentId, JobId, MatchId, PersonId, ProductId, StoreId,
    TileId,
};
use formula::label::{LabelCode, LabelCodeError};
use formula::role::Role;
use formula::sheen::SheenWord;
use formula::wire::v1::{
    Base, Colorant, CustomerHit, Found, FoundBy, Instrument, Job, Match, MatchHit, Person, Product,
    Revision, Sheen, Store, Tile, WhoAmI,
};
use unicode_normalization::UnicodeNormalization as _;

use crate::exit::Failure;
use crate::remote::{PathQuery, Remote};

/// Something in a list that can be named.
pub(crate) trait Listed {
    /// The type of its id.
    type Id: FromStr + PartialEq + Display;
    /// Its id.
    fn id(&self) -> Self::Id;
    /// The words that name it, the one that lists show first.
    fn words(&self) -> Vec<String>;
    /// Whether it is out of use.
    fn retired(&self) -> bool {
        false
    }
}

macro_rules! listed {
    ($($type:ty, $id:ty, |$it:ident| $words:expr, $retired:expr;)+) => {$(
        impl Listed for $type {
            type Id = $id;
            fn id(&self) -> $id {
                self.id
            }
            fn words(&self) -> Vec<String> {
                let $it = self;
                $words
            }
            fn retired(&self) -> bool {
                let $it = self;
                $retired
            }
        }
    )+};
}

listed! {
    Store, StoreId, |it| vec![it.name.to_string()], it.closed;
    Product, ProductId, |it| vec![it.name.to_string()], it.retired;
    Base, BaseId, |it| vec![it.name.to_string()], it.retired;
    Colorant, ColorantId, |it| vec![
        format!("{} {}", it.ci_name, it.pigment), it.ci_name.to_string(), it.pigment.to_string(),
    ], it.retired;
    Instrument, InstrumentId, |it| vec![it.name.to_string(), it.serial.to_string()], it.retired;
    Tile, TileId, |it| vec![it.name.to_string()], it.retired;
    Person, PersonId, |it| vec![it.login.to_string(), it.display_name.to_string()], it.suspended;
    Job, JobId, |it| vec![it.label.to_string()], { let _ = it; false };
    CustomerHit, CustomerId, |it| vec![it.name.clone()], { let _ = it; false };
}

/// Text without the differences that people do not mean.
fn folded(text: &str) -> String {
    text.trim().nfkc().flat_map(char::to_lowercase).collect()
}

/// The one that is meant: by id, by the whole name, else by the beginning of a name that only one has; what is out of
/// use counts only when nothing in use fits.
///
/// # Errors
/// Nothing of that name (exit 1), or several (exit 2); lists which.
pub(crate) fn pick<'a, T: Listed>(noun: &str, typed: &str, all: &'a [T]) -> Result<&'a T, Failure> {
    if let Ok(id) = typed.trim().parse::<T::Id>() {
        return all.iter().find(|item| item.id() == id).ok_or_else(|| {
            Failure::nothing(noun, format!("there is no {noun} of that id")).value(typed)
        });
    }
    let wanted = folded(typed);
    if wanted.is_empty() {
        return Err(Failure::bad(noun, format!("the {noun}'s name is empty"))
            .remedy("give its name, the beginning of it, or its id"));
    }
    let fitting = |fits: &dyn Fn(&str) -> bool, retired: bool| -> Vec<&'a T> {
        all.iter()
            .filter(|item| item.retired() == retired)
            .filter(|item| item.words().iter().any(|word| fits(&folded(word))))
            .collect()
    };
    let whole = |word: &str| word == wanted;
    let beginning = |word: &str| word.starts_with(&wanted);
    for retired in [false, true] {
        for fits in [&whole as &dyn Fn(&str) -> bool, &beginning] {
            match fitting(fits, retired)[..] {
                [] => {}
                [one] => return Ok(one),
                ref several => {
                    return Err(
                        Failure::bad(noun, format!("{} fit this {noun}", several.len()))
                            .value(typed)
                            .remedy("give the whole name, or the id")
                            .candidates(several.iter().take(20).map(|item| shown(*item)).collect()),
                    );
                }
            }
        }
    }
    let known: Vec<String> = all
        .iter()
        .filter(|item| !item.retired())
        .take(20)
        .map(shown)
        .collect();
    Err(
        Failure::nothing(noun, format!("there is no {noun} of that name"))
            .value(typed)
            .remedy(if known.is_empty() {
                format!("there is no {noun} yet: add one first")
            } else {
                "give one of these, by name or id".to_owned()
            })
            .candidates(known),
    )
}

fn shown<T: Listed>(item: &T) -> String {
    format!(
        "{}  {}",
        item.words().first().map_or("", String::as_str),
        item.id()
    )
}

/// The store that is meant.
///
/// # Errors
/// As [`pick`], and what the server says.
pub(crate) fn store(remote: &Remote, typed: &str) -> Result<Store, Failure> {
    let all = remote.all::<Store>("/stores")?;
    pick("store", typed, &all).cloned()
}

/// The product that is meant.
///
/// # Errors
/// As [`pick`], and what the server says.
pub(crate) fn product(remote: &Remote, typed: &str) -> Result<Product, Failure> {
    let all = remote.all::<Product>("/products")?;
    pick("product", typed, &all).cloned()
}

/// The base that is meant; of one product, when that is known.
///
/// # Errors
/// As [`pick`], and what the server says.
pub(crate) fn base(
    remote: &Remote,
    typed: &str,
    product: Option<ProductId>,
) -> Result<Base, Failure> {
    let all = remote.all::<Base>(PathQuery::new("/bases").with_some("product_id", product))?;
    pick("base", typed, &all).cloned()
}

/// The login that is meant.
///
/// # Errors
/// As [`pick`], and what the server says.
pub(crate) fn person(remote: &Remote, typed: &str) -> Result<Person, Failure> {
    let all = remote.all::<Person>("/persons")?;
    pick("person", typed, &all).cloned()
}

/// The sheen of a product.
///
/// # Errors
/// When the product is not made in it (exit 2); lists the sheens that it is made in.
pub(crate) fn sheen(product: &Product, word: SheenWord) -> Result<&Sheen, Failure> {
    product
        .sheens
        .iter()
        .find(|sheen| sheen.word == word)
        .ok_or_else(|| {
            Failure::bad(
                "sheen",
                format!("{} is not made in this sheen", product.name),
            )
            .value(word.as_str())
            .remedy("choose one that it is made in")
            .candidates(
                product
                    .sheens
                    .iter()
                    .map(|sheen| sheen.word.as_str().to_owned())
                    .collect(),
            )
        })
}

/// The customer that is meant: an id, or a name that the server finds.
///
/// # Errors
/// None (exit 1) or several (exit 2); lists which.
pub(crate) fn customer(remote: &Remote, typed: &str) -> Result<CustomerId, Failure> {
    if let Ok(id) = typed.trim().parse::<CustomerId>() {
        return Ok(id);
    }
    if typed.trim().is_empty() {
        return Err(Failure::bad("customer", "the customer's name is empty")
            .remedy("give the name, the beginning of it, or the id"));
    }
    let found: Found<CustomerHit> = remote.get(
        PathQuery::new("/customers/find")
            .with("q", typed.trim())
            .with("limit", 20),
    )?;
    match pick("customer", typed, &found.items) {
        Ok(hit) => Ok(hit.id),
        Err(failure) => {
            let choices = found
                .items
                .iter()
                .map(|hit| {
                    let phone = hit
                        .phone_ends
                        .as_ref()
                        .map_or(String::new(), |ends| format!(", phone ends {ends}"));
                    format!("{}  {} ({}{phone})", hit.name, hit.id, hit.store.name)
                })
                .collect::<Vec<_>>();
            let remedy = if choices.is_empty() {
                "look with `secondcan customer find`, or add the customer with `secondcan customer add`"
            } else {
                "give the whole name or the id of one of these"
            };
            Err(failure.remedy(remedy).candidates(choices))
        }
    }
}

/// The match that is meant: an id, or the label code on a can. A mistyped code is named, with those near it that exist.
///
/// # Errors
/// None (exit 1), several that share the code (exit 2), or a text that is neither (exit 2).
pub(crate) fn match_id(remote: &Remote, typed: &str) -> Result<MatchId, Failure> {
    if let Ok(id) = typed.trim().parse::<MatchId>() {
        return Ok(id);
    }
    let read = typed.parse::<LabelCode>();
    if let Err(error) = &read
        && error.suggestions().is_empty()
    {
        return Err(Failure::bad("match", error.to_string())
            .value(typed)
            .remedy("give the label code on the can or the id; look with `secondcan match find`"));
    }
    let (hits, near) = labelled(remote, typed, &read)?;
    if let Err(error) = read {
        return Err(Failure::bad("match", error.to_string())
            .value(typed)
            .remedy("read the code on the can again")
            .did_you_mean(near.iter().map(ToString::to_string).collect()));
    }
    match hits[..] {
        [ref one] => Ok(one.id),
        [] => Err(
            Failure::nothing("match", "there is no match of that label code")
                .value(typed)
                .remedy("read the code on the can again, or look with `secondcan match find`"),
        ),
        ref several => Err(
            Failure::bad("match", "several matches share this label code")
                .value(typed)
                .remedy("give the id of the one that is meant")
                .candidates(
                    several
                        .iter()
                        .map(|hit| {
                            format!("{}  {} ({})", hit.id, hit.customer.name, hit.store.name)
                        })
                        .collect(),
                ),
        ),
    }
}

/// The matches of a label code; of a mistyped one, the codes one slip away. Contractors, who can't search the chain,
/// look through their own.
fn labelled(
    remote: &Remote,
    typed: &str,
    read: &Result<LabelCode, LabelCodeError>,
) -> Result<(Vec<MatchHit>, Vec<LabelCode>), Failure> {
    let me: WhoAmI = remote.get("/auth/me")?;
    if me.person.roles.contains(&Role::Contractor) {
        let own = remote.all::<MatchHit>("/matches")?;
        return Ok(match read {
            Ok(code) => {
                let carries = |hit: &MatchHit| hit.label_code == *code;
                (own.into_iter().filter(carries).collect(), Vec::new())
            }
            Err(error) => {
                let mut near = error.suggestions();
                near.retain(|code| own.iter().any(|hit| hit.label_code == *code));
                (Vec::new(), near)
            }
        });
    }
    let found: Found<MatchHit> = remote.get(
        PathQuery::new("/matches/find")
            .with("q", typed.trim())
            .with("limit", 20),
    )?;
    let mut hits = found.items;
    hits.retain(|hit| hit.found_by == FoundBy::LabelCode && read.as_ref() == Ok(&hit.label_code));
    Ok((hits, found.did_you_mean))
}

/// The match that is meant, opened.
///
/// # Errors
/// As [`match_id`], and what the server says.
pub(crate) fn open_match(remote: &Remote, typed: &str) -> Result<Match, Failure> {
    let id = match_id(remote, typed)?;
    Ok(remote.get(format!("/matches/{id}"))?)
}

/// The revision of a match by its number; without one, the one that counts.
///
/// # Errors
/// When there is none.
pub(crate) fn revision(opened: &Match, number: Option<i32>) -> Result<&Revision, Failure> {
    let numbers = || {
        opened
            .revisions
            .iter()
            .map(|revision| format!("revision {}", revision.number))
            .collect::<Vec<_>>()
    };
    match number {
        Some(number) => opened
            .revisions
            .iter()
            .find(|revision| revision.number == number)
            .ok_or_else(|| {
                Failure::nothing("revision", "the match has no revision of that number")
                    .value(number.to_string())
                    .remedy("give the number of one of these")
                    .candidates(numbers())
            }),
        None => opened
            .current_revision_id
            .and_then(|id| opened.revisions.iter().find(|revision| revision.id == id))
            .ok_or_else(|| {
                Failure::nothing("revision", "the match has no formula yet")
                    .remedy("record one with `secondcan match revise`")
            }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use formula::wire::v1::Job;

    fn jobs(labels: &[&str]) -> Vec<Job> {
        labels
            .iter()
            .map(|label| Job {
                id: crate::remote::fresh!(JobId),
                label: (*label).try_into().unwrap(),
                version: 1,
            })
            .collect()
    }

    #[test]
    fn a_name_is_taken_whole_or_by_a_beginning_that_only_one_has() {
        let all = jobs(&["Lobby", "Lobby, second coat", "Porch", "Žižkov stairs"]);
        let picked = |typed: &str| pick("job", typed, &all).map(|job| job.label.to_string());
        assert_eq!(picked("lobby").unwrap(), "Lobby");
        assert_eq!(picked("PO").unwrap(), "Porch");
        assert_eq!(picked("z\u{30c}iz\u{30c}").unwrap(), "Žižkov stairs");
        assert_eq!(
            picked(&all[1].id.to_string()).unwrap(),
            "Lobby, second coat"
        );
        let several = picked("lob").unwrap_err();
        assert_eq!(several.exit(), crate::exit::Exit::BadInput);
        assert!(
            several.to_string().contains("Lobby, second coat"),
            "{several}"
        );
        let none = picked("garage").unwrap_err();
        assert_eq!(none.exit(), crate::exit::Exit::NothingFound);
        assert_eq!(picked(" ").unwrap_err().exit(), crate::exit::Exit::BadInput);
    }
}
