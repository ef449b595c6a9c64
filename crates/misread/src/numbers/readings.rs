//! The fields a printed number can stand for.

use super::step::{Form, Step, Steps, Widths};
use super::steps::{Held, State};
use super::written::Written;
use crate::Layout;

/// One way to read the number on a card.
#[derive(Clone, Debug, PartialEq)]
pub struct PrintedReading {
    /// The index of the layout among those given.
    pub layout: usize,
    /// The values of the layout's fields that the number says, by name; the
    /// card number alone where it says no facility code.
    pub fields: Vec<(String, u64)>,
    /// The steps from the printed number to the fields.
    pub steps: Vec<Step>,
    /// Its weight, 0 to 1, over all layouts together: that of the layout times
    /// 2 to the minus of the description length.
    pub weight: f64,
}

/// Every way to read a printed number as fields of the layouts given, with
/// their weights, the heaviest first: the digits as they are or as
/// hexadecimal; one number as the card, in 3,5 digits, as facility code and
/// card joined in binary or run together in decimal; two numbers as they are.
///
/// Layouts without a field that a number can stand for are passed over; those
/// of weight 0 too. Empty where no reading fits.
///
/// ```
/// use misread::layout::{Layout, built_in};
/// use misread::numbers::{parse_written, readings};
///
/// let open_26 = Layout::new(&built_in::OPEN_26)?;
/// let found = readings(&parse_written("0012345678")?, &[(&open_26, 1.0)]);
/// let fields: Vec<_> = found.iter().map(|reading| &reading.fields).collect();
/// // 188,24910 in 3,5 digits; facility code 123 and card 45678 run together.
/// assert_eq!(fields[0], &[("facility".to_owned(), 188), ("card".to_owned(), 24910)]);
/// assert_eq!(fields[1], &[("facility".to_owned(), 123), ("card".to_owned(), 45678)]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn readings(printed: &Written, layouts: &[(&Layout, f64)]) -> Vec<PrintedReading> {
    let forms: Vec<Form> =
        layouts.iter().enumerate().filter_map(|(at, (layout, _))| Form::of(layout, at)).collect();
    let all = Steps::new(&forms);
    let as_printed = State::of(printed).map(|state| (vec![], state));
    let reread = State::reread(printed).map(|state| (vec![Step::ReadHexadecimal], state));
    let mut found: Vec<PrintedReading> = Vec::new();
    for (first, state) in as_printed.into_iter().chain(reread) {
        for (at, &(layout, weight)) in layouts.iter().enumerate() {
            for (second, fields) in fields_of(layout, state) {
                let steps: Vec<Step> = first.iter().cloned().chain(second).collect();
                let bits: f64 = steps.iter().map(|step| all.description_bits(step)).sum();
                // A facility code left open takes a word as well.
                let open = layout.fields().len() - fields.len();
                let length = bits + 2.0 * open as f64;
                let weight = weight * libm::exp2(-length);
                let same = |other: &PrintedReading| other.layout == at && other.fields == fields;
                if weight > 0.0 && !found.iter().any(same) {
                    found.push(PrintedReading { layout: at, fields, steps, weight });
                }
            }
        }
    }
    let sum: f64 = found.iter().map(|reading| reading.weight).sum();
    found.iter_mut().for_each(|reading| reading.weight /= sum);
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    found
}

/// What a number can say of a layout's fields, and by which step.
fn fields_of(layout: &Layout, state: State) -> Vec<(Option<Step>, Vec<(String, u64)>)> {
    let field = |name: &str| layout.field(name);
    let value = |name: &str, number: u64| {
        let field = field(name)?;
        field.to_raw(number).map(|_| (name.to_owned(), number))
    };
    let both =
        |facility: u64, card: u64| Some(vec![value("facility", facility)?, value("card", card)?]);
    let mut found = Vec::new();
    match state.held {
        Held::Two { facility, card } => {
            found.extend(both(facility, card).map(|fields| (None, fields)));
        }
        Held::Number(number) => {
            let name = match layout.fields() {
                [only] => only.name(),
                _ => "card",
            };
            found.extend(value(name, number).map(|field| (None, vec![field])));
            if let (Some(facility), Some(card)) = (field("facility"), field("card")) {
                let widths = Widths { facility: facility.width() as u8, card: card.width() as u8 };
                let eight = widths == Widths { facility: 8, card: 16 };
                let step = if eight { Step::ThreeFive } else { Step::Split(widths) };
                let fits = u16::from(widths.facility) + u16::from(widths.card) <= 64;
                for step in [Some(step).filter(|_| fits), Some(Step::TakenApart)] {
                    let next = step.as_ref().and_then(|step| step.apply(state));
                    if let Some(State { held: Held::Two { facility, card }, .. }) = next {
                        found.extend(both(facility, card).map(|fields| (step, fields)));
                    }
                }
            }
        }
    }
    found
}
