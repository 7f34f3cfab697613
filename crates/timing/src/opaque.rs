//! Guests of which nothing is known but what they need.
//!
//! Computes: the span in which a budget is surely supplied, wherever the span begins; the least delay with which a share of
//! a core is surely supplied.
//! Source: the inverse of the lower supply curve, and its horizontal distance from a line: Mok, Feng & Chen 2001; the span of
//! a budget: Lipari & Bini 2003. From memory.
//! Assumptions: those of the supply.
//! Symbols: `S(s, t)` supply from a start `s`; `Q` budget; `alpha` share; `M` frame; times in ns.
//! Budget: `max over s of min { t : S(s, t) >= Q }`. Share: `max over s and t of t - S(s, t) / alpha`, rounded up; it exists
//! where the share is at most `S(M) / M`.
//! Invariants and why it ends: `t - S / alpha` is greatest where supply begins again after a pause, and a frame later it is
//! no greater, so the window starts of one frame are enough. Where some supply of the first frame is lost, spans from 0 count
//! as well.
//! Differs from the source: the exact supply where it is known.
//! Checked by: tick-by-tick search over small tables and servers in `tests/`.

use crate::supply::{BusyStart, Supply};

const MILLION: u64 = 1_000_000;

/// A worst span and where it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// The length, in ns.
    pub span_ns: u64,
    /// The begin, in ns from the frame's begin.
    pub start_ns: u64,
    /// Whether that is in the first frame.
    pub at_boot: bool,
}

/// The shortest span that surely holds `budget_ns`; none where it never is supplied or the span passes `u64`.
pub fn span_for_budget(supply: &Supply, budget_ns: u64) -> Option<Span> {
    let span = |start: &BusyStart| Some((supply.span_for_ns(start.at_ns(), budget_ns)?, start.at_ns(), false));
    let any = supply.busy_starts().iter().map(span).collect::<Option<Vec<_>>>()?;
    let at_boot = match supply.boot_ns() {
        0 => None,
        _ => Some((supply.span_for_ns(0, budget_ns.checked_add(supply.boot_loss_ns())?)?, 0, true)),
    };
    latest(any.into_iter().chain(at_boot))
}

/// The least delay with which `share_ppm` parts per million are surely supplied; none where the supply has less in the
/// long run.
pub fn delay_for_share(supply: &Supply, share_ppm: u64) -> Option<Span> {
    let asked = u128::from(share_ppm) * u128::from(supply.frame_ns());
    if asked > u128::from(supply.per_frame_ns()) * u128::from(MILLION) {
        return None;
    }
    let starts = supply.busy_starts().iter().map(|start| (start.at_ns(), 0, false));
    let boot = (supply.boot_ns() > 0).then_some((0, supply.boot_ns(), true));
    latest(starts.chain(boot).map(|(start_ns, silent_ns, at_boot)| {
        (delay_from_ns(supply, share_ppm, start_ns, silent_ns), start_ns, at_boot)
    }))
}

/// The least delay over spans from `start_ns`, the first `silent_ns` of which have no supply.
fn delay_from_ns(supply: &Supply, share_ppm: u64, start_ns: u64, silent_ns: u64) -> u64 {
    let lost_ns = supply.supply_ns(start_ns, silent_ns);
    let behind_ns = |span_ns: u64| {
        let supplied_ns = supply.supply_ns(start_ns, span_ns).saturating_sub(lost_ns);
        let due_ns = u128::from(supplied_ns) * u128::from(MILLION) / u128::from(share_ppm.max(1));
        u128::from(span_ns).saturating_sub(due_ns) as u64 // At most the span.
    };
    let frame_ns = supply.frame_ns();
    let until = |window_start_ns: u64| (window_start_ns + frame_ns - start_ns % frame_ns) % frame_ns;
    // A window that the silence takes in part is met whole a frame later.
    let span_ns = |at_ns: u64| if at_ns < silent_ns { at_ns + frame_ns } else { at_ns };
    let spans = supply.windows().iter().map(|window| span_ns(until(window.start_ns)) + supply.lead_ns());
    spans.chain([silent_ns]).map(behind_ns).fold(0, u64::max)
}

fn latest(spans: impl Iterator<Item = (u64, u64, bool)>) -> Option<Span> {
    let worst = spans.reduce(|worst, next| if next.0 > worst.0 { next } else { worst });
    worst.map(|(span_ns, start_ns, at_boot)| Span { span_ns, start_ns, at_boot })
}
