//! Logins, sessions and persons.

use crate::support::Server;

#[test]
fn everybody_can_log_in_and_is_who_they_are() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    for client in [
        server.admin(),
        server.manager(&store),
        server.clerk(&store),
        server.color_lead(),
        server.contractor(),
    ] {
        let me = client.get("/auth/me").is(200);
        assert_eq!(me.text("/person/login"), client.login);
    }
}
