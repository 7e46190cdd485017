//! The contract of Forenoon, package `forenoon.v1`, as Rust types, clients and servers.
//!
//! Everything here is generated from the `.proto` files beside this crate; their comments are the
//! documentation. No rule and no conversion lives here: the edge of the server and the client each
//! convert at their own border.

#[allow(
    missing_docs,
    unreachable_pub,
    unused_qualifications,
    clippy::all,
    clippy::pedantic,
    rustdoc::all,
    reason = "generated code follows the contract's own style, which buf checks"
)]
mod packages {
    include!(concat!(env!("OUT_DIR"), "/packages.rs"));
}

pub use packages::forenoon::v1;
pub use packages::google;

/// The encoded `FileDescriptorSet` of the contract with its imports, for reflection.
pub const FILE_DESCRIPTOR_SET: &[u8] = tonic::include_file_descriptor_set!("forenoon_descriptor");
