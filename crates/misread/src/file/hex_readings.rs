//! Hexadecimal whose length was left out, seen through the layouts at hand.

use super::entry::Entry;
use crate::Bits;
use crate::bits::HexRead;

/// One way to read hexadecimal without a length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HexReading<'a> {
    /// The layout these bits fit.
    pub entry: &'a Entry,
    /// The bits.
    pub bits: Bits,
    /// Which end of the digits they were taken from.
    pub justified: Justified,
}

/// Which end of the hexadecimal digits a read was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Justified {
    /// The first bits; padding of 0 at the end.
    Left,
    /// The last bits; padding of 0 in front.
    Right,
    /// Both give the same bits.
    Either,
}

/// The readings of hexadecimal without a length that fit a layout: its length
/// with padding of 0 on one side, its fixed bits and its parity. In the order
/// of the layouts, left-justified first.
///
/// ```
/// use misread::bits::{ReadText, parse_read_text};
/// use misread::file::{Catalogue, Justified, hex_readings};
///
/// let catalogue = Catalogue::built_in();
/// let Ok(ReadText::Hex(hex)) = parse_read_text("0x95026900") else { panic!() };
/// let readings = hex_readings(&hex, catalogue.entries());
/// assert_eq!(readings[0].entry.name(), "open-26");
/// assert_eq!(readings[0].bits.to_string(), "10010101000000100110100100");
/// assert_eq!(readings[0].justified, Justified::Left);
/// ```
pub fn hex_readings<'a>(hex: &HexRead, catalogue: &'a [Entry]) -> Vec<HexReading<'a>> {
    let mut found = Vec::new();
    for entry in catalogue {
        let readings = hex.readings(entry.layout.bits());
        let either = readings.left.is_some() && readings.left == readings.right;
        let left = if either { Justified::Either } else { Justified::Left };
        let right = readings.right.filter(|_| !either);
        for (bits, justified) in [(readings.left, left), (right, Justified::Right)] {
            if let Some(bits) = bits.filter(|bits| entry.layout.decode(bits).is_ok()) {
                found.push(HexReading { entry, bits, justified });
            }
        }
    }
    found
}
