//! Finding a customer by whatever the person at the counter has: the code on a can, a phone or the end of one, a
//! name half remembered, a job.

use std::collections::{HashMap, HashSet};

use formula::folding::{fold_person, fold_query};
use formula::id::{CustomerId, JobId};
use formula::label::LabelCode;
use formula::name_rank::{FIND_THRESHOLD, NameQuery, NameRank};
use formula::phone::{PhoneQuery, PhoneRegion};
use formula::trigram::TrigramQuery;
use formula::wire::v1::{CustomerHit, Found, FoundBy};

use super::policy::{Act, require};
use super::{App, AppResult, Caller};
use crate::store::find::{self, Candidate};
use crate::store::{Conn, customers};

/// Candidates that one way of looking hands to the ranking.
const CANDIDATES: i64 = 100;
/// Word similarity that several words with one slip in one of them nearly always reach: looked for first, since it
/// is cheaper.
const ONE_SLIP: f64 = 0.5;
/// pg_trgm's default: a name this like the words is what was meant, and no job label need be guessed at.
const PLAINLY_MEANT: f64 = 0.6;

/// What was typed, read in every way that it can be read.
#[derive(Debug, Clone)]
pub struct Needle {
    /// It is a label code.
    pub label: Option<LabelCode>,
    /// It has the shape of a label code, but the check fails: the codes one slip away.
    pub near_labels: Vec<LabelCode>,
    /// It is a phone, or the last seven digits of one.
    phone: Option<PhoneQuery>,
    /// Four digits beside a part of a name.
    last_four: Option<(String, NameQuery)>,
    /// Words, legal forms and trade words dropped.
    words: Option<NameQuery>,
    /// All words, when that makes a difference: Painter is a family name too.
    all_words: Option<NameQuery>,
}

impl Needle {
    /// Reads what was typed; phones without a country code in this region.
    #[must_use]
    pub fn read(text: &str, region: Option<PhoneRegion>) -> Self {
        let (label, near_labels) = match text.parse::<LabelCode>() {
            Ok(label) => (Some(label), Vec::new()),
            Err(error) => (None, error.suggestions()),
        };
        let phone = region
            .and_then(|region| PhoneQuery::from_typed(text, region).ok())
            .filter(|query| !matches!(query, PhoneQuery::LastFour(_)));
        let folded = fold_query(text);
        let person = fold_person(text);
        Self {
            label,
            near_labels,
            phone,
            last_four: last_four(text),
            all_words: (person != folded).then(|| NameQuery::new(person)).flatten(),
            words: NameQuery::new(folded),
        }
    }

    /// The better of the two readings as words.
    fn rank(&self, folded: &str) -> Option<NameRank> {
        let rank = |query: &Option<NameQuery>| query.as_ref().map(|query| query.rank(folded));
        rank(&self.words).max(rank(&self.all_words))
    }
}

/// `3417 brannock`: four digits that stand alone, and the rest as words.
fn last_four(text: &str) -> Option<(String, NameQuery)> {
    let four = |word: &&str| word.len() == 4 && word.bytes().all(|byte| byte.is_ascii_digit());
    let digits = text.split_whitespace().find(four)?;
    let rest: Vec<&str> = text.split_whitespace().filter(|word| !four(word)).collect();
    let name = NameQuery::new(fold_query(&rest.join(" ")))?;
    Some((digits.to_owned(), name))
}

/// A customer found, best first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spotted {
    /// The customer.
    pub customer: CustomerId,
    /// What fitted.
    pub found_by: FoundBy,
    /// The job, when its label is what fitted.
    pub job: Option<JobId>,
}

impl Spotted {
    fn all(customers: Vec<CustomerId>, found_by: FoundBy) -> Vec<Self> {
        customers
            .into_iter()
            .map(|customer| Self {
                customer,
                found_by,
                job: None,
            })
            .collect()
    }
}

/// Looks through the chain's customers, best first, each customer once. The first way that finds anybody answers:
/// label code, whole phone or last seven digits, last four digits with a name, then names and jobs together, ranked.
///
/// # Errors
/// When the database can't be read.
pub async fn find_customers(
    conn: &mut Conn,
    caller: &Caller,
    needle: &Needle,
    limit: usize,
) -> AppResult<Vec<Spotted>> {
    let mut spotted = by_exact(conn, caller, needle).await?;
    if spotted.is_empty() {
        spotted = by_words(conn, caller, needle, limit).await?;
    }
    spotted.truncate(limit);
    Ok(spotted)
}

/// By what identifies a customer nearly alone.
async fn by_exact(conn: &mut Conn, caller: &Caller, needle: &Needle) -> AppResult<Vec<Spotted>> {
    if let Some(label) = needle.label {
        let found = find::by_label(conn, caller, label).await?;
        if !found.is_empty() {
            return Ok(Spotted::all(found, FoundBy::LabelCode));
        }
    }
    let by_phone = match &needle.phone {
        Some(PhoneQuery::Whole(phone)) => Spotted::all(
            find::by_phone(conn, caller, phone, CANDIDATES).await?,
            FoundBy::Phone,
        ),
        Some(PhoneQuery::LastSeven(digits)) => Spotted::all(
            find::by_last_seven(conn, caller, digits, CANDIDATES).await?,
            FoundBy::PhoneLastSeven,
        ),
        // Four digits alone are shared by hundreds; they count beside a name only.
        Some(PhoneQuery::LastFour(_)) | None => Vec::new(),
    };
    if !by_phone.is_empty() {
        return Ok(by_phone);
    }
    let Some((digits, name)) = &needle.last_four else {
        return Ok(Vec::new());
    };
    let mut ranked: Vec<(NameRank, CustomerId)> =
        find::names_by_last_four(conn, caller, digits, 1000)
            .await?
            .into_iter()
            .filter_map(|candidate| Some((name.find(&candidate.folded)?, candidate.customer)))
            .collect();
    ranked.sort_by(|(rank, customer), (other_rank, other)| {
        other_rank.cmp(rank).then_with(|| customer.cmp(other))
    });
    let customers = ranked.into_iter().map(|(_, customer)| customer).collect();
    Ok(Spotted::all(customers, FoundBy::PhoneLastFour))
}

/// By names and job labels, ranked by one measure.
async fn by_words(
    conn: &mut Conn,
    caller: &Caller,
    needle: &Needle,
    limit: usize,
) -> AppResult<Vec<Spotted>> {
    let Some(words) = &needle.words else {
        return Ok(Vec::new());
    };
    let mut beginnings = vec![words.folded().to_owned()];
    beginnings.extend(
        needle
            .all_words
            .iter()
            .map(|query| query.folded().to_owned()),
    );
    let begun = find::names_beginning(conn, caller, &beginnings, CANDIDATES).await?;
    // Beginnings outrank everything else, so a page full of them needs no search for likeness.
    let full = begun.len() >= limit;
    let mut found = begun;
    if !full {
        found.extend(find::names_beginning(conn, caller, words.unswapped(), 10).await?);
        found.extend(names_like(conn, caller, words.folded()).await?);
        found.extend(find::jobs_holding(conn, caller, words.folded(), CANDIDATES).await?);
        let likeness = TrigramQuery::new(words.folded());
        let plain = |candidate: &Candidate| {
            candidate.job.is_some() || likeness.word_similarity(&candidate.folded) >= PLAINLY_MEANT
        };
        if !found.iter().any(plain) {
            found.extend(
                find::jobs_like(conn, caller, words.folded(), FIND_THRESHOLD, CANDIDATES).await?,
            );
        }
    }
    let mut ranked: Vec<(Option<NameRank>, Candidate)> = found
        .into_iter()
        .map(|candidate| (needle.rank(&candidate.folded), candidate))
        .collect();
    // At equal rank a name comes before a job, then the text, then the id decides.
    ranked.sort_by(|(rank, one), (other_rank, other)| {
        other_rank
            .cmp(rank)
            .then_with(|| one.job.is_some().cmp(&other.job.is_some()))
            .then_with(|| one.folded.cmp(&other.folded))
            .then_with(|| one.customer.cmp(&other.customer))
    });
    let mut seen = HashSet::new();
    Ok(ranked
        .into_iter()
        .filter(|(_, candidate)| seen.insert(candidate.customer))
        .map(|(_, candidate)| Spotted {
            customer: candidate.customer,
            found_by: match candidate.job {
                Some(_) => FoundBy::Job,
                None => FoundBy::Name,
            },
            job: candidate.job,
        })
        .collect())
}

async fn names_like(conn: &mut Conn, caller: &Caller, folded: &str) -> AppResult<Vec<Candidate>> {
    if folded.contains(' ') {
        let near = find::names_like(conn, caller, folded, ONE_SLIP, CANDIDATES).await?;
        if !near.is_empty() {
            return Ok(near);
        }
    }
    Ok(find::names_like(conn, caller, folded, FIND_THRESHOLD, CANDIDATES).await?)
}

impl App {
    /// Looks for customers chain-wide; see [`find_customers`]. A label code with a slip in it is answered with the
    /// codes that exist one slip away.
    ///
    /// # Errors
    /// As [`AppError`](super::AppError) says.
    pub async fn find_customers(
        &self,
        caller: &Caller,
        text: &str,
        limit: usize,
    ) -> AppResult<Found<CustomerHit>> {
        require(caller, Act::Find)?;
        let mut read = self.db.read().await?;
        let region = customers::phone_region(&mut read, caller).await?;
        let needle = Needle::read(text, region);
        let spotted = find_customers(&mut read, caller, &needle, limit).await?;
        let did_you_mean = find::existing_labels(&mut read, caller, &needle.near_labels).await?;
        let ids: Vec<CustomerId> = spotted.iter().map(|hit| hit.customer).collect();
        let mut brief: HashMap<CustomerId, _> = customers::in_brief(&mut read, caller, &ids)
            .await?
            .into_iter()
            .map(|customer| (customer.id, customer))
            .collect();
        let items = spotted
            .into_iter()
            .filter_map(|hit| {
                let customer = brief.remove(&hit.customer)?;
                Some(CustomerHit {
                    id: customer.id,
                    kind: customer.kind,
                    name: customer.name,
                    phone_ends: customer.phone_ends,
                    jobs: customer.jobs,
                    store: customer.store,
                    matches: customer.matches,
                    found_by: hit.found_by,
                })
            })
            .collect();
        Ok(Found {
            items,
            did_you_mean,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Needle {
        Needle::read(text, Some(PhoneRegion::UnitedStates))
    }

    #[test]
    fn a_needle_is_read_in_every_way_it_can_be() {
        assert!(matches!(
            read("(303) 555-0142").phone,
            Some(PhoneQuery::Whole(_))
        ));
        assert!(matches!(
            read("555-0142").phone,
            Some(PhoneQuery::LastSeven(_))
        ));
        assert!(read("0142").phone.is_none());
        for text in ["3417 brannock", "Brannock 3417"] {
            let (digits, name) = read(text).last_four.unwrap();
            assert_eq!((digits.as_str(), name.folded()), ("3417", "brannock"));
        }
        assert!(read("3417").last_four.is_none());
        let painter = read("Lena Painter");
        assert_eq!(painter.words.as_ref().unwrap().folded(), "lena");
        assert_eq!(painter.all_words.as_ref().unwrap().folded(), "lena painter");
        assert!(painter.rank("lena painter") > painter.rank("lena paulsen"));
    }

    #[test]
    fn a_mistyped_label_is_read_as_the_labels_near_it() {
        let code = LabelCode::from(formula::id::MatchId::from_parts(1, [0x5a; 10]));
        assert_eq!(read(&code.to_string()).label, Some(code));
        let compact = code.compact();
        let last = if compact.ends_with('7') { '8' } else { '7' };
        let mistyped = format!("{}{last}", &compact[..10]);
        let needle = read(&mistyped);
        assert_eq!(needle.label, None);
        assert!(needle.near_labels.contains(&code));
    }

    #[test]
    fn signs_alone_are_nothing_to_look_for() {
        let needle = read("\0 — !");
        assert!(needle.words.is_none() && needle.phone.is_none() && needle.label.is_none());
    }
}
