//! Guards the shape of the repository: which package may look at which, what the pure cores must never
//! know, and what the top level holds.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cargo_metadata::{DependencyKind, Metadata, MetadataCommand};

/// Our packages, each with those of ours that it may look at. A layer looks only downwards.
const LAYERS: &[(&str, &[&str])] = &[
    ("forenoon-proto", &[]),
    ("forenoon-migrations", &[]),
    ("forenoon-trade", &[]),
    ("forenoon-planner", &["forenoon-trade"]),
    ("forenoon-roads", &["forenoon-planner"]),
    ("forenoon-store", &["forenoon-migrations"]),
    (
        "forenoon-desk",
        &[
            "forenoon-store",
            "forenoon-planner",
            "forenoon-roads",
            "forenoon-trade",
        ],
    ),
    (
        "forenoon-server",
        &[
            "forenoon-proto",
            "forenoon-migrations",
            "forenoon-store",
            "forenoon-desk",
            "forenoon-planner",
            "forenoon-roads",
            "forenoon-trade",
        ],
    ),
    ("forenoon-cli", &["forenoon-proto"]),
    // These tests know the contract alone, so that they share no rule with what they judge.
    ("forenoon-tests", &["forenoon-proto"]),
];

/// The libraries that another company could use alone.
const PURE: &[&str] = &["forenoon-trade", "forenoon-planner"];

/// What a pure package must not depend on, however far down: a crate of that name, or one whose name goes
/// on after it with a hyphen or an underscore.
const IMPURE: &[&str] = &[
    "tokio",
    "async-std",
    "smol",
    "mio",
    "futures",
    "hyper",
    "tonic",
    "prost",
    "tower",
    "sea-orm",
    "sea-query",
    "sqlx",
    "rusqlite",
    "libsqlite3",
    "serde",
    "chrono",
    "jiff",
    "time",
    "tracing",
    "log",
    "reqwest",
    "socket2",
];

/// What the sources of a pure package must not name: a clock, files, the network, the environment.
const IMPURE_STD: &[&str] = &[
    "std::time::Instant",
    "Instant::now",
    "SystemTime",
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::io",
];

/// What the top level holds, besides dotfiles.
const TOP_LEVEL: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "client-cli",
    "deploy",
    "migrations",
    "proto",
    "server",
    "tests",
];

type Edges = BTreeMap<String, BTreeSet<String>>;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn metadata() -> Metadata {
    MetadataCommand::new()
        .manifest_path(root().join("Cargo.toml"))
        .other_options(["--locked".to_owned()])
        .exec()
        .expect("cargo metadata answers")
}

/// Direct dependencies of our own packages by name, without those for tests only.
fn direct_edges(metadata: &Metadata) -> Edges {
    metadata
        .workspace_packages()
        .into_iter()
        .map(|package| {
            let targets = package
                .dependencies
                .iter()
                .filter(|dependency| dependency.kind != DependencyKind::Development)
                .map(|dependency| dependency.name.clone())
                .collect();
            (package.name.to_string(), targets)
        })
        .collect()
}

/// Everything that a package brings along, by itself: without what other packages switch on, and without what
/// only runs while it is built.
fn brings_along(package: &str) -> String {
    let answer = Command::new(env!("CARGO"))
        .args(["tree", "--locked", "--package", package])
        .args(["--edges", "normal,no-proc-macro", "--prefix", "none"])
        .args(["--format", "{p}"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(answer.status.success(), "cargo tree failed: {answer:?}");
    String::from_utf8(answer.stdout).expect("names in UTF-8")
}

/// Our packages that look at one they must not look at, or that have no place in the layers.
fn upward_looks(direct: &Edges) -> Vec<String> {
    let mut faults = Vec::new();
    for (package, targets) in direct {
        let Some((_, allowed)) = LAYERS.iter().find(|(name, _)| name == package) else {
            faults.push(format!("{package} has no layer"));
            continue;
        };
        for target in targets {
            if LAYERS.iter().any(|(name, _)| name == target) && !allowed.contains(&target.as_str())
            {
                faults.push(format!("{package} must not look at {target}"));
            }
        }
    }
    faults
}

/// The impure packages in what Cargo prints: a name and a version on each line.
fn impure_packages(tree: &str) -> BTreeSet<&str> {
    tree.lines()
        .filter_map(|line| line.split(' ').next())
        .filter(|name| is_impure(name))
        .collect()
}

fn is_impure(name: &str) -> bool {
    IMPURE.iter().any(|impure| {
        name.strip_prefix(impure)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(['-', '_']))
    })
}

/// Lines of code that name what a pure source must not name. Comments may.
fn impure_lines(source: &str) -> Vec<String> {
    source
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .filter(|line| IMPURE_STD.iter().any(|impure| line.contains(impure)))
        .map(|line| line.trim().to_owned())
        .collect()
}

/// Entries of the top level that have no business there.
fn strays<'entry>(entries: impl IntoIterator<Item = &'entry str>) -> Vec<&'entry str> {
    entries
        .into_iter()
        .filter(|entry| !entry.starts_with('.') && !TOP_LEVEL.contains(entry))
        .collect()
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            files.extend(rust_files(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
    files
}

fn edges(pairs: &[(&str, &[&str])]) -> Edges {
    pairs
        .iter()
        .map(|(name, targets)| {
            let targets = targets.iter().map(|&target| target.to_owned()).collect();
            ((*name).to_owned(), targets)
        })
        .collect()
}

#[test]
fn layers_look_only_downwards() {
    assert_eq!(
        upward_looks(&direct_edges(&metadata())),
        Vec::<String>::new()
    );
}

#[test]
fn every_layer_is_a_package() {
    let direct = direct_edges(&metadata());
    for (name, _) in LAYERS {
        assert!(direct.contains_key(*name), "{name} is not in the workspace");
    }
}

#[test]
fn an_upward_look_is_found() {
    let planner_asks_the_store = edges(&[("forenoon-planner", &["forenoon-store"])]);
    assert_eq!(
        upward_looks(&planner_asks_the_store),
        ["forenoon-planner must not look at forenoon-store"]
    );
    assert_eq!(
        upward_looks(&edges(&[("forenoon-extra", &[])])),
        ["forenoon-extra has no layer"]
    );
}

#[test]
fn pure_packages_depend_on_nothing_impure() {
    for package in PURE {
        let tree = brings_along(package);
        assert!(tree.contains(package), "no packages in: {tree}");
        let found = impure_packages(&tree);
        assert!(
            found.is_empty(),
            "{package} brings along {found:?}; cargo tree --package {package} --invert NAME tells the way"
        );
    }
}

#[test]
fn an_impure_dependency_is_found() {
    let tree = "forenoon-planner v0.1.0 (/planner)\nharmless v1.0.0\nserde_json v1.0.1\ntokio v1.54.1 (*)\ntimely v2.0.0\n";
    assert_eq!(
        impure_packages(tree).into_iter().collect::<Vec<_>>(),
        ["serde_json", "tokio"]
    );
}

#[test]
fn pure_sources_touch_no_clock_no_file_and_no_network() {
    for folder in ["server/planner/src", "server/trade/src"] {
        for file in rust_files(&root().join(folder)) {
            let source = fs::read_to_string(&file).expect("a readable source");
            let found = impure_lines(&source);
            assert!(found.is_empty(), "{} names {found:?}", file.display());
        }
    }
}

#[test]
fn a_clock_in_a_source_is_found() {
    let source = "// Instant::now is not called here.\nlet begun = Instant::now();\n";
    assert_eq!(impure_lines(source), ["let begun = Instant::now();"]);
}

#[test]
fn the_top_level_holds_what_it_should() {
    let answer = Command::new("git")
        .args(["ls-files", "-z"])
        .current_dir(root())
        .output()
        .expect("git runs");
    assert!(answer.status.success(), "git ls-files failed: {answer:?}");
    let paths = String::from_utf8(answer.stdout).expect("paths in UTF-8");
    let entries: BTreeSet<&str> = paths
        .split_terminator('\0')
        .filter_map(|path| path.split('/').next())
        .collect();
    assert!(entries.contains("Cargo.toml"), "git lists no files");
    assert_eq!(strays(entries), Vec::<&str>::new());
}

#[test]
fn a_stray_entry_is_found() {
    assert_eq!(strays(["tests", ".ci", "notes.txt"]), ["notes.txt"]);
}

#[test]
fn every_package_takes_the_common_lints() {
    for package in metadata().workspace_packages() {
        let manifest = fs::read_to_string(&package.manifest_path).expect("a readable manifest");
        assert!(
            manifest.contains("[lints]\nworkspace = true"),
            "{} does not take the workspace's lints",
            package.name
        );
    }
}
