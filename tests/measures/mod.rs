//! Tests of measures.
