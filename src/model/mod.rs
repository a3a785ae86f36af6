//! What a study is made of: pure data, its changes and its checks, no I/O.

pub mod schema;
