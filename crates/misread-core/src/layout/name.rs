//! Names of layouts and fields.

use core::fmt;

use super::MAX_NAME;

/// A name held in place: up to 32 letters, digits, dashes, dots and
/// underscores.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Name {
    bytes: [u8; MAX_NAME],
    len: u8,
}

impl Name {
    /// `None` for text that is not a name.
    pub(crate) fn new(text: &str) -> Option<Self> {
        let allowed = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.');
        let begins_well = text.bytes().next().is_some_and(|b| b.is_ascii_alphanumeric());
        if text.len() > MAX_NAME || !begins_well || !text.bytes().all(allowed) {
            return None;
        }
        let mut bytes = [0; MAX_NAME];
        bytes[..text.len()].copy_from_slice(text.as_bytes());
        Some(Name { bytes, len: text.len() as u8 })
    }

    pub(crate) fn as_str(&self) -> &str {
        core::str::from_utf8(self.as_bytes()).unwrap_or_default()
    }

    #[inline]
    pub(crate) fn as_bytes(&self) -> &[u8] {
        &self.bytes[..usize::from(self.len)]
    }
}

impl fmt::Debug for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.as_str().fmt(f)
    }
}
