//! The demo, loaded into a real library.

use std::io;
use std::time::{Duration, Instant};

use formula::label::LabelCode;
use secondcan_server::demo::{DemoError, DemoLogin, Library, Loaded, generate, load, new_chip_csv};

use crate::support::Server;

/// Seconds that a load may take where other builds and tests keep the machine busy; on its own it takes a few.
const SOON: Duration = Duration::from_secs(60);

fn load_into(server: &Server) -> (Result<Loaded, DemoError>, Vec<(String, String)>) {
    let mut kept = Vec::new();
    let keep = |logins: &[DemoLogin]| {
        kept = logins
            .iter()
            .map(|login| (login.login.to_string(), login.password.to_string()))
            .collect();
        Ok(())
    };
    let loaded = server.wait_for(load(&server.app.db, &server.app.passwords, keep));
    (loaded, kept)
}

fn count(server: &Server, table: &str) -> usize {
    server
        .sql_text(&format!("SELECT count(*) FROM {table}"))
        .unwrap()
        .parse()
        .unwrap()
}

#[test]
fn an_empty_library_takes_the_demo_once() {
    let server = Server::start();
    let began = Instant::now();
    let (loaded, logins) = load_into(&server);
    let took = began.elapsed();
    let library: Library = generate().unwrap();
    assert_eq!(
        loaded.unwrap(),
        Loaded::Fresh {
            matches: library.matches.len(),
            customers: library.customers.len()
        }
    );
    assert!(took < SOON, "loading took {took:?}");
    assert_eq!(logins.len(), library.persons.len());
    assert!(logins.iter().all(|(_, password)| password.len() >= 15));

    let rows = [
        ("match", library.matches.len()),
        ("revision", library.revisions.len()),
        ("drawdown", library.drawdowns.len()),
        (
            "measurement",
            library.matches.len() + library.drawdowns.len(),
        ),
        (
            "measurement_color",
            library.matches.len() + library.drawdowns.len(),
        ),
        ("note", library.notes.len()),
        ("customer", library.customers.len()),
        ("customer_name", library.customers.len()),
        ("reorder", library.reorders.len()),
        ("tint", library.tints.len()),
        ("tint_fault", 1),
    ];
    for (table, expected) in rows {
        assert_eq!(count(&server, table), expected, "{table}");
    }
    // Each record is in the change log, so that branches pull it.
    for kind in [
        "match",
        "revision",
        "drawdown",
        "note",
        "customer",
        "reorder",
        "tint",
        "tint_fault",
        "job",
        "person",
    ] {
        let logged = count(
            &server,
            &format!("change_log WHERE kind = '{kind}' AND op = 'insert'"),
        );
        assert_eq!(logged, count(&server, kind), "{kind}");
    }

    let head = server.sql_text("SELECT max(seq) FROM change_log");
    let (again, none) = load_into(&server);
    assert_eq!(again.unwrap(), Loaded::AlreadyThere);
    assert!(none.is_empty());
    assert_eq!(server.sql_text("SELECT max(seq) FROM change_log"), head);

    // What the demo stores is what the program computes and the wire can carry.
    let drawdown = library
        .drawdowns
        .iter()
        .find(|row| row.match_id == library.story.made_at_north)
        .unwrap();
    let read = drawdown.drawdown.measurement.id;
    let stored = server
        .sql_text(&format!(
            "SELECT array_to_string(reflectance, ',') FROM measurement WHERE id = '{read}'"
        ))
        .unwrap();
    let values: Vec<f32> = stored
        .split(',')
        .map(|value| value.parse().unwrap())
        .collect();
    let expected: Vec<f32> = drawdown
        .drawdown
        .measurement
        .spectrum
        .values
        .iter()
        .map(|&value| value as f32)
        .collect();
    assert_eq!(values, expected);
    let method = server.sql_text(&format!(
        "SELECT method FROM measurement_color WHERE measurement_id = '{read}'"
    ));
    assert_eq!(method.as_deref(), Some(color::METHOD));

    the_story_works(&server, &library, &logins);
    nothing_personal_in_immutable_tables(&server);
}

/// A clerk at South, with the password printed, finds the painter by the misspelled name and opens North's match.
fn the_story_works(server: &Server, library: &Library, logins: &[(String, String)]) {
    let story = &library.story;
    let (login, password) = logins
        .iter()
        .find(|(login, _)| login == "clerk.south")
        .unwrap();
    let mut clerk = server.anybody();
    clerk
        .log_in(login, password, Some(&story.south.to_string()))
        .is(200);

    let query = story.misspelled.replace(' ', "%20");
    let found = clerk.get(&format!("/customers/find?q={query}")).is(200);
    assert_eq!(found.text("/items/0/id"), story.painter.to_string());
    assert_eq!(found.text("/items/0/store/name"), "North");

    let opened = clerk
        .get(&format!("/matches/{}", story.made_at_north))
        .is(200);
    assert_eq!(opened.text("/store/name"), "North");
    assert_eq!(
        opened.text("/label_code"),
        LabelCode::from(story.made_at_north).to_string()
    );
    assert_eq!(opened.text("/revisions/0/produced/basis"), "drawdown");

    let chip = new_chip_csv(library).unwrap();
    let file =
        color::read_spectra(chip.as_bytes(), &color::exchange::ReadOptions::default()).unwrap();
    let spectrum = &file.readings[0].spectrum;
    let ask = serde_json::json!({
        "spectrum": formula::wire::v1::SpectrumValues::from(spectrum),
        "limit": 3,
    });
    let nearest = clerk.post("/nearest", ask).is(200);
    assert_eq!(
        nearest.text("/results/0/match_id"),
        story.made_at_north.to_string()
    );
    assert_eq!(nearest.body["results"][0]["verified"], true);
}

fn nothing_personal_in_immutable_tables(server: &Server) {
    let personal = server
        .sql_text(
            "SELECT string_agg(text, E'\\n') FROM (
                 SELECT name FROM customer WHERE length(name) > 3 UNION SELECT label FROM job
                 UNION SELECT e164 FROM customer_phone UNION SELECT body FROM note
                 UNION SELECT display_name FROM person UNION SELECT login FROM person WHERE length(login) > 5
             ) AS personal (text)",
        )
        .unwrap()
        .to_lowercase();
    assert!(personal.lines().count() > 100);
    for table in [
        "measurement",
        "revision",
        "revision_shot",
        "drawdown",
        "tint",
        "tint_shot",
        "tint_fault",
        "reorder_step",
        "calibration",
    ] {
        // Spectra are numbers by their type and would make the texts ten times as long.
        let all = format!(
            "SELECT string_agg((to_jsonb(t) - 'reflectance' - 'as_read')::text, ' ') FROM {table} AS t"
        );
        let rows = server.sql_text(&all).unwrap().to_lowercase();
        for text in personal.lines() {
            assert!(!rows.contains(text), "{table} holds {text:?}");
        }
    }
}

#[test]
fn a_library_in_use_is_left_alone() {
    let server = Server::start();
    server.store("Ferry Lane");
    let before = server.sql_text("SELECT max(seq) FROM change_log");
    let (refused, logins) = load_into(&server);
    assert!(matches!(refused, Err(DemoError::NotEmpty)));
    assert!(refused.unwrap_err().to_string().contains("empty library"));
    assert!(logins.is_empty());
    assert_eq!(server.sql_text("SELECT max(seq) FROM change_log"), before);
}

/// A demo whose passwords nobody has is of no use.
#[test]
fn logins_that_cannot_be_kept_undo_the_load() {
    let server = Server::start();
    let keep = |_: &[DemoLogin]| Err(io::Error::other("disk full"));
    let refused = server.wait_for(load(&server.app.db, &server.app.passwords, keep));
    assert!(matches!(refused, Err(DemoError::Handover(_))));
    assert_eq!(count(&server, "store"), 0);
    assert_eq!(count(&server, "change_log"), 0);
    // The next try goes through.
    assert!(matches!(
        load_into(&server).0.unwrap(),
        Loaded::Fresh { .. }
    ));
}
