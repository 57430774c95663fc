//! Access tokens that are not the server's, or not any more (RFC 8725: algorithm, key, type and audience are checked).

use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};
use time::OffsetDateTime;

use crate::support::{Client, Server, new_id};

struct Forge {
    key: EncodingKey,
    key_id: String,
    public: Vec<u8>,
    claims: Value,
}

impl Forge {
    /// The server's own key, and claims that it takes.
    fn of(server: &Server, client: &Client) -> Self {
        use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair as _};
        let folder = server.data().join("keys");
        let path = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .find(|path| path.extension().is_some_and(|end| end == "pk8"))
            .unwrap();
        let name = path.file_stem().unwrap().to_str().unwrap();
        let bytes = std::fs::read(&path).unwrap();
        let pair = Ed25519KeyPair::from_pkcs8(&bytes).unwrap();
        let now = OffsetDateTime::now_utc().unix_timestamp();
        let session = client.get("/auth/me").text("/session_id");
        Self {
            key: EncodingKey::from_ed_der(&bytes),
            key_id: name.strip_prefix("token-").unwrap().to_owned(),
            public: pair.public_key().as_ref().to_vec(),
            claims: json!({
                "iss": "secondcan", "aud": "secondcan-api", "sub": client.id, "sid": session,
                "jti": uuid::Uuid::new_v4(), "iat": now, "exp": now + 600,
            }),
        }
    }

    fn header(&self) -> Header {
        Header {
            typ: Some("at+jwt".to_owned()),
            kid: Some(self.key_id.clone()),
            ..Header::new(Algorithm::EdDSA)
        }
    }

    fn with(&self, name: &str, value: Value) -> Value {
        let mut claims = self.claims.clone();
        claims[name] = value;
        claims
    }

    fn sign(&self, header: &Header, claims: &Value) -> String {
        jsonwebtoken::encode(header, claims, &self.key).unwrap()
    }
}

fn me(server: &Server, token: String) -> crate::support::Answer {
    let mut client = server.anybody();
    client.keys.access = Some(token);
    client.get("/auth/me")
}

#[test]
fn only_a_token_that_this_server_signed_for_this_use_is_taken() {
    let server = Server::start();
    let admin = server.admin();
    let forge = Forge::of(&server, &admin);
    let good = forge.sign(&forge.header(), &forge.claims);
    // Without this, everything below could be refused for another reason.
    me(&server, good.clone()).is(200);

    let other_key = {
        let document = aws_lc_rs::signature::Ed25519KeyPair::generate_pkcs8(
            &aws_lc_rs::rand::SystemRandom::new(),
        )
        .unwrap();
        let key = EncodingKey::from_ed_der(document.as_ref());
        jsonwebtoken::encode(&forge.header(), &forge.claims, &key).unwrap()
    };
    // The public key as an HMAC secret: the classic confusion of algorithms.
    let confused = {
        let header = Header {
            alg: Algorithm::HS256,
            ..forge.header()
        };
        let key = EncodingKey::from_secret(&forge.public);
        jsonwebtoken::encode(&header, &forge.claims, &key).unwrap()
    };
    let payload = good.split('.').nth(1).unwrap();
    let signature = good.split('.').nth(2).unwrap();
    // {"alg":"none","typ":"at+jwt"}
    let none = "eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0In0";
    let typ = |typ: Option<&str>| Header {
        typ: typ.map(str::to_owned),
        ..forge.header()
    };
    let kid = |kid: Option<&str>| Header {
        kid: kid.map(str::to_owned),
        ..forge.header()
    };
    let other_payload = forge.sign(&forge.header(), &forge.with("sid", json!(new_id())));
    let other_payload = other_payload.split('.').nth(1).unwrap();
    let head = good.split('.').next().unwrap();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let now = OffsetDateTime::now_utc().unix_timestamp();

    for (what, token) in [
        ("another key", other_key),
        ("HS256 by the public key", confused),
        ("none", format!("{none}.{payload}.")),
        (
            "none with a signature",
            format!("{none}.{payload}.{signature}"),
        ),
        ("no signature", format!("{head}.{payload}.")),
        (
            "changed claims",
            format!("{head}.{other_payload}.{signature}"),
        ),
        ("typ JWT", forge.sign(&typ(Some("JWT")), &forge.claims)),
        ("no typ", forge.sign(&typ(None), &forge.claims)),
        ("unknown kid", forge.sign(&kid(Some("0123")), &forge.claims)),
        (
            "kid of a path",
            forge.sign(&kid(Some("../token")), &forge.claims),
        ),
        ("no kid", forge.sign(&kid(None), &forge.claims)),
        (
            "another issuer",
            forge.sign(&forge.header(), &forge.with("iss", json!("elsewhere"))),
        ),
        (
            "another audience",
            forge.sign(&forge.header(), &forge.with("aud", json!("pages"))),
        ),
        (
            "no end",
            forge.sign(&forge.header(), &forge.with("exp", Value::Null)),
        ),
        (
            "no such session",
            forge.sign(&forge.header(), &forge.with("sid", json!(new_id()))),
        ),
        (
            "somebody else's session",
            forge.sign(&forge.header(), &forge.with("sub", json!(clerk.id))),
        ),
        (
            "no id",
            forge.sign(&forge.header(), &forge.with("sub", json!("root.admin"))),
        ),
        ("no token", "x".to_owned()),
        ("nothing", String::new()),
        ("dots", "..".to_owned()),
        ("long", "x".repeat(6000)),
    ] {
        let answer = me(&server, token);
        assert_eq!(answer.status, 401, "{what}: {:#}", answer.body);
        assert_eq!(answer.body["code"], "not-logged-in", "{what}");
        assert_eq!(answer.headers["www-authenticate"], "Bearer");
    }
    let old = forge.sign(&forge.header(), &forge.with("exp", json!(now - 60)));
    me(&server, old).refused(401, "token-expired");
    me(&server, good).is(200);
}

#[test]
fn only_the_bearer_scheme_is_taken() {
    let server = Server::start();
    let token = server.admin().keys.access.unwrap();
    let anybody = server.anybody();
    let ask = |value: &str| {
        anybody
            .send("GET", "/auth/me", &[("Authorization", value)], None)
            .status
    };
    assert_eq!(ask(&format!("Bearer {token}")), 200);
    assert_eq!(ask(&format!("bearer {token}")), 200);
    assert_eq!(ask(&format!("Basic {token}")), 401);
    assert_eq!(ask(&token), 401);
    assert_eq!(ask("Bearer"), 401);
    assert_eq!(
        anybody
            .get(&format!("/auth/me?access_token={token}"))
            .status,
        401
    );
}
