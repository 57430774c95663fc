use serde_json::{Value, json};

use crate::support::{Client, Server, new_id};

/// A customer of a store, recorded by somebody.
fn customer(server: &Server, store: &str, by: &Client, name: &str) -> String {
    let id = new_id();
    server.sql(&format!(
        "INSERT INTO customer (id, kind, name, store_id, created_by)
         VALUES ('{id}', 'company', '{name}', '{store}', '{}')",
        by.id
    ));
    id
}

#[test]
fn a_contractor_is_linked_to_customers_and_let_go_again() {
    let server = Server::start();
    let (harbor, mill) = (server.store("Harbor Road"), server.store("Mill Lane"));
    let manager = server.manager(&harbor);
    let contractor = server.contractor();
    let own = customer(&server, &harbor, &manager, "Tern Cottages");
    let foreign = customer(&server, &mill, &manager, "Osprey Lofts");
    let links = format!("/persons/{}/customers", contractor.id);

    let linked = manager.put(&format!("{links}/{own}"), None).is(200);
    assert_eq!(linked.text("/customer_name"), "Tern Cottages");
    let again = manager.put(&format!("{links}/{own}"), None).is(200);
    assert_eq!(linked.body, again.body);
    manager.put(&format!("{links}/{foreign}"), None).is(200);
    let page = manager.get(&links).is(200);
    assert_eq!(page.items().len(), 2);
    assert_eq!(page.items()[0], linked.body);
    // Another store's customer was named to the manager, so the log says so.
    let noted = server.sql_text("SELECT entity_id FROM access_log WHERE act = 'customer-opened'");
    assert_eq!(noted, Some(foreign.clone()));

    manager.delete(&format!("{links}/{own}")).is(204);
    manager
        .delete(&format!("{links}/{own}"))
        .refused(404, "not-found");
    let left = manager.get(&links).is(200);
    let left: Vec<&Value> = left
        .items()
        .iter()
        .map(|link| &link["customer_id"])
        .collect();
    assert_eq!(left, [&json!(foreign)]);
}

#[test]
fn only_contractors_are_linked_and_only_to_customers_that_exist() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let (manager, clerk) = (server.manager(&store), server.clerk(&store));
    let contractor = server.contractor();
    let known = customer(&server, &store, &manager, "Tern Cottages");
    let link = |person: &str, customer: &str| format!("/persons/{person}/customers/{customer}");

    manager
        .put(&link(&clerk.id, &known), None)
        .refused(409, "state-conflict");
    manager
        .put(&link(&contractor.id, &new_id()), None)
        .refused(404, "not-found");
    manager
        .put(&link(&new_id(), &known), None)
        .refused(404, "not-found");
    manager
        .put(&link("x", &known), None)
        .refused(404, "not-found");
    server.sql(&format!(
        "UPDATE customer SET name = NULL, erased_at = now() WHERE id = '{known}'"
    ));
    manager
        .put(&link(&contractor.id, &known), None)
        .refused(404, "not-found");
    for client in [&clerk, &contractor, &server.color_lead()] {
        client
            .put(&link(&contractor.id, &known), None)
            .refused(403, "not-allowed");
        client
            .delete(&link(&contractor.id, &known))
            .refused(403, "not-allowed");
        client
            .get(&format!("/persons/{}/customers", contractor.id))
            .refused(403, "not-allowed");
    }
    let missing = format!("/persons/{}/customers", new_id());
    manager.get(&missing).refused(404, "not-found");
}
