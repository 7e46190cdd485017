//! Compiles every contract file with a pure-Rust compiler, so that no `protoc` is needed.

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

/// The import root: the folder of this package.
const ROOT: &str = ".";
/// The folder whose every `.proto` file is the contract.
const CONTRACT: &str = "forenoon/v1";
/// Vendored files which the contract may import.
const VENDORED: &str = "google";

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed={VENDORED}");
    println!("cargo:rerun-if-changed={CONTRACT}");

    let contract = proto_files(Path::new(CONTRACT))?;
    for file in &contract {
        println!("cargo:rerun-if-changed={}", file.display());
    }

    let descriptors = protox::Compiler::new([ROOT])?
        .include_imports(true)
        .include_source_info(true)
        .open_files(&contract)?
        .file_descriptor_set();

    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    fs::write(
        out.join("forenoon_descriptor.bin"),
        prost::Message::encode_to_vec(&descriptors),
    )?;
    tonic_prost_build::configure()
        .include_file("packages.rs")
        .compile_fds(descriptors)?;
    Ok(())
}

/// The `.proto` files of one folder, sorted so that a build is repeatable.
fn proto_files(folder: &Path) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path
            .extension()
            .is_some_and(|extension| extension == "proto")
        {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}
