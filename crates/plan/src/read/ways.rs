//! Ways of a cache as text and as a mask.

/// The mask of a text such as `0,2,5-7`: bit `n` is way `n`. An error ends a sentence that begins with the key.
pub(super) fn mask(text: &str, ways: u32) -> Result<u64, String> {
    let mut mask = 0u64;
    for part in text.split(',').map(str::trim) {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let (first, last) = (way(first, part, ways)?, way(last, part, ways)?);
        if first > last {
            return Err(format!("holds `{part}`, which ends before it begins"));
        }
        for way in first..=last {
            if mask & (1 << way) != 0 {
                return Err(format!("names way {way} twice"));
            }
            mask |= 1 << way;
        }
    }
    Ok(mask)
}

fn way(text: &str, part: &str, ways: u32) -> Result<u32, String> {
    let digits = text.trim();
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    let part: String = part.chars().take(30).collect();
    if !plain {
        return Err(format!("holds `{part}`, which is no way and no range of ways"));
    }
    match digits.parse::<u32>() {
        Ok(way) if way < ways.min(64) => Ok(way),
        _ => Err(format!("holds `{part}`, but the cache has {ways} ways, from 0 to {}", ways.saturating_sub(1))),
    }
}

#[cfg(test)]
mod tests {
    use super::mask;

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
}
