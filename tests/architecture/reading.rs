//! What the rules look at: source files, the paths that code names, the paths that a document names.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use harness::cluster::workspace;
use proc_macro2::{Delimiter, TokenStream, TokenTree};

/// A source file: its path from the workspace's folder, and its text.
#[derive(Debug, Clone)]
pub(crate) struct Source {
    pub(crate) path: String,
    pub(crate) text: String,
}

/// Every Rust file under these folders of the workspace.
pub(crate) fn sources(folders: &[&str]) -> Vec<Source> {
    let root = workspace();
    let mut found = Vec::new();
    let mut left: Vec<_> = folders.iter().map(|folder| root.join(folder)).collect();
    while let Some(folder) = left.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                left.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(Source {
                    path: path
                        .strip_prefix(&root)
                        .unwrap()
                        .to_str()
                        .unwrap()
                        .to_owned(),
                    text: fs::read_to_string(&path).unwrap(),
                });
            }
        }
    }
    assert!(!found.is_empty(), "no sources under {folders:?}");
    found.sort_by(|a, b| a.path.cmp(&b.path));
    found
}

/// Every path that the code names, `use` groups taken apart: `use a::{b, c::d}` gives `a::b` and `a::c::d`. Comments
/// and texts name nothing; what stands in a macro does.
pub(crate) fn named_paths(text: &str) -> BTreeSet<String> {
    let tokens: TokenStream = text.parse().unwrap();
    let mut found = BTreeSet::new();
    collect_paths(tokens, "", &mut found);
    found
}

fn collect_paths(tokens: TokenStream, prefix: &str, found: &mut BTreeSet<String>) {
    let mut path = String::new();
    // How many colons stand directly before.
    let mut colons = 0;
    let join = |path: &str, name: &str| match (path, prefix) {
        ("", "") => name.to_owned(),
        ("", prefix) => format!("{prefix}::{name}"),
        (path, _) => format!("{path}::{name}"),
    };
    for token in tokens {
        match token {
            TokenTree::Punct(punct) if punct.as_char() == ':' => colons += 1,
            TokenTree::Ident(ident) => {
                if colons != 2 && !path.is_empty() {
                    found.insert(std::mem::take(&mut path));
                }
                path = join(&path, &ident.to_string());
                colons = 0;
            }
            TokenTree::Group(group) => {
                let inside = if colons == 2 && group.delimiter() == Delimiter::Brace {
                    std::mem::take(&mut path)
                } else {
                    String::new()
                };
                collect_paths(group.stream(), &inside, found);
                colons = 0;
            }
            TokenTree::Punct(_) | TokenTree::Literal(_) => {
                if !path.is_empty() {
                    found.insert(std::mem::take(&mut path));
                }
                colons = 0;
            }
        }
    }
    if !path.is_empty() {
        found.insert(path);
    }
}

/// Paths that a document names in code spans and links: what has a slash or a file's ending. Addresses of the API,
/// links elsewhere, and blocks of commands name no files.
pub(crate) fn documented_paths(markdown: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut in_block = false;
    for line in markdown.lines() {
        if line.trim_start().starts_with("```") {
            in_block = !in_block;
            continue;
        }
        if in_block {
            continue;
        }
        let spans = line.split('`').skip(1).step_by(2);
        let links = line
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split_once(')').map(|(target, _)| target));
        for name in spans.chain(links) {
            let name = name.split('#').next().unwrap();
            let ending = Path::new(name)
                .extension()
                .and_then(|ending| ending.to_str());
            let is_file = matches!(
                ending,
                Some("rs" | "md" | "sql" | "toml" | "yml" | "json" | "csv" | "lock")
            );
            let is_elsewhere = name.starts_with('/') || name.contains("://") || name.contains(' ');
            if !name.is_empty() && !is_elsewhere && (name.contains('/') || is_file) {
                found.insert(name.to_owned());
            }
        }
    }
    found
}
