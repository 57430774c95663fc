//! The dependency rule and the other rules of the house, held by reading the sources. Each rule is a function over
//! texts, and is shown to find a planted violation before it is trusted with the real ones.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops at the first surprise, with its place"
)]

#[path = "architecture/reading.rs"]
mod reading;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use harness::cluster::workspace;
use reading::{Source, documented_paths, named_paths, sources};
use serde_json::{Value, json};
use syn::visit::{self, Visit};
use syn::{Attribute, FnArg, ImplItem, Item, Signature, Type, Visibility};

/// Which of the workspace's crates each may depend on, for its tests too. The black-box tests meet server and CLI as
/// programs, never as crates.
const MAY_DEPEND_ON: &[(&str, &[&str])] = &[
    ("secondcan-color", &[]),
    ("secondcan-formula", &["secondcan-color"]),
    (
        "secondcan-server",
        &["secondcan-color", "secondcan-formula"],
    ),
    ("secondcan-cli", &["secondcan-color", "secondcan-formula"]),
    ("secondcan-tests", &["secondcan-color", "secondcan-formula"]),
];

/// Names that say nothing about what is inside.
const EMPTY_NAMES: &[&str] = &[
    "core", "common", "shared", "types", "utils", "util", "helpers", "helper", "misc",
];

/// What a crate without files, network, clock and async can't name.
const OUTSIDE_WORLD: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::thread",
    "std::time::SystemTime",
    "std::time::Instant",
    "time::OffsetDateTime::now_utc",
    "OffsetDateTime::now_utc",
    "Uuid::now_v7",
    "uuid::Uuid::now_v7",
    "tokio",
    "sqlx",
    "actix_web",
];

/// When a file passes this, it does a second thing.
const LINES: usize = 600;

/// Files that are too long still, and the length they may not pass.
const STILL_LONG: &[(&str, usize)] = &[
    ("tests/api/bad_input.rs", 1300),
    ("tests/api/policy_walk.rs", 700),
];

fn begins_with(path: &str, wanted: &str) -> bool {
    path.strip_prefix(wanted)
        .is_some_and(|rest| rest.is_empty() || rest.starts_with("::"))
}

/// Files outside a folder that name one of these, which only that folder may.
fn named_outside(files: &[Source], folder: &str, wanted: &[&str]) -> Vec<String> {
    files
        .iter()
        .filter(|file| folder.is_empty() || !Path::new(&file.path).starts_with(folder))
        .flat_map(|file| {
            named_paths(&file.text)
                .into_iter()
                .filter(|path| wanted.iter().any(|wanted| begins_with(path, wanted)))
                .map(|path| format!("{} names {path}", file.path))
        })
        .collect()
}

/// The layer of the server that a path leads to, and what of it.
fn into_layer<'a>(path: &'a str, layer: &str) -> Option<&'a str> {
    ["crate", "super", "super::super", "secondcan_server"]
        .iter()
        .find_map(|root| {
            let rest = path.strip_prefix(root)?.strip_prefix("::")?;
            let rest = rest.strip_prefix(layer)?;
            rest.strip_prefix("::").or(rest.is_empty().then_some(""))
        })
}

/// Files of a layer that name another one, other than these few of its names.
fn layer_crossings(files: &[Source], from: &str, to: &str, except: &[&str]) -> Vec<String> {
    let folder = format!("server/src/{from}");
    files
        .iter()
        .filter(|file| Path::new(&file.path).starts_with(&folder))
        .flat_map(|file| {
            named_paths(&file.text)
                .into_iter()
                .filter(|path| {
                    into_layer(path, to)
                        .is_some_and(|rest| !except.iter().any(|name| begins_with(rest, name)))
                })
                .map(|path| format!("{} names {path}", file.path))
        })
        .collect()
}

/// Dependencies, as `cargo metadata` gives them, that point the wrong way.
fn wrong_dependencies(metadata: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    for package in metadata["packages"].as_array().unwrap() {
        let name = package["name"].as_str().unwrap();
        let Some((_, may)) = MAY_DEPEND_ON.iter().find(|(member, _)| *member == name) else {
            wrong.push(format!("{name} has no place in the dependency rule"));
            continue;
        };
        for dependency in package["dependencies"].as_array().unwrap() {
            let on = dependency["name"].as_str().unwrap();
            let ours = MAY_DEPEND_ON.iter().any(|(member, _)| *member == on);
            if ours && !may.contains(&on) {
                wrong.push(format!("{name} depends on {on}"));
            }
        }
    }
    wrong
}

/// Public async calls of the store that neither take the caller nor say why not. A module says it for all of its
/// calls by the words `no caller`.
fn calls_without_caller(file: &Source) -> Vec<String> {
    let parsed = syn::parse_file(&file.text).unwrap();
    let mut found = Vec::new();
    if doc(&parsed.attrs).to_lowercase().contains("no caller") {
        return found;
    }
    let mut look = |visibility: &Visibility, signature: &Signature, attributes: &[Attribute]| {
        let outside = match visibility {
            Visibility::Public(_) => true,
            Visibility::Restricted(within) => within.path.is_ident("crate"),
            Visibility::Inherited => false,
        };
        let takes_caller = signature.inputs.iter().any(|argument| {
            let FnArg::Typed(argument) = argument else {
                return false;
            };
            let Type::Reference(reference) = &*argument.ty else {
                return false;
            };
            matches!(&*reference.elem, Type::Path(path)
                if path.path.segments.last().is_some_and(|last| last.ident == "Caller"))
        });
        let says_why = doc(attributes).to_lowercase().contains("caller");
        if outside && signature.asyncness.is_some() && !takes_caller && !says_why {
            found.push(format!("{}: {}", file.path, signature.ident));
        }
    };
    for item in &parsed.items {
        match item {
            Item::Fn(function) => look(&function.vis, &function.sig, &function.attrs),
            Item::Impl(block) => {
                for item in &block.items {
                    if let ImplItem::Fn(function) = item {
                        look(&function.vis, &function.sig, &function.attrs);
                    }
                }
            }
            _ => {}
        }
    }
    found
}

/// The doc comment of an item.
fn doc(attributes: &[Attribute]) -> String {
    attributes
        .iter()
        .filter_map(|attribute| match &attribute.meta {
            syn::Meta::NameValue(pair) if pair.path.is_ident("doc") => match &pair.value {
                syn::Expr::Lit(syn::ExprLit {
                    lit: syn::Lit::Str(text),
                    ..
                }) => Some(text.value()),
                _ => None,
            },
            _ => None,
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// Modules, by file, folder or declaration, whose name says nothing.
fn empty_names(file: &Source) -> Vec<String> {
    let path = Path::new(&file.path).with_extension("");
    let by_place = path
        .components()
        .map(|part| part.as_os_str().to_str().unwrap().to_owned());
    struct Modules(Vec<String>);
    impl Visit<'_> for Modules {
        fn visit_item_mod(&mut self, module: &syn::ItemMod) {
            self.0.push(module.ident.to_string());
            visit::visit_item_mod(self, module);
        }
    }
    let mut modules = Modules(Vec::new());
    modules.visit_file(&syn::parse_file(&file.text).unwrap());
    by_place
        .chain(modules.0)
        .filter(|name| EMPTY_NAMES.contains(&name.as_str()))
        .map(|name| format!("{}: {name}", file.path))
        .collect::<BTreeSet<_>>()
        .into_iter()
        .collect()
}

/// Variants of the enum of error codes.
fn error_codes(text: &str) -> BTreeSet<String> {
    let file = syn::parse_file(text).unwrap();
    file.items
        .iter()
        .find_map(|item| match item {
            Item::Enum(codes) if codes.ident == "ErrorCode" => Some(codes),
            _ => None,
        })
        .unwrap()
        .variants
        .iter()
        .map(|variant| variant.ident.to_string())
        .collect()
}

/// Error codes that the code makes: named as a value outside of tests. A pattern that takes a code apart makes none.
fn produced_codes(text: &str) -> BTreeSet<String> {
    struct Produced(BTreeSet<String>);
    impl Produced {
        fn take(&mut self, path: &str) {
            let code = path
                .rsplit_once("::")
                .filter(|(before, _)| *before == "ErrorCode" || before.ends_with("::ErrorCode"));
            if let Some((_, code)) = code {
                self.0.insert(code.to_owned());
            }
        }
    }
    impl Visit<'_> for Produced {
        fn visit_pat(&mut self, _: &syn::Pat) {}
        fn visit_item_mod(&mut self, module: &syn::ItemMod) {
            let test = module.attrs.iter().any(|attribute| {
                attribute.path().is_ident("cfg")
                    && attribute
                        .meta
                        .require_list()
                        .is_ok_and(|list| list.tokens.to_string() == "test")
            });
            if !test {
                visit::visit_item_mod(self, module);
            }
        }
        fn visit_expr_path(&mut self, path: &syn::ExprPath) {
            let names: Vec<_> = path
                .path
                .segments
                .iter()
                .map(|segment| segment.ident.to_string())
                .collect();
            self.take(&names.join("::"));
        }
        fn visit_macro(&mut self, call: &syn::Macro) {
            if !call.path.is_ident("matches") {
                for path in named_paths(&call.tokens.to_string()) {
                    self.take(&path);
                }
            }
        }
    }
    let mut produced = Produced(BTreeSet::new());
    produced.visit_file(&syn::parse_file(text).unwrap());
    produced.0
}

fn too_long(file: &Source) -> Option<String> {
    let lines = file.text.lines().count();
    let still = STILL_LONG.iter().find(|(path, _)| *path == file.path);
    let most = still.map_or(LINES, |(_, most)| *most);
    (lines > most).then(|| format!("{}: {lines} lines", file.path))
}

#[track_caller]
fn expect_none(found: Vec<String>, rule: &str) {
    assert!(found.is_empty(), "{rule}:\n  {}", found.join("\n  "));
}

const MEMBERS: &[&str] = &["color", "formula", "server", "client-cli", "tests"];

// ---------------------------------------------------------------- the rules

#[test]
fn crates_depend_one_way() {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .current_dir(workspace())
        .args(["metadata", "--no-deps", "--offline", "--format-version=1"])
        .output()
        .unwrap();
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(
        metadata["packages"].as_array().unwrap().len(),
        MAY_DEPEND_ON.len()
    );
    expect_none(
        wrong_dependencies(&metadata),
        "color ← formula ← {server, client-cli}; tests see the last two as programs",
    );
}

#[test]
fn only_http_names_actix_web() {
    expect_none(
        named_outside(
            &sources(&["color", "formula", "server/src", "client-cli", "tests"]),
            "server/src/http",
            &["actix_web", "actix_http", "actix_rt", "actix_router"],
        ),
        "only server/src/http may name actix_web",
    );
}

#[test]
fn only_the_store_names_sqlx() {
    let code: Vec<_> = sources(&["color", "formula", "server/src", "client-cli"]);
    expect_none(
        named_outside(&code, "server/src/store", &["sqlx"]),
        "only server/src/store may name sqlx",
    );
}

#[test]
fn the_server_s_layers_point_one_way() {
    let files = sources(&["server/src"]);
    let rule = "http → app → store";
    expect_none(layer_crossings(&files, "app", "http", &[]), rule);
    expect_none(layer_crossings(&files, "store", "http", &[]), rule);
    // The caller is what every call of the store takes.
    expect_none(layer_crossings(&files, "store", "app", &["Caller"]), rule);
    // What a write is asked with and answered by; no rows.
    expect_none(layer_crossings(&files, "http", "store", &["write"]), rule);
}

#[test]
fn the_store_takes_the_caller_or_says_why_not() {
    let found = sources(&["server/src/store"])
        .iter()
        .flat_map(calls_without_caller)
        .collect();
    expect_none(
        found,
        "a public async call of the store takes &Caller, or its doc comment says with the word `caller` why not",
    );
}

#[test]
fn color_and_formula_know_nothing_of_files_network_and_clock() {
    expect_none(
        named_outside(&sources(&["color/src", "formula/src"]), "", OUTSIDE_WORLD),
        "color and formula: no I/O, no clock, no async",
    );
}

#[test]
fn no_module_has_an_empty_name() {
    let found = sources(MEMBERS).iter().flat_map(empty_names).collect();
    expect_none(found, "a module's name says what is inside");
}

#[test]
fn every_error_code_is_produced_by_the_server() {
    let list = fs::read_to_string(workspace().join("formula/src/wire/error_code.rs")).unwrap();
    let produced: BTreeSet<_> = sources(&["server/src"])
        .iter()
        .flat_map(|file| produced_codes(&file.text))
        .collect();
    let never = error_codes(&list).difference(&produced).cloned().collect();
    expect_none(never, "error codes that no answer carries");
}

#[test]
fn every_path_in_developers_md_exists() {
    let root = workspace();
    let text = fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let named = documented_paths(&text);
    for member in MEMBERS {
        assert!(
            named
                .iter()
                .any(|path| path.trim_end_matches('/') == *member),
            "DEVELOPERS.md does not name {member}/"
        );
    }
    let missing = named
        .into_iter()
        .filter(|path| !root.join(path).exists())
        .collect();
    expect_none(missing, "DEVELOPERS.md names what is not there");
}

#[test]
fn no_file_is_too_long() {
    let found = sources(MEMBERS).iter().filter_map(too_long).collect();
    expect_none(found, "a long file does a second thing: split it");
}

// ------------------------------------------------- each rule finds what it is for

fn file(path: &str, text: &str) -> Source {
    Source {
        path: path.to_owned(),
        text: text.to_owned(),
    }
}

#[test]
fn paths_are_read_from_groups_and_macros_but_not_from_comments() {
    let text = "//! a::comment\nuse a::{b, c::{self, d}}; fn f() { println!(\"a::text {}\", x::y()); let _: z::T; }";
    let named = named_paths(text);
    for path in ["a::b", "a::c::self", "a::c::d", "x::y", "z::T"] {
        assert!(named.contains(path), "{path} in {named:?}");
    }
    assert!(
        !named
            .iter()
            .any(|path| path.contains("comment") || path.contains("text"))
    );
    // A type after a single colon begins anew.
    assert!(named_paths("struct A { b: c::D }").contains("c::D"));
}

#[test]
fn a_planted_dependency_is_found() {
    let metadata = |name: &str, on: &str| json!({"packages": [{"name": name, "dependencies": [{"name": on}]}]});
    let found = |name, on| wrong_dependencies(&metadata(name, on));
    assert!(found("secondcan-server", "secondcan-color").is_empty());
    assert!(found("secondcan-color", "serde").is_empty());
    assert_eq!(found("secondcan-color", "secondcan-formula").len(), 1);
    assert_eq!(found("secondcan-cli", "secondcan-server").len(), 1);
    assert_eq!(found("secondcan-extra", "serde").len(), 1);
}

#[test]
fn a_planted_name_is_found_outside_its_folder() {
    let planted = "fn f() { let _ = vec![actix_web::web::Bytes::new()]; }";
    let inside = file("server/src/http/a.rs", planted);
    let outside = file("server/src/app/a.rs", planted);
    let found = named_outside(&[inside, outside], "server/src/http", &["actix_web"]);
    assert_eq!(
        found,
        ["server/src/app/a.rs names actix_web::web::Bytes::new"]
    );
    let harmless = file(
        "server/src/app/b.rs",
        "//! Not actix_web.\nuse actix_web_like::x;",
    );
    assert!(named_outside(&[harmless], "server/src/http", &["actix_web"]).is_empty());
}

#[test]
fn a_planted_clock_or_file_is_found() {
    for planted in [
        "use std::{fs, io};",
        "use std::time::{Duration, Instant};",
        "fn f() { std::time::SystemTime::now(); }",
        "fn f() { let now = OffsetDateTime::now_utc(); }",
        "async fn f() { tokio::spawn(g()); }",
    ] {
        let found = named_outside(&[file("color/src/a.rs", planted)], "", OUTSIDE_WORLD);
        assert_eq!(found.len(), 1, "{planted}");
    }
    let harmless = file("color/src/a.rs", "use std::time::Duration; use std::fmt;");
    assert!(named_outside(&[harmless], "", OUTSIDE_WORLD).is_empty());
}

#[test]
fn a_planted_crossing_of_layers_is_found() {
    for planted in [
        "use crate::http::error::ApiError;",
        "use crate::{app::App, http};",
        "fn f() { super::http::routes::mount(); }",
        "type E = secondcan_server::http::error::ApiError;",
    ] {
        let files = [file("server/src/app/a.rs", planted)];
        assert_eq!(
            layer_crossings(&files, "app", "http", &[]).len(),
            1,
            "{planted}"
        );
    }
    let caller = [file(
        "server/src/store/a.rs",
        "use crate::app::{App, Caller};",
    )];
    assert_eq!(
        layer_crossings(&caller, "store", "app", &["Caller"]),
        ["server/src/store/a.rs names crate::app::App"]
    );
}

#[test]
fn a_planted_call_without_a_caller_is_found() {
    let found = |text: &str| calls_without_caller(&file("a.rs", text)).len();
    assert_eq!(
        found("/// Lists.\npub async fn list(conn: &mut Conn) {}"),
        1
    );
    assert_eq!(found("impl D { pub(crate) async fn list(&self) {} }"), 1);
    assert_eq!(
        found("pub async fn list(conn: &mut Conn, caller: &Caller) {}"),
        0
    );
    assert_eq!(
        found("pub async fn list(caller: &crate::app::Caller) {}"),
        0
    );
    assert_eq!(
        found("/// No caller yet: this makes one.\npub async fn open() {}"),
        0
    );
    assert_eq!(found("async fn inner() {}\npub fn plain() {}"), 0);
    assert_eq!(
        found("//! No caller here: nobody is logged in.\npub async fn open() {}"),
        0
    );
    assert_eq!(
        found("//! What the caller sees.\npub async fn open() {}"),
        1
    );
}

#[test]
fn a_planted_empty_name_is_found() {
    assert_eq!(empty_names(&file("server/src/utils.rs", "")).len(), 1);
    assert_eq!(empty_names(&file("server/src/common/mod.rs", "")).len(), 1);
    assert_eq!(
        empty_names(&file("server/src/a.rs", "mod b { pub mod helpers {} }")).len(),
        1
    );
    assert!(empty_names(&file("server/src/score.rs", "mod tests {}")).is_empty());
}

#[test]
fn a_code_that_is_only_taken_apart_counts_as_not_produced() {
    let list = "pub enum ErrorCode { Made, InMacro, OnlyMatched, OnlyTested }";
    let code = "
        fn f() -> ErrorCode { code::ErrorCode::Made }
        fn g() { answer!(ErrorCode::InMacro, 1); }
        fn h(code: ErrorCode) -> bool {
            match code { ErrorCode::OnlyMatched => matches!(code, ErrorCode::OnlyMatched), _ => false }
        }
        #[cfg(test)] mod tests { fn t() { f(ErrorCode::OnlyTested); } }";
    let produced = produced_codes(code);
    let never: Vec<_> = error_codes(list).difference(&produced).cloned().collect();
    assert_eq!(never, ["OnlyMatched", "OnlyTested"]);
}

#[test]
fn a_planted_path_in_a_document_is_found() {
    let markdown = "See `server/src/app/` and [why](docs/x.md#part), `/api/v1/x`, `cargo test`, [a](https://a.example/b).\n\
                    ```\nserver/src/not_looked_at.rs\n```\n`Cargo.toml` and `ErrorCode::NotFound`";
    let named: Vec<_> = documented_paths(markdown).into_iter().collect();
    assert_eq!(named, ["Cargo.toml", "docs/x.md", "server/src/app/"]);
}

#[test]
fn a_planted_long_file_is_found() {
    assert!(too_long(&file("a.rs", &"\n".repeat(LINES))).is_none());
    assert!(too_long(&file("a.rs", &"\n".repeat(LINES + 1))).is_some());
}
