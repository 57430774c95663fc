//! Starts, tiles, corrections and accepted readings, walked.

use harness::chain::{MADE_AT, id_of, measurement, new_id};
use harness::http::{Answer, Client};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{Walk, Whose};

fn new_tile(store: Uuid) -> Value {
    let id = new_id();
    json!({ "id": id, "store_id": store, "name": format!("tile {}", id.simple()) })
}

fn tile_reading(tile: Uuid, measured: Value) -> Value {
    json!({ "id": new_id(), "tile_id": tile, "spectrum": measured["spectrum"], "read_at": MADE_AT })
}

impl Walk<'_> {
    /// The answer to a route of this file; none for any other.
    pub(super) fn instrument_care(
        &self,
        client: &Client,
        method: &str,
        path: &str,
        whose: Whose,
    ) -> Option<Answer> {
        let post = |path: &str, body: Value| client.post(path, &body);
        let get = |path: String| client.get(&path);
        let answer = match (method, path) {
            ("POST", "/instruments/{id}/starts") => {
                let path = format!("/instruments/{}/starts", self.instrument(whose));
                post(&path, json!({ "id": new_id(), "switched_on_at": MADE_AT }))
            }
            ("GET", "/instruments/{id}/tile-readings") => get(format!(
                "/instruments/{}/tile-readings",
                self.instrument(whose)
            )),
            ("POST", "/instruments/{id}/tile-readings") => {
                let path = format!("/instruments/{}/tile-readings", self.instrument(whose));
                post(&path, tile_reading(self.tile(Whose::Own), measurement(0.3)))
            }
            ("POST", "/tiles") => post(path, new_tile(self.chain.north)),
            ("GET", "/tiles/{id}") => get(format!("/tiles/{}", self.tile(whose))),
            ("PATCH", "/tiles/{id}") => {
                let path = format!("/tiles/{}", self.tile(whose));
                client.patch(&path, self.version(&path, whose), &json!({ "hue": "red" }))
            }
            ("POST", "/corrections") => post(path, self.new_correction()),
            ("GET", "/corrections/{id}") => get(format!("/corrections/{}", self.correction(whose))),
            ("POST", "/corrections/{id}/retire") => {
                let path = format!("/corrections/{}/retire", self.correction(whose));
                client.ask("POST", &path).fresh_key().send()
            }
            ("POST", "/measurements/{id}/accept") => post(
                &format!("/measurements/{}/accept", self.marked_measurement(whose)),
                json!({ "id": new_id() }),
            ),
            _ => return None,
        };
        Some(answer)
    }

    fn tile(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let new = new_tile(self.store(whose));
        id_of(&self.chain.admin.client.post("/tiles", &new).expect(201))
    }

    /// Two instruments of the north that read a dozen grays apart, and what it takes to correct one to the other.
    fn new_correction(&self) -> Value {
        let (one, other) = (self.instrument(Whose::Own), self.instrument(Whose::Own));
        for level in 1..=12 {
            let tile = self.tile(Whose::Own);
            let reads = 0.07 * f64::from(level);
            for (instrument, value) in [(one, reads * 0.98 - 0.004), (other, reads)] {
                let path = format!("/instruments/{instrument}/tile-readings");
                let new = tile_reading(tile, measurement(value));
                self.chain.admin.client.post(&path, &new).expect(201);
            }
        }
        json!({ "id": new_id(), "instrument_id": one, "reference_id": other, "read_since": MADE_AT })
    }

    fn correction(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let new = self.new_correction();
        id_of(
            &self
                .chain
                .color_lead
                .client
                .post("/corrections", &new)
                .expect(201),
        )
    }

    /// A sample read on an instrument that was never calibrated.
    fn marked_measurement(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let mut new = self.chain.new_match(self.customer(whose));
        new["sample"]["instrument_id"] = json!(self.instrument(whose));
        let recorded = self.clerk(whose).client.post("/matches", &new).expect(201);
        id_of(&recorded["sample"]["read"])
    }
}
