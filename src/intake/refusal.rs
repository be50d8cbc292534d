//! Why a record is refused.

use std::fmt;

macro_rules! refusals {
    ($($(#[$doc:meta])* $variant:ident $name:literal $mend:literal,)*) => {
        /// Why a record is refused. Names are stable: scripts and pages show them.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Refusal { $($(#[$doc])* $variant,)* }

        impl Refusal {
            /// Every reason.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The word for it everywhere.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// How to mend it, in one sentence.
            pub const fn mend(self) -> &'static str {
                match self { $(Self::$variant => $mend,)* }
            }
        }
    };
}

refusals! {
    /// The payload is larger than 64 KiB.
    TooLarge "too-large" "Send fewer records in one message.",
    /// A pack holds more than 1,000 records.
    TooManyRecords "too-many-records" "Send at most 1,000 records in one message.",
    /// Text that is not UTF-8.
    NotUtf8 "not-utf8" "Send text as UTF-8, or bytes as SenML CBOR.",
    /// Neither SenML nor JSON nor a known word or number.
    NotParsable "not-parsable" "Send SenML, a JSON object with `value`, or a bare value.",
    /// A JSON object without `value`.
    NoValue "no-value" "Name the value `value`, or say where it is with `value = \"/pointer\"` in the system file.",
    /// The JSON has nothing where the system file points.
    MissingPointer "missing-pointer" "Compare the payload with the pointers in the system file.",
    /// NaN or infinite.
    NotANumber "not-a-number" "Send no value while the sensor has none.",
    /// A word where a number is due, or the other way round.
    WrongType "wrong-type" "Send a number for measurements, a truth value or a word for switches.",
    /// A unit that does not belong to the quantity.
    WrongUnit "wrong-unit" "Use the unit of the quantity, or state `unit`, `scale` and `offset` in the system file.",
    /// The record names another quantity than its topic, or none.
    WrongQuantity "wrong-quantity" "Name the record after the quantity of its topic.",
    /// SenML of a later version, or with a field that must be understood.
    UnsupportedSenml "unsupported-senml" "Send SenML of version 10 without mandatory extensions.",
    /// Beyond what is physically possible.
    OutOfRange "out-of-range" "Check the unit and the sensor.",
    /// The time cannot be understood.
    BadTime "bad-time" "Send RFC 3339, or Unix time in seconds or milliseconds.",
    /// More than 10 minutes ahead of its arrival.
    InFuture "in-future" "Set the sensor's clock.",
    /// More than 400 days before its arrival.
    TooOld "too-old" "Set the sensor's clock, or leave the time out.",
    /// One sensor reports more than twice a second for minutes on end.
    TooOften "too-often" "Let the sensor report once a second at most; every few minutes are enough.",
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
