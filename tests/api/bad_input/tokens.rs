//! Access tokens that are wrong in one way each.

use std::fs;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair as _};
use harness::chain::{Chain, new_id};
use harness::http::{Answer, Client};
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};

use super::{Refusal, refusal};

/// The server's own signing key, by its id.
fn signing_key(data: &Path) -> (String, Vec<u8>) {
    let file = fs::read_dir(data.join("keys"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|ending| ending == "pk8"))
        .unwrap();
    let id = file.file_stem().unwrap().to_str().unwrap();
    let id = id.strip_prefix("token-").unwrap().to_owned();
    (id, fs::read(file).unwrap())
}

/// base64url without padding (RFC 4648, section 5).
fn base64url(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    let mut text = String::new();
    for chunk in bytes.chunks(3) {
        let word = chunk
            .iter()
            .fold(0u32, |word, byte| word << 8 | u32::from(*byte));
        let word = word << (8 * (3 - chunk.len()));
        for place in 0..=chunk.len() {
            text.push(char::from(
                LETTERS[(word >> (18 - 6 * place)) as usize & 63],
            ));
        }
    }
    text
}

/// Every wrong token at one route.
pub(super) fn cases(chain: &Chain, data: &Path) -> Vec<Refusal> {
    let (id, key) = signing_key(data);
    let own = EncodingKey::from_ed_der(&key);
    let public = Ed25519KeyPair::from_pkcs8(&key).unwrap();
    let foreign = Ed25519KeyPair::generate_pkcs8(&aws_lc_rs::rand::SystemRandom::new()).unwrap();
    let foreign = EncodingKey::from_ed_der(foreign.as_ref());
    let me = chain.clerk.client.get("/auth/me").expect(200);
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap()
        .as_secs();
    let claims = json!({
        "iss": "secondcan", "aud": "secondcan-api", "sub": me["person"]["id"],
        "sid": me["session_id"], "jti": new_id(), "iat": now, "exp": now + 300,
    });
    let head = |typ: Option<&str>, kid: Option<&str>, alg| Header {
        typ: typ.map(str::to_owned),
        kid: kid.map(str::to_owned),
        ..Header::new(alg)
    };
    let (ed, right, kid) = (Algorithm::EdDSA, Some("at+jwt"), Some(id.as_str()));
    let but = |key: &str, value: Value| {
        let mut claims = claims.clone();
        claims[key] = value;
        claims
    };
    let without = |key: &str| {
        let mut claims = claims.clone();
        claims.as_object_mut().unwrap().remove(key);
        claims
    };
    let signed = |head: Header, claims: &Value, key: &EncodingKey| {
        jsonwebtoken::encode(&head, claims, key).unwrap()
    };
    let good = signed(head(right, kid, ed), &claims, &own);
    // Proves that each token below is wrong in just the one way that it is meant to be.
    let who = chain
        .clerk
        .client
        .with_token(&good)
        .get("/auth/me")
        .expect(200);
    assert_eq!(who["person"]["id"], me["person"]["id"]);

    let usual = || head(right, kid, ed);
    let unsigned = |alg: &str| {
        let head = json!({ "alg": alg, "typ": "at+jwt", "kid": id });
        let parts = [head, claims.clone()].map(|part| base64url(part.to_string().as_bytes()));
        format!("{}.{}.", parts[0], parts[1])
    };
    let by_public = EncodingKey::from_secret(public.public_key().as_ref());
    let (start, end) = good.rsplit_once('.').unwrap();
    let refused = "not-logged-in";
    let mut tokens: Vec<(&str, String, &'static str)> = vec![
        (
            "expired",
            signed(usual(), &but("exp", json!(now - 60)), &own),
            "token-expired",
        ),
        (
            "not good for ever",
            signed(usual(), &without("exp"), &own),
            refused,
        ),
        (
            "of another key",
            signed(usual(), &claims, &foreign),
            refused,
        ),
        (
            "of an unknown key",
            signed(head(right, Some("7"), ed), &claims, &own),
            refused,
        ),
        (
            "of a key in another folder",
            signed(head(right, Some("../keys/a"), ed), &claims, &own),
            refused,
        ),
        (
            "of no key",
            signed(head(right, None, ed), &claims, &own),
            refused,
        ),
        ("alg none", unsigned("none"), refused),
        ("alg None", unsigned("None"), refused),
        ("alg EdDSA without a signature", unsigned("EdDSA"), refused),
        (
            "HMAC by the public key",
            signed(head(right, kid, Algorithm::HS256), &claims, &by_public),
            refused,
        ),
        (
            "typ JWT",
            signed(head(Some("JWT"), kid, ed), &claims, &own),
            refused,
        ),
        (
            "no typ",
            signed(head(None, kid, ed), &claims, &own),
            refused,
        ),
        (
            "of another issuer",
            signed(usual(), &but("iss", json!("elsewhere")), &own),
            refused,
        ),
        (
            "for another audience",
            signed(usual(), &but("aud", json!("secondcan")), &own),
            refused,
        ),
        (
            "of a missing person",
            signed(usual(), &but("sub", json!(new_id())), &own),
            refused,
        ),
        (
            "of another's session",
            signed(usual(), &but("sub", json!(chain.south_clerk.id)), &own),
            refused,
        ),
        (
            "of a missing session",
            signed(usual(), &but("sid", json!(new_id())), &own),
            refused,
        ),
        ("cut off", good[..good.len() - 4].to_owned(), refused),
        (
            "payload of another",
            format!("{}.{end}", swap_payload(start, &claims)),
            refused,
        ),
        ("a refresh token", chain.clerk.refresh.clone(), refused),
        ("nothing", String::new(), refused),
        ("noise", "..".to_owned(), refused),
        ("long noise", "e".repeat(7_000), refused),
    ];
    let leaver = chain.hire("leaver", &["clerk"], Some(chain.north));
    leaver.client.ask("POST", "/auth/logout").send().expect(204);
    tokens.push((
        "of a session that ended",
        leaver.client.token().to_owned(),
        refused,
    ));
    let ask = |client: Client| -> Answer {
        let answer = client.get("/stores");
        assert_eq!(answer.header("www-authenticate"), Some("Bearer"));
        answer
    };
    let mut cases: Vec<Refusal> = tokens
        .into_iter()
        .map(|(what, token, code)| {
            let client = chain.clerk.client.with_token(&token);
            refusal(
                format!("token: {what}"),
                move || ask(client.clone()),
                401,
                code,
                &[],
            )
        })
        .collect();
    let stranger = chain.clerk.client.stranger();
    cases.push(refusal(
        "no token",
        move || ask(stranger.clone()),
        401,
        refused,
        &[],
    ));
    for scheme in ["Basic", "bearer,", "Token"] {
        let client = chain.clerk.client.stranger();
        let header = format!("{scheme} {good}");
        let answer = move || {
            client
                .ask("GET", "/stores")
                .header("authorization", &header)
                .send()
        };
        cases.push(refusal(
            format!("scheme {scheme}"),
            answer,
            401,
            refused,
            &[],
        ));
    }
    cases
}

fn swap_payload(start: &str, claims: &Value) -> String {
    let head = start.split_once('.').unwrap().0;
    let mut other = claims.clone();
    other["jti"] = json!(new_id());
    format!("{head}.{}", base64url(other.to_string().as_bytes()))
}
