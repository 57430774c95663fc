//! The main job from end to end, through real processes: a server with its own Postgres, and a CLI for each person.
//! This file tells it; the files of `story/` say how each step is done.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops at the first surprise, with its place"
)]

#[path = "story/contractor.rs"]
mod contractor;
#[path = "story/counter.rs"]
mod counter;
#[path = "story/desk.rs"]
mod desk;
#[path = "story/instrument.rs"]
mod instrument;
#[path = "story/management.rs"]
mod management;

use desk::Chain;

const PAINTER: &str = "Brannock & Daughters Painting";
const NEIGHBOR: &str = "Odile Tamm";
const ANOTHER: &str = "Marisol Quist";

#[test]
fn a_match_made_at_north_quay_is_tinted_again_at_south_gate() {
    let (chain, token) = Chain::opens_its_server();
    let admin = chain.the_first_admin_claims_the_chain(&token);
    admin.adds_stores(&["North Quay", "South Gate"]);
    let north = chain.somebody_starts(&admin, "tomas", "Tomas Reyk", "clerk", &["North Quay"]);
    let south = chain.somebody_starts(&admin, "nadia", "Nadia Oduya", "clerk", &["South Gate"]);
    let manager = chain.somebody_starts(
        &admin,
        "petra",
        "Petra Lindqvist",
        "manager",
        &["North Quay", "South Gate"],
    );
    let lead = chain.somebody_starts(&admin, "juno", "Juno Ardal", "color-lead", &["North Quay"]);
    let painter = chain.somebody_starts(&admin, "brannock", "Ivo Brannock", "contractor", &[]);
    lead.puts_paint_on_the_shelf();

    north.changes_the_password(&chain.somebody_is_back("tomas", Some("North Quay")));

    manager.registers_an_instrument_and_its_tiles();
    north.gets_the_instrument_ready();
    north.verifies_the_instrument();
    lead.corrects_nothing_without_a_second_instrument();

    // North Quay: a painter brings a chip for a hotel's lobby; a neighbor wants her front door.
    let lobby = north.records_the_lobby();
    let door = north.records_the_front_door();
    manager.links(&painter, PAINTER);

    // South Gate: the painter rings, badly understood; the can's label is read out, badly too.
    south.finds_the_customer_by_a_misspelled_name();
    south.finds_the_match_by_name_and_job(&lobby);
    south.is_told_of_a_mistyped_label_and_corrects_it(&lobby);
    south.finds_the_chip_s_own_match_not_yet_verified(&lobby);

    // A drawdown is measured when it is dry; then the formula is proven.
    north.draws_the_lobby_down(&lobby);
    south.sees_the_lobby_verified(&lobby);

    // The second can.
    let order = south.places_a_reorder(&lobby);
    south.tints_it_with_lots(&order, &lobby);
    north.cannot_hand_out_what_is_picked_up_elsewhere(&order);
    south.hands_it_over(&order);

    // The painter sees his own and nobody else's, and orders by himself.
    painter.sees_only_his_own(&lobby);
    painter.gets_one_answer_for_the_neighbor_s_and_for_nothing(&door);
    let own_order = painter.orders_two_gallons_at_south_gate(&lobby);
    south.finds_the_order_among_those_placed(&own_order);

    // Another customer, another sample, nearly the same color: the formula is reused.
    let cushion = south.reuses_the_lobby_for_another_customer(&lobby);
    painter.does_not_see(&cushion);
    admin.reads_that_south_opened_north_s_match(&lobby);

    south.is_shown_the_same_as_ever(&lobby);

    admin.suspends(&south);

    // A night passes: the server stops and starts again.
    let before = north.everything_known_of(&lobby);
    let chain = chain.closes_and_opens_again();
    let north = chain.somebody_is_back("tomas", Some("North Quay"));
    assert_eq!(north.everything_known_of(&lobby), before);
    chain.nobody_lets_in("nadia");
}
