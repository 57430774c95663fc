//! Lights of a store, a match under them, readings one by one, and formulas found that part under a shop's light.

use serde_json::{Value, json};

use crate::chain::{Chain, MADE_AT, texts};
use crate::support::{Client, new_id};

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

/// The sample of the chain's match.
fn wanted() -> Vec<f64> {
    (0..31).map(|band| 0.2 + 0.01 * f64::from(band)).collect()
}

/// Near it in daylight, by other pigments.
fn other_pigments() -> Vec<f64> {
    let bands = wanted().into_iter().zip(0..);
    bands
        .map(|(value, band)| value + 0.03 * (f64::from(band) * 10.0 / 35.0).sin())
        .collect()
}

fn measured(values: &[f64]) -> Value {
    json!({ "id": new_id(), "spectrum": { "start_nm": 400, "step_nm": 10, "values": values },
        "read_as": "fraction", "readings": 1 })
}

fn draw_down(chain: &Chain, measurement: Value) {
    let new =
        json!({ "id": new_id(), "measurement": measurement, "dry": true, "made_at": MADE_AT });
    let path = format!("/revisions/{}/drawdowns", chain.revision);
    chain.clerk.post(&path, new).is(201);
}

fn lights(client: &Client, store: &str) -> Value {
    client.get(&format!("/stores/{store}")).is(200).body["lights"].clone()
}

#[test]
fn a_store_judges_under_d65_a_and_led_b3_until_its_manager_chooses_others() {
    let chain = Chain::open();
    let path = format!("/stores/{}", chain.quay);
    assert_eq!(
        lights(&chain.clerk, &chain.quay),
        json!(["D65", "A", "LED-B3"])
    );
    let (own, foreign) = (
        chain.server.manager(&chain.quay),
        chain.server.manager(&chain.mill),
    );
    let choose = json!({ "lights": ["D65", "F11"] });
    chain
        .clerk
        .patch(&path, 1, choose.clone())
        .refused(403, "not-allowed");
    foreign
        .patch(&path, 1, choose.clone())
        .refused(403, "not-allowed");
    let rename = json!({ "lights": ["D65"], "name": "Alder Pier" });
    own.patch(&path, 1, rename).refused(403, "not-allowed");
    let saved = own.patch(&path, 1, choose).is(200);
    assert_eq!(saved.version(), 2);
    assert_eq!(lights(&chain.clerk, &chain.quay), json!(["D65", "F11"]));
    for bad in [json!([]), json!(["A", "A"])] {
        own.patch(&path, 2, json!({ "lights": bad }))
            .refused(422, "invalid-value");
    }
    own.patch(&path, 2, json!({ "lights": ["D66"] }))
        .refused(422, "invalid-value");
    chain
        .server
        .admin()
        .patch(&path, 2, json!({ "lights": ["C"] }))
        .is(200);
}

#[test]
fn a_match_is_seen_under_the_lights_of_the_clerk_s_store() {
    let chain = Chain::open();
    let path = format!("/matches/{}", chain.wanted);
    let opened = chain.clerk.get(&path).is(200).body;
    let seen = opened["lights"].as_array().unwrap();
    assert_eq!(seen.len(), 3);
    assert!(seen.iter().all(|one| one.get("produced").is_none()));
    assert_eq!(seen[0]["wanted"], opened["sample"]["lab"]);
    assert_ne!(seen[1]["wanted"], seen[0]["wanted"]);

    draw_down(&chain, measured(&other_pigments()));
    chain
        .server
        .manager(&chain.mill)
        .patch(
            &format!("/stores/{}", chain.mill),
            1,
            json!({ "lights": ["D65", "F11"] }),
        )
        .is(200);
    let opened = chain.miller.get(&path).is(200).body;
    let seen = opened["lights"].as_array().unwrap();
    assert_eq!(seen.len(), 2);
    assert_eq!(seen[1]["light"], "F11");
    assert!(seen[0].get("metamerism").is_none());
    let index = &seen[1]["metamerism"];
    for part in [
        "multiplicative_de2000",
        "multiplicative_de76",
        "additive_de2000",
        "additive_de76",
    ] {
        assert!(number(&index[part]) > 0.1, "{index}");
    }
    let from_wanted = &opened["revisions"][0]["drawdowns"][0]["de2000_from_wanted"];
    assert!((number(&seen[0]["de2000"]) - number(from_wanted)).abs() < 1e-6);
    // A contractor stands at no counter: the lights are those of the store that made the match.
    let contractor = chain.contractor_of(&chain.customer);
    let opened = contractor.get(&path).is(200).body;
    assert_eq!(opened["lights"].as_array().unwrap().len(), 3);
}

#[test]
fn unlike_readings_are_told_wherever_they_are_compared() {
    let chain = Chain::open();
    let mut drawdown = measured(&other_pigments());
    drawdown["geometry"] = json!("45:0");
    draw_down(&chain, drawdown);
    let opened = chain
        .clerk
        .get(&format!("/matches/{}", chain.wanted))
        .is(200);
    let warnings = texts(&opened, "warnings");
    assert!(
        warnings[0].contains("geometry is known of one reading only"),
        "{warnings:?}"
    );

    let mut ask = json!({ "spectrum": { "start_nm": 400, "step_nm": 10, "values": wanted() } });
    let silent = chain.clerk.post("/nearest", ask.clone()).is(200).body;
    assert!(silent["results"][0].get("warnings").is_none());
    ask["geometry"] = json!("d:8");
    ask["specular"] = json!("included");
    let told = chain.clerk.post("/nearest", ask).is(200).body;
    let warning = told["results"][0]["warnings"][0].as_str().unwrap();
    assert!(warning.contains("d:8 and at 45:0"), "{warning}");
}

#[test]
fn a_formula_that_parts_under_a_shop_light_is_flagged() {
    let chain = Chain::open();
    let ask = |body: Value| chain.clerk.post("/nearest", body).is(200).body["results"][0].clone();
    let by_spectrum = |values: &[f64]| {
        ask(json!({ "spectrum": { "start_nm": 400, "step_nm": 10, "values": values } }))
    };
    // Never drawn down: what its pigments do under other lights is not known.
    let hit = by_spectrum(&wanted());
    assert_eq!(hit["shop_light"]["state"], "unjudged");
    draw_down(&chain, measured(&wanted()));
    let hit = by_spectrum(&wanted());
    assert_eq!(hit["shop_light"]["state"], "judged");
    assert_eq!(hit["shop_light"]["parts"], false);
    assert!(number(&hit["shop_light"]["worst"]["de2000"]) < 1e-3);
    let hit = ask(json!({ "lab": hit["lab"] }));
    assert_eq!(hit["shop_light"]["state"], "unjudged");
    assert!(
        hit["shop_light"]["why"]
            .as_str()
            .unwrap()
            .contains("not a spectrum")
    );

    // The same color in daylight, another spectrum: moved along a metameric black, found by taking out of a wave what
    // X, Y and Z of D65 see of it.
    let metamer = chain_of_metamers();
    let hit = by_spectrum(&metamer);
    assert!(number(&hit["de2000"]) < 0.05, "{hit}");
    assert_eq!(hit["shop_light"]["parts"], true, "{hit}");
    let worst = &hit["shop_light"]["worst"];
    assert_ne!(worst["light"], "D65");
    assert!(number(&worst["de2000"]) > 0.5, "{worst}");
}

/// The chain's sample plus a metameric black under D65 and 10°: a wave less its part in the space of the three weights,
/// by Gram and Schmidt (Wyszecki & Stiles, Color Science, 3.8).
fn chain_of_metamers() -> Vec<f64> {
    use color::{Ends, Spectrum, Viewing};
    let seen = |values: Vec<f64>| -> [f64; 3] {
        let spectrum = Spectrum::new(400, 10, values, Ends::Refuse).unwrap();
        spectrum.xyz(Viewing::default()).into()
    };
    let unit = |at: usize| {
        (0..31)
            .map(|band| f64::from(u8::from(band == at)))
            .collect()
    };
    let weights: Vec<[f64; 3]> = (0..31).map(|at| seen(unit(at))).collect();
    let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for part in 0..3 {
        let mut axis: Vec<f64> = weights.iter().map(|weight| weight[part]).collect();
        for before in &basis {
            let along = dot(&axis, before);
            axis.iter_mut()
                .zip(before)
                .for_each(|(x, y)| *x -= along * y);
        }
        let length = dot(&axis, &axis).sqrt();
        basis.push(axis.into_iter().map(|x| x / length).collect());
    }
    let mut wave: Vec<f64> = (0..31).map(|band| (f64::from(band) * 0.5).sin()).collect();
    for axis in &basis {
        let along = dot(&wave, axis);
        wave.iter_mut().zip(axis).for_each(|(x, y)| *x -= along * y);
    }
    wanted()
        .iter()
        .zip(&wave)
        .map(|(value, black)| value + 0.08 * black)
        .collect()
}

#[test]
fn readings_are_kept_one_by_one_beside_their_average() {
    let chain = Chain::open();
    let levels = [0.400, 0.401, 0.399, 0.430, 0.4005];
    let each: Vec<Vec<f64>> = levels.iter().map(|level| vec![*level; 31]).collect();
    let mean = levels.iter().sum::<f64>() / 5.0;
    let mut sample = measured(&vec![mean; 31]);
    sample["readings"] = json!(5);
    sample["each"] = json!(each);
    sample["gloss60"] = json!(22.0);
    let record = |sample: &Value| {
        let new = json!({ "id": new_id(), "customer_id": chain.customer, "product_id": chain.product,
            "sheen_id": chain.sheen, "sample": sample, "made_at": MADE_AT });
        chain.clerk.post("/matches", new)
    };
    let recorded = record(&sample).is(201);
    let opened = chain
        .clerk
        .get(&format!("/matches/{}", recorded.text("/id")))
        .is(200)
        .body;
    let kept = &opened["sample"];
    assert_eq!(kept["read"]["each"], json!(each));
    assert_eq!(kept["spread"]["readings"], 5);
    assert_eq!(kept["spread"]["outlier"]["at"], 3);
    assert!(number(&kept["spread"]["mcdm"]["de2000"]) > 0.1);
    assert_eq!(kept["gloss_level"]["levels"], json!(["G3", "G4"]));

    let refused = |change: &dyn Fn(&mut Value)| {
        let mut bad = sample.clone();
        bad["id"] = json!(new_id());
        change(&mut bad);
        record(&bad).refused(422, "invalid-value").body
    };
    refused(&|bad| bad["readings"] = json!(4));
    let problem = refused(&|bad| bad["spectrum"]["values"] = json!(vec![0.41; 31]));
    assert!(problem.to_string().contains("average"), "{problem}");
    refused(&|bad| bad["each"][2][0] = json!(-1.0));
    refused(&|bad| bad["each"][2] = json!([0.4, 0.4]));
}
