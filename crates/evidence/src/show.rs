//! Quantities in words.

use claim::{Relation, Unit, Verdict};
use quantity::{BitRate, Bytes, Duration, Ppm};

/// An amount with its unit, exactly.
pub(crate) fn amount(value: u64, unit: Unit) -> String {
    match unit {
        Unit::Nanoseconds => Duration::from_ns(value).to_string(),
        Unit::Bytes => Bytes::new(value).to_string(),
        Unit::Messages if value == 1 => "1 message".to_owned(),
        Unit::Messages => format!("{value} messages"),
        Unit::Ppm => Ppm::new(value).to_string(),
        Unit::Count => value.to_string(),
        Unit::MillibitsPerSecond => BitRate::from_millibits_per_s(value).to_string(),
    }
}

/// The same where there may be none.
pub(crate) fn amount_or(value: Option<u64>, unit: Unit, none: &str) -> String {
    value.map_or_else(|| none.to_owned(), |value| amount(value, unit))
}

/// A limit with its sign, such as `≤ 50 ms`.
pub(crate) fn limit(verdict: &Verdict) -> String {
    let sign = match verdict.relation {
        Relation::AtMost => "≤",
        Relation::AtLeast => "≥",
    };
    verdict.limit.map_or_else(|| "–".to_owned(), |limit| format!("{sign} {}", amount(limit, verdict.unit)))
}

/// What simulation saw beside the bound: `attained`, or how far below it the largest value seen stays; nothing where it did
/// not look.
pub(crate) fn simulated(verdict: &Verdict) -> String {
    match (verdict.simulated, verdict.gap()) {
        (None, _) => String::new(),
        (Some(_), Some(0)) => "attained".to_owned(),
        (Some(_), Some(gap)) => format!("gap {}", amount(gap, verdict.unit)),
        // Such runs wait for every master in full, and the bound that judges does not.
        (Some(seen), None) if verdict.generic > verdict.bound => {
            format!("{} seen, all waits in full", amount(seen.largest, verdict.unit))
        }
        (Some(seen), None) => format!("{} seen", amount(seen.largest, verdict.unit)),
    }
}

/// How much of its limit a claim uses, in tenths of a percent, rounded up: at most 1000 exactly where the limit is
/// kept. Where more is better, it is the limit over the bound. `None` where there is no bound or the ratio is without
/// meaning.
pub(crate) fn used_permille(verdict: &Verdict) -> Option<u64> {
    let (bound, limit) = (verdict.bound?, verdict.limit?);
    let (part, whole) = match verdict.relation {
        Relation::AtMost => (bound, limit),
        Relation::AtLeast => (limit, bound),
    };
    permille_up(part, whole)
}

/// The same for a claim that is open. Where more is better, the limit over the bound would read as the opposite.
pub(crate) fn overused_permille(verdict: &Verdict) -> Option<u64> {
    used_permille(verdict).filter(|_| verdict.relation == Relation::AtMost)
}

/// `part / whole` in tenths of a percent, rounded up.
pub(crate) fn permille_up(part: u64, whole: u64) -> Option<u64> {
    if whole == 0 {
        return None;
    }
    u64::try_from((u128::from(part) * 1000).div_ceil(u128::from(whole))).ok()
}

/// Tenths of a percent in words, such as `93.8 %`.
pub(crate) fn percent(permille: u64) -> String {
    format!("{}.{} %", permille / 10, permille % 10)
}

/// Parts per million as a percentage with one decimal, rounded half up.
pub(crate) fn rounded_percent(ppm: u64) -> String {
    percent(ppm.saturating_add(500) / 1000)
}

/// A growth in parts per million with its sign, rounded down to a tenth of a percent.
pub(crate) fn signed_percent(ppm: i64) -> String {
    let permille = ppm.div_euclid(1000);
    let sign = if permille < 0 { "−" } else { "+" };
    format!("{sign}{}", percent(permille.unsigned_abs()))
}

/// A count and its noun, such as `1 claim` or `3 claims`.
pub(crate) fn count(n: usize, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// A title with its first letter a capital.
pub(crate) fn capital(title: &str) -> String {
    let mut chars = title.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

/// The least of one, two and five times a power of ten of which at most `most` go into `span`, but for the first.
pub(crate) fn round_step(span: u64, most: u64) -> u64 {
    let steps = (0..19).flat_map(|power| [1, 2, 5].map(|factor: u64| factor.saturating_mul(10u64.pow(power))));
    let mut steps = steps.skip_while(|step| span / step >= most.max(1));
    steps.next().unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_says_100_percent_only_where_the_limit_is_kept() {
        assert_eq!(permille_up(9378, 10_000), Some(938));
        assert_eq!(permille_up(1_000_000, 1_000_000), Some(1000));
        assert_eq!(permille_up(1_000_001, 1_000_000), Some(1001));
        assert_eq!(permille_up(1, 0), None);
        assert_eq!(percent(1001), "100.1 %");
        assert_eq!([34_088, 999, -1].map(signed_percent), ["+3.4 %", "+0.0 %", "−0.1 %"]);
    }

    #[test]
    fn amounts_are_exact() {
        assert_eq!(amount(9_378_000, Unit::Nanoseconds), "9.378 ms");
        assert_eq!(amount(305_000, Unit::Ppm), "30.5 %");
        assert_eq!(amount(1, Unit::Messages), "1 message");
        assert_eq!(amount(1 << 20, Unit::Bytes), "1 MiB");
    }
}
