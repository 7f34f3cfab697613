//! What a supply can come from, and how each is written as a table behind a lead.
//!
//! Computes: the lower supply curve of a budget server, of a proportional share, and of a core of one's own, also where
//! interrupt handlers take time from a share or a core.
//! Source: periodic resource: Shin & Lee, RTSS 2003; with a deadline (explicit deadline periodic resource): Easwaran,
//! Anand & Lee, RTSS 2007; bounded delay: Mok, Feng & Chen, RTAS 2001; a lag within one quantum: Stoica, Abdel-Wahab and
//! others, RTSS 1996. From memory.
//! Assumptions: the server gives its whole budget between the begin and the deadline of each of its periods; sharing in
//! turns of a quantum is never more than a quantum ahead or behind.
//! Symbols: `Q` budget, `P` period, `D` deadline, `delta` delay, in ns; `alpha = num / den` share.
//! Server: frame `P`, usable `[0, Q)`, from `Q` on, lead `D - Q`: nothing for `P + D - 2 Q`, then `Q` in every `P`. The worst
//! interval begins where a budget has just been given at once, and all later ones are given as late as can be.
//! Share: `alpha (t - delta)`. Frame `den`, cut into at most [`MOST_STEPS`] steps; by each step's end as many whole ns as the
//! line has reached there, at the end of the step. So the curve is nowhere above the line, and less than one step and one
//! ns behind it.
//! Handlers take at most `U t + H` of any span: from a share there is left `alpha (t - delta) - U t - H`, which is the line of the
//! share `alpha - U` behind the delay `(alpha delta + H) / (alpha - U)`; a core of one's own is the whole share without delay.
//! Invariants and why it ends: plain arithmetic; `den` is at most 10^6 once a finer share is rounded down to parts per
//! million.
//! Differs from the source: whole ns.
//! Checked by: the closed forms, and every placement of small servers, in `tests/`.

use super::{BusyStart, Interval, MAX_TIME_NS, Supply, SupplyError};
use crate::handlers::Rate;

/// The most steps in which a share's line is followed within its frame.
pub const MOST_STEPS: u64 = 1000;
/// The finest share that is kept as it is.
const FINEST: u64 = 1_000_000;

/// What a supply comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SupplyKind {
    /// Windows in a major time frame.
    WindowTable,
    /// A budget in every period.
    BudgetServer,
    /// A share in turns of a quantum.
    ProportionalShare,
    /// The whole core.
    DedicatedCore,
    /// The whole core but for interrupts that are handled at once.
    InterruptedCore,
}

impl SupplyKind {
    /// Whether the supply from an absolute instant is known; else only a lower curve is.
    pub const fn is_exact(self) -> bool {
        matches!(self, Self::WindowTable | Self::DedicatedCore)
    }

    /// The name of its page in `docs/analyses/`.
    pub const fn analysis(self) -> &'static str {
        match self {
            Self::WindowTable => "window-supply",
            Self::BudgetServer => "server-supply",
            Self::ProportionalShare => "share-supply",
            Self::DedicatedCore => "dedicated-core",
            Self::InterruptedCore => "interrupts",
        }
    }

    /// The publication that it rests on.
    pub const fn source(self) -> &'static str {
        match self {
            Self::WindowTable => "Mok, Feng and Chen, RTAS 2001 (from memory)",
            Self::BudgetServer => "Shin and Lee, RTSS 2003; Easwaran, Anand and Lee, RTSS 2007 (from memory)",
            Self::ProportionalShare => {
                "Mok, Feng and Chen, RTAS 2001; Stoica, Abdel-Wahab and others, RTSS 1996 (from memory)"
            }
            Self::DedicatedCore => "common practice, no source",
            Self::InterruptedCore => "Lehoczky, RTSS 1990; Mok, Feng and Chen, RTAS 2001 (from memory)",
        }
    }
}

/// A share of a core, `numerator / denominator`, above zero and at most the whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    numerator: u64,
    denominator: u64,
}

impl Share {
    /// The share, at most the whole core; one finer than a millionth is rounded down to whole parts per million.
    ///
    /// # Errors
    /// [`SupplyError::Nothing`] where nothing is left of it.
    pub fn new(numerator: u128, denominator: u128) -> Result<Self, SupplyError> {
        if denominator == 0 {
            return Err(SupplyError::Nothing);
        }
        let numerator = numerator.min(denominator);
        let common = num_integer::gcd(numerator, denominator);
        let (mut numerator, mut denominator) = (numerator / common, denominator / common);
        if denominator > u128::from(FINEST) {
            numerator = scaled_down(numerator, denominator);
            denominator = u128::from(FINEST);
        }
        // Both are at most a million now.
        let share = Self { numerator: numerator as u64, denominator: denominator as u64 };
        if share.numerator == 0 { Err(SupplyError::Nothing) } else { Ok(share) }
    }

    /// The upper part of the fraction.
    pub fn numerator(self) -> u64 {
        self.numerator
    }

    /// The lower part of the fraction.
    pub fn denominator(self) -> u64 {
        self.denominator
    }

    /// The whole.
    pub const WHOLE: Self = Self { numerator: 1, denominator: 1 };

    /// What is left of the line `share (t - delay)` at least, where handlers take their time from it.
    ///
    /// # Errors
    /// [`SupplyError::Nothing`] where they may take all of it.
    pub fn left_by(self, handlers: Rate, delay_ns: u64) -> Result<(Self, u64), SupplyError> {
        let (own, whole) = (u128::from(self.numerator), u128::from(self.denominator));
        let taken = u128::from(handlers.per_million) * whole;
        // In parts of `whole` millions; nothing here passes 2^120.
        let left = (own * 1_000_000).checked_sub(taken).filter(|left| *left > 0).ok_or(SupplyError::Nothing)?;
        let behind = (own * u128::from(delay_ns) + u128::from(handlers.burst_ns) * whole) * 1_000_000;
        let delay_ns = u64::try_from(behind.div_ceil(left)).unwrap_or(u64::MAX);
        Ok((Self::new(left, whole * 1_000_000)?, delay_ns))
    }

    /// The least whole ns in which the share of them holds `work_ns`, saturating.
    pub fn span_for_ns(self, work_ns: u64) -> u64 {
        let span_ns = (u128::from(work_ns) * u128::from(self.denominator)).div_ceil(u128::from(self.numerator));
        u64::try_from(span_ns).unwrap_or(u64::MAX)
    }

    /// The share of `span_ns`, rounded down to whole ns.
    pub fn of_ns(self, span_ns: u64) -> u64 {
        (u128::from(span_ns) * u128::from(self.numerator) / u128::from(self.denominator)) as u64 // At most the span.
    }
}

/// `numerator / denominator` in whole parts of [`FINEST`], rounded down.
fn scaled_down(numerator: u128, denominator: u128) -> u128 {
    // Numbers too large to be multiplied lose low bits: above for the denominator, so that the share only shrinks.
    let shift = (128 - denominator.leading_zeros()).saturating_sub(100);
    let (numerator, denominator) = (numerator >> shift, (denominator >> shift) + u128::from(shift > 0));
    numerator * u128::from(FINEST) / denominator
}

impl Supply {
    /// The lower curve of a budget server that gives `budget_ns` within `deadline_ns` of the begin of every period.
    ///
    /// # Errors
    /// A [`SupplyError`] where there is no budget, it is longer than its period or deadline, or a time is too long.
    pub fn budget_server(budget_ns: u64, period_ns: u64, deadline_ns: u64) -> Result<Self, SupplyError> {
        if budget_ns == 0 {
            return Err(SupplyError::Nothing);
        }
        if budget_ns > period_ns.min(deadline_ns) {
            return Err(SupplyError::BudgetTooLong);
        }
        if deadline_ns > MAX_TIME_NS {
            return Err(SupplyError::LeadTooLong);
        }
        let table = Self::new(period_ns, &[Interval { start_ns: 0, end_ns: budget_ns }])?;
        let lead_ns = (deadline_ns - budget_ns) as i64; // At most 2^53.
        Ok(Self { kind: SupplyKind::BudgetServer, lead_ns, ..table })
    }

    /// The line `share (t - delay)`, or a little below it.
    ///
    /// # Errors
    /// [`SupplyError::LeadTooLong`] for the delay.
    pub fn proportional_share(share: Share, delay_ns: u64) -> Result<Self, SupplyError> {
        if delay_ns > MAX_TIME_NS {
            return Err(SupplyError::LeadTooLong);
        }
        let frame_ns = share.denominator;
        let steps = frame_ns.min(MOST_STEPS);
        let end_ns = |step: u64| step * frame_ns / steps; // At most 10^9 before the division.
        let usable = |step: u64| {
            let (start_ns, end_ns) = (end_ns(step), end_ns(step + 1));
            let length_ns = share.of_ns(end_ns) - share.of_ns(start_ns);
            Interval { start_ns: end_ns - length_ns, end_ns }
        };
        let windows: Vec<_> = (0..steps).map(usable).filter(|window| window.start_ns < window.end_ns).collect();
        let mut supply = Self::without_starts(frame_ns, super::join_touching(&windows));
        supply.kind = SupplyKind::ProportionalShare;
        supply.lead_ns = delay_ns as i64; // At most 2^53.
        supply.starts = vec![BusyStart::FRAME_BEGIN];
        Ok(supply)
    }

    /// The whole core, where handlers leave no less of it than `share (t - delay)`.
    ///
    /// # Errors
    /// [`SupplyError::LeadTooLong`] for the delay.
    pub fn interrupted_core(share: Share, delay_ns: u64) -> Result<Self, SupplyError> {
        Ok(Self { kind: SupplyKind::InterruptedCore, ..Self::proportional_share(share, delay_ns)? })
    }

    /// The whole core.
    pub fn dedicated() -> Self {
        let mut supply = Self::without_starts(1, vec![Interval { start_ns: 0, end_ns: 1 }]);
        supply.kind = SupplyKind::DedicatedCore;
        supply.starts = vec![BusyStart::FRAME_BEGIN];
        supply
    }
}
