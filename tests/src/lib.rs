//! What the end-to-end tests share.
