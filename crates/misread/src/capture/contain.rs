//! A panic inside a library, turned into a message.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

/// What `work` gives, or what it panicked with. Nothing of such a panic reaches
/// standard error: the panic hook in place is kept and still hears of all
/// others.
pub(super) fn contained<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    static HOOK: Once = Once::new();
    if !std::thread::panicking() {
        HOOK.call_once(|| {
            let before = panic::take_hook();
            panic::set_hook(Box::new(move |info| {
                if !CONTAINED.try_with(Cell::get).unwrap_or(false) {
                    before(info);
                }
            }));
        });
    }
    let outer = CONTAINED.replace(true);
    // What `work` was building is looked at only as far as it got: it is made
    // of whole steps.
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    let ours = CONTAINED.replace(outer);
    result.map_err(|payload| {
        if !ours {
            // It came out of `uncontained`, and goes on its way.
            panic::resume_unwind(payload);
        }
        let text = payload.downcast_ref::<String>().map(String::as_str);
        text.or_else(|| payload.downcast_ref::<&str>().copied()).unwrap_or("a panic").to_owned()
    })
}

/// Runs what the caller of this library gave, inside of [`contained`]: a panic
/// in it stays one.
pub(super) fn uncontained<T>(work: impl FnOnce() -> T) -> T {
    let outer = CONTAINED.replace(false);
    let result = work();
    CONTAINED.set(outer);
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_its_message() {
        assert_eq!(contained(|| 7), Ok(7));
        assert_eq!(contained(|| -> u8 { panic!("bent {}", 2) }), Err("bent 2".to_owned()));
        assert_eq!(contained(|| -> u8 { panic!("bent") }), Err("bent".to_owned()));
        assert!(!CONTAINED.get());
    }

    #[test]
    fn a_panic_of_the_callers_own_goes_on() {
        let inside = || contained(|| uncontained(|| -> u8 { panic!("theirs") }));
        let payload = panic::catch_unwind(inside).unwrap_err();
        assert_eq!(payload.downcast_ref::<&str>(), Some(&"theirs"));
        assert!(!CONTAINED.get());
        // Work that goes on behind it is contained as before.
        assert_eq!(
            contained(|| -> u8 {
                uncontained(|| ());
                panic!("bent")
            }),
            Err("bent".to_owned())
        );
    }
}
