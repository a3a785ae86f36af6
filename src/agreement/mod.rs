//! Agreement of two codings of one session: alignment, tables, kappa, matched events.

pub mod align;
