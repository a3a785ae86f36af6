//! Tests of media.
