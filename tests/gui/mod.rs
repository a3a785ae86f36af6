//! Tests of gui.
