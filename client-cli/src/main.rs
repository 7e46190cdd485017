//! The binary `forenoon`.

fn main() {}
