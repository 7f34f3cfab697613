//! Words for sentences.

use quantity::exact_ratio_ppm;

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list(names: &[String]) -> String {
    match names {
        [] => "nothing".to_owned(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// A part of a whole in percent, rounded down to a ten-thousandth.
pub(crate) fn share(part: u64, whole: u64) -> String {
    exact_ratio_ppm(part, whole).map_or_else(|| "no share".to_owned(), |ppm| ppm.to_string())
}
