//! A body that does not come to its end must not hold a connection for ever.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use secondcan_server::http::request::BODY_PATIENCE;

use crate::support::Server;

#[test]
fn a_body_that_dribbles_is_cut_off_with_a_word() {
    let server = Server::start();
    let mut stream = TcpStream::connect(server.address()).unwrap();
    stream.set_read_timeout(Some(2 * BODY_PATIENCE)).unwrap();
    let begun = Instant::now();
    stream
        .write_all(
            b"POST /api/v1/auth/login HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n\
              Connection: close\r\nContent-Length: 500\r\n\r\n{\"login\":",
        )
        .unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 408"), "{answer}");
    assert!(answer.contains("\"code\":\"timed-out\""), "{answer}");
    let waited = begun.elapsed();
    assert!(
        waited >= BODY_PATIENCE && waited < BODY_PATIENCE + Duration::from_secs(10),
        "{waited:?}"
    );
    // Others were served meanwhile, and are.
    server.anybody().get("/stores").is(401);
}
