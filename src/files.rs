//! Writing files so that a crash leaves either the old one or the new one.
