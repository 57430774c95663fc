use serde_json::Value;

use crate::support::{PASSWORD, Server, new_id};

#[test]
fn an_admin_reads_all_of_it_and_a_manager_what_is_about_the_own_store() {
    let server = Server::start();
    let (harbor, mill) = (server.store("Harbor Road"), server.store("Mill Lane"));
    let manager = server.manager(&harbor);
    let (own, foreign) = (server.clerk(&harbor), server.clerk(&mill));
    own.get("/persons").is(403);
    foreign.get("/persons").is(403);
    server
        .anybody()
        .log_in("nobody.here", PASSWORD, None)
        .is(401);
    server
        .anybody()
        .log_in(&own.login, "plum gutter seven violas", None)
        .is(401);

    let acts = |items: &[Value]| -> Vec<(String, Option<String>)> {
        let text = |value: &Value| value.as_str().map(str::to_owned);
        items
            .iter()
            .map(|row| (text(&row["act"]).unwrap(), text(&row["person_id"])))
            .collect()
    };
    let failed = |who: Option<&str>| ("login-failed".to_owned(), who.map(str::to_owned));
    let refused = |who: &str| ("refused".to_owned(), Some(who.to_owned()));
    // Newest first.
    let all = server.admin().get("/access-log").is(200);
    assert_eq!(
        acts(all.items()),
        [
            failed(Some(&own.id)),
            failed(None),
            refused(&foreign.id),
            refused(&own.id)
        ]
    );
    let some = manager.get("/access-log").is(200);
    assert_eq!(
        acts(some.items()),
        [failed(Some(&own.id)), refused(&own.id)]
    );

    let first = server.admin().get("/access-log?limit=3").is(200);
    let next = first.text("/next");
    let rest = server
        .admin()
        .get(&format!("/access-log?limit=3&after={next}"))
        .is(200);
    assert_eq!(rest.items(), &all.items()[3..]);
    assert!(rest.body.get("next").is_none());
    for query in [
        "limit=0",
        "after=x",
        "after=1&after=2",
        &format!("after={}", new_id()),
    ] {
        server
            .admin()
            .get(&format!("/access-log?{query}"))
            .refused(400, "bad-request");
    }
}
