//! What the person who tints should know first: words for a reorder, from what the store knows of its match.

use formula::wire::v1::{FaultReason, Reorder};

use crate::store::reorders::{BadCan, Kept, Standing};

/// The most bad cans that are told one by one.
const MOST_TOLD: usize = 5;

/// Shown before mixing gear is used on a solvent-borne product.
const SOLVENT: &str = "solvent-borne product: vapor and ignition. Ventilate, keep flames and sparks away, wear what \
    the safety data sheet asks for; local codes decide.";

/// The reorder with its warnings. One that has come to its end warns nobody.
pub(super) fn with_warnings(kept: Kept) -> Reorder {
    let mut reorder = kept.reorder;
    if reorder.state.is_final() {
        return reorder;
    }
    let warnings = &mut reorder.warnings;
    warnings.extend(
        kept.bad_cans
            .iter()
            .take(MOST_TOLD)
            .map(|can| bad_can(can, kept.formula.as_ref())),
    );
    if let Some(more) = kept
        .bad_cans
        .len()
        .checked_sub(MOST_TOLD)
        .filter(|more| *more > 0)
    {
        warnings.push(format!("{more} more cans of this match were marked bad"));
    }
    if let Some(formula) = &kept.formula {
        if !formula.verified {
            warnings.push(
                "this formula was never verified by a dry drawdown: make one from the first can"
                    .to_owned(),
            );
        }
        if formula.size != reorder.size {
            warnings.push(format!(
                "the amounts are for the size {}, this order is for the size {}: work them out before tinting",
                formula.size.human_name(),
                reorder.size.human_name()
            ));
        }
        if !formula.base_offered {
            warnings.push(format!(
                "base {} does not come in the size {}",
                formula.base,
                reorder.size.human_name()
            ));
        }
        if formula.base_retired {
            warnings.push(format!(
                "base {} is retired: where none is left, a new formula is needed",
                formula.base
            ));
        }
        for colorant in &formula.retired_colorants {
            warnings.push(format!(
                "colorant {colorant} is retired: where none is left, a new formula is needed"
            ));
        }
    }
    if kept.solvent {
        warnings.push(SOLVENT.to_owned());
    }
    reorder
}

fn bad_can(can: &BadCan, formula: Option<&Standing>) -> String {
    let of = match formula {
        Some(formula) if formula.revision_id == can.revision_id => "this formula",
        _ => "another formula of this match",
    };
    format!(
        "a can of {of}, made at {}, was marked bad on {}: {}",
        can.store,
        can.marked_at.date(),
        reason(can.reason)
    )
}

fn reason(reason: FaultReason) -> &'static str {
    match reason {
        FaultReason::WrongColor => "the color was off",
        FaultReason::WrongSheen => "the sheen was off",
        FaultReason::WrongBase => "another base was used",
        FaultReason::WrongAmount => "more or less colorant went in than meant",
        FaultReason::MachineFault => "the dispenser or the shaker failed",
        FaultReason::Contaminated => "something else got in",
        FaultReason::Other => "see the remark on the can",
    }
}
