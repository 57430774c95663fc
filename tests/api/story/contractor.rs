//! What a contractor does, and what he is kept from.

use uuid::Uuid;

use crate::desk::{Desk, Labelled, items, measured, text};
use crate::{NEIGHBOR, PAINTER};

impl Desk {
    pub(crate) fn sees_only_his_own(&self, lobby: &Labelled) {
        let matches = self.does(&["match", "list"]);
        let [only] = items(&matches) else {
            panic!("{matches}");
        };
        assert_eq!(only["id"], lobby.id.as_str());
        let opened = self.does(&["match", "show", &lobby.label]);
        assert_eq!(opened["customer"]["name"], PAINTER);
        // The drawdown's file names who read it: nothing for a contractor.
        assert!(!opened.to_string().contains("yard shift"), "{opened}");
        let customers = self.does(&["customer", "list"]);
        assert_eq!(items(&customers).len(), 1, "{customers}");
        // Searching the chain is for its staff.
        self.ends(3, &["customer", "find", NEIGHBOR]);
        self.ends(3, &["nearest", "--spectrum", &measured("lobby-chip.csv")]);
    }

    pub(crate) fn gets_one_answer_for_the_neighbor_s_and_for_nothing(&self, door: &Labelled) {
        let answer = |id: &str| {
            let mut said = self.ends(1, &["match", "show", id]);
            // What he typed himself, and the server's running number of the request.
            let error = said["error"].as_object_mut().unwrap();
            error.remove("value");
            error.remove("request_id");
            said
        };
        let missing = Uuid::now_v7().to_string();
        assert_eq!(answer(&door.id), answer(&missing));
        let order = |id: &str| {
            self.ends(
                1,
                &[
                    "reorder",
                    "place",
                    id,
                    "--size",
                    "quart",
                    "--store",
                    "South Gate",
                ],
            )["error"]["code"]
                .clone()
        };
        assert_eq!(order(&door.id), order(&missing));
    }

    pub(crate) fn orders_two_gallons_at_south_gate(&self, lobby: &Labelled) -> String {
        let placed = self.does(&[
            "reorder",
            "place",
            &lobby.label,
            "--size",
            "gallon",
            "--cans",
            "2",
            "--store",
            "South Gate",
        ]);
        assert_eq!(
            (&placed["cans"], &placed["state"]),
            (&2.into(), &"placed".into())
        );
        // Tinting is the store's work.
        self.ends(3, &["reorder", "advance", text(&placed, "id")]);
        text(&placed, "id").to_owned()
    }

    pub(crate) fn does_not_see(&self, other: &Labelled) {
        self.ends(1, &["match", "show", &other.id]);
        assert_eq!(items(&self.does(&["match", "list"])).len(), 1);
    }
}
