//! The subcommands, one file each.

pub(crate) mod completions;
pub(crate) mod decode;
pub(crate) mod frame;
pub(crate) mod man;
pub(crate) mod schema;
