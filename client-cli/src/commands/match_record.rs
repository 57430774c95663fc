//! Recording a match: from the command line, from a draft, or both.

use formula::id::{DraftId, MatchId, ProductId, RevisionId};
use formula::label::LabelCode;
use formula::naming::Note;
use formula::sheen::SheenWord;
use formula::wire::v1::{Customer, DraftParts, Match as Record, NewMatch, Product, Reuse};

use super::formula_input::{Around, FormulaOptions};
use super::{Run, match_view};
use crate::conditions::MeasurementOptions;
use crate::exit::{Exit, Failure};
use crate::reference;
use crate::remote::{Remote, Write, fresh, now};
use crate::word::word;

/// The parts of a match, each of which a draft may still lack.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct RecordOptions {
    /// Whose it is: name or id
    #[arg(long, value_name = "CUSTOMER")]
    pub(super) customer: Option<String>,
    /// What for: a job of the customer, by label or id
    #[arg(long, value_name = "JOB")]
    pub(super) job: Option<String>,
    /// In which product: name or id
    #[arg(long, value_name = "PRODUCT")]
    pub(super) product: Option<String>,
    /// In which sheen
    #[arg(long, value_parser = word::<SheenWord>())]
    pub(super) sheen: Option<SheenWord>,
    /// A remark
    #[arg(long)]
    pub(super) note: Option<Note>,
    #[command(flatten)]
    pub(super) measurement: MeasurementOptions,
    #[command(flatten)]
    pub(super) formula: FormulaOptions,
}

impl RecordOptions {
    /// The parts given, on top of those there already.
    ///
    /// # Errors
    /// When a file can't be read or a name is not known; the file comes first, so that a bad one is told even when the
    /// server can't be reached.
    pub(super) fn onto(
        &self,
        mut parts: DraftParts,
        remote: &Remote,
    ) -> Result<DraftParts, Failure> {
        if let Some(sample) = self.measurement.read(remote)? {
            parts.sample = Some(sample);
        }
        if let Some(typed) = &self.customer {
            let id = reference::customer(remote, typed)?;
            if parts.customer_id != Some(id) {
                parts.customer_id = Some(id);
                parts.job_id = None;
            }
        }
        if let Some(typed) = &self.job {
            let customer_id = parts.customer_id.ok_or_else(|| {
                Failure::bad("job", "a job belongs to a customer, and none is named")
                    .value(typed)
                    .remedy("name the customer with --customer")
            })?;
            parts.job_id = Some(match typed.trim().parse() {
                Ok(id) => id,
                Err(_) => {
                    let customer: Customer = remote.get(format!("/customers/{customer_id}"))?;
                    reference::pick("job", typed, &customer.jobs)
                        .map_err(|failure| {
                            failure.remedy(
                                "give one of these, or add it with `secondcan customer job add`",
                            )
                        })?
                        .id
                }
            });
        }
        let product = self.product_of(&mut parts, remote)?;
        if let Some(word) = self.sheen {
            let product = product.as_ref().ok_or_else(|| {
                Failure::bad("sheen", "a sheen belongs to a product, and none is named")
                    .value(word.as_str())
                    .remedy("name the product with --product")
            })?;
            parts.sheen_id = Some(reference::sheen(product, word)?.id);
        }
        if self.formula.given() {
            let sheen = product.as_ref().and_then(|product| {
                product
                    .sheens
                    .iter()
                    .find(|sheen| Some(sheen.id) == parts.sheen_id)
            });
            let (Some(product), Some(sheen)) = (&product, sheen) else {
                return Err(Failure::bad(
                    "formula",
                    "a formula belongs to a product in a sheen, and they are not both named",
                )
                .remedy("name them with --product and --sheen"));
            };
            let around = Around {
                product,
                sheen,
                corrects: None,
            };
            parts.formula = Some(self.formula.read(remote, around, None)?);
        }
        if self.note.is_some() {
            parts.note.clone_from(&self.note);
        }
        Ok(parts)
    }

    /// The product, looked up only when something needs it. Another product makes sheen and formula void.
    fn product_of(
        &self,
        parts: &mut DraftParts,
        remote: &Remote,
    ) -> Result<Option<Product>, Failure> {
        let product = match (&self.product, parts.product_id) {
            (Some(typed), _) => reference::product(remote, typed)?,
            (None, Some(id)) if self.sheen.is_some() || self.formula.given() => {
                remote.get(format!("/products/{id}"))?
            }
            (None, _) => return Ok(None),
        };
        set_product(parts, product.id);
        Ok(Some(product))
    }
}

fn set_product(parts: &mut DraftParts, id: ProductId) {
    if parts.product_id != Some(id) {
        parts.product_id = Some(id);
        parts.sheen_id = None;
        parts.formula = None;
    }
}

/// Records the match that the parts make, a reused formula with it when there is one.
///
/// # Errors
/// When a part is missing (names all of them), and what the server says.
pub(super) fn record(
    run: &Run,
    remote: &Remote,
    parts: DraftParts,
    reused_from: Option<RevisionId>,
    draft_id: Option<DraftId>,
) -> Result<Exit, Failure> {
    let mut missing = Vec::new();
    let mut need = |there: bool, name: &str| {
        if !there {
            missing.push(name.to_owned());
        }
    };
    need(parts.customer_id.is_some(), "--customer");
    need(parts.product_id.is_some(), "--product");
    need(parts.sheen_id.is_some(), "--sheen");
    need(parts.sample.is_some(), "--spectrum");
    let (Some(customer_id), Some(product_id), Some(sheen_id), Some(sample)) = (
        parts.customer_id,
        parts.product_id,
        parts.sheen_id,
        parts.sample,
    ) else {
        return Err(Failure::bad(
            "match",
            format!("the match lacks {}", missing.join(", ")),
        )
        .remedy(match draft_id {
            Some(id) => format!(
                "add them; the draft is unchanged, and `secondcan match draft save --draft {id}` puts more into it"
            ),
            None => "add them, or keep what you have with `secondcan match draft save`".to_owned(),
        }));
    };
    let new = NewMatch {
        id: fresh!(MatchId),
        customer_id,
        job_id: parts.job_id,
        product_id,
        sheen_id,
        sample,
        formula: if reused_from.is_some() {
            None
        } else {
            parts.formula
        },
        reuse: reused_from.map(|revision| Reuse {
            id: fresh!(RevisionId),
            reused_from: revision,
        }),
        note: parts.note,
        made_at: now(),
        draft_id,
    };
    let label = LabelCode::from(new.id);
    let write = Write::new(
        &format!("record match {label}"),
        "POST",
        "/matches",
        Some(&new),
    )?;
    let saved: Record = remote.write(&write)?;
    run.saved(&saved, |screen| {
        screen.line("match recorded; write this on the can:");
        screen.gap();
        screen.bold(format!("    {}", match_view::spaced(saved.label_code)));
        screen.gap();
        screen.pair("customer", &saved.customer.name);
        screen.pair(
            "product",
            format!("{}, {}", saved.product.name, saved.sheen.word.human_name()),
        );
        screen.color("wanted", saved.sample.lab.0, "");
        if saved.revisions.is_empty() {
            screen.line("no formula yet: add it with `secondcan match revise`");
        }
    })
}
