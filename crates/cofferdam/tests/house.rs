//! House rules as tests: each message says what to do instead.

#![allow(clippy::disallowed_methods, reason = "the house is in the repository's files")]

use cargo_metadata::{DependencyKind, Metadata, MetadataCommand};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// What each crate may depend on inside the workspace, outside of tests.
const ARROWS: &[(&str, &[&str])] = &[
    ("quantity", &[]),
    ("diagnostic", &["quantity"]),
    ("devicetree", &["diagnostic"]),
    ("model", &["quantity", "diagnostic", "devicetree"]),
    ("plan", &["quantity", "diagnostic", "model"]),
    ("claim", &["quantity", "diagnostic", "model", "plan"]),
    ("timing", &["quantity", "diagnostic", "model", "plan", "claim"]),
    ("separation", &["quantity", "diagnostic", "model", "plan", "claim"]),
    ("simulator", &["quantity", "diagnostic", "model", "plan"]),
    ("statistics", &[]),
    ("trace", &["quantity", "diagnostic", "model", "plan"]),
    ("campaign", &["quantity", "diagnostic", "model", "plan", "claim", "simulator", "statistics"]),
    ("rehearsal", &["quantity", "model", "simulator", "trace"]),
    ("records", &["quantity", "simulator", "campaign"]),
    ("planner", &["quantity", "diagnostic", "model", "plan", "claim", "timing", "separation"]),
    (
        "evidence",
        &[
            "quantity",
            "diagnostic",
            "model",
            "plan",
            "claim",
            "timing",
            "separation",
            "simulator",
            "trace",
            "campaign",
            "statistics",
        ],
    ),
    (
        "baseline",
        &[
            "quantity",
            "diagnostic",
            "model",
            "plan",
            "claim",
            "timing",
            "separation",
            "simulator",
            "trace",
            "campaign",
            "planner",
            "evidence",
        ],
    ),
    (
        "cofferdam",
        &[
            "quantity",
            "diagnostic",
            "model",
            "plan",
            "claim",
            "simulator",
            "trace",
            "campaign",
            "records",
            "rehearsal",
            "planner",
            "evidence",
            "baseline",
        ],
    ),
    ("testkit", &[]),
    ("cofferdam-bench", &["quantity", "model", "plan", "timing", "simulator", "statistics", "trace"]),
];

fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).expect("this crate lies two folders below the root").to_owned()
}

fn metadata() -> Metadata {
    let manifest = root().join("Cargo.toml");
    MetadataCommand::new().manifest_path(manifest).no_deps().exec().expect("cargo describes its own workspace")
}

fn short(name: &str) -> &str {
    if name == "cofferdam-bench" { name } else { name.strip_prefix("cofferdam-").unwrap_or(name) }
}

/// Every workspace crate with the workspace crates that it depends on outside of tests.
fn dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let metadata = metadata();
    let members: BTreeSet<_> = metadata.packages.iter().map(|p| p.name.to_string()).collect();
    let inside = |package: &cargo_metadata::Package| {
        let normal = package.dependencies.iter().filter(|d| d.kind == DependencyKind::Normal);
        normal.filter(|d| members.contains(&d.name)).map(|d| short(&d.name).to_owned()).collect()
    };
    metadata.packages.iter().map(|p| (short(&p.name).to_owned(), inside(p))).collect()
}

#[test]
fn dependencies_never_turn_back() {
    let allowed: BTreeMap<_, _> = ARROWS.iter().copied().collect();
    for (name, used) in dependencies() {
        let allowed = allowed.get(name.as_str());
        let allowed = allowed.unwrap_or_else(|| panic!("add `{name}` to ARROWS here and to ARCHITECTURE.md"));
        for other in used {
            assert!(allowed.contains(&other.as_str()), "`{name}` must not depend on `{other}`; see ARCHITECTURE.md");
        }
    }
}

#[test]
fn the_map_names_every_crate_and_no_other() {
    let map = std::fs::read_to_string(root().join("ARCHITECTURE.md")).expect("the map is in the root folder");
    let sections: BTreeSet<_> = map.lines().filter_map(|line| line.strip_prefix("## ")).map(str::to_owned).collect();
    let crates: BTreeSet<_> = dependencies().into_keys().collect();
    assert_eq!(
        sections, crates,
        "give every crate a `## name` section in ARCHITECTURE.md, and drop those that are gone"
    );
}

/// The core crates deny what `clippy.toml` bars.
#[test]
fn core_crates_bar_floats_clock_and_io() {
    for name in [
        "quantity",
        "diagnostic",
        "devicetree",
        "model",
        "plan",
        "claim",
        "timing",
        "separation",
        "simulator",
        "trace",
        "campaign",
        "planner",
    ] {
        let head =
            std::fs::read_to_string(root().join("crates").join(name).join("src/lib.rs")).expect("a crate has a root");
        let denied = "#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]";
        assert!(head.contains(denied), "put `{denied}` at the head of crates/{name}/src/lib.rs");
    }
}

fn source_files(folder: &Path, found: &mut Vec<PathBuf>) {
    let entries = std::fs::read_dir(folder).expect("folders of the project can be read");
    for path in entries.map(|entry| entry.expect("entries can be read").path()) {
        let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
        if path.is_dir() && !["target", ".git", "node_modules"].contains(&name) {
            source_files(&path, found);
        } else if name.ends_with(".rs") {
            found.push(path);
        }
    }
}

#[test]
fn no_source_file_is_unfinished_or_overlong() {
    let mut files = Vec::new();
    source_files(&root(), &mut files);
    assert!(files.len() > 20, "the walk finds the sources");
    for path in files {
        let text = std::fs::read_to_string(&path).expect("sources are text");
        let shown = path.strip_prefix(root()).unwrap_or(&path).display().to_string();
        assert!(text.starts_with("//!"), "begin {shown} with a `//!` line that says what it is for");
        assert!(text.lines().count() <= 900, "{shown} passes 900 lines; split it where its parts meet");
        for word in
            [concat!("todo", "!("), concat!("unimplemented", "!("), concat!("FIX", "ME"), concat!("#[ign", "ore")]
        {
            assert!(!text.contains(word), "{shown} holds `{word}`; finish it or take it out");
        }
    }
}

/// Links between the pages of the repository lead somewhere.
#[test]
fn links_of_the_pages_lead_somewhere() {
    let mut pages = vec![root().join("README.md"), root().join("ARCHITECTURE.md"), root().join("CONTRIBUTING.md")];
    for folder in ["docs", "docs/decisions", "docs/system-file", "docs/analyses", "docs/codes", "corpus", "benches"] {
        let Ok(entries) = std::fs::read_dir(root().join(folder)) else { continue };
        pages.extend(
            entries.filter_map(Result::ok).map(|e| e.path()).filter(|p| p.extension().is_some_and(|e| e == "md")),
        );
    }
    for page in pages {
        let text = std::fs::read_to_string(&page).unwrap_or_else(|_| panic!("{} is missing", page.display()));
        let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
        for target in targets.filter(|t| !t.starts_with("http") && !t.starts_with('#')) {
            let file = target.split('#').next().unwrap_or(target);
            let path = page.parent().expect("a page lies in a folder").join(file);
            assert!(path.exists(), "{} links to {target}, which is not there", page.display());
        }
    }
}
