//! Tests of agreement.
