//! Ctrl-C: long work asks now and then and keeps what is finished; all else ends at once.

use crate::exit::Exit;
use std::sync::atomic::{AtomicBool, Ordering};

static INTERRUPTED: AtomicBool = AtomicBool::new(false);
static ASKED_NOW_AND_THEN: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C ends the program with its status.
pub fn install() {
    let installed = ctrlc::set_handler(|| {
        let again = INTERRUPTED.swap(true, Ordering::SeqCst);
        if again || !ASKED_NOW_AND_THEN.load(Ordering::SeqCst) {
            std::process::exit(i32::from(Exit::Interrupted.code()));
        }
    });
    // Without a handler Ctrl-C ends the program at once, which loses only what is unfinished.
    drop(installed);
}

/// Does work that asks [`requested`] now and then: the first Ctrl-C only sets that, a second one ends the program.
pub fn watched<T>(work: impl FnOnce() -> T) -> T {
    ASKED_NOW_AND_THEN.store(true, Ordering::SeqCst);
    let done = work();
    ASKED_NOW_AND_THEN.store(false, Ordering::SeqCst);
    done
}

/// Whether the user asked to stop.
pub fn requested() -> bool {
    INTERRUPTED.load(Ordering::SeqCst)
}
