//! Reading and writing quantities, against hand-made tables and against the `humantime` crate.

use proptest::prelude::*;
use quantity::{Address, Bytes, Duration, LIMIT, Ppm, QuantityError, Rate};

#[test]
fn durations_are_read_exactly() {
    for (text, ns) in [
        ("2.5 ms", 2_500_000),
        ("250us", 250_000),
        ("250 µs", 250_000),
        ("0 ns", 0),
        ("1.000000001 s", 1_000_000_001),
        ("10 min", 600_000_000_000),
        ("1_000 ms", 1_000_000_000),
        ("  7 ns ", 7),
    ] {
        assert_eq!(text.parse::<Duration>(), Ok(Duration::from_ns(ns)), "{text}");
    }
}

#[test]
fn what_is_not_a_duration_is_refused_with_its_reason() {
    let refused = |text: &str| text.parse::<Duration>().expect_err(text);
    assert!(matches!(refused(""), QuantityError::Empty { .. }));
    assert!(matches!(refused("-1 ms"), QuantityError::Negative { .. }));
    assert!(matches!(refused("NaN"), QuantityError::NotANumber { .. }));
    assert!(matches!(refused(". ms"), QuantityError::NotANumber { .. }));
    assert!(matches!(refused("1.2.3 ms"), QuantityError::NotANumber { .. }));
    assert!(matches!(refused("1. ms"), QuantityError::NotANumber { .. }));
    assert!(matches!(refused("12"), QuantityError::NoUnit { .. }));
    assert!(matches!(refused("12 MB"), QuantityError::UnknownUnit { .. }));
    assert!(matches!(refused("1e3 ms"), QuantityError::UnknownUnit { .. }));
    assert!(matches!(refused("1.0000001 ms"), QuantityError::NotWhole { .. }));
    assert!(matches!(refused("0.1 ns"), QuantityError::NotWhole { .. }));
    assert!(matches!(refused("99999999999999999999999999999999999999999999 s"), QuantityError::TooLarge { .. }));
    assert!(matches!(refused("9007199254740992 ns"), QuantityError::TooLarge { .. }));
    assert_eq!("9007199254740991 ns".parse(), Ok(Duration::from_ns(LIMIT)));
}

#[test]
fn sizes_rates_shares_and_addresses_are_read_exactly() {
    assert_eq!("1.5 KiB".parse(), Ok(Bytes::new(1536)));
    assert!(matches!("0.3 KiB".parse::<Bytes>(), Err(QuantityError::NotWhole { .. })));
    assert!(matches!("64 mib".parse::<Bytes>(), Err(QuantityError::UnknownUnit { .. })));
    assert_eq!("80 MiB/s".parse(), Ok(Rate::from_bytes_per_s(80 << 20)));
    for text in ["80 MiB/s", "1280 MB/s", "62 MB/s", "1 GB/s", "7 B/s", "3 KiB/s", "0 B/s"] {
        assert_eq!(text.parse::<Rate>().map(|rate| rate.to_string()), Ok(text.to_owned()));
    }
    assert_eq!("30 %".parse(), Ok(Ppm::new(300_000)));
    assert_eq!("20ppm".parse(), Ok(Ppm::new(20)));
    assert_eq!("0x1_1800_0000".parse(), Ok(Address::new(0x1_1800_0000)));
    assert!("8000".parse::<Address>().is_err());
    assert!("0x1_0000_0000_0000_0000".parse::<Address>().is_err());
}

#[test]
fn quantities_are_written_so_that_they_read_back() {
    assert_eq!(Duration::from_ns(9_378_000).to_string(), "9.378 ms");
    assert_eq!(Duration::from_ns(100_000_000).to_string(), "100 ms");
    assert_eq!(Bytes::from_mib(1024).to_string(), "1 GiB");
    assert_eq!(Address::new(0x1_1800_0000).to_string(), "0x1_1800_0000");
    assert_eq!(Address::new(0xD800_0000).to_string(), "0xD800_0000");
    assert_eq!(Address::new(0).to_string(), "0x0000_0000");
    assert_eq!(Ppm::new(305_000).to_string(), "30.5 %");
}

#[test]
fn a_transfer_time_is_rounded_up_once() {
    let rate = Rate::from_bytes_per_s(1_280_000_000);
    assert_eq!(rate.time_for(Bytes::new(64)), Some(Duration::from_ns(50)));
    assert_eq!(rate.time_for(Bytes::new(1)), Some(Duration::from_ns(1)));
    assert_eq!(Rate::from_bytes_per_s(0).time_for(Bytes::new(1)), None);
}

#[test]
fn an_address_range_may_not_wrap() {
    assert_eq!(Address::new(u64::MAX).checked_add(Bytes::new(1)), None);
    assert_eq!(Address::new(0xD800_0000).checked_add(Bytes::from_mib(1024)), Some(Address::new(0x1_1800_0000)));
}

proptest! {
    #[test]
    fn whole_durations_agree_with_humantime(value in 0u64..1_000_000_000, unit in 0usize..4) {
        let text = format!("{value}{}", ["ns", "us", "ms", "s"][unit]);
        let theirs = humantime::parse_duration(&text).expect("humantime reads whole numbers with these units").as_nanos();
        match text.parse::<Duration>() {
            Ok(ours) => prop_assert_eq!(u128::from(ours.ns()), theirs),
            Err(_) => prop_assert!(theirs > u128::from(LIMIT)),
        }
    }

    #[test]
    fn every_quantity_reads_back_what_it_writes(value in 0..=LIMIT) {
        prop_assert_eq!(Duration::from_ns(value).to_string().parse(), Ok(Duration::from_ns(value)));
        prop_assert_eq!(Bytes::new(value).to_string().parse(), Ok(Bytes::new(value)));
        prop_assert_eq!(Ppm::new(value).to_string().parse(), Ok(Ppm::new(value)));
        prop_assert_eq!(Rate::from_bytes_per_s(value).to_string().parse(), Ok(Rate::from_bytes_per_s(value)));
        prop_assert_eq!(Address::new(value).to_string().parse(), Ok(Address::new(value)));
    }

    #[test]
    fn no_text_makes_the_readers_panic(text in "\\PC*") {
        let _ = text.parse::<Duration>();
        let _ = text.parse::<Bytes>();
        let _ = text.parse::<Address>();
        let _ = text.parse::<Ppm>();
    }
}
