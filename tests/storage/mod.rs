//! Tests of storage.
