//! Settings that are each right but do not go together.

/// Two or more settings that do not go together.
#[derive(Debug)]
pub(super) struct Conflict {
    /// Full key at whose place to report it.
    pub(super) at: &'static str,
    /// Full keys that it rests on; if one of them was refused, the conflict is not reported, since the value
    /// compared would be the default and not what the person wrote.
    pub(super) involves: &'static [&'static str],
    /// What is wrong.
    pub(super) what: String,
    /// How to mend it.
    pub(super) how: String,
}
