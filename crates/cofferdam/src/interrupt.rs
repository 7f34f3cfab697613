//! Ctrl-C, and SIGTERM as batch systems send it: long work asks now and then and keeps what is finished; all else ends at once.
//!
//! SIGHUP is left alone, so that work under `nohup` outlives its terminal.

use crate::exit::Exit;
use crate::terminal;
use std::sync::atomic::{AtomicBool, Ordering};

static INTERRUPTED: AtomicBool = AtomicBool::new(false);
static ASKED_NOW_AND_THEN: AtomicBool = AtomicBool::new(false);

/// From now on both end the program with its status.
pub fn install() {
    // Without a handler they end the program at once, which loses only what is unfinished.
    drop(ctrlc::set_handler(asked_to_stop));
    #[cfg(unix)]
    if let Ok(mut signals) = signal_hook::iterator::Signals::new([signal_hook::consts::SIGTERM]) {
        std::thread::spawn(move || signals.forever().for_each(|_| asked_to_stop()));
    }
}

fn asked_to_stop() {
    let again = INTERRUPTED.swap(true, Ordering::SeqCst);
    if again || !ASKED_NOW_AND_THEN.load(Ordering::SeqCst) {
        terminal::end_line();
        std::process::exit(i32::from(Exit::Interrupted.code()));
    }
}

/// Does work that asks [`requested`] now and then: the first signal only sets that, a second one ends the program.
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
