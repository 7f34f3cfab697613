//! Ways, colours and banks as text.

/// The most numbers that a list may hold.
const MOST: u32 = 1 << 16;

/// The mask of a text such as `0,2,5-7`: bit `n` is way `n`. An error ends a sentence that begins with the key.
pub(super) fn mask(text: &str, ways: u32) -> Result<u64, String> {
    let listed = listed(text, "way", ways.min(64))?;
    // No number is above 63.
    Ok(listed.into_iter().fold(0, |mask, way| mask | 1 << way))
}

/// The numbers of such a text in rising order; `noun` says what is numbered.
pub(super) fn numbers(text: &str, noun: &str) -> Result<Vec<u32>, String> {
    listed(text, noun, MOST)
}

fn listed(text: &str, noun: &str, count: u32) -> Result<Vec<u32>, String> {
    let mut numbers = std::collections::BTreeSet::new();
    for part in text.split(',').map(str::trim) {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let (first, last) = (number(first, part, noun, count)?, number(last, part, noun, count)?);
        if first > last {
            return Err(format!("holds `{}`, which ends before it begins", short(part)));
        }
        if let Some(twice) = (first..=last).find(|number| !numbers.insert(*number)) {
            return Err(format!("names {noun} {twice} twice"));
        }
    }
    Ok(numbers.into_iter().collect())
}

fn number(text: &str, part: &str, noun: &str, count: u32) -> Result<u32, String> {
    let digits = text.trim();
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    if !plain {
        return Err(format!("holds `{}`, which is no {noun} and no range of {noun}s", short(part)));
    }
    match digits.parse::<u32>() {
        Ok(number) if number < count => Ok(number),
        _ => Err(format!("holds `{}`, and {noun}s count from 0 to {}", short(part), count.saturating_sub(1))),
    }
}

fn short(part: &str) -> String {
    part.chars().take(30).collect()
}

#[cfg(test)]
mod tests {
    use super::{mask, numbers};

    #[test]
    fn ways_are_single_or_in_ranges() {
        assert_eq!(mask("0-3", 16), Ok(0b1111));
        assert_eq!(mask("0,2,5-7", 8), Ok(0b1110_0101));
        assert_eq!(mask(" 15 ", 16), Ok(1 << 15));
        assert_eq!(mask("0-63", 64), Ok(u64::MAX));
    }

    #[test]
    fn what_is_no_list_of_ways_is_refused() {
        for text in ["", "a", "1-", "-1", "3-1", "16", "0-16", "1,1", "1-2,2", "0,,1", "99999999999", "+1", "64"] {
            assert!(mask(text, 16).is_err(), "{text}");
        }
        assert!(mask("64", 100).is_err(), "a mask has 64 bits");
    }

    #[test]
    fn colours_may_be_many() {
        let colours = |text: &str| numbers(text, "colour");
        assert_eq!(colours("100-102, 7"), Ok(vec![7, 100, 101, 102]));
        assert_eq!(colours("0-65535").map(|colours| colours.len()), Ok(65_536));
        assert_eq!(numbers("1-x", "bank"), Err("holds `1-x`, which is no bank and no range of banks".to_owned()));
        assert!(colours("65536").is_err() && colours("").is_err() && colours("0-1,1").is_err());
    }
}
