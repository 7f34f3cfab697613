//! What samples say, and what they do not.
//!
//! [`tolerance`], [`binomial`], [`kolmogorov`] and [`two_samples`] need no distribution: they count, and round to the safe
//! side. [`series`] asks whether values are as independent and alike as all of this assumes. [`extreme`] extrapolates tails by
//! a model, so each of its results carries the sentences that limit it. Nothing here is a worst-case execution time: a sample
//! speaks for what was sampled.
//!
//! Pure functions: values in, values out; chance is a function of a seed, so that any number of threads gives the same bytes.

#![allow(
    clippy::disallowed_types,
    reason = "fits are in floating point; what becomes a verdict is counted in integers"
)]

pub mod binomial;
mod draw;
pub mod extreme;
pub mod kolmogorov;
pub mod series;
pub mod tolerance;
pub mod two_samples;
mod up;
