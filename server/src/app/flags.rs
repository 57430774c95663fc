//! What stands out about a can: worked out when it is read, never a reason to refuse it.

use std::collections::BTreeMap;

use formula::id::ColorantId;
use formula::quantity::{Shots, Volume};
use formula::reorder::ReorderState;
use formula::wire::v1::{ShotShown, Tint};

use crate::store::tints::{Kept, Purpose};

/// The can with its flags.
pub(super) fn with_flags(kept: Kept) -> Tint {
    let mut flags: Vec<String> = Vec::new();
    flags.extend(over_room(&kept));
    if let Some(reorder) = &kept.reorder {
        flag_reorder(&mut flags, &kept.tint, reorder);
    }
    if kept.tint.size != kept.formula_size {
        flags.push(format!(
            "the formula's amounts are for the size {}: not compared",
            kept.formula_size.human_name()
        ));
    } else if !same_amounts(&kept) {
        flags.push("amounts differ from the formula".to_owned());
    }
    if kept.tint.base.id != kept.formula_base.id {
        flags.push(format!(
            "base differs from the formula: {}, not {}",
            kept.tint.base.name, kept.formula_base.name
        ));
    }
    Tint { flags, ..kept.tint }
}

fn volume(shot: &ShotShown) -> Volume {
    Shots {
        count: shot.count,
        unit: shot.unit,
    }
    .volume()
}

fn over_room(kept: &Kept) -> Option<String> {
    let tint = &kept.tint;
    let Some(room) = kept.room else {
        return Some(format!(
            "base {} does not come in the size {}",
            tint.base.name,
            tint.size.human_name()
        ));
    };
    let total: Volume = tint.shots.iter().map(volume).sum();
    total.above(room.volume()).map(|over| {
        // What is over by less than 0.005 ml would read as 0.00 ml.
        let over = if over.hundredths_half_even() == 0 {
            format!("{} ml", over.exact_ml())
        } else {
            over.to_string()
        };
        format!("over the base's room by {over}: an overfilled can spills")
    })
}

fn flag_reorder(flags: &mut Vec<String>, tint: &Tint, reorder: &Purpose) {
    match reorder.state {
        ReorderState::Cancelled => flags.push("reorder was cancelled".to_owned()),
        ReorderState::Placed => flags.push("reorder was not yet being tinted".to_owned()),
        ReorderState::PickedUp => flags.push("reorder was picked up already".to_owned()),
        ReorderState::BeingTinted | ReorderState::Ready => {}
    }
    if reorder.cans_before >= i64::from(reorder.cans) {
        flags.push(format!(
            "reorder had all its cans already ({} of {})",
            reorder.cans_before, reorder.cans
        ));
    }
    if reorder.size != tint.size {
        flags.push(format!(
            "reorder asked for the size {}",
            reorder.size.human_name()
        ));
    }
    if reorder.other_revision {
        flags.push("reorder asked for another revision".to_owned());
    }
    if reorder.store.id != tint.store.id {
        flags.push(format!(
            "reorder is picked up at another store: {}",
            reorder.store.name
        ));
    }
}

/// By volume, not by count: 24 shots of 1/48 fl oz are 48 of 1/96.
fn same_amounts(kept: &Kept) -> bool {
    let really: BTreeMap<ColorantId, Volume> = kept
        .tint
        .shots
        .iter()
        .map(|shot| (shot.colorant_id, volume(shot)))
        .collect();
    let meant: BTreeMap<ColorantId, Volume> = kept
        .formula_amounts
        .iter()
        .map(|amount| (amount.colorant, amount.shots().volume()))
        .collect();
    really == meant
}
