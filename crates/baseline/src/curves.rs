//! The analysis' curves as the report draws them.

use evidence::Curve;
use model::System;
use plan::Plan;

/// Supply and demand of every partition that could be analysed.
pub(crate) fn curves(system: &System, plan: &Plan) -> Vec<Curve> {
    timing::claims::supply_curves(system, plan).into_iter().map(drawn).collect()
}

fn drawn(curve: timing::claims::SupplyCurve) -> Curve {
    Curve {
        partition: curve.partition,
        level: curve.level,
        blackout_ns: curve.blackout_ns,
        least_supply: curve.least_supply,
        demand: curve.demand,
        meets_ns: curve.meets_ns,
    }
}
