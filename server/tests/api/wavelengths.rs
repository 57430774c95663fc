//! Spectra whose wavelengths are no even grid: kept as they were read, and compared like any other.

use serde_json::{Value, json};

use crate::chain::{Chain, MADE_AT};
use crate::support::new_id;

/// Ten nanometers in three, as some instruments read.
fn thirds() -> Vec<f64> {
    (0..106)
        .map(|i| 380.0 + 10.0 / 3.0 * f64::from(i))
        .collect()
}

fn reflectance(nms: &[f64]) -> Vec<f64> {
    nms.iter()
        .map(|nm| ((0.3 + 0.2 * (nm / 60.0).sin()) * 1e4).round() / 1e4)
        .collect()
}

fn wanted(chain: &Chain, spectrum: &Value) -> Value {
    json!({
        "id": new_id(), "customer_id": chain.customer, "product_id": chain.product, "sheen_id": chain.sheen,
        "sample": { "id": new_id(), "spectrum": spectrum, "read_as": "fraction", "readings": 1 },
        "formula": { "id": new_id(), "base_id": chain.light, "sheen_id": chain.sheen, "size": "quart",
            "shots": [{ "colorant_id": chain.yellow, "count": 24, "unit": "1/48 fl oz" }] },
        "made_at": MADE_AT,
    })
}

#[test]
fn uneven_wavelengths_are_kept_and_found_again() {
    let chain = Chain::open();
    let nms = thirds();
    let spectrum = json!({ "wavelengths_nm": nms, "values": reflectance(&nms) });
    let recorded = chain
        .clerk
        .post("/matches", wanted(&chain, &spectrum))
        .is(201);
    let path = format!("/matches/{}", recorded.text("/id"));
    let kept = chain.clerk.get(&path).is(200);
    // Every wavelength to the last digit, and no step that nobody read.
    assert_eq!(kept.body["sample"]["read"]["spectrum"], spectrum);

    let checked = color::Spectrum::at(
        color::Wavelengths::new(&nms).unwrap(),
        reflectance(&nms),
        color::Ends::Refuse,
    );
    let lab = checked.unwrap().lab(color::Viewing::default());
    assert_eq!(kept.body["sample"]["lab"], json!(lab));

    // The same chip on an instrument of even steps: the nearest is the match, hardly apart.
    let even: Vec<f64> = (0..36).map(|i| 380.0 + 10.0 * f64::from(i)).collect();
    for ask in [
        spectrum,
        json!({ "start_nm": 380, "step_nm": 10, "values": reflectance(&even) }),
        json!({ "wavelengths_nm": even, "values": reflectance(&even) }),
    ] {
        let near = chain
            .clerk
            .post("/nearest", json!({ "spectrum": ask, "limit": 1 }))
            .is(200);
        assert_eq!(
            near.text("/results/0/match_id"),
            recorded.text("/id"),
            "{ask}"
        );
        let apart = near.body["results"][0]["de2000"].as_f64().unwrap();
        assert!(apart < 0.05, "{apart} for {ask}");
    }
}

/// The database itself keeps no half of either form.
#[test]
fn a_measurement_has_a_step_or_its_wavelengths() {
    let chain = Chain::open();
    let insert = |start: &str, step: &str, wavelengths: &str| {
        format!(
            "INSERT INTO measurement (id, start_nm, step_nm, wavelengths_nm, reflectance, as_read, read_as,
                                      ends_extended, readings, made_by, store_id)
             SELECT gen_random_uuid(), {start}, {step}, {wavelengths}, '{{0.5,0.5}}', '{{}}', 'fraction', false, 1,
                    created_by, store_id
             FROM customer WHERE id = '{}'",
            chain.customer
        )
    };
    // Ends well only when the check stops the row.
    let refused = |sql: String| {
        chain.server.sql(&format!(
            "DO $$ BEGIN {sql}; RAISE EXCEPTION 'kept'; EXCEPTION WHEN check_violation THEN NULL; END $$"
        ));
    };
    refused(insert("400", "NULL", "NULL"));
    refused(insert("400", "10", "'{400,410}'"));
    refused(insert("400", "NULL", "'{400,410,420}'"));
    refused(insert("400", "NULL", "'{400,NULL}'"));
    refused(insert("410", "NULL", "'{400,410}'"));
    chain.server.sql(&insert("400", "NULL", "'{400,410}'"));
    chain.server.sql(&insert("400", "10", "NULL"));
}
