//! The subcommands, one file each.

pub(crate) mod decode;
pub(crate) mod frame;
