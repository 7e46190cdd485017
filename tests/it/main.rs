//! End-to-end tests: the real programs, real databases, the public contract.

mod layers;
