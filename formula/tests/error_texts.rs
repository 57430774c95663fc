//! Every refusal as a person reads it: field, what is wrong, what to do.

use std::fmt::Write as _;

use formula::base::BaseRoom;
use formula::colorant::ColourIndexName;
use formula::id::{BaseId, ColorantId, IdempotencyKey, MatchId, SheenId};
use formula::label::LabelCode;
use formula::naming::{CustomerName, JobLabel, LoginName, Note, PersonName};
use formula::phone::{PhoneNumber, PhoneQuery, PhoneRegion, TypedPhone};
use formula::quantity::{CanSize, Centiml, ExactMl, ShotCount, ShotUnit};
use formula::reorder::ReorderState;
use formula::revision::{Amount, BaseOffer, Formula};
use formula::role::Role;

/// Collects what went wrong; a success fails the test.
#[derive(Default)]
struct Refusals(String);

impl Refusals {
    fn add<T: std::fmt::Debug, E: std::fmt::Display>(&mut self, outcome: Result<T, E>) {
        match outcome {
            Ok(value) => panic!("{value:?} should have been refused"),
            Err(error) => {
                let _ = writeln!(self.0, "{error}");
            }
        }
    }
}

#[test]
fn texts_and_numbers() {
    let mut refused = Refusals::default();
    refused.add("match 7".parse::<MatchId>());
    refused.add("3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60".parse::<MatchId>());
    refused.add("00000000-0000-0000-0000-000000000000".parse::<IdempotencyKey>());
    refused.add("7K3QF-9XW2D".parse::<LabelCode>());
    refused.add("7K3QF-9XU2D-Q".parse::<LabelCode>());
    refused.add("7K3QF-9XW2D-7".parse::<LabelCode>());
    refused.add("7".repeat(60).parse::<LabelCode>());
    refused.add(ShotCount::new(0));
    refused.add(ShotCount::new(-3));
    refused.add(serde_json::from_str::<ShotCount>("2.5"));
    refused.add(serde_json::from_str::<ShotCount>("1e30"));
    refused.add(serde_json::from_str::<ShotCount>("\"two\""));
    refused.add(Centiml::new(10_000_001));
    refused.add("1,5".parse::<ExactMl>());
    refused.add("1/64 fl oz".parse::<ShotUnit>());
    refused.add("bucket".parse::<CanSize>());
    refused.add("owner".parse::<Role>());
    refused.add("Y42".parse::<ColourIndexName>());
    insta::assert_snapshot!(refused.0);
}

#[test]
fn names_and_phones() {
    let mut refused = Refusals::default();
    refused.add(" \u{200b}".parse::<CustomerName>());
    refused.add("x".repeat(10_000).parse::<CustomerName>());
    refused.add("Ann\0".parse::<PersonName>());
    refused.add("Lobby\ncoat".parse::<JobLabel>());
    refused.add("\u{202e}nnA".parse::<PersonName>());
    refused.add("a\u{7}b".parse::<Note>());
    refused.add(serde_json::from_str::<CustomerName>("17"));
    refused.add("a".parse::<LoginName>());
    refused.add("ann tamm".parse::<LoginName>());
    let typed = |text| PhoneNumber::from_typed(text, PhoneRegion::UnitedStates);
    refused.add(typed("555-0142"));
    refused.add(typed("303-555-0142 ext 7"));
    refused.add(typed("+44"));
    refused.add(typed("103 555 01423"));
    refused.add(typed("003 555 0142"));
    refused.add("0".repeat(41).parse::<TypedPhone>());
    refused.add("303-555-0142".parse::<PhoneNumber>());
    refused.add(PhoneQuery::from_typed("42", PhoneRegion::UnitedStates));
    insta::assert_snapshot!(refused.0);
}

#[test]
fn formulas_and_reorders() {
    let mut refused = Refusals::default();
    let colorant = |n| ColorantId::from_parts(1_700_000_000_000, [n; 10]);
    let centiml = |count: u32| Centiml::new(count).unwrap();
    let formula = |colorants: &[u8], count: u32| {
        Formula::new(
            BaseId::from_parts(1_700_000_000_000, [1; 10]),
            SheenId::from_parts(1_700_000_000_000, [2; 10]),
            CanSize::Quart,
            colorants
                .iter()
                .map(|&n| Amount {
                    colorant: colorant(n),
                    count: ShotCount::new(count).unwrap(),
                    unit: ShotUnit::FlOz48,
                })
                .collect(),
        )
    };
    refused.add(formula(&[1, 2, 1], 3));
    refused.add(formula(&(0..25).collect::<Vec<u8>>(), 3));
    refused.add(BaseRoom::new(CanSize::Quart, centiml(0), centiml(10)));
    refused.add(BaseRoom::new(
        CanSize::Quart,
        centiml(94_000),
        centiml(1_000),
    ));
    let names = ["light", "deep"].map(|name| name.parse().unwrap());
    let light = [
        BaseRoom::new(CanSize::Quart, centiml(92_000), centiml(1_479)).unwrap(),
        BaseRoom::new(CanSize::Gallon, centiml(370_000), centiml(5_915)).unwrap(),
    ];
    let deep = [BaseRoom::new(CanSize::Quart, centiml(88_000), centiml(5_914)).unwrap()];
    let light = BaseOffer {
        name: &names[0],
        rooms: &light,
    };
    let deep = BaseOffer {
        name: &names[1],
        rooms: &deep,
    };
    let none = BaseOffer {
        name: &names[1],
        rooms: &[],
    };
    let known = |id| id != colorant(9);
    refused.add(formula(&[1, 9], 3).unwrap().check(light, &[], known));
    refused.add(formula(&[1, 2], 24).unwrap().check(light, &[deep], known));
    refused.add(formula(&[1, 2], 24).unwrap().check(light, &[], known));
    // 48 shots of 1/48 fl oz are 29.5735295625 ml: a rounded excess would read as nothing.
    let close = [BaseRoom::new(CanSize::Quart, centiml(90_000), centiml(2_957)).unwrap()];
    let close = BaseOffer {
        name: &names[0],
        rooms: &close,
    };
    refused.add(formula(&[1], 48).unwrap().check(close, &[], known));
    let gallon_only = BaseOffer {
        name: &names[0],
        rooms: &light.rooms[1..],
    };
    refused.add(formula(&[1], 24).unwrap().check(gallon_only, &[], known));
    refused.add(formula(&[1], 24).unwrap().check(none, &[], known));
    for (from, to) in [
        (ReorderState::Placed, ReorderState::PickedUp),
        (ReorderState::Ready, ReorderState::Placed),
        (ReorderState::Cancelled, ReorderState::BeingTinted),
        (ReorderState::PickedUp, ReorderState::Cancelled),
    ] {
        refused.add(from.advance(to));
    }
    insta::assert_snapshot!(refused.0);
}
