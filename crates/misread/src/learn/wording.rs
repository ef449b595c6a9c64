//! Phrases of the answer.

use misread_core::layout::{Code, Order};

use super::field::Form;
use super::prior::Family;

/// Indices from 0 as positions from 1, in the order given, neighbours as
/// ranges and an even spacing as a range with a stride.
pub(super) fn positions(indices: impl IntoIterator<Item = usize>) -> String {
    let listed = indices.into_iter().map(|index| index as u16 + 1);
    crate::file::positions_in_words(listed)
}

/// `bit 7`, `bits 2-9`: indices from 0.
pub(super) fn bits(indices: impl IntoIterator<Item = usize>) -> String {
    let indices: Vec<usize> = indices.into_iter().collect();
    let noun = if indices.len() == 1 { "bit" } else { "bits" };
    format!("{noun} {}", positions(indices))
}

/// A field's bits and how they make its number.
pub(super) fn field(form: &Form) -> String {
    let listed = form.listed().into_iter().map(|span| usize::from(span.first) - 1);
    let mut says = format!("{}, {}", bits(listed), order(form));
    if form.offset > 0 {
        says.push_str(&format!(", and {} added", form.offset));
    } else if form.offset < 0 {
        says.push_str(&format!(", and {} taken off", -form.offset));
    }
    says
}

/// How the bits make the number.
pub(super) fn order(form: &Form) -> String {
    let order = match form.order() {
        Order::MsbFirst => "most significant bit first",
        Order::LsbFirst => "least significant bit first",
    };
    match (form.family, form.code()) {
        (Family::Bytes, _) => "the bytes in reverse".to_owned(),
        (Family::Nibbles, _) => "the groups of four in reverse".to_owned(),
        (_, Code::Bcd) => format!("four bits a decimal digit, {order}"),
        (_, Code::Binary) => order.to_owned(),
    }
}

/// Bits of a field, given highest place first, in the order a layout lists
/// them.
pub(super) fn in_order(indices: impl Iterator<Item = usize>, form: &Form) -> String {
    let mut indices: Vec<usize> = indices.collect();
    let listed: Vec<usize> =
        form.listed().into_iter().map(|span| usize::from(span.first) - 1).collect();
    indices.sort_by_key(|index| listed.iter().position(|other| other == index));
    bits(indices)
}

/// A column's number, or a part of it.
pub(super) fn part(column: &str, field: &str, part: Option<(u32, bool)>) -> String {
    match part {
        None => column.to_owned(),
        Some((digits, true)) => format!("{field} ({column} without its last {digits} digits)"),
        Some((digits, false)) => format!("{field} (the last {digits} digits of {column})"),
    }
}

/// A share as people say it.
pub(super) fn share(share: f64) -> String {
    if share >= 0.9995 {
        "over 99.9 %".to_owned()
    } else if share < 0.001 {
        "under 0.1 %".to_owned()
    } else {
        format!("{:.1} %", share * 100.0)
    }
}
