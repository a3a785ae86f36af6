//! Tests of agreement.

mod case;
mod properties;
mod reference;
