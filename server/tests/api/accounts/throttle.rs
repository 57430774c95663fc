use std::net::IpAddr;

use formula::wire::v1::LoginRequest;
use secondcan_server::app::AppError;

use crate::support::{PASSWORD, Server};

const WRONG: &str = "plum gutter seven violas";

/// A login from another address than this machine's.
fn from(server: &Server, address: &str, login: &str, password: &str) -> Result<(), AppError> {
    let request = LoginRequest {
        login: login.to_owned(),
        password: password.to_owned(),
        store_id: None,
    };
    let address: IpAddr = address.parse().unwrap();
    server
        .wait_for(server.app.log_in(request, address))
        .map(|_| ())
}

/// As if the delays were over.
fn time_passes(server: &Server) {
    server.sql(
        "UPDATE login_throttle SET open_again_at = now() - interval '1 second' WHERE failures > 0",
    );
}

#[test]
fn guesses_are_slowed_more_and_more_and_the_right_password_ends_it() {
    let server = Server::start();
    server.admin();
    let mut client = server.anybody();
    for _ in 0..5 {
        client.log_in("root.admin", WRONG, None).is(401);
    }
    let answer = client
        .log_in("root.admin", PASSWORD, None)
        .refused(429, "too-many-tries");
    assert_eq!(answer.headers["retry-after"], "1");
    let mut last = 0;
    for _ in 0..12 {
        time_passes(&server);
        client.log_in("root.admin", WRONG, None).is(401);
        let answer = client.log_in("root.admin", PASSWORD, None).is(429);
        let wait: u64 = answer.headers["retry-after"]
            .to_str()
            .unwrap()
            .parse()
            .unwrap();
        assert!(wait >= last.min(899) && wait <= 900, "{wait} after {last}");
        last = wait;
    }
    assert!(last > 800, "{last}");
    time_passes(&server);
    client.log_in("root.admin", PASSWORD, None).is(200);
    for _ in 0..4 {
        client.log_in("root.admin", WRONG, None).is(401);
    }
    client.log_in("root.admin", PASSWORD, None).is(200);
}

#[test]
fn guesses_sent_all_at_once_are_counted_one_by_one() {
    let server = Server::start();
    let anybody = server.anybody();
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let guess = || anybody.clone().log_in("nobody.here", WRONG, None).status;
        let guesses: Vec<_> = (0..16).map(|_| scope.spawn(guess)).collect();
        guesses.into_iter().map(|one| one.join().unwrap()).collect()
    });
    let looked_at = statuses.iter().filter(|status| **status == 401).count();
    let refused = statuses.iter().filter(|status| **status == 429).count();
    assert_eq!((looked_at, refused), (5, 11), "{statuses:?}");
}

#[test]
fn a_stranger_cannot_keep_a_person_out() {
    let server = Server::start();
    // Comes from 127.0.0.1, which is a known address from then on.
    server.admin();
    for stranger in 0..60 {
        time_passes(&server);
        let address = format!("198.51.100.{stranger}");
        let refused = from(&server, &address, "root.admin", WRONG);
        assert!(
            matches!(refused, Err(AppError::WrongCredentials)),
            "{refused:?}"
        );
    }
    server.log_in("root.admin", None);
    // Even from an address never seen the wait has an end that is near.
    match from(&server, "203.0.113.7", "root.admin", PASSWORD) {
        Err(AppError::TooManyTries { wait }) => {
            assert!((50..=60).contains(&wait.as_secs()), "{wait:?}");
        }
        other => panic!("{other:?}"),
    }
    time_passes(&server);
    from(&server, "203.0.113.7", "root.admin", PASSWORD).unwrap();
}

#[test]
fn an_address_that_tries_many_names_is_slowed_and_others_are_not() {
    let server = Server::start();
    server.admin();
    // One customer line: its addresses share the first 64 bits.
    for n in 0..31 {
        let address = format!("2001:db8:0:7::{n}");
        let refused = from(&server, &address, &format!("nobody.{n}"), WRONG);
        assert!(
            matches!(refused, Err(AppError::WrongCredentials)),
            "{n}: {refused:?}"
        );
    }
    let slowed = from(&server, "2001:db8:0:7::ffff", "nobody.99", WRONG);
    assert!(
        matches!(slowed, Err(AppError::TooManyTries { .. })),
        "{slowed:?}"
    );
    from(&server, "2001:db8:0:8::1", "root.admin", PASSWORD).unwrap();
}

#[test]
fn what_is_counted_is_forgotten_after_a_quiet_day_and_kept_as_hashes() {
    let server = Server::start();
    server.admin();
    let mut client = server.anybody();
    for _ in 0..5 {
        client.log_in("root.admin", WRONG, None).is(401);
    }
    let rows = server
        .sql_text("SELECT string_agg(to_jsonb(t)::text, ' ') FROM login_throttle t")
        .unwrap();
    assert!(!rows.contains("root.admin") && !rows.contains("127.0.0.1"));
    server.sql(
        "UPDATE login_throttle SET open_again_at = now() - interval '25 hours' WHERE failures > 0",
    );
    client.log_in("root.admin", WRONG, None).is(401);
    client.log_in("root.admin", PASSWORD, None).is(200);
    let failures = server.sql_text("SELECT sum(failures) FROM login_throttle");
    assert_eq!(failures.as_deref(), Some("1"));
}
