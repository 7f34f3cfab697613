//! Fits to samples whose truth is known, and chance that does not depend on threads.

#![allow(clippy::disallowed_types, reason = "fits are in floating point")]

use statistics::extreme::gev::{self, Gev};
use statistics::extreme::gpd::{self, Gpd};
use statistics::extreme::{Limit, Problem, Quantiles, bootstrap, goodness, gumbel, threshold};

/// Quantiles at evenly spread shares: a sample as good as one can be.
fn even<Q: Quantiles>(of: &Q, number: u32) -> Vec<f64> {
    (0..number).map(|k| of.at((f64::from(k) + 0.5) / f64::from(number))).collect()
}

#[test]
fn an_even_sample_is_fitted_by_what_it_was_made_of() {
    for shape in [-0.3, -0.05, 0.0, 0.1, 0.4] {
        let truth = Gpd { scale: 5000.0, shape };
        let fit = gpd::fit_excesses(even(&truth, 4000), 200_000.0, 100_000).expect("it has a maximum");
        assert!((fit.gpd.shape - shape).abs() < 0.02, "{shape}: {:?}", fit.gpd);
        assert!((fit.gpd.scale / 5000.0 - 1.0).abs() < 0.02, "{shape}: {:?}", fit.gpd);
        let truth = Gev { location: 270_000.0, scale: 5000.0, shape };
        let fit = gev::fit_maxima(&even(&truth, 4000)).expect("it has a maximum");
        assert!((fit.gev.shape - shape).abs() < 0.02, "{shape}: {:?}", fit.gev);
        assert!((fit.gev.location - 270_000.0).abs() < 100.0, "{shape}: {:?}", fit.gev);
    }
}

/// A shape of zero is the exponential distribution, whose most likely scale is the mean.
#[test]
fn distributions_meet_where_the_shape_is_zero() {
    let [nearly, exactly] = [1e-7, 0.0].map(|shape| Gpd { scale: 3.0, shape });
    for share in [0.01, 0.5, 0.999] {
        assert!((nearly.at(share) - exactly.at(share)).abs() < 1e-4);
        assert!((Quantiles::below(&exactly, exactly.at(share)) - share).abs() < 1e-12);
        let gev = Gev { location: 1.0, scale: 2.0, shape: -0.2 };
        assert!((Quantiles::below(&gev, gev.at(share)) - share).abs() < 1e-12);
    }
    assert!((exactly.passed_with((-2.0_f64).exp()) - 6.0).abs() < 1e-12);
}

#[test]
fn replicates_are_the_same_on_any_number_of_threads() {
    let fit = gpd::fit_excesses(even(&Gpd { scale: 10.0, shape: 0.1 }, 500), 0.0, 500).expect("it has a maximum");
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads can be had");
        let level = |gpd: &Gpd| gpd.passed_with(1e-4);
        pool.install(|| {
            (
                bootstrap::resampled(&fit.gpd, &fit.excesses, 7, 200, 20, level),
                goodness::test(&fit.gpd, &fit.excesses, 7, 50),
                bootstrap::resampled(&fit.gpd, &fit.excesses, 8, 200, 20, level).interval,
            )
        })
    };
    let (one, goodness, other_seed) = on(1);
    assert_eq!((one.clone(), goodness, other_seed), on(3));
    assert_ne!(one.interval, other_seed, "another seed draws other samples");
    let (low, high) = (one.interval.low.expect("fits"), one.interval.high.expect("fits"));
    assert!(low < one.interval.value && one.interval.value < high);
    assert_eq!((one.replicates, one.lost, one.limit()), (200, 0, None));
}

#[test]
fn the_goodness_of_fit_tells_what_fits_from_what_does_not() {
    let fits = even(&Gev { location: 0.0, scale: 1.0, shape: 0.1 }, 300);
    let fit = gev::fit_maxima(&fits).expect("it has a maximum");
    let good = goodness::test(&fit.gev, &fits, 1, 200);
    assert!(good.kolmogorov_p > 0.5 && good.anderson_p > 0.5, "{good:?}");
    // Two heaps far apart are of no such distribution.
    let heaps: Vec<f64> = fits.iter().enumerate().map(|(k, x)| if k % 2 == 0 { *x } else { x + 40.0 }).collect();
    let fit = gev::fit_maxima(&heaps).expect("it has a maximum");
    let bad = goodness::test(&fit.gev, &heaps, 1, 200);
    assert!(bad.kolmogorov_p < 0.01 && bad.anderson_p < 0.01, "{bad:?}");
}

/// Above any threshold an exponential sample exceeds it by its scale on average, with a shape of zero.
#[test]
fn an_exponential_sample_is_stable_over_thresholds() {
    let values = even(&Gpd { scale: 100.0, shape: 0.0 }, 20_000);
    for above in threshold::above(&values, &[0.0, 100.0, 200.0]) {
        let (mean, error) = above.mean_excess.expect("many are above");
        assert!((mean - 100.0).abs() < error.max(1.0), "{above:?}");
        let ((shape, _), (scale, _)) = (above.shape.expect("a fit"), above.modified_scale.expect("a fit"));
        assert!(shape.abs() < 0.03 && (scale - 100.0).abs() < 6.0, "{above:?}");
    }
    let beyond = threshold::above(&values, &[1e9])[0];
    assert_eq!((beyond.excesses, beyond.mean_excess, beyond.shape), (0, None, None));
}

/// The profile of a level is as far below its maximum at both ends as the confidence says, and longer upwards.
#[test]
fn profiles_end_on_both_sides_of_the_estimate() {
    let fit = gpd::fit_excesses(even(&Gpd { scale: 10.0, shape: 0.1 }, 200), 50.0, 10_000).expect("it has a maximum");
    let (delta, profile) = (fit.level(1e-5, 20).expect("rare"), fit.level_by_profile(1e-5, 20).expect("rare"));
    let (low, high) = (profile.low.expect("bounded"), profile.high.expect("bounded"));
    assert!(low < profile.value && profile.value < high);
    assert!(high - profile.value > profile.value - low, "{profile:?}");
    assert!((high - low) / (delta.high.expect("finite") - delta.low.expect("finite")) > 0.5);
    assert_eq!(fit.level(0.5, 20), None, "half of the values lie below the threshold");
}

#[test]
fn every_fit_carries_its_limits() {
    let maxima = even(&Gev { location: 0.0, scale: 1.0, shape: 0.2 }, 40);
    let fit = gev::fit_maxima(&maxima).expect("it has a maximum");
    for limit in
        [Limit::NotAWorstCase, Limit::Extrapolates, Limit::AssumesIndependence, Limit::FewValues, Limit::Unbounded]
    {
        assert!(fit.limits.contains(&limit), "{limit:?}");
    }
    assert!(gumbel::fit(&maxima).expect("it has a maximum").limits.contains(&Limit::NotAWorstCase));
    assert!(Limit::NotAWorstCase.to_string().contains("no worst-case execution time"));
}

#[test]
fn what_cannot_be_fitted_says_why() {
    assert_eq!(gev::fit_maxima(&[1.0, 2.0]).unwrap_err(), Problem::TooFew { values: 2, needed: 4 });
    assert_eq!(gev::fit_maxima(&[1.0; 10]).unwrap_err(), Problem::AllEqual);
    assert_eq!(gev::fit_maxima(&[1.0, f64::NAN, 2.0, 3.0]).unwrap_err(), Problem::NotFinite);
    assert_eq!(gev::fit_largest(&[vec![1.0, 2.0]]).unwrap_err(), Problem::NotDescending);
    assert_eq!(gpd::fit_excesses(vec![-1.0, 2.0, 3.0], 0.0, 5).unwrap_err(), Problem::NoExcesses);
    // Values that crowd at their largest: the likelihood grows without end.
    let crowded: Vec<f64> = (1..=100).map(|k| 1.0 - f64::from(k).powi(-3)).map(|x| x + 1.0).collect();
    assert_eq!(gpd::fit_excesses(crowded, 0.0, 100).unwrap_err(), Problem::NoMaximum);
}

proptest::proptest! {
    /// No values make a fit panic.
    #[test]
    fn no_values_make_a_fit_panic(values in proptest::collection::vec(proptest::num::f64::ANY, 0..40)) {
        let _ = (gev::fit_maxima(&values), gumbel::fit(&values), gpd::fit(&values, 0.0));
    }

    /// Nor do whole numbers of any size.
    #[test]
    fn whole_numbers_fit_or_say_why(values in proptest::collection::vec(0_u64..u64::MAX, 0..40), threshold in 0_u64..u64::MAX) {
        let values: Vec<f64> = values.into_iter().map(|x| x as f64).collect();
        if let Ok(fit) = gpd::fit(&values, threshold as f64) {
            proptest::prop_assert!(fit.gpd.scale > 0.0 && fit.gpd.shape > -1.0);
        }
        if let Ok(fit) = gev::fit_maxima(&values) {
            proptest::prop_assert!(fit.gev.scale > 0.0 && fit.gev.shape > -1.0);
        }
    }
}
