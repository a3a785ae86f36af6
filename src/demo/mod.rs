//! The invented demo study: one script yields its film and its true record.
