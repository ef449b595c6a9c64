//! The subcommands, one file each.

pub(crate) mod capture;
pub(crate) mod causes;
pub(crate) mod completions;
pub(crate) mod decode;
pub(crate) mod explain;
pub(crate) mod frame;
pub(crate) mod keypad;
pub(crate) mod layout;
pub(crate) mod layout_audit;
pub(crate) mod layout_clash;
pub(crate) mod layout_learn;
pub(crate) mod man;
pub(crate) mod numbers;
pub(crate) mod schema;
pub(crate) mod simulate;
pub(crate) mod watch;
