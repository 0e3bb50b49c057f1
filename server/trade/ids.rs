//! Ids, one type for each noun, so that a lot's id never stands where an outlet's is meant.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            pub fn new(id: impl Into<String>) -> Self {
                $name(id.into())
            }

            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl From<&str> for $name {
            fn from(id: &str) -> Self {
                $name(id.to_string())
            }
        }
    )*};
}

ids! {
    /// A grade's slug, in plain trade words: `copper-2`.
    GradeId
    LotId
    OutletId
    /// A kind of unit: `tower-computer`.
    KindId
    /// A part of a kind: `power-supply`.
    PartId
    /// Grades that are handled alike: `copper`, `boards`.
    Family
}
