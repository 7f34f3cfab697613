//! Ctrl-C: long work asks now and then and keeps what is finished.

use std::sync::atomic::{AtomicBool, Ordering};

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// From now on the first Ctrl-C asks long work to stop; a second one ends the program at once.
pub fn install() {
    let installed = ctrlc::set_handler(|| {
        if INTERRUPTED.swap(true, Ordering::SeqCst) {
            std::process::exit(i32::from(crate::exit::Exit::Interrupted.code()));
        }
    });
    // Without a handler Ctrl-C ends the program at once, which loses only what is unfinished.
    drop(installed);
}

/// Whether the user asked to stop.
pub fn requested() -> bool {
    INTERRUPTED.load(Ordering::SeqCst)
}
